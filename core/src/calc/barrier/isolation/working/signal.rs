//! The working of injection, data and supply.

use super::super::injection::piled;
use super::super::input::IsolationInput;
use super::super::output::IsolationOutput;
use super::{KIRCHHOFF, OHM};
use crate::quantity::{
    ampere, bit, bit_per_second, celsius, coulomb, decibel, farad, henry, hertz, kelvin_per_watt, ohm, percent, second,
    volt, volt_per_second, watt,
};
use crate::report::Step;
use crate::report::worked::{Put, Term, n};

pub(super) fn working(input: &IsolationInput, result: &IsolationOutput) -> Vec<Step> {
    let mut steps = injection(input, result);
    steps.extend(data(input, result));
    steps.extend(supply(input, result));
    steps
}

fn injection(input: &IsolationInput, result: &IsolationOutput) -> Vec<Step> {
    let (given, Some(one)) = (&input.common_mode, &result.injection) else { return Vec::new() };
    let mut steps = Vec::new();
    let Some(c) = one.capacitance_farad.map(farad) else { return steps };
    steps.push(Step::worked("Capacitance across the barrier", "C", "Σ n C", c, KIRCHHOFF, |p| {
        Term::sum(given.couplings.iter().map(|one| n(one.count) * p.of(farad(one.capacitance_farad))))
    }));
    let step = volt(one.step_v);
    let charge = coulomb(one.charge_coulomb.unwrap_or(0.0));
    steps.push(Step::worked("Charge of an edge", "Q", "C dV", charge, "definition", |p| p.of(c) * p.of(step)));
    let share = percent(given.injected_share_percent);
    let resistance = given.shared_resistance_ohm.map(ohm);
    if let Some((slew, current)) = given.node_slew_v_per_s.map(volt_per_second).zip(one.current_a.map(ampere)) {
        steps.push(Step::worked("Current of an edge", "I", "C dv/dt", current, "definition", |p| p.of(c) * p.of(slew)));
        if let Some((peak, ohm)) = one.peak_v.map(volt).zip(resistance) {
            let henry =
                given.shared_inductance_henry.filter(|h| *h > 0.0).map(henry).zip(given.current_rise_s.map(second));
            steps.push(Step::worked("Peak without a filter", "Vc", "s (I R + L I/tr)", peak, OHM, |p| {
                let drop = p.of(current) * p.of(ohm);
                let all = match henry {
                    Some((henry, rise)) => drop + p.of(henry) * p.of(current) / p.of(rise),
                    None => drop,
                };
                p.of(share) * all
            }));
        }
        let filtered = one.filtered_v.map(volt).zip(resistance).zip(given.channel_filter_s.map(second));
        if let Some(((filtered, ohm), tau)) = filtered {
            let edge = second(one.edge_s.unwrap_or(0.0));
            let formula = "s I R (1 − e^(−te/τ)), times 1 + (1 − cancellation)(1/(1 − e^(−1/(f τ))) − 1)";
            let times = piled(given, tau.value, 1.0 - given.cancellation_percent / 100.0);
            steps.push(Step::worked("Peak behind the filter", "Vf", formula, filtered, "first-order low-pass", |p| {
                let alone = p.of(share) * p.of(current) * p.of(ohm) * (n(1) - (-(p.of(edge) / p.of(tau))).exp());
                if times > 1.0 { alone * p.of(crate::quantity::one(times)) } else { alone }
            }));
        }
    }
    if let Some(((mean, ohm), rate)) = one.mean_v.map(volt).zip(resistance).zip(given.edge_rate_hz.map(hertz)) {
        let gone = percent(given.cancellation_percent);
        steps.push(Step::worked("Mean of all edges", "Vm", "s Q R f (1 − cancellation)", mean, OHM, |p| {
            p.of(share) * p.of(charge) * p.of(ohm) * p.of(rate) * (n(1) - p.of(gone))
        }));
    }
    steps
}

fn data(input: &IsolationInput, result: &IsolationOutput) -> Vec<Step> {
    let (given, Some(one)) = (&input.data, &result.data) else { return Vec::new() };
    let mut steps = Vec::new();
    let more = percent(given.overhead_percent);
    let (bits, frames) = (given.frame_bits.map(bit), given.frame_rate_hz.map(hertz));
    let (rate, delay) = (given.rate_bit_per_s.map(bit_per_second), given.delay_max_s.map(second));
    let source = "definition";
    if let (Some(bits), Some(frames), Some(rate), Some(used)) = (bits, frames, rate, one.utilisation_percent) {
        let formula = "bits frames (1 + overhead)/rate";
        steps.push(Step::worked("Utilisation", "u", formula, percent(used), source, |p| {
            p.of(bits) * p.of(frames) * (n(1) + p.of(more)) / p.of(rate)
        }));
    }
    let times = [given.skew_s, given.valid_s, given.setup_s].map(|time| time.map(second));
    if let (Some(bit), [Some(skew), Some(valid), Some(setup)]) = (one.bit_s.map(second), times) {
        let there = delay.filter(|_| !given.clock_returned);
        let formula = if there.is_some() { "2 delay + skew + valid + set-up" } else { "skew + valid + set-up" };
        steps.push(Step::worked("Time of a bit", "tb", formula, bit, source, |p| {
            let rest = p.of(skew) + p.of(valid) + p.of(setup);
            match there {
                Some(delay) => n(2) * p.of(delay) + rest,
                None => rest,
            }
        }));
    }
    if let (Some(bits), Some(frames), Some(rate), Some(delay), Some(latency)) =
        (bits, frames, rate, delay, one.latency_s)
    {
        let formula = "(1 + lost)/frames + bits (1 + overhead)/rate + delay";
        steps.push(Step::worked("Latency", "tl", formula, second(latency), source, |p| {
            let wait = (n(1) + n(given.lost_frames)) / p.of(frames);
            wait + p.of(bits) * (n(1) + p.of(more)) / p.of(rate) + p.of(delay)
        }));
    }
    steps
}

fn supply(input: &IsolationInput, result: &IsolationOutput) -> Vec<Step> {
    let (given, Some(one)) = (&input.supply, &result.supply) else { return Vec::new() };
    let mut steps = Vec::new();
    let Some(output) = one.output_w.map(watt) else { return steps };
    steps.push(Step::worked("Power of the loads", "P", "Σ V I", output, "definition", |p| {
        Term::sum(given.loads.iter().map(|load| p.of(volt(load.voltage_v)) * p.of(ampere(load.current_a))))
    }));
    if let Some((loss, [low, high])) = one.loss_w.map(watt).zip(one.between)
        && low[0] < high[0]
        && low[0] < output.value
        && output.value < high[0]
    {
        let [[a, la], [b, lb]] = [low, high].map(|point| point.map(watt));
        let formula = "La + (Lb − La)(P − Pa)/(Pb − Pa)";
        steps.push(Step::worked("Loss", "L", formula, loss, "straight line between two points of the loss", |p| {
            p.of(la) + (p.of(lb) - p.of(la)) * (p.of(output) - p.of(a)) / (p.of(b) - p.of(a))
        }));
    }
    if let Some((loss, all)) = one.loss_w.map(watt).zip(one.input_w.map(watt)) {
        steps.push(Step::worked("Power taken", "Pin", "P + L", all, "definition", |p| p.of(output) + p.of(loss)));
        let heat = one.junction_degc.map(celsius).zip(given.thermal_resistance_k_per_w.map(kelvin_per_watt));
        let heat = heat.zip(given.ambient_degc.map(celsius)).zip(one.most_lost_w.map(watt));
        if let Some((((junction, k_per_w), ambient), most)) = heat {
            let formula = "Ta + L Rth, L the largest up to P";
            steps.push(Step::worked("Junction temperature", "Tj", formula, junction, "thermal resistance", |p| {
                p.of(ambient) + p.of(most) * p.of(k_per_w)
            }));
        }
    }
    let start = one.start_s.map(second).zip(given.output_farad.map(farad)).zip(given.current_limit_a.map(ampere));
    if let Some((((time, c), limit), (volts, current))) = start.zip(one.output_v.map(volt).zip(one.start_a.map(ampere)))
    {
        let formula = "C V/(Ilim − max(1, k) I)";
        steps.push(Step::worked("Start", "ts", formula, time, "charge = current × time", |p| {
            p.of(c) * p.of(volts) / (p.of(limit) - p.of(current))
        }));
    }
    let rejected = |p: &Put, volts: Term, db: f64| volts / n(10).raised(&(p.of(decibel(db)) / n(20)));
    if let (Some(offset), Some(pp), Some(db)) = (one.ripple_offset_v, given.ripple_pp_v, given.rejection_at_ripple_db) {
        let formula = "Vpp/2/10^(a/20)";
        steps.push(Step::worked("Offset by the ripple", "Vr", formula, volt(offset), "definition of decibel", |p| {
            rejected(p, p.of(volt(pp)) / n(2), db)
        }));
    }
    if let (Some(offset), Some(dv), Some(db)) = (one.regulation_offset_v, given.regulation_v, given.rejection_dc_db) {
        let formula = "dV/10^(a0/20)";
        steps.push(Step::worked(
            "Offset by the regulation",
            "Vg",
            formula,
            volt(offset),
            "definition of decibel",
            |p| rejected(p, p.of(volt(dv)), db),
        ));
    }
    steps
}
