//! What is required of a current channel, and what is noted.

use super::{ChannelInput, Solved};
use crate::channel::corners;
use crate::judge::{Judged, Ledger, Sense, Words, passes};
use crate::quantity::{Unit, ampere, ampere_hour, celsius, percent, second, volt, watt};
use crate::report::{Finding, Severity};

pub(super) fn requirements(input: &ChannelInput, solved: &Solved, to: &mut Ledger) {
    corners::require(&input, &solved.points, to);
    stress(input, solved, to);
    range(input, solved, to);
    notes(input, solved, to);
}

fn stress(input: &ChannelInput, solved: &Solved, to: &mut Ledger) {
    let stress = &solved.stress;
    let (ambient, load) = (stress.ambient_degc, &input.load);
    let at = || format!("{} at {}", ampere(load.continuous_a), celsius(ambient));
    let runaway =
        || format!("At {} and {} the shunt has no steady temperature.", ampere(load.continuous_a), celsius(ambient));
    let allowed = stress.derated_power_w;
    let power = Judged::at_most("current-channel.power", "/shunt/rated_power_w", Unit::Watt, stress.power_w, allowed);
    to.require(power, |one| {
        let (note, failure) = match one.achieved {
            Some(power) => {
                let failure = format!("The shunt loses {}; {} is allowed.", watt(power), watt(allowed));
                (format!("{}, derated", at()), failure)
            }
            None => (format!("{}: thermal runaway", at()), runaway()),
        };
        Words::new("Steady shunt power", note, failure)
    });
    let limit = input.shunt.max_element_degc;
    let judged = |id, degc: Option<f64>| {
        Judged::new(id, "/shunt/max_element_degc", Unit::Celsius, Sense::RiseFrom(ambient), degc, limit)
    };
    let words = |one: &Judged, label: &str, at: String| match one.achieved {
        Some(degc) => {
            let failure = format!("The element reaches {}, above its limit of {}.", celsius(degc), celsius(limit));
            Words::new(label, format!("{at}; the allowance counts from ambient"), failure)
        }
        None => Words::new(label, format!("{at}: thermal runaway"), runaway()),
    };
    let steady = judged("current-channel.temperature", stress.element_degc);
    to.require(steady, |one| words(one, "Steady element temperature", at()));
    to.require(judged("current-channel.peak", stress.after_peak_degc), |one| {
        let at = format!("{} for {}", ampere(load.peak_a), second(load.peak_duration_s));
        words(one, "Element after the peak", at)
    });
}

fn range(input: &ChannelInput, solved: &Solved, to: &mut Ledger) {
    let range = &solved.range;
    let (full, end) = (range.full_scale_v, range.clips_at_v);
    to.require(Judged::at_most("current-channel.range", "/load/full_scale_a", Unit::Volt, full, end), |_| {
        let first = range.clips_first;
        let note = format!("{} at the shunt; clips first: {first}", ampere(input.load.full_scale_a));
        let failure = format!(
            "At full scale the shunt gives {}; {first} ends at {}, {}. Larger currents cannot be told apart.",
            volt(full),
            volt(end),
            ampere(range.clips_at_a)
        );
        Words::new("Full-scale current inside the range", note, failure)
    });
}

fn notes(input: &ChannelInput, solved: &Solved, to: &mut Ledger) {
    let (range, ripple, zero) = (&solved.range, &solved.ripple, &solved.zero);
    let spike = ripple.spike_a;
    let large = spike > 0.02 * input.load.full_scale_a;
    to.warn("shunt.inductive-at-ripple", "/shunt/inductance_henry", large, || {
        format!(
            "The edges of the ripple read as ±{}: a low-pass of {} cancels them; a comparator in front of it sees them.",
            ampere(spike),
            second(ripple.time_constant_s)
        )
    });
    let tau = ripple.low_pass_s.unwrap_or(0.0);
    let matches = (0.5..=2.0).contains(&(tau / ripple.time_constant_s));
    let open = ripple.low_pass_s.is_some() && ripple.time_constant_s > 0.0 && !matches && large;
    to.note("current-channel.low-pass-does-not-match", "/filter/resistance_ohm", open, || {
        format!(
            "The low-pass of {} does not cancel the inductance of {}; behind it the edges still read ±{}.",
            second(tau),
            second(ripple.time_constant_s),
            ampere(ripple.behind_low_pass_a.unwrap_or(spike))
        )
    });
    let (peak_v, end) = ((input.load.peak_a + spike) * input.shunt.resistance_ohm, range.clips_at_v);
    if peak_v > end && !passes(range.full_scale_v, end) {
        to.remark(|| {
            let message =
                format!("Peak current and ripple spike together give {}: what clips becomes a DC error.", volt(peak_v));
            Finding::new(Severity::Warn, "current-channel.ripple-clips", message)
                .at("/load/ripple_current_a")
                .against(peak_v, end)
        });
    }
    let share = zero.percent_per_day.unwrap_or(0.0);
    to.warn("current-channel.charge-drift", "/calibration/offset_residual_v", share > 1.0, || {
        format!(
            "The offset that is left, {}, counts {} a day that never flowed: {} of the capacity.",
            ampere(zero.offset_a),
            ampere_hour(zero.charge_ah_per_day),
            percent(share)
        )
    });
}
