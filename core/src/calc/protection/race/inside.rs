//! Where in a string or unit a fault inside it may lie: what part of the voltage drives it.

use super::input::RaceInput;
use crate::numeric::log_grid;
use crate::physics::fault_loop::Loop;

/// Parts of the voltage that may drive a fault inside a string.
const INSIDE: u32 = 33;

/// Halvings between two of them: of a step of a few percent a thousandth of a percent is left.
const CLOSE: u32 = 14;

/// The parts of the voltage that are searched for a fault inside a string, falling: it may lie anywhere in it, and the less
/// drives it the later its fuse. Below the last the switch does not see it.
pub(super) fn parts_inside(input: &RaceInput, sum: &Loop) -> Vec<f64> {
    let least = input.detections()[0].0 * (1.0 + 1e-6) / sum.prospective_a();
    if least >= 1.0 {
        return Vec::new();
    }
    let error = input.fuse.current_tolerance_percent / 100.0;
    let points = input.fuse.points.iter().map(|point| point.current_a * (1.0 + error) / sum.prospective_a());
    // Between two points of the fuse the larger I²t counts, so that its time leaps there.
    let points = points.flat_map(|part| [1.0 - 1e-6, 1.0 + 1e-6].map(|near| part * near));
    let mut parts: Vec<f64> = log_grid(least, 1.0, INSIDE).chain(points).collect();
    parts.retain(|part| (least..=1.0).contains(part));
    parts.sort_by(|one, two| two.total_cmp(one));
    parts
}

/// The largest current at an opening over these falling parts; where its fuse is just no longer first is searched between two.
pub(super) fn largest_opened(parts: &[f64], opened_a: impl Fn(f64) -> Option<f64>) -> Option<f64> {
    let (mut most, mut cleared): (Option<f64>, Option<f64>) = (None, None);
    for part in parts {
        let Some(mut found) = opened_a(*part) else {
            cleared = Some(*part);
            continue;
        };
        if let Some(above) = cleared.take() {
            let (mut opens, mut clears) = (*part, above);
            for _ in 0..CLOSE {
                let middle = 0.5 * (opens + clears);
                match opened_a(middle) {
                    Some(more) => (opens, found) = (middle, found.max(more)),
                    None => clears = middle,
                }
            }
        }
        most = Some(most.map_or(found, |other| other.max(found)));
    }
    most
}
