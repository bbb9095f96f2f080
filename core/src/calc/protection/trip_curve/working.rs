//! The working of a trip curve.

use super::{TripCurveInput, TripCurveOutput, reading};
use crate::quantity::{Quantity, Unit, say};
use crate::report::Step;

const CLOSED: &str = "integral of a constant";

pub(super) fn working(input: &TripCurveInput, result: &TripCurveOutput) -> Vec<Step> {
    let ampere = |value: f64| say(value, Unit::Ampere);
    let percent = say(input.error_percent, Unit::Percent);
    let mut steps = vec![
        Step::new(
            "Never trips below",
            "I_lo",
            "(I_n − o)/(1 + e)",
            format!("({} − {})/(1 + {percent})", ampere(input.pickup_a), ampere(input.error_a)),
            Quantity::new(result.pickup_low_a, Unit::Ampere),
            CLOSED,
        ),
        Step::new(
            "Always trips above",
            "I_hi",
            "(I_n + o)/(1 − e)",
            format!("({} + {})/(1 − {percent})", ampere(input.pickup_a), ampere(input.error_a)),
            Quantity::new(result.pickup_high_a, Unit::Ampere),
            CLOSED,
        ),
        Step::new(
            "Error of the square",
            "e_2",
            "(1 + e)² − 1",
            format!("(1 + {percent})² − 1"),
            Quantity::new(result.square_error_percent, Unit::Percent),
            "algebra",
        ),
        Step::new(
            "Largest sum of the load profile, reading high",
            "S",
            "max Σ (I_m² − I_n²) Δt, never below 0",
            format!("over {} steps, current read as I (1 + {percent}) + {}", input.load.len(), ampere(input.error_a)),
            Quantity::new(result.load.peak_a2s, Unit::AmpereSquaredSecond),
            CLOSED,
        ),
    ];
    for point in &result.limits {
        let Some(latest) = point.latest_s else { continue };
        steps.push(Step::new(
            &format!("Latest trip at {}, {}", ampere(point.current_a), point.id),
            "t",
            "K/(I_m² − I_n²) + t_r with I_m = I (1 − e) − o",
            format!(
                "{}/(({})² − ({})²) + {}",
                say(input.trip_a2s, Unit::AmpereSquaredSecond),
                ampere(reading(input, point.current_a, -1.0)),
                ampere(input.pickup_a),
                say(input.reaction_s, Unit::Second)
            ),
            Quantity::new(latest, Unit::Second),
            CLOSED,
        ));
    }
    steps
}
