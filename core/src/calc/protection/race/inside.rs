//! A fault inside a string or unit, fed by all others through its devices: where it may lie, what part of the voltage drives it,
//! and what they see of it.

use super::clamp::clamp;
use super::fault::Fault;
use super::fuse::{Melting, Told, melting};
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

impl Fault {
    /// The same with a fault inside a string, whose devices see the sum of what all others feed: no more than as many times
    /// what passes while all carry.
    pub(super) fn inside(&self, input: &RaceInput, own: Told, together: Told) -> Told {
        let Some(sum) = self.seen.reverse else { return own };
        let feeding = f64::from(input.feeding());
        let fuse = Self::needs_inside(input, &sum).map_or(Told::Never, |needs| needs.clearing);
        own.most(together.then(|a2s| Told::Value(a2s * feeding * feeding)).first(fuse))
    }

    /// The most that flows backwards in a string with a fault inside until the others or its own fuse have ended it, A.
    pub fn reverse_a(&self, input: &RaceInput) -> Option<f64> {
        let circuit = self.seen.reverse?;
        let over = self.over_inside(input).value();
        let begins_a = self.begins_inside_a(input)[1];
        Some(over.map_or_else(
            || circuit.prospective_a().max(begins_a),
            |time| circuit.current_a(begins_a, time).max(begins_a),
        ))
    }

    /// When a fault inside a string has surely ended, s.
    pub fn over_inside(&self, input: &RaceInput) -> Told {
        self.over().first(self.cleared_inside(input))
    }

    /// What may flow backwards in a string when a fault inside begins, A: what it carried, or what all others did, whose
    /// current goes into the fault at once where they have their inductance for themselves.
    fn begins_inside_a(&self, input: &RaceInput) -> [f64; 2] {
        let (own, others) = (-self.before_a, f64::from(input.feeding()) * self.before_a);
        [own.min(others), own.max(others)]
    }

    /// What the fuse of a string with a fault inside needs at a current that the others feed.
    fn needs_inside(input: &RaceInput, sum: &Loop) -> Option<Melting> {
        let last = sum.prospective_a();
        melting(input, [last, last], sum.voltage_v, sum.time_constant_s())
    }

    /// When that fuse has surely cleared, s.
    fn cleared_inside(&self, input: &RaceInput) -> Told {
        self.seen.reverse.map_or(Told::Never, |sum| self.clears_inside(input, &sum))
    }

    fn clears_inside(&self, input: &RaceInput, sum: &Loop) -> Told {
        let timed = Self::needs_inside(input, sum).map_or(Told::Never, |needs| needs.timed);
        timed.then(|a2s| sum.time_for_s(self.begins_inside_a(input)[0], a2s).map_or(Told::Never, Told::Value))
    }

    /// What is missing to know whether that fuse has cleared before the switch opens, where it may have.
    pub(super) fn unless_inside(&self, input: &RaceInput, sum: &Loop) -> Option<&'static str> {
        let missing = self.clears_inside(input, sum).missing()?;
        let needs = Self::needs_inside(input, sum)?;
        let melts = sum.time_for_s(self.begins_inside_a(input)[1], needs.low_a2s)?;
        self.ends_inside_s(input, sum).is_none_or(|opens| melts < opens).then_some(missing)
    }

    /// The same of whatever part of the voltage drives the fault.
    pub fn backwards_unless(&self, input: &RaceInput) -> Option<&'static str> {
        let circuit = self.seen.reverse?;
        parts_inside(input, &circuit).iter().find_map(|part| self.unless_inside(input, &circuit.driven_by(*part)))
    }

    /// What the switch of that string may have to break backwards, A; none where its fuse has always cleared before.
    pub fn backwards_a(&self, input: &RaceInput) -> Option<f64> {
        let circuit = self.seen.reverse?;
        let parts = parts_inside(input, &circuit);
        largest_opened(&parts, |share| self.opened_inside_a(input, &circuit.driven_by(share)))
    }

    /// What the switch of a string with a fault inside may have to break of a loop that the others feed, A; none where its fuse
    /// has always cleared before.
    fn opened_inside_a(&self, input: &RaceInput, sum: &Loop) -> Option<f64> {
        let ((low, filter), [_, begins_a]) = (input.detections()[0], self.begins_inside_a(input));
        let earliest = sum.filtered_time_to_s(begins_a, low, filter)? + input.reaction().0;
        if self.clears_inside(input, sum).value().is_some_and(|cleared| cleared <= earliest) {
            return None;
        }
        let end = self.ends_inside_s(input, sum);
        // Where it falls, it is largest at the earliest.
        let last_a = end.map_or_else(|| sum.prospective_a(), |end| sum.current_a(begins_a, end));
        Some(last_a.max(sum.current_a(begins_a, earliest)))
    }

    /// When the devices of that string have surely opened or cleared a loop that the others feed, s.
    pub fn ends_inside_s(&self, input: &RaceInput, sum: &Loop) -> Option<f64> {
        let (high, filter) = input.detections()[1];
        let begins_a = self.begins_inside_a(input)[0];
        let opened = sum.filtered_time_to_s(begins_a, high, filter).map(|time| time + input.reaction().1);
        [opened, self.clears_inside(input, sum).value()].into_iter().flatten().reduce(f64::min)
    }

    /// What the clamp takes where the switch opens so much backwards, J.
    pub fn clamped_backwards_j(&self, input: &RaceInput, most_a: f64) -> Option<f64> {
        let (sum, clamp_v) = self.seen.reverse.zip(input.switch.clamp_voltage_v)?;
        clamp(&sum, most_a, clamp_v).map(|clamp| clamp.energy_j)
    }
}
