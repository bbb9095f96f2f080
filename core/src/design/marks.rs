//! # Values marked as assumed
//!
//! A mark names a value by its key, such as `current.1.shunt.life_drift_percent`. One that names nothing is a slip of whoever
//! wrote the document, and refused; in a link it was made by an older version, and left out.

use serde_json::{Value, json};

use super::document::fault;
use super::{Assumed, Design, HEAD_FIELDS, MOST_ASSUMED};
use crate::field::tree::{at, declared, put, take};
use crate::field::{FieldError, Group, Kind};

impl Design {
    /// Reads a document.
    ///
    /// # Errors
    /// Every fault, each at its place in the document.
    pub fn read(document: &Value) -> Result<Self, Vec<FieldError>> {
        let design = Self::taken(document)?;
        let unknown = design.head.assumed.iter().enumerate().filter(|(_, one)| !design.has_value(&one.value));
        let faults: Vec<FieldError> = unknown.map(|(index, one)| unknown_value(index, &one.value)).collect();
        if faults.is_empty() { Ok(design) } else { Err(faults) }
    }

    /// Reads the document of a link, which opens for ever.
    ///
    /// # Errors
    /// Every fault, each at its place in the document.
    pub(super) fn of_link(document: &Value) -> Result<Self, Vec<FieldError>> {
        let mut design = Self::taken(document)?;
        let known: Vec<Assumed> =
            design.head.assumed.iter().filter(|one| design.has_value(&one.value)).cloned().collect();
        if known.len() < design.head.assumed.len() {
            design.mark(|marks| *marks = known);
        }
        Ok(design)
    }

    /// Whether a key names a value of the design.
    fn has_value(&self, key: &str) -> bool {
        let pointer = |rest: &str| format!("/{}", rest.replace('.', "/"));
        let mut words = key.splitn(3, '.');
        let part =
            words.next().zip(words.next()).and_then(|(section, number)| self.part(&format!("{section}.{number}")));
        let field = match (part, words.next()) {
            (Some(part), Some(rest)) => declared(part.entry().fields, &pointer(rest)),
            (Some(_), None) => None,
            (None, _) => declared(HEAD_FIELDS, &pointer(key)).filter(|field| field.key != "assumed"),
        };
        field.is_some_and(|field| !matches!(field.kind, Kind::Group { .. }))
    }

    /// Changes the list of assumed values.
    pub(super) fn mark(&mut self, change: impl FnOnce(&mut Vec<Assumed>)) {
        let before = self.head.assumed.len();
        change(&mut self.head.assumed);
        if self.head.assumed.is_empty() {
            // A list that lost its last mark is as it was before the first one: not typed.
            if before > 0 {
                take(&mut self.typed, "/assumed");
            }
        } else if let Some(list) = at(&Group::write(&self.head), "/assumed") {
            put(&mut self.typed, "/assumed", list.clone());
        }
    }

    /// Marks a typed value as assumed, or no longer.
    pub fn assume(&mut self, key: &str, why: Option<&str>) {
        let known = self.has_value(key);
        self.mark(|marks| {
            let place = marks.iter().position(|one| one.value == key);
            let why = why.map(|why| why.chars().take(160).collect());
            match (place, why) {
                (Some(place), Some(why)) => marks[place].why = why,
                (Some(place), None) => drop(marks.remove(place)),
                (None, Some(why)) if known && marks.len() < MOST_ASSUMED => {
                    marks.push(Assumed { value: key.into(), why });
                }
                _ => {}
            }
        });
    }
}

fn unknown_value(index: usize, key: &str) -> FieldError {
    fault(
        format!("/assumed/{index}/value"),
        "unknown-field",
        format!("There is no value \u{201c}{key}\u{201d} in this design."),
        "the key of a value of this design, such as pack.cell_max_v".into(),
        &json!(key),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::link;

    #[test]
    fn a_mark_names_a_value_that_there_is() {
        let design = &crate::demo::DEMOS[0].design;
        let marked = |key: &str| {
            let mut document = Value::Object(design.document());
            document["assumed"] = json!([{"value": key, "why": "from memory"}]);
            document
        };
        for key in ["pack.cell_max_v", "requirements.current.offset_a", "current.1.shunt.life_drift_percent"] {
            assert!(Design::read(&marked(key)).is_ok_and(|design| design.head.assumed.len() == 1), "{key}");
        }
        for key in
            ["pack.nothing", "pack", "current.1", "current.9.shunt.life_drift_percent", "current.1.shunt", "x", ""]
        {
            let faults = Design::read(&marked(key)).expect_err("it names nothing");
            assert_eq!(
                (faults[0].field.as_str(), faults[0].code.as_str()),
                ("/assumed/0/value", "unknown-field"),
                "{key}"
            );
            assert_eq!(faults[0].got, key);
            // A link with it opens, without the mark.
            let mut old = design.clone();
            old.mark(|marks| *marks = vec![Assumed { value: key.into(), why: String::new() }]);
            let opened = link::open(&link::token(&old)).expect("a link opens for ever").design;
            assert_eq!(opened.head.assumed, [], "{key}");
            let mut design = design.clone();
            let before = design.head.assumed.len();
            design.assume(key, Some("from memory"));
            assert_eq!(design.head.assumed.len(), before, "{key}");
        }
    }
}
