//! # Demo scenarios
//!
//! Invented packs that open already calculated. They are compiled in, so the service needs no files at run time.

use std::sync::LazyLock;

use serde::Deserialize;
use serde_json::Value;

use crate::catalogue;
use crate::field::Notation;

/// A demo scenario.
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
    /// The calculation it opens.
    pub calculation: String,
    /// Its input.
    pub input: Value,
    /// The address that opens it.
    pub address: String,
}

#[derive(Deserialize)]
struct File {
    title: String,
    setting: String,
    spec: String,
    calculation: String,
    input: Value,
}

const FILES: &[(&str, &str)] = &[("mountain-rescue-car", include_str!("../../demo-data/mountain-rescue-car.json"))];

/// Every demo whose input its calculation accepts. A test holds that none is left out.
pub static DEMOS: LazyLock<Vec<Demo>> =
    LazyLock::new(|| FILES.iter().filter_map(|(slug, text)| open(slug, text)).collect());

fn open(slug: &'static str, text: &str) -> Option<Demo> {
    let file: File = serde_json::from_str(text).ok()?;
    let room = catalogue::find(&file.calculation)?;
    // The address needs the input with its defaults filled in, not its result.
    let input = room.complete(Some(&file.input), Notation::Json).ok()?;
    let address = room.address(&input);
    Some(Demo {
        slug,
        title: file.title,
        setting: file.setting,
        spec: file.spec,
        calculation: file.calculation,
        input: file.input,
        address,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_demo_opens_and_its_address_gives_its_input() {
        assert_eq!(DEMOS.len(), FILES.len());
        for demo in DEMOS.iter() {
            let room = catalogue::find(&demo.calculation).expect("known calculation");
            let complete = room.complete(Some(&demo.input), Notation::Json).expect("valid");
            let query = demo.address.split_once('?').expect("has a query").1;
            let pairs: Vec<(String, String)> = query
                .split('&')
                .filter_map(|pair| pair.split_once('='))
                .filter(|(key, _)| *key != "v")
                .map(|(key, value)| (key.to_owned(), value.replace('+', " ")))
                .collect();
            let tree = crate::field::form_tree(&pairs).expect("own keys");
            assert_eq!(room.complete(Some(&tree), Notation::Form), Ok(complete), "{}", demo.slug);
        }
    }
}
