//! The working of a threshold: every headline as a step that a pocket calculator can redo.

use super::ThresholdOutput;
use super::window::Terms;
use crate::quantity::{Quantity, Unit, say};
use crate::report::Step;

const PRACTICE: &str = "sum of limits on both sides: common practice, no source";
const CONFORMANCE: &str = "JCGM 106:2012 clause 7.3";

pub(super) fn working(terms: &Terms, result: &ThresholdOutput) -> Vec<Step> {
    let c = &result.consumed;
    let value = |value: f64| Quantity::new(value, terms.unit);
    let difference = |value: f64| Quantity::new(value, terms.difference);
    let d = |value: f64| terms.say_difference(value);
    let (toward, back) = if terms.over { ("+", "−") } else { ("−", "+") };
    let (on_normal, on_hazard) = match (c.gradient, terms.over) {
        (Some(gradient), true) => (String::new(), format!(" {back} {}", d(gradient))),
        (Some(gradient), false) => (format!(" {toward} {}", d(gradient)), String::new()),
        (None, _) => (String::new(), String::new()),
    };
    let gradient = |here: &str, sign: &str| if here.is_empty() { String::new() } else { format!(" {sign} P R_th") };
    let times: Vec<String> = terms
        .delays
        .iter()
        .filter(|delay| delay.seconds > 0.0)
        .map(|delay| format!(" + {}", say(delay.seconds, Unit::Second)))
        .collect();
    let mut steps = vec![
        Step::new(
            "Time from crossing to opening, all lags included",
            "t",
            "n/f_s + further times",
            format!("{}/{}{}", terms.in_a_row, say(terms.sample_hz, Unit::Hertz), times.concat()),
            Quantity::new(result.reaction_s, Unit::Second),
            "sum of the stages",
        ),
        Step::new(
            "Edge towards operation",
            "x_lo",
            &format!("x_n {toward} e_n {toward} z u{}", gradient(&on_normal, toward)),
            format!(
                "{} {toward} {} {toward} {} · {}{on_normal}",
                terms.say(terms.normal),
                d(c.error_normal),
                say(terms.sigma, Unit::One),
                d(terms.noise)
            ),
            value(result.nuisance_edge),
            PRACTICE,
        ),
        Step::new(
            "Edge towards the hazard",
            "x_hi",
            &format!("x_h {back} e_h {back} r t{}", gradient(&on_hazard, back)),
            format!(
                "{} {back} {} {back} {} · {}{on_hazard}",
                terms.say(terms.hazard),
                d(c.error_hazard),
                say(terms.rate, terms.slope),
                say(result.reaction_s, Unit::Second)
            ),
            value(result.harm_edge),
            PRACTICE,
        ),
        Step::new(
            "Room for the threshold",
            "w",
            if terms.over { "x_hi − x_lo" } else { "x_lo − x_hi" },
            format!("{} − {}", terms.say(result.high_edge), terms.say(result.low_edge)),
            difference(result.width),
            PRACTICE,
        ),
        Step::new(
            "Room used",
            "U",
            if c.gradient.is_some() {
                "(e_n + z u + e_h + r t + P R_th)/|x_h − x_n|"
            } else {
                "(e_n + z u + e_h + r t)/|x_h − x_n|"
            },
            format!("{}/{}", d(c.total), d(result.available)),
            Quantity::new(result.used_percent, Unit::Percent),
            "share of the distance from normal to hazard",
        ),
    ];
    steps.extend(risk(terms, result));
    if let Some(sag) = result.sag {
        steps.push(Step::new(
            "Limit under load",
            "V_th(I)",
            "V_th − I R",
            format!("{} − {}", terms.say(sag.at_rest_v), say(sag.sag_v, Unit::Volt)),
            Quantity::new(sag.under_load_v, Unit::Volt),
            "Ohm's law",
        ));
    }
    steps
}

fn risk(terms: &Terms, result: &ThresholdOutput) -> Vec<Step> {
    let (c, judged) = (&result.consumed, &result.judged);
    let d = |value: f64| terms.say_difference(value);
    let one = |value: f64| Quantity::new(value, Unit::One);
    let mut steps = Vec::new();
    if let Some(z) = judged.noise_sigma {
        steps.push(Step::new(
            "Noise left at the normal extreme, error at its limit",
            "z",
            "(|x_th − x_n| − e_n)/u",
            format!("{}/{}", d(z * terms.noise), d(terms.noise)),
            one(z),
            "normal distribution",
        ));
        steps.push(Step::new(
            "Nuisance trips an hour",
            "N",
            "3600 f_s Q(z)ⁿ",
            format!(
                "3600 s · {} · ({})^{}",
                say(terms.sample_hz, Unit::Hertz),
                say(judged.nuisance_per_sample, Unit::One),
                terms.in_a_row
            ),
            one(judged.nuisance_per_hour),
            "independent samples; normal distribution",
        ));
    }
    if let (Some(crossings), Some(z), Some(bandwidth)) = (judged.crossings_per_hour, judged.noise_sigma, terms.noise_hz)
    {
        steps.push(Step::new(
            "Crossings of the threshold by noise an hour",
            "N_0",
            "3600 f_0 exp(−z²/2)",
            format!("3600 s · {} · exp(−({})²/2)", say(bandwidth, Unit::Hertz), say(z, Unit::One)),
            one(crossings),
            "Rice 1944: level crossings of a normal process",
        ));
    }
    steps.push(Step::new(
        "Standard uncertainty at the hazard",
        "u_c",
        if terms.method == super::ErrorMethod::Interval95 { "√((e_h/1.96)² + u²)" } else { "√(e_h²/3 + u²)" },
        format!("from {} and {}", d(c.error_hazard), d(terms.noise)),
        Quantity::new(judged.standard_uncertainty, terms.difference),
        "JCGM 100:2008 clause 4.3.7",
    ));
    steps.push(Step::new(
        "Chance of a missed trip, normal distribution",
        "p_m",
        "Φ(a/u_c)",
        format!("Φ({}/{})", d(-(judged.harm_margin + c.error_hazard)), d(judged.standard_uncertainty)),
        one(judged.missed_probability_normal),
        CONFORMANCE,
    ));
    if !terms.method.is_statistical() {
        steps.push(Step::new(
            "Chance of a missed trip, rectangular error with normal noise",
            "p_m",
            "(u/2e)(G((a + e)/u) − G((a − e)/u)), G(y) = y Φ(y) + φ(y)",
            format!(
                "a = {}, e = {}, u = {}",
                d(-(judged.harm_margin + c.error_hazard)),
                d(c.error_hazard),
                d(terms.noise)
            ),
            one(judged.missed_probability),
            "convolution of both distributions, closed form",
        ));
    }
    steps
}
