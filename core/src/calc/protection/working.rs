//! The working of a threshold: every headline as a step that a pocket calculator can redo.

use super::let_through::fault_loop;
use super::ramp;
use super::{Autocorrelation, ErrorMethod, Terms, ThresholdOutput};
use crate::quantity::{Quantity, ampere, ampere_squared_second, hertz, in_sentence, one, percent, second, volt};
use crate::report::Step;
use crate::report::worked::{Term, n};

const PRACTICE: &str = "sum of limits on both sides: common practice, no source";
const CONFORMANCE: &str = "JCGM 106:2012 clause 7.3";

pub(super) fn working(terms: &Terms, result: &ThresholdOutput) -> Vec<Step> {
    let c = &result.consumed;
    let d = |value: f64| terms.distance(value);
    let (toward, back) = if terms.over { ("+", "−") } else { ("−", "+") };
    // What else stands on a side: its symbol, its value.
    let some =
        |symbol: &'static str, taken: Option<f64>| taken.filter(|taken| *taken > 0.0).map(|taken| (symbol, taken));
    let gradient = |here: bool| c.gradient.filter(|_| here).map(|taken| ("P R_th", taken));
    let on_normal = [gradient(!terms.over), some("V_I", c.sag_normal)];
    let on_hazard = [some("D_u", Some(c.noise_hazard)), gradient(terms.over), some("V_I", c.sag_hazard)];
    let named = |sign: &str, also: &[Option<(&str, f64)>]| {
        also.iter().flatten().fold(String::new(), |text, (symbol, _)| text + " " + sign + " " + symbol)
    };
    let add = |up: bool, sum: Term, term: Term| if up { sum + term } else { sum - term };
    let time = second(result.reaction_s);
    let label = "Time from crossing to opening, all lags included";
    let mut steps = vec![Step::worked(label, "t", "n/f_s + further times", time, "sum of the stages", |p| {
        let late = terms.delays.iter().filter(|delay| delay.seconds > 0.0).map(|delay| p.of(second(delay.seconds)));
        late.fold(n(terms.in_a_row) / p.of(hertz(terms.sample_hz)), |sum, late| sum + late)
    })];

    let (formula, edge) =
        (format!("x_n {toward} e_n {toward} z u{}", named(toward, &on_normal)), terms.value(result.nuisance_edge));
    steps.push(Step::worked("Edge towards operation", "x_lo", &formula, edge, PRACTICE, |p| {
        let error = add(terms.over, p.of(terms.value(terms.normal)), p.of(d(c.error_normal)));
        let noise = add(terms.over, error, p.of(one(c.noise_sigma)) * p.of(d(terms.noise)));
        on_normal.iter().flatten().fold(noise, |sum, (_, taken)| add(terms.over, sum, p.of(d(*taken))))
    }));

    let (formula, edge) =
        (format!("x_h {back} e_h {back} r t{}", named(back, &on_hazard)), terms.value(result.harm_edge));
    let slope = Quantity::new(terms.rate, terms.slope);
    steps.push(Step::worked("Edge towards the hazard", "x_hi", &formula, edge, PRACTICE, |p| {
        let error = add(!terms.over, p.of(terms.value(terms.hazard)), p.of(d(c.error_hazard)));
        let moved = add(!terms.over, error, p.of(slope) * p.of(time));
        on_hazard.iter().flatten().fold(moved, |sum, (_, taken)| add(!terms.over, sum, p.of(d(*taken))))
    }));

    let formula = if terms.over { "x_hi − x_lo" } else { "x_lo − x_hi" };
    steps.push(Step::worked("Room for the threshold", "w", formula, d(result.width), PRACTICE, |p| {
        p.of(terms.value(result.high_edge)) - p.of(terms.value(result.low_edge))
    }));

    let formula = "(e_n + z u + e_h + r t + all others)/|x_h − x_n|";
    let (used, source) = (percent(result.used_percent), "share of the distance from normal to hazard");
    steps.push(Step::worked("Room used", "U", formula, used, source, |p| p.of(d(c.total)) / p.of(d(result.available))));

    steps.extend(nuisance(terms, result));
    steps.extend(missed(terms, result));
    if let Some(sag) = result.sag {
        let (rest, load) = (volt(sag.at_rest_v), volt(sag.under_load_v));
        steps.push(Step::worked("Limit under load", "V_th(I)", "V_th − I R_f", load, "Ohm's law", |p| {
            p.of(rest) - p.of(volt(rest.value - load.value))
        }));
    }
    steps.push(late(terms, result));
    steps.extend(let_through(terms, result));
    steps
}

/// What noise does at the normal extreme.
fn nuisance(terms: &Terms, result: &ThresholdOutput) -> Vec<Step> {
    let (c, judged) = (&result.consumed, &result.judged);
    let Some(z) = judged.noise_sigma else { return Vec::new() };
    let (noise, taken) = (terms.distance(terms.noise), terms.distance(c.nuisance_side - c.noise));
    let (rate, trips, row) = (hertz(terms.sample_hz), one(judged.nuisance_per_hour), terms.in_a_row);
    let label = "Noise left at the normal extreme, error at its limit";
    let formula = "(|x_th − x_n| − e_n)/u, e_n with all others on this side";
    let left = Step::worked(label, "z", formula, one(z), "normal distribution", |p| {
        let (threshold, normal) = (p.of(terms.value(judged.threshold)), p.of(terms.value(terms.normal)));
        let apart = if terms.over { threshold - normal } else { normal - threshold };
        (apart - p.of(taken)) / p.of(noise)
    });
    let label = "Nuisance trips an hour";
    let each = judged.nuisance_per_sample;
    let trips = if each == 0.0 {
        Step::worked(label, "N", "0: no noise reaches so far", trips, "normal distribution", |_| n(0))
    } else if z < 0.0 {
        let formula = "3600 f_s/n: beyond the threshold it stays tripped";
        Step::worked(label, "N", formula, trips, "normal distribution", |p| n(3600) * p.of(rate) / n(row))
    } else if terms.noise_is == Autocorrelation::White {
        let source = "rows of independent samples; normal distribution, Q(z) = Φ(−z)";
        Step::worked(label, "N", "3600 f_s Q(z)ⁿ (1 − Q(z))", trips, source, |p| {
            let beyond = p.of(one(-z)).normal();
            n(3600) * p.of(rate) * beyond.power(row) * p.of(one(z)).normal()
        })
    } else {
        let begins = one(trips.value / (3600.0 * rate.value));
        let formula = format!(
            "3600 f_s (P_n − P_(n+1)), the chance that a row begins; noise: {}",
            in_sentence(terms.noise_is.label())
        );
        let source = "multivariate normal distribution, A. Genz 1992";
        Step::worked(label, "N", &formula, trips, source, |p| n(3600) * p.of(rate) * p.of(begins))
    };
    vec![left, trips]
}

/// What error and noise do at the hazard.
fn missed(terms: &Terms, result: &ThresholdOutput) -> Vec<Step> {
    let (c, judged) = (&result.consumed, &result.judged);
    let (noise, error) = (terms.distance(terms.noise), terms.distance(c.error_hazard));
    let standard = terms.distance(judged.standard_uncertainty);
    let interval = terms.method == ErrorMethod::Interval95;
    let formula = if interval { "√((e_h/1.96)² + u²)" } else { "√(e_h²/3 + u²)" };
    let label = "Standard uncertainty at the hazard";
    let mut steps = vec![Step::worked(label, "u_c", formula, standard, "JCGM 100:2008 clause 4.3.7", |p| {
        let limit = if interval { (p.of(error) / p.of(one(1.96))).squared() } else { p.of(error).squared() / n(3) };
        (limit + p.of(noise).squared()).sqrt()
    })];
    // From the threshold to the reading at the last moment, without error and noise.
    let short = -(judged.harm_margin + c.error_hazard + c.noise_hazard);
    let beyond = terms.distance(short);
    let (label, chance) = ("Chance of a missed trip, normal distribution", one(judged.missed_probability_normal));
    let sharp = n(u32::from(short > 0.0));
    steps.push(if standard.value > 0.0 {
        Step::worked(label, "p_m", "Φ(a/u_c)", chance, CONFORMANCE, |p| (p.of(beyond) / p.of(standard)).normal())
    } else {
        Step::worked(label, "p_m", "1 where a > 0, without error and noise", chance, CONFORMANCE, |_| sharp.clone())
    });
    if !terms.method.is_statistical() {
        let label = "Chance of a missed trip, rectangular error with normal noise";
        let (chance, source) = (one(judged.missed_probability), "convolution of both distributions, closed form");
        steps.push(if error.value <= 1e-6 * noise.value {
            let formula = "Φ(a/u): the error is a point";
            if noise.value == 0.0 {
                Step::worked(label, "p_m", "1 where a > 0, without error and noise", chance, source, |_| sharp.clone())
            } else {
                Step::worked(label, "p_m", formula, chance, source, |p| (p.of(beyond) / p.of(noise)).normal())
            }
        } else if noise.value < 1e-4 * error.value || short.abs() > error.value + 37.0 * noise.value {
            // So little noise moves nothing that is printed.
            Step::worked(label, "p_m", "clamp((a + e)/(2 e), 0, 1), noise far below", chance, source, |p| {
                ((p.of(beyond) + p.of(error)) / (n(2) * p.of(error))).clamp(0, 1)
            })
        } else {
            let formula = "(u/(2 e)) (G((a + e)/u) − G((a − e)/u)), G(y) = y Φ(y) + φ(y)";
            Step::worked(label, "p_m", formula, chance, source, |p| {
                let high = ((p.of(beyond) + p.of(error)) / p.of(noise)).normal_integral();
                let low = ((p.of(beyond) - p.of(error)) / p.of(noise)).normal_integral();
                p.of(noise) / (n(2) * p.of(error)) * (high - low)
            })
        });
    }
    steps
}

/// The share of cases in which the first row comes too late.
fn late(terms: &Terms, result: &ThresholdOutput) -> Step {
    let (label, source) =
        ("Hazard passed at opening, error at its limit", "first complete row on a ramp in normal noise");
    let share = result.judged.late_percent;
    let late = percent(share);
    let step = terms.rate / terms.sample_hz;
    if share == 0.0 || share == 100.0 {
        let formula = if share == 0.0 {
            "P(no n samples in a row in time): never"
        } else {
            "P(no n samples in a row in time): always"
        };
        return Step::worked(label, "p_l", formula, late, source, |_| n(u32::from(share > 0.0)));
    }
    let closed = terms.noise_is == Autocorrelation::White || terms.in_a_row as usize > ramp::SAMPLES;
    let of = if terms.noise == 0.0 {
        None
    } else if closed {
        Some((
            ramp::phases(step, terms.noise),
            "P(no n samples in a row in time), summed over the phases of the samples / phases",
        ))
    } else {
        Some((f64::from(ramp::COURSES), "courses of the noise with no n samples in a row in time / courses drawn"))
    };
    match of {
        Some((count, formula)) => {
            Step::worked(label, "p_l", formula, late, source, |p| p.of(one(share / 100.0 * count)) / n(count))
        }
        None => {
            let row = f64::from(terms.in_a_row);
            let formula =
                "n − d f_s/r, d from the threshold to the hazard less error and what later times take; no noise";
            let distance = terms.distance((row - share / 100.0) * step);
            Step::worked(label, "p_l", formula, late, source, |p| {
                n(row) - p.of(distance) * p.of(hertz(terms.sample_hz)) / p.of(Quantity::new(terms.rate, terms.slope))
            })
        }
    }
}

/// The I²t of the worst fault, from the lowest current before it.
fn let_through(terms: &Terms, result: &ThresholdOutput) -> Option<Step> {
    let worst = result.let_through?;
    let faults = terms.faults?;
    let (volt_v, henry_h) = (faults.volt?, faults.henry?);
    let tau_s = fault_loop(worst.step_a, volt_v, henry_h).time_constant_s();
    let (last, until, before) = (ampere(worst.step_a), second(worst.off_after_s), ampere(faults.before_a()));
    let value = ampere_squared_second(worst.let_through_a2s);
    let label = "I²t of the worst fault until it is off";
    let formula = "I² T − 2 I D τ (1 − E) + D² τ (1 − E²)/2, D = I − i_0, E = e^(−T/τ), τ = L I/V";
    Some(Step::worked(label, "W", formula, value, "RL circuit, closed form", |p| {
        let (last, until) = (p.of(last), p.of(until));
        if tau_s == 0.0 {
            return last.squared() * until;
        }
        let tau = p.of(second(tau_s));
        let apart = if before.value == 0.0 { last.clone() } else { last.clone() - p.of(before) };
        let left = (-(until.clone() / tau.clone())).exp();
        let square = (-(n(2) * until.clone() / tau.clone())).exp();
        last.clone().squared() * until - n(2) * last * apart.clone() * tau.clone() * (n(1) - left)
            + apart.squared() * tau * (n(1) - square) / n(2)
    }))
}
