//! # What fails first, and what turns it
//!
//! Each cause with the changes that turn it, as links: every one was tried on the whole design, and Back undoes it.

use sensewright_core::design::assess::{Assessed, Row};
use sensewright_core::design::levers::{Cause, Lever, Levers};
use sensewright_core::design::summary::{effect, lever_label, long_label, room, takes_most, what_it_does};
use sensewright_core::design::ticket;
use sensewright_core::design::turning::unit_of;
use sensewright_core::field::{Kind, tree};
use sensewright_core::quantity::{in_sentence, say_change};

use super::{document_key, href, set_link};
use crate::result::{Badge, Target};

/// Changes of one cause that stand open; the others are folded.
const OPEN: usize = 3;
/// Causes that stand open; the others are folded.
const OPEN_CAUSES: usize = 4;
/// What was not tried.
const NOT_MOVED: &str =
    "What is given (cells, loads, slopes, hazards, allowances) and what is chosen from a list was not moved.";

/// What fails first, worst first.
#[derive(Debug, Default)]
pub struct CauseList {
    /// The causes that stand open.
    pub open: Vec<CauseRow>,
    /// Those that are folded.
    pub folded: Vec<CauseRow>,
    /// How many there are beyond these.
    pub more: usize,
}

/// A cause.
#[derive(Debug)]
pub struct CauseRow {
    /// How its rows stand.
    pub badge: Badge,
    /// The page of its part.
    pub href: String,
    /// Part and requirement.
    pub label: String,
    /// Required, achieved, used.
    pub figures: String,
    /// How many rows it has besides.
    pub more_rows: usize,
    /// The nearest changes that turn it.
    pub levers: Vec<LeverRow>,
    /// Further ones.
    pub further: Vec<LeverRow>,
    /// What does not turn it, or makes something else worse, in sentences.
    pub not: Vec<String>,
    /// What these are, in words.
    pub not_words: &'static str,
    /// What to say where nothing is offered.
    pub none: String,
    /// What has to be given before anything can turn it.
    pub first: Vec<Target>,
}

/// A change that turns a cause.
#[derive(Debug)]
pub struct LeverRow {
    /// The link that makes it.
    pub href: String,
    /// The value.
    pub label: String,
    /// What it is.
    pub now: String,
    /// What it becomes.
    pub then: String,
    /// What that does to the whole.
    pub effect: String,
    /// The value that leaves room, where this one leaves little.
    pub room: Option<Target>,
}

/// Where the links of causes lead, and what stands behind them.
pub struct Ways<'a> {
    /// To a requirement.
    pub row: &'a dyn Fn(&Row) -> Target,
    /// To the whole with a value of a lever.
    pub set: &'a dyn Fn(&Lever, f64) -> Option<String>,
    /// To a value.
    pub value: &'a dyn Fn(&str) -> Option<Target>,
    /// What a lever does.
    pub effect: &'a dyn Fn(&Lever) -> String,
}

/// The causes of a design, worst first.
pub fn causes(assessed: &Assessed, found: &Levers) -> CauseList {
    let design = &assessed.design;
    let ways = Ways {
        row: &|row| {
            let part = &assessed.parts[row.part].part;
            Target { href: part.key(), label: format!("{}: {}", part.title(), in_sentence(&row.check.label)) }
        },
        set: &|lever, value| {
            let key = document_key(design, &lever.pointer)?;
            Some(set_link("", &[(key.as_str(), &typed(assessed, lever, value))]))
        },
        value: &|pointer| {
            let key = document_key(design, pointer)?;
            Some(Target { href: href(&key), label: long_label(design, &key) })
        },
        effect: &|lever| effect(assessed, lever),
    };
    cause_list(assessed, found, &ways)
}

/// The causes, worst first, with links that lead where they are told to.
pub fn cause_list(assessed: &Assessed, found: &Levers, ways: &Ways) -> CauseList {
    let mut open: Vec<CauseRow> = found.causes.iter().map(|cause| cause_row(assessed, cause, ways)).collect();
    let folded = open.split_off(open.len().min(OPEN_CAUSES));
    CauseList { open, folded, more: found.more }
}

fn cause_row(assessed: &Assessed, cause: &Cause, ways: &Ways) -> CauseRow {
    let row = &assessed.requirements[cause.rows[0]];
    let Target { href, label } = (ways.row)(row);
    let mut levers: Vec<LeverRow> =
        cause.offered.iter().filter_map(|lever| lever_row(assessed, cause, lever, ways)).collect();
    let further = levers.split_off(levers.len().min(OPEN));
    let sentence = |lever: &Lever| format!("{}.", what_it_does(assessed, cause, lever));
    let mut not: Vec<String> = cause.not_offered.iter().map(sentence).collect();
    not.extend(
        cause
            .closest
            .iter()
            .map(|lever| format!("No single value up to ten times as far does it; nearest comes {}", sentence(lever))),
    );
    let first: Vec<Target> = cause.first.iter().filter_map(|pointer| (ways.value)(pointer)).collect();
    let mut none: String = match (levers.is_empty(), cause.not_offered.is_empty()) {
        (false, _) => String::new(),
        _ if !first.is_empty() => String::new(),
        (true, false) => format!(
            "No change of one value of a part, up to ten times of it, turns it without making something else worse. {NOT_MOVED}"
        ),
        (true, true) => format!("No single value of its parts turns it, up to ten times of it. {NOT_MOVED}"),
    };
    if !none.is_empty() {
        none = [none, takes_most(assessed, cause)].join(" ").trim_end().into();
    }
    CauseRow {
        badge: row.check.verdict.into(),
        href,
        label,
        figures: ticket::stands(row),
        more_rows: cause.rows.len() - 1,
        levers,
        further,
        not,
        not_words: if cause.not_offered.is_empty() {
            "what does not turn it"
        } else {
            "what makes something else worse"
        },
        none,
        first,
    }
}

fn lever_row(assessed: &Assessed, cause: &Cause, lever: &Lever, ways: &Ways) -> Option<LeverRow> {
    let [now, then] = say_change(lever.now, lever.turns.value, unit_of(lever.field));
    Some(LeverRow {
        href: (ways.set)(lever, lever.turns.value)?,
        label: lever_label(assessed, cause, lever),
        now: now.to_string(),
        then: then.to_string(),
        effect: (ways.effect)(lever),
        room: lever
            .holds
            .as_ref()
            .and_then(|step| Some(Target { href: (ways.set)(lever, step.value)?, label: room(lever)? })),
    })
}

/// What is typed for a value of a lever: a plain number in the base unit, so that the very value is read that was tried; of a
/// cell its list.
fn typed(assessed: &Assessed, lever: &Lever, number: f64) -> String {
    let part = &assessed.parts[lever.part].part;
    let inside = lever.pointer.strip_prefix(&part.pointer()).unwrap_or_default();
    let cell = tree::cell(part.entry().fields, inside);
    let list = cell.and_then(|(list, _, column)| Some((list, tree::declared(part.entry().fields, list)?, column)));
    let Some((at, field, column)) = list else { return number.to_string() };
    let mut rows = tree::at(&part.input, at).cloned().unwrap_or_default();
    if let Some(cell) = rows.pointer_mut(&inside[at.len()..]) {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a whole number of its range")]
        let whole = number as u64;
        *cell = if matches!(column.kind, Kind::Whole { .. }) { whole.into() } else { number.into() };
    }
    field.echo(Some(&rows), true)
}
