//! What is required of a divider, and what an engineer must know about it.

use super::fault::DividerFault;
use super::input::{DividerInput, LeakagePath};
use super::output::DividerOutput;
use crate::judge::{Judged, Ledger, Limit, Words, passes};
use crate::quantity::{Unit, celsius, in_sentence, millimetre, ohm, ohm_per_volt, one, percent, ppm_per_kelvin, volt};
use crate::report::caution::TOUCH_SAFE_V;
use crate::report::{Finding, Severity};

/// The requirement of the creepage, one a path.
pub(super) const CREEPAGE: &str = "divider.creepage";

pub(super) fn requirements(input: &DividerInput, result: &DividerOutput, to: &mut Ledger) {
    stress(input, result, to);
    let (highest, full) = (input.input_max_v, result.ratio.full_from_v);
    let read = Judged::at_most("divider.range", "/converter_full_scale_v", Unit::Volt, highest, full);
    // A wet surface in parallel lets the input reach further.
    let wet = input.leakage_ohm.is_none().then_some("/leakage_ohm");
    to.require(read.without(wet), |_| {
        let failure = format!(
            "The first divider inside its limits fills the converter at {}; the highest input is {}.",
            volt(full),
            volt(highest)
        );
        let note = format!("{} at the converter", volt(result.ratio.output_v));
        Words::new("Highest input inside the range", note, failure)
    });
    surface(input, result, to);
    let (left, wanted) = (&result.insulation, input.insulation_requirement_ohm_per_v);
    if left.counts {
        let (id, pointer) = ("divider.insulation", "/insulation_requirement_ohm_per_v");
        let given = Judged::at_least(id, pointer, Unit::Ohm, left.least_ohm, wanted * highest);
        // What the strings alone fail no pack mends; what they keep says nothing without it.
        let one = if input.pack_insulation_ohm.is_some() || given.fails() {
            given
        } else {
            let missing = Limit::Missing("/pack_insulation_ohm");
            Judged::at_least(id, pointer, Unit::Ohm, left.least_ohm, missing)
        };
        to.require(one, |_| {
            let (least, per_volt, wanted) =
                (ohm(left.least_ohm), ohm_per_volt(left.least_ohm / highest), ohm_per_volt(wanted));
            let failure =
                format!("With the strings {least} of insulation are left, {per_volt}; {wanted} are required.");
            let note = format!("{per_volt} with everything in parallel, strings at their lowest; {wanted} required");
            Words::new("Insulation that is left", note, failure)
        });
    }
    let nothing = result.stress.count.needed.is_none();
    to.require(Judged::never("divider.nothing-allowed", "/ambient_degc", nothing), |_| {
        let (ambient, limit) = (celsius(input.ambient_degc), volt(result.stress.limit_v));
        let failure = format!("At {ambient} an upper element may carry {limit}: no number of elements keeps the rule.");
        Words::new("Some number of upper elements keeps the rule", format!("ambient {ambient}"), failure)
    });
    second_element(input.upper.count, highest, to);
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
    percent(whole).to_string()
}

/// A string of one element: its short leaves nothing in between. Good to know where it is not dangerous.
pub fn single_element(voltage_v: f64) -> Finding {
    let message = format!(
        "One upper element only: its short puts {} on the input of what follows, with nothing in between.",
        volt(voltage_v)
    );
    Finding::new(Severity::Note, "divider.single-element", message).at("/upper/count")
}

/// Requires a second upper element above [`TOUCH_SAFE_V`]; below it one alone is noted.
pub fn second_element(count: u32, voltage_v: f64, to: &mut Ledger) {
    let (alone, dangerous) = (count == 1, voltage_v > TOUCH_SAFE_V);
    to.require(Judged::never("divider.single-element", "/upper/count", alone && dangerous), |_| {
        let note = "above the voltage that is safe to touch, a short of one element must leave another";
        Words::new("More than one upper element", note, single_element(voltage_v).message)
    });
    if alone && !dangerous {
        to.remark(|| single_element(voltage_v));
    }
}

fn stress(input: &DividerInput, result: &DividerOutput, to: &mut Ledger) {
    for rung in &result.stress.ladder {
        let (id, pointer, rule_percent) = match rung.id {
            "normal" => ("divider.stress-normal", "/stress_limit_percent", input.stress_limit_percent),
            "unequal" => ("divider.stress-unequal", "/upper/max_working_v", 100.0),
            "one-short" => ("divider.stress-one-short", "/upper/max_working_v", 100.0),
            "surge" => ("divider.stress-surge", "/upper/max_working_v", 100.0),
            _ => ("divider.stress-lower", "/lower/max_working_v", 100.0),
        };
        let limit = rung.limit_v * (rule_percent / 100.0);
        to.require(Judged::at_most(id, pointer, Unit::Volt, rung.element_v, limit), |_| {
            let (element, ambient) = (volt(rung.element_v), celsius(input.ambient_degc));
            let failure = if passes(rung.element_v, rung.limit_v) {
                format!("{}: {element} on one element, {} allowed at {ambient}.", rung.label, volt(rung.limit_v))
            } else {
                format!(
                    "{element} on each element is {} of what it may carry; the derating limit is {}.",
                    whole_percent(rung.stress_percent),
                    percent(rule_percent)
                )
            };
            let note = format!("{} across the divider, ambient {ambient}", volt(rung.input_v));
            Words::new(rung.label, note, failure)
        });
    }
}

fn surface(input: &DividerInput, result: &DividerOutput, to: &mut Ledger) {
    let budget = input.leakage_budget_percent;
    let reads = result.leakage.counted_percent;
    let limit = reads.map_or(Limit::Missing("/leakage_ohm"), |_| Limit::Given(budget));
    to.require(Judged::at_most("divider.leakage", "/leakage_budget_percent", Unit::Percent, reads, limit), |_| {
        let (path, least) = match input.leakage_path {
            LeakagePath::Whole => ("End to end", result.leakage.smallest_ohm),
            LeakagePath::Element => ("Over one element", result.leakage.smallest_element_ohm),
        };
        let least = least
            .map_or_else(String::new, |least| format!(" {path} at least {} keep {}.", ohm(least), percent(budget)));
        let failure = format!(
            "Surface leakage reads {} too high and comes and goes with humidity: no calibration removes it.{least}",
            percent(reads.unwrap_or_default())
        );
        Words::new("Error of surface leakage", in_sentence(input.leakage_path.label()), failure)
    });
    for (row, path) in result.creepage.iter().enumerate() {
        let (pointer, mm) = ("/layout/creepage_mm_per_v", Unit::Millimetre);
        to.require(Judged::at_least(CREEPAGE, pointer, mm, path.available_mm, path.required_mm).row(row), |_| {
            let (label, between) = (format!("Creepage {}", path.label), volt(path.voltage_v));
            let (there, required) = (millimetre(path.available_mm), millimetre(path.required_mm));
            let failure = format!("{label}: {there} for {between}, {required} required.");
            Words::new(label, format!("{between} between them"), failure)
        });
    }
}

pub(super) fn remarks(input: &DividerInput, result: &DividerOutput, to: &mut Ledger) {
    let (upper, lower) = (&input.upper, &input.lower);
    if let Some(needed) = result.stress.count.needed {
        to.warn("divider.too-few-elements", "/upper/count", needed > upper.count, || {
            format!(
                "{needed} elements keep the derating limit and the limit after one short; there are {}.",
                upper.count
            )
        });
    }
    for row in &result.faults {
        fault(input, result, row, to);
    }
    to.warn("divider.open-reads-discharged", "/input_min_v", input.input_min_v == 0.0, || {
        "With 0 V inside the range an open upper element reads like a discharged link: only the comparison tells it from a safe one.".into()
    });
    let full = result.ratio.full_from_v;
    let clips = |transient: &f64| !passes(input.input_max_v, full) && passes(*transient, full);
    if let Some(transient) = input.transient_v.filter(clips) {
        to.remark(|| {
            let message =
                format!("The transient of {} clips: the converter is full at {}.", volt(transient), volt(full));
            Finding::new(Severity::Note, "divider.transient-clips", message).at("/transient_v").against(transient, full)
        });
    }
    let k = result.ratio.ratio;
    to.warn("divider.unusual-ratio", "/lower/resistance_ohm", k > 0.5, || {
        format!("The ratio is {}: most of the voltage lies on the lower part. Are the strings exchanged?", one(k))
    });
    let unknown = result.insulation.counts && input.pack_insulation_ohm.is_none();
    to.note("divider.pack-insulation-unknown", "/pack_insulation_ohm", unknown, || {
        "The insulation of the pack itself is not given: the value is that of the strings alone.".into()
    });
    to.note("divider.leakage-unknown", "/leakage_ohm", input.leakage_ohm.is_none(), || {
        "No surface leakage is given: it is left out of the error and across an open element. In salt or condensation it is not infinite.".into()
    });
    let longer = upper.pad_gap_mm > upper.case_creepage_mm;
    to.warn("divider.gap-longer-than-body", "/upper/pad_gap_mm", longer, || {
        "The gap between the pads is longer than the body above it: one of the two is off. The shorter one counts."
            .into()
    });
    let both = upper.tcr_ppm_per_k + lower.tcr_ppm_per_k;
    let tracking = upper.tcr_tracking_ppm_per_k.max(lower.tcr_tracking_ppm_per_k.unwrap_or(0.0));
    if tracking > both {
        to.remark(|| {
            let message = format!(
                "The tracking limit of {} is larger than both absolute coefficients together, {}: it says nothing.",
                ppm_per_kelvin(tracking),
                ppm_per_kelvin(both)
            );
            Finding::new(Severity::Warn, "divider.tracking-above-absolute", message)
                .at("/upper/tcr_tracking_ppm_per_k")
                .against(tracking, both)
        });
    }
    let at = "/upper/voltage_coefficient_ppm_per_v";
    to.note("divider.no-voltage-coefficient", at, upper.voltage_coefficient_ppm_per_v == 0.0, || {
        "No voltage coefficient is given. High-ohm thick film has 1 to 30 ppm/V (from memory).".into()
    });
    to.note("divider.no-ageing", "/upper/life_drift_percent", upper.life_drift_percent == 0.0, || {
        "No drift over life is given. High-ohm thick film moves by 0.2 to 1 % (from memory).".into()
    });
    to.note("divider.not-one-block", "/upper/correlation", upper.correlation < 1.0 && upper.count > 1, || {
        format!(
            "With a correlation of {} the root-sum-square of the string is {} instead of {}; elements of one reel move nearly together.",
            one(upper.correlation),
            percent(result.tolerance.upper_correlated_percent),
            percent(result.tolerance.upper_worst_percent)
        )
    });
}

fn fault(input: &DividerInput, result: &DividerOutput, row: &DividerFault, to: &mut Ledger) {
    let Some((from, missed_to)) = row.missed_from_v.zip(row.missed_to_v) else { return };
    to.remark(|| {
        let (severity, comparison) = if row.seen_by_comparison {
            (Severity::Note, "the comparison with the sum of the cells sees it.")
        } else {
            (Severity::Warn, "nor does the comparison with the sum of the cells see it everywhere.")
        };
        let (max, full) = (volt(input.input_max_v), result.ratio.over_range_v);
        let reads = if row.reading_v > full {
            format!("over range, above {}", volt(full))
        } else {
            volt(row.reading_v).to_string()
        };
        let message = format!(
            "{}: {max} reads {reads}; from {} to {} the range check misses it, {comparison}",
            row.label,
            volt(from),
            volt(missed_to)
        );
        Finding::new(severity, "divider.fault-inside-range", message).at("/comparison_error_percent")
    });
}
