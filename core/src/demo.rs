//! # Demo designs
//!
//! Invented packs, and two sources without cells, that open already calculated. They are compiled in, so the service needs no files at run time.

use std::sync::LazyLock;

use serde::Deserialize;
use serde_json::Value;

use crate::design::{Design, link};

/// A demo: an invented pack, charger or drive as a whole design.
#[derive(Clone, Debug)]
pub struct Demo {
    /// Its name in addresses.
    pub slug: &'static str,
    /// Title.
    pub title: String,
    /// The invented setting.
    pub setting: String,
    /// Its key data in one line.
    pub spec: String,
    /// The design.
    pub design: Design,
    /// The address that opens it.
    pub address: String,
}

#[derive(Deserialize)]
struct File {
    title: String,
    setting: String,
    spec: String,
    design: Value,
}

const FILES: &[(&str, &str)] = &[
    ("mountain-rescue-car", include_str!("../../demo-data/mountain-rescue-car.json")),
    ("island-bakery-van", include_str!("../../demo-data/island-bakery-van.json")),
    ("lighthouse-relay", include_str!("../../demo-data/lighthouse-relay.json")),
    ("funicular-summit-buffer", include_str!("../../demo-data/funicular-summit-buffer.json")),
    ("canal-library-bike", include_str!("../../demo-data/canal-library-bike.json")),
    ("vineyard-tractor-charger", include_str!("../../demo-data/vineyard-tractor-charger.json")),
    ("night-bus-drive", include_str!("../../demo-data/night-bus-drive.json")),
];

/// Every demo whose document is accepted. A test holds that none is left out.
pub static DEMOS: LazyLock<Vec<Demo>> =
    LazyLock::new(|| FILES.iter().filter_map(|(slug, text)| open(slug, text)).collect());

/// The demo of a name.
pub fn find(slug: &str) -> Option<&'static Demo> {
    DEMOS.iter().find(|demo| demo.slug == slug)
}

fn open(slug: &'static str, text: &str) -> Option<Demo> {
    let file: File = serde_json::from_str(text).ok()?;
    let design = Design::read(&file.design).ok()?;
    let address = link::address(&design)?;
    Some(Demo { slug, title: file.title, setting: file.setting, spec: file.spec, design, address })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_demo_opens_and_its_link_gives_its_design() {
        for (slug, text) in FILES {
            let file: File = serde_json::from_str(text).expect("JSON");
            let design = Design::read(&file.design).unwrap_or_else(|faults| panic!("{slug}: {faults:#?}"));
            let opened = link::open(&link::token(&design)).unwrap_or_else(|faults| panic!("{slug}: {faults:#?}"));
            assert_eq!(opened.design, design, "{slug}");
            // What is new since the preset dictionary costs letters; every browser, proxy and ticket still takes this.
            assert!(link::token(&design).len() <= 3_000, "{slug}: {} letters", link::token(&design).len());
        }
        assert_eq!(DEMOS.len(), FILES.len());
    }
}
