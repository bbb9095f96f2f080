//! The divider's working: every headline as a step that a pocket calculator can redo.

use super::input::{DividerInput, DriftBy, LeakagePath};
use super::output::DividerOutput;
use crate::constant::ZERO_CELSIUS_K;
use crate::quantity::{
    Quantity, ampere, ampere_hour, farad, hertz, in_sentence, kelvin, ohm, one, percent, ppm_per_kelvin, ppm_per_volt,
    second, volt, volt_per_second, watt,
};
use crate::report::Step;

const OHM: &str = "Ohm's law";

pub(super) fn working(input: &DividerInput, result: &DividerOutput) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut step = |label: &str, symbol: &str, formula: &str, numbers: String, value: Quantity, source: &str| {
        steps.push(Step::new(label, symbol, formula, numbers, value, source));
    };
    let (net, n, nl) = (input.network(), input.upper.count, input.lower.count);
    let (v, ru, rl) = (volt(input.input_max_v), ohm(net.upper_ohm), ohm(net.lower_loaded_ohm()));
    let (k, re) = (one(result.ratio.ratio), ohm(input.upper.resistance_ohm));
    step("Ratio with the load", "k", "Rp / (Ru + Rp), Rp = Rl ∥ Rin", format!("{rl} / ({ru} + {rl})"), k, OHM);
    step("Output", "Vout", "k V", format!("{k} · {v}"), volt(result.ratio.output_v), OHM);
    let numbers = format!("{} / {k}", volt(input.converter_full_scale_v));
    step("Converter full at", "V_or", "Vfs / k", numbers, volt(result.ratio.over_range_v), OHM);
    let (formula, stress) = ("√(P_d Re), P_d = Pr clamp((T0 − Ta)/(T0 − T1), 0, 1)", &result.stress);
    let (numbers, limited) = (format!("√({} · {re})", watt(stress.derated_power_w)), volt(stress.power_limited_v));
    let derating = "linear derating in the style of IEC 60115-1 (shape from memory)";
    step("Power-limited voltage of an element", "V_P", formula, numbers, limited, derating);
    let (tu, tl) = (percent(input.upper.tolerance_percent), percent(input.lower.tolerance_percent));
    for rung in &stress.ladder {
        let (formula, numbers) = match rung.id {
            "normal" => ("V (1 − k)/n", format!("{v} · (1 − {k}) / {n}")),
            "unequal" => {
                ("V (1 − k) (1 + t)/((1 + t) + (n − 1)(1 − t))", format!("{v} · (1 − {k}) with t = {tu}, n = {n}"))
            }
            "one-short" => ("V (1 − k')/(n − 1)", format!("{v} / {} less the lower part", n.saturating_sub(1))),
            "surge" => (
                "Vt (1 − k) (1 + t)/((1 + t) + (n − 1)(1 − t))",
                format!("{} · (1 − {k}), unequal shares, n = {n}", volt(rung.input_v)),
            ),
            _ => ("V k/nl", format!("{v} · {k} / {nl}")),
        };
        let label = format!("Element voltage: {}", in_sentence(rung.label));
        step(&label, "V_i", formula, numbers, volt(rung.element_v), OHM);
    }
    let t = &result.tolerance;
    let (cu, cl) = (format!("{:.7}", -t.sensitivity_upper), format!("{:.7}", t.sensitivity_lower));
    let (label, formula) =
        ("Ratio error, worst case to first order", "(1 − k)(tu + tl), the part of tl less by the load");
    let numbers = format!("{cu} · {tu} + {cl} · {tl}");
    step(label, "dk/k", formula, numbers, percent(t.worst_case_percent), "derivative of the ratio");
    let label = "Ratio error, root-sum-square, independent elements";
    let formula = "√((cu tu)²/n + (cl tl)²/nl), cu = 1 − k, cl less by the load";
    let numbers = format!("√(({cu} · {tu})²/{n} + ({cl} · {tl})²/{nl})");
    step(label, "e_rss", formula, numbers, percent(t.independent_percent), "common practice, no source");
    let (label, formula) = ("Upper string, root-sum-square of one reel", "tu √((1 + (n − 1) r)/n)");
    let numbers = format!("{tu} · √((1 + {} · {})/{n})", n.saturating_sub(1), one(input.upper.correlation));
    step(label, "t_r", formula, numbers, percent(t.upper_correlated_percent), "JCGM 100:2008 clause 5.2.2");
    let (upper, lower, distance) = (&input.upper, &input.lower, kelvin(result.drift.distance_k));
    let (formula, numbers) = match upper.drift_by {
        DriftBy::Tracking => {
            let tracking = upper.tcr_tracking_ppm_per_k.max(lower.tcr_tracking_ppm_per_k.unwrap_or(0.0));
            ("cu s |Ta − Tcal|, cu = 1 − k", format!("{cu} · {} · {distance}", ppm_per_kelvin(tracking)))
        }
        DriftBy::Absolute => {
            let (au, al) = (ppm_per_kelvin(upper.tcr_ppm_per_k), ppm_per_kelvin(lower.tcr_ppm_per_k));
            ("(cu au + cl al) |Ta − Tcal|", format!("({cu} · {au} + {cl} · {al}) · {distance}"))
        }
    };
    let (drift, source) = (percent(result.drift.counted_percent), "definition of the coefficients");
    step("Drift with temperature", "e_T", formula, numbers, drift, source);
    let bend = &result.bend;
    let (label, formula) =
        ("Voltage coefficient at the highest input", "q V², q = −(1 − k)² vu/n for an ideal lower part");
    let numbers = format!("{} · ({v})²", ppm_per_volt(bend.coefficient_ppm_per_v));
    step(label, "e_V", formula, numbers, volt(bend.at_max_v), "definition of the coefficient; closed form");
    let (q, low, high) = (bend.coefficient_ppm_per_v.abs(), bend.calibration_low_v, bend.calibration_high_v);
    let numbers = format!("{} · ({} − {})²/4", ppm_per_volt(q), volt(high), volt(low));
    let (label, source) =
        ("Bend left between the calibration voltages", "closed form: q (V − V1)(V − V2) at its vertex");
    step(label, "e_q", "|q| (V2 − V1)²/4", numbers, volt(bend.left_between_v), source);
    let numbers = format!("{} · {ru}", ampere(input.bias_current_a));
    step("Bias current at the pack", "V_b", "Ib Ru", numbers, volt(result.load.bias_v), OHM);
    let rs = ohm(result.dynamics.source_ohm);
    step("Source resistance", "Rs", "Ru Rl/(Ru + Rl)", format!("{ru} ∥ {}", ohm(net.lower_ohm)), rs, OHM);
    if let Some(load) = input.load_ohm {
        let numbers = format!("−{rs} / ({rs} + {})", ohm(load));
        step("Loading", "e_L", "−Rs/(Rs + Rin)", numbers, percent(result.load.loading_percent), OHM);
    }
    if let Some((leak, reads)) = input.leakage_ohm.map(ohm).zip(result.leakage.counted_percent) {
        let (x, part) = match input.leakage_path {
            LeakagePath::Whole => ("Ru/(Ru + Rlk)", format!("{ru}/({ru} + {leak})")),
            LeakagePath::Element => ("Re/(Re + Rlk)/n", format!("{re}/({re} + {leak})/{n}")),
        };
        let formula = format!("cu x/(1 − cu x), cu = 1 − k, x = {x}");
        let numbers = format!("{cu} x/(1 − {cu} x), x = {part}");
        step("Surface leakage", "e_lk", &formula, numbers, percent(reads), OHM);
    }
    if let Some(least) = result.leakage.smallest_ohm {
        let budget = percent(input.leakage_budget_percent);
        let (label, formula) = ("Smallest leakage resistance over the string", "Ru (1 − x)/x, x = e/((1 − k)(1 + e))");
        let numbers = format!("{ru} · (1 − x)/x, x = {budget}/({cu} · (1 + {budget}))");
        step(label, "R_min", formula, numbers, ohm(least), "the same, solved for the resistance");
    }
    let dynamics = &result.dynamics;
    if let (Some(c), Some(corner), Some(tau), Some(settling), Some(lag), Some(noise)) = (
        input.filter_farad.map(farad),
        dynamics.corner_hz.map(hertz),
        dynamics.time_constant_s.map(second),
        dynamics.settling_1000_s.map(second),
        dynamics.ramp_lag_v.map(volt),
        dynamics.noise_v.map(volt),
    ) {
        let rs = ohm(dynamics.source_loaded_ohm);
        let (formula, numbers) = ("1/(2π Rs C), Rs with the load", format!("1/(2π · {rs} · {c})"));
        step("Filter corner", "f_c", formula, numbers, corner, "first-order low-pass");
        step("Settling to 0.1 %", "t_s", "Rs C ln 1000", format!("{tau} · 6.908"), settling, "closed form");
        let numbers = format!("{} · {tau}", volt_per_second(input.ramp_v_per_s));
        step("Lag on a ramp", "V_lag", "dV/dt · Rs C", numbers, lag, "closed form, steady ramp");
        let degree = kelvin(input.ambient_degc + ZERO_CELSIUS_K);
        let numbers = format!("√(4 · 1.380649e-23 J/K · {degree} · {rs} · (π/2) · {corner}) / {k}");
        let formula = "√(4 k_B T Rs (π/2) f_c) / k";
        step("Thermal noise at the pack", "u_n", formula, numbers, noise, "Johnson and Nyquist 1928");
    }
    let drain = ampere(result.drain.current_a);
    step("Drain of one string", "I", "V/(Ru + Rp)", format!("{v} / ({ru} + {rl})"), drain, OHM);
    let (numbers, charge) = (format!("{drain} · 8760 h · {}", input.strings), result.drain.charge_ah_per_year);
    let source = "charge = current × time";
    step("Charge a year", "Q_a", "I · 8760 h · strings", numbers, ampere_hour(charge), source);
    if let Some(short) = result.faults.iter().find(|row| row.id == "upper-short") {
        let (formula, numbers) = ("V · (Ru + Rp)/((n − 1)/n Ru + Rp)", format!("{v} · {}", one(short.factor)));
        let source = "Kirchhoff's laws, bias current included";
        step("Reading after one upper short", "V_r", formula, numbers, volt(short.reading_v), source);
    }
    steps
}
