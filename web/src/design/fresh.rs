//! # A new design
//!
//! Starts from the pack: what is known of it, and the parts to begin with. A voltage may be typed of the cell or of the whole
//! pack; a source without cells has a page of its own, with its voltages.

use std::collections::BTreeMap;

use askama::Template;
use sensewright_core::design::pack::{ASKED, Supply};
use sensewright_core::design::section::SECTIONS;
use sensewright_core::design::{Design, HEAD_FIELDS, starts};
use sensewright_core::field::FieldError;
use sensewright_core::quantity::in_sentence;
use serde_json::Map;

use crate::form::{Control, Fault, Lean, OfDesign, Piece, Row, Values, at_controls, control, pieces};
use crate::shell::{Shell, print};

#[derive(Template)]
#[template(path = "fresh.html")]
struct FreshPage {
    shell: Shell,
    form: Form,
    cells: bool,
    source: &'static str,
    other: [String; 2],
    without: Vec<String>,
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

/// The page; `typed` is what was sent beside a refusal, `document` a text that is no document, or was not opened.
pub fn fresh_page(typed: &[(String, String)], faults: &[FieldError], document: &str) -> String {
    let of = |fault: &FieldError| {
        let target = match (fault.field.as_str(), fault.field.strip_prefix("/pack_v/")) {
            ("/document", _) => Some("document".into()),
            (_, Some(volts)) => Some(format!("pack_v.{volts}")),
            (field, None) => control(HEAD_FIELDS, field),
        };
        Fault::at(target, fault)
    };
    let faults: Vec<Fault> = faults.iter().map(of).collect();
    let errors = at_controls(&faults);
    let start = starts::head();
    let mut design = Design::start();
    if typed.iter().any(|(key, word)| key == "pack.source" && *word == Supply::Voltages.word()) {
        design.head.pack.source = Supply::Voltages;
    }
    let pack = &design.head.pack;
    let open = starts::open_of_the_pack(starts::NEWEST, pack);
    let of_design =
        OfDesign { pack, follows: &[], lent: &[], asked: ASKED, open: &open, unused: &[], before: None, assumed: &[] };
    // Which kind of source there is is chosen by a link, so that a form has only what counts.
    let hidden: Vec<&str> = ["/assumed", "/pack/source"].into_iter().chain(pack.idle().iter().copied()).collect();
    let (mut all, _) = pieces(&Values {
        prefix: "",
        fields: HEAD_FIELDS,
        start: &start,
        input: faults.is_empty().then(Map::new).as_ref(),
        typed,
        errors: &errors,
        hidden: &hidden,
        of_design: Some(&of_design),
    });
    if pack.has_cells() {
        let given = |key: &str| typed.iter().any(|(name, text)| name == key && !text.trim().is_empty());
        for piece in &mut all {
            if let Piece::Row(row) = piece
                && let Some(which) = row.key.strip_prefix("pack.cell_")
                && given(&format!("pack_v.{which}"))
                && let Some(lean) = &mut row.lean
            {
                (lean.open, lean.from) = (false, "from that of the pack".into());
            }
        }
        // Beside the voltages that it stands for.
        let after = end_of("pack", &all);
        all.splice(after..after, volts_of_pack(typed, &errors));
    }
    let ticked = |value: &str| typed.iter().any(|(key, text)| key == "add" && text == value);
    let kinds = SECTIONS.iter().flat_map(|section| section.kinds.iter().map(move |kind| (section, kind)));
    let without = kinds.clone().filter_map(|(_, kind)| design.has_no_place_for(kind)).collect();
    let parts = kinds.filter(|(_, kind)| design.has_no_place_for(kind).is_none()).map(|(section, kind)| {
        let value = format!("{}:{}", section.key, kind.tag);
        let label = if section.kinds.len() == 1 { section.one } else { kind.entry.meta.title };
        PartRow { ticked: ticked(&value), value, label, about: kind.entry.meta.short }
    });
    let title = if faults.is_empty() { "New design" } else { "Error: New design" };
    print(&FreshPage {
        shell: Shell::new(title, "/worksheet"),
        parts: parts.collect(),
        cells: pack.has_cells(),
        source: pack.source.word(),
        other: [pack.other_source().word().into(), in_sentence(pack.other_source().label())],
        without,
        refused: !faults.is_empty(),
        form: Form { pieces: all, faults },
        document: document.to_owned(),
    })
}

/// Where a group of a form ends.
fn end_of(group: &str, pieces: &[Piece]) -> usize {
    let begin = pieces.iter().position(|piece| matches!(piece, Piece::Open { id, .. } if id == group)).unwrap_or(0);
    let mut depth = 0_usize;
    let closed = pieces.iter().skip(begin).position(|piece| {
        match piece {
            Piece::Open { .. } => depth += 1,
            Piece::Close => depth = depth.saturating_sub(1),
            _ => {}
        }
        depth == 0
    });
    closed.map_or(pieces.len(), |length| begin + length + 1)
}

/// The voltages of the whole pack, instead of those of a cell.
fn volts_of_pack(typed: &[(String, String)], errors: &BTreeMap<String, String>) -> Vec<Piece> {
    let mut group = vec![Piece::Open {
        id: "pack_v".into(),
        legend: "Voltages of the whole pack".into(),
        help: "Instead of those of a cell, where that is what is known.".into(),
    }];
    group.extend([("max_v", "highest"), ("nominal_v", "nominal"), ("min_v", "lowest")].map(|(key, which)| {
        let key = format!("pack_v.{key}");
        let text = typed.iter().find(|(name, _)| *name == key).map(|(_, text)| text.clone()).unwrap_or_default();
        let error = errors.get(&key).cloned();
        Piece::Row(Box::new(volts_row(&format!("Pack, {which}"), key, text, error)))
    }));
    group.push(Piece::Close);
    group
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
        columns: Vec::new(),
        error,
        start: String::new(),
        lean: Some(Lean {
            // Nothing to read: whether the box is empty shows in the style sheet.
            placeholder: " ".into(),
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
