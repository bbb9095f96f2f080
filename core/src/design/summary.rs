//! # What is said of a design as a whole
//!
//! The verdict in one sentence, the findings of all parts at their places, what is not assessed, where the values come
//! from: said once for the interface, the worksheet, the report and the ticket.

use serde_json::Value;

use super::assess::{Assessed, Row};
use super::levers::{Cause, Lever, Step};
use super::pack::Pack;
use super::turning::{Turning, unit_of};
use super::{Design, Part, agree, facts, link, section, slip, starts};
use crate::field::{Field, Group, tree};
use crate::judge::Verdict;
use crate::quantity::{Quantity, Unit, in_sentence, say, say_change};
use crate::report::{Finding, caution};

/// What turns at a value, in words.
pub fn what_turns(one: &Turning) -> String {
    let (verb, side) = match (one.holds_now, one.turns_at > one.now) {
        (true, true) => ("fails", "above"),
        (true, false) => ("fails", "below"),
        (false, true) => ("holds", "from"),
        (false, false) => ("holds", "up to"),
    };
    format!("{} {verb} {side}", in_sentence(&one.requirement))
}

/// Where a row that holds would turn, in words: "Would turn above 12.3 mΩ; now 10 mΩ: Resistance (Shunt)".
pub fn would_turn(assessed: &Assessed, one: &Turning) -> String {
    let [now, turns_at] = say_change(one.now, one.turns_at, unit_of(one.field));
    let part = one.part.map(|part| &assessed.parts[part].part);
    let name = part.and_then(|part| name_in(part, one.pointer.strip_prefix(&part.pointer())?));
    let name = assessed.design.head.pack.words(&name.unwrap_or_else(|| one.field.label.into()));
    let other =
        part.filter(|_| one.part != Some(one.of_part)).map_or_else(String::new, |part| format!("{}: ", part.title()));
    let side = if one.turns_at > one.now { "above" } else { "below" };
    format!("Would turn {side} {turns_at}; now {now}: {other}{name}")
}

/// What a reader calls a value of a part: a cell of a list with the name of its row, or the number of one without.
fn name_in(part: &Part, inside: &str) -> Option<String> {
    let fields = part.entry().fields;
    let Some((list, row, column)) = tree::cell(fields, inside) else { return tree::name(fields, inside) };
    let name = tree::at(&part.input, &format!("{list}/{row}/name")).and_then(Value::as_str);
    let nameless = || format!("{}, row {}", column.label, row.parse::<usize>().unwrap_or(0) + 1);
    Some(name.map_or_else(nameless, |name| format!("{name}, {}", column.label.to_lowercase())))
}

/// What a reader calls the value of a lever: with its part where that is not the part of the row that it turns.
pub fn lever_label(assessed: &Assessed, cause: &Cause, lever: &Lever) -> String {
    value_label(assessed, cause, lever.part, &lever.pointer, lever.field)
}

fn value_label(assessed: &Assessed, cause: &Cause, at: usize, pointer: &str, field: &Field) -> String {
    let part = &assessed.parts[at].part;
    let name = pointer.strip_prefix(&part.pointer()).and_then(|inside| name_in(part, inside));
    let name = assessed.design.head.pack.words(&name.unwrap_or_else(|| field.label.into()));
    let own = cause.rows.first().is_some_and(|row| assessed.requirements[*row].part == at);
    if own { name } else { format!("{}: {name}", part.title()) }
}

/// What takes most of the first row of a cause, and which values move it most; nothing where neither is known.
pub fn takes_most(assessed: &Assessed, cause: &Cause) -> String {
    let check = cause.rows.first().map(|row| &assessed.requirements[*row].check);
    let largest = check.and_then(|check| check.largest.as_ref()).map(|largest| format!("Largest part: {largest}."));
    let named = cause
        .strongest
        .iter()
        .filter_map(|one| Some(in_sentence(&value_label(assessed, cause, one.part?, &one.pointer, one.field))));
    let named: Vec<String> = named.collect();
    let strongest = match named.as_slice() {
        [] => None,
        [one] => Some(format!("It is moved by {one} alone.")),
        [more @ .., last] => Some(format!("It is moved most by {} and {last}.", more.join(", "))),
    };
    largest.into_iter().chain(strongest).collect::<Vec<_>>().join(" ")
}

/// What a lever does, in words: "Rated pulse energy 7 J → 72 J: 5 fail instead of 6; this row then thin, 99.9 %", with what
/// gets worse where something does.
pub fn what_it_does(assessed: &Assessed, cause: &Cause, lever: &Lever) -> String {
    let [now, then] = say_change(lever.now, lever.turns.value, unit_of(lever.field));
    let does: Vec<String> = std::iter::once(effect(assessed, lever)).chain(room(lever)).collect();
    format!("{} {now} → {then}: {}", lever_label(assessed, cause, lever), does.join("; "))
}

/// From which value on a lever leaves its row room, in words; nothing where it does so at once, or never.
pub fn room(lever: &Lever) -> Option<String> {
    let step = lever.holds.as_ref()?;
    let side = if step.value > lever.now { "from" } else { "up to" };
    let [_, value] = say_change(lever.now, step.value, unit_of(lever.field));
    Some(format!("{side} {value} {}", stands(step)))
}

/// What the nearest value of a lever does to the whole design, in words.
pub fn effect(assessed: &Assessed, lever: &Lever) -> String {
    let step = &lever.turns;
    let (fails, open) = (assessed.count(Verdict::Fails), open(assessed));
    let mut does: Vec<String> = Vec::new();
    if (step.fails, step.open) != (fails, open) {
        let fail = match step.fails {
            0 => "none fails".into(),
            1 => "1 fails".into(),
            some => format!("{some} fail"),
        };
        let told = if step.open == open { String::new() } else { format!(", {} instead of {open} open", step.open) };
        does.push(format!("{fail} instead of {fails}{told}"));
    }
    does.push(format!("this row then {}", stands(step)));
    let label = |row: &usize| in_sentence(&assessed.requirements[*row].check.label);
    let waits = |row: &usize| assessed.requirements[*row].check.verdict == Verdict::NotJudged;
    let worse = |row: &usize| if waits(row) { format!("{}, not judged now,", label(row)) } else { label(row) };
    match step.breaks.as_slice() {
        [] => {}
        [one] => does.push(format!("worse then: {}", worse(one).trim_end_matches(','))),
        [one, more @ ..] => does.push(format!("worse then: {} and {} more", worse(one), more.len())),
    }
    if let [(row, [was, is]), more @ ..] = step.strained.as_slice() {
        let check = &assessed.requirements[*row].check;
        let more = if more.is_empty() { String::new() } else { format!(" and {} more", more.len()) };
        if check.verdict == Verdict::Fails {
            let [was, is] = [*was, *is].map(|used| say(used, Unit::Percent));
            does.push(format!("{} fails by more then: {was} → {is}{more}", label(row)));
        } else {
            let [was, is] = [*was, *is].map(|reached| say(reached, check.unit));
            does.push(format!("nobody judges {}, and it becomes harder: {was} → {is}{more}", label(row)));
        }
    }
    // A row that reaches nothing fails by no share: what is asked of it may be moved all the same.
    let limit = assessed.requirements.iter().find(|row| {
        let own = lever.pointer.strip_prefix(&assessed.parts[row.part].part.pointer());
        let is_limit = own.is_some() && own == row.check.field.as_deref() && row.check.required.is_some();
        is_limit && row.check.verdict == Verdict::Fails && row.check.achieved.is_none()
    });
    if let Some(row) = limit {
        let [was, is] = [lever.now, step.value].map(|value| say(value, row.check.unit));
        does.push(format!("{} is asked for {is} then, not {was}", in_sentence(&row.check.label)));
    }
    does.join("; ")
}

/// How a row stands, with its share rounded away from the limit.
fn stands(step: &Step) -> String {
    let word = in_sentence(step.verdict.word());
    let Some(used) = step.used_percent.filter(|used| *used != 0.0) else { return word };
    let tenths = if used > 100.0 { (used * 10.0).ceil() } else { (used * 10.0).floor() };
    format!("{word}, {}", Quantity::new(tenths / 10.0, Unit::Percent).fixed(0, 1))
}

/// How many requirements cannot be told.
fn open(assessed: &Assessed) -> usize {
    assessed.count(Verdict::NotResolved) + assessed.count(Verdict::NotJudged)
}

/// The findings of all parts at their places in the document, and the unit-slip hints.
pub fn findings(assessed: &Assessed) -> Vec<Finding> {
    let mut found: Vec<Finding> = slip::hints(&assessed.design);
    for hint in &mut found {
        hint.message = assessed.design.head.pack.words(&hint.message);
    }
    found.extend(agree::disagreements(&assessed.design));
    found.extend(assessed.told_twice.iter().cloned());
    found.extend(facts::told_once(&assessed.design));
    for one in &assessed.parts {
        found.extend(one.answer.findings.iter().cloned().map(|mut finding| {
            finding.field = finding.field.map(|pointer| assessed.design.origin(&one.part, &pointer));
            finding
        }));
    }
    found.extend(link::without_address(&assessed.design));
    found.sort_by_key(|finding| finding.severity);
    found
}

/// What is not part of the design.
pub fn absent(assessed: &Assessed) -> Vec<String> {
    section::SECTIONS
        .iter()
        .filter(|section| assessed.of(section.key).next().is_none())
        .filter(|section| section.kinds.iter().any(|kind| assessed.design.has_no_place_for(kind).is_none()))
        .map(|section| section.absent.to_owned())
        .collect()
}

/// The verdict in one sentence.
pub fn lead(assessed: &Assessed) -> String {
    told(assessed, |_| 0)
}

/// The verdict in one sentence, with how many of each word stand on values that nobody typed.
pub fn lead_on_start(assessed: &Assessed, on_start: impl Iterator<Item = usize>) -> String {
    let verdicts: Vec<Verdict> = on_start.map(|place| assessed.requirements[place].check.verdict).collect();
    told(assessed, |verdict| verdicts.iter().filter(|one| **one == verdict).count())
}

fn told(assessed: &Assessed, on_start: impl Fn(Verdict) -> usize) -> String {
    let count = |verdict| assessed.count(verdict);
    let noted = |verdict| match on_start(verdict) {
        0 => String::new(),
        some => format!(" ({some} on start values)"),
    };
    let (fail, thin) = (count(Verdict::Fails), count(Verdict::Thin));
    let (unresolved, unjudged) = (count(Verdict::NotResolved), count(Verdict::NotJudged));
    let open = open(assessed);
    let judged = fail + thin + open + count(Verdict::Holds);
    if judged == 0 {
        return "No requirement is set: nothing is judged".into();
    }
    let holds = |number: usize| if number == 1 { "holds" } else { "hold" };
    let mut words = match (fail + open, thin) {
        (0, 0) if judged == 1 => "The requirement holds".into(),
        (0, 0) => format!("All {judged} requirements hold"),
        _ => {
            let well = judged - fail - thin - open;
            format!("{well} of {judged} requirements {}", holds(well))
        }
    };
    words += &noted(Verdict::Holds);
    let counted = |verdict, one: &str, many: &str| match count(verdict) {
        0 => String::new(),
        1 => format!(", 1 {one}{}", noted(verdict)),
        some => format!(", {some} {many}{}", noted(verdict)),
    };
    words += &counted(Verdict::Thin, "is thin", "are thin");
    words += &counted(Verdict::NotResolved, "is not resolved", "are not resolved");
    words += &counted(Verdict::NotJudged, "is not judged", "are not judged");
    words += &counted(Verdict::Fails, "fails", "fail");
    let named = if fail > 0 { Verdict::Fails } else { Verdict::Thin };
    let worst: Vec<&Row> = assessed.requirements.iter().filter(|row| row.check.verdict == named).collect();
    if let (Some(row), true) = (worst.first(), fail + thin > 0) {
        // The name stands behind what it names.
        words += match (named, worst.len()) {
            (Verdict::Thin, _) if unresolved + unjudged > 0 => "; thin: ",
            (_, 1) => ": ",
            _ => ", worst: ",
        };
        words += &in_sentence(&row.check.label);
    }
    words
}

/// Where a value comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    /// Somebody typed it.
    Typed,
    /// Somebody typed it and said that nobody measured it.
    Assumed,
    /// It follows from the pack, or is the pack's.
    Pack,
    /// Another part hands it on.
    Part,
    /// It stands where it starts.
    Start,
    /// It has no value until it is typed.
    Open,
}

/// Every value of a design by its place in the document, and where it comes from. What is unknown and may be is left out.
pub fn origins(design: &Design) -> Vec<(String, Source)> {
    let mut found = Vec::new();
    let head = design.head_values();
    let idle = design.head.pack.idle();
    let assumed = |key: String| design.head.assumed.iter().any(|one| one.value == key);
    let typed = |key: String| if assumed(key) { Source::Assumed } else { Source::Typed };
    tree::walk(super::Head::FIELDS, &mut |pointer, _| {
        if idle.contains(&pointer) {
            // Typed or not, it counts nowhere.
        } else if tree::at(&design.typed, pointer).is_some() {
            found.push((pointer.into(), typed(pointer.trim_start_matches('/').replace('/', "."))));
        } else if tree::at(&head, pointer).is_some() {
            found.push((pointer.into(), Source::Start));
        }
    });
    for part in &design.parts {
        let open = starts::waits_for(design, part);
        let of_the_head = part.kind.bound.iter().filter(|bound| bound.is_of_the_head());
        let bound: Vec<&str> = of_the_head.map(|bound| bound.to).collect();
        let handed: Vec<&str> = part.handed_down().collect();
        let below = |all: &[&str], pointer: &str| {
            all.iter().any(|one| pointer.strip_prefix(one).is_some_and(|rest| rest.is_empty() || rest.starts_with('/')))
        };
        tree::walk(part.entry().fields, &mut |pointer, _| {
            let from = if below(&bound, pointer) {
                Some(Source::Pack)
            } else if below(&handed, pointer) {
                Some(Source::Part)
            } else if tree::at(&part.typed, pointer).is_some() {
                Some(typed(format!("{}{}", part.key(), pointer.replace('/', "."))))
            } else if open.iter().any(|(_, other)| *other == pointer) {
                Some(Source::Open)
            } else {
                let from = if starts::follows(design, part, pointer) { Source::Pack } else { Source::Start };
                tree::at(&part.input, pointer).map(|_| from)
            };
            found.extend(from.map(|from| (format!("{}{pointer}", part.pointer()), from)));
        });
    }
    found
}

/// How many values were typed, and how many stand as they start or follow from the pack; what is handed down is counted
/// where it stands.
pub fn counts(design: &Design) -> (usize, usize) {
    let all = origins(design);
    let count = |those: &[Source]| all.iter().filter(|(_, from)| those.contains(from)).count();
    let typed = count(&[Source::Typed, Source::Assumed]);
    let bounds = design.parts.iter().flat_map(|part| part.kind.bound);
    let bound = bounds.filter(|bound| bound.is_of_the_head()).count();
    (typed, count(&[Source::Start, Source::Pack]).saturating_sub(bound))
}

/// Cautions that the pack alone makes real.
pub fn pack_cautions(pack: &Pack) -> Vec<String> {
    let touch = caution::touch(pack.max_v());
    let touch = touch.map(|touch| format!("{touch} This page calculates; it does not make anything safe."));
    touch.into_iter().chain(pack.prospective_a().and_then(caution::arc)).map(|told| pack.words(&told)).collect()
}

/// Cautions of the pack and of all parts, each once.
pub fn cautions(assessed: &Assessed) -> Vec<String> {
    let mut told = pack_cautions(&assessed.design.head.pack);
    for caution in assessed.parts.iter().flat_map(|part| &part.answer.cautions) {
        if !told.contains(caution) {
            told.push(caution.clone());
        }
    }
    told
}

/// Eight letters that change with any input: the check sum of the document.
pub fn fingerprint(design: &Design) -> String {
    format!("{:08X}", crc32fast::hash(Value::Object(design.write()).to_string().as_bytes()))
}

/// The verdict in a word, and in figures of how many requirements: for a sign and for a preview, which tell no value.
pub fn short(assessed: &Assessed) -> (Verdict, String) {
    let count = |verdict| assessed.count(verdict);
    let (fails, thin, open) = (count(Verdict::Fails), count(Verdict::Thin), open(assessed));
    let all = assessed.requirements.len() - count(Verdict::NoLimitSet);
    match (fails, open) {
        _ if all == 0 => (Verdict::NoLimitSet, "nothing judged".into()),
        (0, 0) if thin > 0 => (Verdict::Thin, format!("holds, thin {thin} of {all} thin")),
        (0, 0) => (Verdict::Holds, format!("holds all {all}")),
        (0, open) => (Verdict::NotJudged, format!("not judged {open} of {all} open")),
        (fails, 0) => (Verdict::Fails, format!("fails {fails} of {all}")),
        (fails, open) => (Verdict::Fails, format!("fails {fails} of {all}, {open} open")),
    }
}

/// What a reader calls the value of a key such as `current.1.shunt.tcr_ppm_per_k`: its part, its label, its group.
pub fn long_label(design: &Design, key: &str) -> String {
    let of_part = design.parts.iter().find_map(|part| {
        let own = key.strip_prefix(&part.key())?;
        (own.is_empty() || own.starts_with('.')).then(|| (part, own.replace('.', "/")))
    });
    let Some((part, own)) = of_part else {
        let pointer = format!("/{}", key.replace('.', "/"));
        let name = tree::name(super::HEAD_FIELDS, &pointer);
        return name.map_or_else(|| key.to_owned(), |name| design.head.pack.words(&name));
    };
    let tie = part.kind.rests.iter().find(|rests| rests.named_at == own).map(|rests| rests.label.to_owned());
    let label = match own.as_str() {
        "/name" => Some("Name".to_owned()),
        own => tie.or_else(|| tree::name(part.entry().fields, own)),
    };
    format!("{}: {}", part.title_among(&design.parts), design.head.pack.words(&label.unwrap_or(own)))
}
