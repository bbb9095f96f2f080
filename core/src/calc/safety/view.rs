//! The evidence for a reader.

use super::input::SafetyInput;
use super::map;
use super::output::{SafetyGoal, SafetyMode, SafetyOutput, SafetySeen};
use crate::judge::Ledger;
use crate::quantity::{Quantity, Unit, day, fit, percent, say};
use crate::report::kit::Columns;
use crate::report::{Block, Cell, Figure, View};

/// What the figures are, and what they are not.
pub(super) const CAUTION: &str = "These are figures of arithmetic on the rates, shares and checks that were given: evidence for a review. They are no certificate and replace neither a dependent-failure analysis nor an independent assessment; failure-rate classes are not worked out.";

/// Rows of a table on the page; a file and the answer hold all.
const SHOWN: usize = 40;

pub(super) fn view(input: &SafetyInput, result: &SafetyOutput, judged: &Ledger) -> View {
    let goals: Vec<String> = result.goals.iter().map(of_goal).collect();
    let lead = judged.in_words("What is asked holds");
    let more = goals.iter().map(|goal| format!("{}.", crate::report::kit::capital(goal)));
    let more: Vec<String> = more.collect();
    let mut blocks = Vec::new();
    if let Some(goal) = result.goals.first() {
        blocks.push(Block::Figures(figures(goal)));
    }
    blocks.push(Block::Table(goals_table(result)));
    blocks.push(Block::Table(rates_table(result)));
    blocks.extend(map::maps(input, result).into_iter().map(Block::Spots));
    blocks.extend(map::matrix(input, &result.modes[..result.modes.len().min(SHOWN)]).map(Block::Table));
    if !result.modes.is_empty() {
        blocks.push(Block::Table(modes_table(&result.modes)));
        blocks.push(Block::Table(seen_table(input, &result.modes)));
        blocks.extend(then_table(input, &result.modes).map(Block::Table));
    }
    if !result.checks.is_empty() {
        blocks.push(Block::Table(checks_table(input, &result.checks)));
        blocks.push(Block::Table(alarms_table(input, &result.checks)));
    }
    if !result.pairs.is_empty() {
        blocks.push(Block::Table(pairs_table(result)));
    }
    View { lead, more: more.join(" "), blocks }
}

fn of_goal(goal: &SafetyGoal) -> String {
    let metrics = match (goal.spfm_percent, goal.lfm_percent) {
        (Some(spfm), Some(lfm)) => {
            format!("single-point fault metric {}, latent fault metric {}", percent(spfm), percent(lfm))
        }
        (Some(spfm), None) => format!("single-point fault metric {}", percent(spfm)),
        (None, _) => "no metric can be given".into(),
    };
    let worst = goal.worst_mode.as_ref().map_or_else(String::new, |mode| format!("; most is left of {mode}"));
    format!("{}: {metrics}{worst}", goal.name)
}

fn figures(goal: &SafetyGoal) -> Vec<Figure> {
    let mut figures = Vec::new();
    let mut add = |label: &str, value: Option<Quantity>, note: &str| {
        figures.extend(value.map(|value| Figure::of(label, value, note)));
    };
    add("Single-point fault metric", goal.spfm_percent.map(percent), "all that can touch the goal");
    add("Latent fault metric", goal.lfm_percent.map(percent), "of what is left");
    add("Random failures", goal.pmhf_fit.map(fit), "that violate it, with common causes");
    add("Common causes", goal.common_cause_fit.map(fit), "of checks and what they check");
    add("Faults handled after", goal.handled_s.map(crate::quantity::second), "at the latest, reaction included");
    add("Rate of all modes", Some(fit(goal.rate_fit)), "1 FIT is a failure in a billion hours");
    figures
}

fn goals_table(result: &SafetyOutput) -> crate::report::Table {
    Columns::new("goals", "Metrics of each goal", "Goal", &result.goals, |_, goal| goal.name.clone())
        .note("ISO 26262-5:2018 annex C. Arithmetic on the rates, shares and checks given; no certificate.")
        .small(|goal| goal.asil.label().into())
        .column("SPFM", Unit::Percent, |goal| goal.spfm_percent)
        .column("LFM", Unit::Percent, |goal| goal.lfm_percent)
        .column("SPFM without safe", Unit::Percent, |goal| goal.spfm_without_safe_percent)
        .column("LFM without safe", Unit::Percent, |goal| goal.lfm_without_safe_percent)
        .column("PMHF", Unit::Fit, |goal| goal.pmhf_fit)
        .table()
}

fn rates_table(result: &SafetyOutput) -> crate::report::Table {
    Columns::new("rates", "Rates behind them", "Goal", &result.goals, |_, goal| goal.name.clone())
        .note("A second failure is that of a check, or of another mode.")
        .column("All", Unit::Fit, |goal| goal.rate_fit)
        .column("Single-point", Unit::Fit, |goal| goal.single_point_fit)
        .column("Residual", Unit::Fit, |goal| goal.residual_fit)
        .column("Latent", Unit::Fit, |goal| goal.latent_fit)
        .column("Second failure", Unit::Fit, |goal| goal.dual_fit)
        .column("Common cause", Unit::Fit, |goal| goal.common_cause_fit)
        .table()
}

fn modes_table(modes: &[SafetyMode]) -> crate::report::Table {
    let shown = &modes[..modes.len().min(SHOWN)];
    let more = modes.len() - shown.len();
    let more = if more > 0 { format!(" {more} more are in the answer.") } else { String::new() };
    Columns::new("modes", "What violates a goal, the most first", "Mode", shown, |_, mode| {
        format!("{}, {}", mode.component, mode.mode)
    })
    .note(format!("s safe, d direct, p only with a second fault.{more}"))
    .small(|mode| mode.goal.clone())
    .column("Rate", Unit::Fit, |mode| mode.mode_fit)
    .column("s", Unit::Percent, |mode| mode.safe_percent)
    .column("d", Unit::Percent, |mode| mode.direct_percent)
    .column("p", Unit::Percent, |mode| mode.multi_point_percent)
    .column("DC worked out", Unit::Percent, |mode| mode.dc_computed_percent)
    .column("Ceiling", Unit::Percent, |mode| mode.ceiling_percent)
    .column("DC used", Unit::Percent, |mode| mode.dc_used_percent)
    .column("Violating", Unit::Fit, |mode| mode.violating_fit)
    .column("Latent", Unit::Fit, |mode| mode.latent_fit)
    .words("From", |mode| mode.origin.word())
    .table()
}

fn seen_table(input: &SafetyInput, modes: &[SafetyMode]) -> crate::report::Table {
    let shown = &modes[..modes.len().min(SHOWN)];
    let unit = |mode: &SafetyMode| input.goals.get(mode.of_goal).map_or(Unit::Volt, |goal| goal.reads.unit());
    let size = |value: Option<f64>, unit: Unit| value.map_or(Cell::Empty, |value| Cell::Of(Quantity::new(value, unit)));
    Columns::new("seen", "Who sees a mode, from which deviation on, and how soon", "Mode", shown, |_, mode| {
        format!("{}, {}", mode.component, mode.mode)
    })
    .note("Sizes of deviations; a mode without a deviation has none. Times are from the fault to the alarm at the latest.")
    .small(|mode| mode.goal.clone())
    .words("Deviates", |mode| match (mode.deviates_from, mode.deviates_to) {
        (Some(from), Some(to)) if from == to => Cell::Words(say(from, unit(mode))),
        (Some(from), Some(to)) => Cell::Words(format!("{} to {}", say(from, unit(mode)), say(to, unit(mode)))),
        _ => Cell::Empty,
    })
    .words("In the state", |mode| {
        let beyond = if mode.beyond_range { ", beyond the range" } else { "" };
        mode.state.as_ref().map_or(Cell::Empty, |state| Cell::Words(format!("{state}{beyond}")))
    })
    .words("A comparison sees", |mode| size(mode.comparison_sees, unit(mode)))
    .words("Seen by", |mode| if mode.seen_by.is_empty() { "nobody".into() } else { mode.seen_by.join(", ") })
    .words("Seen from", |mode| size(mode.seen_from, unit(mode)))
    .words("Unseen up to", |mode| size(mode.unseen_to, unit(mode)))
    .column("Alarm after", Unit::Second, |mode| mode.time_s)
    .words("Not known", |mode| mode.lacks.clone().map_or(Cell::Empty, Cell::Words))
    .table()
}

/// What the design does with each mode that something of it rests on; nothing where nothing does.
fn then_table(input: &SafetyInput, modes: &[SafetyMode]) -> Option<crate::report::Table> {
    let own: Vec<&SafetyMode> = modes.iter().filter(|mode| mode.behaviour.is_some()).take(SHOWN).collect();
    if own.is_empty() {
        return None;
    }
    let trips_at = |mode: &&SafetyMode| {
        let unit = input.goals.get(mode.of_goal).map_or(Unit::Volt, |goal| goal.reads.unit_of_values());
        mode.trips_at.map_or(Cell::Empty, |value| Cell::Of(Quantity::new(value, unit)))
    };
    let table = Columns::new("then", "What the design then does", "Mode", &own, |_, mode| {
        format!("{}, {}", mode.component, mode.mode)
    })
    .note("With the fault in it, in its worst state and magnitude, before any check.")
    .small(|mode| mode.goal.clone())
    .words("The design", |mode| mode.behaviour.map_or(Cell::Empty, |then| then.label().into()))
    .words("Trips at", trips_at)
    .column("After", Unit::Second, |mode| mode.trips_after_s)
    .column("Late by", Unit::Second, |mode| mode.late_by_s)
    .column("Inrush", Unit::Ampere, |mode| mode.inrush_a)
    .column("Counts off", Unit::AmpereHourPerDay, |mode| mode.ah_per_day)
    .words("Budget lasts", |mode| mode.budget_days.map_or(Cell::Empty, |days| Cell::Of(day(days))))
    .table();
    Some(table)
}

fn pairs_table(result: &SafetyOutput) -> crate::report::Table {
    let left_out: usize = result.goals.iter().map(|goal| goal.pairs_left_out).sum();
    let rest = if left_out > 0 { format!(" {left_out} rarer pairs were not followed.") } else { String::new() };
    Columns::new("pairs", "Two faults that violate a goal together", "First", &result.pairs, |_, pair| {
        pair.first.clone()
    })
    .note(format!("The most frequent of each goal, those first of which nobody is told before the second.{rest}"))
    .small(|pair| pair.goal.clone())
    .words("Second", |pair| Cell::Words(pair.second.clone()))
    .column("Both", Unit::Fit, |pair| pair.rate_fit)
    .words("Before the second", |pair| {
        let told = if pair.unnoticed { "nobody is told" } else { "somebody is told" };
        Cell::Words(told.into())
    })
    .table()
}

fn checks_table(input: &SafetyInput, checks: &[SafetySeen]) -> crate::report::Table {
    let unit = |done: &SafetySeen| input.check(&done.name).map_or(Unit::Volt, |(_, check)| check.unit());
    let of = |value: Option<f64>, done: &SafetySeen| {
        value.map_or(Cell::Empty, |value| Cell::Of(Quantity::new(value, unit(done))))
    };
    Columns::new("checks", "What each check sees", "Check", checks, |_, done| done.name.clone())
        .note("Between surely unseen and surely seen it depends on the unit. A current hides its ampere-hours a day.")
        .small(|done| input.check(&done.name).map_or_else(String::new, |(_, check)| check.kind.label().into()))
        .words("Limit", |done| of(done.limit, done))
        .words("Without a fault", |done| of(done.fault_free, done))
        .words("Least limit", |done| of(done.least_limit, done))
        .words("Surely seen above", |done| of(done.certain_high, done))
        .words("Surely seen below", |done| of(done.certain_low.map(|size| -size), done))
        .column("Hides", Unit::AmpereHourPerDay, |done| done.hides_ah_per_day)
        .table()
}

fn alarms_table(input: &SafetyInput, checks: &[SafetySeen]) -> crate::report::Table {
    Columns::new("alarms", "How soon, how often falsely, and how long lost", "Check", checks, |_, done| {
        done.name.clone()
    })
    .note("An open-wire check tells the joint that it leaves unseen, one by heat the lost current that it shows.")
    .small(|done| input.check(&done.name).map_or_else(String::new, |(_, check)| check.kind.label().into()))
    .column("Joint left unseen", Unit::Ohm, |done| done.left_ohm)
    .column("Error of it", Unit::Percent, |done| done.left_percent)
    .column("Lost current shows from", Unit::Ampere, |done| done.lost_from_a)
    .column("False alarms an hour", Unit::One, |done| done.false_per_hour)
    .column("Alarm at best", Unit::Second, |done| done.earliest_s)
    .column("Alarm at the latest", Unit::Second, |done| done.latest_s)
    .column("Rate of loss", Unit::Fit, |done| done.loss_fit)
    .column("Loss hidden", Unit::Hour, |done| done.hidden_h)
    .table()
}
