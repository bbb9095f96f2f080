//! # A new design
//!
//! Starts from the pack: what is known of it, and the parts to begin with. A voltage may be typed of the cell or of the whole
//! pack.

use askama::Template;
use sensewright_core::design::section::SECTIONS;
use sensewright_core::design::{HEAD_FIELDS, starts};
use sensewright_core::field::FieldError;
use serde_json::Map;

use crate::form::{Control, Fault, Lean, OfDesign, Piece, Row, Values, at_controls, control, pieces};
use crate::shell::{Shell, print};

#[derive(Template)]
#[template(path = "fresh.html")]
struct FreshPage {
    shell: Shell,
    form: Form,
    refused: bool,
    parts: Vec<PartRow>,
    document: String,
}

struct Form {
    pieces: Vec<Piece>,
    faults: Vec<Fault>,
}

impl Form {
    fn summary(&self) -> String {
        super::faults_heading(self.faults.len())
    }
}

struct PartRow {
    value: String,
    label: &'static str,
    about: &'static str,
    ticked: bool,
}

/// The page; `typed` is what was sent and refused, `document` a text that is no document.
pub fn fresh_page(typed: &[(String, String)], faults: &[FieldError], document: &str) -> String {
    let of = |fault: &FieldError| {
        let target = fault.field.strip_prefix("/pack_v/").map(|volts| format!("pack_v.{volts}"));
        Fault { target: target.or_else(|| control(HEAD_FIELDS, &fault.field)), message: fault.message.clone() }
    };
    let faults: Vec<Fault> = faults.iter().map(of).collect();
    let errors = at_controls(&faults);
    let start = starts::head();
    let of_design =
        OfDesign { follows: &[], open: starts::open_of_the_pack(starts::NEWEST), before: None, assumed: &[] };
    let (mut all, _) = pieces(&Values {
        prefix: "",
        fields: HEAD_FIELDS,
        start: &start,
        input: typed.is_empty().then(Map::new).as_ref(),
        typed,
        errors: &errors,
        hidden: &["/assumed"],
        of_design: Some(&of_design),
    });
    let volts = ["max_v", "nominal_v", "min_v"].iter().zip(["highest", "nominal", "lowest"]);
    let rows: Vec<Piece> = volts
        .map(|(key, which)| {
            let key = format!("pack_v.{key}");
            let text = typed.iter().find(|(name, _)| *name == key).map(|(_, text)| text.clone()).unwrap_or_default();
            Piece::Row(Box::new(volts_row(&format!("Pack, {which}"), key.clone(), text, errors.get(&key).cloned())))
        })
        .collect();
    all.push(Piece::Open {
        id: "pack_v".into(),
        legend: "Voltages of the whole pack".into(),
        help: "Instead of those of a cell, where that is what is known.".into(),
    });
    all.extend(rows);
    all.push(Piece::Close);
    let ticked = |value: &str| typed.iter().any(|(key, text)| key == "add" && text == value);
    let kinds = SECTIONS.iter().flat_map(|section| section.kinds.iter().map(move |kind| (section, kind)));
    let parts = kinds.map(|(section, kind)| {
        let value = format!("{}:{}", section.key, kind.tag);
        let label = if section.kinds.len() == 1 { section.one } else { kind.entry.meta.title };
        PartRow { ticked: ticked(&value), value, label, about: kind.entry.meta.short }
    });
    let title = if faults.is_empty() { "New design" } else { "Error: New design" };
    print(&FreshPage {
        shell: Shell::new(title, "/worksheet"),
        parts: parts.collect(),
        refused: !faults.is_empty(),
        form: Form { pieces: all, faults },
        document: document.to_owned(),
    })
}

fn volts_row(label: &str, key: String, text: String, error: Option<String>) -> Row {
    Row {
        label: label.into(),
        unit_words: "volt",
        unit: "V",
        numeric: true,
        control: Control::Line,
        long: false,
        start_words: String::new(),
        same: "",
        changed: !text.is_empty(),
        prefixed: false,
        help: "Divided by the cells in series.".into(),
        accepted: String::new(),
        error,
        start: String::new(),
        lean: Some(Lean {
            placeholder: String::new(),
            from: String::new(),
            open: false,
            leads: true,
            was: None,
            assumed: None,
        }),
        text,
        key,
    }
}
