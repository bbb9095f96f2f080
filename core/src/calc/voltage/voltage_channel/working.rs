//! The voltage channel's working.

use super::input::VoltageInput;
use super::output::VoltageOutput;
use super::solve::{BEFORE, JUDGED, state};
use crate::channel::budget::{Output, size};
use crate::physics::front_end::CalibrationKind;
use crate::propagation::Assessment;
use crate::quantity::{Quantity, Unit, say};
use crate::report::Step;

pub(super) fn working(input: &VoltageInput, result: &VoltageOutput) -> Vec<Step> {
    let q = Quantity::new;
    let net = input.network();
    let max = say(input.input_max_v, Unit::Volt);
    let bend = &result.bend;
    let calibration = &input.calibration;
    let mut steps = vec![
        Step::new(
            "Constant of the firmware",
            "1/k0",
            "(Ru + Rp)/Rp",
            format!(
                "({} + {1}) / {1}, {2}",
                say(net.upper_ohm, Unit::Ohm),
                say(
                    if input.following.factor_includes_load { net.lower_loaded_ohm() } else { net.lower_ohm },
                    Unit::Ohm
                ),
                if input.following.factor_includes_load { "with the load" } else { "without the load" }
            ),
            q(result.range.factor, Unit::One),
            "Ohm's law",
        ),
        Step::new(
            "Range full at",
            "V_or",
            "min(Vfs/G, Vo+/G, Vi+) / k",
            format!(
                "min({0}/{3}, {1}/{3}, {2}) / {4}",
                say(input.converter.full_scale_v, Unit::Volt),
                say(input.amplifier.output_max_v, Unit::Volt),
                say(input.amplifier.input_max_v, Unit::Volt),
                say(input.amplifier.gain, Unit::One),
                say(net.ratio(), Unit::One)
            ),
            q(result.range.over_range_v, Unit::Volt),
            "Ohm's law",
        ),
        Step::new(
            "Voltage coefficient without calibration",
            "e_V",
            "q V²",
            format!("{} · ({max})²", say(bend.coefficient_ppm_per_v, Unit::PpmPerVolt)),
            q(bend.before_v, Unit::Volt),
            "definition of the coefficient; closed form",
        ),
    ];
    if calibration.kind == CalibrationKind::TwoPoint {
        steps.push(Step::new(
            "Voltage coefficient after two-point calibration",
            "e_V2",
            "q (V − V1)(V − V2)",
            format!(
                "{0} · ({max} − {1}) · ({max} − {2})",
                say(bend.coefficient_ppm_per_v, Unit::PpmPerVolt),
                say(calibration.low_v, Unit::Volt),
                say(calibration.high_v, Unit::Volt)
            ),
            q(bend.after_v, Unit::Volt),
            "the parabola less the straight line through its two points",
        ));
    }
    for point in &result.points {
        let at = say(point.voltage_v, Unit::Volt);
        let before = Some(&point.before).filter(|_| calibration.kind != CalibrationKind::None);
        for (life, done) in before.map(|done| (BEFORE, done)).into_iter().chain([(JUDGED, &point.assessment)]) {
            let label = format!("Sum of limits at {at}, {}", state(input, life));
            steps.extend(done.as_ref().map(|done| sum(&label, done)));
        }
        if let Some(allowed) = point.allowed_v {
            let with = &input.requirement;
            let voltage = q(point.voltage_v, Unit::Volt);
            steps.push(with.form.step(with.gain_percent, with.offset_v, voltage, input.input_max_v, allowed));
        }
    }
    steps
}

fn sum(label: &str, done: &Assessment) -> Step {
    let terms: Vec<String> = done
        .contributions
        .iter()
        .map(|term| size(term, Output::Error))
        .filter(|amount| *amount > 0.0)
        .map(|amount| say(amount, Unit::Volt))
        .collect();
    Step::new(
        label,
        "E",
        "Σ |c_i| a_i",
        if terms.is_empty() { "0".into() } else { terms.join(" + ") },
        Quantity::new(done.worst_case.sum_of_limits, Unit::Volt),
        "first order; sensitivities by differentiation of the model (JCGM 100:2008 clause 5.1)",
    )
}
