//! What each check does without a fault, and what it sees of one.

use super::detection::{Sight, Where, stuck_per_hour, without_limit_s};
use super::input::{CheckKind, Fault, Reads, SafetyCheck, SafetyInput, names};
use super::metrics::hidden_h;
use super::output::SafetySeen;

/// Rate of loss of a check: typed, or the rates of what it needs.
pub(super) fn loss_fit(all: &[Fault], check: &SafetyCheck) -> Option<f64> {
    let rate = |name: &str| all.iter().find(|fault| fault.component == name).map(|fault| fault.rate_fit);
    let needed = || {
        let rates: Option<Vec<f64>> = names(&check.needs).map(rate).collect();
        rates.filter(|rates| !rates.is_empty()).map(|rates| rates.iter().sum())
    };
    check.loss_fit.or_else(needed)
}

/// How long a loss of a check stays hidden.
pub(super) fn hidden(input: &SafetyInput, check: &SafetyCheck) -> f64 {
    hidden_h(check.test_interval_h, check.test_coverage_percent / 100.0, input.life.life_h)
}

/// A check with what it does without a fault and what it sees of one.
pub(super) fn seen(input: &SafetyInput, all: &[Fault], check: &SafetyCheck) -> SafetySeen {
    let sight = Sight::of(input, check, Where::Anywhere);
    // A limit that grows with the reading is seen past where it is largest.
    let largest = input.between(check.reads).map(|[from, to]| if from.abs() > to.abs() { from } else { to });
    let grows = check.limit_percent.is_some() && check.kind.sees_the_deviation() && check.kind != CheckKind::Range;
    let seeing = if grows { Sight::of(input, check, Where::At(largest)) } else { sight };
    let of = |part: fn(&Sight) -> f64| sight.as_ref().map(part).filter(|value| value.is_finite());
    let certain = |high: bool| seeing.map(|one| one.certain(high)).filter(|size| size.is_finite());
    // The slower direction, at the size that is just surely seen there.
    let time = |part: fn(&Sight, f64, bool) -> f64| {
        let one = seeing?;
        let some = [false, true].into_iter().filter_map(|high| Some(part(&one, certain(high)?, high)));
        some.reduce(f64::max).filter(|time| time.is_finite())
    };
    let looks_at_current = check.reads == Reads::Current && check.kind.sees_the_deviation();
    let daily = |one: Sight| 24.0 * one.certain(true).max(one.certain(false));
    let stuck = check.kind == CheckKind::StuckCode;
    let left = left_unseen(input, check);
    SafetySeen {
        name: check.name.clone(),
        limit: sight.map(|one| one.limits[1].min(one.limits[0])).filter(|_| check.kind != CheckKind::Range),
        fault_free: of(Sight::fault_free),
        least_limit: of(Sight::least_limit),
        certain_high: certain(true),
        certain_low: certain(false),
        unseen: of(Sight::unseen),
        hides_ah_per_day: seeing.filter(|_| looks_at_current).map(daily).filter(|hides| hides.is_finite()),
        left_ohm: left.map(|[ohm, _]| ohm),
        left_percent: left.map(|[_, percent]| percent),
        lost_from_a: lost_from_a(input, check),
        false_per_hour: if stuck { stuck_per_hour(check) } else { sight.and_then(|one| one.false_per_hour()) },
        earliest_s: time(Sight::earliest_s),
        latest_s: time(Sight::latest_s).or_else(|| without_limit_s(check)),
        hidden_h: hidden(input, check),
        loss_fit: loss_fit(all, check),
    }
}

/// The largest joint in a sense wire that an open-wire check leaves unseen, Ω, and what it does to the reading, percent.
///
/// ```text
/// Formula    r = Rd D/(It Rd − D) − 2 Rf, D = L + e + zσ; −r/(Rd + r + 2 Rf)
/// ```
fn left_unseen(input: &SafetyInput, check: &SafetyCheck) -> Option<[f64; 2]> {
    if check.kind != CheckKind::OpenWire || check.reads != Reads::Current {
        return None;
    }
    let volt = Sight::of(input, check, Where::At(None))?.certain(true);
    let (across, filter) = (input.current.input_ohm?, 2.0 * input.current.leg_ohm?);
    let open = check.test_current_a? * across;
    let joint = (across * volt / (open - volt) - filter).max(0.0);
    (open > volt).then(|| [joint, -100.0 * joint / (across + joint + filter)])
}

/// The smallest current whose loss the heat of the shunt shows, A: √(D/(Rth R)).
fn lost_from_a(input: &SafetyInput, check: &SafetyCheck) -> Option<f64> {
    if check.kind != CheckKind::CurrentHeat {
        return None;
    }
    let kelvin = Sight::of(input, check, Where::At(None))?.certain(true);
    Some((kelvin / (check.heat_k_per_w? * input.current.shunt_ohm?)).sqrt())
}
