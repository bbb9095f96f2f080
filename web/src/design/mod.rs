//! # The pages of a whole design
//!
//! [`worksheet`] to work in, [`report`] to print, [`compare`] to hold two or more against each other. They share the rows
//! of this module.

pub mod compare;
pub mod report;
pub mod worksheet;

use sensewright_core::design::assess::{Assessed, AssessedPart};
use sensewright_core::design::test_limits::test_limits;
use sensewright_core::design::turning::{Turning, unit_of};
use sensewright_core::design::{Part, summary};
use sensewright_core::quantity::{Printed, Unit, in_sentence, percent, say, say_change};
use sensewright_core::report::{Block, Cell, Column, Figure, Row, Severity, Table};

use crate::form::{control, label_of};
use crate::result::{CheckRow, FindingRow, Target, check_row, finding};

/// The control of a pointer of a part: its own, or the one of the pack that hands the value down.
pub fn target(part: &Part, pointer: &str) -> Option<Target> {
    let origin = part.origin(pointer);
    let label = label_of(part.entry().fields, pointer)?.to_owned();
    let key = match origin.strip_prefix(&part.pointer()) {
        Some(own) => format!("{}.{}", part.key(), control(part.entry().fields, own)?),
        None => origin.trim_start_matches('/').replace('/', "."),
    };
    Some(Target { key, label })
}

/// A requirement of a design: which part it belongs to, and how it stands.
#[derive(Debug)]
pub struct DesignRow {
    /// The part's name; nothing when its section has one part.
    pub part: String,
    /// The id of the part in the page.
    pub place: String,
    /// How it stands.
    pub check: CheckRow,
}

/// The requirements, worst first; `before` is the design before the last change.
pub fn requirements(assessed: &Assessed, before: Option<&Assessed>) -> Vec<DesignRow> {
    assessed
        .requirements
        .iter()
        .map(|row| {
            let part = &assessed.parts[row.part].part;
            let mut check = check_row(&row.check, None);
            // A requirement that says little by itself is told with its reason.
            if check.because.is_empty() {
                check.because.extend(row.check.reason.clone());
            }
            let former = before.and_then(|before| {
                let same = |other: &&sensewright_core::design::assess::Row| {
                    before.parts[other.part].part.key() == part.key()
                        && (&other.check.id, &other.check.label) == (&row.check.id, &row.check.label)
                };
                before.requirements.iter().find(same)
            });
            check.former = former.filter(|former| former.check.achieved != row.check.achieved).map(|former| {
                let without = former.check.without_numbers()[1];
                let value = former.check.achieved.map_or(without.into(), |value| say(value, former.check.unit));
                if former.check.verdict == row.check.verdict {
                    value
                } else {
                    format!("{value}, {}", former.check.verdict.word().to_lowercase())
                }
            });
            DesignRow { part: part.title(), place: part.key(), check }
        })
        .collect()
}

/// What no row of the requirements tells: hints of slipped units and of a pack that disagrees with its parts.
pub fn urgent(assessed: &Assessed) -> Vec<FindingRow> {
    let found = summary::findings(assessed);
    let hints = found.iter().filter(|found| found.code.starts_with("design.") && found.severity != Severity::Fail);
    hints.map(|found| finding(found, document_target(assessed, found.field.as_deref()))).collect()
}

/// The control of a pointer of the document.
pub fn document_target(assessed: &Assessed, pointer: Option<&str>) -> Option<Target> {
    let pointer = pointer?;
    for one in &assessed.parts {
        if let Some(own) = pointer.strip_prefix(&one.part.pointer()).filter(|own| own.starts_with('/')) {
            return target(&one.part, own);
        }
    }
    let label = label_of(sensewright_core::design::HEAD_FIELDS, pointer)?.to_owned();
    Some(Target { key: pointer.trim_start_matches('/').replace('/', "."), label })
}

/// A value that is assumed and not measured.
#[derive(Debug)]
pub struct AssumedRow {
    /// The control.
    pub key: String,
    /// Part and label; the value as it was written when nothing is called so.
    pub label: String,
    /// Why it is assumed.
    pub why: String,
}

/// The values that are assumed.
pub fn assumed(assessed: &Assessed) -> Vec<AssumedRow> {
    let row = |written: &str, why: &str| {
        let pointer = format!("/{}", written.replace('.', "/"));
        let found = document_target(assessed, Some(&pointer));
        let part = assessed.parts.iter().find(|one| pointer.starts_with(&format!("{}/", one.part.pointer())));
        let part = part.map_or_else(String::new, |one| format!("{}: ", one.part.title()));
        AssumedRow {
            key: found.as_ref().map_or_else(|| written.to_owned(), |found| found.key.clone()),
            label: found.map_or_else(|| written.to_owned(), |found| format!("{part}{}", found.label)),
            why: why.to_owned(),
        }
    };
    assessed.design.head.assumed.iter().map(|one| row(&one.value, &one.why)).collect()
}

/// A value at which a verdict turns.
#[derive(Debug)]
pub struct TurningRow {
    /// The control.
    pub key: String,
    /// The value's label.
    pub label: String,
    /// What turns.
    pub what: String,
    /// The value now.
    pub now: Printed,
    /// The value at which it turns.
    pub turns_at: Printed,
}

/// The rows of "what would change a verdict": what fails and could hold first, nearest first.
pub fn turning_rows(assessed: &Assessed, found: &[Turning]) -> Vec<TurningRow> {
    let several = assessed.parts.len() > 1;
    found
        .iter()
        .map(|one| {
            let [now, turns_at] = say_change(one.now, one.turns_at, unit_of(one.field));
            let part = &assessed.parts[one.of_part].part;
            let what = summary::what_turns(one);
            TurningRow {
                key: one.pointer.trim_start_matches('/').replace('/', "."),
                label: one.field.label.into(),
                what: if several { format!("{}: {what}", part.title()) } else { what },
                now,
                turns_at,
            }
        })
        .collect()
}

/// The figures that follow from the pack alone.
pub fn pack_figures(assessed: &Assessed) -> Vec<Figure> {
    let pack = &assessed.design.head.pack;
    let resistance = pack.resistance_ohm();
    vec![
        Figure::new("Highest voltage", pack.max_v(), Unit::Volt, format!("{} cells in series", pack.cells_in_series)),
        Figure::new("Nominal voltage", pack.nominal_v(), Unit::Volt, ""),
        Figure::new("Lowest voltage", pack.min_v(), Unit::Volt, ""),
        Figure::new(
            "Capacity",
            pack.capacity_ah(),
            Unit::AmpereHour,
            format!("{} in parallel", pack.cells_in_parallel),
        ),
        Figure::new("Resistance", resistance, Unit::Ohm, "direct current, with busbars"),
        Figure::new("Prospective current", pack.prospective_a(), Unit::Ampere, "bolted short at the terminals"),
    ]
}

fn judged_by(current: &str, voltage: &str) -> String {
    if current == voltage {
        format!("Judged by {current}, at end of life")
    } else {
        format!("Current judged by {current}, voltage by {voltage}, at end of life")
    }
}

/// What the verdict rests on, in sentences.
pub fn rests_on(assessed: &Assessed) -> Vec<String> {
    let head = &assessed.design.head;
    let pack = &head.pack;
    let mut lines = vec![
        judged_by(
            &in_sentence(head.requirements.current.judged_by.label()),
            &in_sentence(head.requirements.voltage.judged_by.label()),
        ),
        format!(
            "Boards between {} and {}",
            say(pack.ambient_min_degc, Unit::Celsius),
            say(pack.ambient_max_degc, Unit::Celsius)
        ),
        format!("Calibrated at {}, as each part says", say(pack.calibration_degc, Unit::Celsius)),
    ];
    if let Some(years) = pack.life_years {
        lines.push(format!("Ageing limits meant over {} years", say(years, Unit::One)));
    }
    let (typed, default) = summary::origins(&assessed.design);
    lines.push(format!(
        "{typed} values typed, {default} as they start, {} of them marked as assumed",
        head.assumed.len()
    ));
    lines
}

/// The limits of the end-of-line tester as a table.
pub fn test_table(assessed: &Assessed) -> Option<Table> {
    let limits = test_limits(assessed);
    let first = limits.first()?;
    let _ = first;
    let rows = limits
        .iter()
        .map(|one| {
            let said = |value: f64| Cell::Words(format!("±{}", say(value, one.unit)));
            Row {
                head: format!("{} at {}", assessed.parts[one.part].part.title(), say(one.at, one.unit)),
                note: one
                    .risk()
                    .map_or_else(String::new, |risk| format!("risk at the limit {}", percent(100.0 * risk))),
                cells: vec![
                    said(one.allowed),
                    said(one.temperature),
                    said(one.ageing),
                    said(one.tester),
                    one.limit().map_or_else(
                        || Cell::Words(format!("no test can guarantee it: short by {}", say(-one.left(), one.unit))),
                        said,
                    ),
                ],
            }
        })
        .collect();
    Some(Table {
        id: "test-limits".into(),
        caption: "Limits for the end-of-line tester".into(),
        note: "Allowed error less what temperature and ageing add later, less the tester's own uncertainty; tested at the calibration temperature, after calibration.".into(),
        head: "Test point".into(),
        columns: ["Allowed over life", "Kept for temperature", "Kept for ageing", "Kept for the tester", "Test limit"]
            .map(Column::words)
            .into(),
        rows,
    })
}

/// The blocks of a part that a design's page shows: the rest is on the part's own page.
pub fn main_blocks(part: &AssessedPart) -> Vec<&Block> {
    let mut budgets = 0;
    let mut charts = 0;
    part.answer
        .view
        .blocks
        .iter()
        .filter(|block| match block {
            Block::Figures(_) | Block::NumberLine(_) => true,
            Block::Budget(_) => {
                budgets += 1;
                budgets == 1
            }
            Block::Chart(_) => {
                charts += 1;
                charts <= 2
            }
            Block::Lane(_) | Block::Table(_) | Block::Listing(_) => false,
        })
        .collect()
}
