//! What is required of a current channel, and what is noted.

use super::solve::drift;
use super::{ChannelInput, Solved};
use crate::calc::current::shunt::OF_PART;
use crate::channel::chain::Chain;
use crate::channel::required;
use crate::judge::{Judged, Ledger, Sense, Words, passes};
use crate::quantity::{Unit, ampere, ampere_hour, celsius, percent, second, watt};

pub(super) fn requirements(input: &ChannelInput, solved: &Solved, to: &mut Ledger) {
    required::require(&input, solved.worst.as_ref(), solved.not_read, solved.points, to);
    direction(input, to);
    peak(input, to);
    stress(input, solved, to);
    range(input, solved, to);
    with_ripple(input, solved, to);
    notes(input, solved, to);
}

fn stress(input: &ChannelInput, solved: &Solved, to: &mut Ledger) {
    let stress = &solved.stress;
    let (ambient, load) = (stress.ambient_degc, &input.load);
    let at = |ambient: f64| format!("{} at {}", ampere(load.continuous_a), celsius(ambient));
    let lasting = || {
        let degc = stress.power_ambient_degc;
        let each = |repeat| {
            format!("{} with its peaks each {} at {}", ampere(load.continuous_a), second(repeat), celsius(degc))
        };
        load.peak_repeat_s.map_or_else(|| at(degc), each)
    };
    let runaway =
        || format!("At {} and {} the shunt has no steady temperature.", ampere(load.continuous_a), celsius(ambient));
    let allowed = stress.derated_power_w;
    let power =
        Judged::at_most("current-channel.power", "/shunt/rated_power_w", Unit::Watt, stress.hottest_power_w, allowed);
    to.require(power, |one| {
        let (note, failure) = match one.achieved {
            Some(power) => {
                let failure = format!("The shunt loses {}; {} is allowed.", watt(power), watt(allowed));
                (format!("{}, derated; {OF_PART}", lasting()), failure)
            }
            None => (format!("{}: thermal runaway", lasting()), runaway()),
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
            Words::new(label, format!("{at}; the allowance counts from ambient; {OF_PART}"), failure)
        }
        None => Words::new(label, format!("{at}: thermal runaway"), runaway()),
    };
    let steady = judged("current-channel.temperature", stress.hottest_element_degc);
    to.require(steady, |one| words(one, "Steady element temperature", at(ambient)));
    to.require(judged("current-channel.peak", stress.after_peak_degc), |one| {
        let peak = ampere(load.peak_a.max(input.charge_peak_a()));
        let at = match load.peak_repeat_s {
            Some(repeat) => format!("{peak} for {}, each {}", second(load.peak_duration_s), second(repeat)),
            None => format!("{peak} for {}", second(load.peak_duration_s)),
        };
        words(one, "Element after the peak", at)
    });
}

/// A pack that charges needs a reading below zero from some channel.
fn direction(input: &ChannelInput, to: &mut Ledger) {
    let charge = input.charge_peak_a();
    if charge <= 0.0 {
        return;
    }
    let reads = (&input).reads_below_zero();
    let wrong = !reads && !input.load.charge_read_elsewhere;
    to.require(Judged::never("current-channel.direction", "/converter/bipolar", wrong), |_| {
        let note = if reads { "this channel reads both ways" } else { "another channel reads it" };
        let failure = format!(
            "The pack charges with up to {}, and the chain reads nothing below zero. Say so if another channel does.",
            ampere(charge)
        );
        Words::new("Charging current is read", note, failure)
    });
}

/// Some channel must reach what the pack does.
fn peak(input: &ChannelInput, to: &mut Ledger) {
    let load = &input.load;
    let charge = if load.charge_read_elsewhere { 0.0 } else { input.charge_peak_a() };
    let peak = load.peak_a.max(load.continuous_a).max(charge);
    let wrong = passes(peak, load.full_scale_a) && !load.peak_read_elsewhere;
    to.require(Judged::never("current-channel.peak-read", "/load/full_scale_a", wrong), |_| {
        let note = format!("peak {}, {} asked of this channel", ampere(peak), ampere(load.full_scale_a));
        let failure = format!(
            "The pack reaches {}, and this channel is asked to read {} only. Say so if another channel reads the peaks.",
            ampere(peak),
            ampere(load.full_scale_a)
        );
        Words::new("The pack's peak is read", note, failure).reaching(peak, Some(load.full_scale_a), Unit::Ampere)
    });
    let [from, discharge, charge] = input.range_a();
    let typed = input.requirement.from_a.is_some() || input.requirement.to_a.is_some();
    let upper = discharge.max(charge);
    let outside =
        typed && (passes(peak.min(load.full_scale_a), upper) || input.requirement.from_a.is_some_and(|a| a > 0.0));
    to.note("current-channel.outside-requirement", "/requirement/to_a", outside, || {
        format!(
            "The error is judged between {} and {}, as the requirement says; outside it is not.",
            ampere(from),
            ampere(upper)
        )
    });
}

fn range(input: &ChannelInput, solved: &Solved, to: &mut Ledger) {
    let (range, asked) = (&solved.range, input.load.full_scale_a);
    // Charging counts as far as the pack charges.
    let elsewhere = input.load.charge_read_elsewhere && !input.reads_below_zero();
    let below = if elsewhere { 0.0 } else { asked.min(input.charge_peak_a()) };
    let short = |end: Option<f64>, asked: f64| end.is_some_and(|end| passes(asked, end.abs()));
    let (up, down) = (short(range.full_at_a, asked), short(range.full_below_a, below));
    let one = Judged::never("current-channel.range", "/load/full_scale_a", up || down);
    let bent = [(asked, range.full_at_a), (below, range.full_below_a)];
    let bent = bent.into_iter().find_map(|(most, full)| input.converter.range_missing(most, full));
    let one = if solved.no_state { one.blocked() } else { one.without(bent) };
    to.require(one, |_| {
        if solved.no_state {
            let why = "there is no steady temperature of the shunt";
            return Words::new("Full-scale current inside the range", why, why);
        }
        let said = |end: Option<f64>| end.map_or_else(|| "no end".into(), |end| ampere(end).to_string());
        let (full, first) =
            if up { (range.full_at_a, range.full_first) } else { (range.full_below_a, range.full_below_first) };
        let note = format!("{} asked; full at {}", ampere(asked), said(range.full_at_a));
        let failure = format!(
            "{} must be read; the first part is full at {}, where {first} ends. Larger currents cannot be told apart.",
            ampere(if up { asked } else { -below }),
            said(full),
        );
        let asked = if up { asked } else { -below };
        Words::new("Full-scale current inside the range", note, failure).reaching(asked, full, Unit::Ampere)
    });
}

/// What clips of the ripple becomes a deviation of the mean.
fn with_ripple(input: &ChannelInput, solved: &Solved, to: &mut Ledger) {
    let Some(reach) = solved.reach else { return };
    let beyond = passes(reach.with_ripple_a.abs(), reach.full_at_a.abs());
    let bent = input.converter.range_missing(reach.with_ripple_a, Some(reach.full_at_a));
    let one = Judged::never("current-channel.ripple-clips", "/load/ripple_current_a", beyond);
    to.require(one.without(bent), |_| {
        let (reaches, full) = (ampere(reach.with_ripple_a), ampere(reach.full_at_a));
        let failure = format!("The peak with its ripple reaches {reaches}, and the chain is full from {full}: what clips becomes a deviation of the mean.");
        Words::new("Peak with its ripple inside the range", format!("{reaches} reached; full at {full}"), failure)
            .reaching(reach.with_ripple_a, Some(reach.full_at_a), Unit::Ampere)
    });
}

fn notes(input: &ChannelInput, solved: &Solved, to: &mut Ledger) {
    let codes = ["current-channel.no-linearity", "current-channel.no-noise"];
    input.converter.left_out(codes, input.noise_counts(), to);
    let ripple = &solved.ripple;
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
    let (per_day, share) = drift(input, &solved.zero);
    let share = share.unwrap_or(0.0);
    to.warn("current-channel.charge-drift", "/calibration/offset_residual_v", share > 1.0, || {
        format!(
            "The offset that is left, {}, counts {} a day that never flowed: {} of the capacity.",
            ampere(solved.zero.error().unwrap_or(0.0)),
            ampere_hour(per_day),
            percent(share)
        )
    });
}
