//! What an engineer should know besides what holds and fails.

use super::Solved;
use super::fuse::sparse;
use super::input::RaceInput;
use super::output::Opener;
use crate::judge::{Ledger, passes};
use crate::quantity::{ampere, ampere_squared_second, joule, one, percent, second};
use crate::report::{Finding, Severity};

/// Up to here a pre-arc I²t counts as a constant, s. Common practice, no source.
const ADIABATIC_S: f64 = 10e-3;

/// Up to here the adiabatic limit of wiring holds, s. IEC 60364-5-54 (from memory).
const ADIABATIC_WIRING_S: f64 = 5.0;

pub(super) fn remarks(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    detection(input, solved, to);
    unknown(input, solved, to);
    fuse(input, solved, to);
    opening(solved, to);
    after(input, solved, to);
    super::usual::usual(input, solved, to);
}

/// What the threshold does not see.
fn detection(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let ((low, high), (weakest, strongest)) = (input.thresholds(), solved.seen_a());
    if passes(input.before_a, low) {
        return;
    }
    let remark = |code: &str, fault: f64, message: String| {
        Finding::new(Severity::Warn, code, message).at("/threshold_a").against(high, fault)
    };
    if high >= strongest && solved.strongest.opener != Opener::Nothing {
        to.remark(|| {
            let fuse = solved.strongest.opener == Opener::Fuse;
            let after =
                if fuse { "Only the fuse opens." } else { "With the error of the threshold it may or may not trip." };
            let (high, current) = (ampere(high), ampere(strongest));
            let message = format!("The threshold, at its highest {high}, is not below the prospective current of {current}: the strongest fault is not sure to trip. {after}");
            remark("race.threshold-above-prospective", strongest, message)
        });
    } else if high >= weakest && high < strongest {
        to.remark(|| {
            let nothing = solved.weakest.opener == Opener::Nothing;
            let after = if nothing { "nothing opens it" } else { "only the fuse is left" };
            let (high, current) = (ampere(high), ampere(weakest));
            let message = format!("The weakest fault drives {current}, the threshold is {high} at its highest: the switch is not sure to see it, {after}.");
            remark("race.weak-fault-not-seen", weakest, message)
        });
    }
}

/// A carry rating that is no breaking rating, and an order that is open.
fn unknown(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let (switch, fault) = (&input.switch, &solved.strongest);
    if let (Some(must), None, Some(carry)) = (solved.scan.must_break.value(), switch.breaking_a, switch.carry_a) {
        to.warn("race.carry-is-not-breaking", "/switch/carry_a", true, || {
            let (must, carry) = (ampere(must), ampere(carry));
            let time = switch.carry_s.map_or_else(String::new, |time| format!(" for {}", second(time)));
            format!("The switch must break up to {must}. {carry}{time} is what its closed contacts carry; that is not a breaking rating, and none is given.")
        });
    }
    to.warn("race.either-first", "/fuse/tolerance_percent", solved.opens_first() == Opener::Either, || {
        let Some((earliest, fuse)) = fault.switch_min_s.map(second).zip(fault.fuse) else {
            return "Fuse or switch: the tolerances do not tell who opens first.".into();
        };
        let opens = fault.switch_max_s.map_or_else(
            || format!("after {earliest} or not at all"),
            |latest| match second(latest) {
                latest if latest == earliest => format!("after {latest}"),
                latest => format!("between {earliest} and {latest}"),
            },
        );
        let from = second(fuse.low_s);
        let melts = fuse.high.value().map_or_else(
            || format!("after {from} at the earliest, and until when is not known"),
            |to| format!("between {from} and {}", second(to)),
        );
        format!("Who opens first is open: the fuse melts {melts}, the switch opens {opens}. Both are judged as if each were first.")
    });
}

/// What the values of the fuse do not say.
fn fuse(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let (fuse, (weakest, _)) = (&input.fuse, solved.seen_a());
    if !input.has_fuse() {
        return;
    }
    if let Some(least) = fuse.never_clears_below_a {
        to.warn("race.fuse-never-clears", "/fuse/never_clears_below_a", weakest < least, || {
            let (weakest, least) = (ampere(weakest), ampere(least));
            format!("The weakest fault drives {weakest}; the fuse clears from {least} on. What lies between is left to the switch.")
        });
    }
    let open = solved.scan.let_through.value().is_none();
    let missing = |what: &[&str]| {
        let told =
            [&solved.weakest, &solved.strongest].map(|fault| fault.fuse.and_then(|fuse| fuse.clearing.missing()));
        open && told.into_iter().flatten().any(|missing| what.contains(&missing))
    };
    if fuse.points.is_empty() {
        let strongest = solved.strongest.seen.alone.prospective_a();
        let from = fuse.adiabatic_from_a.unwrap_or(strongest);
        let time = fuse.prearc_a2s / (from * from);
        to.note("race.fuse-not-adiabatic", "/fuse/prearc_a2s", time > ADIABATIC_S, || {
            let (at, time, limit) = (ampere(from), second(time), second(ADIABATIC_S));
            format!("At {at} the pre-arc I²t alone would melt the fuse after {time}. Above about {limit} it loses heat meanwhile and takes longer: give points of its time-current curve.")
        });
        to.warn("race.prearc-is-not-clearing", "/fuse/clearing_a2s", missing(&["/fuse/clearing_a2s"]), || {
            "Only the pre-arc value of the fuse is given. Until it has cleared more passes: the total clearing value at this direct voltage decides, and without it only the switch bounds the let-through.".into()
        });
        let alone = missing(&["/fuse/adiabatic_from_a", "/fuse/points"]);
        to.warn("race.fuse-needs-points", "/fuse/points", alone, || {
            let from = fuse.adiabatic_from_a.map_or_else(
                || "From which current on the I²t of the fuse hold is not given.".into(),
                |from| format!("The I²t of the fuse hold from {} on.", ampere(from)),
            );
            format!("{from} Over the knee of its curve a fuse takes many times as long: where a fault rests on it, points (current, pre-arcing time, total clearing time) tell.")
        });
    } else if let Some((row, ratio)) = sparse(&fuse.points) {
        to.warn("race.fuse-add-points", "/fuse/points", true, || {
            let [from, to] = [row, row + 1].map(|row| ampere(fuse.points[row].current_a));
            format!("Between {from} and {to} the pre-arcing I²t of the fuse falls by a factor of {}: between them it is only known to that factor. More points there narrow it.", one(ratio))
        });
    }
}

/// What the opening adds, and what the faults leave out.
fn opening(solved: &Solved, to: &mut Ledger) {
    let circuit = &solved.strongest.seen.high;
    if let Some((clamp, opening)) = solved.clamp.zip(solved.opening_a) {
        to.note("race.clamp-takes-more", "/switch/clamp_voltage_v", true, || {
            let (energy, stored) = (joule(clamp.energy_j), joule(circuit.stored_j(opening)));
            let source = joule(clamp.source_j);
            format!(
                "The clamp takes {energy}, not the stored {stored}: the source adds {source} while the current falls."
            )
        });
    }
    let step = !(circuit.time_constant_s() > 0.0);
    to.note("race.no-inductance", "/source/inductance_henry", step, || {
        "Without an inductance the current steps at once to its prospective value; a rate of rise does not exist."
            .into()
    });
    let (weakest, strongest) = solved.region.range_a();
    to.note("race.only-strongest", "/source/external_resistance_max_ohm", weakest >= strongest, || {
        "Only the strongest fault is examined. The weakest one, with an empty, cold and aged pack and the largest resistance of the short, is the one that neither threshold nor fuse may see.".into()
    });
    if let Some(time) = solved.scan.over.largest().filter(|_| solved.wiring.is_some()) {
        to.note("race.wiring-not-adiabatic", "/wiring/area_mm2", time > ADIABATIC_WIRING_S, || {
            let (time, limit) = (second(time), second(ADIABATIC_WIRING_S));
            format!("A fault may last {time}: above {limit} the adiabatic limit is on the cautious side, and the steady rating counts too.")
        });
    }
}

/// What a fault that was cleared leaves behind.
fn after(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let Some((limit, most)) = input.shunt_pulse_a2s.zip(solved.scan.let_through.value()) else { return };
    to.note("race.shunt-after", "/shunt_shift_percent", true, || {
        let (passed, share) = (ampere_squared_second(most), percent(100.0 * most / limit));
        let taken = format!("A fault that is cleared leaves up to {passed} in the shunt, {share} of its pulse limit.");
        match input.shunt_shift_percent {
            // A pulse below the limit shifts no more than one at it.
            Some(shift) if most <= limit => format!("{taken} Its resistance may have moved by {} then: as a gain error that counts in every current requirement afterwards.", percent(shift)),
            Some(_) => format!("{taken} Above the limit its shift is not known: replace it."),
            None => format!("{taken} By how much its resistance has moved then is not given: check the current channel before it is used again."),
        }
    });
}

impl Solved {
    /// Prospective currents of the weakest and the strongest fault, as a string sees them, A.
    pub(super) fn seen_a(&self) -> (f64, f64) {
        (self.weakest.seen.low.prospective_a(), self.strongest.seen.low.prospective_a())
    }
}
