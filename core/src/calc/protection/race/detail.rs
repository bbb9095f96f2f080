//! The whole result: the stages, the course of the strongest fault, the times over the prospective current.

use super::Solved;
use super::clamp::decay_a2s;
use super::fault::Fault;
use super::input::RaceInput;
use super::output::{CoordinationPoint, RaceFault, RaceFuse, RaceOutput, RacePoint, RaceStage};
use super::region::Region;
use super::scan::nobody;
use crate::numeric::log_grid;
use crate::physics::fault_loop::Loop;
use crate::work::{Halt, Work};

pub(super) fn detail(input: &RaceInput, solved: Solved, work: Work) -> Result<RaceOutput, Halt> {
    let opens_first = solved.opens_first();
    let Solved { region, strongest, strongest_all, weakest, scan, wiring, opening_a, clamp, link, .. } = solved;
    let (circuit, before) = (strongest.seen.high, input.before_a);
    let time_to_threshold_s = circuit.time_to_s(before, input.threshold_a);
    let filtered = circuit.filtered_time_to_s(before, input.threshold_a, input.filter_s);
    let (reaction_min_s, reaction_max_s) = input.reaction();
    let opening_current_from_zero_a = strongest.switch_max_s.map(|time| circuit.current_a(0.0, time));
    let from_before = strongest.switch_max_s.map(|time| circuit.let_through_a2s(before, time));
    let decay = opening_a.zip(input.switch.clamp_voltage_v).and_then(|(at, volt)| decay_a2s(&circuit, at, volt));
    let mut coordination = Vec::new();
    for prospective_a in currents(input, &region) {
        work.go_on()?;
        let fault = Fault::run(input, region.seen(input, region.drawn(prospective_a)), 0.0);
        let adiabatic = |limit: f64| limit / (prospective_a * prospective_a);
        coordination.push(CoordinationPoint {
            prospective_a,
            switch_s: fault.switch_max_s,
            fuse_min_s: fault.fuse.map(|fuse| fuse.low_s),
            fuse_max_s: fault.fuse.and_then(|fuse| fuse.high.value()),
            fuse_cleared_s: fault.cleared.value(),
            wiring_s: wiring.map(|wiring| adiabatic(wiring.limit_a2s)),
            shunt_s: input.shunt_pulse_a2s.map(adiabatic),
        });
    }
    work.go_on()?;
    Ok(RaceOutput {
        strongest: told(&region.strongest(), before),
        weakest: told(&region.weakest(), before),
        time_to_threshold_s,
        filter_delay_s: delay(filtered, time_to_threshold_s),
        reaction_min_s,
        reaction_max_s,
        interruption_min_s: strongest.switch_min_s,
        interruption_max_s: strongest.switch_max_s,
        stages: stages(input, &circuit),
        opening_current_a: opening_a,
        opening_current_min_a: strongest.switch_min_s.map(|time| circuit.current_a(before, time)),
        stored_energy_j: opening_a.map(|current| circuit.stored_j(current)),
        opening_current_from_zero_a,
        stored_energy_from_zero_j: opening_current_from_zero_a.map(|current| circuit.stored_j(current)),
        clamp,
        let_through_a2s: strongest.switch_max_s.map(|time| circuit.let_through_a2s(0.0, time)),
        let_through_from_before_a2s: from_before,
        zero_current_s: strongest.switch_max_s.zip(clamp).map(|(time, clamp)| time + clamp.opening_s),
        let_through_to_zero_a2s: from_before.zip(decay).map(|(until, after)| until + after),
        fuse: fuse(input, &circuit, &strongest_all),
        strings: strongest.seen.told(region.seen_inside(input, region.strongest(), 0.0).as_ref()),
        opens_first,
        opens_first_weakest: weakest.opener,
        must_break_a: scan.must_break.value(),
        worst_let_through_a2s: scan.let_through.value(),
        worst_fault_a: scan.let_through.at_a(),
        reverse_a: scan.reverse.value(),
        fuse_breaks_a: scan.fuse_breaks.value(),
        longest_s: scan.over.value(),
        link,
        wiring,
        nobody: nobody(input, &region, &scan, work)?,
        course: course(input, &strongest),
        coordination,
    })
}

/// The fuse at the strongest fault, over all currents before.
fn fuse(input: &RaceInput, circuit: &Loop, strongest: &[Fault]) -> Option<RaceFuse> {
    let all = || strongest.iter().filter_map(|fault| fault.fuse);
    let most = |pick: fn(&super::fault::Melt) -> Option<f64>| {
        all().map(|fuse| pick(&fuse)).reduce(|one, two| Some(one?.max(two?))).flatten()
    };
    let constant = Some(input.fuse.prearc_a2s).filter(|_| input.fuse.points.is_empty());
    Some(RaceFuse {
        prearc_s: constant.and_then(|a2s| circuit.time_for_s(0.0, a2s)),
        prearc_min_s: all().map(|fuse| fuse.low_s).reduce(f64::min)?,
        prearc_max_s: most(|fuse| fuse.high.value()),
        cleared_max_s: strongest
            .iter()
            .map(|fault| fault.cleared.value())
            .reduce(|one, two| Some(one?.max(two?)))
            .flatten(),
        clearing_a2s: most(|fuse| fuse.clearing.value()),
    })
}

fn told(circuit: &Loop, before_a: f64) -> RaceFault {
    let (time_constant_s, prospective_a) = (circuit.time_constant_s(), circuit.prospective_a());
    RaceFault {
        voltage_v: circuit.voltage_v,
        resistance_ohm: circuit.resistance_ohm,
        prospective_a,
        time_constant_s,
        initial_rise_a_per_s: (time_constant_s > 0.0).then(|| (prospective_a - before_a) / time_constant_s),
    }
}

/// What a filter adds to the time at which the current itself reaches the threshold.
fn delay(end: Option<f64>, reach: Option<f64>) -> Option<f64> {
    end.zip(reach).map(|(end, reach)| (end - reach).max(0.0))
}

fn stages(input: &RaceInput, circuit: &Loop) -> Vec<RaceStage> {
    let before = input.before_a;
    let row = |name: &str, [shortest_s, longest_s]: [Option<f64>; 2], [ends_min_s, ends_max_s]: [Option<f64>; 2]| {
        let current_a = ends_max_s.map(|time| circuit.current_a(before, time));
        RaceStage { name: name.into(), shortest_s, longest_s, ends_min_s, ends_max_s, current_a }
    };
    let detections = input.detections();
    let reach = detections.map(|(threshold, _)| circuit.time_to_s(before, threshold));
    let mut rows = vec![row("Current reaches the threshold", reach, reach)];
    let mut ends = reach;
    if input.filter_s > 0.0 {
        ends = detections.map(|(threshold, filter)| circuit.filtered_time_to_s(before, threshold, filter));
        rows.push(row("Filter, on this fault", [delay(ends[0], reach[0]), delay(ends[1], reach[1])], ends));
    }
    for stage in &input.stages {
        let takes = [stage.shortest_s.unwrap_or(stage.longest_s), stage.longest_s];
        ends = [ends[0].map(|time| time + takes[0]), ends[1].map(|time| time + takes[1])];
        rows.push(row(&stage.name, takes.map(Some), ends));
    }
    if let Some(link) = input.link_s {
        // A frame that has just gone may take no time.
        ends[1] = ends[1].map(|time| time + link);
        rows.push(row("Latency of the link", [Some(0.0), Some(link)], ends));
    }
    rows
}

/// From well before the first event to well after the last.
fn course(input: &RaceInput, fault: &Fault) -> Vec<RacePoint> {
    let circuit = &fault.seen.high;
    let events = [
        circuit.time_to_s(input.before_a, input.threshold_a),
        fault.switch_min_s,
        fault.switch_max_s,
        fault.fuse.map(|fuse| fuse.high.value().unwrap_or(fuse.low_s)),
        Some(circuit.time_constant_s()),
    ];
    let events = || events.into_iter().flatten().filter(|time| *time > 1e-12);
    let first = events().reduce(f64::min).unwrap_or(1e-6) / 10.0;
    let last = events().reduce(f64::max).unwrap_or(1e-3) * 2.0;
    log_grid(first, last, 121)
        .map(|time_s| RacePoint {
            time_s,
            current_a: circuit.current_a(input.before_a, time_s),
            let_through_a2s: circuit.let_through_a2s(input.before_a, time_s),
        })
        .collect()
}

/// The prospective currents of the co-ordination, with the edges at which a device begins or ceases to act.
fn currents(input: &RaceInput, region: &Region) -> Vec<f64> {
    let (low, high) = region.range_a();
    let least = input.fuse.never_clears_below_a;
    let from = low.min(input.threshold_a).min(least.unwrap_or(low)) * 0.7;
    // Far below the strongest fault nothing of interest happens, and the chart would be all decades.
    let from = from.max(high * 1e-3);
    let to = high.max(input.threshold_a.min(high * 10.0)) * 1.4;
    let mut currents: Vec<f64> = log_grid(from, to, 81).collect();
    let edges = [Some(input.thresholds().1 * (1.0 + 1e-9)), least, Some(high)];
    currents.extend(edges.into_iter().flatten().filter(|edge| (from..=to).contains(edge)));
    currents.sort_by(f64::total_cmp);
    currents.dedup();
    currents
}
