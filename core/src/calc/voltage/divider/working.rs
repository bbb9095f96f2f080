//! The divider's working: every headline as a step that a pocket calculator can redo.

use super::input::{DividerInput, DriftBy, LeakagePath};
use super::output::DividerOutput;
use crate::constant::ZERO_CELSIUS_K;
use crate::quantity::{Quantity, Unit, in_sentence, say};
use crate::report::Step;

const OHM: &str = "Ohm's law";

pub(super) fn working(input: &DividerInput, result: &DividerOutput) -> Vec<Step> {
    let q = Quantity::new;
    let net = input.network();
    let (v, ru, rl) =
        (say(input.input_max_v, Unit::Volt), say(net.upper_ohm, Unit::Ohm), say(net.lower_loaded_ohm(), Unit::Ohm));
    let k = say(result.ratio.ratio, Unit::One);
    let n = input.upper.count;
    let cu = format!("{:.7}", -result.tolerance.sensitivity_upper);
    let mut steps = vec![
        Step::new(
            "Ratio with the load",
            "k",
            "Rp / (Ru + Rp), Rp = Rl ∥ Rin",
            format!("{rl} / ({ru} + {rl})"),
            q(result.ratio.ratio, Unit::One),
            OHM,
        ),
        Step::new("Output", "Vout", "k V", format!("{k} · {v}"), q(result.ratio.output_v, Unit::Volt), OHM),
        Step::new(
            "Converter full at",
            "V_or",
            "Vfs / k",
            format!("{} / {k}", say(input.converter_full_scale_v, Unit::Volt)),
            q(result.ratio.over_range_v, Unit::Volt),
            OHM,
        ),
        Step::new(
            "Power-limited voltage of an element",
            "V_P",
            "√(P_d Re), P_d = Pr clamp((T0 − Ta)/(T0 − T1), 0, 1)",
            format!(
                "√({} · {})",
                say(result.stress.derated_power_w, Unit::Watt),
                say(input.upper.resistance_ohm, Unit::Ohm)
            ),
            q(result.stress.power_limited_v, Unit::Volt),
            "linear derating in the style of IEC 60115-1 (shape from memory)",
        ),
    ];
    for rung in &result.stress.ladder {
        let (formula, numbers) = match rung.id.as_str() {
            "normal" => ("V (1 − k)/n", format!("{v} · (1 − {k}) / {n}")),
            "unequal" => (
                "V (1 − k) (1 + t)/((1 + t) + (n − 1)(1 − t))",
                format!("{v} · (1 − {k}) with t = {}, n = {n}", say(input.upper.tolerance_percent, Unit::Percent)),
            ),
            "one-short" => ("V (1 − k')/(n − 1)", format!("{v} / {} less the lower part", n.saturating_sub(1))),
            "surge" => (
                "Vt (1 − k) (1 + t)/((1 + t) + (n − 1)(1 − t))",
                format!("{} · (1 − {k}), unequal shares, n = {n}", say(rung.input_v, Unit::Volt)),
            ),
            _ => ("V k/nl", format!("{v} · {k} / {}", input.lower.count)),
        };
        steps.push(Step::new(
            &format!("Element voltage: {}", in_sentence(&rung.label)),
            "V_i",
            formula,
            numbers,
            q(rung.element_v, Unit::Volt),
            OHM,
        ));
    }
    let t = &result.tolerance;
    steps.extend([
        Step::new(
            "Ratio error, worst case to first order",
            "dk/k",
            "(1 − k)(tu + tl), the part of tl less by the load",
            format!(
                "{:.7} · {} + {:.7} · {}",
                -t.sensitivity_upper,
                say(input.upper.tolerance_percent, Unit::Percent),
                t.sensitivity_lower,
                say(input.lower.tolerance_percent, Unit::Percent)
            ),
            q(t.worst_case_percent, Unit::Percent),
            "derivative of the ratio",
        ),
        Step::new(
            "Ratio error, root-sum-square, independent elements",
            "e_rss",
            "√((cu tu)²/n + (cl tl)²/nl), cu = 1 − k, cl less by the load",
            format!(
                "√(({:.7} · {})²/{n} + ({:.7} · {})²/{})",
                -t.sensitivity_upper,
                say(input.upper.tolerance_percent, Unit::Percent),
                t.sensitivity_lower,
                say(input.lower.tolerance_percent, Unit::Percent),
                input.lower.count
            ),
            q(t.independent_percent, Unit::Percent),
            "common practice, no source",
        ),
        Step::new(
            "Upper string, root-sum-square of one reel",
            "t_r",
            "tu √((1 + (n − 1) r)/n)",
            format!(
                "{} · √((1 + {} · {})/{n})",
                say(input.upper.tolerance_percent, Unit::Percent),
                n.saturating_sub(1),
                say(input.upper.correlation, Unit::One)
            ),
            q(t.upper_correlated_percent, Unit::Percent),
            "JCGM 100:2008 clause 5.2.2",
        ),
        Step::new(
            "Drift with temperature",
            "e_T",
            match input.upper.drift_by {
                DriftBy::Tracking => "cu s |Ta − Tcal|, cu = 1 − k",
                DriftBy::Absolute => "(cu au + cl al) |Ta − Tcal|",
            },
            drift_numbers(input, result),
            q(result.drift.counted_percent, Unit::Percent),
            "definition of the coefficients",
        ),
        Step::new(
            "Voltage coefficient at the highest input",
            "e_V",
            "q V², q = −(1 − k)² vu/n for an ideal lower part",
            format!("{} · ({v})²", say(result.bend.coefficient_ppm_per_v, Unit::PpmPerVolt)),
            q(result.bend.at_max_v, Unit::Volt),
            "definition of the coefficient; closed form",
        ),
        Step::new(
            "Bend left between the calibration voltages",
            "e_q",
            "|q| (V2 − V1)²/4",
            format!(
                "{} · ({} − {})²/4",
                say(result.bend.coefficient_ppm_per_v.abs(), Unit::PpmPerVolt),
                say(result.bend.calibration_high_v, Unit::Volt),
                say(result.bend.calibration_low_v, Unit::Volt)
            ),
            q(result.bend.left_between_v, Unit::Volt),
            "closed form: q (V − V1)(V − V2) at its vertex",
        ),
        Step::new(
            "Bias current at the pack",
            "V_b",
            "Ib Ru",
            format!("{} · {ru}", say(input.bias_current_a, Unit::Ampere)),
            q(result.load.bias_v, Unit::Volt),
            OHM,
        ),
        Step::new(
            "Source resistance",
            "Rs",
            "Ru Rl/(Ru + Rl)",
            format!("{ru} ∥ {}", say(net.lower_ohm, Unit::Ohm)),
            q(result.dynamics.source_ohm, Unit::Ohm),
            OHM,
        ),
    ]);
    if let Some(load_ohm) = input.load_ohm {
        steps.push(Step::new(
            "Loading",
            "e_L",
            "−Rs/(Rs + Rin)",
            format!("−{0} / ({0} + {1})", say(result.dynamics.source_ohm, Unit::Ohm), say(load_ohm, Unit::Ohm)),
            q(result.load.loading_percent, Unit::Percent),
            OHM,
        ));
    }
    if let (Some(ohm), Some(percent)) = (input.leakage_ohm, result.leakage.counted_percent) {
        steps.push(Step::new(
            "Surface leakage",
            "e_lk",
            match input.leakage_path {
                LeakagePath::Whole => "cu x/(1 − cu x), cu = 1 − k, x = Ru/(Ru + Rlk)",
                LeakagePath::Element => "cu x/(1 − cu x), cu = 1 − k, x = Re/(Re + Rlk)/n",
            },
            match input.leakage_path {
                LeakagePath::Whole => format!("{cu} x/(1 − {cu} x), x = {ru}/({ru} + {})", say(ohm, Unit::Ohm)),
                LeakagePath::Element => format!(
                    "{cu} x/(1 − {cu} x), x = {0}/({0} + {1})/{n}",
                    say(input.upper.resistance_ohm, Unit::Ohm),
                    say(ohm, Unit::Ohm)
                ),
            },
            q(percent, Unit::Percent),
            OHM,
        ));
    }
    if let Some(ohm) = result.leakage.smallest_ohm {
        steps.push(Step::new(
            "Smallest leakage resistance over the string",
            "R_min",
            "Ru (1 − x)/x, x = e/((1 − k)(1 + e))",
            format!("{ru} · (1 − x)/x, x = {0}/({cu} · (1 + {0}))", say(input.leakage_budget_percent, Unit::Percent)),
            q(ohm, Unit::Ohm),
            "the same, solved for the resistance",
        ));
    }
    if let (Some(farad), Some(corner), Some(tau), Some(settling), Some(lag), Some(noise)) = (
        input.filter_farad,
        result.dynamics.corner_hz,
        result.dynamics.time_constant_s,
        result.dynamics.settling_1000_s,
        result.dynamics.ramp_lag_v,
        result.dynamics.noise_v,
    ) {
        let rs = say(result.dynamics.source_loaded_ohm, Unit::Ohm);
        let tau = say(tau, Unit::Second);
        steps.extend([
            Step::new(
                "Filter corner",
                "f_c",
                "1/(2π Rs C), Rs with the load",
                format!("1/(2π · {rs} · {})", say(farad, Unit::Farad)),
                q(corner, Unit::Hertz),
                "first-order low-pass",
            ),
            Step::new(
                "Settling to 0.1 %",
                "t_s",
                "Rs C ln 1000",
                format!("{tau} · 6.908"),
                q(settling, Unit::Second),
                "closed form",
            ),
            Step::new(
                "Lag on a ramp",
                "V_lag",
                "dV/dt · Rs C",
                format!("{} · {tau}", say(input.ramp_v_per_s, Unit::VoltPerSecond)),
                q(lag, Unit::Volt),
                "closed form, steady ramp",
            ),
            Step::new(
                "Thermal noise at the pack",
                "u_n",
                "√(4 k_B T Rs (π/2) f_c) / k",
                format!(
                    "√(4 · 1.380649e-23 J/K · {} · {rs} · (π/2) · {}) / {k}",
                    say(input.ambient_degc + ZERO_CELSIUS_K, Unit::Kelvin),
                    say(corner, Unit::Hertz)
                ),
                q(noise, Unit::Volt),
                "Johnson and Nyquist 1928",
            ),
        ]);
    }
    steps.extend([
        Step::new(
            "Drain of one string",
            "I",
            "V/(Ru + Rp)",
            format!("{v} / ({ru} + {rl})"),
            q(result.drain.current_a, Unit::Ampere),
            OHM,
        ),
        Step::new(
            "Charge a year",
            "Q_a",
            "I · 8760 h · strings",
            format!("{} · 8760 h · {}", say(result.drain.current_a, Unit::Ampere), input.strings),
            q(result.drain.charge_ah_per_year, Unit::AmpereHour),
            "charge = current × time",
        ),
    ]);
    if let Some(short) = result.faults.iter().find(|row| row.id == "upper-short") {
        steps.push(Step::new(
            "Reading after one upper short",
            "V_r",
            "V · (Ru + Rp)/((n − 1)/n Ru + Rp)",
            format!("{v} · {}", say(short.factor, Unit::One)),
            q(short.reading_v, Unit::Volt),
            "Kirchhoff's laws, bias current included",
        ));
    }
    steps
}

fn drift_numbers(input: &DividerInput, result: &DividerOutput) -> String {
    let (upper, lower) = (&input.upper, &input.lower);
    let t = &result.tolerance;
    let distance = say(result.drift.distance_k, Unit::Kelvin);
    match upper.drift_by {
        DriftBy::Tracking => format!(
            "{:.7} · {} · {distance}",
            -t.sensitivity_upper,
            say(upper.tcr_tracking_ppm_per_k.max(lower.tcr_tracking_ppm_per_k.unwrap_or(0.0)), Unit::PpmPerKelvin)
        ),
        DriftBy::Absolute => format!(
            "({:.7} · {} + {:.7} · {}) · {distance}",
            -t.sensitivity_upper,
            say(upper.tcr_ppm_per_k, Unit::PpmPerKelvin),
            t.sensitivity_lower,
            say(lower.tcr_ppm_per_k, Unit::PpmPerKelvin)
        ),
    }
}
