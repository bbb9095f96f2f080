//! What is required of a voltage channel, and what is noted.

use super::Solved;
use super::input::VoltageInput;
use super::model::Channel;
use crate::calc::voltage::divider::stress::StressRung;
use crate::calc::voltage::divider::{single_element, whole_percent};
use crate::channel::required;
use crate::judge::{Judged, Ledger, Words, passes};
use crate::physics::front_end::CalibrationKind;
use crate::quantity::{Unit, celsius, in_sentence, ppm_per_kelvin, volt};
use crate::report::caution::TOUCH_SAFE_V;
use crate::report::{Finding, Severity};

pub(super) fn requirements(input: &VoltageInput, solved: &Solved, to: &mut Ledger) {
    let alone = input.upper.count == 1;
    let dangerous = input.input_max_v > TOUCH_SAFE_V;
    if alone && !dangerous {
        to.remark(|| single_element(input.input_max_v));
    }
    required::require(&Channel::new(input), solved.worst.as_ref(), solved.not_read, solved.points, to);
    for rung in &solved.stress {
        stress(input, rung, to);
    }
    to.require(Judged::never("divider.single-element", "/upper/count", alone && dangerous), |_| {
        let note = "above the voltage that is safe to touch, a short of one element must leave another";
        Words::new("More than one upper element", note, single_element(input.input_max_v).message)
    });
    range(input, solved, to);
    notes(input, solved, to);
}

fn stress(input: &VoltageInput, rung: &StressRung, to: &mut Ledger) {
    let (id, field) = match rung.id {
        "normal" => ("voltage-channel.stress-normal", "/stress_limit_percent"),
        "unequal" => ("voltage-channel.stress-unequal", "/upper/max_working_v"),
        "one-short" => ("voltage-channel.stress-one-short", "/upper/max_working_v"),
        _ => ("voltage-channel.stress-lower", "/lower/max_working_v"),
    };
    let rule = if rung.id == "normal" { input.stress_limit_percent / 100.0 } else { 1.0 };
    let limit = rung.limit_v * rule;
    to.require(Judged::at_most(id, field, Unit::Volt, rung.element_v, limit), |_| {
        let ambient = celsius(input.conditions.ambient_max_degc);
        Words::new(
            format!("Element stress: {}", in_sentence(rung.label)),
            format!("{}, ambient {ambient}", volt(rung.input_v)),
            format!("{}: {} on one element, {} allowed at {ambient}.", rung.label, volt(rung.element_v), volt(limit)),
        )
    });
}

fn range(input: &VoltageInput, solved: &Solved, to: &mut Ledger) {
    let (highest, range) = (input.input_max_v, &solved.range);
    let beyond = range.full_at_v.is_some_and(|full| passes(highest, full));
    let read = Judged::never("voltage-channel.range", "/converter/full_scale_v", beyond);
    let bent = input.parts().converter.range_missing(highest, range.full_at_v);
    let missing: Vec<&str> = input.wet_missing().into_iter().chain(bent).collect();
    to.require(read.without(missing.first().copied()), |_| {
        let (first, full) = (range.clips_first, volt(range.full_at_v.unwrap_or(0.0)));
        let nominal = volt(range.over_range_v.unwrap_or(0.0));
        Words::new(
            "Highest input inside the range",
            format!("{} used; full first: {first}", whole_percent(range.used_percent.unwrap_or(f64::INFINITY))),
            format!(
                "The highest input of {} is beyond {full}, where {first} of the first part ends ({nominal} without any deviation).",
                volt(highest)
            ),
        )
        .lacking(missing)
        .reaching(highest, range.full_at_v, Unit::Volt)
    });
}

fn notes(input: &VoltageInput, solved: &Solved, to: &mut Ledger) {
    let unknown = input.surface.leakage_ohm.is_none();
    to.note("divider.leakage-unknown", "/surface/leakage_ohm", unknown, || {
        "No surface leakage is given: it is left out of the error. In salt or condensation it is not infinite.".into()
    });
    to.note("voltage-channel.leakage-stays", "/surface/leakage_ohm", !unknown, || {
        "Surface leakage reads high only, and comes and goes with humidity: no calibration removes it.".into()
    });
    let codes = ["voltage-channel.no-linearity", "voltage-channel.no-noise"];
    input.parts().converter.left_out(codes, input.noise_counts(), to);
    let (with, bend) = (&input.calibration, &solved.bend);
    let left = bend.between_v.max(bend.after_v.abs());
    let more = left > with.gain_residual_percent / 100.0 * input.input_max_v && left > 0.0;
    let bent = with.kind == CalibrationKind::TwoPoint && more;
    to.warn("voltage-channel.bend-left", "/calibration/high_v", bent, || {
        format!(
            "The voltage coefficient leaves {} between and {} beyond the calibration voltages, more than the calibrator itself.",
            volt(bend.between_v),
            volt(bend.after_v)
        )
    });
    let tracking = input.upper.tcr_tracking_ppm_per_k;
    let both = input.upper.tcr_ppm_per_k + input.lower.tcr_ppm_per_k;
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
}
