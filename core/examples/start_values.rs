//! Prints what a new set of start values would be: every calculation of a design with every value at its start.

use sensewright_core::design::Design;
use sensewright_core::design::section::SECTIONS;
use serde_json::{Map, Value};

fn main() {
    let mut all = Map::new();
    all.insert("head".into(), Value::Object(Design::start().write()));
    for kind in SECTIONS.iter().flat_map(|section| section.kinds) {
        all.insert(kind.entry.meta.slug.into(), Value::Object(kind.entry.start()));
    }
    println!("{:#}", Value::Object(all));
}
