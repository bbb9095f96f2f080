//! What the engineer must know about the race.

use super::input::RaceInput;
use super::output::{NobodyReason, Opener, RaceOutput};
use super::view::capital;
use crate::legacy::exact_limit;
use crate::quantity::{Unit, say};
use crate::report::{Finding, Severity};

/// Up to here a pre-arc I²t counts as a constant, s. Common practice, no source.
const ADIABATIC_S: f64 = 10e-3;

/// Up to here the adiabatic limit of wiring holds, s. IEC 60364-5-54 (from memory).
const ADIABATIC_WIRING_S: f64 = 5.0;

fn ampere(value: f64) -> String {
    say(value, Unit::Ampere)
}

pub(super) fn findings(input: &RaceInput, result: &RaceOutput) -> Vec<Finding> {
    let mut findings = threshold(input, result);
    findings.extend(nobody(result));
    findings.extend(breaking(input, result));
    findings.extend(fuse(input, result));
    findings.extend(missing(input));
    findings.extend(opening(input, result));
    findings.extend(limits(input, result));
    findings
}

fn threshold(input: &RaceInput, result: &RaceOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    let (low, high) = input.thresholds();
    let (strongest, weakest) = (result.strongest.prospective_a, result.weakest.prospective_a);
    if input.trips_in_operation() {
        findings.push(
            Finding::new(
                Severity::Fail,
                "race.threshold-below-normal",
                format!(
                    "The threshold, at its lowest {}, lies below the current before the fault of {}: it trips in normal operation.",
                    ampere(low),
                    ampere(input.before_a)
                ),
            )
            .at("/threshold_a")
            .against(input.before_a, low),
        );
        return findings;
    }
    if high >= strongest {
        let after = match result.opens_first {
            Opener::Fuse => "Only the fuse opens.",
            Opener::Either => "With the error of the threshold it may or may not trip.",
            _ => "Nothing opens this fault for certain.",
        };
        findings.push(
            Finding::new(
                if result.opens_first == Opener::Nothing { Severity::Fail } else { Severity::Warn },
                "race.threshold-above-prospective",
                format!(
                    "The threshold, at its highest {}, is not below the prospective current of {}: the strongest fault is not sure to trip. {after}",
                    ampere(high),
                    ampere(strongest)
                ),
            )
            .at("/threshold_a")
            .against(high, strongest),
        );
    } else if high >= weakest {
        let after =
            if result.opens_first_weakest == Opener::Nothing { "nothing opens it" } else { "only the fuse is left" };
        findings.push(
            Finding::new(
                Severity::Warn,
                "race.weak-fault-not-seen",
                format!(
                    "The weakest fault drives {}, the threshold is {} at its highest: the switch is not sure to see it, {after}.",
                    ampere(weakest),
                    ampere(high)
                ),
            )
            .at("/threshold_a")
            .against(high, weakest),
        );
    }
    findings
}

/// One fault or a range of them, in a sentence.
pub(super) fn place(from_a: f64, to_a: f64, point: bool) -> String {
    let (from, to) = (ampere(from_a), ampere(to_a));
    if point || from == to { format!("at {from}") } else { format!("from {from} to {to}") }
}

fn nobody(result: &RaceOutput) -> Vec<Finding> {
    let point = result.weakest.prospective_a >= result.strongest.prospective_a;
    result
        .nobody
        .iter()
        .map(|interval| {
            let place = place(interval.from_a, interval.to_a, point);
            let place = format!("{} of prospective current", capital(&place));
            match interval.reason {
                NobodyReason::NothingOpens => Finding::new(
                    Severity::Fail,
                    "race.nothing-opens",
                    format!("{place} nothing opens for certain: the threshold may not be reached, and no fuse clears."),
                )
                .at("/threshold_a"),
                NobodyReason::BeyondBreaking => Finding::new(
                    Severity::Fail,
                    "race.beyond-breaking",
                    format!("{place} the switch may open before the fuse, with more than it can break."),
                )
                .at("/switch/breaking_a"),
            }
        })
        .collect()
}

fn breaking(input: &RaceInput, result: &RaceOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    let switch = &input.switch;
    if let (Some(must), None) = (result.must_break_a, switch.breaking_a) {
        findings.push(match switch.carry_a {
            Some(carry) => Finding::new(
                Severity::Warn,
                "race.carry-is-not-breaking",
                format!(
                    "The switch must break up to {}. {}{} is what its closed contacts carry; that is not a breaking rating, and none is given.",
                    ampere(must),
                    ampere(carry),
                    switch.carry_s.map_or_else(String::new, |time| format!(" for {}", say(time, Unit::Second)))
                ),
            )
            .at("/switch/carry_a"),
            None => Finding::new(
                Severity::Warn,
                "race.breaking-unknown",
                format!("The switch must break up to {}. Its breaking capacity at this voltage is not given.", ampere(must)),
            )
            .at("/switch/breaking_a"),
        });
    }
    if let (Some(must), Some(can)) = (result.must_break_a, switch.breaking_a)
        && must > can
        && result.nobody.iter().all(|interval| interval.reason != NobodyReason::BeyondBreaking)
    {
        // Where nothing is sure to open the reason of the interval is another one, the current is there all the same.
        findings.push(
            Finding::new(
                Severity::Fail,
                "race.beyond-breaking",
                format!("If the switch opens it may have to break {}; it can break {}.", ampere(must), ampere(can)),
            )
            .at("/switch/breaking_a")
            .against(must, can),
        );
    }
    if result.opens_first == Opener::Either {
        let times = result.interruption_min_s.zip(result.fuse);
        findings.push(
            Finding::new(
                Severity::Warn,
                "race.either-first",
                times.map_or_else(
                    || "Fuse or switch: the tolerances do not tell who opens first.".into(),
                    |(switch_min, fuse)| format!(
                        "Who opens first is open: the fuse melts between {} and {}, the switch opens {}. Judge both as if each were first.",
                        say(fuse.prearc_min_s, Unit::Second),
                        say(fuse.prearc_max_s, Unit::Second),
                        result.interruption_max_s.map_or_else(
                            || format!("after {} or not at all", say(switch_min, Unit::Second)),
                            |switch_max| format!("between {} and {}", say(switch_min, Unit::Second), say(switch_max, Unit::Second))
                        )
                    ),
                ),
            )
            .at("/fuse/tolerance_percent"),
        );
    }
    findings
}

fn fuse(input: &RaceInput, result: &RaceOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    let fuse = &input.fuse;
    if fuse.prearc_a2s <= 0.0 {
        return findings;
    }
    if fuse.never_clears_below_a.is_none() {
        findings.push(
            Finding::new(
                Severity::Note,
                "race.fuse-limit-unknown",
                "The current below which the fuse does not clear is not given: every fault is taken as cleared at last.",
            )
            .at("/fuse/never_clears_below_a"),
        );
    }
    if let Some(least) = fuse.never_clears_below_a.filter(|least| result.weakest.prospective_a < *least) {
        findings.push(
            Finding::new(
                Severity::Warn,
                "race.fuse-never-clears",
                format!(
                    "The weakest fault drives {}; the fuse clears from {} on. What lies between is left to the switch.",
                    ampere(result.weakest.prospective_a),
                    ampere(least)
                ),
            )
            .at("/fuse/never_clears_below_a"),
        );
    }
    let Some(race) = result.fuse else { return findings };
    if race.prearc_s > ADIABATIC_S {
        findings.push(
            Finding::new(
                Severity::Note,
                "race.fuse-not-adiabatic",
                format!(
                    "The fuse would melt after {}. Above about {} it loses heat meanwhile and takes longer than its pre-arc value says: use its time-current curve.",
                    say(race.prearc_s, Unit::Second),
                    say(ADIABATIC_S, Unit::Second)
                ),
            )
            .at("/fuse/prearc_a2s"),
        );
    }
    let judged = input.shunt_pulse_a2s.is_some() || input.wiring.area_mm2.is_some();
    let by_fuse = result.opens_first != Opener::Switch
        || (result.worst_let_through_a2s.is_none()
            && matches!(result.opens_first_weakest, Opener::Fuse | Opener::Either));
    if fuse.clearing_a2s.is_none() && by_fuse && judged {
        findings.push(
            Finding::new(
                Severity::Warn,
                "race.prearc-is-not-clearing",
                "Only the pre-arc value of the fuse is given. Until it has cleared more passes: the total clearing value at this direct voltage decides, and without it only the switch bounds the let-through.",
            )
            .at("/fuse/clearing_a2s"),
        );
    }
    if let (Opener::Fuse, Some(clearing), Some(at_switch)) =
        (result.opens_first, fuse.clearing_a2s, result.let_through_a2s)
        && at_switch < clearing
    {
        findings.push(
            Finding::new(
                Severity::Warn,
                "race.opens-into-fuse-arc",
                format!(
                    "The switch may open while the fuse still arcs: {} would have passed by then, the fuse clears at up to {}.",
                    say(at_switch, Unit::AmpereSquaredSecond),
                    say(clearing, Unit::AmpereSquaredSecond)
                ),
            )
            .at("/fuse/clearing_a2s"),
        );
    }
    findings
}

/// Half of a rating judges nothing.
fn missing(input: &RaceInput) -> Vec<Finding> {
    let switch = &input.switch;
    let half = |code: &str, field: &str, message: String| Finding::new(Severity::Warn, code, message).at(field);
    let mut findings = Vec::new();
    if let (Some(carry), None) = (switch.carry_a, switch.carry_s) {
        let message = format!(
            "The switch carries {}, but for how long is not given: what it carries is not judged.",
            ampere(carry)
        );
        findings.push(half("race.carry-without-time", "/switch/carry_s", message));
    }
    if let (None, Some(time)) = (switch.carry_a, switch.carry_s) {
        let message = format!(
            "A time of {} is given for what the switch carries, but no current: what it carries is not judged.",
            say(time, Unit::Second)
        );
        findings.push(half("race.carry-without-current", "/switch/carry_a", message));
    }
    if let (Some(energy), None) = (switch.clamp_energy_j, switch.clamp_voltage_v) {
        let message = format!(
            "The clamp takes {}, but its voltage is not given: what goes into it is not judged.",
            say(energy, Unit::Joule)
        );
        findings.push(half("race.clamp-energy-without-voltage", "/switch/clamp_voltage_v", message));
    }
    findings
}

fn opening(input: &RaceInput, result: &RaceOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    if let Some(clamp_v) = input.switch.clamp_voltage_v {
        if !input.clamp_ends(clamp_v) {
            findings.push(
                Finding::new(
                    Severity::Fail,
                    "race.clamp-too-low",
                    format!(
                        "The clamp stands at {}, the source at {}: the current never ends, the source feeds the clamp or the arc.",
                        say(clamp_v, Unit::Volt),
                        say(input.source.voltage_v, Unit::Volt)
                    ),
                )
                .at("/switch/clamp_voltage_v")
                .against(input.source.voltage_v, clamp_v),
            );
        } else if let Some((clamp, stored)) = result.clamp.zip(result.stored_energy_j) {
            findings.push(
                Finding::new(
                    Severity::Note,
                    "race.clamp-takes-more",
                    format!(
                        "The clamp takes {}, not the stored {}: the source adds {} while the current falls.",
                        say(clamp.energy_j, Unit::Joule),
                        say(stored, Unit::Joule),
                        say(clamp.source_j, Unit::Joule)
                    ),
                )
                .at("/switch/clamp_voltage_v"),
            );
        }
    }
    if result.strongest.initial_rise_a_per_s.is_none() {
        findings.push(
            Finding::new(
                Severity::Note,
                "race.no-inductance",
                "Without an inductance the current steps at once to its prospective value; a rate of rise does not exist.",
            )
            .at("/source/inductance_henry"),
        );
    }
    if result.weakest.prospective_a >= result.strongest.prospective_a {
        findings.push(
            Finding::new(
                Severity::Note,
                "race.only-strongest",
                "Only the strongest fault is examined. The weakest one, with an empty, cold and aged pack and the largest resistance of the short, is the one that neither threshold nor fuse may see.",
            )
            .at("/source/external_resistance_max_ohm"),
        );
    }
    findings
}

fn limits(input: &RaceInput, result: &RaceOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    let rows = [
        ("race.shunt-pulse-exceeded", "the shunt", input.shunt_pulse_a2s, "/shunt_pulse_a2s"),
        ("race.wiring-exceeded", "the wiring", result.wiring.map(|wiring| wiring.limit_a2s), "/wiring/area_mm2"),
    ];
    let at = ampere(result.worst_fault_a);
    let weak = |least: f64| result.worst_fault_a < least;
    let fuse = if input.fuse.prearc_a2s <= 0.0 {
        "there is no fuse".into()
    } else if let Some(least) = input.fuse.never_clears_below_a.filter(|least| weak(*least)) {
        format!("the fuse clears from {} on", ampere(least))
    } else {
        "no total clearing value of the fuse is given".to_owned()
    };
    for (code, part, limit, field) in rows {
        let Some(limit) = limit else { continue };
        let limit_words = say(limit, Unit::AmpereSquaredSecond);
        let finding = match result.worst_let_through_a2s {
            Some(a2s) if exact_limit(a2s / limit * 100.0) > 100.0 => Finding::new(
                Severity::Fail,
                code,
                format!(
                    "{} pass before a fault of {at} is over, the worst of them; {part} takes {limit_words}.",
                    say(a2s, Unit::AmpereSquaredSecond)
                ),
            )
            .against(a2s, limit),
            None => Finding::new(
                Severity::Fail,
                code,
                format!(
                    "Nothing bounds the let-through at a fault of {at}: no switch is sure to break it, and {fuse}. {} takes {limit_words}.",
                    capital(part)
                ),
            ),
            Some(_) => continue,
        };
        findings.push(finding.at(field));
    }
    let last = [result.interruption_max_s, result.fuse.map(|fuse| fuse.prearc_max_s)];
    let last = last.into_iter().flatten().reduce(f64::min);
    if let Some(time) = last.filter(|time| *time > ADIABATIC_WIRING_S && result.wiring.is_some()) {
        findings.push(
            Finding::new(
                Severity::Note,
                "race.wiring-not-adiabatic",
                format!(
                    "The fault lasts {}: above {} the adiabatic limit is on the cautious side, and the steady rating counts too.",
                    say(time, Unit::Second),
                    say(ADIABATIC_WIRING_S, Unit::Second)
                ),
            )
            .at("/wiring/area_mm2"),
        );
    }
    findings
}
