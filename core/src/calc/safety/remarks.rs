//! What an engineer must know about goals, modes and checks.

use super::consequence::SafetyBehaviour;
use super::doubts;
use super::input::{Asil, CheckKind, DecidedBy, Fault, Goal, HeldAgainst, Insert, Reads, SafetyInput, names};
use super::output::{SafetyMode, SafetyOrigin, SafetyOutput};
use crate::judge::Ledger;
use crate::quantity::{Quantity, ampere, day, fit, percent, say, second};

/// A component with more than this is likelier a rate per million hours that was typed as FIT. Common practice, no source.
const STRANGE_FIT: f64 = 1e4;
/// A safe share beyond this makes a metric look better than what matters does. Common practice, no source.
const PADDED_PERCENT: f64 = 1.0;

pub(super) fn remarks(input: &SafetyInput, solved: &SafetyOutput, to: &mut Ledger) {
    if !to.is_read() {
        return;
    }
    for (row, fault) in input.faults.iter().enumerate() {
        to.warn("safety.fit-unit", &format!("/faults/{row}/rate_fit"), fault.rate_fit > STRANGE_FIT, || {
            format!("{} fails with {}: a rate per million hours typed as FIT?", fault.component, fit(fault.rate_fit))
        });
    }
    let stated = input.judged_goals();
    for (place, goal) in stated.iter().enumerate() {
        of_goal(input, solved, place, goal, to);
    }
    let binds =
        |mode: &&SafetyMode| mode.dc_computed_percent.zip(mode.dc_used_percent).is_some_and(|(all, used)| used < all);
    let bound: Vec<&SafetyMode> = solved.modes.iter().filter(binds).collect();
    to.warn("safety.ceiling-binds", "/checks", !bound.is_empty(), || {
        let costs = |mode: &&SafetyMode| {
            let [all, used] = [mode.dc_computed_percent, mode.dc_used_percent].map(Option::unwrap_or_default);
            mode.mode_fit * mode.direct_percent.unwrap_or(0.0) / 100.0 * (all - used) / 100.0
        };
        let dearest = bound.iter().max_by(|one, other| costs(one).total_cmp(&costs(other)));
        let words = dearest.map_or_else(String::new, |mode| {
            let [all, used] =
                [mode.dc_computed_percent, mode.dc_used_percent].map(|part| percent(part.unwrap_or_default()));
            format!("{}, {}: {all} would be covered, {used} count", mode.component, mode.mode)
        });
        format!("Ceilings of checks bind for {} of {} modes; the most for {words}.", bound.len(), solved.modes.len())
    });
    for (row, fault) in input.faults.iter().enumerate() {
        let typed = fault.safe_percent.is_some() || fault.direct_percent.is_some();
        let followed = fault.insert != Insert::None && solved.modes.iter().any(|mode| mode.row == row && mode.inserted);
        to.warn("safety.share-beside-insert", &format!("/faults/{row}/insert"), typed && followed, || {
            format!("{}: it is inserted; the typed shares only count where they are worse.", fault.words())
        });
    }
    for (row, share) in input.shares.iter().enumerate() {
        let nothing = !input.faults.is_empty() && !input.faults.iter().any(|fault| share.what.has(fault.insert));
        to.warn("safety.share-without-mode", &format!("/shares/{row}"), nothing, || {
            format!("A {} is shared, and no mode of it is in the list.", share.what.label().to_lowercase())
        });
        let inserted = |fault: &Fault| share.what.has(fault.insert);
        let drift = input.faults.is_empty() && share.what.has(Insert::ReferenceDrift);
        let inserted = drift || input.faults.iter().any(inserted);
        let blind = input.checks.iter().find(|check| check.kind.has_partner() && share.is_used_by(&check.name));
        to.warn("safety.blind-to-shared", &format!("/shares/{row}"), inserted && blind.is_some(), || {
            let name = blind.map_or("", |check| check.name.as_str());
            let what = share.what.label().to_lowercase();
            format!("{name}: both channels have one {what}, and what fails of it shows in no difference.")
        });
        let beta = input.life.beta_percent.is_some_and(|beta| beta > 0.0);
        to.warn("safety.counted-twice", &format!("/shares/{row}"), beta && inserted && blind.is_some(), || {
            let name = blind.map_or("", |check| check.name.as_str());
            format!("{name}: what both channels share is inserted as a fault, and β counts it once more.")
        });
    }
    for (row, check) in input.checks.iter().enumerate() {
        let at = format!("/checks/{row}");
        // Nothing typed: the whole catalogue, with the reference.
        let listed = input
            .faults
            .iter()
            .any(|fault| fault.insert == Insert::CheckLost && names(&check.needs).any(|name| name == fault.component));
        let lost = check.loss_fit.filter(|loss| *loss > 0.0 && check.covers() && !listed && !input.faults.is_empty());
        to.note("safety.loss-not-listed", &at, lost.is_some(), || {
            let rate = fit(lost.unwrap_or_default());
            format!(
                "{}: its loss, {rate}, is in no latent fault metric; a mode that is a lost check puts it there.",
                check.name
            )
        });
        let drift = |fault: &Fault| fault.insert == Insert::ReferenceDrift;
        let drifts = input.faults.is_empty() || input.faults.iter().any(drift);
        to.warn("safety.blind-to-shared", &at, check.one_reference && drifts && check.kind.has_partner(), || {
            format!("{}: both channels have one reference, and a drift of it shows in no difference.", check.name)
        });
        to.warn("safety.weak-sum", &at, check.is_weak_sum(), || {
            let passes = percent(100.0 * check.passing());
            format!("{}: {passes} of the corrupted frames pass a check sum of {} bits.", check.name, check.crc_bits)
        });
        let wraps = check.kind == CheckKind::Communication && check.counter_bits > 0;
        let round = libm::exp2(f64::from(check.counter_bits)) * check.interval_s;
        let wraps = wraps && check.time_out_s.is_some_and(|time_out| time_out >= round);
        to.warn("safety.counter-wraps", &at, wraps, || {
            format!(
                "{}: the counter comes round after {}, within the time-out: so many lost frames look whole.",
                check.name,
                second(round)
            )
        });
        doubts::of_check(input, row, check, to);
        let debounced =
            check.kind == CheckKind::Rate && check.in_a_row > 1 && check.held_against == HeldAgainst::LastSample;
        to.warn("safety.rate-debounced", &at, debounced, || {
            format!("{}: after one sample beyond the limit the next one stands beside it, and {} in a row never come. Hold the last accepted one.", check.name, check.in_a_row)
        });
        let beta = input.life.beta_percent == Some(0.0) && check.kind.has_partner();
        to.warn("safety.beta-zero-shared", "/life/beta_percent", beta, || {
            format!("{} compares two channels: no common cause at all is hard to show.", check.name)
        });
    }
    doubts::holes(input, solved, to);
    for (row, goal) in solved.goals.iter().enumerate() {
        let at = if input.goals.is_empty() { "/goals".into() } else { format!("/goals/{row}") };
        let gain = goal.spfm_percent.zip(goal.spfm_without_safe_percent).map(|(with, without)| with - without);
        let padded = gain.filter(|gain| *gain > PADDED_PERCENT);
        to.warn("safety.padding", &at, padded.is_some(), || {
            format!(
                "{}: without what is safe anyway the single-point fault metric is {} points lower.",
                goal.name,
                crate::quantity::one(padded.unwrap_or_default())
            )
        });
        let ramp = stated.get(row).and_then(|goal| {
            let trip = goal.trip()?;
            Some((input.goals[row].ftti_s?, (trip.hazard - trip.normal).abs() / trip.slope))
        });
        let ramp = ramp.filter(|(ftti, ramp)| ftti > ramp);
        to.warn("safety.ftti-above-slope", &format!("{at}/ftti_s"), ramp.is_some(), || {
            let (ftti, ramp) = ramp.unwrap_or_default();
            format!(
                "{}: {} are tolerated, but the hazard is {} away from allowed operation at the largest slope.",
                goal.name,
                second(ftti),
                second(ramp)
            )
        });
        let decides = goal.pmhf_fit.zip(goal.common_cause_fit).filter(|(all, common)| *common > all / 2.0);
        to.note("safety.common-cause-decides", "/life/beta_percent", decides.is_some(), || {
            let (all, common) = decides.unwrap_or_default();
            format!("{}: {} of {} are common causes, a matter of β.", goal.name, fit(common), fit(all))
        });
    }
    let counts = |origin| solved.modes.iter().filter(|mode| mode.origin == origin).count();
    let claimed = counts(SafetyOrigin::Claimed);
    to.note("safety.claimed", "/faults", claimed > 0, || {
        format!("{claimed} of {} modes rest on typed shares: nothing was inserted for them.", solved.modes.len())
    });
    let illustrative = solved.modes.iter().filter(|mode| mode.illustrative).count();
    to.note("safety.illustrative", "/faults", illustrative > 0, || {
        format!("{illustrative} of {} modes have rates without a source that counts.", solved.modes.len())
    });
    let whole = input.goals.iter().any(|goal| goal.share_of_item_percent == Some(100.0));
    to.note("safety.whole-item", "/goals", whole, || {
        "A target for random failures is that of the whole item: 100 % leaves nothing for sensors, controllers and actuators elsewhere.".into()
    });
}

/// What modes of a goal do, each told of its worst mode, with how many more do so.
fn of_goal(input: &SafetyInput, solved: &SafetyOutput, place: usize, goal: &Goal, to: &mut Ledger) {
    let at = format!("/goals/{place}");
    let quiet = goal.asil == Asil::Qm && goal.ftti_s.is_some();
    to.warn("safety.no-level", &format!("{at}/asil"), quiet, || {
        format!("{} has no level: nothing is asked of it, although a time is stated.", goal.name)
    });
    let at_once = goal.asil.asks() && goal.ftti_s.is_some() && goal.reaction_s.is_some_and(|reaction| reaction <= 0.0);
    to.warn("safety.no-reaction", &format!("{at}/reaction_s"), at_once, || {
        format!("{}: no time passes between the alarm and the safe state.", goal.name)
    });
    let early = goal.trip().filter(|trip| trip.sign() * (trip.normal - trip.threshold) + trip.error >= 0.0);
    to.warn("safety.trips-in-use", &at, early.is_some(), || {
        format!("The threshold of {} may trip in allowed operation.", goal.name)
    });
    let standing = goal.reads == Reads::Current && goal.at() == Some(0.0);
    to.warn("safety.decided-at-nothing", &format!("{at}/at_a"), standing, || {
        format!("{} is decided at no current: what grows with the current shows nothing there.", goal.name)
    });
    let own = input.goals.get(place).filter(|own| own.decided_by == DecidedBy::Threshold);
    let typed = own.and_then(|own| own.told()[1]);
    let errs = typed.zip(input.channel_error(goal.reads)).filter(|(typed, channel)| typed < channel);
    to.warn("safety.goal-errs-more", &at, errs.is_some(), || {
        let [typed, channel] = <[f64; 2]>::from(errs.unwrap_or_default()).map(|error| say(error, goal.reads.unit()));
        format!("{} is typed to err {typed}; the channel that it reads errs {channel}, and counts.", goal.name)
    });
    let own: Vec<&SafetyMode> = solved.modes.iter().filter(|mode| mode.of_goal == place).collect();
    let value = |value: f64| Quantity::new(value, goal.reads.unit_of_values());
    let words = |mode: &SafetyMode| format!("{}, {}", mode.component, mode.mode);
    let mut told = |code: &'static str, worst: &[&SafetyMode], say: &dyn Fn(&SafetyMode) -> String| {
        let Some(first) = worst.first() else { return };
        let at = if input.faults.is_empty() { "/faults".into() } else { format!("/faults/{}", first.row) };
        to.warn(code, &at, true, || match worst.len() - 1 {
            0 => say(first),
            1 => format!("{} So does 1 more mode.", say(first)),
            more => format!("{} So do {more} more modes.", say(first)),
        });
    };
    let those = |picked: &dyn Fn(&SafetyMode) -> bool, size: &dyn Fn(&SafetyMode) -> f64| {
        let mut those: Vec<&SafetyMode> = own.iter().copied().filter(|mode| picked(mode)).collect();
        those.sort_by(|one, other| size(other).total_cmp(&size(one)));
        those
    };
    let is = |behaviour| move |mode: &SafetyMode| mode.behaviour == Some(behaviour);
    let rate = |mode: &SafetyMode| mode.mode_fit;
    let by = goal.decided_by;
    // Not before the end of what was looked at is later than anything before it.
    let lateness = |mode: &SafetyMode| mode.late_by_s.unwrap_or(f64::INFINITY);
    let plausible = |mode: &SafetyMode| {
        let right = mode.unseen_to.is_some() && mode.at.is_some() && !mode.beyond_range;
        right && mode.seen_from.is_none() && mode.safe_percent != Some(100.0)
    };
    let alone = |mode: &SafetyMode| {
        mode.direct_percent.is_some_and(|direct| direct > 0.0) && mode.dc_used_percent.is_none() && mode.mode_fit > 0.0
    };
    told("safety.single-point", &those(&alone, &rate), &|mode| {
        format!("{} violates {} alone, and no check sees it.", words(mode), goal.name)
    });
    told("safety.plausible-reading", &those(&plausible, &rate), &|mode| {
        format!("{} reads values that look right, and no check sees them.", words(mode))
    });
    told("safety.never-trips", &those(&is(SafetyBehaviour::Never), &rate), &|mode| {
        never(mode, Some(goal), by, &words(mode), &value)
    });
    told("safety.late", &those(&is(SafetyBehaviour::Late), &lateness), &|mode| late(mode, by, &words(mode), &value));
    told(
        "safety.closes-too-soon",
        &those(&is(SafetyBehaviour::TooSoon), &|mode| mode.inrush_a.unwrap_or(0.0)),
        &|mode| {
            let [at, flows] = [mode.trips_at, mode.inrush_a].map(Option::unwrap_or_default);
            format!("{}: the main contactor may close at {}, and {} flow.", words(mode), value(at), ampere(flows))
        },
    );
}

/// That what a goal rests on comes too late.
fn late(mode: &SafetyMode, by: DecidedBy, words: &str, value: &dyn Fn(f64) -> Quantity) -> String {
    let what = match by {
        DecidedBy::Threshold => "the threshold",
        DecidedBy::Race => "the fast detection",
        DecidedBy::Precharge => "the pre-charge",
        DecidedBy::Count => {
            let days = mode.budget_days.unwrap_or_default();
            return format!(
                "{words}: the budget of {} is used up after {}, before the next anchor.",
                mode.goal,
                day(days)
            );
        }
    };
    let at = mode.trips_at.map_or_else(String::new, |at| format!(" at {} alone", value(at)));
    match mode.late_by_s {
        Some(late) => format!("{words}: {what} of {} is there{at}, {} too late.", mode.goal, second(late)),
        None if mode.trips_at.is_some() => format!("{words}: {what} of {} is there{at}, too late.", mode.goal),
        None => format!(
            "{words}: {what} of {} does not trip before the hazard; whether it ever does hangs on the largest possible value, which is not given.",
            mode.goal
        ),
    }
}

/// That what a goal rests on never comes.
fn never(
    mode: &SafetyMode,
    goal: Option<&Goal>,
    by: DecidedBy,
    words: &str,
    value: &dyn Fn(f64) -> Quantity,
) -> String {
    let most = goal.and_then(Goal::largest_possible).unwrap_or_default();
    match by {
        DecidedBy::Race => {
            format!(
                "{words}: the fast detection of {} sees no fault, or not the weakest: the fuse is left alone.",
                mode.goal
            )
        }
        DecidedBy::Precharge => format!("{words}: the pre-charge of {} ends at its time-out.", mode.goal),
        _ => format!(
            "{words}: the threshold of {} does not trip up to {}, the largest possible.",
            mode.goal,
            value(most)
        ),
    }
}
