//! The race at one fault, and the whole room.
//!
//! ```text
//! Formula    chain: t(I_th) + filter + Σ stages, shortest and longest; fuse: ∫i² dt = W (1 ∓ t_W)
//!            switch first when its latest lies before the fuse's earliest, and the other way round
//!            must break: current at the opening, at most until the fuse's latest pre-arc
//!            between the faults the voltage goes with the current: V = V_w + (V_s − V_w)(I − I_w)/(I_s − I_w), R = V/I
//!            wiring k = K √ln((θ_f + β)/(θ_i + β)): copper K 226, β 234.5; aluminium K 148, β 228
//! Convention pre-arc time and let-through count from zero current; the earliest pre-arc from the current before the fault
//! Valid      adiabatic pre-arc I²t: a fuse that takes longer than about 10 ms takes longer than said here
//! Source     IEC 60949 and IEC 60364-5-54 annex A (constants from memory); the rest in closed form
//! ```

use super::checks::checks;
use super::circuit::Loop;
use super::clamp::clamp;
use super::input::{Conductor, RaceInput};
use super::output::{
    CoordinationPoint, NobodyReason, Opener, RaceFault, RaceFuse, RaceOutput, RacePoint, RaceStage, RaceWiring,
};
use super::scan::{Faults, Scan, log_grid, scan};

/// The race at one fault.
#[derive(Clone, Copy, Debug)]
pub(super) struct Heat {
    pub circuit: Loop,
    pub switch_min_s: Option<f64>,
    pub switch_max_s: Option<f64>,
    pub fuse: Option<RaceFuse>,
    pub opener: Opener,
    /// The largest current at which the switch may open; none when it surely does not open first.
    pub must_break_a: Option<f64>,
}

impl Heat {
    /// One fault.
    pub fn run(input: &RaceInput, circuit: Loop) -> Self {
        let before = input.before_a;
        let last = circuit.prospective_a();
        let ((threshold_low, threshold_high), (filter_low, filter_high)) = (input.thresholds(), input.filters());
        let (reaction_min, reaction_max) = input.reaction();
        let after = |threshold, filter, reaction: f64| {
            circuit.filtered_time_to_s(before, threshold, filter).map(|time| time + reaction)
        };
        let switch_min_s = after(threshold_low, filter_low, reaction_min);
        let switch_max_s = after(threshold_high, filter_high, reaction_max);
        let fuse = fuse(input, &circuit);
        let opener = match (switch_min_s, switch_max_s, fuse) {
            (None, _, None) | (_, None, None) => Opener::Nothing,
            (None, _, Some(_)) => Opener::Fuse,
            (_, Some(_), None) => Opener::Switch,
            (Some(_), Some(latest), Some(fuse)) if latest < fuse.prearc_min_s => Opener::Switch,
            (Some(earliest), _, Some(fuse)) if fuse.prearc_max_s < earliest => Opener::Fuse,
            _ => Opener::Either,
        };
        let must_break_a = switch_min_s.filter(|_| opener != Opener::Fuse).map(|earliest| {
            let end = [switch_max_s, fuse.map(|fuse| fuse.prearc_max_s)].into_iter().flatten().reduce(f64::min);
            let late = end.map_or(last, |end| circuit.current_a(before, end.max(earliest)));
            circuit.current_a(before, earliest).max(late)
        });
        Self { circuit, switch_min_s, switch_max_s, fuse, opener, must_break_a }
    }

    pub fn reason(&self, breaking_a: Option<f64>) -> Option<NobodyReason> {
        match (self.opener, self.must_break_a, breaking_a) {
            (Opener::Nothing, ..) => Some(NobodyReason::NothingOpens),
            (_, Some(must), Some(can)) if must > can => Some(NobodyReason::BeyondBreaking),
            _ => None,
        }
    }
}

/// The fuse at one fault; none when there is none or the fault is too weak for it.
fn fuse(input: &RaceInput, circuit: &Loop) -> Option<RaceFuse> {
    let fuse = &input.fuse;
    let too_weak = fuse.never_clears_below_a.is_some_and(|least| circuit.prospective_a() < least);
    if fuse.prearc_a2s <= 0.0 || too_weak {
        return None;
    }
    let error = fuse.tolerance_percent / 100.0;
    Some(RaceFuse {
        prearc_s: circuit.time_for_s(0.0, fuse.prearc_a2s)?,
        prearc_min_s: circuit.time_for_s(input.before_a, fuse.prearc_a2s * (1.0 - error))?,
        prearc_max_s: circuit.time_for_s(0.0, fuse.prearc_a2s * (1.0 + error))?,
    })
}

/// The adiabatic factor of the wiring, A√s/mm².
pub(super) fn adiabatic_k(conductor: Conductor, start_degc: f64, end_degc: f64) -> f64 {
    let (k, beta) = match conductor {
        Conductor::Copper => (226.0, 234.5),
        Conductor::Aluminium => (148.0, 228.0),
    };
    k * libm::log((end_degc + beta) / (start_degc + beta)).sqrt()
}

fn fault_of(circuit: &Loop, before_a: f64) -> RaceFault {
    let time_constant_s = circuit.time_constant_s();
    let prospective_a = circuit.prospective_a();
    RaceFault {
        voltage_v: circuit.voltage_v,
        resistance_ohm: circuit.resistance_ohm,
        prospective_a,
        time_constant_s,
        initial_rise_a_per_s: (time_constant_s > 0.0).then(|| (prospective_a - before_a) / time_constant_s),
    }
}

fn stages(input: &RaceInput, circuit: &Loop) -> Vec<RaceStage> {
    let before = input.before_a;
    let ((threshold_low, threshold_high), (filter_low, filter_high)) = (input.thresholds(), input.filters());
    let row = |name: &str, shortest_s, longest_s, ends_min_s, ends_max_s: Option<f64>| RaceStage {
        name: name.into(),
        shortest_s,
        longest_s,
        ends_min_s,
        ends_max_s,
        current_a: ends_max_s.map(|time| circuit.current_a(before, time)),
    };
    let (reach_min, reach_max) = (circuit.time_to_s(before, threshold_low), circuit.time_to_s(before, threshold_high));
    let mut rows = vec![row("Current reaches the threshold", reach_min, reach_max, reach_min, reach_max)];
    let (mut low, mut high) = (reach_min, reach_max);
    if input.filter_s > 0.0 {
        let ends_min = circuit.filtered_time_to_s(before, threshold_low, filter_low);
        let ends_max = circuit.filtered_time_to_s(before, threshold_high, filter_high);
        let delay = |end: Option<f64>, reach: Option<f64>| end.zip(reach).map(|(end, reach)| (end - reach).max(0.0));
        rows.push(row(
            "Filter, on this fault",
            delay(ends_min, reach_min),
            delay(ends_max, reach_max),
            ends_min,
            ends_max,
        ));
        (low, high) = (ends_min, ends_max);
    }
    for stage in &input.stages {
        let shortest = stage.shortest_s.unwrap_or(stage.longest_s);
        low = low.map(|time| time + shortest);
        high = high.map(|time| time + stage.longest_s);
        rows.push(row(&stage.name, Some(shortest), Some(stage.longest_s), low, high));
    }
    rows
}

/// The whole room.
pub(super) fn solve(input: &RaceInput) -> RaceOutput {
    let faults = Faults::of(input);
    let circuit = faults.strongest;
    let before = input.before_a;
    let heat = Heat::run(input, circuit);
    let weak = Heat::run(input, faults.weakest);
    let Scan { nobody, must_break_a, let_through: worst, carried } = scan(input, &faults);
    let time_to_threshold_s = circuit.time_to_s(before, input.threshold_a);
    let filtered = circuit.filtered_time_to_s(before, input.threshold_a, input.filter_s);
    let (reaction_min_s, reaction_max_s) = input.reaction();
    let opening_current_a = heat.switch_max_s.map(|time| circuit.current_a(before, time));
    let opening_current_from_zero_a = heat.switch_max_s.map(|time| circuit.current_a(0.0, time));
    let stored = |current: f64| 0.5 * circuit.inductance_henry * current * current;
    let wiring = input.wiring.area_mm2.map(|area| {
        let (start, end) = input.wiring_degc();
        let k = adiabatic_k(input.wiring.conductor, start, end);
        RaceWiring { k, limit_a2s: (k * area) * (k * area), smallest_mm2: worst.value.map(|a2s| a2s.sqrt() / k) }
    });
    let mut output = RaceOutput {
        strongest: fault_of(&circuit, before),
        weakest: fault_of(&faults.weakest, before),
        time_to_threshold_s,
        filter_delay_s: filtered.zip(time_to_threshold_s).map(|(end, reach)| (end - reach).max(0.0)),
        reaction_min_s,
        reaction_max_s,
        interruption_min_s: heat.switch_min_s,
        interruption_max_s: heat.switch_max_s,
        stages: stages(input, &circuit),
        opening_current_a,
        opening_current_min_a: heat.switch_min_s.map(|time| circuit.current_a(before, time)),
        stored_energy_j: opening_current_a.map(stored),
        opening_current_from_zero_a,
        stored_energy_from_zero_j: opening_current_from_zero_a.map(stored),
        clamp: opening_current_a
            .zip(input.switch.clamp_voltage_v.filter(|clamp_v| input.clamp_ends(*clamp_v)))
            .and_then(|(current, clamp_v)| clamp(&circuit, current, clamp_v)),
        let_through_a2s: heat.switch_max_s.map(|time| circuit.let_through_a2s(0.0, time)),
        let_through_from_before_a2s: heat.switch_max_s.map(|time| circuit.let_through_a2s(before, time)),
        fuse: heat.fuse,
        opens_first: heat.opener,
        opens_first_weakest: weak.opener,
        must_break_a,
        worst_let_through_a2s: worst.value,
        worst_fault_a: worst.at_a,
        wiring,
        nobody,
        course: course(input, &heat),
        coordination: coordination(input, &faults, wiring),
        checks: Vec::new(),
    };
    output.checks = checks(input, &output, &heat, carried);
    output
}

/// From well before the first event to well after the last.
fn course(input: &RaceInput, heat: &Heat) -> Vec<RacePoint> {
    let circuit = &heat.circuit;
    let tau = circuit.time_constant_s();
    let events: Vec<f64> = [
        circuit.time_to_s(input.before_a, input.threshold_a),
        heat.switch_min_s,
        heat.switch_max_s,
        heat.fuse.map(|fuse| fuse.prearc_max_s),
        Some(tau),
    ]
    .into_iter()
    .flatten()
    .filter(|time| *time > 1e-12)
    .collect();
    let first = events.iter().copied().reduce(f64::min).unwrap_or(1e-6) / 10.0;
    let last = events.iter().copied().reduce(f64::max).unwrap_or(1e-3) * 2.0;
    log_grid(first, last, 121)
        .map(|time_s| RacePoint {
            time_s,
            current_a: circuit.current_a(input.before_a, time_s),
            let_through_a2s: circuit.let_through_a2s(input.before_a, time_s),
        })
        .collect()
}

fn coordination(input: &RaceInput, faults: &Faults, wiring: Option<RaceWiring>) -> Vec<CoordinationPoint> {
    let (low, high) = (faults.weakest.prospective_a(), faults.strongest.prospective_a());
    let from = low.min(input.threshold_a).min(input.fuse.never_clears_below_a.unwrap_or(low)) * 0.7;
    // Far below the strongest fault nothing of interest happens, and the chart would be all decades.
    let from = from.max(high * 1e-3);
    let to = high.max(input.threshold_a.min(high * 10.0)) * 1.4;
    let mut currents: Vec<f64> = log_grid(from, to, 81).collect();
    let (_, threshold_high) = input.thresholds();
    let edges = [Some(threshold_high * (1.0 + 1e-9)), input.fuse.never_clears_below_a, Some(high)];
    currents.extend(edges.into_iter().flatten().filter(|edge| (from..=to).contains(edge)));
    currents.sort_by(f64::total_cmp);
    currents.dedup();
    currents
        .into_iter()
        .map(|prospective_a| {
            let heat = Heat::run(input, faults.at(prospective_a));
            let adiabatic = |limit: f64| limit / (prospective_a * prospective_a);
            CoordinationPoint {
                prospective_a,
                switch_s: heat.switch_max_s,
                fuse_s: heat.fuse.map(|fuse| fuse.prearc_s),
                wiring_s: wiring.map(|wiring| adiabatic(wiring.limit_a2s)),
                shunt_s: input.shunt_pulse_a2s.map(adiabatic),
            }
        })
        .collect()
}
