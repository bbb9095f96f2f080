//! # What would open the room
//!
//! Every term is a lever: how much room it takes, what halving it gives, and the value at which it alone would be enough.
//! The hazard is no lever, it belongs to what is protected.
//!
//! ```text
//! Formula    dw/de = −2 (one limit on both sides) or −1, dw/du = −z, dw/dz = −u, dw/dr = −(t_r + τ), dw/dt = −r,
//!            dw/dP = −R_th, dw/df_s = r n/f_s², noise and reaction held apart
//! Enough     the best value that the field accepts is judged first, then nearer ones; does one turn all that fails, or at
//!            least the first of it, and does nothing else begin to fail, the nearest one that does is found by halving;
//!            rounded away from today's value to five digits it is put into the input and judged again
//! Order      smallest relative change first; the normal extreme relative to the distance to the hazard
//! Source     derivatives of the window
//! ```

use super::ThresholdInput;
use super::output::{ThresholdConsumed, ThresholdLever};
use super::window::{Gradient, Terms, Window};
use crate::field::Group;
use crate::judge::{Judged, Outcome};
use crate::quantity::{Unit, on_side};
use crate::work::{Halt, Work};

/// What must hold: the room, or the side on which a given threshold fails.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Aim {
    Room,
    Nuisance,
    Harm,
}

impl Aim {
    const ALL: [Self; 3] = [Self::Room, Self::Nuisance, Self::Harm];

    /// What fails.
    fn of(window: &Window) -> Vec<Self> {
        Self::ALL.into_iter().filter(|aim| !aim.holds(window)).collect()
    }

    /// The requirement, where it is asked.
    fn row(self, window: &Window) -> Option<Judged> {
        let given = window.terms.threshold.is_some();
        match self {
            Self::Room if !window.terms.raced => Some(window.room()),
            Self::Nuisance if given => Some(window.nuisance()),
            Self::Harm if given && !window.terms.raced => Some(window.harm()),
            _ => None,
        }
    }

    fn holds(self, window: &Window) -> bool {
        self.row(window).is_none_or(|one| matches!(one.outcome, Outcome::Used(_)) && !one.fails())
    }

    /// What fails of all that a lever may move, in the order of [`Self::ALL`], the range and the pack's own peak.
    fn failing(window: &Window) -> [bool; 5] {
        let [room, nuisance, harm] = Self::ALL.map(|aim| !aim.holds(window));
        let peak = window.pack_peak().is_some_and(|peak| peak.fails());
        [room, nuisance, harm, window.range().fails(), peak]
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
}

pub(super) fn levers<I: ThresholdInput>(input: &I, window: &Window, work: Work) -> Result<Vec<ThresholdLever>, Halt> {
    let terms = &window.terms;
    let mut levers = linear(terms, &window.consumed);
    levers.extend(samples(terms));
    levers.push(normal(terms));
    let aims = Aim::of(window);
    // Beyond the range of its channel nothing that is turned here makes it trip.
    if !aims.is_empty() && !window.range().fails() {
        for lever in &mut levers {
            let enough = enough(input, window, &aims, lever, work)?;
            // The normal extreme may be nothing: its change is told relative to the distance to the hazard.
            let whole = if lever.takes.is_none() { terms.span() } else { lever.value };
            let change = enough.map(|enough| (enough - lever.value).abs() / whole * 100.0);
            (lever.enough_at, lever.change_percent) = (enough, change.filter(|change| change.is_finite()));
        }
    }
    levers.sort_by(|a, b| {
        let order = |lever: &ThresholdLever| lever.change_percent.unwrap_or(f64::INFINITY);
        let takes = |lever: &ThresholdLever| lever.takes.unwrap_or(-1.0);
        order(a).total_cmp(&order(b)).then(takes(b).total_cmp(&takes(a)))
    });
    Ok(levers)
}

/// Questions on the way to a value that is enough. Where noise is drawn no value that asks for another one is looked for: each
/// would cost thousands of courses.
const HALVINGS: u32 = 18;
/// Values that are tried first: the best one, and each half as far as the one before.
const NEARER: u32 = 6;

/// The nearest value, as it is printed, with which the aim holds and nothing else begins to fail: each was put into the
/// input and judged.
fn enough<I: ThresholdInput>(
    input: &I,
    window: &Window,
    aims: &[Aim],
    lever: &ThresholdLever,
    work: Work,
) -> Result<Option<f64>, Halt> {
    let failing = Aim::failing(window);
    let turns = |value: f64, aims: &[Aim]| {
        let mut other = input.clone();
        if !Group::set(&mut other, &lever.field, value) {
            return Ok(false);
        }
        let terms = other.terms();
        if !terms.contradictions().is_empty() {
            return Ok(false);
        }
        let then = Window::of(terms, work)?;
        let worse = Aim::failing(&then).into_iter().zip(failing).any(|(then, before)| then && !before);
        Ok(!worse && aims.iter().all(|aim| aim.holds(&then)))
    };
    let whole = lever.id == "samples_in_a_row";
    // The best value that it can have: nothing, one sample, a rate a thousand times as high, operation so far from hazard and
    // threshold that all that takes room fits between.
    let room = window.terms.span()
        + window.consumed.total
        + window.terms.threshold.map_or(0.0, |threshold| (threshold - window.terms.normal).abs());
    let best = match lever.id.as_str() {
        "samples_in_a_row" => 1.0,
        "sample_rate_hz" => (lever.value * 1e3).min(1e9),
        _ if lever.takes.is_none() => lever.value - window.terms.sign() * room,
        _ => 0.0,
    };
    let shown = |value: f64| if whole { value.floor() } else { on_side(value, 5, value > lever.value) };
    let best = if lever.takes.is_none() && window.terms.unit != Unit::Celsius { best.max(0.0) } else { best };
    let asks_noise = ["noise", "rate", "sample"].iter().any(|word| lever.id.starts_with(word));
    if best == lever.value || (asks_noise && window.is_drawn()) {
        return Ok(None);
    }
    // A rate reaches over decades, everything else is looked for evenly.
    let half = |bad: f64, good: f64| {
        let half = if lever.id == "sample_rate_hz" { (bad * good).sqrt() } else { f64::midpoint(bad, good) };
        if whole { half.floor() } else { half }
    };
    // All that fails where one value is enough for it, else what comes first; where the best value of all makes another side
    // fail, a nearer one may not.
    let all_and_first = [aims, &aims[..1]];
    let mut found = None;
    'found: for aims in &all_and_first[..aims.len().min(2)] {
        let mut good = best;
        for _ in 0..NEARER {
            if turns(good, aims)? {
                found = Some((*aims, good));
                break 'found;
            }
            good = half(lever.value, good);
        }
    }
    let Some((aims, mut good)) = found else { return Ok(None) };
    let mut bad = lever.value;
    for _ in 0..HALVINGS {
        let middle = half(bad, good);
        if middle == bad || middle == good {
            break;
        }
        if turns(middle, aims)? {
            good = middle;
        } else {
            bad = middle;
        }
    }
    // What is offered is the rounded value, as it was judged.
    let shown = shown(good);
    Ok(if turns(shown, aims)? { Some(shown) } else { Some(good) })
}

/// The terms that act in proportion: what one unit of each takes on each side.
fn linear(terms: &Terms, consumed: &ThresholdConsumed) -> Vec<ThresholdLever> {
    let mut levers = Vec::new();
    let mut term = |id: String, label: &str, unit: Unit, value: f64, nuisance: f64, harm: f64| {
        let takes = value * (nuisance + harm);
        if takes > 0.0 {
            levers.push(ThresholdLever::new(id, label, [value, takes], unit, -(nuisance + harm)));
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
    let late = if terms.noise > 0.0 { consumed.noise_hazard / terms.noise } else { 0.0 };
    term(key("noise"), "Noise of a sample", difference, terms.noise, consumed.noise_sigma, late);
    if terms.sigma >= consumed.noise_sigma {
        term("noise_sigma".into(), "Sigma kept", Unit::One, terms.sigma, terms.noise, 0.0);
    }
    term(format!("rate{}", terms.slope.suffix()), "Slope", terms.slope, terms.rate, 0.0, terms.time_s());
    // A way across a barrier that nobody describes is no lever.
    for delay in terms.delays.iter().filter(|delay| delay.key != "link_s" || delay.seconds > 0.0) {
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
fn normal(terms: &Terms) -> ThresholdLever {
    let label = if terms.over { "Highest normal value" } else { "Lowest normal value" };
    let id = format!("normal{}", terms.unit.suffix());
    let lever = ThresholdLever::new(id, label, [terms.normal, 0.0], terms.unit, -terms.sign());
    ThresholdLever { takes: None, halved_gives: None, ..lever }
}

/// The samples in a row, which are whole, and their rate, which acts by its inverse.
fn samples(terms: &Terms) -> Vec<ThresholdLever> {
    let takes = terms.rate * terms.debounce_s();
    if !(takes > 0.0) {
        return Vec::new();
    }
    let n = f64::from(terms.in_a_row);
    let mut levers = Vec::new();
    if terms.in_a_row > 1 {
        let per_unit = -terms.rate / terms.sample_hz;
        levers.push(ThresholdLever::new("samples_in_a_row", "Samples in a row", [n, takes], Unit::One, per_unit));
    }
    let (per_unit, rate) = (takes / terms.sample_hz, terms.sample_hz);
    levers.push(ThresholdLever::new("sample_rate_hz", "Rate of the samples", [rate, takes], Unit::Hertz, per_unit));
    levers
}
