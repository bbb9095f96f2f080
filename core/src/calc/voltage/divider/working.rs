//! The divider's working: every headline as a step that a pocket calculator can redo.

use super::input::{DividerInput, DriftBy, LeakagePath};
use super::output::DividerOutput;
use super::solve::stressed;
use super::stress::StressRung;
use crate::constant::{BOLTZMANN, ZERO_CELSIUS_K};
use crate::quantity::{
    Quantity, ampere, ampere_hour, farad, hertz, hour, in_sentence, kelvin, ohm, one, percent, ppm_per_kelvin,
    ppm_per_volt, second, volt, volt_per_second, watt,
};
use crate::report::Step;
use crate::report::worked::{Term, n};

const OHM: &str = "Ohm's law";

pub(super) fn working(input: &DividerInput, result: &DividerOutput) -> Vec<Step> {
    let (net, strings) = (input.network(), input.strings);
    let (count, below) = (input.upper.count, input.lower.count);
    let (v, ru, rl) = (volt(input.input_max_v), ohm(net.upper_ohm), ohm(net.lower_loaded_ohm()));
    let (k, re) = (one(result.ratio.ratio), ohm(input.upper.resistance_ohm));
    let stress = &result.stress;
    let mut steps = vec![
        Step::worked("Ratio with the load", "k", "Rp / (Ru + Rp), Rp = Rl ∥ Rin", k, OHM, |p| {
            p.of(rl) / (p.of(ru) + p.of(rl))
        }),
        Step::worked("Output", "Vout", "k V", volt(result.ratio.output_v), OHM, |p| p.of(k) * p.of(v)),
        Step::worked("Converter full at", "V_or", "Vfs / k", volt(result.ratio.over_range_v), OHM, |p| {
            p.of(volt(input.converter_full_scale_v)) / p.of(k)
        }),
        Step::worked(
            "Power-limited voltage of an element",
            "V_P",
            "√(P_d Re), P_d = Pr clamp((T0 − Ta)/(T0 − T1), 0, 1)",
            volt(stress.power_limited_v),
            "linear derating in the style of IEC 60115-1 (shape from memory)",
            |p| (p.of(watt(stress.derated_power_w)) * p.of(re)).sqrt(),
        ),
    ];
    steps.extend(stress.ladder.iter().map(|rung| element(input, rung, k)));
    let (tu, tl) = (percent(input.upper.tolerance_percent), percent(input.lower.tolerance_percent));
    let t = &result.tolerance;
    let (cu, cl) = (one(-t.sensitivity_upper), one(t.sensitivity_lower));
    steps.extend([
        Step::worked(
            "Ratio error, worst case to first order",
            "dk/k",
            "(1 − k)(tu + tl), the part of tl less by the load",
            percent(t.worst_case_percent),
            "derivative of the ratio",
            |p| p.of(cu) * p.of(tu) + p.of(cl) * p.of(tl),
        ),
        Step::worked(
            "Ratio error, root-sum-square, independent elements",
            "e_rss",
            "√((cu tu)²/n + (cl tl)²/nl), cu = 1 − k, cl less by the load",
            percent(t.independent_percent),
            "common practice, no source",
            |p| {
                let upper = (p.of(cu) * p.of(tu)).squared() / n(count);
                (upper + (p.of(cl) * p.of(tl)).squared() / n(below)).sqrt()
            },
        ),
        Step::worked(
            "Upper string, root-sum-square of one reel",
            "t_r",
            "tu √((1 + (n − 1) r)/n)",
            percent(t.upper_correlated_percent),
            "JCGM 100:2008 clause 5.2.2",
            |p| {
                let hangs = n(count.saturating_sub(1)) * p.of(one(input.upper.correlation));
                p.of(tu) * ((n(1) + hangs) / n(count)).sqrt()
            },
        ),
    ]);
    let (upper, lower, distance) = (&input.upper, &input.lower, kelvin(result.drift.distance_k));
    let (label, drift, source) =
        ("Drift with temperature", percent(result.drift.counted_percent), "definition of the coefficients");
    steps.push(match upper.drift_by {
        DriftBy::Tracking => {
            let tracking = upper.tcr_tracking_ppm_per_k.max(lower.tcr_tracking_ppm_per_k.unwrap_or(0.0));
            Step::worked(label, "e_T", "cu s |Ta − Tcal|, cu = 1 − k", drift, source, |p| {
                p.of(cu) * p.of(ppm_per_kelvin(tracking)) * p.of(distance)
            })
        }
        DriftBy::Absolute => {
            let (au, al) = (ppm_per_kelvin(upper.tcr_ppm_per_k), ppm_per_kelvin(lower.tcr_ppm_per_k));
            Step::worked(label, "e_T", "(cu au + cl al) |Ta − Tcal|", drift, source, |p| {
                (p.of(cu) * p.of(au) + p.of(cl) * p.of(al)) * p.of(distance)
            })
        }
    });
    let bend = &result.bend;
    let (q, low, high) = (bend.coefficient_ppm_per_v, volt(bend.calibration_low_v), volt(bend.calibration_high_v));
    let rs = ohm(result.dynamics.source_ohm);
    steps.extend([
        Step::worked(
            "Voltage coefficient at the highest input",
            "e_V",
            "q V², q = −(1 − k)² vu/n for an ideal lower part",
            volt(bend.at_max_v),
            "definition of the coefficient; closed form",
            |p| p.of(ppm_per_volt(q)) * p.of(v).squared(),
        ),
        Step::worked(
            "Bend left between the calibration voltages",
            "e_q",
            "|q| (V2 − V1)²/4",
            volt(bend.left_between_v),
            "closed form: q (V − V1)(V − V2) at its vertex",
            |p| p.of(ppm_per_volt(q.abs())) * (p.of(high) - p.of(low)).squared() / n(4),
        ),
        Step::worked("Bias current at the pack", "V_b", "Ib Ru", volt(result.load.bias_v), OHM, |p| {
            p.of(ampere(input.bias_current_a)) * p.of(ru)
        }),
        Step::worked("Source resistance", "Rs", "Ru Rl/(Ru + Rl)", rs, OHM, |p| {
            p.of(ru).parallel(&p.of(ohm(net.lower_ohm)))
        }),
    ]);
    if let Some(load) = input.load_ohm.map(ohm) {
        steps.push(Step::worked(
            "Loading",
            "e_L",
            "−Rs/(Rs + Rin)",
            percent(result.load.loading_percent),
            OHM,
            |p| -(p.of(rs) / (p.of(rs) + p.of(load))),
        ));
    }
    steps.extend(leakage(input, result, cu));
    steps.extend(dynamics(input, result, k));
    let drain = ampere(result.drain.current_a);
    let charge = ampere_hour(result.drain.charge_ah_per_year);
    steps.extend([
        Step::worked("Drain of one string", "I", "V/(Ru + Rp)", drain, OHM, |p| p.of(v) / (p.of(ru) + p.of(rl))),
        Step::worked("Charge a year", "Q_a", "I · 8760 h · strings", charge, "charge = current × time", |p| {
            p.of(drain) * p.of(hour(8760.0)) * n(strings)
        }),
    ]);
    if let Some(short) = result.faults.iter().find(|row| row.id == "upper-short") {
        let formula = "V · (Ru + Rp)/((n − 1)/n Ru + Rp)";
        let (reading, source) = (volt(short.reading_v), "Kirchhoff's laws, bias current included");
        steps.push(Step::worked("Reading after one upper short", "V_r", formula, reading, source, |p| {
            p.of(v) * p.of(one(short.factor))
        }));
    }
    steps
}

/// The voltage of the element with most of it in a case of stress.
fn element(input: &DividerInput, rung: &StressRung, k: Quantity) -> Step {
    let [upper, lower] = stressed(input);
    let (v, value, label) =
        (volt(rung.input_v), volt(rung.element_v), format!("Element voltage: {}", in_sentence(rung.label)));
    if rung.id == "normal" {
        return Step::worked(&label, "V_i", "V (1 − k)/n", value, OHM, |p| {
            p.of(v) * (n(1) - p.of(k)) / n(upper.count)
        });
    }
    let (string, left, formula) = match rung.id {
        "lower" => (&lower, lower.count, "V k' (1 + t)/((1 + t) + (nl − 1)(1 − t)), k' the ratio at its highest"),
        "one-short" => {
            let formula =
                "V (1 − k') (1 + t)/((1 + t) + (n − 2)(1 − t)), k' the ratio at its lowest with n − 1 elements";
            (&upper, upper.count - 1, formula)
        }
        _ => (&upper, upper.count, "V (1 − k') (1 + t)/((1 + t) + (n − 1)(1 − t)), k' the ratio at its lowest"),
    };
    let (part, t) =
        (rung.element_v / rung.input_v / string.unequal_share(f64::from(left)), percent(100.0 * string.tolerance));
    let part = if part.is_finite() { part } else { 0.0 };
    let leaks = string.leaks(f64::from(left) - 1.0);
    let formula = if leaks > 0.0 {
        let rest = formula.replace(" − 1)(1 − t)", " − 1 − x)(1 − t)").replace(" − 2)(1 − t)", " − 2 − x)(1 − t)");
        format!("{rest}, x what a leakage over one of the rest takes of it")
    } else {
        formula.into()
    };
    Step::worked(&label, "V_i", &formula, value, OHM, |p| {
        let on = if rung.id == "lower" { p.of(one(part)) } else { n(1) - p.of(one(1.0 - part)) };
        let high = || n(1) + p.of(t);
        let rest = if leaks > 0.0 { n(left - 1) - p.of(one(leaks)) } else { n(left - 1) };
        let share = if left == 1 { n(1) } else { high() / (high() + rest * (n(1) - p.of(t))) };
        p.of(v) * on * share
    })
}

/// What a leakage does, and which one may be.
fn leakage(input: &DividerInput, result: &DividerOutput, cu: Quantity) -> Vec<Step> {
    let (ru, re) = (ohm(input.network().upper_ohm), ohm(input.upper.resistance_ohm));
    let mut steps = Vec::new();
    if let Some((leak, reads)) = input.leakage_ohm.map(ohm).zip(result.leakage.counted_percent.map(percent)) {
        let whole = input.leakage_path == LeakagePath::Whole;
        let x = if whole { "Ru/(Ru + Rlk)" } else { "Re/(Re + Rlk)/n" };
        let formula = format!("cu x/(1 − cu x), cu = 1 − k, x = {x}");
        steps.push(Step::worked("Surface leakage", "e_lk", &formula, reads, OHM, |p| {
            let x = || {
                if whole {
                    p.of(ru) / (p.of(ru) + p.of(leak))
                } else {
                    p.of(re) / (p.of(re) + p.of(leak)) / n(input.upper.count)
                }
            };
            p.of(cu) * x() / (n(1) - p.of(cu) * x())
        }));
    }
    if let Some(least) = result.leakage.smallest_ohm.map(ohm) {
        let budget = percent(input.leakage_budget_percent);
        let label = "Smallest leakage resistance over the string";
        let formula = "Ru (1/x − 1), x = e/((1 − k)(1 + e))";
        steps.push(Step::worked(label, "R_min", formula, least, "the same, solved for the resistance", |p| {
            p.of(ru) * (p.of(cu) * (n(1) + p.of(budget)) / p.of(budget) - n(1))
        }));
    }
    steps
}

/// The filter: corner, settling, lag and noise.
fn dynamics(input: &DividerInput, result: &DividerOutput, k: Quantity) -> Vec<Step> {
    let dynamics = &result.dynamics;
    let (Some(c), Some(corner), Some(tau), Some(settling), Some(lag), Some(noise)) = (
        input.filter_farad.map(farad),
        dynamics.corner_hz.map(hertz),
        dynamics.time_constant_s.map(second),
        dynamics.settling_1000_s.map(second),
        dynamics.ramp_lag_v.map(volt),
        dynamics.noise_v.map(volt),
    ) else {
        return Vec::new();
    };
    let (rs, degree) = (ohm(dynamics.source_loaded_ohm), kelvin(input.ambient_degc + ZERO_CELSIUS_K));
    let formula = "1/(2π Rs C), Rs with the load";
    vec![
        Step::worked("Filter corner", "f_c", formula, corner, "first-order low-pass", |p| {
            n(1) / (n(2) * Term::pi() * p.of(rs) * p.of(c))
        }),
        Step::worked("Settling to 0.1 %", "t_s", "Rs C ln 1000", settling, "closed form", |p| p.of(tau) * n(1000).ln()),
        Step::worked("Lag on a ramp", "V_lag", "dV/dt · Rs C", lag, "closed form, steady ramp", |p| {
            p.of(volt_per_second(input.ramp_v_per_s)) * p.of(tau)
        }),
        Step::worked(
            "Thermal noise at the pack",
            "u_n",
            "√(4 k_B T Rs (π/2) f_c) / k",
            noise,
            "Johnson and Nyquist 1928",
            |p| {
                let boltzmann = Term::constant("1.380649e−23\u{202f}J/K", BOLTZMANN);
                let square = n(4) * boltzmann * p.of(degree) * p.of(rs) * Term::pi() / n(2) * p.of(corner);
                square.sqrt() / p.of(k)
            },
        ),
    ]
}
