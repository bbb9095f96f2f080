//! Goals, fault modes and checks that contradict each other.

use std::collections::HashSet;

use super::input::{
    CheckKind, Dangerous, DecidedBy, Goal, Insert, Law, Magnitude, Reads, SafetyInput, Used, channels, names,
};
use crate::field::FieldError;

/// What the shares of a component's modes may miss 100 % by, for rounding.
const ROUNDED: f64 = 0.01;

pub(super) fn contradictions(input: &SafetyInput) -> Vec<FieldError> {
    let mut faults = twice(input);
    thresholds(input, &mut faults);
    for (row, fault) in input.faults.iter().enumerate() {
        let at = |field: &str| format!("/faults/{row}/{field}");
        let words = fault.words();
        if !fault.goal.is_empty() && !input.goals.iter().any(|goal| goal.name == fault.goal) {
            let message = format!("{words} names a goal that is not in the list.");
            faults.push(FieldError::contradiction(&at("goal"), message, "the name of a goal, or nothing", &fault.goal));
        }
        for name in names(&fault.seen_by).filter(|name| input.check(name).is_none()) {
            let message = format!("{words} names a check that is not in the list.");
            faults.push(FieldError::contradiction(&at("seen_by"), message, "names of checks, parted by commas", name));
        }
        let shares = fault.safe_percent.unwrap_or(0.0) + fault.direct_percent.unwrap_or(0.0);
        if shares > 100.0 + ROUNDED {
            let message = format!("{words}: the safe and the direct share are parts of one whole.");
            faults.push(FieldError::contradiction(&at("direct_percent"), message, "together at most 100 %", shares));
        }
        for (reads, field) in [(Reads::Current, "from_a"), (Reads::Voltage, "from_v"), (Reads::Temperature, "from_k")] {
            let crosses = |ends: [f64; 2]| ends[0] <= 0.0 && ends[1] >= 0.0;
            if fault.law == Law::LogUniform && fault.deviation(reads).is_some_and(crosses) {
                let message = format!("{words}: what is uniform in the logarithm has one sign.");
                faults.push(FieldError::contradiction(&at(field), message, "both ends above or both below zero", "0"));
            }
        }
        let typed = [
            ("from_a", fault.from_a),
            ("to_a", fault.to_a),
            ("from_v", fault.from_v),
            ("to_v", fault.to_v),
            ("from_k", fault.from_k),
            ("to_k", fault.to_k),
        ];
        let typed = typed.into_iter().find_map(|(field, value)| Some((field, value?)));
        if let (true, Some((field, value))) = (fault.insert != Insert::None, typed) {
            let message = format!("{words}: what is inserted makes the deviation.");
            let accepted = "nothing: its size is said in percent, by a resistance or by a time";
            faults.push(FieldError::contradiction(&at(field), message, accepted, value));
        }
        let law = (fault.law, fault.magnitude().0);
        if let (Law::LogUniform, Magnitude::Percent(from, to)) = law
            && from <= 0.0
            && to >= 0.0
        {
            let message = format!("{words}: what is uniform in the logarithm has one sign.");
            let accepted = "both ends above or both below zero";
            faults.push(FieldError::contradiction(&at("from_percent"), message, accepted, from));
        }
        if let (Law::LogUniform, Magnitude::Second(Some([from, _]))) = law
            && from <= 0.0
        {
            let message = format!("{words}: what is uniform in the logarithm has one sign.");
            faults.push(FieldError::contradiction(&at("from_s"), message, "above 0", from));
        }
        if fault.bit.is_some_and(|bit| bit.fract() != 0.0) {
            let message = format!("{words}: a bit is a whole number.");
            let accepted = "a whole number from 0 to 31";
            faults.push(FieldError::contradiction(&at("bit"), message, accepted, fault.bit.unwrap_or_default()));
        }
        let first = input.faults.iter().find(|other| other.component == fault.component);
        if let Some(first) = first.filter(|first| first.rate_fit != fault.rate_fit) {
            let message = format!("{words}: a component has one rate, that of all its modes.");
            let accepted = format!("{} FIT as in its first line", first.rate_fit);
            faults.push(FieldError::contradiction(&at("rate_fit"), message, accepted, fault.rate_fit));
        }
    }
    shares(input, &mut faults);
    for (row, share) in input.shares.iter().enumerate() {
        let compares = |name: &str| input.check(name).is_some_and(|(_, check)| check.kind.has_partner());
        for name in names(&share.users).filter(|name| !channels().contains(name) && !compares(name)) {
            let message = "Who shares it is neither a channel nor a check that compares two.";
            let accepted = format!("{}, or names of comparisons, parted by commas", channels().join(", "));
            faults.push(FieldError::contradiction(&format!("/shares/{row}/users"), message, accepted, name));
        }
    }
    for (row, check) in input.checks.iter().enumerate() {
        for name in names(&check.needs).filter(|name| !input.faults.iter().any(|fault| fault.component == *name)) {
            let message = format!("{} needs a component that is not in the list.", check.name);
            let accepted = "names of components, parted by commas";
            faults.push(FieldError::contradiction(&format!("/checks/{row}/needs"), message, accepted, name));
        }
        if check.kind == CheckKind::ReferenceTest && check.limit(0.0).is_some_and(|limit| limit == 0.0) {
            let message = format!("{}: a limit of nothing alarms always.", check.name);
            let at = format!("/checks/{row}/limit_v");
            faults.push(FieldError::contradiction(&at, message, "above 0", "0"));
        }
        if !check.kind.quantities().contains(&check.reads) {
            let message = format!("{}: such a check is about another quantity.", check.name);
            let accepted: Vec<&str> = check.kind.quantities().iter().map(|reads| reads.word()).collect();
            let at = format!("/checks/{row}/reads");
            faults.push(FieldError::contradiction(&at, message, accepted.join(" or "), check.reads.word()));
        }
        let first = input.checks.iter().find(|other| other.used != Used::Own && other.reads == check.reads);
        if check.used != Used::Own && (check.kind != CheckKind::Comparison || first.is_some_and(|one| one != check)) {
            let message = format!("{}: goals of a quantity use one reading, as one comparison says.", check.name);
            let at = format!("/checks/{row}/used");
            faults.push(FieldError::contradiction(&at, message, Used::Own.word(), check.used.word()));
        }
        if check.cell_error_v.is_some() && check.other_error_v.is_some() && check.kind == CheckKind::SumOfCells {
            let message = format!("{}: the error of each cell makes that of their sum.", check.name);
            let at = format!("/checks/{row}/other_error_v");
            let typed = check.other_error_v.unwrap_or_default();
            faults.push(FieldError::contradiction(&at, message, "nothing beside the error of a cell", typed));
        }
        if let Some([low, high]) = check.resistance_low_ohm.zip(check.resistance_high_ohm).map(<[f64; 2]>::from)
            && low > high
        {
            let message = format!("{}: the lowest resistance is above the highest.", check.name);
            let at = format!("/checks/{row}/resistance_low_ohm");
            faults.push(FieldError::contradiction(&at, message, format!("at most {high} Ω"), low));
        }
    }
    faults
}

/// Two goals or two checks of one name.
fn twice(input: &SafetyInput) -> Vec<FieldError> {
    let goals = input.goals.iter().enumerate().map(|(row, goal)| (format!("/goals/{row}/name"), &goal.name));
    let checks = input.checks.iter().enumerate().map(|(row, check)| (format!("/checks/{row}/name"), &check.name));
    let mut faults = Vec::new();
    for list in [goals.collect::<Vec<_>>(), checks.collect()] {
        let mut seen = HashSet::new();
        for (at, name) in list {
            if name.is_empty() || name.contains(',') || !seen.insert(name) {
                let message = "A name is there, stands once, and has no comma: others refer to it.";
                faults.push(FieldError::contradiction(&at, message, "a name of its own without a comma", name));
            }
        }
    }
    faults
}

/// A goal has place and harm from the threshold that it hangs on, from a threshold of its own, or both typed.
fn thresholds(input: &SafetyInput, faults: &mut Vec<FieldError>) {
    for (row, goal) in input.goals.iter().enumerate() {
        let at = |field: &str| format!("/goals/{row}/{field}");
        let places = goal.reads.pick([["at_a", "harm_a"], ["at_v", "harm_v"], ["at_degc", "harm_k"]]);
        let typed = |fields: &[&'static str], values: &[Option<f64>]| -> Vec<(&'static str, f64)> {
            fields.iter().zip(values).filter_map(|(field, value)| Some((*field, (*value)?))).collect()
        };
        let decided = typed(&places, &[goal.at(), goal.harm()]);
        let own = [typed(&goal.trip_fields(), &goal.told()), typed(&["delay_s"], &[goal.delay_s])].concat();
        if let Some(wrong) = by_its_part(goal, &decided, &own) {
            faults.extend(wrong.into_iter().map(|(field, message, accepted, got)| {
                FieldError::contradiction(&at(field), format!("{}: {message}", goal.name), accepted, got)
            }));
            continue;
        }
        if input.hangs_on_threshold(goal) {
            for (field, value) in decided.into_iter().chain(own) {
                let message = format!("{}: the threshold of its quantity says it; leave it empty here.", goal.name);
                faults.push(FieldError::contradiction(&at(field), message, "nothing", value));
            }
            continue;
        }
        if goal.has_trip() {
            for (field, value) in &decided {
                let message = format!("{}: it follows from its own threshold; leave one of both empty.", goal.name);
                faults.push(FieldError::contradiction(&at(field), message, "nothing, or no threshold", *value));
            }
        } else if input.has_threshold(goal.reads) && decided.len() < 2 {
            let message = format!(
                "{}: readings of the other side make the threshold of its quantity late; a goal that minds this side has place and harm of its own.",
                goal.name
            );
            let side = input.makes_late(goal.reads).map_or("", |side| side.word());
            let accepted = format!("{side} or both, or {} and {} typed", places[0], places[1]);
            faults.push(FieldError::contradiction(&at("dangerous"), message, accepted, goal.dangerous.word()));
        }
    }
    for (row, goal) in input.stated_goals().iter().enumerate() {
        let Some(trip) = goal.trip() else { continue };
        let at = |field: &str| format!("/goals/{row}/{field}");
        let sign = trip.sign();
        if trip.hazard == trip.normal {
            let message = format!("{}: the hazard lies beyond allowed operation.", goal.name);
            let hazard = goal.trip_fields()[2];
            faults.push(FieldError::contradiction(
                &at(hazard),
                message,
                "another value than the normal extreme",
                trip.hazard,
            ));
        }
        let late = if sign > 0.0 { Dangerous::Low } else { Dangerous::High };
        if !input.hangs_on_threshold(goal) && goal.dangerous != Dangerous::Both && goal.dangerous != late {
            let message = format!("{}: readings of the other side make its threshold late.", goal.name);
            let accepted = format!("{} or both", late.word());
            faults.push(FieldError::contradiction(&at("dangerous"), message, accepted, goal.dangerous.word()));
        }
        if let Some(most) = goal.largest_possible().filter(|most| sign * (most - trip.hazard) < 0.0) {
            let message = format!("{}: a value that never comes to the hazard violates nothing.", goal.name);
            let field = goal.reads.pick(["largest_possible_a", "largest_possible_v", "largest_possible_degc"]);
            let accepted = format!("{} or beyond it", trip.hazard);
            faults.push(FieldError::contradiction(&at(field), message, accepted, most));
        }
    }
    for (reads, group, decided) in [
        (Reads::Current, "current_trip/threshold_a", "/current/decided_a"),
        (Reads::Voltage, "voltage_trip/threshold_v", "/voltage/decided_v"),
        (Reads::Temperature, "temperature_trip/threshold_degc", "/temperature/decided_degc"),
    ] {
        if let Some(threshold) = input.trip_of(reads)[0].filter(|_| !input.has_threshold(reads)) {
            let message = format!("Where the threshold of {} is decided stands beside it.", reads.word());
            let accepted = format!("nothing, or {decided} typed");
            faults.push(FieldError::contradiction(&format!("/{group}"), message, accepted, threshold));
        }
    }
}

/// A field with what is wrong of it, what is accepted and what was given.
type Wrong = (&'static str, String, String, String);

/// What a goal says that rests on a race, a pre-charge or a count; nothing of one that rests on a threshold.
fn by_its_part(goal: &Goal, decided: &[(&'static str, f64)], own: &[(&'static str, f64)]) -> Option<Vec<Wrong>> {
    let (reads, dangerous): (_, &[Dangerous]) = match goal.decided_by {
        DecidedBy::Threshold => return None,
        DecidedBy::Race => (Reads::Current, &[Dangerous::Low, Dangerous::Both]),
        DecidedBy::Count => (Reads::Current, &[Dangerous::Both]),
        DecidedBy::Precharge => (Reads::Voltage, &[Dangerous::Both]),
    };
    let mut wrong = Vec::new();
    if goal.reads != reads {
        let message = "what it rests on reads another quantity.".to_owned();
        wrong.push(("reads", message, reads.word().to_owned(), goal.reads.word().to_owned()));
    }
    if !dangerous.contains(&goal.dangerous) {
        let words: Vec<&str> = dangerous.iter().map(|one| one.word()).collect();
        let message = "what it rests on says which readings harm.".to_owned();
        wrong.push(("dangerous", message, words.join(" or "), goal.dangerous.word().to_owned()));
    }
    let counted = |field: &str| goal.decided_by == DecidedBy::Count && field.starts_with("at_");
    for (field, value) in decided.iter().chain(own).filter(|(field, _)| !counted(field)) {
        let message = "what it rests on says it; leave it empty here.".to_owned();
        wrong.push((*field, message, "nothing".to_owned(), value.to_string()));
    }
    Some(wrong)
}

/// The modes of a component make up its whole rate, for every goal that one of them counts for.
fn shares(input: &SafetyInput, faults: &mut Vec<FieldError>) {
    let mut told = HashSet::new();
    for goal in input.judged_goals() {
        for (row, fault) in input.faults.iter().enumerate().filter(|(_, fault)| fault.counts_for(&goal.name)) {
            let own = |other: &&super::input::Fault| other.component == fault.component && other.counts_for(&goal.name);
            let sum: f64 = input.faults.iter().filter(own).map(|other| other.mode_percent).sum();
            if (sum - 100.0).abs() > ROUNDED && told.insert(&fault.component) {
                let message = format!("The modes of {} make up its whole rate.", fault.component);
                let at = format!("/faults/{row}/mode_percent");
                faults.push(FieldError::contradiction(&at, message, "100 % over all its modes", sum));
            }
        }
    }
}
