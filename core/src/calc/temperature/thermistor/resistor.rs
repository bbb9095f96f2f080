//! # Choice of the fixed resistor
//!
//! Three wishes, three resistors: most codes per kelvin at one temperature, the straightest scale there, or the best
//! resolution where it is worst over the whole range. They differ, so each is shown with what it costs.
//!
//! ```text
//! Sensitive   Rf = R(T0): the divider at one half
//! Straight    d²m/dT² = 0: Rf = (2 R'² − R R'')/R'' = R (1 − q)/(1 + q), q = dα/dT / α²; for beta q = 2T/B, which gives
//!             R (B − 2T)/(B + 2T)
//! Widest      the Rf with the smallest largest K per code: 1/(m (1 − m)|α|) is convex in ln Rf at each temperature
//! Series      E24 and E96, the nearest
//! Source      closed forms; IEC 60063:2015 (series)
//! ```

use super::curve::Curve;
use super::input::ThermistorInput;
use super::output::{FixedResistor, ResistorChoice, ResolutionPoint};
use super::place::{Place, Straight};
use crate::physics::preferred::Series;

/// R (1 − q)/(1 + q): the resistor that makes the divider straight at a temperature; none for a sensor whose curve cannot
/// be straightened so.
pub fn straightest_ohm(curve: &Curve, degc: f64) -> Option<f64> {
    const STEP_K: f64 = 0.01;
    let ohm = curve.ohm(degc)?;
    let alpha = curve.alpha(degc)?;
    let bend = (curve.alpha(degc + STEP_K)? - curve.alpha(degc - STEP_K)?) / (2.0 * STEP_K);
    let q = bend / (alpha * alpha);
    Some(ohm * (1.0 - q) / (1.0 + q)).filter(|ohm| *ohm > 0.0 && ohm.is_finite())
}

/// Kelvin per code with another fixed resistor.
fn step_k(input: &ThermistorInput, fixed_ohm: f64, ohm: f64, alpha: f64) -> f64 {
    let mut divider = input.divider.clone();
    divider.fixed_ohm = fixed_ohm;
    let mut read_out = input.read_out();
    read_out.divider = &divider;
    1.0 / (read_out.code_per_log(ohm) * alpha).abs()
}

/// The fixed resistor with the best worst resolution over the range.
fn widest_ohm(input: &ThermistorInput, places: &[Place]) -> Option<f64> {
    let low = places.iter().map(|place| place.ohm).min_by(f64::total_cmp)?;
    let high = places.iter().map(|place| place.ohm).max_by(f64::total_cmp)?;
    let worst = |log: f64| {
        let fixed = libm::exp(log);
        places.iter().map(|place| step_k(input, fixed, place.ohm, place.alpha)).fold(0.0, f64::max)
    };
    // The best resistor lies among the resistances of the sensor: outside, every temperature gets worse.
    let (mut a, mut b) = (libm::log(low), libm::log(high));
    for _ in 0..80 {
        let (first, second) = (a + (b - a) / 3.0, b - (b - a) / 3.0);
        if worst(first) <= worst(second) {
            b = second;
        } else {
            a = first;
        }
    }
    Some(libm::exp(0.5 * (a + b))).filter(|ohm| ohm.is_finite())
}

/// The choices, the resistor in use first.
pub fn choices(input: &ThermistorInput, curve: &Curve, places: &[Place]) -> Option<FixedResistor> {
    let centre_degc = input.centre_degc.unwrap_or(0.5 * (input.min_degc + input.max_degc));
    let sensor_ohm = curve.ohm(centre_degc)?;
    let alpha = curve.alpha(centre_degc)?;
    let choice = |purpose: &'static str, ohm: f64| ResistorChoice {
        purpose,
        ohm,
        e24_ohm: Series::E24.nearest(ohm).unwrap_or(ohm),
        e96_ohm: Series::E96.nearest(ohm).unwrap_or(ohm),
        step_at_centre_k: step_k(input, ohm, sensor_ohm, alpha),
        step_worst_k: places.iter().map(|place| step_k(input, ohm, place.ohm, place.alpha)).fold(0.0, f64::max),
        nonlinearity_k: nonlinearity_k(places, ohm),
        curve: places
            .iter()
            .map(|place| ResolutionPoint { degc: place.degc, step_k: step_k(input, ohm, place.ohm, place.alpha) })
            .collect(),
    };
    let mut choices =
        vec![choice("In use", input.divider.fixed_ohm), choice("Most codes per kelvin at the centre", sensor_ohm)];
    choices.extend(straightest_ohm(curve, centre_degc).map(|ohm| choice("Straightest at the centre", ohm)));
    choices.extend(widest_ohm(input, places).map(|ohm| choice("Best worst resolution over the range", ohm)));
    Some(FixedResistor { centre_degc, sensor_ohm, choices })
}

/// Largest error of a straight scale between the ends of the range. Which side the sensor sits on does not matter.
fn nonlinearity_k(places: &[Place], fixed_ohm: f64) -> f64 {
    let share = |ohm: f64| ohm / (ohm + fixed_ohm);
    let (Some(cold), Some(hot)) = (places.first(), places.last()) else { return 0.0 };
    let straight = Straight::between([cold.degc, share(cold.ohm)], [hot.degc, share(hot.ohm)]);
    places.iter().map(|place| straight.error_k(place.degc, share(place.ohm)).abs()).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// For beta the general condition is R (B − 2T)/(B + 2T).
    #[test]
    fn the_straightest_resistor_of_a_beta_has_its_closed_form() {
        let curve = Curve::Beta { r25_ohm: 1e4, beta_k: 3950.0 };
        let t = 313.15;
        let closed = curve.ohm(40.0).expect("inside") * (3950.0 - 2.0 * t) / (3950.0 + 2.0 * t);
        assert!((straightest_ohm(&curve, 40.0).expect("one") / closed - 1.0).abs() < 1e-6);
        assert_eq!(straightest_ohm(&Curve::Platinum { r0_ohm: 100.0 }, 40.0), None);
    }
}
