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

use serde::Serialize;
use utoipa::ToSchema;

use super::window::{Terms, Window};
use crate::quantity::Unit;

/// A term and what changing it would do.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ThresholdLever {
    /// Its field.
    pub id: String,
    /// What it is.
    pub label: String,
    /// The unit of its value.
    #[schema(value_type = String)]
    pub unit: Unit,
    /// Its value now.
    pub value: f64,
    /// What it takes of the room; absent for the normal extreme.
    pub takes: Option<f64>,
    /// Change of the width for one unit more of it.
    pub width_per_unit: f64,
    /// What halving it gives; for a rate of samples, doubling it.
    pub halved_gives: Option<f64>,
    /// The value at which it alone is enough; absent when nothing is missing or it cannot be enough.
    pub enough_at: Option<f64>,
    /// That change, relative, percent.
    pub change_percent: Option<f64>,
    /// JSON Pointer to its field.
    pub field: String,
}

/// What is to be opened.
#[derive(Clone, Copy, Debug)]
pub enum Aim {
    /// Nothing is missing.
    Nothing,
    /// The room: by this much it is short.
    Room(f64),
    /// The given threshold lies too near to allowed operation.
    Nuisance(f64),
    /// The given threshold lies too near to the hazard.
    Harm(f64),
}

impl Aim {
    /// The room first, then the side on which a given threshold fails.
    pub(super) fn of(window: &Window) -> Self {
        let given = window.terms.threshold.is_some();
        let (s, threshold) = (window.terms.sign(), window.threshold());
        if window.room().fails() {
            Self::Room(-window.width)
        } else if given && window.nuisance().fails() {
            Self::Nuisance(s * (window.nuisance_edge - threshold))
        } else if given && window.harm().fails() {
            Self::Harm(s * (threshold - window.harm_edge))
        } else {
            Self::Nothing
        }
    }
}

/// A term before its change is worked out: what one unit of it takes on each side.
struct Term {
    id: String,
    label: &'static str,
    unit: Unit,
    value: f64,
    nuisance: f64,
    harm: f64,
}

pub(super) fn levers(terms: &Terms, aim: Aim) -> Vec<ThresholdLever> {
    let mut levers: Vec<ThresholdLever> = all(terms)
        .into_iter()
        .filter(|term| term.value * (term.nuisance + term.harm) > 0.0)
        .map(|term| linear(&term, aim))
        .collect();
    levers.extend(samples(terms, aim));
    let normal = Term {
        id: format!("normal{}", terms.unit.suffix()),
        label: if terms.over { "Highest normal value" } else { "Lowest normal value" },
        unit: terms.unit,
        value: terms.normal,
        nuisance: 1.0,
        harm: 0.0,
    };
    let short = match aim {
        Aim::Room(short) | Aim::Nuisance(short) => Some(short),
        Aim::Nothing | Aim::Harm(_) => None,
    };
    levers.push(ThresholdLever {
        takes: None,
        width_per_unit: -terms.sign(),
        halved_gives: None,
        // A value on the other side of zero is another operation, no change of this one.
        enough_at: short.map(|short| terms.normal - terms.sign() * short).filter(|value| {
            let same_side = terms.unit == Unit::Celsius || value.signum() == terms.normal.signum();
            value.is_finite() && same_side
        }),
        change_percent: short.map(|short| short / terms.span() * 100.0).filter(|share| share.is_finite()),
        ..linear(&normal, Aim::Nothing)
    });
    levers.sort_by(|a, b| {
        let order = |lever: &ThresholdLever| lever.change_percent.unwrap_or(f64::INFINITY);
        let takes = |lever: &ThresholdLever| lever.takes.unwrap_or(-1.0);
        order(a).total_cmp(&order(b)).then(takes(b).total_cmp(&takes(a)))
    });
    levers
}

fn all(terms: &Terms) -> Vec<Term> {
    let term = |id: String, label: &'static str, unit: Unit, value: f64, nuisance: f64, harm: f64| Term {
        id,
        label,
        unit,
        value,
        nuisance,
        harm,
    };
    let key = |name: &str| format!("{name}{}", terms.difference.suffix());
    let difference = terms.difference;
    let mut all = match terms.error_hazard {
        None => vec![term(key("error_normal"), "Error limit on both sides", difference, terms.error_normal, 1.0, 1.0)],
        Some(at_hazard) => vec![
            term(key("error_normal"), "Error limit at the normal value", difference, terms.error_normal, 1.0, 0.0),
            term(key("error_hazard"), "Error limit at the hazard", difference, at_hazard, 0.0, 1.0),
        ],
    };
    all.extend([
        term(key("noise"), "Noise of a sample", difference, terms.noise, terms.sigma, 0.0),
        term("noise_sigma".into(), "Sigma kept", Unit::One, terms.sigma, terms.noise, 0.0),
        term(format!("rate{}", terms.slope.suffix()), "Slope", terms.slope, terms.rate, 0.0, terms.time_s()),
    ]);
    for delay in &terms.delays {
        all.push(term(delay.key.into(), delay.label, Unit::Second, delay.seconds, 0.0, terms.rate));
    }
    if let Some(gradient) = terms.gradient {
        let side = |each: f64| if terms.over { (0.0, each) } else { (each, 0.0) };
        let (nuisance, harm) = side(gradient.k_per_w);
        all.push(term("cell_power_w".into(), "Loss of the cell", Unit::Watt, gradient.power_w, nuisance, harm));
        let (nuisance, harm) = side(gradient.power_w);
        let id = "cell_to_sensor_k_per_w".into();
        all.push(term(id, "Cell to sensor", Unit::KelvinPerWatt, gradient.k_per_w, nuisance, harm));
    }
    all
}

fn linear(term: &Term, aim: Aim) -> ThresholdLever {
    let takes = term.value * (term.nuisance + term.harm);
    let (short, each) = match aim {
        Aim::Nothing => (0.0, 0.0),
        Aim::Room(short) => (short, term.nuisance + term.harm),
        Aim::Nuisance(short) => (short, term.nuisance),
        Aim::Harm(short) => (short, term.harm),
    };
    let change = short / each;
    let enough = (short > 0.0 && change.is_finite() && change <= term.value).then_some(change);
    ThresholdLever {
        id: term.id.clone(),
        label: term.label.into(),
        unit: term.unit,
        value: term.value,
        takes: Some(takes),
        width_per_unit: -(term.nuisance + term.harm),
        halved_gives: Some(takes / 2.0),
        enough_at: enough.map(|change| term.value - change),
        change_percent: enough.map(|change| change / term.value * 100.0),
        field: format!("/{}", term.id),
    }
}

/// The samples in a row, which are whole, and their rate, which acts by its inverse.
fn samples(terms: &Terms, aim: Aim) -> Vec<ThresholdLever> {
    let takes = terms.rate * terms.debounce_s();
    if !(takes > 0.0) {
        return Vec::new();
    }
    let n = f64::from(terms.in_a_row);
    let short = match aim {
        Aim::Room(short) | Aim::Harm(short) => Some(short),
        Aim::Nothing | Aim::Nuisance(_) => None,
    };
    let left = short.map(|short| terms.debounce_s() - short / terms.rate).filter(|left| *left > 0.0);
    let fewer = left.map(|left| (left * terms.sample_hz * (1.0 + 1e-12)).floor()).filter(|fewer| *fewer >= 1.0);
    let faster = left.map(|left| n / left).filter(|faster| faster.is_finite());
    let lever = |id: &str, label: &str, unit: Unit, value: f64, per_unit: f64, enough_at: Option<f64>| ThresholdLever {
        id: id.into(),
        label: label.into(),
        unit,
        value,
        takes: Some(takes),
        width_per_unit: per_unit,
        halved_gives: Some(takes / 2.0),
        enough_at,
        change_percent: enough_at
            .map(|enough| (enough / value - 1.0).abs() * 100.0)
            .filter(|change| change.is_finite()),
        field: format!("/{id}"),
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
