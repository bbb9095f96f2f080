//! # What would open the room
//!
//! Every term is a lever: how much room it takes, what halving it gives, and the value at which it alone would be enough.
//! The hazard is no lever, it belongs to what is protected.
//!
//! ```text
//! Formula    dw/de = −2 (one limit on both sides) or −1, dw/du = −z, dw/dz = −u, dw/dr = −(t_r + τ), dw/dt = −r,
//!            dw/dP = −R_th, dw/df_s = r n/f_s²;  value that is enough: x − short/|dw/dx|, for f_s: n/(n/f_s − short/r)
//! Order      smallest relative change first; the normal extreme relative to the distance to the hazard
//! Source     derivatives of the window
//! ```

use super::output::ThresholdLever;
use super::window::{Gradient, Terms, Window};
use crate::quantity::Unit;

/// By how much something is short, and which sides of it count: the room, or the side on which a given threshold fails.
#[derive(Clone, Copy, Debug, Default)]
struct Aim {
    short: f64,
    nuisance: bool,
    harm: bool,
}

impl Aim {
    fn of(window: &Window) -> Self {
        let given = window.terms.threshold.is_some();
        let (s, threshold) = (window.terms.sign(), window.threshold());
        if window.room().fails() {
            Self { short: -window.width, nuisance: true, harm: true }
        } else if given && window.nuisance().fails() {
            Self { short: s * (window.nuisance_edge - threshold), nuisance: true, harm: false }
        } else if given && window.harm().fails() {
            Self { short: s * (threshold - window.harm_edge), nuisance: false, harm: true }
        } else {
            Self::default()
        }
    }
}

impl ThresholdLever {
    /// A term with its value and what it takes.
    fn new(name: impl Into<String>, label: &str, [value, takes]: [f64; 2], unit: Unit, width_per_unit: f64) -> Self {
        let id = name.into();
        Self {
            label: label.into(),
            unit,
            value,
            takes: Some(takes),
            width_per_unit,
            halved_gives: Some(takes / 2.0),
            enough_at: None,
            change_percent: None,
            field: format!("/{id}"),
            id,
        }
    }

    /// The value at which it alone is enough, and that change in percent.
    fn enough(self, enough_at: Option<f64>, change_percent: Option<f64>) -> Self {
        Self { enough_at, change_percent: change_percent.filter(|change| change.is_finite()), ..self }
    }
}

pub(super) fn levers(window: &Window) -> Vec<ThresholdLever> {
    let (terms, aim) = (&window.terms, Aim::of(window));
    let mut levers = linear(terms, aim);
    levers.extend(samples(terms, aim));
    levers.push(normal(terms, aim));
    levers.sort_by(|a, b| {
        let order = |lever: &ThresholdLever| lever.change_percent.unwrap_or(f64::INFINITY);
        let takes = |lever: &ThresholdLever| lever.takes.unwrap_or(-1.0);
        order(a).total_cmp(&order(b)).then(takes(b).total_cmp(&takes(a)))
    });
    levers
}

/// The terms that act in proportion: what one unit of each takes on each side.
fn linear(terms: &Terms, aim: Aim) -> Vec<ThresholdLever> {
    let mut levers = Vec::new();
    let mut term = |id: String, label: &str, unit: Unit, value: f64, nuisance: f64, harm: f64| {
        let takes = value * (nuisance + harm);
        if takes > 0.0 {
            let each = if aim.nuisance { nuisance } else { 0.0 } + if aim.harm { harm } else { 0.0 };
            let change = aim.short / each;
            let enough = (aim.short > 0.0 && change.is_finite() && change <= value).then_some(change);
            let lever = ThresholdLever::new(id, label, [value, takes], unit, -(nuisance + harm));
            levers.push(lever.enough(enough.map(|change| value - change), enough.map(|change| change / value * 100.0)));
        }
    };
    let difference = terms.difference;
    let key = |name: &str| format!("{name}{}", difference.suffix());
    match terms.error_hazard {
        None => term(key("error_normal"), "Error limit on both sides", difference, terms.error_normal, 1.0, 1.0),
        Some(at_hazard) => {
            let at_normal = terms.error_normal;
            term(key("error_normal"), "Error limit at the normal value", difference, at_normal, 1.0, 0.0);
            term(key("error_hazard"), "Error limit at the hazard", difference, at_hazard, 0.0, 1.0);
        }
    }
    term(key("noise"), "Noise of a sample", difference, terms.noise, terms.sigma, 0.0);
    term("noise_sigma".into(), "Sigma kept", Unit::One, terms.sigma, terms.noise, 0.0);
    term(format!("rate{}", terms.slope.suffix()), "Slope", terms.slope, terms.rate, 0.0, terms.time_s());
    for delay in &terms.delays {
        term(delay.key.into(), delay.label, Unit::Second, delay.seconds, 0.0, terms.rate);
    }
    if let Some(Gradient { power_w, k_per_w }) = terms.gradient {
        let side = |each: f64| if terms.over { (0.0, each) } else { (each, 0.0) };
        let ((nuisance, harm), (path_nuisance, path_harm)) = (side(k_per_w), side(power_w));
        term("cell_power_w".into(), "Loss of the cell", Unit::Watt, power_w, nuisance, harm);
        let id = "cell_to_sensor_k_per_w".into();
        term(id, "Cell to sensor", Unit::KelvinPerWatt, k_per_w, path_nuisance, path_harm);
    }
    levers
}

/// The normal extreme, which takes nothing itself.
fn normal(terms: &Terms, aim: Aim) -> ThresholdLever {
    let short = aim.nuisance.then_some(aim.short);
    let label = if terms.over { "Highest normal value" } else { "Lowest normal value" };
    let id = format!("normal{}", terms.unit.suffix());
    let lever = ThresholdLever::new(id, label, [terms.normal, 0.0], terms.unit, -terms.sign());
    // A value on the other side of zero is another operation, no change of this one.
    let enough_at = short.map(|short| terms.normal - terms.sign() * short).filter(|value| {
        let same_side = terms.unit == Unit::Celsius || value.signum() == terms.normal.signum();
        value.is_finite() && same_side
    });
    let lever = lever.enough(enough_at, short.map(|short| short / terms.span() * 100.0));
    ThresholdLever { takes: None, halved_gives: None, ..lever }
}

/// The samples in a row, which are whole, and their rate, which acts by its inverse.
fn samples(terms: &Terms, aim: Aim) -> Vec<ThresholdLever> {
    let takes = terms.rate * terms.debounce_s();
    if !(takes > 0.0) {
        return Vec::new();
    }
    let n = f64::from(terms.in_a_row);
    let short = aim.harm.then_some(aim.short);
    let left = short.map(|short| terms.debounce_s() - short / terms.rate).filter(|left| *left > 0.0);
    let fewer = left.map(|left| (left * terms.sample_hz * (1.0 + 1e-12)).floor()).filter(|fewer| *fewer >= 1.0);
    let faster = left.map(|left| n / left).filter(|faster| faster.is_finite());
    let lever = |id: &str, label: &str, unit: Unit, value: f64, per_unit: f64, enough_at: Option<f64>| {
        let change = enough_at.map(|enough| (enough / value - 1.0).abs() * 100.0);
        ThresholdLever::new(id, label, [value, takes], unit, per_unit).enough(enough_at, change)
    };
    let mut levers = Vec::new();
    if terms.in_a_row > 1 {
        let per_unit = -terms.rate / terms.sample_hz;
        levers.push(lever("samples_in_a_row", "Samples in a row", Unit::One, n, per_unit, fewer));
    }
    let per_unit = takes / terms.sample_hz;
    levers.push(lever("sample_rate_hz", "Rate of the samples", Unit::Hertz, terms.sample_hz, per_unit, faster));
    levers
}
