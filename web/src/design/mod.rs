//! # The pages of a whole design
//!
//! [`overview`] judges the whole, [`focus`] works on one part, [`fresh`] starts a new one, [`report`] is for paper,
//! [`compare`] holds two or more against each other. They share the rows of this module. A design stands in the path of its
//! pages, so that every link between them is relative.

pub mod alone;
pub mod badge;
mod changed;
pub mod compare;
pub mod focus;
pub mod fresh;
pub mod overview;
pub mod report;
mod turned;
pub mod turns;

use sensewright_core::design::assess::Assessed;
use sensewright_core::design::link::CARRIED;
use sensewright_core::design::section::SECTIONS;
use sensewright_core::design::test_limits::test_limits;
use sensewright_core::design::turning::{Turning, unit_of};
use sensewright_core::design::{Design, HEAD_FIELDS, Part, facts, summary};
use sensewright_core::field::{FieldError, address_pairs};
use sensewright_core::quantity::{Printed, Quantity, Unit, in_sentence, percent, say, say_change};
use sensewright_core::report::{Cell, Column, Figure, Finding, Row, Severity, Table};
use sensewright_core::work::Work;
use serde_json::Map;

use crate::form::{Fault, control, label_of, told_by_group};
use crate::number::reached_before;
use crate::result::{Badge, CheckRow, FindingRow, Target, check_row, finding};
pub use changed::{Since, changed};

/// What a page of a design shows.
#[derive(Clone, Debug)]
pub struct Sheet<'a> {
    /// The design whose values the form has.
    pub design: &'a Design,
    /// The path of its overview; it may say where the visit began.
    pub path: &'a str,
    /// What follows from it: of the values before when the typed ones were refused.
    pub assessed: Option<&'a Assessed>,
    /// The design that the visit began with, when it is another.
    pub began: Option<Began<'a>>,
    /// What was typed, when it was refused.
    pub typed: &'a [(String, String)],
    /// What is wrong with it.
    pub faults: &'a [FieldError],
    /// What to say of the link.
    pub notice: Option<String>,
    /// Scheme and host.
    pub origin: &'a str,
    /// The day on which it is asked for.
    pub date: String,
    /// Whether a long part shows all that it has.
    pub all: bool,
    /// Whether somebody still waits for the page.
    pub work: Work<'a>,
}

impl Sheet<'_> {
    /// The address to hand on: it does not say where the visit began. Empty where the design has none.
    pub fn address(&self) -> String {
        if self.path == CARRIED {
            return String::new();
        }
        let path = self.path.split('~').next().unwrap_or(self.path);
        format!("{}{}/", self.origin, path.trim_end_matches('/'))
    }

    /// The same of a page, as it is shown.
    pub fn told_address(&self, here: &str) -> String {
        match self.address() {
            none if none.is_empty() => NO_ADDRESS.into(),
            address => format!("{address}{here}"),
        }
    }
}

/// What is said in the place of an address.
pub const NO_ADDRESS: &str = "none, it would be too long: hand the design on as a file";

/// Where a visit began.
#[derive(Clone, Copy, Debug)]
pub struct Began<'a> {
    /// The design.
    pub design: &'a Design,
    /// What follows from it.
    pub assessed: Option<&'a Assessed>,
}

/// What an address ends with whose page shows all that a long part has.
pub const ALL: &str = "?all=yes";

/// The page of the values that several parts share.
pub const PACK: &str = "pack";

/// The page that a control stands on: a part's, or the pack's.
pub fn page_of(key: &str) -> String {
    let mut words = key.splitn(3, '.');
    match (words.next(), words.next()) {
        (Some(section), Some(number)) if SECTIONS.iter().any(|one| one.key == section) => format!("{section}.{number}"),
        _ => PACK.into(),
    }
}

/// The address of a control, from any page of its design.
pub fn href(key: &str) -> String {
    format!("{}#{key}", page_of(key))
}

/// The key of the control of a pointer of a part: its own, or the one of the pack that hands the value down.
pub fn key_of(design: &Design, part: &Part, pointer: &str) -> Option<String> {
    let origin = design.origin(part, pointer);
    match origin.strip_prefix(&part.pointer()) {
        Some(own) => Some(format!("{}.{}", part.key(), control(part.entry().fields, own)?)),
        None => document_key(design, &origin).or_else(|| Some(origin.trim_start_matches('/').replace('/', "."))),
    }
}

/// The control of a pointer of a part.
pub fn target(design: &Design, part: &Part, pointer: &str) -> Option<Target> {
    let label = design.head.pack.words(label_of(part.entry().fields, pointer)?);
    Some(Target { href: href(&key_of(design, part, pointer)?), label })
}

/// The key of the control that a pointer of the document leads to.
pub fn document_key(design: &Design, pointer: &str) -> Option<String> {
    for part in &design.parts {
        let below = |own: &&str| own.is_empty() || own.starts_with('/');
        if let Some(own) = pointer.strip_prefix(&part.pointer()).filter(below) {
            if own == "/name" || part.kind.rests.iter().any(|rests| rests.named_at == own) {
                return Some(format!("{}{}", part.key(), own.replace('/', ".")));
            }
            return Some(match control(part.entry().fields, own) {
                Some(key) => format!("{}.{key}", part.key()),
                None => format!("{}.name", part.key()),
            });
        }
    }
    control(HEAD_FIELDS, pointer)
}

/// The faults with the controls they belong to.
pub fn faults_of(sheet: &Sheet) -> Vec<Fault> {
    let of = |fault: &FieldError| {
        let target = document_key(sheet.design, &fault.field);
        let own = sheet.design.parts.iter().find_map(|part| {
            let own = fault.field.strip_prefix(&part.pointer()).filter(|own| own.starts_with('/'))?;
            Some(told_by_group(part.entry().fields, own, fault.clone()))
        });
        Fault::at(target, own.as_ref().unwrap_or(fault))
    };
    sheet.faults.iter().map(of).collect()
}

/// The heading of a summary of faults.
pub fn faults_heading(count: usize) -> String {
    match count {
        1 => "1 value needs a correction".into(),
        count => format!("{count} values need a correction"),
    }
}

/// What was typed of a design, as a form would send it.
pub fn typed_pairs(design: &Design) -> Vec<(String, String)> {
    let empty = Map::new();
    let mut pairs = address_pairs(HEAD_FIELDS, &design.typed, &empty);
    for part in &design.parts {
        let key = part.key();
        pairs.push((format!("{key}.name"), part.name.clone()));
        for (rests, number) in part.kind.rests.iter().zip(&part.rests_on) {
            let number = number.map_or_else(String::new, |number| number.to_string());
            pairs.push((format!("{key}.{}", rests.key()), number));
        }
        let own = address_pairs(part.entry().fields, &part.typed, &empty);
        pairs.extend(own.into_iter().map(|(name, value)| (format!("{key}.{name}"), value)));
    }
    pairs
}

/// The link that types values: one that nobody presses costs nothing.
pub fn set_link(here: &str, values: &[(&str, &str)]) -> String {
    use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};
    let pair = |(key, value): &(&str, &str)| format!("&{key}={}", utf8_percent_encode(value, NON_ALPHANUMERIC));
    format!("set?at={here}{}", values.iter().map(pair).collect::<String>())
}

/// A part in a list of all.
#[derive(Debug)]
pub struct Step {
    /// Its page.
    pub href: String,
    /// Its name.
    pub title: String,
    /// How it stands.
    pub badge: Option<Badge>,
    /// Whether it is the page itself.
    pub here: bool,
}

/// The pack and every part, in order.
pub fn steps(sheet: &Sheet, here: &str) -> Vec<Step> {
    let of = |part: &Part| {
        let found = sheet.assessed.and_then(|assessed| assessed.parts.iter().find(|one| one.part.key() == part.key()));
        let badge = found.map(|one| one.verdict.into());
        Step { here: part.key() == here, href: part.key(), title: part.title(), badge }
    };
    let title = sheet.design.head.pack.words("Pack");
    let pack = Step { here: here == PACK, href: PACK.into(), title, badge: None };
    std::iter::once(pack).chain(sheet.design.parts.iter().map(of)).collect()
}

/// A requirement of a design: which part it belongs to, and how it stands.
#[derive(Debug)]
pub struct DesignRow {
    /// The part's name; nothing when its section has one part.
    pub part: String,
    /// Where to go: to its part, or to the field of what is missing.
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
            check.former = former.and_then(|former| {
                let (was, is) = (&former.check, &row.check);
                let turned = was.verdict != is.verdict;
                let value = match (was.achieved, is.achieved) {
                    (was, is) if was == is => return None,
                    (None, _) => was.without_numbers()[1].into(),
                    (Some(value), None) => say(value, was.unit),
                    (Some(value), Some(now)) => match reached_before(is.required, now, value, is.unit) {
                        Some(printed) => printed.to_string(),
                        None if turned => say(value, was.unit),
                        // What moves by less than is shown did not move.
                        None => return None,
                    },
                };
                Some(if turned { format!("{value}, {}", in_sentence(was.verdict.word())) } else { value })
            });
            let missing = row.check.missing.as_deref().and_then(|pointer| key_of(&assessed.design, part, pointer));
            let place = missing.map_or_else(|| part.key(), |key| href(&key));
            DesignRow { part: part.title(), place, check }
        })
        .collect()
}

/// What no row of the requirements tells: hints of slipped units and of a pack that disagrees with its parts.
pub fn urgent(assessed: &Assessed) -> Vec<FindingRow> {
    hints(assessed, |_| true)
}

/// Those of them that the first page shows.
pub fn first(assessed: &Assessed) -> Vec<FindingRow> {
    hints(assessed, |found| !facts::LATER.contains(&found.code.as_str()))
}

fn hints(assessed: &Assessed, shows: impl Fn(&Finding) -> bool) -> Vec<FindingRow> {
    let found = summary::findings(assessed);
    let of_design = |found: &&Finding| found.code.starts_with("design.") && found.severity != Severity::Fail;
    let hints = found.iter().filter(of_design).filter(|found| shows(found));
    hints.map(|found| finding(found, document_target(assessed, found.field.as_deref()))).collect()
}

/// The control of a pointer of the document.
pub fn document_target(assessed: &Assessed, pointer: Option<&str>) -> Option<Target> {
    let pointer = pointer?;
    for one in &assessed.parts {
        if let Some(own) = pointer.strip_prefix(&one.part.pointer()).filter(|own| own.starts_with('/')) {
            return target(&assessed.design, &one.part, own);
        }
    }
    let label = assessed.design.head.pack.words(label_of(HEAD_FIELDS, pointer)?);
    Some(Target { href: href(&pointer.trim_start_matches('/').replace('/', ".")), label })
}

/// A value that is assumed and not measured.
#[derive(Debug)]
pub struct AssumedRow {
    /// The control.
    pub href: String,
    /// Part and label.
    pub label: String,
    /// Why it is assumed.
    pub why: String,
}

/// The values that are assumed.
pub fn assumed(design: &Design) -> Vec<AssumedRow> {
    let row = |written: &str, why: &str| AssumedRow {
        href: href(written),
        label: summary::long_label(design, written),
        why: why.to_owned(),
    };
    design.head.assumed.iter().map(|one| row(&one.value, &one.why)).collect()
}

/// A value at which a verdict turns.
#[derive(Debug)]
pub struct TurningRow {
    /// The control.
    pub href: String,
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
                href: document_key(&assessed.design, &one.pointer).map_or_else(String::new, |key| href(&key)),
                label: assessed.design.head.pack.words(one.field.label),
                what: if several { format!("{}: {what}", part.title()) } else { what },
                now,
                turns_at,
            }
        })
        .collect()
}

/// The figures that follow from the pack alone; what it does not tell has none.
pub fn pack_figures(assessed: &Assessed) -> Vec<Figure> {
    let pack = &assessed.design.head.pack;
    let (in_series, in_parallel) = (pack.cells_in_series, pack.cells_in_parallel);
    let [volts, capacity, resistance, prospective] = if pack.has_cells() {
        let (series, parallel) = (format!("{in_series} cells in series"), format!("{in_parallel} in parallel"));
        [series, parallel, "direct current, with busbars".into(), "bolted short at the terminals".into()]
    } else {
        let bolted = "bolted short at the terminals; what stands on the link comes on top";
        ["as given", "", "direct current, as given", bolted].map(str::to_owned)
    };
    let figure = |label, value: Option<f64>, unit, note: String| Some(Figure::new(label, value?, unit, note));
    [
        figure("Highest voltage", Some(pack.max_v()), Unit::Volt, volts),
        figure("Nominal voltage", Some(pack.nominal_v()), Unit::Volt, String::new()),
        figure("Lowest voltage", Some(pack.min_v()), Unit::Volt, String::new()),
        figure("Capacity", pack.capacity_ah(), Unit::AmpereHour, capacity),
        figure("Resistance", pack.resistance_ohm(), Unit::Ohm, resistance),
        figure("Prospective current", pack.prospective_a(), Unit::Ampere, prospective),
    ]
    .into_iter()
    .flatten()
    .collect()
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
    let (typed, default) = summary::counts(&assessed.design);
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
            let said = |value: f64| Cell::Within(Quantity::new(value, one.unit));
            Row {
                head: format!("{} at {}", assessed.parts[one.part].part.title(), say(one.at, one.unit)),
                note: one
                    .risk()
                    .map_or_else(String::new, |risk| format!("risk at the limit {}", percent(100.0 * risk))),
                cells: vec![
                    said(one.allowed),
                    said(one.temperature),
                    said(one.ageing),
                    said(one.comes_and_goes),
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
        heads: None,
        caption: "Limits for the end-of-line tester".into(),
        note: "Allowed error less what temperature and ageing add later and what comes and goes, less the tester's own uncertainty; tested at the calibration temperature, after calibration.".into(),
        head: "Test point".into(),
        columns: ["Allowed over life", "Kept for temperature", "Kept for ageing", "Kept for what comes and goes", "Kept for the tester", "Test limit"]
            .map(Column::words)
            .into(),
        rows,
    })
}
