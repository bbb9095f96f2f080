//! # Demo scenarios
//!
//! Invented packs that open already calculated. They are compiled in, so the service needs no files at run time.

use std::sync::LazyLock;

use serde::Deserialize;
use serde_json::Value;

use crate::calculation::Room;
use crate::catalogue;
use crate::field::Notation;

/// A demo scenario: a pack and the calculations it opens with.
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
    /// Its calculations, the main one first.
    pub parts: Vec<Part>,
}

/// One calculation of a demo.
#[derive(Clone, Debug)]
pub struct Part {
    /// The calculation.
    pub room: &'static Room,
    /// What it is called in the list of the pack.
    pub name: String,
    /// Its input.
    pub input: Value,
    /// The address that opens it.
    pub address: String,
}

impl Demo {
    /// The part of a calculation.
    pub fn part(&self, slug: &str) -> Option<&Part> {
        self.parts.iter().find(|part| part.room.meta.slug == slug)
    }
}

#[derive(Deserialize)]
struct File {
    title: String,
    setting: String,
    spec: String,
    parts: Vec<FilePart>,
}

#[derive(Deserialize)]
struct FilePart {
    calculation: String,
    /// Given where a pack has several of a kind.
    name: Option<String>,
    input: Value,
}

const FILES: &[(&str, &str)] = &[
    ("mountain-rescue-car", include_str!("../../demo-data/mountain-rescue-car.json")),
    ("island-bakery-van", include_str!("../../demo-data/island-bakery-van.json")),
    ("lighthouse-relay", include_str!("../../demo-data/lighthouse-relay.json")),
];

/// Every demo whose input its calculation accepts. A test holds that none is left out.
pub static DEMOS: LazyLock<Vec<Demo>> =
    LazyLock::new(|| FILES.iter().filter_map(|(slug, text)| open(slug, text)).collect());

fn open(slug: &'static str, text: &str) -> Option<Demo> {
    let file: File = serde_json::from_str(text).ok()?;
    let parts: Option<Vec<Part>> = file.parts.into_iter().map(open_part).collect();
    let parts = parts.filter(|parts| !parts.is_empty())?;
    Some(Demo { slug, title: file.title, setting: file.setting, spec: file.spec, parts })
}

fn open_part(part: FilePart) -> Option<Part> {
    let room = catalogue::find(&part.calculation)?;
    // The address needs the input with its defaults filled in, not its result.
    let complete = room.complete(Some(&part.input), Notation::Json).ok()?;
    let name = part.name.unwrap_or_else(|| room.meta.title.into());
    Some(Part { room, name, address: room.address(&complete), input: part.input })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_demo_opens_and_its_address_gives_its_input() {
        assert_eq!(DEMOS.len(), FILES.len());
        for part in DEMOS.iter().flat_map(|demo| &demo.parts) {
            let complete = part.room.complete(Some(&part.input), Notation::Json).expect("valid");
            let query = part.address.split_once('?').expect("has a query").1;
            let pairs: Vec<(String, String)> = query
                .split('&')
                .filter_map(|pair| pair.split_once('='))
                .filter(|(key, _)| *key != "v")
                .map(|(key, value)| (key.to_owned(), value.replace('+', " ")))
                .collect();
            let tree = crate::field::form_tree(&pairs).expect("own keys");
            assert_eq!(part.room.complete(Some(&tree), Notation::Form), Ok(complete), "{}", part.address);
            // A ticket and a mail carry an address of this length unbroken.
            assert!(part.address.len() <= 2000, "{} characters", part.address.len());
        }
    }
}
