//! The whole result of a threshold: its curve, what would open the room, where both sides are alike.

use super::let_through::Told;
use super::output::{ThresholdBalance, ThresholdLever, ThresholdOutput, ThresholdRisk};
use super::window::Window;
use crate::judge::passes;

/// Points of the risks from normal to hazard.
const RISKS: u32 = 80;

/// The whole result.
pub(super) fn detail(window: &Window, levers: Vec<ThresholdLever>) -> ThresholdOutput {
    let (terms, consumed, span) = (&window.terms, window.consumed, window.terms.span());
    let (low_edge, high_edge) = window.edges();
    let has_room = !passes(consumed.total, span);
    let risk = |step: u32| {
        let judged = window.judge(terms.normal + (terms.hazard - terms.normal) * f64::from(step) / f64::from(RISKS));
        ThresholdRisk {
            threshold: judged.threshold,
            nuisance: judged.nuisance_per_hour / (3600.0 * terms.sample_hz),
            missed: judged.missed_probability,
        }
    };
    ThresholdOutput {
        unit: terms.unit,
        trips_above: terms.over,
        low_edge,
        high_edge,
        nuisance_edge: window.nuisance_edge,
        harm_edge: window.harm_edge,
        width: window.width,
        has_room,
        available: span,
        consumed,
        used_percent: consumed.total / span * 100.0,
        debounce_s: terms.debounce_s(),
        reaction_s: terms.time_s(),
        suggested: has_room.then(|| window.centre()),
        balanced: balanced(window),
        judged: window.judge(window.threshold()),
        curve: (0..=RISKS).map(risk).collect(),
        release: window.release(),
        levers,
        sag: window.sag(),
        let_through: terms.faults.and_then(|faults| match faults.worst(window) {
            Told::Worst(worst) => Some(worst),
            Told::Missing(_) | Told::Never(_) => None,
        }),
    }
}

fn balanced(window: &Window) -> Option<ThresholdBalance> {
    let (terms, consumed, s) = (&window.terms, &window.consumed, window.terms.sign());
    let from = s * terms.normal + (consumed.nuisance_side - consumed.error_normal - consumed.noise);
    let to = s * terms.hazard - (consumed.harm_side - consumed.error_hazard - consumed.noise_hazard);
    let below = terms.method.standard(consumed.error_normal).hypot(terms.noise);
    let above = terms.method.standard(consumed.error_hazard).hypot(terms.noise);
    let both = below + above;
    let sigmas = (to - from) / both;
    let threshold = s * (from + (to - from) * (below / both));
    (both > 0.0 && sigmas.is_finite() && threshold.is_finite()).then_some(ThresholdBalance { threshold, sigmas })
}
