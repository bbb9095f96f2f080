//! The requirements of the current channel and what the engineer must know.

use super::{ChannelInput, ChannelOutput, ChannelPoint, range, stress};
use crate::channel::JudgedBy;
use crate::channel::{largest_words, lever_words};
use crate::quantity::{Quantity, Unit, in_sentence, say};
use crate::report::{Check, Finding, Severity};

pub(super) fn checks(input: &ChannelInput, points: &[ChannelPoint]) -> Vec<Check> {
    let mut checks: Vec<Check> = points
        .iter()
        .map(|point| {
            let label = format!("Reading error at {}", say(point.current_a, Unit::Ampere));
            let corner = point
                .worst_corner
                .as_ref()
                .map_or_else(String::new, |corner| format!(", ambient {}", say(corner.ambient_degc, Unit::Celsius)));
            let note = format!("{}, {}{corner}", input.requirement.judged_by.label(), input.words(true, true));
            let id = "current-channel.error";
            match point.judged_a {
                Some(judged) => Check::at_most(id, &label, note, Quantity::new(judged, Unit::Ampere), point.allowed_a),
                None => Check::undefined(
                    id,
                    &label,
                    if point.beyond_range {
                        "beyond what the chain can read"
                    } else {
                        "no steady temperature: thermal runaway"
                    },
                    Quantity::new(point.allowed_a.unwrap_or(0.0), Unit::Ampere),
                ),
            }
            .at("/requirement/gain_percent")
            .because(
                point.assessment.as_ref().and_then(|done| largest_words(done, Unit::Ampere)),
                lever_words(&point.what_it_takes),
            )
        })
        .collect();
    let stress = stress(input);
    let at = format!("{} at {}", say(input.load.continuous_a, Unit::Ampere), say(stress.ambient_degc, Unit::Celsius));
    let watt = Quantity::new(stress.power_w.unwrap_or(0.0), Unit::Watt);
    let limit = Quantity::new(input.shunt.max_element_degc, Unit::Celsius);
    checks.push(
        match stress.power_w {
            Some(_) => Check::at_most(
                "current-channel.power",
                "Steady shunt power",
                format!("{at}, derated"),
                watt,
                Some(stress.derated_power_w),
            ),
            None => Check::undefined(
                "current-channel.power",
                "Steady shunt power",
                format!("{at}: thermal runaway"),
                Quantity::new(stress.derated_power_w, Unit::Watt),
            ),
        }
        .at("/shunt/rated_power_w"),
    );
    for (id, label, note, degc) in [
        ("current-channel.temperature", "Steady element temperature", at.clone(), stress.element_degc),
        (
            "current-channel.peak",
            "Element after the peak",
            format!("{} for {}", say(input.load.peak_a, Unit::Ampere), say(input.load.peak_duration_s, Unit::Second)),
            stress.after_peak_degc,
        ),
    ] {
        checks.push(
            match degc {
                Some(degc) => Check::rise(
                    id,
                    label,
                    format!("{note}; the allowance counts from ambient"),
                    degc,
                    stress.ambient_degc,
                    limit.value,
                ),
                None => Check::undefined(id, label, format!("{note}: thermal runaway"), limit),
            }
            .at("/shunt/max_element_degc"),
        );
    }
    let range = range(input);
    checks.push(
        Check::at_most(
            "current-channel.range",
            "Full-scale current inside the range",
            format!("{} at the shunt; clips first: {}", say(input.load.full_scale_a, Unit::Ampere), range.clips_first),
            Quantity::new(range.full_scale_v, Unit::Volt),
            Some(range.clips_at_v),
        )
        .at("/load/full_scale_a"),
    );
    checks
}

pub(super) fn findings(input: &ChannelInput, result: &ChannelOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    for point in &result.points {
        let current = say(point.current_a, Unit::Ampere);
        match (point.judged_a, point.allowed_a) {
            (None, _) if point.beyond_range => findings.push(
                Finding::new(
                    Severity::Fail,
                    "current-channel.beyond-range",
                    format!(
                        "{current} cannot be read: the chain is full at {}, where {} ends. No error is given there.",
                        say(result.range.clips_at_a, Unit::Ampere),
                        result.range.clips_first
                    ),
                )
                .at("/currents_a")
                .against(point.current_a, result.range.clips_at_a),
            ),
            (None, _) => findings.push(
                Finding::new(
                    Severity::Fail,
                    "shunt.thermal-runaway",
                    format!("At {current} the shunt has no steady temperature, so no error can be given there."),
                )
                .at("/currents_a"),
            ),
            (Some(judged), Some(allowed)) if judged > allowed => {
                let lever = lever_words(&point.what_it_takes).map_or_else(
                    || " No single source can close the gap by itself.".to_owned(),
                    |lever| format!(" It would take {lever}."),
                );
                findings.push(
                    Finding::new(
                        Severity::Fail,
                        "current-channel.error-over-allowance",
                        format!(
                            "At {current} the error is ±{} by {}; ±{} is allowed.{lever}",
                            say(judged, Unit::Ampere),
                            in_sentence(input.requirement.judged_by.label()),
                            say(allowed, Unit::Ampere)
                        ),
                    )
                    .at("/requirement/gain_percent")
                    .against(judged, allowed),
                );
            }
            _ => {}
        }
    }
    if input.requirement.judged_by != JudgedBy::WorstCase {
        findings.push(
            Finding::new(
                Severity::Note,
                "current-channel.statistical",
                "A statistical total is used. For a protective limit many projects require worst case; confirm with the person responsible for safety.",
            )
            .at("/requirement/judged_by"),
        );
    }
    findings.extend(stress_findings(input, result));
    findings
}

fn stress_findings(input: &ChannelInput, result: &ChannelOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    let stress = &result.stress;
    if stress.element_degc.is_none() {
        findings.push(
            Finding::new(
                Severity::Fail,
                "shunt.thermal-runaway",
                format!(
                    "At {} and {} the shunt has no steady temperature.",
                    say(input.load.continuous_a, Unit::Ampere),
                    say(stress.ambient_degc, Unit::Celsius)
                ),
            )
            .at("/load/continuous_a"),
        );
    }
    if let Some(power) = stress.power_w.filter(|power| *power > stress.derated_power_w) {
        findings.push(
            Finding::new(
                Severity::Fail,
                "shunt.over-rated-power",
                format!(
                    "The shunt loses {}; {} is allowed.",
                    say(power, Unit::Watt),
                    say(stress.derated_power_w, Unit::Watt)
                ),
            )
            .at("/load/continuous_a")
            .against(power, stress.derated_power_w),
        );
    }
    if let Some(degc) =
        stress.element_degc.into_iter().chain(stress.after_peak_degc).find(|degc| *degc > input.shunt.max_element_degc)
    {
        findings.push(
            Finding::new(
                Severity::Fail,
                "shunt.over-temperature",
                format!(
                    "The element reaches {}, above its limit of {}.",
                    say(degc, Unit::Celsius),
                    say(input.shunt.max_element_degc, Unit::Celsius)
                ),
            )
            .at("/shunt/max_element_degc")
            .against(degc, input.shunt.max_element_degc),
        );
    }
    if result.range.used_percent > 100.0 {
        findings.push(
            Finding::new(
                Severity::Fail,
                "current-channel.saturates",
                format!(
                    "At full scale the shunt gives {}; {} ends at {}, {}. Larger currents cannot be told apart.",
                    say(result.range.full_scale_v, Unit::Volt),
                    result.range.clips_first,
                    say(result.range.clips_at_v, Unit::Volt),
                    say(result.range.clips_at_a, Unit::Ampere)
                ),
            )
            .at("/load/full_scale_a")
            .against(result.range.full_scale_v, result.range.clips_at_v),
        );
    }
    let spike = result.ripple.spike_a;
    if spike > 0.02 * input.load.full_scale_a {
        findings.push(
            Finding::new(
                Severity::Warn,
                "shunt.inductive-at-ripple",
                format!(
                    "The edges of the ripple read as ±{}: a low-pass of {} cancels them; a comparator in front of it sees them.",
                    say(spike, Unit::Ampere),
                    say(result.ripple.time_constant_s, Unit::Second)
                ),
            )
            .at("/shunt/inductance_henry"),
        );
    }
    if let Some(tau) = result.ripple.low_pass_s.filter(|_| result.ripple.time_constant_s > 0.0) {
        let ratio = tau / result.ripple.time_constant_s;
        if !(0.5..=2.0).contains(&ratio) && spike > 0.02 * input.load.full_scale_a {
            findings.push(
                Finding::new(
                    Severity::Note,
                    "current-channel.low-pass-does-not-match",
                    format!(
                        "The low-pass of {} does not cancel the inductance of {}; behind it the edges still read ±{}.",
                        say(tau, Unit::Second),
                        say(result.ripple.time_constant_s, Unit::Second),
                        say(result.ripple.behind_low_pass_a.unwrap_or(spike), Unit::Ampere)
                    ),
                )
                .at("/filter/resistance_ohm"),
            );
        }
    }
    let with_ripple = (input.load.peak_a + spike) * input.shunt.resistance_ohm;
    if with_ripple > result.range.clips_at_v && result.range.used_percent <= 100.0 {
        findings.push(
            Finding::new(
                Severity::Warn,
                "current-channel.ripple-clips",
                format!(
                    "Peak current and ripple spike together give {}: what clips becomes a DC error.",
                    say(with_ripple, Unit::Volt)
                ),
            )
            .at("/load/ripple_current_a")
            .against(with_ripple, result.range.clips_at_v),
        );
    }
    if let Some(share) = result.zero.percent_per_day.filter(|share| *share > 1.0) {
        findings.push(
            Finding::new(
                Severity::Warn,
                "current-channel.charge-drift",
                format!(
                    "The offset that is left, {}, counts {} a day that never flowed: {} of the capacity.",
                    say(result.zero.offset_a, Unit::Ampere),
                    say(result.zero.charge_ah_per_day, Unit::AmpereHour),
                    say(share, Unit::Percent)
                ),
            )
            .at("/calibration/offset_residual_v"),
        );
    }
    findings
}
