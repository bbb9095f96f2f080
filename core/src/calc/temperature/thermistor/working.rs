//! The steps that lead to the headline numbers of a temperature channel.

use crate::constant::ZERO_CELSIUS_K;
use crate::quantity::{Quantity, Unit, ampere, celsius, hertz, kelvin, ohm, one, percent, second, volt, watt};
use crate::report::Step;
use crate::report::worked::{Put, Term, n};

use super::curve::{Curve, T25_K};
use super::input::{Counting, CurveKind, ReadOutKind, Side, ThermistorInput};
use super::output::{ThermistorOutput, ThermistorPoint};

pub(super) fn working(input: &ThermistorInput, result: &ThermistorOutput) -> Vec<Step> {
    let curve = input.ready_curve().ok();
    let mut steps = Vec::new();
    let listed = |worst: &&ThermistorPoint| result.points.iter().any(|point| point.at.degc == worst.at.degc);
    for point in result.points.iter().chain(result.worst.iter().filter(|worst| !listed(worst))) {
        steps.extend(sensor(input, point));
        steps.extend(chain(input, point));
        steps.extend(errors(input, curve.as_ref(), point));
    }
    let (source, lag) = ("first-order lag on a ramp, closed form", kelvin(result.lag_k));
    let ramp = Quantity::new(input.body.ramp_k_per_s, Unit::KelvinPerSecond);
    steps.push(Step::worked("Lag", "ΔT_lag", "τ dT/dt", lag, source, |p| {
        p.of(second(input.body.time_constant_s)) * p.of(ramp)
    }));
    let (source, gradient) = ("thermal resistance, definition", kelvin(result.gradient_k));
    let resistance = Quantity::new(input.cell.thermal_resistance_k_per_w, Unit::KelvinPerWatt);
    steps.push(Step::worked("Cell to sensor", "ΔT_cell", "Rth P", gradient, source, |p| {
        p.of(resistance) * p.of(watt(input.cell.heat_flow_w))
    }));
    if let Some(choice) = &result.fixed_resistor {
        let straightest = choice.choices.iter().find(|found| found.purpose.starts_with("Straightest"));
        steps
            .extend(straightest.map(|found| straightest_step(input, choice.sensor_ohm, choice.centre_degc, found.ohm)));
    }
    steps
}

/// The resistor that makes the divider straight.
fn straightest_step(input: &ThermistorInput, sensor_ohm: f64, centre_degc: f64, found_ohm: f64) -> Step {
    let (label, source) = ("Straightest fixed resistor", "inflection of the divider's curve, closed form");
    let (sensor, found) = (ohm(sensor_ohm), ohm(found_ohm));
    if input.curve == CurveKind::Beta {
        let (beta, centre) = (kelvin(input.beta.beta_k), kelvin(centre_degc + ZERO_CELSIUS_K));
        let formula = "R (B − 2T)/(B + 2T), T the centre of the range";
        return Step::worked(label, "Rf", formula, found, source, |p| {
            let twice = || n(2) * p.of(centre);
            p.of(sensor) * (p.of(beta) - twice()) / (p.of(beta) + twice())
        });
    }
    let bend = one((sensor_ohm - found_ohm) / (sensor_ohm + found_ohm));
    Step::worked(label, "Rf", "R (1 − q)/(1 + q), q = dα/dT / α² at the centre of the range", found, source, |p| {
        p.of(sensor) * (n(1) - p.of(bend)) / (n(1) + p.of(bend))
    })
}

fn sensor(input: &ThermistorInput, point: &ThermistorPoint) -> Vec<Step> {
    let row = &point.at;
    let at = celsius(row.degc);
    let (t, r, t25) = (kelvin(row.degc + ZERO_CELSIUS_K), ohm(row.resistance_ohm), kelvin(T25_K));
    let beta = kelvin(input.beta.beta_k);
    let label = format!("Resistance at {at}");
    let resistance = match input.curve {
        CurveKind::Platinum => {
            let cold = row.degc < 0.0;
            let formula = if cold { "R0 (1 + A t + B t² + C (t − 100) t³)" } else { "R0 (1 + A t + B t²)" };
            Step::worked(&label, "R", formula, r, "IEC 60751", |p| {
                let t = p.of(at);
                let square = n(1) + p.of(one(3.9083e-3)) * t.clone() - p.of(one(5.775e-7)) * t.clone().squared();
                let sum = if cold { square - p.of(one(4.183e-12)) * (t.clone() - n(100)) * t.power(3) } else { square };
                p.of(ohm(input.platinum.nominal.ohm())) * sum
            })
        }
        CurveKind::SteinhartHart => {
            let with = &input.steinhart_hart;
            let formula = "1/T = A + B L + C L³, L = ln(R/Ω), solved for R";
            Step::solved(&label, "R", formula, r, "Steinhart and Hart 1968", |p| {
                let log = p.of(r).ln();
                let cube = p.of(one(with.c)) * log.clone().power(3);
                [n(1) / p.of(t), p.of(one(with.a)) + p.of(one(with.b)) * log + cube]
            })
        }
        CurveKind::Points => {
            let formula = "e^L, 1/T through the neighbouring triples of the table, solved for L";
            let log = one(libm::log(row.resistance_ohm));
            Step::worked(&label, "R", formula, r, "Steinhart and Hart 1968, piecewise", |p| p.of(log).exp())
        }
        CurveKind::Beta => {
            Step::worked(&label, "R", "R25 e^(B (1/T − 1/298.15 K))", r, "IEC 60539-1 (from memory)", |p| {
                p.of(ohm(input.beta.r25_ohm)) * (p.of(beta) * (n(1) / p.of(t) - n(1) / p.of(t25))).exp()
            })
        }
    };
    let (label, change) = (format!("Change of the resistance per kelvin at {at}"), percent(row.alpha_percent_per_k));
    let slope = if input.curve == CurveKind::Beta {
        Step::worked(&label, "α", "−B/T²", change, "derivative", |p| -(p.of(beta) / p.of(t).squared()))
    } else {
        let slope = ohm(row.alpha_percent_per_k / 100.0 * row.resistance_ohm);
        let formula = "(dR/dT)/R, dR/dT the slope of the curve per kelvin";
        Step::worked(&label, "α", formula, change, "derivative", |p| p.of(slope) / p.of(r))
    };
    vec![resistance, slope]
}

fn chain(input: &ThermistorInput, point: &ThermistorPoint) -> Vec<Step> {
    let row = &point.at;
    let at = celsius(row.degc);
    let (r, alpha) = (ohm(row.resistance_ohm), one((row.alpha_percent_per_k / 100.0).abs()));
    let bits = || n(2).power(input.converter.bits);
    let (label, code) = (format!("Code at {at}"), one(row.code));
    let (next, step) = (format!("LSB at {at}"), kelvin(row.step_k));
    let (closed, derivative) = ("Ohm's law, closed form", "derivative");
    match input.read_out {
        ReadOutKind::Divider => {
            let (fixed, low) = (ohm(input.divider.fixed_ohm), input.divider.side == Side::Low);
            let ratiometric = input.divider.ratiometric;
            let [supply, full] = [input.divider.supply_v, input.converter.full_scale_v].map(volt);
            let formula = match (low, ratiometric) {
                (true, true) => "2ᴺ R/(R + Rf)",
                (false, true) => "2ᴺ Rf/(R + Rf)",
                (true, false) => "2ᴺ R/(R + Rf) V/Vfs",
                (false, false) => "2ᴺ Rf/(R + Rf) V/Vfs",
            };
            let scaled = move |p: &Put, term: Term| if ratiometric { term } else { term * p.of(supply) / p.of(full) };
            let codes = Step::worked(&label, "N", formula, code, closed, |p| {
                let over = if low { p.of(r) } else { p.of(fixed) };
                scaled(p, bits() * over / (p.of(r) + p.of(fixed)))
            });
            let formula = if ratiometric { "(R + Rf)²/(2ᴺ R Rf |α|)" } else { "(R + Rf)²/(2ᴺ R Rf |α| V/Vfs)" };
            let one_code = Step::worked(&next, "LSB", formula, step, derivative, |p| {
                let sum = (p.of(r) + p.of(fixed)).squared();
                sum / scaled(p, bits() * p.of(r) * p.of(fixed) * p.of(alpha))
            });
            vec![codes, one_code]
        }
        ReadOutKind::Current => {
            let (current, full) = (ampere(input.current.current_a), volt(input.converter.full_scale_v));
            vec![
                Step::worked(&label, "N", "2ᴺ I R / FS", code, closed, |p| {
                    bits() * p.of(current) * p.of(r) / p.of(full)
                }),
                Step::worked(&next, "LSB", "1/(N |α|)", step, derivative, |p| n(1) / (p.of(code) * p.of(alpha))),
            ]
        }
        ReadOutKind::Oscillator => {
            let with = &input.oscillator;
            let out = hertz(row.output_hz.unwrap_or(0.0));
            let codes = match with.counting {
                Counting::Gated => {
                    let formula = "f tg, f = 1/(k R C + 2 td)";
                    Step::worked(&label, "N", formula, code, closed, |p| p.of(out) * p.of(second(with.gate_s)))
                }
                Counting::Reciprocal => {
                    let formula = "fclk n / f, f = 1/(k R C + 2 td)";
                    Step::worked(&label, "N", formula, code, closed, |p| {
                        p.of(hertz(with.clock_hz)) * n(with.periods) / p.of(out)
                    })
                }
            };
            let delay = second(with.comparator_delay_s);
            let formula = "1/(N |α| (1 − 2 td f))";
            let one_code = Step::worked(&next, "LSB", formula, step, derivative, |p| {
                n(1) / (p.of(code) * p.of(alpha) * (n(1) - n(2) * p.of(delay) * p.of(out)))
            });
            vec![codes, one_code]
        }
    }
}

fn errors(input: &ThermistorInput, curve: Option<&Curve>, point: &ThermistorPoint) -> Vec<Step> {
    let row = &point.at;
    let at = celsius(row.degc);
    let mut steps = Vec::new();
    if let Some(error) = &row.error {
        let (label, source) = (format!("Tolerance of the parts at {at}"), "first order; common practice, no source");
        let value = kelvin(error.tolerance_k);
        let parts = [error.resistance_k, error.curve_k, error.part_k];
        let beta = input.curve == CurveKind::Beta && input.read_out == ReadOutKind::Divider;
        // A calibration takes some of them away; then those that are left are added.
        let shares = [input.beta.r25_tolerance_percent, input.divider.fixed_tolerance_percent].map(percent);
        let by_beta = input.beta.beta_tolerance_percent / 100.0 * input.exponent(row.degc).abs();
        let whole = (shares[0].value + shares[1].value) / 100.0 + by_beta;
        let alpha = -100.0 / row.alpha_percent_per_k;
        steps.push(if beta && (alpha * whole - value.value).abs() <= 1e-9 * value.value {
            Step::worked(&label, "dT", "(T²/B)(tR + tf + tB B |1/T − 1/298.15 K|)", value, source, |p| {
                let bent = p.of(percent(input.beta.beta_tolerance_percent)) * p.of(one(input.exponent(row.degc).abs()));
                p.of(kelvin(alpha)) * (p.of(shares[0]) + p.of(shares[1]) + bent)
            })
        } else if (parts.iter().sum::<f64>() - value.value).abs() <= 1e-9 * value.value {
            Step::worked(&label, "dT", "resistance + curve + part", value, source, |p| {
                Term::sum(parts.map(|part| p.of(kelvin(part))))
            })
        } else {
            let listed = ["sensor.resistance", "sensor.beta", "sensor.curve", "part.tolerance"];
            let terms = point.assessment.iter().flat_map(|done| &done.contributions);
            let left: Vec<f64> =
                terms.filter(|term| listed.contains(&&*term.id)).map(|term| term.contribution).collect();
            Step::worked(
                &label,
                "dT",
                "what the calibration leaves of resistance, curve and part",
                value,
                source,
                |p| Term::sum(left.iter().map(|part| p.of(kelvin(*part)))),
            )
        });
        if let Some(done) = &point.assessment {
            let limits = done.contributions.iter().map(|term| term.contribution).filter(|part| *part > 0.0);
            let parts: Vec<f64> = [done.value.abs()].into_iter().chain(limits).collect();
            steps.push(Step::worked(
                &format!("Sum of limits at {at}"),
                "E",
                "|K| + Σ |c_i| a_i",
                kelvin(done.worst_case.sum_of_limits),
                "first order; sensitivities by differentiation of the model (JCGM 100:2008 clause 5.1)",
                |p| Term::sum(parts.iter().map(|part| p.of(kelvin(*part)))),
            ));
        }
    }
    if let Some(rise) = row.self_heating_k {
        // The heat at the temperature it leads to: with it a pocket calculator gives the rise.
        let warm_w =
            curve.and_then(|curve| curve.ohm(row.degc + rise)).map_or(row.power_w, |ohm| input.read_out().power_w(ohm));
        let (label, dissipation) =
            (format!("Self-heating at {at}"), Quantity::new(input.body.dissipation_w_per_k, Unit::WattPerKelvin));
        let formula = "D P/δ, P at the temperature it leads to";
        steps.push(Step::worked(&label, "ΔT_self", formula, kelvin(rise), "energy balance of one node", |p| {
            p.of(percent(input.body.duty_percent)) * p.of(watt(warm_w)) / p.of(dissipation)
        }));
    }
    steps
}
