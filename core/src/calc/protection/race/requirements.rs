//! What is required of the race, and what is noted.

use super::Solved;
use super::input::{MeantFirst, RaceInput};
use super::output::{NobodyReason, Opener};
use crate::judge::{Judged, Ledger, Words, passes};
use crate::quantity::{Unit, ampere, ampere_squared_second, joule, second, volt};
use crate::report::kit::capital;
use crate::report::{Finding, Severity};

/// Up to here a pre-arc I²t counts as a constant, s. Common practice, no source.
const ADIABATIC_S: f64 = 10e-3;

/// Up to here the adiabatic limit of wiring holds, s. IEC 60364-5-54 (from memory).
const ADIABATIC_WIRING_S: f64 = 5.0;

impl Solved {
    /// Prospective currents of the weakest and the strongest fault, A.
    fn range_a(&self) -> (f64, f64) {
        (self.weakest.circuit.prospective_a(), self.strongest.circuit.prospective_a())
    }

    /// One fault or a range of them, in a sentence.
    fn place(&self, from_a: f64, to_a: f64) -> String {
        let (weakest, strongest) = self.range_a();
        let (from, to) = (ampere(from_a).to_string(), ampere(to_a).to_string());
        if weakest >= strongest || from == to { format!("at {from}") } else { format!("from {from} to {to}") }
    }

    /// Where nobody interrupts for this reason, in a sentence.
    fn places(&self, reason: NobodyReason) -> String {
        let left = self.scan.nobody.iter().filter(|interval| interval.reason == reason);
        left.map(|interval| self.place(interval.from_a, interval.to_a)).collect::<Vec<_>>().join(" and ")
    }
}

pub(super) fn requirements(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    breaking(input, solved, to);
    carried(input, solved, to);
    passed(input, solved, to);
    clamp(input, solved, to);
    order(input, solved, to);
    opens(input, solved, to);
}

/// Whoever opens must be able to break what flows then.
fn breaking(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    if let Some(can) = input.switch.breaking_a {
        let must = solved.scan.must_break_a;
        let most = must.unwrap_or(0.0);
        let one = Judged::at_most("race.breaking", "/switch/breaking_a", Unit::Ampere, most, can);
        to.require(one, |_| {
            let note = match must {
                Some(_) => "largest current at which it may open, over all faults",
                None => "it never opens first at any of these faults",
            };
            let (most, can, places) = (ampere(most), ampere(can), solved.places(NobodyReason::BeyondBreaking));
            // Where nothing is sure to open the interval has that reason; the current is there all the same.
            let failure = match places.as_str() {
                "" => format!("If the switch opens it may have to break {most}; it can break {can}."),
                places => format!(
                    "{} of prospective current the switch may open before the fuse, with up to {most}; it can break {can}.",
                    capital(places)
                ),
            };
            Words::new("Breaking capacity of the switch", note, failure)
        });
    }
    if let Some(can) = input.fuse.breaking_a.filter(|_| solved.strongest.fuse.is_some()) {
        let (_, strongest) = solved.range_a();
        let one = Judged::at_most("race.fuse-breaking", "/fuse/breaking_a", Unit::Ampere, strongest, can);
        to.require(one, |_| {
            let failure = format!("The strongest fault drives {}; the fuse breaks {}.", ampere(strongest), ampere(can));
            Words::new("Breaking capacity of the fuse", "strongest fault", failure)
        });
    }
}

/// The closed switch must carry what flows until the fault is over.
fn carried(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let (Some(limit), Some(time), Some(worst)) = (input.switch.carry_a, input.switch.carry_s, solved.scan.carried)
    else {
        return;
    };
    let one = Judged::at_most("race.carry", "/switch/carry_a", Unit::Ampere, worst.value, limit);
    to.require(one, |_| {
        let (limit, time, at) = (ampere(limit), second(time), ampere(worst.at_a));
        let (note, failure) = match worst.value.map(ampere) {
            Some(current) => (
                format!("peak, or equal heat in {time}; closed contacts, worst at {at} prospective"),
                format!("At a fault of {at} the closed switch carries {current}, as a peak or as equal heat in {time}; it is rated {limit}."),
            ),
            None => (
                format!("nothing bounds the heat at {at} prospective"),
                format!("Nothing bounds the heat of the closed switch at a fault of {at}; it carries {limit} for {time}."),
            ),
        };
        Words::new("Carried by the closed switch", note, failure)
    });
}

/// What passes until the fault is over must not destroy shunt and wiring.
fn passed(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let (worst, wiring) = (solved.scan.let_through, solved.wiring.map(|wiring| wiring.limit_a2s));
    for (id, pointer, label, part, limit) in [
        ("race.shunt-pulse", "/shunt_pulse_a2s", "Pulse limit of the shunt", "the shunt", input.shunt_pulse_a2s),
        ("race.wiring", "/wiring/area_mm2", "Adiabatic limit of the wiring", "the wiring", wiring),
    ] {
        let Some(limit) = limit else { continue };
        to.require(Judged::at_most(id, pointer, Unit::AmpereSquaredSecond, worst.value, limit), |_| {
            let (at, limit) = (ampere(worst.at_a), ampere_squared_second(limit));
            let (note, failure) = match worst.value.map(ampere_squared_second) {
                Some(a2s) => (
                    format!("let-through until the fault is surely over, worst at {at} prospective"),
                    format!("{a2s} pass before a fault of {at} is over, the worst of them; {part} takes {limit}."),
                ),
                None => {
                    let fuse = match input.fuse.never_clears_below_a {
                        _ if input.fuse.prearc_a2s <= 0.0 => "there is no fuse".into(),
                        Some(least) if worst.at_a < least => format!("the fuse clears from {} on", ampere(least)),
                        _ => "no total clearing value of the fuse is given".to_owned(),
                    };
                    let part = capital(part);
                    (
                        format!("nothing bounds the let-through at {at} prospective"),
                        format!("Nothing bounds the let-through at a fault of {at}: no switch is sure to break it, and {fuse}. {part} takes {limit}."),
                    )
                }
            };
            Words::new(label, note, failure)
        });
    }
}

/// The clamp must stand above the source, and take what the opening leaves it.
fn clamp(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let (Some(clamp_v), Some(ends)) = (input.switch.clamp_voltage_v, input.clamp_ends()) else { return };
    let source_v = input.source.voltage_v;
    // At the very voltage of the source the current never ends either.
    let alike = !ends && !passes(source_v, clamp_v);
    let source = (!alike).then_some(source_v);
    to.require(Judged::at_most("race.clamp", "/switch/clamp_voltage_v", Unit::Volt, source, clamp_v), |_| {
        let note = match source {
            Some(_) => "voltage of the source against the clamp",
            None => "as high as the source: the current never ends",
        };
        let failure = format!(
            "The clamp stands at {}, the source at {}: the current never ends, the source feeds the clamp or the arc.",
            volt(clamp_v),
            volt(source_v)
        );
        Words::new("Clamp above the source", note, failure)
    });
    let energy = solved.clamp.map(|clamp| clamp.energy_j);
    if let Some(limit) = input.switch.clamp_energy_j.filter(|_| energy.is_some() || !ends) {
        let one = Judged::at_most("race.clamp-energy", "/switch/clamp_energy_j", Unit::Joule, energy, limit);
        to.require(one, |_| {
            let limit = joule(limit);
            let (note, failure) = match energy.map(joule) {
                Some(energy) => {
                    let failure = format!("The clamp takes {energy} with what the source adds; it is rated {limit}.");
                    ("with what the source adds", failure)
                }
                None => ("the current never ends", format!("The current never ends; the clamp is rated {limit}.")),
            };
            Words::new("Energy into the clamp", note, failure)
        });
    }
}

/// Whoever is meant to open first must have done so, at its latest, when the other one does at its earliest.
fn order(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let (fault, fuse) = (&solved.strongest, solved.strongest.fuse);
    let (id, label, [one, other], first, second_s) = match input.meant_first {
        MeantFirst::Any => return,
        MeantFirst::Fuse => {
            let names = ["fuse", "switch"];
            let first = fuse.map(|fuse| fuse.prearc_max_s);
            ("race.fuse-first", "Fuse before the switch", names, first, fault.switch_min_s)
        }
        MeantFirst::Switch => {
            let names = ["switch", "fuse"];
            let second = fuse.map(|fuse| fuse.prearc_min_s);
            ("race.switch-first", "Switch before the fuse", names, fault.switch_max_s, second)
        }
    };
    // Where neither opens, there is no time left for the first.
    let limit = second_s.or(first.is_none().then_some(0.0));
    to.require(Judged::at_most(id, "/meant_first", Unit::Second, first, limit), |_| {
        let note = match (first, second_s) {
            (Some(_), Some(_)) => "its latest against the other's earliest, strongest fault",
            (Some(_), None) => "the other never opens",
            (None, _) => "it never opens at the strongest fault",
        };
        let at = ampere(fault.circuit.prospective_a());
        let time = first.map_or_else(|| "never opens for certain".into(), |time| format!("may take {}", second(time)));
        let rival =
            second_s.map_or_else(|| "does not open either".into(), |time| format!("may open after {}", second(time)));
        let failure =
            format!("The {one}, meant to open first, {time} at the strongest fault of {at}; the {other} {rival}.");
        Words::new(label, note, failure)
    });
}

/// Every fault must find somebody who opens it, and the threshold must lie above what flows before.
fn opens(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let left = solved.scan.nobody.iter().any(|interval| interval.reason == NobodyReason::NothingOpens);
    let none_left = (!left).then_some(0.0);
    to.require(Judged::at_most("race.opens", "/threshold_a", Unit::Percent, none_left, 0.0), |_| {
        let (note, failure) = if left {
            let places = solved.places(NobodyReason::NothingOpens);
            let failure = format!(
                "{} of prospective current nothing opens for certain: the threshold, at its highest {}, may not be reached, and no fuse clears.",
                capital(&places),
                ampere(input.thresholds().1)
            );
            (format!("nothing opens for certain {places} prospective"), failure)
        } else {
            let (from, to) = solved.range_a();
            let note = format!("share of the faults left to nobody, {} prospective", solved.place(from, to));
            (note, String::new())
        };
        Words::new("Some device opens every fault", note, failure)
    });
    let (before, (low, _)) = (input.before_a.max(0.0), input.thresholds());
    to.require(Judged::at_most("race.threshold", "/threshold_a", Unit::Ampere, before, low), |_| {
        let failure = format!(
            "The threshold, at its lowest {}, lies below the current before the fault of {}: it trips in normal operation.",
            ampere(low),
            ampere(before)
        );
        let note = "current before the fault, threshold at its lowest";
        Words::new("Threshold above the current before", note, failure)
    });
}

pub(super) fn remarks(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    detection(input, solved, to);
    unknown(input, solved, to);
    fuse(input, solved, to);
    half(input, to);
    opening(solved, to);
}

/// What the threshold does not see.
fn detection(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let ((low, high), (weakest, strongest)) = (input.thresholds(), solved.range_a());
    if passes(input.before_a, low) {
        return;
    }
    let remark = |code: &str, fault: f64, message: String| {
        Finding::new(Severity::Warn, code, message).at("/threshold_a").against(high, fault)
    };
    if high >= strongest && solved.strongest.opener != Opener::Nothing {
        to.remark(|| {
            let after = match solved.strongest.opener {
                Opener::Fuse => "Only the fuse opens.",
                _ => "With the error of the threshold it may or may not trip.",
            };
            let (high, current) = (ampere(high), ampere(strongest));
            let message = format!("The threshold, at its highest {high}, is not below the prospective current of {current}: the strongest fault is not sure to trip. {after}");
            remark("race.threshold-above-prospective", strongest, message)
        });
    } else if high >= weakest && high < strongest {
        to.remark(|| {
            let after = match solved.weakest.opener {
                Opener::Nothing => "nothing opens it",
                _ => "only the fuse is left",
            };
            let (high, current) = (ampere(high), ampere(weakest));
            let message = format!("The weakest fault drives {current}, the threshold is {high} at its highest: the switch is not sure to see it, {after}.");
            remark("race.weak-fault-not-seen", weakest, message)
        });
    }
}

/// A breaking capacity that is not given, and an order that is open.
fn unknown(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let (switch, fault) = (&input.switch, &solved.strongest);
    if let (Some(must), None) = (solved.scan.must_break_a.map(ampere), switch.breaking_a) {
        to.warn("race.carry-is-not-breaking", "/switch/carry_a", switch.carry_a.is_some(), || {
            let time = switch.carry_s.map_or_else(String::new, |time| format!(" for {}", second(time)));
            let carry = ampere(switch.carry_a.unwrap_or_default());
            format!("The switch must break up to {must}. {carry}{time} is what its closed contacts carry; that is not a breaking rating, and none is given.")
        });
        to.warn("race.breaking-unknown", "/switch/breaking_a", switch.carry_a.is_none(), || {
            format!("The switch must break up to {must}. Its breaking capacity at this voltage is not given.")
        });
    }
    to.warn("race.either-first", "/fuse/tolerance_percent", fault.opener == Opener::Either, || {
        let Some((earliest, fuse)) = fault.switch_min_s.map(second).zip(fault.fuse) else {
            return "Fuse or switch: the tolerances do not tell who opens first.".into();
        };
        let opens = fault.switch_max_s.map_or_else(
            || format!("after {earliest} or not at all"),
            |latest| format!("between {earliest} and {}", second(latest)),
        );
        let (from, to) = (second(fuse.prearc_min_s), second(fuse.prearc_max_s));
        format!("Who opens first is open: the fuse melts between {from} and {to}, the switch opens {opens}. Judge both as if each were first.")
    });
}

/// What the values of the fuse do not say.
fn fuse(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
    let (fuse, fault, (weakest, _)) = (&input.fuse, &solved.strongest, solved.range_a());
    if fuse.prearc_a2s <= 0.0 {
        return;
    }
    to.note("race.fuse-limit-unknown", "/fuse/never_clears_below_a", fuse.never_clears_below_a.is_none(), || {
        "The current below which the fuse does not clear is not given: every fault is taken as cleared at last.".into()
    });
    if let Some(least) = fuse.never_clears_below_a {
        to.warn("race.fuse-never-clears", "/fuse/never_clears_below_a", weakest < least, || {
            let (weakest, least) = (ampere(weakest), ampere(least));
            format!("The weakest fault drives {weakest}; the fuse clears from {least} on. What lies between is left to the switch.")
        });
    }
    let Some(race) = fault.fuse else { return };
    to.note("race.fuse-not-adiabatic", "/fuse/prearc_a2s", race.prearc_s > ADIABATIC_S, || {
        let (time, limit) = (second(race.prearc_s), second(ADIABATIC_S));
        format!("The fuse would melt after {time}. Above about {limit} it loses heat meanwhile and takes longer than its pre-arc value says: use its time-current curve.")
    });
    let judged = input.shunt_pulse_a2s.is_some() || input.wiring.area_mm2.is_some();
    let weak_by_fuse = matches!(solved.weakest.opener, Opener::Fuse | Opener::Either);
    let by_fuse = fault.opener != Opener::Switch || (solved.scan.let_through.value.is_none() && weak_by_fuse);
    let unknown = fuse.clearing_a2s.is_none() && by_fuse && judged;
    to.warn("race.prearc-is-not-clearing", "/fuse/clearing_a2s", unknown, || {
        "Only the pre-arc value of the fuse is given. Until it has cleared more passes: the total clearing value at this direct voltage decides, and without it only the switch bounds the let-through.".into()
    });
    if let (Opener::Fuse, Some(clearing), Some(time)) = (fault.opener, fuse.clearing_a2s, fault.switch_max_s) {
        let at_switch = fault.circuit.let_through_a2s(0.0, time);
        to.warn("race.opens-into-fuse-arc", "/fuse/clearing_a2s", at_switch < clearing, || {
            let (at_switch, clearing) = (ampere_squared_second(at_switch), ampere_squared_second(clearing));
            format!("The switch may open while the fuse still arcs: {at_switch} would have passed by then, the fuse clears at up to {clearing}.")
        });
    }
}

/// Half of a rating judges nothing.
fn half(input: &RaceInput, to: &mut Ledger) {
    let switch = &input.switch;
    if let (Some(carry), None) = (switch.carry_a, switch.carry_s) {
        to.warn("race.carry-without-time", "/switch/carry_s", true, || {
            let carry = ampere(carry);
            format!("The switch carries {carry}, but for how long is not given: what it carries is not judged.")
        });
    }
    if let (None, Some(time)) = (switch.carry_a, switch.carry_s) {
        to.warn("race.carry-without-current", "/switch/carry_a", true, || {
            let time = second(time);
            format!(
                "A time of {time} is given for what the switch carries, but no current: what it carries is not judged."
            )
        });
    }
    if let (Some(energy), None) = (switch.clamp_energy_j, switch.clamp_voltage_v) {
        to.warn("race.clamp-energy-without-voltage", "/switch/clamp_voltage_v", true, || {
            let energy = joule(energy);
            format!("The clamp takes {energy}, but its voltage is not given: what goes into it is not judged.")
        });
    }
}

/// What the opening adds, and what the faults leave out.
fn opening(solved: &Solved, to: &mut Ledger) {
    let fault = &solved.strongest;
    if let Some((clamp, opening)) = solved.clamp.zip(solved.opening_a) {
        to.note("race.clamp-takes-more", "/switch/clamp_voltage_v", true, || {
            let (energy, stored) = (joule(clamp.energy_j), joule(fault.circuit.stored_j(opening)));
            let source = joule(clamp.source_j);
            format!(
                "The clamp takes {energy}, not the stored {stored}: the source adds {source} while the current falls."
            )
        });
    }
    let step = !(fault.circuit.time_constant_s() > 0.0);
    to.note("race.no-inductance", "/source/inductance_henry", step, || {
        "Without an inductance the current steps at once to its prospective value; a rate of rise does not exist."
            .into()
    });
    let (weakest, strongest) = solved.range_a();
    to.note("race.only-strongest", "/source/external_resistance_max_ohm", weakest >= strongest, || {
        "Only the strongest fault is examined. The weakest one, with an empty, cold and aged pack and the largest resistance of the short, is the one that neither threshold nor fuse may see.".into()
    });
    if let Some(time) = fault.latest_s().filter(|_| solved.wiring.is_some()) {
        to.note("race.wiring-not-adiabatic", "/wiring/area_mm2", time > ADIABATIC_WIRING_S, || {
            let (time, limit) = (second(time), second(ADIABATIC_WIRING_S));
            format!("The fault lasts {time}: above {limit} the adiabatic limit is on the cautious side, and the steady rating counts too.")
        });
    }
}
