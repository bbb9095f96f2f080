//! What is required of goals and checks.

use super::input::{Asil, CheckKind, Fault, Goal, Insert, Reads, SafetyCheck, SafetyInput};
use super::output::{SafetyGoal, SafetyMode, SafetyOutput, SafetySeen};
use super::solve::faults;
use crate::judge::{Judged, Ledger, Sense, Words};
use crate::quantity::{Quantity, Unit, fit, hour, one, percent, second};

pub(super) fn requirements(input: &SafetyInput, solved: &SafetyOutput, to: &mut Ledger) {
    // Without a stated goal there are figures and no row.
    let stated = input.stated_goals();
    let all = faults(input, &stated);
    for (row, (goal, done)) in stated.iter().zip(&solved.goals).enumerate() {
        let modes: Vec<&SafetyMode> = solved.modes.iter().filter(|mode| mode.of_goal == row).collect();
        metrics(row, goal, done, &modes, to);
        if goal.asil == Asil::NotGiven {
            let judged = Judged::never("safety.level", "/goals/{}", false).row(row).blocked();
            let failure = format!("the level of {} is not given", goal.name);
            to.require(judged, |_| Words::new(format!("{}: level", goal.name), "QM has to be said", failure));
        }
        if goal.asil.asks() {
            handled(input, row, goal, done, &modes, to);
            hole(input, row, goal, &modes, &all, to);
            two_faults(row, done, modes.is_empty(), to);
        }
    }
    if input.goals.is_empty() {
        let judged = Judged::never("safety.goal", "/goals", false).blocked();
        to.require(judged, |_| Words::new("Safety goals", "what must not happen", "no safety goal is stated"));
    }
    let asked = input.goals.iter().any(|goal| goal.asil.asks());
    for (row, (check, done)) in input.checks.iter().zip(&solved.checks).enumerate() {
        if check.kind != CheckKind::Communication {
            let uncompared = input.errs_as_typed(check).then(|| uncompared(check.reads));
            let own = check.noises()[0].or(input.channel_noise(check.reads));
            let noise =
                if own.is_some() && check.kind.has_partner() { "the noise of the other side" } else { "the noise" };
            false_alarms(row, (check, noise), uncompared, done, to);
        }
        if asked && check.covers() {
            let interval = check.test_interval_h;
            let judged = Judged::at_most(
                "safety.test-interval",
                "/checks/{}",
                Unit::Hour,
                interval,
                input.life.multi_point_interval_h,
            )
            .row(row);
            // A test that comes after the life of the item, or finds nothing, is none.
            let none =
                interval.is_some_and(|interval| interval >= input.life.life_h) || check.test_coverage_percent <= 0.0;
            let judged = judged.fails_where(none);
            let judged = if interval.is_none() { judged.blocked() } else { judged };
            to.require(judged, |_| {
                let failure = interval.map_or_else(
                    || format!("how often {} is tested is not given, so that a loss stays for life", check.name),
                    |interval| {
                        if check.test_coverage_percent <= 0.0 {
                            return format!("the test of {} finds nothing, so that a loss stays for life.", check.name);
                        }
                        if interval >= input.life.life_h {
                            let life = hour(input.life.life_h);
                            return format!(
                                "{} is tested every {}, never in a life of {life}.",
                                check.name,
                                hour(interval)
                            );
                        }
                        format!(
                            "{} is tested every {}: a loss stays longer than the multi-point fault interval of {}.",
                            check.name,
                            hour(interval),
                            hour(input.life.multi_point_interval_h)
                        )
                    },
                );
                let note = format!(
                    "within the multi-point fault interval; finds {} of the losses",
                    percent(check.test_coverage_percent)
                );
                Words::new(format!("{}: test interval", check.name), note, failure)
            });
        }
    }
}

fn metrics(row: usize, goal: &Goal, done: &SafetyGoal, modes: &[&SafetyMode], to: &mut Ledger) {
    let Some(targets) = goal.asil.targets() else { return };
    let lacks =
        modes.iter().find_map(|mode| Some(format!("{}, {}: {}", mode.component, mode.mode, mode.lacks.as_ref()?)));
    let no_rate = (!(done.rate_fit > 0.0)).then(|| "there is no failure rate".to_owned());
    let lacks = lacks.or(no_rate);
    let level = if goal.asil == Asil::B { "recommended for ASIL B".into() } else { goal.asil.label().to_owned() };
    let largest = done.worst_mode.clone();
    for (id, label, achieved, target, none) in [
        (
            "safety.spfm",
            "single-point fault metric",
            done.spfm_percent,
            targets.spfm_percent,
            "there is no failure rate",
        ),
        ("safety.lfm", "latent fault metric", done.lfm_percent, targets.lfm_percent, "all of the rate is residual"),
    ] {
        let judged = Judged::new(id, "/goals/{}", Unit::Percent, Sense::OfWhole, achieved, target).row(row);
        let judged = if achieved.is_none() { judged.blocked() } else { judged };
        to.require(judged, |_| {
            let failure = achieved.map_or_else(
                || lacks.clone().unwrap_or_else(|| none.into()),
                |achieved| {
                    let [achieved, target] = [achieved, target].map(percent);
                    format!("{}: the {label} is {achieved}; {target} are asked of {}.", goal.name, goal.asil.label())
                },
            );
            Words::new(format!("{}: {label}", goal.name), level.clone(), failure).because(largest.clone(), None)
        });
    }
    let share = goal.share_of_item_percent;
    let allowed = share.map(|share| targets.pmhf_fit * share / 100.0);
    let judged = Judged::at_most("safety.pmhf", "/goals/{}", Unit::Fit, done.pmhf_fit, allowed).row(row);
    let known = done.pmhf_fit.is_some() && allowed.is_some();
    // The target is not to be reached: at it the requirement fails.
    let at_target = done.pmhf_fit.zip(allowed).is_some_and(|(achieved, allowed)| achieved >= allowed);
    let judged = if known { judged.fails_where(at_target) } else { judged.blocked() };
    to.require(judged, |_| {
        let failure = match (done.pmhf_fit, allowed) {
            (Some(achieved), Some(allowed)) => format!(
                "{}: {} of random failures that violate it; its share of the target is {}.",
                goal.name,
                fit(achieved),
                fit(allowed)
            ),
            (Some(_), None) => "which share of the item's target this part may use is not given".into(),
            (None, _) => done.pmhf_lacks.clone().unwrap_or_else(|| "a rate is not known".into()),
        };
        let note = format!("{level}; with common causes, per operating hour");
        Words::new(format!("{}: random failures", goal.name), note, failure).because(largest, None)
    });
}

fn handled(input: &SafetyInput, row: usize, goal: &Goal, done: &SafetyGoal, modes: &[&SafetyMode], to: &mut Ledger) {
    let covered = |mode: &&&SafetyMode| mode.dc_used_percent.is_some_and(|used| used > 0.0);
    let untimed = modes.iter().filter(covered).find(|mode| mode.time_s.is_none());
    let judged =
        Judged::at_most("safety.handling-time", "/goals/{}", Unit::Second, done.handled_s, goal.ftti_s).row(row);
    let unknown = modes.iter().find(|mode| mode.lacks.is_some());
    let known = goal.ftti_s.is_some() && done.handled_s.is_some();
    let open = untimed.is_some() || unknown.is_some();
    let judged = if known && (!open || judged.fails()) { judged } else { judged.blocked() };
    to.require(judged, |judged| {
        let failure = match (goal.ftti_s, done.handled_s, untimed.or(unknown)) {
            (Some(ftti), Some(time), _) if judged.fails() => format!(
                "{}: a fault is handled after {}; the fault tolerant time interval is {}.",
                goal.name,
                second(time),
                second(ftti)
            ),
            (None, ..) => "the fault tolerant time interval is not given".into(),
            _ if goal.reaction_s.is_none() => goal.time_lacks().unwrap_or_default(),
            (.., Some(mode)) => match &mode.lacks {
                Some(why) => format!("{}, {}: {why}", mode.component, mode.mode),
                None => format!("how soon {}, {} is seen is not given", mode.component, mode.mode),
            },
            _ => "no check covers any mode".into(),
        };
        let cut = input.goals.get(row).is_some_and(|typed| typed.ftti_s > goal.ftti_s);
        let note = if cut {
            "slowest covered mode, reaction included; no longer than the ramp or the fault lasts"
        } else {
            "slowest covered mode, reaction included"
        };
        Words::new(format!("{}: faults handled in time", goal.name), note, failure)
    });
}

/// Why what a check is typed to err does not count.
fn uncompared(reads: Reads) -> String {
    let channel = reads.label().to_lowercase();
    format!("what the {channel} channel errs is not known, and the error of its check is not held against it")
}

/// The check sum that corrupted frames of a mode pass too often, where nothing else sees them.
fn weak_sum<'a>(input: &'a SafetyInput, all: &[Fault], mode: &SafetyMode) -> Option<&'a SafetyCheck> {
    let mut seeing = mode.seen_by.iter().filter_map(|name| input.check(name)).map(|(_, check)| check);
    let first = seeing.next().filter(|_| all[mode.row].insert == Insert::LinkCorrupt)?;
    (first.is_weak_sum() && seeing.all(SafetyCheck::is_weak_sum)).then_some(first)
}

/// From the smallest harmful deviation on everything is seen.
fn hole(input: &SafetyInput, row: usize, goal: &Goal, modes: &[&SafetyMode], all: &[Fault], to: &mut Ledger) {
    let (unit, pointer) = (goal.reads.unit(), "/goals/{}");
    let touches = |mode: &&&SafetyMode| mode.safe_percent.is_none_or(|safe| safe < 100.0);
    let open = modes.iter().filter(touches).filter(|mode| mode.unseen_to.is_some());
    let worst = open.max_by(|one, other| one.unseen_to.unwrap_or(0.0).total_cmp(&other.unseen_to.unwrap_or(0.0)));
    // What rests on claims has no deviation, and its coverage counts in the metrics; what nobody knows blocks.
    let unknown = modes.iter().filter(touches).find(|mode| !mode.inserted && mode.lacks.is_some());
    let claimed = modes.iter().filter(touches).filter(|mode| !mode.inserted && mode.lacks.is_none()).count();
    let harm = goal.harm();
    let judged = match worst.and_then(|worst| worst.unseen_to) {
        Some(size) => Judged::at_most("safety.hole", pointer, unit, size, harm).fails_where(true),
        // What jumps over the gap between harm and detection leaves no hole: the others count.
        None => {
            let seen =
                modes.iter().filter_map(|mode| mode.seen_from).filter(|size| harm.is_some_and(|harm| *size <= harm));
            Judged::at_most("safety.hole", pointer, unit, seen.fold(0.0, f64::max), harm)
        }
    };
    let judged = judged.row(row);
    let as_typed = input.checks.iter().any(|check| check.reads == goal.reads && input.errs_as_typed(check));
    let count = modes.iter().filter(touches).count();
    let nothing = modes.iter().all(|mode| !mode.inserted);
    // A frame that passes a weak sum has any size.
    let passes = modes.iter().find_map(|mode| Some((mode, weak_sum(input, all, mode)?)));
    let untimed = goal.time_lacks();
    let open = unknown.is_some() || nothing || as_typed || passes.is_some() || untimed.is_some();
    let judged = if harm.is_none() || (worst.is_none() && open) { judged.blocked() } else { judged };
    to.require(judged, |_| {
        let failure = match (harm, worst, unknown) {
            (None, ..) => {
                input.part_lacks(goal).unwrap_or_else(|| "the smallest harmful deviation is not given".into())
            }
            (Some(harm), Some(worst), _) => format!(
                "{}: {}, {} does harm from {} on, and up to {} no check sees it for certain in time.",
                goal.name,
                worst.component,
                worst.mode,
                Quantity::new(harm, unit),
                Quantity::new(worst.unseen_to.unwrap_or_default(), unit)
            ),
            (.., Some(mode)) => {
                let nothing = || "what it does to the reading is not given".to_owned();
                format!("{}, {}: {}", mode.component, mode.mode, mode.lacks.clone().unwrap_or_else(nothing))
            }
            (..) if modes.is_empty() => "there is no fault mode".into(),
            (..) if nothing => "no mode has a deviation: all rest on claims".into(),
            (..) if untimed.is_some() => untimed.unwrap_or_default(),
            (..) => match passes {
                Some((mode, check)) => format!(
                    "{}, {}: {} of the frames pass {}",
                    mode.component,
                    mode.mode,
                    percent(100.0 * check.passing()),
                    check.name
                ),
                None => uncompared(goal.reads),
            },
        };
        let note = match claimed {
            0 => "every mode with a deviation".to_owned(),
            some => format!("every mode with a deviation; {some} of {count} rest on claims"),
        };
        Words::new(format!("{}: no hole between harm and detection", goal.name), note, failure)
    });
}

/// No two faults violate the goal before anybody is told.
fn two_faults(row: usize, done: &SafetyGoal, nothing: bool, to: &mut Ledger) {
    let wrong = done.unnoticed_pairs > 0;
    let judged = Judged::never("safety.two-faults", "/goals/{}", wrong).row(row);
    let open = done.pairs_lack.is_some() || done.pairs_left_out > 0 || nothing;
    to.require(if open && !wrong { judged.blocked() } else { judged }, |_| {
        let failure = match &done.pairs_lack {
            _ if wrong => format!(
                "{}: {} of {} pairs of faults violate it, and nobody is told before the second.",
                done.name, done.unnoticed_pairs, done.pairs
            ),
            Some(why) => why.clone(),
            None if nothing => "there is no fault mode".into(),
            None => format!("{} pairs of faults were not followed", done.pairs_left_out),
        };
        let note = "a covered fault and a lost check, or two that add up";
        Words::new(format!("{}: no two faults unnoticed", done.name), note, failure)
    });
}

fn false_alarms(
    row: usize,
    (check, noise): (&SafetyCheck, &str),
    uncompared: Option<String>,
    done: &SafetySeen,
    to: &mut Ledger,
) {
    let (pointer, allowed) = ("/checks/{}", check.allowed_false_per_hour);
    let judged = Judged::at_most("safety.false-alarm", pointer, Unit::One, done.false_per_hour, allowed).row(row);
    let open = done.false_per_hour.is_none() || uncompared.is_some();
    let known = done.false_per_hour.is_some();
    let judged = if open && !(known && judged.fails()) { judged.blocked() } else { judged };
    to.require(judged, |judged| {
        let failure = match (done.false_per_hour, done.limit) {
            (Some(_), _) if !judged.fails() => uncompared.unwrap_or_default(),
            (Some(rate), _) => {
                format!("{}: {} false alarms an hour; {} are allowed.", done.name, one(rate), one(allowed))
            }
            (None, None) if check.kind.has_limit() => format!("limit or errors of {} are not given", done.name),
            (None, _) => format!("{noise} of {} is not given", done.name),
        };
        Words::new(format!("{}: false alarms", done.name), "an hour, static errors at their limit", failure)
    });
}
