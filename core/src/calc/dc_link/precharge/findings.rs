//! What an engineer must know about this pre-charge.

use super::checks::load_pointer;
use super::course::{Circuit, Draw};
use super::input::PrechargeInput;
use super::output::{PrechargeCourse, PrechargeLimits, PrechargeOutput};
use crate::quantity::{Unit, say};
use crate::report::{Finding, Severity};

pub(super) fn findings(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Finding> {
    let mut findings = course(input, result);
    findings.extend(resistor(input, result));
    findings.extend(closing(input, result));
    findings.extend(early(input, result));
    findings
}

fn course(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    let circuit = input.circuit();
    let charge = &result.charge;
    let volt = |value: f64| say(value, Unit::Volt);
    let enable = volt(input.load.enable_v);
    if input.start_v == input.pack_v {
        findings.push(
            Finding::new(
                Severity::Note,
                "precharge.equal-voltages",
                "Link and pack are at the same voltage: nothing flows, and there is nothing to charge.",
            )
            .at("/start_v"),
        );
    } else if input.start_v >= charge.target_v {
        findings.push(
            Finding::new(
                Severity::Note,
                "precharge.already-reached",
                format!("The link starts at {}, the target is {}.", volt(input.start_v), volt(charge.target_v)),
            )
            .at("/start_v"),
        );
    }
    let stall = Place::stall(input, result);
    findings.extend(load(input, &stall));
    if let Some(at) = Place::slowest(input, result) {
        findings.extend(late(input, &at));
    }
    if !matches!(circuit.draw, Draw::Power(_) | Draw::Current(_)) {
        return findings;
    }
    if input.load.enable_v >= input.pack_v {
        findings.push(
            Finding::new(
                Severity::Note,
                "precharge.load-never-wakes",
                format!(
                    "The load wakes at {enable}, the pack has {}: it never wakes, and the link charges without it.",
                    volt(input.pack_v)
                ),
            )
            .at("/load/enable_v"),
        );
    } else if input.load.enable_v >= charge.target_v {
        findings.push(
            Finding::new(
                Severity::Note,
                "precharge.load-wakes-late",
                format!(
                    "The load wakes at {enable}, above the target of {}: close the main contactor before it does, or the link {} at {}.",
                    volt(charge.target_v),
                    if charge.hangs { "hangs" } else { "settles" },
                    volt(charge.settle_v)
                ),
            )
            .at("/load/enable_v"),
        );
    }
    findings
}

/// A pack voltage with its course.
struct Place<'a> {
    /// Whether another pack voltage is judged as well.
    one_of_two: bool,
    circuit: Circuit,
    charge: &'a PrechargeCourse,
    limits: &'a PrechargeLimits,
}

impl<'a> Place<'a> {
    fn both(input: &PrechargeInput, result: &'a PrechargeOutput) -> (Self, Option<Self>) {
        let lowest = input.lowest_circuit().zip(result.lowest.as_ref()).map(|(circuit, lowest)| Self {
            one_of_two: true,
            circuit,
            charge: &lowest.charge,
            limits: &lowest.limits,
        });
        let highest = Self {
            one_of_two: lowest.is_some(),
            circuit: input.circuit(),
            charge: &result.charge,
            limits: &result.limits,
        };
        (highest, lowest)
    }

    /// Where the load weighs most: the lowest pack voltage, unless only the highest stalls.
    fn stall(input: &PrechargeInput, result: &'a PrechargeOutput) -> Self {
        let (highest, lowest) = Self::both(input, result);
        match lowest {
            // In percent a resistance does the same at both.
            Some(lowest) if highest.charge.reaches || !matches!(highest.circuit.draw, Draw::Resistance(_)) => {
                if lowest.charge.reaches && !highest.charge.reaches { highest } else { lowest }
            }
            _ => highest,
        }
    }

    /// Where the target takes longest, of those where it is reached.
    fn slowest(input: &PrechargeInput, result: &'a PrechargeOutput) -> Option<Self> {
        let (highest, lowest) = Self::both(input, result);
        let time = |place: &Self| place.charge.time_s;
        match lowest {
            Some(lowest) if time(&lowest) > time(&highest) => Some(lowest),
            _ => Some(highest).filter(|place| time(place).is_some()),
        }
    }

    /// The beginning of a sentence: the pack voltage when there are two.
    fn start(&self, plain: &str, after: &str) -> String {
        if self.one_of_two {
            format!("At a pack voltage of {}{after}", say(self.circuit.pack_v, Unit::Volt))
        } else {
            plain.into()
        }
    }
}

/// What the load makes of the target.
fn load(input: &PrechargeInput, at: &Place<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    let Place { circuit, charge, limits, .. } = at;
    let volt = |value: f64| say(value, Unit::Volt);
    if !charge.reaches {
        let allowed = match circuit.draw {
            Draw::Resistance(_) => format!("at least {} would be", say(limits.smallest_load_ohm, Unit::Ohm)),
            Draw::Current(_) => format!("at most {} would be", say(limits.largest_current_a, Unit::Ampere)),
            _ => format!("at most {} would be", say(limits.largest_power_w, Unit::Watt)),
        };
        findings.push(
            Finding::new(
                Severity::Fail,
                "precharge.never-reaches",
                format!(
                    "{}ink {} at {}, {} of the pack: the target of {} is never reached, and the resistor loses {} there. With this resistor {allowed} allowed.",
                    at.start("The l", ", the l"),
                    if charge.hangs { "hangs" } else { "settles" },
                    volt(charge.settle_v),
                    say(charge.settle_percent, Unit::Percent),
                    say(input.target_percent, Unit::Percent),
                    say(charge.settle_power_w, Unit::Watt)
                ),
            )
            .at(load_pointer(input)),
        );
    }
    let (Draw::Power(_) | Draw::Current(_)) = circuit.draw else { return findings };
    let enable = volt(input.load.enable_v);
    if let Draw::Power(power) = circuit.draw
        && power > limits.collapse_power_w
    {
        findings.push(
            Finding::new(
                if charge.reaches { Severity::Warn } else { Severity::Fail },
                "precharge.collapses",
                format!(
                    "{}{} is more than V²/(4 R) = {}: there is no equilibrium. The link falls back to {enable}, where the load sleeps, rises and falls back again.",
                    at.start("", ", "),
                    say(power, Unit::Watt),
                    say(limits.collapse_power_w, Unit::Watt)
                ),
            )
            .at("/load/power_w")
            .against(power, limits.collapse_power_w),
        );
    } else if charge.hangs && !charge.reaches {
        let below = limits.lower_v.filter(|lower| charge.settle_v <= *lower);
        findings.push(match (below, circuit.balance_v()) {
            (Some(lower), _) => Finding::new(
                Severity::Fail,
                "precharge.below-lower-equilibrium",
                format!(
                    "The load wakes at {enable}, below the lower equilibrium of {}: from there its current is more than the resistor delivers, and the link hangs. Let it wake above {} only.",
                    volt(lower),
                    volt(lower)
                ),
            ),
            (None, Some(balance)) => Finding::new(
                Severity::Fail,
                "precharge.enable-above-stall",
                format!(
                    "The load wakes at {enable}, above the {} at which it would settle: it pulls the link back to {enable}, sleeps and wakes again.",
                    volt(balance)
                ),
            ),
            (None, None) => Finding::new(
                Severity::Fail,
                "precharge.load-takes-all",
                format!("The load takes all that the resistor delivers: the link never rises above {}.", volt(charge.settle_v)),
            ),
        }.at("/load/enable_v"));
    }
    findings
}

fn late(input: &PrechargeInput, at: &Place<'_>) -> Option<Finding> {
    let time = at.charge.time_s.filter(|time| *time > input.max_time_s)?;
    Some(
        Finding::new(
            Severity::Fail,
            "precharge.time-out",
            format!(
                "{}he target takes {}; the attempt is given up after {} at {}.",
                at.start("T", ", t"),
                say(time, Unit::Second),
                say(input.max_time_s, Unit::Second),
                say(at.charge.time_out_v, Unit::Volt)
            ),
        )
        .at("/max_time_s")
        .against(time, input.max_time_s),
    )
}

fn resistor(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    if let Some(limit) = input.resistor.limit_degc.filter(|_| input.resistor.k_per_w.is_none()) {
        findings.push(
            Finding::new(
                Severity::Warn,
                "precharge.no-thermal-resistance",
                format!(
                    "The highest body temperature of {} is not judged: the thermal resistance of the resistor is not given.",
                    say(limit, Unit::Celsius)
                ),
            )
            .at("/resistor/k_per_w"),
        );
    }
    let joule = |value: f64| say(value, Unit::Joule);
    let Some(pulse) = input.resistor.pulse_j else {
        findings.push(
            Finding::new(
                Severity::Note,
                "precharge.no-pulse-rating",
                format!(
                    "No pulse rating is given: one attempt puts {} in the resistor, a shorted link {} until the time-out.",
                    joule(result.charge.energy_j),
                    joule(result.short.energy_j)
                ),
            )
            .at("/resistor/pulse_j"),
        );
        return findings;
    };
    if result.charge.energy_j > pulse {
        findings.push(
            Finding::new(
                Severity::Fail,
                "precharge.pulse-exceeds",
                format!(
                    "One attempt puts {} in the resistor; it is rated {}.",
                    joule(result.charge.energy_j),
                    joule(pulse)
                ),
            )
            .at("/resistor/pulse_j")
            .against(result.charge.energy_j, pulse),
        );
    }
    if result.short.energy_j > pulse {
        let way = match result.short.until_check_j {
            Some(until) if until <= pulse => {
                format!("the early check, if it stops the attempt, leaves {} of it", joule(until))
            }
            Some(until) => format!("until the early check it is {} already", joule(until)),
            None => format!(
                "a time-out of {} or an early check of the slope keeps the rating",
                say(result.short.allowed_s.unwrap_or(0.0), Unit::Second)
            ),
        };
        findings.push(
            Finding::new(
                Severity::Fail,
                "precharge.short-exceeds-pulse",
                format!(
                    "A shorted link puts {} in the resistor until the time-out of {}; it is rated {}: {way}.",
                    joule(result.short.energy_j),
                    say(input.max_time_s, Unit::Second),
                    joule(pulse)
                ),
            )
            .at("/max_time_s")
            .against(result.short.energy_j, pulse),
        );
    }
    findings
}

fn closing(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    let percent = |value: f64| say(value, Unit::Percent);
    let difference = &result.difference;
    if input.link_error_percent.is_none() && input.pack_error_percent.is_none() {
        findings.push(
            Finding::new(
                Severity::Note,
                "precharge.no-channel-errors",
                "The errors of the voltage channels are not given: the true difference is taken as the nominal one.",
            )
            .at("/link_error_percent"),
        );
    } else if difference.error_percent >= difference.nominal_percent {
        findings.push(
            Finding::new(
                Severity::Warn,
                "precharge.difference-inside-errors",
                format!(
                    "The target leaves {}, the two channels are wrong by up to {} together: when they report the target, the true difference is {} to {}. Read the difference with one channel across the contactor, or cross-calibrate the two at equal voltage.",
                    percent(difference.nominal_percent),
                    percent(difference.error_percent),
                    percent(difference.low_percent),
                    percent(difference.high_percent)
                ),
            )
            .at("/target_percent")
            .against(difference.error_percent, difference.nominal_percent),
        );
    } else if difference.error_percent > 0.0 {
        findings.push(
            Finding::new(
                Severity::Note,
                "precharge.true-difference",
                format!(
                    "A reading of {} may hide a true difference of {} to {}, up to {}.",
                    percent(difference.nominal_percent),
                    percent(difference.low_percent),
                    percent(difference.high_percent),
                    say(difference.high_v, Unit::Volt)
                ),
            )
            .at("/target_percent"),
        );
    }
    if input.path.inductance_henry == 0.0 {
        findings.push(
            Finding::new(
                Severity::Note,
                "precharge.no-inductance",
                format!(
                    "Without inductance the inrush begins at its peak of {}: an upper bound.",
                    say(result.inrush.peak_a, Unit::Ampere)
                ),
            )
            .at("/path/inductance_henry"),
        );
    }
    if let Some(limit) = input.path.contactor_inrush_a2s.filter(|limit| result.inrush.a2s > *limit) {
        findings.push(
            Finding::new(
                Severity::Fail,
                "precharge.inrush-exceeds",
                format!(
                    "Closing at a true difference of {} makes {}; the contactor takes {}, that is a difference of {}.",
                    say(difference.high_v, Unit::Volt),
                    say(result.inrush.a2s, Unit::AmpereSquaredSecond),
                    say(limit, Unit::AmpereSquaredSecond),
                    say(result.inrush.allowed_v.unwrap_or(0.0), Unit::Volt)
                ),
            )
            .at("/path/contactor_inrush_a2s")
            .against(result.inrush.a2s, limit),
        );
    }
    findings
}

fn early(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Finding> {
    let Some(early) = &result.early else { return Vec::new() };
    let mut findings = Vec::new();
    if !early.separates {
        findings.push(
            Finding::new(
                Severity::Warn,
                "precharge.check-too-early",
                format!(
                    "At {} the link should read {}, within the channel's error of a link that does not charge at all{}.",
                    say(early.time_s, Unit::Second),
                    say(early.expected_v, Unit::Volt),
                    early.earliest_s.map_or_else(String::new, |at| format!(
                        "; from {} on they part",
                        say(at, Unit::Second)
                    ))
                ),
            )
            .at("/check_s"),
        );
    }
    if early.time_s >= input.max_time_s {
        findings.push(
            Finding::new(
                Severity::Warn,
                "precharge.check-too-late",
                format!("The early check lies at or after the time-out of {}.", say(input.max_time_s, Unit::Second)),
            )
            .at("/check_s"),
        );
    }
    findings
}
