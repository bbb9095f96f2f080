//! What an engineer must know about this divider.

use super::input::{DividerInput, LeakagePath};
use super::output::DividerOutput;
use crate::constant::TOUCH_SAFE_V;
use crate::quantity::{Unit, say};
use crate::report::{Finding, Severity};

pub(super) fn findings(input: &DividerInput, result: &DividerOutput) -> Vec<Finding> {
    let mut findings = stress(input, result);
    findings.extend(fault(input, result));
    findings.extend(range(input, result));
    findings.extend(surface(input, result));
    findings.extend(error(input, result));
    findings
}

/// A share in a sentence, in whole percent; rounding never moves it across its limit of 100 %.
pub fn whole_percent(share: f64) -> String {
    let whole = if share > 100.0 {
        share.ceil()
    } else if share < 100.0 {
        share.round().min(99.0)
    } else {
        share
    };
    say(whole, Unit::Percent)
}

/// What the voltage itself asks for: nothing up to [`TOUCH_SAFE_V`].
pub fn voltage_care(voltage_v: f64, count: u32) -> Vec<String> {
    if voltage_v <= TOUCH_SAFE_V {
        return Vec::new();
    }
    let mut care = vec![
        "This pack exceeds the voltage commonly treated as touch-safe for direct current. Work on it only if you are qualified and authorised under the rules that apply at your site.".into(),
        format!(
            "The upper string stands at {}. Treat every point of it as live, also with the electronics off.",
            say(voltage_v, Unit::Volt)
        ),
    ];
    if count == 1 {
        care.push(single_element_care(voltage_v));
    }
    care
}

/// The care text of an open lower element.
pub fn open_lower_care(voltage_v: f64) -> String {
    format!(
        "An open lower element lets the input of what follows rise towards {}: clamp it.",
        say(voltage_v, Unit::Volt)
    )
}

/// A string of one element: its short leaves nothing in between. Dangerous above [`TOUCH_SAFE_V`], good to know below.
pub fn single_element(voltage_v: f64) -> Finding {
    Finding::new(
        if voltage_v > TOUCH_SAFE_V { Severity::Fail } else { Severity::Note },
        "divider.single-element",
        format!(
            "One upper element only: its short puts {} on the input of what follows, with nothing in between.",
            say(voltage_v, Unit::Volt)
        ),
    )
    .at("/upper/count")
}

/// The care text of a string of one element.
pub fn single_element_care(voltage_v: f64) -> String {
    format!(
        "One shorted part connects {} to the electronics. Use more than one element in series or a rated barrier.",
        say(voltage_v, Unit::Volt)
    )
}

fn stress(input: &DividerInput, result: &DividerOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    let mut over_limit = false;
    for rung in &result.stress.ladder {
        if rung.element_v > rung.limit_v {
            over_limit = true;
            findings.push(
                Finding::new(
                    Severity::Fail,
                    "divider.over-element-rating",
                    format!(
                        "{}: {} on one element, {} allowed at {}.",
                        rung.label,
                        say(rung.element_v, Unit::Volt),
                        say(rung.limit_v, Unit::Volt),
                        say(input.ambient_degc, Unit::Celsius)
                    ),
                )
                .at(match rung.id.as_str() {
                    "lower" => "/lower/max_working_v",
                    "surge" => "/transient_v",
                    _ => "/upper/count",
                })
                .against(rung.element_v, rung.limit_v),
            );
        }
    }
    let normal = result.stress.ladder.first();
    if let Some(rung) =
        normal.filter(|rung| rung.stress_percent > input.stress_limit_percent && rung.element_v <= rung.limit_v)
    {
        findings.push(
            Finding::new(
                Severity::Warn,
                "divider.over-stress-rule",
                format!(
                    "{} on each element is {} of what it may carry; the house rule is {}.",
                    say(rung.element_v, Unit::Volt),
                    whole_percent(rung.stress_percent),
                    say(input.stress_limit_percent, Unit::Percent)
                ),
            )
            .at("/stress_limit_percent")
            .against(rung.stress_percent, input.stress_limit_percent),
        );
    }
    match result.stress.count.needed {
        Some(needed) if needed > input.upper.count => findings.push(
            Finding::new(
                if over_limit { Severity::Fail } else { Severity::Warn },
                "divider.too-few-elements",
                format!(
                    "{needed} elements keep the house rule and the limit after one short; there are {}.",
                    input.upper.count
                ),
            )
            .at("/upper/count"),
        ),
        None => findings.push(
            Finding::new(
                Severity::Fail,
                "divider.nothing-allowed",
                format!(
                    "At {} an upper element may carry {}: no number of elements keeps the rule.",
                    say(input.ambient_degc, Unit::Celsius),
                    say(result.stress.limit_v, Unit::Volt)
                ),
            )
            .at("/ambient_degc"),
        ),
        Some(_) => {}
    }
    findings
}

fn fault(input: &DividerInput, result: &DividerOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    let max = say(input.input_max_v, Unit::Volt);
    if input.upper.count == 1 {
        findings.push(single_element(input.input_max_v));
    }
    for row in &result.faults {
        if let (Some(from), Some(to)) = (row.missed_from_v, row.missed_to_v) {
            let comparison = if row.seen_by_comparison {
                "the comparison with the sum of the cells sees it."
            } else {
                "nor does the comparison with the sum of the cells see it everywhere."
            };
            findings.push(
                Finding::new(
                    if row.seen_by_comparison { Severity::Note } else { Severity::Warn },
                    "divider.fault-inside-range",
                    format!(
                        "{}: {max} reads {}; from {} to {} the range check misses it, {comparison}",
                        row.label,
                        if row.reading_v > result.ratio.over_range_v {
                            format!("over range, above {}", say(result.ratio.over_range_v, Unit::Volt))
                        } else {
                            say(row.reading_v, Unit::Volt)
                        },
                        say(from, Unit::Volt),
                        say(to, Unit::Volt)
                    ),
                )
                .at("/comparison_error_percent"),
            );
        }
    }
    if input.input_min_v == 0.0 {
        findings.push(
            Finding::new(
                Severity::Warn,
                "divider.open-reads-discharged",
                "With 0 V inside the range an open upper element reads like a discharged link: only the comparison tells it from a safe one.",
            )
            .at("/input_min_v"),
        );
    }
    findings
}

fn range(input: &DividerInput, result: &DividerOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    let over_range = result.ratio.over_range_v;
    if input.input_max_v > over_range {
        findings.push(
            Finding::new(
                Severity::Fail,
                "divider.over-range",
                format!(
                    "The converter is full at {}; the highest input is {}.",
                    say(over_range, Unit::Volt),
                    say(input.input_max_v, Unit::Volt)
                ),
            )
            .at("/converter_full_scale_v")
            .against(input.input_max_v, over_range),
        );
    } else if let Some(transient) = input.transient_v.filter(|transient| *transient > over_range) {
        findings.push(
            Finding::new(
                Severity::Note,
                "divider.transient-clips",
                format!(
                    "The transient of {} clips: the converter is full at {}.",
                    say(transient, Unit::Volt),
                    say(over_range, Unit::Volt)
                ),
            )
            .at("/transient_v")
            .against(transient, over_range),
        );
    }
    if result.ratio.ratio > 0.5 {
        findings.push(
            Finding::new(
                Severity::Warn,
                "divider.unusual-ratio",
                format!(
                    "The ratio is {}: most of the voltage lies on the lower part. Are the strings exchanged?",
                    say(result.ratio.ratio, Unit::One)
                ),
            )
            .at("/lower/resistance_ohm"),
        );
    }
    if result.insulation.counts && result.insulation.ohm_per_v < input.insulation_requirement_ohm_per_v {
        findings.push(
            Finding::new(
                Severity::Fail,
                "divider.insulation-loaded",
                format!(
                    "With the strings {} of insulation are left, {}; {} are required.",
                    say(result.insulation.together_ohm, Unit::Ohm),
                    say(result.insulation.ohm_per_v, Unit::OhmPerVolt),
                    say(input.insulation_requirement_ohm_per_v, Unit::OhmPerVolt)
                ),
            )
            .at("/insulation_requirement_ohm_per_v"),
        );
    }
    if result.insulation.counts && input.pack_insulation_ohm.is_none() {
        findings.push(
            Finding::new(
                Severity::Note,
                "divider.pack-insulation-unknown",
                "The insulation of the pack itself is not given: the value is that of the strings alone.",
            )
            .at("/pack_insulation_ohm"),
        );
    }
    findings
}

fn surface(input: &DividerInput, result: &DividerOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    let (path, least) = match input.leakage_path {
        LeakagePath::Whole => ("End to end", result.leakage.smallest_ohm),
        LeakagePath::Element => ("Over one element", result.leakage.smallest_element_ohm),
    };
    match result.leakage.counted_percent {
        Some(percent) if percent > input.leakage_budget_percent => findings.push(
            Finding::new(
                Severity::Warn,
                "divider.leakage-over-budget",
                format!(
                    "Surface leakage reads {} too high and comes and goes with humidity: no calibration removes it. {}",
                    say(percent, Unit::Percent),
                    least.map_or_else(String::new, |ohm| format!(
                        "{path} at least {} keep {}.",
                        say(ohm, Unit::Ohm),
                        say(input.leakage_budget_percent, Unit::Percent)
                    ))
                ),
            )
            .at("/leakage_ohm")
            .against(percent, input.leakage_budget_percent),
        ),
        None => findings.push(
            Finding::new(
                Severity::Note,
                "divider.leakage-unknown",
                "No surface leakage is given: it is left out of the error. In salt or condensation it is not infinite.",
            )
            .at("/leakage_ohm"),
        ),
        Some(_) => {}
    }
    let worst = result.creepage.iter().max_by(|a, b| a.used_percent.total_cmp(&b.used_percent));
    if let Some(path) = worst.filter(|path| path.used_percent > 100.0) {
        findings.push(
            Finding::new(
                Severity::Fail,
                "divider.creepage-too-short",
                format!(
                    "Creepage {}: {} for {}, {} required.",
                    path.label,
                    say(path.available_mm, Unit::Millimetre),
                    say(path.voltage_v, Unit::Volt),
                    say(path.required_mm, Unit::Millimetre)
                ),
            )
            .at("/layout/elements_per_row")
            .against(path.required_mm, path.available_mm),
        );
    }
    if input.upper.pad_gap_mm > input.upper.case_creepage_mm {
        findings.push(
            Finding::new(
                Severity::Warn,
                "divider.gap-longer-than-body",
                "The gap between the pads is longer than the body above it: one of the two is off. The shorter one counts.",
            )
            .at("/upper/pad_gap_mm"),
        );
    }
    findings
}

fn error(input: &DividerInput, result: &DividerOutput) -> Vec<Finding> {
    let mut findings = Vec::new();
    let both = input.upper.tcr_ppm_per_k + input.lower.tcr_ppm_per_k;
    let tracking = input.upper.tcr_tracking_ppm_per_k.max(input.lower.tcr_tracking_ppm_per_k.unwrap_or(0.0));
    if tracking > both {
        findings.push(
            Finding::new(
                Severity::Warn,
                "divider.tracking-above-absolute",
                format!(
                    "The tracking limit of {} is larger than both absolute coefficients together, {}: it says nothing.",
                    say(tracking, Unit::PpmPerKelvin),
                    say(both, Unit::PpmPerKelvin)
                ),
            )
            .at("/upper/tcr_tracking_ppm_per_k")
            .against(tracking, both),
        );
    }
    if input.upper.voltage_coefficient_ppm_per_v == 0.0 {
        findings.push(
            Finding::new(
                Severity::Note,
                "divider.no-voltage-coefficient",
                "No voltage coefficient is given. High-ohm thick film has 1 to 30 ppm/V (from memory).",
            )
            .at("/upper/voltage_coefficient_ppm_per_v"),
        );
    }
    if input.upper.life_drift_percent == 0.0 {
        findings.push(
            Finding::new(
                Severity::Note,
                "divider.no-ageing",
                "No drift over life is given. High-ohm thick film moves by 0.2 to 1 % (from memory).",
            )
            .at("/upper/life_drift_percent"),
        );
    }
    if input.upper.correlation < 1.0 && input.upper.count > 1 {
        findings.push(
            Finding::new(
                Severity::Note,
                "divider.not-one-block",
                format!(
                    "With a correlation of {} the root-sum-square of the string is {} instead of {}; elements of one reel move nearly together.",
                    say(input.upper.correlation, Unit::One),
                    say(result.tolerance.upper_correlated_percent, Unit::Percent),
                    say(result.tolerance.upper_worst_percent, Unit::Percent)
                ),
            )
            .at("/upper/correlation"),
        );
    }
    findings
}
