//! Prints what a new set of start values would be: every calculation of a design with every value at its start, or one of
//! them (`start_values SLUG`) as it stands in the file.

use sensewright_core::design::Design;
use sensewright_core::design::section::SECTIONS;
use serde::Serialize;
use serde_json::{Map, Value};

fn main() {
    let mut all = Map::new();
    all.insert("head".into(), Value::Object(Design::start().write()));
    for kind in SECTIONS.iter().flat_map(|section| section.kinds) {
        all.insert(kind.entry.meta.slug.into(), Value::Object(kind.entry.start().clone()));
    }
    let one = std::env::args().nth(1);
    all.retain(|slug, _| one.as_ref().is_none_or(|one| one == slug));
    // With one space a level, as the file has it.
    let mut text = Vec::new();
    let spaced = serde_json::ser::PrettyFormatter::with_indent(b" ");
    match Value::Object(all).serialize(&mut serde_json::Serializer::with_formatter(&mut text, spaced)) {
        Ok(()) => println!("{}", String::from_utf8_lossy(&text)),
        Err(fault) => eprintln!("{fault}"),
    }
}
