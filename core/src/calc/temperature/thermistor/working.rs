//! The steps that lead to the headline numbers of a temperature channel.

use crate::constant::ZERO_CELSIUS_K;
use crate::quantity::{Quantity, Unit, say};
use crate::report::Step;

use super::curve::Curve;
use super::input::{Counting, CurveKind, ReadOutKind, Side, ThermistorInput};
use super::output::{ThermistorOutput, ThermistorPoint};

pub(super) fn working(input: &ThermistorInput, curve: &Curve, result: &ThermistorOutput) -> Vec<Step> {
    let mut steps = Vec::new();
    for point in &result.points {
        steps.extend(sensor(input, curve, point));
        steps.extend(chain(input, point));
        steps.extend(errors(input, curve, point));
    }
    let q = Quantity::new;
    steps.extend([
        Step::new(
            "Lag",
            "ΔT_lag",
            "τ dT/dt",
            format!(
                "{} · {}",
                say(input.body.time_constant_s, Unit::Second),
                say(input.body.ramp_k_per_s, Unit::KelvinPerSecond)
            ),
            q(result.lag_k, Unit::Kelvin),
            "first-order lag on a ramp, closed form",
        ),
        Step::new(
            "Cell to sensor",
            "ΔT_cell",
            "Rth P",
            format!(
                "{} · {}",
                say(input.cell.thermal_resistance_k_per_w, Unit::KelvinPerWatt),
                say(input.cell.heat_flow_w, Unit::Watt)
            ),
            q(result.gradient_k, Unit::Kelvin),
            "thermal resistance, definition",
        ),
    ]);
    if let Some(choice) = &result.fixed_resistor {
        for found in choice.choices.iter().filter(|found| found.purpose.starts_with("Straightest")) {
            steps.push(Step::new(
                "Straightest fixed resistor",
                "Rf",
                "R (1 − q)/(1 + q), q = dα/dT / α²; for beta R (B − 2T)/(B + 2T)",
                format!("{} at {}", say(choice.sensor_ohm, Unit::Ohm), say(choice.centre_degc, Unit::Celsius)),
                q(found.ohm, Unit::Ohm),
                "inflection of the divider's curve, closed form",
            ));
        }
    }
    steps
}

fn sensor(input: &ThermistorInput, curve: &Curve, point: &ThermistorPoint) -> Vec<Step> {
    let row = &point.at;
    let at = say(row.degc, Unit::Celsius);
    let kelvin = row.degc + ZERO_CELSIUS_K;
    let t = format!("{kelvin:.2} K");
    let (formula, numbers, source) = match (input.curve, curve) {
        (CurveKind::Platinum, _) => (
            "R0 (1 + A t + B t² + C (t − 100) t³), C below 0 °C only",
            format!(
                "{} (1 + 3.9083e-3 t − 5.775e-7 t² − 4.183e-12 (t − 100) t³), t = {at}",
                say(input.platinum.nominal.ohm(), Unit::Ohm)
            ),
            "IEC 60751",
        ),
        (CurveKind::SteinhartHart, _) => (
            "exp L, 1/T = A + B L + C L³",
            format!(
                "1/{t} = {:.6e} + {:.6e} L + {:.6e} L³",
                input.steinhart_hart.a, input.steinhart_hart.b, input.steinhart_hart.c
            ),
            "Steinhart and Hart 1968",
        ),
        (CurveKind::Points, _) => (
            "exp L, 1/T through the neighbouring triples of the table",
            format!("{} lines, T = {t}", input.points.rows.len()),
            "Steinhart and Hart 1968, piecewise",
        ),
        (CurveKind::Beta, _) => (
            "R25 exp(B (1/T − 1/298.15 K))",
            format!(
                "{} · exp({} · (1/{t} − 1/298.15 K))",
                say(input.beta.r25_ohm, Unit::Ohm),
                beta_words(input.beta.beta_k)
            ),
            "IEC 60539-1 (from memory)",
        ),
    };
    vec![
        Step::new(
            &format!("Resistance at {at}"),
            "R",
            formula,
            numbers.replace('-', "−"),
            Quantity::new(row.resistance_ohm, Unit::Ohm),
            source,
        ),
        Step::new(
            &format!("Change of the resistance per kelvin at {at}"),
            "α",
            if input.curve == CurveKind::Beta { "−B/T²" } else { "(1/R) dR/dT" },
            if input.curve == CurveKind::Beta {
                format!("−{} / ({t})²", beta_words(input.beta.beta_k))
            } else {
                format!("at {}", say(row.resistance_ohm, Unit::Ohm))
            },
            Quantity::new(row.alpha_percent_per_k, Unit::Percent),
            "derivative",
        ),
    ]
}

fn chain(input: &ThermistorInput, point: &ThermistorPoint) -> Vec<Step> {
    let row = &point.at;
    let at = say(row.degc, Unit::Celsius);
    let r = say(row.resistance_ohm, Unit::Ohm);
    let one = |value: f64| Quantity::new(value, Unit::One);
    let alpha = say((row.alpha_percent_per_k / 100.0).abs(), Unit::One);
    let (code_formula, code_numbers, step_formula, step_numbers) = match input.read_out {
        ReadOutKind::Divider => {
            let fixed = say(input.divider.fixed_ohm, Unit::Ohm);
            let over = if input.divider.side == Side::Low { &r } else { &fixed };
            let extra = if input.divider.ratiometric {
                String::new()
            } else {
                format!(
                    " · {} / {}",
                    say(input.divider.supply_v, Unit::Volt),
                    say(input.converter.full_scale_v, Unit::Volt)
                )
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
                say(input.current.current_a, Unit::Ampere),
                say(input.converter.full_scale_v, Unit::Volt)
            ),
            "1/(code |α|)",
            format!("1/({} · {alpha})", say(row.code, Unit::One)),
        ),
        ReadOutKind::Oscillator => {
            let with = &input.oscillator;
            let hertz = say(row.output_hz.unwrap_or(0.0), Unit::Hertz);
            let (formula, numbers) = match with.counting {
                Counting::Gated => {
                    ("f tg, f = 1/(k R C + 2 td)", format!("{hertz} · {}", say(with.gate_s, Unit::Second)))
                }
                Counting::Reciprocal => (
                    "fclk n / f, f = 1/(k R C + 2 td)",
                    format!("{} · {} / {hertz}", say(with.clock_hz, Unit::Hertz), with.periods),
                ),
            };
            (formula, numbers, "1/(N |α| (1 − 2 td f))", format!("1/({} · {alpha})", say(row.code, Unit::One)))
        }
    };
    vec![
        Step::new(&format!("Code at {at}"), "N", code_formula, code_numbers, one(row.code), "Ohm's law, closed form"),
        Step::new(
            &format!("One code at {at}"),
            "LSB",
            step_formula,
            step_numbers,
            Quantity::new(row.step_k, Unit::Kelvin),
            "derivative",
        ),
    ]
}

fn errors(input: &ThermistorInput, curve: &Curve, point: &ThermistorPoint) -> Vec<Step> {
    let row = &point.at;
    let at = say(row.degc, Unit::Celsius);
    let kelvin = |value: f64| say(value, Unit::Kelvin);
    let mut steps = Vec::new();
    if let Some(error) = &row.error {
        let (formula, numbers) = if input.curve == CurveKind::Beta && input.read_out == ReadOutKind::Divider {
            (
                "(T²/B)(tR + tf + tB B |1/T − 1/298.15 K|)",
                format!(
                    "{} · ({} + {} + {} · {})",
                    kelvin(-100.0 / row.alpha_percent_per_k),
                    say(input.beta.r25_tolerance_percent / 100.0, Unit::One),
                    say(input.divider.fixed_tolerance_percent / 100.0, Unit::One),
                    say(input.beta.beta_tolerance_percent / 100.0, Unit::One),
                    say(input.exponent(row.degc).abs(), Unit::One)
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
            Quantity::new(error.tolerance_k, Unit::Kelvin),
            "first order; common practice, no source",
        ));
        let parts: Vec<String> = [
            error.tolerance_k,
            error.part_drift_k,
            error.reference_k,
            error.converter_k,
            error.lead_k.abs(),
            error.leakage_k.abs(),
            row.self_heating_k.unwrap_or(0.0),
        ]
        .into_iter()
        .filter(|part| *part > 0.0)
        .map(kelvin)
        .collect();
        steps.push(Step::new(
            &format!("Sum of limits at {at}"),
            "E",
            "Σ |c_i| a_i",
            if parts.is_empty() { "no limits are given".into() } else { parts.join(" + ") },
            Quantity::new(error.sum_of_limits_k, Unit::Kelvin),
            "first order; sensitivities by differentiation of the model (JCGM 100:2008 clause 5.1)",
        ));
    }
    if let Some(rise) = row.self_heating_k {
        // The heat at the temperature it leads to: with it a pocket calculator gives the rise.
        let warm_w = curve.ohm(row.degc + rise).map_or(row.power_w, |ohm| input.read_out().power_w(ohm));
        steps.push(Step::new(
            &format!("Self-heating at {at}"),
            "ΔT_self",
            "D P/δ at the temperature it leads to",
            format!(
                "{} · {} / {}, P at {}",
                say(input.body.duty_percent, Unit::Percent),
                say(warm_w, Unit::Watt),
                say(input.body.dissipation_w_per_k, Unit::WattPerKelvin),
                say(row.degc + rise, Unit::Celsius)
            ),
            Quantity::new(rise, Unit::Kelvin),
            "energy balance of one node",
        ));
    }
    steps
}

/// Beta as the trade writes it: in kelvin, never in kilokelvin.
fn beta_words(kelvin: f64) -> String {
    format!("{} K", Quantity::new(kelvin, Unit::One).brief(7))
}
