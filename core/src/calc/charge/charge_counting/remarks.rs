//! What is noted about charge counting.

use super::anchor::Found;
use super::cases::Why;
use super::error::{LABELS, OFFSET};
use super::input::{After, ChargeInput, StartKind, UsageKind};
use super::reading::{DITHER, alias};
use super::solve::Solved;
use crate::constant::{DAY_H, HOUR_S};
use crate::judge::Ledger;
use crate::quantity::{Unit, ampere, ampere_hour, hertz, hour, percent, say, second};

/// An anchor that is worse than this has no use as one. Common practice, no source.
const FLAT_PERCENT: f64 = 5.0;
/// A loss of charge beyond this is ageing. Common practice, no source.
const LOSSY_PERCENT: f64 = 99.0;

pub(super) fn remarks(input: &ChargeInput, solved: &Solved, to: &mut Ledger) {
    anchors(input, solved, to);
    readings(input, to);
    uses(input, solved, to);
    course(input, solved, to);
    scatter(input, solved, to);
    if let Some(Ok(one)) = solved.capacity {
        to.warn("charge.swing-too-small", "/capacity/second_percent", one.too_small, || {
            format!(
                "The swing of {} is read to ± {} standard: the capacity means little.",
                percent(one.swing_percent),
                percent(one.swing_standard)
            )
        });
    }
    if let Some(Ok(proof)) = solved.trend {
        let takes = proof.estimates.is_none();
        to.warn("charge.drift-limits-trend", "/trend/channel_drift_percent", takes, || {
            "The drift of the channel looks like ageing of the battery: no number of estimates tells them apart.".into()
        });
    }
}

fn anchors(input: &ChargeInput, solved: &Solved, to: &mut Ledger) {
    let left = solved.worst.as_ref().map(Found::size);
    if let (Some(worst), Some(limit)) = (&solved.worst, input.requirement.soc_error_percent) {
        let size = worst.size();
        to.warn("charge.anchor-over-budget", "/requirement/soc_error_percent", size > limit, || {
            let (size, allowed) = (percent(size), percent(limit));
            match solved.anchor_percent.filter(|best| *best <= limit) {
                // The place decides: one rests where the curve tells enough, or does not take it for an anchor.
                Some(best) => format!(
                    "An anchor alone may be {size} wrong where one rests, at {} charged; {allowed} are allowed in all. At its best place it is {}: narrow where one is anchored.",
                    percent(worst.place),
                    percent(best)
                ),
                None => format!("An anchor alone is {size} wrong; {allowed} are allowed in all."),
            }
        });
    }
    let flat = solved.anchor_percent.is_some_and(|size| size > FLAT_PERCENT);
    to.warn("charge.flat", "/anchor/curve", flat, || {
        "The curve is so flat that no allowed place makes an anchor: anchor at full or at empty.".into()
    });
    let less = left.is_some_and(|size| size > input.start.error_percent);
    to.note("charge.beginning-typed", "/start/kind", input.start.kind != StartKind::Anchor && less, || {
        format!(
            "The first time begins {} wrong, as typed; those after an anchor begin with what it leaves, {}.",
            percent(input.start.error_percent),
            percent(left.unwrap_or(0.0))
        )
    });
    let both = input.anchor.after == After::Either && input.anchor.lag_v().is_some_and(|lag| lag > 0.0);
    to.note("charge.either-branch", "/anchor/after", both && input.capacity.is_there(), || {
        "A rest may follow charging or discharging: for the capacity the lags of the two rests are taken to add.".into()
    });
}

/// What is worked out beside a figure that was typed.
fn scatter(input: &ChargeInput, solved: &Solved, to: &mut Ledger) {
    let own = solved.capacity.and_then(Result::ok).filter(|_| input.trend.is_there()).map(|one| one.standard_percent);
    let more = own.filter(|own| *own > input.trend.estimate_percent);
    to.warn("charge.scatter-below-estimate", "/trend/estimate_percent", more.is_some(), || {
        format!(
            "Estimates are taken to scatter by {}; the capacity between two rests is known to {} standard. What of it is alike in all estimates does not scatter; the rest does.",
            percent(input.trend.estimate_percent),
            percent(more.unwrap_or_default())
        )
    });
}

fn readings(input: &ChargeInput, to: &mut Ledger) {
    let (counter, counting) = (&input.counter, &input.counting);
    let (step, noise) = (counting.step_a, counter.noise_a);
    to.warn("charge.no-dither", "/counter/noise_a", step > 0.0 && noise < DITHER * step, || {
        format!(
            "Noise of {} does not move a code of {}: the mean may stand half a step off for ever.",
            ampere(noise),
            ampere(step)
        )
    });
    let band = counting.dead_band_a;
    to.warn("charge.dead-band-hides", "/counting/dead_band_a", band > 0.0, || {
        let all = input.offset_a() + input.drift_a() + counter.emf_a;
        let surely = (band - all).max(0.0);
        format!(
            "Currents up to {} may count as nothing, below {} they surely do; without current the band hides the offset, which still counts here.",
            ampere(band + all),
            ampere(surely)
        )
    });
    let alias = alias(counter, counting);
    to.warn("charge.alias-locked", "/counting/ripple_hz", alias.is_some_and(|alias| alias.at_hz.is_none()), || {
        let interval = second(counting.interval_s(counter));
        format!(
            "The ripple of {} may stand still in readings every {interval}: it counts like an offset.",
            hertz(counting.ripple_hz)
        )
    });
    to.warn("charge.gap", "/counting/longest_gap_s", counting.longest_gap_s > 0.0, || {
        "A gap without readings is counted once between two anchors, at the largest current of the use.".into()
    });
    let walk = noise * counter.correlated() * (counter.sample_s * 86_400.0).sqrt();
    let drift = (input.offset_a() + input.drift_a()) * 86_400.0;
    to.note("charge.noise-negligible", "/counter/noise_a", walk > 0.0 && walk < 0.01 * drift, || {
        format!(
            "In a day noise wanders by {}, the offset counts {}.",
            say(walk / 3600.0, Unit::AmpereHour),
            say(drift / 3600.0, Unit::AmpereHour)
        )
    });
}

/// What a course does to the battery when it comes again and again.
fn course(input: &ChargeInput, solved: &Solved, to: &mut Ledger) {
    let usage = &input.usage;
    if usage.kind != UsageKind::Profile {
        return;
    }
    let [net_ah, span_ah] = usage.course_ah();
    let capacity_ah = input.battery.capacity_ah;
    let told_h = match &solved.lasts {
        Err(Why::Spent) => f64::INFINITY,
        lasts => {
            let lasts_h = lasts.as_ref().ok().and_then(Option::as_ref).map(|(place, _)| place.time_s / HOUR_S);
            input.horizon_h().or(lasts_h).unwrap_or(DAY_H)
        }
    };
    let spent_h = input.spent_h().unwrap_or(f64::INFINITY);
    to.warn("charge.course-unbalanced", "/usage/profile", spent_h < told_h, || {
        let (moves, ends) = if net_ah > 0.0 { ("takes", "empty") } else { ("brings", "full") };
        format!(
            "Each course {moves} {} net: within {} an aged battery is {ends}. Later times are not judged; give the rows that bring it back.",
            ampere_hour(net_ah.abs()),
            hour(spent_h)
        )
    });
    let left_ah = input.battery.soh_end_percent / 100.0 * capacity_ah;
    to.warn("charge.course-beyond-aged", "/usage/profile", span_ah > left_ah, || {
        format!(
            "The course moves {} one way; at the end of life the battery holds {}.",
            ampere_hour(span_ah),
            ampere_hour(left_ah)
        )
    });
}

fn uses(input: &ChargeInput, solved: &Solved, to: &mut Ledger) {
    let battery = &input.battery;
    let stands = !battery.capacity_learned && battery.soh_end_percent < 100.0;
    let swings = match input.usage.kind {
        UsageKind::Profile => !input.usage.profile.is_empty(),
        _ => input.usage.swing_percent.is_some(),
    };
    to.warn("charge.capacity-not-learned", "/battery/capacity_learned", stands && swings, || {
        format!(
            "The estimator divides by the new capacity to the end: with {} of it left, a swing alone makes an error.",
            percent(battery.soh_end_percent)
        )
    });
    let own = input.apart.self_discharge_percent_per_month.is_none() && input.horizon_h().is_some();
    to.warn("charge.self-discharge-unknown", "/apart/self_discharge_percent_per_month", own, || {
        "Self-discharge is not given: errors are told without it, and what it may make fail is not judged.".into()
    });
    let lossy = input.apart.efficiency_percent < LOSSY_PERCENT;
    to.warn("charge.counted-twice", "/apart/efficiency_percent", lossy, || {
        "Charge that does not come back for good is ageing, which the capacity counts: it is not counted here again."
            .into()
    });
    to.warn("charge.sign", "/usage/standby_a", input.usage.standby_a < 0.0, || {
        format!("A standby current of {} charges the battery: discharge is positive.", ampere(input.usage.standby_a))
    });
    if let Ok((place, _)) = &solved.largest {
        let inside = place.moment.share < 1.0 || place.terms.limits[4].abs() > 2.0 * place.terms.limits[OFFSET].abs();
        let at = if input.usage.kind == UsageKind::Profile { "/usage/profile" } else { "/usage/swing_percent" };
        to.note("charge.inside-cycle", at, inside && place.terms.limits[4] != 0.0, || {
            format!(
                "{} is largest inside the cycle and gone at its end: looked at there it would be missed.",
                LABELS[4]
            )
        });
    }
}
