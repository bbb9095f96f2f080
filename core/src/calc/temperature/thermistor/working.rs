//! The steps that lead to the headline numbers of a temperature channel.

use crate::constant::ZERO_CELSIUS_K;
use crate::quantity::{Unit, ampere, celsius, hertz, kelvin, ohm, one, percent, say, second, volt, watt};
use crate::report::Step;

use super::curve::Curve;
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
    steps.extend([
        Step::new(
            "Lag",
            "ΔT_lag",
            "τ dT/dt",
            format!("{} · {}", second(input.body.time_constant_s), say(input.body.ramp_k_per_s, Unit::KelvinPerSecond)),
            kelvin(result.lag_k),
            "first-order lag on a ramp, closed form",
        ),
        Step::new(
            "Cell to sensor",
            "ΔT_cell",
            "Rth P",
            format!(
                "{} · {}",
                say(input.cell.thermal_resistance_k_per_w, Unit::KelvinPerWatt),
                watt(input.cell.heat_flow_w)
            ),
            kelvin(result.gradient_k),
            "thermal resistance, definition",
        ),
    ]);
    if let Some(choice) = &result.fixed_resistor {
        for found in choice.choices.iter().filter(|found| found.purpose.starts_with("Straightest")) {
            steps.push(Step::new(
                "Straightest fixed resistor",
                "Rf",
                "R (1 − q)/(1 + q), q = dα/dT / α²; for beta R (B − 2T)/(B + 2T)",
                format!("{} at {}", ohm(choice.sensor_ohm), celsius(choice.centre_degc)),
                ohm(found.ohm),
                "inflection of the divider's curve, closed form",
            ));
        }
    }
    steps
}

fn sensor(input: &ThermistorInput, point: &ThermistorPoint) -> Vec<Step> {
    let row = &point.at;
    let at = celsius(row.degc);
    let kelvin = row.degc + ZERO_CELSIUS_K;
    let t = format!("{kelvin:.2} K");
    let (formula, numbers, source) = match input.curve {
        CurveKind::Platinum => (
            "R0 (1 + A t + B t² + C (t − 100) t³), C below 0 °C only",
            format!(
                "{} (1 + 3.9083e-3 t − 5.775e-7 t² − 4.183e-12 (t − 100) t³), t = {at}",
                ohm(input.platinum.nominal.ohm())
            ),
            "IEC 60751",
        ),
        CurveKind::SteinhartHart => (
            "exp L, 1/T = A + B L + C L³",
            format!(
                "1/{t} = {:.6e} + {:.6e} L + {:.6e} L³",
                input.steinhart_hart.a, input.steinhart_hart.b, input.steinhart_hart.c
            ),
            "Steinhart and Hart 1968",
        ),
        CurveKind::Points => (
            "exp L, 1/T through the neighbouring triples of the table",
            format!("{} lines, T = {t}", input.points.rows.len()),
            "Steinhart and Hart 1968, piecewise",
        ),
        CurveKind::Beta => (
            "R25 exp(B (1/T − 1/298.15 K))",
            format!("{} · exp({} · (1/{t} − 1/298.15 K))", ohm(input.beta.r25_ohm), beta_words(input.beta.beta_k)),
            "IEC 60539-1 (from memory)",
        ),
    };
    vec![
        Step::new(
            &format!("Resistance at {at}"),
            "R",
            formula,
            numbers.replace('-', "−"),
            ohm(row.resistance_ohm),
            source,
        ),
        Step::new(
            &format!("Change of the resistance per kelvin at {at}"),
            "α",
            if input.curve == CurveKind::Beta { "−B/T²" } else { "(1/R) dR/dT" },
            if input.curve == CurveKind::Beta {
                format!("−{} / ({t})²", beta_words(input.beta.beta_k))
            } else {
                format!("at {}", ohm(row.resistance_ohm))
            },
            percent(row.alpha_percent_per_k),
            "derivative",
        ),
    ]
}

fn chain(input: &ThermistorInput, point: &ThermistorPoint) -> Vec<Step> {
    let row = &point.at;
    let at = celsius(row.degc);
    let r = ohm(row.resistance_ohm);
    let alpha = one((row.alpha_percent_per_k / 100.0).abs());
    let (code_formula, code_numbers, step_formula, step_numbers) = match input.read_out {
        ReadOutKind::Divider => {
            let fixed = ohm(input.divider.fixed_ohm);
            let over = if input.divider.side == Side::Low { &r } else { &fixed };
            let extra = if input.divider.ratiometric {
                String::new()
            } else {
                format!(" · {} / {}", volt(input.divider.supply_v), volt(input.converter.full_scale_v))
            };
            (
                if input.divider.side == Side::Low { "2ᴺ m, m = R/(R + Rf)" } else { "2ᴺ m, m = Rf/(R + Rf)" },
                format!("2^{} · {over} / ({r} + {fixed}){extra}", input.converter.bits),
                "1/(2ᴺ m (1 − m) |α|)",
                format!("1/(2^{} · {r} · {fixed} / ({r} + {fixed})² · {alpha}){extra}", input.converter.bits),
            )
        }
        ReadOutKind::Current => (
            "2ᴺ I R / FS",
            format!(
                "2^{} · {} · {r} / {}",
                input.converter.bits,
                ampere(input.current.current_a),
                volt(input.converter.full_scale_v)
            ),
            "1/(code |α|)",
            format!("1/({} · {alpha})", one(row.code)),
        ),
        ReadOutKind::Oscillator => {
            let with = &input.oscillator;
            let out = hertz(row.output_hz.unwrap_or(0.0));
            let (formula, numbers) = match with.counting {
                Counting::Gated => ("f tg, f = 1/(k R C + 2 td)", format!("{out} · {}", second(with.gate_s))),
                Counting::Reciprocal => {
                    ("fclk n / f, f = 1/(k R C + 2 td)", format!("{} · {} / {out}", hertz(with.clock_hz), with.periods))
                }
            };
            (formula, numbers, "1/(N |α| (1 − 2 td f))", format!("1/({} · {alpha})", one(row.code)))
        }
    };
    vec![
        Step::new(&format!("Code at {at}"), "N", code_formula, code_numbers, one(row.code), "Ohm's law, closed form"),
        Step::new(&format!("One code at {at}"), "LSB", step_formula, step_numbers, kelvin(row.step_k), "derivative"),
    ]
}

fn errors(input: &ThermistorInput, curve: Option<&Curve>, point: &ThermistorPoint) -> Vec<Step> {
    let row = &point.at;
    let at = celsius(row.degc);
    let mut steps = Vec::new();
    if let Some(error) = &row.error {
        let (formula, numbers) = if input.curve == CurveKind::Beta && input.read_out == ReadOutKind::Divider {
            (
                "(T²/B)(tR + tf + tB B |1/T − 1/298.15 K|)",
                format!(
                    "{} · ({} + {} + {} · {})",
                    kelvin(-100.0 / row.alpha_percent_per_k),
                    one(input.beta.r25_tolerance_percent / 100.0),
                    one(input.divider.fixed_tolerance_percent / 100.0),
                    one(input.beta.beta_tolerance_percent / 100.0),
                    one(input.exponent(row.degc).abs())
                ),
            )
        } else {
            (
                "resistance + curve + part",
                format!("{} + {} + {}", kelvin(error.resistance_k), kelvin(error.curve_k), kelvin(error.part_k)),
            )
        };
        steps.push(Step::new(
            &format!("Tolerance of the parts at {at}"),
            "dT",
            formula,
            numbers,
            kelvin(error.tolerance_k),
            "first order; common practice, no source",
        ));
        if let Some(done) = &point.assessment {
            let limits = done.contributions.iter().map(|term| term.contribution).filter(|part| *part > 0.0);
            let parts: Vec<String> =
                [done.value.abs()].into_iter().chain(limits).map(|part| kelvin(part).to_string()).collect();
            steps.push(Step::new(
                &format!("Sum of limits at {at}"),
                "E",
                "|K| + Σ |c_i| a_i",
                parts.join(" + "),
                kelvin(done.worst_case.sum_of_limits),
                "first order; sensitivities by differentiation of the model (JCGM 100:2008 clause 5.1)",
            ));
        }
    }
    if let Some(rise) = row.self_heating_k {
        // The heat at the temperature it leads to: with it a pocket calculator gives the rise.
        let warm_w =
            curve.and_then(|curve| curve.ohm(row.degc + rise)).map_or(row.power_w, |ohm| input.read_out().power_w(ohm));
        steps.push(Step::new(
            &format!("Self-heating at {at}"),
            "ΔT_self",
            "D P/δ at the temperature it leads to",
            format!(
                "{} · {} / {}, P at {}",
                percent(input.body.duty_percent),
                watt(warm_w),
                say(input.body.dissipation_w_per_k, Unit::WattPerKelvin),
                celsius(row.degc + rise)
            ),
            kelvin(rise),
            "energy balance of one node",
        ));
    }
    steps
}

/// Beta as the trade writes it: in kelvin, never in kilokelvin.
fn beta_words(kelvin: f64) -> String {
    format!("{} K", one(kelvin).brief(7))
}
