//! # Designs side by side
//!
//! Addresses in; the sentence, the values that differ, the outcomes pair by pair, one picture of the shares, and which
//! value is behind which change.

use askama::Template;
use sensewright_core::calculation::ENGINE;
use sensewright_core::design::compare::{Comparison, InputRow, Move, OutcomeRow};
use sensewright_core::design::comparison::compared;
use sensewright_core::design::ticket::literal;
use sensewright_core::design::{link, summary};
use sensewright_core::field::FieldError;
use sensewright_core::judge::Check;
use sensewright_core::quantity::{Quantity, Unit, in_sentence, say};
use serde_json::Value;

use super::overview::LONG;
use super::{document_key, set_link};
use crate::number::{brief, figure, share};
use crate::plot::dots::{self, Dots};
use crate::result::Badge;
use crate::shell::{Shell, print};

/// How many outcomes the picture shows.
const DRAWN: usize = 14;
/// Values, and outcomes of a list, that the block for a ticket tells one by one.
const TOLD: usize = 6;

#[derive(Template)]
#[template(path = "compare.html")]
struct ComparePage {
    shell: Shell,
    /// The address of the comparison; empty where it would be too long for one.
    address: String,
    boxes: Vec<InputBox>,
    faults: Vec<FaultText>,
    done: Option<Done>,
    notice: Option<String>,
}

/// What is wrong, with the design whose box it belongs to.
struct FaultText {
    letter: Option<char>,
    message: String,
    /// What is accepted, and what was given.
    rest: String,
}

/// A box for an address.
struct InputBox {
    letter: char,
    text: String,
    title: String,
    /// Where the design opens.
    opens: Option<String>,
    /// What is wrong with it.
    errors: Vec<String>,
}

struct Done {
    lead: String,
    more: String,
    letters: Vec<char>,
    inputs: Vec<ValueRow>,
    groups: Vec<Group>,
    drawings: String,
    finding: String,
    causes: Vec<CauseRow>,
    ticket: String,
}

/// Outcomes that move alike.
struct Group {
    title: String,
    folded: bool,
    rows: Vec<OutcomeText>,
    /// Those that move by less than is shown.
    little: Vec<OutcomeText>,
}

struct ValueRow {
    label: String,
    values: Vec<ValueCell>,
    /// Links that put the value of one design into the other: into A, into B.
    take: Vec<[String; 2]>,
}

struct ValueCell {
    text: String,
    new: bool,
}

struct OutcomeText {
    label: String,
    cells: Vec<OutcomeCell>,
    moves: String,
    worse: bool,
}

struct OutcomeCell {
    achieved: String,
    badge: Option<Badge>,
    new: bool,
}

struct CauseRow {
    input: String,
    outcome: String,
    change: String,
}

/// The name of a design by its place.
const LETTERS: [char; 5] = ['A', 'B', 'C', 'D', 'E'];

/// A fault in the words of the page, whose designs have letters.
fn fault_text(fault: &FieldError) -> FaultText {
    let number = fault.field.strip_prefix("/designs/").and_then(|place| place.split('/').next()?.parse::<usize>().ok());
    let found = number.and_then(|at| Some((at, *LETTERS.get(at)?)));
    let message = found.map_or_else(
        || fault.message.clone(),
        |(at, letter)| {
            let own = format!("Design {}: ", at + 1);
            format!("Design {letter}: {}", fault.message.strip_prefix(&own).unwrap_or(&fault.message))
        },
    );
    FaultText {
        letter: found.map(|(_, letter)| letter),
        message,
        rest: format!("Accepted: {}. Given: {}.", fault.accepted, fault.got),
    }
}

fn errors(letter: char, faults: &[FaultText]) -> Vec<String> {
    let own = faults.iter().filter(|fault| fault.letter == Some(letter));
    own.map(|fault| format!("{} {}", fault.message, fault.rest)).collect()
}

/// The page. `asked` holds the addresses as they were given, `done` the comparison when it could be made, `notice` what to
/// say of it.
pub fn compare_page(
    asked: &[String],
    faults: &[FieldError],
    done: Option<&Comparison>,
    notice: Option<String>,
    origin: &str,
) -> String {
    let count = asked.len().clamp(2, LETTERS.len());
    let faults: Vec<FaultText> = faults.iter().map(fault_text).collect();
    let mut boxes: Vec<InputBox> = (0..count)
        .map(|index| {
            let design = done.and_then(|done| done.designs.get(index)).map(|one| &one.design);
            InputBox {
                letter: LETTERS[index],
                text: design.map_or_else(
                    || asked.get(index).cloned().unwrap_or_default(),
                    |design| {
                        link::address(design)
                            .map_or_else(|| link::token(design), |address| format!("{origin}{address}"))
                    },
                ),
                title: design.map_or_else(String::new, |design| design.head.title.clone()),
                opens: design.and_then(link::address),
                errors: errors(LETTERS[index], &faults),
            }
        })
        .collect();
    // Two states of one design have one name.
    let titles: Vec<String> = boxes.iter().map(|one| one.title.clone()).collect();
    for (at, one) in boxes.iter_mut().enumerate() {
        if titles.iter().filter(|title| **title == one.title).count() > 1
            && let Some(design) = done.and_then(|done| done.designs.get(at))
        {
            one.title = format!("{} (fingerprint {})", one.title, summary::fingerprint(&design.design));
        }
    }
    let title = if faults.is_empty() { "Compare designs" } else { "Error: Compare designs" };
    let address = done.and_then(|done| link::comparison(done.designs.iter().map(|one| &one.design)));
    let address = address.map_or_else(String::new, |address| format!("{origin}{address}"));
    let done = done.map(|done| text(done, &address));
    print(&ComparePage { shell: Shell::new(title, "/compare"), address, boxes, faults, done, notice })
}

fn text(done: &Comparison, address: &str) -> Done {
    let count = |wanted: Move| done.outcomes.iter().filter(|row| row.moves.contains(&wanted)).count();
    let appear = done.outcomes.iter().filter(|row| row.checks[0].is_none() && row.moves.contains(&Move::Worse)).count();
    let moves = [
        (count(Move::Worse) - appear, "get worse"),
        (appear, "appear and do not hold"),
        (count(Move::Gone), "are no longer assessed"),
        (count(Move::Better), "get better"),
        (count(Move::New), "appear and hold"),
    ];
    let mut moves: Vec<String> =
        moves.into_iter().filter(|(some, _)| *some > 0).map(|(some, words)| format!("{some} {words}")).collect();
    if moves.is_empty() {
        moves.push("none gets better or worse".into());
    }
    let all = done.inputs.len() + done.same_inputs;
    let moving = done.outcomes.iter().filter(|row| row.differs()).count();
    let drawn: Vec<(&OutcomeRow, Vec<Option<f64>>)> = done
        .outcomes
        .iter()
        .filter(|row| row.differs() && !is_little(row))
        .map(|row| (row, row.checks.iter().map(|check| check.as_ref().and_then(used)).collect()))
        .filter(|(_, used): &(_, Vec<Option<f64>>)| used.iter().any(Option::is_some))
        .take(DRAWN)
        .collect();
    let mut told = Done {
        lead: compared(done),
        more: format!("{} of {all} values differ. Of the outcomes {}.", done.inputs.len(), moves.join(", ")),
        letters: LETTERS[..done.designs.len()].into(),
        inputs: done.inputs.iter().map(|row| value_row(done, row)).collect(),
        groups: groups(done),
        finding: match (drawn.len(), moving) {
            (1, 1) => "One outcome moves".into(),
            (some, all) if some == all => format!("{all} outcomes move"),
            (some, all) => format!("{some} of the {all} outcomes that move"),
        },
        drawings: dots::both(&Dots {
            title: "Share of each allowance used".into(),
            rows: drawn.into_iter().map(|(row, used)| (row.label.clone(), used)).collect(),
        }),
        causes: causes(done),
        ticket: String::new(),
    };
    told.ticket = ticket(done, &told, address);
    told
}

/// The comparison as plain text that is Markdown, too: how each design stands, what differs, what gets worse, the link.
fn ticket(done: &Comparison, told: &Done, address: &str) -> String {
    let mut lines = vec![format!("Compared: {}.\n", literal(&told.lead))];
    let mut line = |head: &str, words: &str| lines.push(format!("- {head}: {}", literal(words)));
    for (letter, one) in LETTERS.iter().zip(&done.designs) {
        let [title, print] = [one.design.head.title.clone(), summary::fingerprint(&one.design)];
        line(&letter.to_string(), &format!("{title}. {}. Fingerprint {print}", summary::lead(one)));
    }
    // The titles stand above already, and notes are no value.
    let is_value = |row: &InputRow| !["/title", "/notes"].contains(&row.pointer.as_str());
    let rows = done.inputs.iter().zip(&told.inputs).filter(|(row, _)| is_value(row));
    let rows: Vec<&ValueRow> = rows.map(|(_, told)| told).collect();
    for row in rows.iter().take(TOLD) {
        let values: Vec<&str> = row.values.iter().map(|cell| cell.text.as_str()).collect();
        line("differs", &format!("{}: {}", row.label, values.join(" → ")));
    }
    if rows.len() > TOLD {
        line("differs", &format!("{} more values", rows.len() - TOLD));
    }
    for group in told.groups.iter().filter(|group| !group.folded) {
        line("outcomes", &in_sentence(&group.title));
        let worse = |row: &&OutcomeText| row.worse;
        for row in group.rows.iter().filter(worse).take(TOLD) {
            let states = row.cells.iter().map(|cell| match &cell.badge {
                // A row without numbers has its word alone.
                Some(badge) if cell.achieved.chars().any(char::is_alphanumeric) => {
                    format!("{} {}", in_sentence(badge.word), cell.achieved)
                }
                Some(badge) => in_sentence(badge.word),
                None => cell.achieved.clone(),
            });
            line("worse", &format!("{}: {}", row.label, states.collect::<Vec<_>>().join(" → ")));
        }
    }
    line("engine", ENGINE);
    line("note", "arithmetic on the values entered; no approval");
    lines.push(match address {
        "" => "- link: none, it would be too long; the designs go as files".into(),
        address => format!("- link: <{address}>"),
    });
    lines.join("\n")
}

/// What gets worse comes first, then what is no longer assessed; what is the same is folded, and in each list what moves by
/// less than is shown.
fn groups(done: &Comparison) -> Vec<Group> {
    let has = |row: &&OutcomeRow, those: &[Move]| row.moves.iter().any(|moved| those.contains(moved));
    let mut left: Vec<&OutcomeRow> = done.outcomes.iter().collect();
    let mut groups = Vec::new();
    for (title, those, folded) in [
        ("Gets worse, or appears and does not hold", &[Move::Worse][..], false),
        ("No longer assessed", &[Move::Gone], false),
        ("Gets better, or appears and holds", &[Move::Better, Move::New], false),
        ("Not given at first, given now", &[Move::Given], false),
        ("Cannot be compared", &[Move::NotComparable], false),
        ("The same", &[Move::Same], true),
    ] {
        let (rows, rest): (Vec<_>, Vec<_>) = left.into_iter().partition(|row| has(row, those));
        left = rest;
        if !rows.is_empty() {
            let title = format!("{title}: {}", rows.len());
            let (little, rows): (Vec<_>, Vec<_>) = rows.into_iter().partition(|row| !folded && is_little(row));
            let texts = |rows: Vec<&OutcomeRow>| rows.into_iter().map(outcome_text).collect();
            groups.push(Group { title, folded, rows: texts(rows), little: texts(little) });
        }
    }
    groups
}

/// The share that is shown; what is a yes or a no has none.
fn used(check: &Check) -> Option<f64> {
    check.used_percent.filter(|_| !check.yes_or_no())
}

/// Most digits of a value of an outcome.
const MOST_DIGITS: usize = 9;

/// Whether an outcome moves by less than is shown: its verdict stays, and value and share read the same in all designs.
fn is_little(row: &OutcomeRow) -> bool {
    let read = |check: &Option<Check>| check.as_ref().map(|check| achieved(check, 4));
    !row.turns() && row.differs() && row.checks.iter().all(|check| read(check) == read(&row.checks[0]))
}

/// What is reached, with so many digits, and the share used.
fn achieved(check: &Check, digits: usize) -> String {
    let share = used(check).map_or_else(String::new, |used| format!(" ({}\u{202f}%)", share(used)));
    let value = match check.achieved {
        Some(0.0) => say(0.0, check.unit),
        Some(value) => figure(Quantity::new(value, check.unit), digits).to_string(),
        None => check.without_numbers()[1].into(),
    };
    format!("{value}{share}")
}

/// As many digits as tell all values that are apart from each other: four, or more.
fn digits(row: &OutcomeRow) -> usize {
    let values: Vec<(f64, Unit)> =
        row.checks.iter().flatten().filter_map(|check| Some((check.achieved?, check.unit))).collect();
    let told = |digits: usize| {
        let read = |at: usize| figure(Quantity::new(values[at].0, values[at].1), digits).to_string();
        (0..values.len()).all(|at| (0..at).all(|other| values[at].0 == values[other].0 || read(at) != read(other)))
    };
    (4..MOST_DIGITS).find(|digits| told(*digits)).unwrap_or(MOST_DIGITS)
}

fn outcome_text(row: &OutcomeRow) -> OutcomeText {
    // Of what moves by less than is shown no digits are made up to show it.
    let little = is_little(row);
    let digits = if little { 4 } else { digits(row) };
    OutcomeText {
        label: row.label.clone(),
        cells: row
            .checks
            .iter()
            .enumerate()
            .map(|(index, check)| OutcomeCell {
                achieved: check.as_ref().map_or("not there".into(), |check| achieved(check, digits)),
                badge: check.as_ref().map(|check| check.verdict.into()),
                new: index > 0 && !little && row.moves[index - 1] != Move::Same,
            })
            .collect(),
        moves: (1..row.checks.len()).map(|at| moved_words(row, at)).collect::<Vec<_>>().join(", "),
        worse: row.moves.iter().any(|moved| matches!(moved, Move::Worse | Move::Gone)),
    }
}

/// How a design moves an outcome; one that the first design has not is new, and says how it stands.
fn moved_words(row: &OutcomeRow, at: usize) -> String {
    match (&row.checks[0], &row.checks[at]) {
        (None, Some(now)) => format!("new, {}", in_sentence(now.verdict.word())),
        _ => row.moves[at - 1].word().into(),
    }
}

/// The links that put the value of one of two designs into the other; none where it is no value of a field.
fn take_over(done: &Comparison, row: &InputRow) -> Vec<[String; 2]> {
    let ([a, b], Some(field)) = (&done.designs[..], row.field) else { return Vec::new() };
    // A name is no property of a design.
    if row.places.iter().flatten().any(|place| place == "/title") {
        return Vec::new();
    }
    let into =
        |design: &sensewright_core::design::Design, place: Option<&String>, value: Option<&Value>, word: &str| {
            let key = document_key(design, place?)?;
            let text = field.echo(value, true);
            Some([format!("{}{}", link::address(design)?, set_link("", &[(key.as_str(), &text)])), word.to_owned()])
        };
    let place = |at: usize, other: usize| row.places[at].as_ref().or(row.places[other].as_ref());
    let into_a = into(&a.design, place(0, 1), row.values[1].as_ref(), "into A");
    let into_b = into(&b.design, place(1, 0), row.values[0].as_ref(), "into B");
    [into_a, into_b].into_iter().flatten().collect()
}

fn value_row(done: &Comparison, row: &InputRow) -> ValueRow {
    let said = |value: &Option<Value>| match (value, row.field) {
        (None, _) => "not given".into(),
        (Some(Value::Number(number)), Some(field)) => {
            let quantity = Quantity::new(number.as_f64().unwrap_or(0.0), field.unit().unwrap_or(Unit::One));
            brief(quantity, 6).to_string()
        }
        (Some(value), Some(field)) => {
            let text = field.echo(Some(value), false).replace('\n', "; ");
            if text.is_empty() { "empty".into() } else { text }
        }
        (Some(Value::String(text)), None) => text.clone(),
        (Some(other), None) => other.to_string(),
    };
    let values = row.values.iter().map(|value| ValueCell { text: said(value), new: *value != row.values[0] }).collect();
    ValueRow { label: row.label.clone(), values, take: take_over(done, row) }
}

/// Smaller effects read as nothing.
const LEAST_EFFECT: f64 = 0.05;

/// Which value is behind which change: the largest effects of one exchanged value.
fn causes(done: &Comparison) -> Vec<CauseRow> {
    let mut all: Vec<(f64, CauseRow)> = done
        .inputs
        .iter()
        .flat_map(|row| {
            let shown = row.effects.iter().filter(|effect| effect.change_percent.abs() >= LEAST_EFFECT);
            shown.take(3).map(|effect| {
                let sign = if effect.change_percent > 0.0 { "+" } else { "−" };
                let change = CauseRow {
                    input: row.label.clone(),
                    outcome: done.outcomes[effect.outcome].label.clone(),
                    change: format!("{sign}{}", share(effect.change_percent.abs())),
                };
                (effect.change_percent.abs(), change)
            })
        })
        .collect();
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    all.into_iter().take(12).map(|(_, row)| row).collect()
}
