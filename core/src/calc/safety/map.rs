//! The fault map of each goal, and modes against checks.

use super::glance::{SafetyGlance, SafetySees};
use super::input::{Goal, SafetyInput};
use super::output::{SafetyMode, SafetyOutput};
use crate::quantity::{Quantity, Unit, say, second};
use crate::report::kit::Columns;
use crate::report::{Axis, Cell, Spot, Spots, Table};

/// Modes in a map at most: those that violate most.
const SHOWN: usize = 60;

/// A mode that stands in a map.
struct Placed<'a> {
    mode: &'a SafetyMode,
    deviation: f64,
    /// From the fault to the safe state.
    handled_s: Option<f64>,
}

/// A map of each goal into which something is inserted.
pub(super) fn maps(input: &SafetyInput, result: &SafetyOutput) -> Vec<Spots> {
    input.judged_goals().iter().enumerate().filter_map(|(place, goal)| map(place, goal, result)).collect()
}

fn map(of_goal: usize, goal: &Goal, result: &SafetyOutput) -> Option<Spots> {
    let harm = goal.harm()?;
    let own = result.modes.iter().filter(|mode| mode.of_goal == of_goal);
    let all: Vec<Placed> = own.filter_map(|mode| place(mode, goal)).collect();
    // The link's channel of a pre-charge is harmed by other readings: its modes stand in the tables.
    let (placed, others): (Vec<Placed>, Vec<Placed>) = all.into_iter().partition(|one| goal.minds(one.deviation > 0.0));
    if placed.is_empty() {
        return None;
    }
    let (all, shown) = (placed.len(), &placed[..placed.len().min(SHOWN)]);
    let most = shown.iter().map(|one| one.mode.mode_fit).fold(f64::MIN_POSITIVE, f64::max);
    let mut shapes: Vec<String> = Vec::new();
    let mut spots = Vec::with_capacity(shown.len());
    for one in shown {
        let first = one.mode.worst.as_ref().and_then(|worst| worst.seen_by.clone());
        let shape = first.map(|name| {
            shapes.iter().position(|known| *known == name).unwrap_or_else(|| {
                shapes.push(name);
                shapes.len() - 1
            })
        });
        spots.push(Spot {
            x: one.deviation,
            span: [one.mode.deviates_from, one.mode.deviates_to].map(|end| end.unwrap_or(one.deviation)),
            y: one.handled_s,
            share: one.mode.mode_fit / most,
            shape,
            label: format!("{}, {}", one.mode.component, one.mode.mode),
        });
    }
    let unit = goal.reads.unit();
    let number = of_goal + 1;
    let dangerous = format!("{} or more does harm", say(harm, unit));
    let left_out = match all + others.len() - shown.len() {
        0 => String::new(),
        more => format!(" {more} more are in the answer."),
    };
    Some(Spots {
        id: format!("faults-{number}"),
        finding: finding(goal, &placed),
        conditions: format!(
            "Each mode at the deviation that is handled last; its area is its rate. Red: {dangerous}, and handled too late or never.{left_out}"
        ),
        title: format!("{}: how far off each fault reads, and how soon it is handled", goal.name),
        x: Axis::linear("deviation of the reading", unit),
        y: Axis::log("handled after", Unit::Second),
        never: "never".into(),
        matters: (harm, [goal.minds(false), goal.minds(true)]),
        latest: goal.ftti_s,
        shapes,
        spots,
        table: table(number, goal, shown),
    })
}

/// A mode with its deviation that is handled last; nothing where nothing is dangerous.
fn place<'a>(mode: &'a SafetyMode, goal: &Goal) -> Option<Placed<'a>> {
    let worst = mode.worst.as_ref()?;
    let handled_s = worst.time_s.map(|time| time + goal.reaction_s.unwrap_or(0.0));
    Some(Placed { mode, deviation: worst.deviation, handled_s })
}

fn finding(goal: &Goal, placed: &[Placed]) -> String {
    let open = placed.iter().filter(|one| one.handled_s.is_none()).count();
    let late = |one: &&Placed| one.handled_s.zip(goal.ftti_s).is_some_and(|(time, ftti)| time > ftti * (1.0 + 1e-9));
    let late = placed.iter().filter(late).count();
    let all = placed.len();
    match (open, late) {
        (0, 0) => format!("{}: each of {all} dangerous modes is seen in time", goal.name),
        (0, late) => format!("{}: {late} of {all} dangerous modes are handled too late", goal.name),
        (open, 0) => format!("{}: {open} of {all} dangerous modes can deviate unseen", goal.name),
        (open, late) => {
            format!("{}: {open} of {all} dangerous modes can deviate unseen, {late} are handled too late", goal.name)
        }
    }
}

fn table(number: usize, goal: &Goal, placed: &[Placed]) -> Table {
    let unit = goal.reads.unit();
    let name = |_: usize, one: &Placed| format!("{}, {}", one.mode.component, one.mode.mode);
    Columns::new(&format!("faults-{number}-values"), &format!("Fault map: {}", goal.name), "Mode", placed, name)
        .column("Deviation", unit, |one| one.deviation)
        .words("Handled after", |one| one.handled_s.map_or(Cell::from("never"), |time| Cell::Of(second(time))))
        .words("First seen by", |one| {
            one.mode.worst.as_ref().and_then(|worst| worst.seen_by.clone()).unwrap_or_else(|| "nobody".into())
        })
        .column("Rate", Unit::Fit, |one| one.mode.mode_fit)
        .table()
}

/// Modes against checks; nothing where no check looks at a deviation.
pub(super) fn matrix(input: &SafetyInput, modes: &[SafetyMode]) -> Option<Table> {
    let own: Vec<&SafetyMode> = modes.iter().filter(|mode| !mode.glances.is_empty()).collect();
    let looks = |name: &str| own.iter().any(|mode| mode.glances.iter().any(|one| one.check == name));
    let checks: Vec<&str> = input.checks.iter().map(|check| check.name.as_str()).filter(|name| looks(name)).collect();
    if checks.is_empty() {
        return None;
    }
    let goals = input.judged_goals();
    let name = |_: usize, mode: &&SafetyMode| format!("{}, {}", mode.component, mode.mode);
    let unit = |mode: &SafetyMode| goals.get(mode.of_goal).map_or(Unit::Volt, |goal| goal.reads.unit());
    let mut table = Columns::new("matrix", "Modes against checks", "Mode", &own, name)
        .note("Of what is dangerous, each check alone: all in time, what is larger than a size, too late, nothing. Empty: the mode does not count on it.")
        .small(|mode| mode.goal.clone());
    for check in checks {
        let own =
            |mode: &SafetyMode| mode.glances.iter().find(|one| one.check == check).map(|one| said(one, unit(mode)));
        table = table.words(check, |mode| own(mode).unwrap_or(Cell::Empty));
    }
    Some(table.table())
}

fn said(one: &SafetyGlance, unit: Unit) -> Cell {
    match (one.sees, one.from) {
        (SafetySees::Sure, _) => "sure".into(),
        (SafetySees::InPart, Some(from)) => Cell::Words(format!("from {}", Quantity::new(from, unit))),
        (SafetySees::InPart, None) => "in part".into(),
        (SafetySees::TooLate, _) => "too late".into(),
        (SafetySees::No, _) => "no".into(),
    }
}
