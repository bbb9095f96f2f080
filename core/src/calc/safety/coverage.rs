//! # How much of a mode is dangerous, and how much of that is seen
//!
//! A fault has a distribution of magnitude. Of what violates the goal, the part that checks see in time is the coverage;
//! what harms nobody counts neither way. Several checks see the union: for each magnitude the best of them.
//!
//! ```text
//! Formula    DC = weight of {dangerous and seen}/weight of {dangerous}; alone: seen by one check and by no other
//! Weights    of even steps of the distribution of the magnitude, the deviation straight between them; a single value: 1
//! Valid      each sign on its own
//! Source     ISO 26262-5:2018, 8.4 and annex C (coverage of the dangerous part); weights are lengths
//! ```

use super::detection::Sight;

/// Magnitudes at which a probability is taken.
const MAGNITUDES: u32 = 48;
/// Less weight than this is rounding.
const NOTHING: f64 = 1e-9;

/// The sizes of a mode's deviations on one side, at even steps of the distribution of its magnitude; straight between them.
#[derive(Debug)]
struct Side {
    high: bool,
    sizes: Vec<f64>,
}

impl Side {
    fn new(high: bool, deviations: &[f64]) -> Self {
        Self { high, sizes: deviations.iter().map(|one| if high { *one } else { -one }).collect() }
    }

    /// Weight of the sizes from one on.
    fn from(&self, size: f64) -> f64 {
        if let [only] = self.sizes.as_slice() {
            return if *only >= size { 1.0 } else { 0.0 };
        }
        let steps = (self.sizes.len() - 1) as f64;
        let above = |pair: &[f64]| {
            let (low, high) = (pair[0].min(pair[1]), pair[0].max(pair[1]));
            if low >= size {
                1.0
            } else if high <= size {
                0.0
            } else {
                (high - size) / (high - low)
            }
        };
        self.sizes.windows(2).map(above).sum::<f64>() / steps
    }

    fn reach(&self) -> f64 {
        self.sizes.iter().copied().fold(f64::NEG_INFINITY, f64::max)
    }

    /// The smallest size from this one on.
    fn least(&self, size: f64) -> f64 {
        size.max(self.sizes.iter().copied().fold(f64::INFINITY, f64::min))
    }

    /// The size at a share of the distribution.
    fn at(&self, share: f64) -> f64 {
        let place = share * (self.sizes.len() - 1) as f64;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place of the list")]
        let low = (place.floor() as usize).min(self.sizes.len() - 1);
        let high = (low + 1).min(self.sizes.len() - 1);
        self.sizes[low] + (self.sizes[high] - self.sizes[low]) * (place - low as f64)
    }
}

/// What is asked of checks.
#[derive(Clone, Copy, Debug)]
pub struct Asked {
    /// Smallest size that violates the goal.
    pub harm: f64,
    /// Whether deviations downwards and upwards violate it.
    pub minds: [bool; 2],
    /// From the fault to the alarm, s; without end where no time is stated.
    pub within_s: f64,
    /// By probability; surely otherwise.
    pub by_probability: bool,
}

/// A check, and from which size on it sees deviations downwards and upwards in time; nothing where it never does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seeing {
    /// The check.
    pub sight: Sight,
    /// From which size on.
    pub from: [Option<f64>; 2],
}

impl Seeing {
    /// Surely, or with a probability.
    pub fn of(sight: Sight, within_s: f64, probability: Option<f64>) -> Self {
        Self { sight, from: [false, true].map(|high| seen_from(&sight, high, within_s, probability)) }
    }
}

/// What came of it; parts of 1.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Covered {
    /// Weight of the dangerous deviations.
    pub dangerous: f64,
    /// Of them, seen.
    pub coverage: f64,
    /// Of them, seen by each check and by no other.
    pub alone: Vec<f64>,
    /// The smallest size that is seen in every direction that matters; nothing where one is not seen.
    pub seen_from: Option<f64>,
    /// Up to which size a dangerous deviation that occurs is not seen; nothing where none is left.
    pub unseen_to: Option<f64>,
    /// From the fault to the alarm at the latest, s: of the smallest size that is seen, by the first check. One that is never
    /// in time tells how late it is.
    pub time_s: Option<f64>,
}

/// The coverage of a mode's deviations by some checks.
pub fn covered(deviations: &[f64], asked: Asked, checks: &[Seeing]) -> Covered {
    let mut done = Covered { alone: vec![0.0; checks.len()], seen_from: Some(0.0), ..Covered::default() };
    for high in [false, true].into_iter().filter(|high| asked.minds[usize::from(*high)]) {
        let side = Side::new(high, deviations);
        // A deviation of nothing is no fault, whatever it is held against.
        let harm = asked.harm.max(f64::MIN_POSITIVE);
        let (weight, reach) = (side.from(harm), side.reach());
        if weight <= NOTHING {
            continue;
        }
        done.dangerous += weight;
        let from = checks.iter().filter_map(|check| check.from[usize::from(high)]).reduce(f64::min);
        let seen = from.map_or(0.0, |from| side.from(harm.max(from)));
        if weight - seen > NOTHING {
            let unseen = from.unwrap_or(reach).min(reach);
            done.unseen_to = Some(done.unseen_to.map_or(unseen, |to: f64| to.max(unseen)));
        }
        done.seen_from = from.and_then(|from| done.seen_from.map(|all| all.max(from)));
        let time = |check: &Seeing| {
            let size = check.from[usize::from(high)].unwrap_or_else(|| check.sight.certain(high));
            let size = side.least(harm).max(size);
            (reach >= size).then(|| check.sight.latest_s(size, high))
        };
        let time = checks.iter().filter_map(time).reduce(f64::min);
        done.time_s = [done.time_s, time].into_iter().flatten().reduce(f64::max);
        if asked.by_probability {
            by_probability(&side, harm, weight, asked.within_s, checks, &mut done);
        } else {
            surely(&side, harm, checks, &mut done);
        }
    }
    if done.dangerous > 0.0 {
        done.coverage /= done.dangerous;
        done.alone.iter_mut().for_each(|alone| *alone /= done.dangerous);
    }
    done
}

fn surely(side: &Side, harm: f64, checks: &[Seeing], done: &mut Covered) {
    let own = |(index, check): (usize, &Seeing)| Some((index, check.from[usize::from(side.high)]?));
    let mut from: Vec<(usize, f64)> = checks.iter().enumerate().filter_map(own).collect();
    from.sort_by(|one, other| one.1.total_cmp(&other.1));
    let seen = |size: f64| side.from(harm.max(size));
    if let Some((first, size)) = from.first() {
        let all = seen(*size);
        done.coverage += all;
        done.alone[*first] += all - from.get(1).map_or(0.0, |second| seen(second.1));
    }
}

fn by_probability(side: &Side, harm: f64, weight: f64, within: f64, checks: &[Seeing], done: &mut Covered) {
    let places = if side.sizes.len() == 1 { 1 } else { MAGNITUDES };
    let all = (0..places).map(|place| side.at((f64::from(place) + 0.5) / f64::from(places)));
    let mut sizes: Vec<f64> = all.filter(|size| *size >= harm).collect();
    if sizes.is_empty() {
        // Too little is dangerous for the even places: its least size stands for it.
        sizes.push(side.least(harm));
    }
    let part = weight / sizes.len() as f64;
    for size in sizes {
        let deviation = if side.high { size } else { -size };
        let seen: Vec<f64> = checks.iter().map(|check| check.sight.probability(deviation, within)).collect();
        done.coverage += part * seen.iter().copied().fold(0.0, f64::max);
        for (index, own) in seen.iter().enumerate() {
            let others = seen.iter().enumerate().filter(|(other, _)| *other != index).map(|(_, p)| *p);
            done.alone[index] += part * (own - others.fold(0.0, f64::max)).max(0.0);
        }
    }
}

/// The smallest size that a check sees in one direction within a time; nothing where it sees none.
fn seen_from(sight: &Sight, high: bool, within: f64, probability: Option<f64>) -> Option<f64> {
    let Some(least) = probability else { return sight.in_time(high, within) };
    let sign = if high { 1.0 } else { -1.0 };
    let enough = |size: f64| sight.probability(sign * size, within) >= least;
    let top = 2.0 * sight.certain(high) + 10.0 * sight.noise.unwrap_or(0.0);
    // The probability rises with the size: a search by halves.
    enough(top).then(|| crate::numeric::first_where(0.0, top, enough))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sight() -> Sight {
        Sight {
            limits: [6.0; 2],
            errors: [0.5, 0.3],
            known: [0.0; 2],
            noise: Some(0.5),
            z: 4.5,
            averaging_s: 0.0,
            interval_s: 0.02,
            in_a_row: 3,
            processing_s: 0.0,
        }
    }

    /// Event simulation with its own generator: units with a static error each, looks with noise each; 30 designs of random
    /// limits, errors, noise, runs and deviations agree within four standard deviations of 20,000 units.
    #[test]
    fn probabilities_are_those_of_simulated_units() {
        let mut state = 0x9E37_79B9_7F4A_7C15_u64;
        let mut uniform = move || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 11) as f64 / 9_007_199_254_740_992.0
        };
        for design in 0..30_u32 {
            let one = Sight {
                errors: [uniform(), 0.8 * uniform()],
                noise: Some(0.1 + 0.6 * uniform()),
                in_a_row: 1 + design % 4,
                ..sight()
            };
            let (deviation, looks) = (5.0 + 3.0 * uniform(), 3 + design % 9);
            let within = (f64::from(looks) + 0.5) * one.interval_s;
            let units = 20_000;
            let mut seen = 0;
            for _ in 0..units {
                let error = one.errors[0] * (2.0 * uniform() - 1.0) + one.errors[1] * (2.0 * uniform() - 1.0);
                let (mut row, mut alarm) = (0, false);
                for _ in 0..looks {
                    let noise =
                        (-2.0 * libm::log(1.0 - uniform())).sqrt() * libm::cos(std::f64::consts::TAU * uniform());
                    let beyond = (deviation + error + one.noise.unwrap_or(0.0) * noise).abs() > one.limits[0];
                    row = if beyond { row + 1 } else { 0 };
                    alarm |= row >= one.in_a_row;
                }
                seen += u32::from(alarm);
            }
            let (share, told) = (f64::from(seen) / f64::from(units), one.probability(deviation, within));
            let spread = (told * (1.0 - told) / f64::from(units)).sqrt();
            assert!((share - told).abs() <= 4.0 * spread + 2e-3, "{share} simulated, {told} told: {one:?}");
        }
    }

    /// Closed form: uniform from 0 to 10, harmful from 2, one check from 5 and one from 8; both signs apart.
    #[test]
    fn several_checks_see_the_union() {
        let sees = |limit, within| {
            Seeing::of(Sight { limits: [limit; 2], errors: [0.0; 2], noise: Some(0.0), ..sight() }, within, None)
        };
        let at = |limit| sees(limit, 1.0);
        let spread = [0.0, 10.0];
        let asked = Asked { harm: 2.0, minds: [true, true], within_s: 1.0, by_probability: false };
        let done = covered(&spread, asked, &[at(8.0), at(5.0)]);
        assert!((done.dangerous - 0.8).abs() < 1e-12 && (done.coverage - 5.0 / 8.0).abs() < 1e-12, "{done:?}");
        assert!((done.alone[1] - 3.0 / 8.0).abs() < 1e-12 && done.alone[0] == 0.0, "{done:?}");
        let late = covered(&spread, asked, &[sees(5.0, 0.05)]);
        assert_eq!((late.coverage, late.seen_from), (0.0, None));
        let other_way = covered(&spread, Asked { minds: [true, false], ..asked }, &[at(5.0)]);
        assert_eq!(other_way.dangerous, 0.0);
    }
}
