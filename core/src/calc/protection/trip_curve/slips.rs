//! What shows a slipped power of ten in trip curve: where its values usually lie; common practice, no source.

use super::super::slips::time;
use super::TripCurveInput;
use crate::calculation::{Slip, positive};

/// Its slips.
pub const SLIPS: &[Slip<TripCurveInput>] = &[
    time(
        "the time at one and a half times the pick-up",
        [0.05, 1e4],
        |i| i.trip_a2s / (1.25 * i.pickup_a * i.pickup_a),
        &["/trip_a2s", "/pickup_a"],
    ),
    time("the reaction", [1e-6, 5.0], |i| positive(i.reaction_s), &["/reaction_s"]),
];
