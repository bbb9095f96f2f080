//! Whether what follows from the inputs is what the trade builds: a slip of the unit shows in a consequence.
//!
//! ```text
//! Rule       a consequence outside its usual range, which is decades wide, is asked about
//! Source     ranges: common practice, no source
//! ```

use super::Solved;
use super::input::RaceInput;
use crate::judge::Ledger;
use crate::quantity::{Quantity, Unit, ampere, second};

/// No end.
const ANY: f64 = f64::INFINITY;

pub(super) fn usual(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    faults(input, solved, to);
    fuse(input, solved, to);
    switch(input, solved, to);
    others(input, solved, to);
}

fn faults(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let (source, strongest) = (&input.source, solved.region.strongest());
    let current = ampere(strongest.prospective_a());
    unusual(to, "/source/pack_resistance_ohm", "The current of the strongest fault", current, [50.0, 60e3]);
    for (at, henry) in [
        ("/source/inductance_henry", Some(source.inductance_henry)),
        ("/source/inductance_max_henry", source.inductance_max_henry),
    ] {
        if let Some(henry) = henry.filter(|henry| *henry > 0.0) {
            let tau = second(henry / strongest.resistance_ohm);
            unusual(to, at, "The time constant L/R of the fault", tau, [5e-7, 5e-3]);
        }
    }
    for (at, words, most, least) in [
        ("/source/voltage_min_v", "The lowest voltage, against the highest,", source.voltage_min_v, source.voltage_v),
        (
            "/source/pack_resistance_max_ohm",
            "The largest pack resistance, against the smallest,",
            source.pack_resistance_max_ohm,
            source.pack_resistance_ohm,
        ),
    ] {
        if let Some(most) = most {
            unusual(to, at, words, ratio(most / least), [0.2, 30.0]);
        }
    }
    if let Some(farad) = source.link_farad {
        let farad = Quantity::new(farad, Unit::Farad);
        unusual(to, "/source/link_farad", "The link capacitor", farad, [10e-6, 50e-3]);
    }
    let (_, longest) = input.reaction();
    unusual(to, "/stages", "The reaction of all stages", second(longest), [1e-7, 0.1]);
    if input.filter_s > 0.0 {
        unusual(to, "/filter_s", "The filter before the detection of a short", second(input.filter_s), [1e-8, 5e-3]);
    }
}

fn fuse(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let (fuse, before) = (&input.fuse, input.before_a.abs());
    if !input.has_fuse() {
        return;
    }
    if fuse.points.is_empty() {
        let a2s = fuse.prearc_a2s;
        let strongest = solved.strongest.seen.alone.prospective_a();
        let time = second(a2s / (strongest * strongest));
        unusual(to, "/fuse/prearc_a2s", "The pre-arcing time at the strongest fault", time, [1e-6, 1.0]);
        if let Some(clearing) = fuse.clearing_a2s {
            let words = "The total clearing I²t, against the pre-arc I²t,";
            unusual(to, "/fuse/clearing_a2s", words, ratio(clearing / a2s), [1.0, 30.0]);
        }
        if let Some(from) = fuse.adiabatic_from_a {
            let words = "The current from which the I²t hold, against the strongest fault,";
            unusual(to, "/fuse/adiabatic_from_a", words, ratio(from / strongest), [0.0, 30.0]);
            let words = "The pre-arcing time at the current from which the I²t hold";
            unusual(to, "/fuse/adiabatic_from_a", words, second(a2s / (from * from)), [0.0, 0.1]);
        }
        if before > 0.0 {
            let time = second(a2s / (before * before));
            let words = "The time in which the current before the fault would melt the fuse if it lost no heat";
            unusual(to, "/fuse/prearc_a2s", words, time, [10e-3, ANY]);
        }
    }
    let least = fuse.never_clears_below_a.into_iter().map(|least| ("/fuse/never_clears_below_a", least));
    let lowest = fuse.points.first().map(|point| ("/fuse/points", point.current_a));
    for (at, current) in least.chain(lowest).filter(|_| before > 0.0) {
        let words = "The lowest current of the fuse, against the one before the fault,";
        unusual(to, at, words, ratio(current / before), [1.0, 1e3]);
    }
    if let Some(rated) = fuse.voltage_v {
        let words = "The rated voltage of the fuse, against the source,";
        unusual(to, "/fuse/voltage_v", words, ratio(rated / input.source.voltage_v), [0.2, 10.0]);
    }
    if let Some(tau) = fuse.time_constant_s {
        unusual(to, "/fuse/time_constant_s", "The time constant of the fuse's test", second(tau), [1e-4, 0.1]);
    }
    if let Some(can) = fuse.breaking_a {
        unusual(to, "/fuse/breaking_a", "The breaking capacity of the fuse", ampere(can), [50.0, 300e3]);
    }
}

fn switch(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let switch = &input.switch;
    for (at, words, current) in [
        ("/switch/breaking_a", "The breaking capacity of the switch", switch.breaking_a),
        ("/switch/breaking_reverse_a", "The breaking capacity backwards", switch.breaking_reverse_a),
        ("/switch/carry_a", "The short-time current of the switch", switch.carry_a),
    ] {
        if let Some(current) = current {
            unusual(to, at, words, ampere(current), [1.0, 200e3]);
        }
    }
    if let Some(time) = switch.carry_s {
        unusual(to, "/switch/carry_s", "The time of the short-time current", second(time), [1e-5, 5.0]);
    }
    if let Some(volt) = switch.clamp_voltage_v {
        let words = "The clamp, against the source,";
        unusual(to, "/switch/clamp_voltage_v", words, ratio(volt / input.source.voltage_v), [0.2, 5.0]);
    }
    if let Some((rated, taken)) = switch.clamp_energy_j.zip(solved.clamp) {
        let words = "What the clamp is rated for, against what it takes,";
        unusual(to, "/switch/clamp_energy_j", words, ratio(rated / taken.energy_j), [0.0, 1e3]);
    }
}

fn others(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let passed = solved.scan.let_through.value().or(solved.scan.let_through.largest());
    if let Some((limit, passed)) = input.shunt_pulse_a2s.zip(passed) {
        let words = "The pulse limit of the shunt, against what passes,";
        unusual(to, "/shunt_pulse_a2s", words, ratio(limit / passed), [0.0, 1e5]);
    }
    if let Some(area) = input.wiring.area_mm2.filter(|_| input.before_a.abs() > 0.0) {
        let density = Quantity::new(input.before_a.abs() / area, Unit::One);
        unusual(to, "/wiring/area_mm2", "The current before the fault, per mm² of the wiring,", density, [0.01, 30.0]);
    }
}

/// A value that follows from the inputs, and where it usually lies.
fn unusual(to: &mut Ledger, at: &str, words: &str, value: Quantity, [low, high]: [f64; 2]) {
    let strange = value.value.is_finite() && (value.value < low || value.value > high);
    to.warn("race.unusual", at, strange, || {
        let [low, high] = [low, high].map(|end| Quantity::new(end, value.unit));
        let usual = match (low.value > 0.0, high.value.is_finite()) {
            (true, true) => format!("between {low} and {high}"),
            (true, false) => format!("above {low}"),
            _ => format!("below {high}"),
        };
        format!("{words} is {value}; usually it lies {usual}. A slip of the unit?")
    });
}

/// A plain ratio.
const fn ratio(value: f64) -> Quantity {
    Quantity::new(value, Unit::One)
}
