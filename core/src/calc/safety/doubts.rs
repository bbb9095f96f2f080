//! What makes a check see less than it seems to.

use super::circuit::channel;
use super::input::{CheckKind, Insert, SafetyCheck, SafetyInput, names};
use super::output::SafetyOutput;
use crate::judge::Ledger;
use crate::quantity::{Quantity, say};

/// What must be known of a check.
pub(super) fn of_check(input: &SafetyInput, row: usize, check: &SafetyCheck, to: &mut Ledger) {
    let at = format!("/checks/{row}");
    let outside = outside(input, check);
    to.warn("safety.limit-outside-range", &at, outside.is_some(), || {
        format!("{}: no reading comes beyond {}, where the channel ends.", check.name, outside.unwrap_or_default())
    });
    let typed = check.errors()[0].filter(|_| check.kind.reads_the_channel());
    let errs = typed.zip(input.channel_error(check.reads)).filter(|(typed, channel)| typed < channel);
    to.warn("safety.uncalibrated-comparison", &at, errs.is_some(), || {
        let [typed, channel] = <[f64; 2]>::from(errs.unwrap_or_default()).map(|error| say(error, check.reads.unit()));
        format!("{} is typed to err {typed}; the channel that it reads errs {channel}, and counts.", check.name)
    });
    let noisy = check.noises()[0].or(input.channel_noise(check.reads)).is_some_and(|noise| noise > 0.0);
    to.warn("safety.noise-left-out", &at, check.kind.has_limit() && noisy && check.noise_sigma <= 0.0, || {
        format!("{}: no noise counts against what it surely sees.", check.name)
    });
    let rests = input.faults.iter().find(|fault| {
        let named = fault.seen_by.is_empty() || names(&fault.seen_by).any(|name| name == check.name);
        named && fault.insert != Insert::CheckLost && names(&check.needs).any(|name| name == fault.component)
    });
    to.warn("safety.check-rests-on-what-it-checks", &format!("{at}/needs"), rests.is_some(), || {
        let component = rests.map_or("", |fault| &fault.component);
        format!("{} needs {component}: it falls with that, and sees none of its faults.", check.name)
    });
}

/// From harm to detection: a goal that asks for it has a row; of the others it is said.
pub(super) fn holes(input: &SafetyInput, solved: &SafetyOutput, to: &mut Ledger) {
    for (place, goal) in input.judged_goals().iter().enumerate().filter(|(_, goal)| !goal.asil.asks()) {
        let open = |mode: &&super::output::SafetyMode| mode.of_goal == place && mode.seen_from.is_some();
        let holes = solved.modes.iter().filter(open).filter_map(|mode| Some((mode, mode.unseen_to?)));
        let worst = holes.max_by(|one, other| one.1.total_cmp(&other.1));
        to.warn("safety.hole", "/goals", worst.is_some(), || {
            let (words, size) = worst.map_or_else(Default::default, |(mode, size)| {
                (format!("{}, {}", mode.component, mode.mode), say(size, goal.reads.unit()))
            });
            format!("{}: {words} does harm, and up to {size} no check sees it for certain in time.", goal.name)
        });
    }
}

/// The end of a range that no reading passes, in words.
fn outside(input: &SafetyInput, check: &SafetyCheck) -> Option<String> {
    if check.kind != CheckKind::Range {
        return None;
    }
    let [low, high] = channel(input, check.reads, 1.0).ok()?.reads;
    let [least, most] = check.range();
    let end = least.filter(|least| *least <= low).or_else(|| most.filter(|most| *most >= high))?;
    Some(Quantity::new(end, check.reads.unit_of_values()).to_string())
}
