//! Prints the document with one part of every kind, every value at its start: what a new form of the link takes as its
//! dictionary, and a template to fill in.

use sensewright_core::calculation::ENGINE;
use sensewright_core::design::Design;
use sensewright_core::design::section::SECTIONS;
use serde_json::{Map, Value, json};

fn main() {
    let mut design = Design::start();
    for section in SECTIONS {
        for kind in section.kinds {
            design.add(section, kind);
        }
    }
    let mut document = Map::new();
    document.insert("engine".into(), json!(ENGINE));
    document.extend(design.write());
    print!("{}", Value::Object(document));
}
