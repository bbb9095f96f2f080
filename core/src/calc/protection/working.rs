//! The working of a threshold: every headline as a step that a pocket calculator can redo.

use super::{Autocorrelation, ErrorMethod, Terms, ThresholdOutput};
use crate::quantity::{Quantity, ampere, ampere_squared_second, hertz, in_sentence, one, percent, second, volt};
use crate::report::Step;

const PRACTICE: &str = "sum of limits on both sides: common practice, no source";
const CONFORMANCE: &str = "JCGM 106:2012 clause 7.3";

pub(super) fn working(terms: &Terms, result: &ThresholdOutput) -> Vec<Step> {
    let c = &result.consumed;
    let d = |value: f64| terms.say_difference(value);
    let (toward, back) = if terms.over { ("+", "−") } else { ("−", "+") };
    let on = |here: bool, sign: &str| match c.gradient.filter(|_| here) {
        Some(gradient) => (format!(" {sign} P R_th"), format!(" {sign} {}", d(gradient))),
        None => <(String, String)>::default(),
    };
    let also = |taken: Option<f64>, sign: &str, symbol: &str| match taken.filter(|taken| *taken > 0.0) {
        Some(taken) => (format!(" {sign} {symbol}"), format!(" {sign} {}", d(taken))),
        None => <(String, String)>::default(),
    };
    let join = |a: (String, String), b: (String, String)| (a.0 + &b.0, a.1 + &b.1);
    let on_normal = join(on(!terms.over, toward), also(c.sag_normal, toward, "V_I"));
    let by_noise = also(Some(c.noise_hazard), back, "D_u");
    let on_hazard = join(join(by_noise, on(terms.over, back)), also(c.sag_hazard, back, "V_I"));
    let late = terms.delays.iter().filter(|delay| delay.seconds > 0.0);
    let times = late.map(|delay| format!(" + {}", second(delay.seconds))).collect::<Vec<_>>().concat();
    let mut steps = Vec::new();
    let mut step = |label: &str, symbol: &str, formula: &str, numbers: String, value: Quantity, source: &str| {
        steps.push(Step::new(label, symbol, formula, numbers, value, source));
    };

    let (label, time) = ("Time from crossing to opening, all lags included", second(result.reaction_s));
    let numbers = format!("{}/{}{times}", terms.in_a_row, hertz(terms.sample_hz));
    step(label, "t", "n/f_s + further times", numbers, time, "sum of the stages");

    let formula = format!("x_n {toward} e_n {toward} z u{}", on_normal.0);
    let (normal, error) = (terms.say(terms.normal), d(c.error_normal));
    let noise = format!("{} · {}{}", one(c.noise_sigma), d(terms.noise), on_normal.1);
    let numbers = format!("{normal} {toward} {error} {toward} {noise}");
    step("Edge towards operation", "x_lo", &formula, numbers, terms.value(result.nuisance_edge), PRACTICE);

    let formula = format!("x_h {back} e_h {back} r t{}", on_hazard.0);
    let (hazard, error) = (terms.say(terms.hazard), d(c.error_hazard));
    let reaction = format!("{} · {time}{}", Quantity::new(terms.rate, terms.slope), on_hazard.1);
    let numbers = format!("{hazard} {back} {error} {back} {reaction}");
    step("Edge towards the hazard", "x_hi", &formula, numbers, terms.value(result.harm_edge), PRACTICE);

    let formula = if terms.over { "x_hi − x_lo" } else { "x_lo − x_hi" };
    let numbers = format!("{} − {}", terms.say(result.high_edge), terms.say(result.low_edge));
    step("Room for the threshold", "w", formula, numbers, terms.distance(result.width), PRACTICE);

    let formula = "(e_n + z u + e_h + r t + all others)/|x_h − x_n|";
    let (numbers, used) = (format!("{}/{}", d(c.total), d(result.available)), percent(result.used_percent));
    step("Room used", "U", formula, numbers, used, "share of the distance from normal to hazard");

    risk(terms, result, &mut step);
    if let Some(sag) = result.sag {
        let numbers = format!("{} − {}", terms.say(sag.at_rest_v), volt(sag.at_rest_v - sag.under_load_v));
        step("Limit under load", "V_th(I)", "V_th − I R_f", numbers, volt(sag.under_load_v), "Ohm's law");
    }
    let late = |value: f64| percent(value);
    let given = format!(
        "row of {} at {}, noise {}, slope {}",
        terms.in_a_row,
        hertz(terms.sample_hz),
        d(terms.noise),
        Quantity::new(terms.rate, terms.slope)
    );
    let (label, source) =
        ("Hazard passed at opening, error at its limit", "first complete row on a ramp in normal noise");
    step(label, "p_l", "P(no n samples in a row in time)", given, late(result.judged.late_percent), source);
    if let Some(worst) = result.let_through {
        let formula = "I² T − 2 I D τ (1 − E) + D² τ (1 − E²)/2, D = I − i_0, E = exp(−T/τ)";
        let numbers = format!("I = {}, T = {}", ampere(worst.step_a), second(worst.off_after_s));
        let value = ampere_squared_second(worst.let_through_a2s);
        step("I²t of the worst fault until it is off", "W", formula, numbers, value, "RL circuit, closed form");
    }
    steps
}

fn risk(terms: &Terms, result: &ThresholdOutput, step: &mut impl FnMut(&str, &str, &str, String, Quantity, &str)) {
    let (c, judged) = (&result.consumed, &result.judged);
    let d = |value: f64| terms.say_difference(value);
    let (noise, error) = (d(terms.noise), d(c.error_hazard));
    if let Some(z) = judged.noise_sigma {
        let (label, formula) = ("Noise left at the normal extreme, error at its limit", "(|x_th − x_n| − e_n)/u");
        let numbers = format!("{}/{noise}", d(z * terms.noise));
        step(label, "z", formula, numbers, one(z), "normal distribution");

        let (rate, trips, n) = (hertz(terms.sample_hz), one(judged.nuisance_per_hour), terms.in_a_row);
        if terms.noise_is == Autocorrelation::White {
            let each = one(judged.nuisance_per_sample);
            let numbers = format!("3600 s · {rate} · ({each})^{n} · (1 − {each})");
            let source = "rows of independent samples; normal distribution";
            step("Nuisance trips an hour", "N", "3600 f_s Q(z)ⁿ (1 − Q(z))", numbers, trips, source);
        } else {
            let numbers =
                format!("3600 s · {rate} · chance that a row of {n} begins, {}", in_sentence(terms.noise_is.label()));
            let source = "multivariate normal distribution, A. Genz 1992";
            step("Nuisance trips an hour", "N", "3600 f_s (P_n − P_(n+1))", numbers, trips, source);
        }
    }
    let interval = terms.method == ErrorMethod::Interval95;
    let formula = if interval { "√((e_h/1.96)² + u²)" } else { "√(e_h²/3 + u²)" };
    let (numbers, standard) = (format!("from {error} and {noise}"), terms.distance(judged.standard_uncertainty));
    step("Standard uncertainty at the hazard", "u_c", formula, numbers, standard, "JCGM 100:2008 clause 4.3.7");

    let beyond = d(-(judged.harm_margin + c.error_hazard));
    let (label, missed) = ("Chance of a missed trip, normal distribution", one(judged.missed_probability_normal));
    let numbers = format!("Φ({beyond}/{})", d(judged.standard_uncertainty));
    step(label, "p_m", "Φ(a/u_c)", numbers, missed, CONFORMANCE);
    if !terms.method.is_statistical() {
        let label = "Chance of a missed trip, rectangular error with normal noise";
        let formula = "(u/2e)(G((a + e)/u) − G((a − e)/u)), G(y) = y Φ(y) + φ(y)";
        let numbers = format!("a = {beyond}, e = {error}, u = {noise}");
        let (missed, source) = (one(judged.missed_probability), "convolution of both distributions, closed form");
        step(label, "p_m", formula, numbers, missed, source);
    }
}
