//! What an engineer must know about this channel.

use super::input::VoltageInput;
use super::output::VoltageOutput;
use crate::calc::voltage::divider::single_element;
use crate::channel::JudgedBy;
use crate::channel::lever_words;
use crate::constant::TOUCH_SAFE_V;
use crate::physics::front_end::CalibrationKind;
use crate::quantity::{Unit, in_sentence, say};
use crate::report::{Finding, Severity};

pub(super) fn findings(input: &VoltageInput, result: &VoltageOutput) -> Vec<Finding> {
    let mut findings = error(input, result);
    findings.extend(stress(input, result));
    findings.extend(notes(input, result));
    findings
}

fn error(input: &VoltageInput, result: &VoltageOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    for point in &result.points {
        let voltage = say(point.voltage_v, Unit::Volt);
        if point.beyond_range {
            findings.push(
                Finding::new(
                    Severity::Fail,
                    "voltage-channel.saturates",
                    format!(
                        "{voltage} cannot be read: the chain is full at {}, where {} ends. No error is given there.",
                        say(result.range.over_range_v, Unit::Volt),
                        result.range.clips_first
                    ),
                )
                .at("/converter/full_scale_v")
                .against(point.voltage_v, result.range.over_range_v),
            );
            continue;
        }
        match (point.judged_v, point.allowed_v) {
            (None, _) => findings.push(
                Finding::new(
                    Severity::Fail,
                    "voltage-channel.not-finite",
                    format!(
                        "At {voltage} the limits are so wide that the reading is not defined; no error is given there."
                    ),
                )
                .at("/voltages_v"),
            ),
            (Some(judged), Some(allowed)) if judged > allowed => {
                let lever = lever_words(&point.what_it_takes).map_or_else(
                    || " No single source can close the gap by itself.".to_owned(),
                    |lever| format!(" It would take {lever}."),
                );
                findings.push(
                    Finding::new(
                        Severity::Fail,
                        "voltage-channel.error-over-allowance",
                        format!(
                            "At {voltage} the error is ±{} by {}; ±{} is allowed.{lever}",
                            say(judged, Unit::Volt),
                            in_sentence(input.requirement.judged_by.label()),
                            say(allowed, Unit::Volt)
                        ),
                    )
                    .at("/requirement/gain_percent")
                    .against(judged, allowed),
                );
            }
            _ => {}
        }
    }
    if result.range.used_percent > 100.0 {
        findings.push(
            Finding::new(
                Severity::Fail,
                "voltage-channel.over-range",
                format!(
                    "The highest input of {} is beyond {}, where {} ends.",
                    say(input.input_max_v, Unit::Volt),
                    say(result.range.over_range_v, Unit::Volt),
                    result.range.clips_first
                ),
            )
            .at("/converter/full_scale_v")
            .against(input.input_max_v, result.range.over_range_v),
        );
    }
    findings
}

fn stress(input: &VoltageInput, result: &VoltageOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    for rung in result.stress.iter().filter(|rung| rung.element_v > rung.limit_v) {
        findings.push(
            Finding::new(
                Severity::Fail,
                "divider.over-element-rating",
                format!(
                    "{}: {} on one element, {} allowed at {}.",
                    rung.label,
                    say(rung.element_v, Unit::Volt),
                    say(rung.limit_v, Unit::Volt),
                    say(input.conditions.ambient_max_degc, Unit::Celsius)
                ),
            )
            .at(if rung.id == "lower" { "/lower/max_working_v" } else { "/upper/count" })
            .against(rung.element_v, rung.limit_v),
        );
    }
    if input.upper.count == 1 {
        let severity = if input.input_max_v > TOUCH_SAFE_V { Severity::Fail } else { Severity::Note };
        findings.push(Finding { severity, ..single_element(input.input_max_v) });
    }
    findings
}

fn notes(input: &VoltageInput, result: &VoltageOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    if input.requirement.judged_by != JudgedBy::WorstCase {
        findings.push(
            Finding::new(
                Severity::Note,
                "voltage-channel.statistical",
                "A statistical total is used. For a protective limit many projects require worst case; confirm with the person responsible for safety.",
            )
            .at("/requirement/judged_by"),
        );
    }
    if input.surface.leakage_ohm.is_none() {
        findings.push(
            Finding::new(
                Severity::Note,
                "divider.leakage-unknown",
                "No surface leakage is given: it is left out of the error. In salt or condensation it is not infinite.",
            )
            .at("/surface/leakage_ohm"),
        );
    } else {
        findings.push(
            Finding::new(
                Severity::Note,
                "voltage-channel.leakage-stays",
                "Surface leakage reads high only, and comes and goes with humidity: no calibration removes it.",
            )
            .at("/surface/leakage_ohm"),
        );
    }
    if input.converter.inl_ppm.is_none() && input.converter.peak_error_percent.is_none() {
        findings.push(
            Finding::new(
                Severity::Note,
                "voltage-channel.no-linearity",
                "Neither non-linearity nor peak error of the converter is given: it is left out of the error.",
            )
            .at("/converter/inl_ppm"),
        );
    }
    let with = &input.calibration;
    let bend = result.bend.between_v.max(result.bend.after_v.abs());
    if with.kind == CalibrationKind::TwoPoint
        && bend > with.gain_residual_percent / 100.0 * input.input_max_v
        && bend > 0.0
    {
        findings.push(
            Finding::new(
                Severity::Warn,
                "voltage-channel.bend-left",
                format!(
                    "The voltage coefficient leaves {} between and {} beyond the calibration voltages, more than the calibrator itself.",
                    say(result.bend.between_v, Unit::Volt),
                    say(result.bend.after_v, Unit::Volt)
                ),
            )
            .at("/calibration/high_v"),
        );
    }
    let both = input.upper.tcr_ppm_per_k + input.lower.tcr_ppm_per_k;
    if input.upper.tcr_tracking_ppm_per_k > both {
        findings.push(
            Finding::new(
                Severity::Warn,
                "divider.tracking-above-absolute",
                format!(
                    "The tracking limit of {} is larger than both absolute coefficients together, {}: it says nothing.",
                    say(input.upper.tcr_tracking_ppm_per_k, Unit::PpmPerKelvin),
                    say(both, Unit::PpmPerKelvin)
                ),
            )
            .at("/upper/tcr_tracking_ppm_per_k")
            .against(input.upper.tcr_tracking_ppm_per_k, both),
        );
    }
    findings
}
