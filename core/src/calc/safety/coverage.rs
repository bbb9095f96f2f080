//! # How much of a mode is dangerous, and how much of that is seen
//!
//! A fault has a distribution of magnitude. Of what violates the goal, the part that checks see in time is the coverage;
//! what harms nobody counts neither way. Several checks see the union: for each magnitude the best of them. Most look at the
//! deviation of the reading; some at what they make of the fault themselves, which is followed beside it. Somebody is told of a
//! magnitude that a check which signals sees, be it too late to act.
//!
//! ```text
//! Formula    DC = weight of {dangerous and seen}/weight of {dangerous}; alone: seen by one check and by no other
//! Weights    of even steps of the distribution of the magnitude, all curves straight between them; a single value: 1
//! Valid      each sign on its own
//! Source     ISO 26262-5:2018, 8.4 and annex C (coverage of the dangerous part); weights are lengths
//! ```

use super::beside::{Beside, Span, both};
use super::watch::{Asked, Watch};

/// Magnitudes at which a probability is taken.
const MAGNITUDES: u32 = 48;
/// Less weight than this is rounding.
const NOTHING: f64 = 1e-9;

/// What a check sees of what is dangerous.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Each {
    /// Weight of what it sees in time.
    pub in_time: f64,
    /// Whether it sees something, be it too late.
    pub at_last: bool,
}

/// What came of it; parts of 1.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Covered {
    /// Weight of the dangerous deviations.
    pub dangerous: f64,
    /// Of them, seen.
    pub coverage: f64,
    /// Weight of what would be dangerous if goals used this reading alone.
    pub masked: f64,
    /// Of it, the part that a check sees and tells.
    pub masked_told: f64,
    /// What it does as one of two faults.
    pub beside: Beside,
    /// Of what is covered, the part of which somebody is told.
    pub told: f64,
    /// What each check sees of them.
    pub each: Vec<Each>,
    /// Of them, seen by each check and by no other.
    pub alone: Vec<f64>,
    /// Of what one alone sees, the part of which somebody is told.
    pub alone_told: Vec<f64>,
    /// The smallest size that is seen in every direction that matters; nothing where one is not seen.
    pub seen_from: Option<f64>,
    /// Up to which size a dangerous deviation that occurs is not seen; nothing where none is left.
    pub unseen_to: Option<f64>,
    /// Onset the fault to the alarm at the latest, s, by the first check of each magnitude. One that is never in time tells how
    /// late it is.
    pub time_s: Option<f64>,
}

impl Covered {
    /// What comes of it where goals use another reading, of which this is known.
    #[must_use]
    pub fn masked_by(self, used: Self) -> Self {
        let masked = (self.dangerous - used.dangerous).max(0.0);
        let told = |one: &Self| one.dangerous * one.coverage * one.told;
        let masked_told = if masked > 0.0 { ((told(&self) - told(&used)) / masked).clamp(0.0, 1.0) } else { 0.0 };
        Self { masked, masked_told, ..used }
    }
}

/// A piece between two magnitudes on which nothing changes: its ends as shares of the step, and the place of the step.
#[derive(Clone, Copy)]
struct Piece {
    step: usize,
    ends: [f64; 2],
}

impl Piece {
    fn at(self, values: &[f64], share: f64) -> f64 {
        let from = values[self.step];
        values.get(self.step + 1).map_or(from, |to| from + share * (to - from))
    }

    fn middle(self, values: &[f64]) -> f64 {
        self.at(values, 0.5 * (self.ends[0] + self.ends[1]))
    }

    /// It as a part of what a mode does.
    fn span(self, values: &[f64], harm: f64) -> Span {
        let steps = (values.len() - 1).max(1) as f64;
        let [one, other] = self.ends.map(|end| self.at(values, end) / harm);
        Span { shares: self.ends.map(|end| (self.step as f64 + end) / steps), parts: [one.min(other), one.max(other)] }
    }

    /// The smallest and the largest size on it.
    fn sizes(self, values: &[f64]) -> [f64; 2] {
        let [one, other] = self.ends.map(|end| self.at(values, end).abs());
        [one.min(other), one.max(other)]
    }
}

/// The coverage of a mode's deviations by some checks.
pub fn covered(deviations: &[f64], asked: Asked, watches: &[Watch]) -> Covered {
    let (each, none) = (vec![Each::default(); watches.len()], vec![0.0; watches.len()]);
    let mut done = Covered { each, alone: none.clone(), alone_told: none, ..Covered::default() };
    let mut sum = Sum::default();
    let steps = deviations.len().saturating_sub(1).max(1);
    let mut cuts: Vec<f64> = Vec::new();
    for step in 0..steps {
        cuts.clear();
        cut(deviations, step, asked.harm, &mut cuts);
        cut(deviations, step, 0.0, &mut cuts);
        for watch in watches {
            let late =
                [false, true].map(|high| (watch.acts || watch.signals).then(|| watch.seeing.sight.certain(high)));
            let sizes = watch.seeing.from.iter().chain(&late).flatten().filter(|size| size.is_finite());
            sizes.for_each(|size| cut(watch.values(deviations), step, *size, &mut cuts));
        }
        cuts.sort_by(f64::total_cmp);
        let mut from = 0.0;
        for to in cuts.iter().copied().chain([1.0]) {
            let piece = Piece { step, ends: [from, to] };
            let weight = (to - from) / steps as f64;
            from = to;
            if weight > 0.0 {
                sum.add(piece, weight, deviations, &asked, watches, &mut done);
            }
        }
    }
    if asked.harm > 0.0 {
        done.beside.seen = [0, 1].map(|side| {
            let from = |watch: &&Watch<'_>| watch.seeing.beyond(side, asked.harm);
            let own = watches.iter().filter(|watch| watch.sees_all());
            own.filter_map(|watch| from(&watch)).reduce(|one, other| if other.size < one.size { other } else { one })
        });
    }
    sum.close(deviations, &asked, watches, &mut done);
    done
}

/// Where a curve passes a size of either sign within a step, as a share of it.
fn cut(values: &[f64], step: usize, size: f64, cuts: &mut Vec<f64>) {
    let Some([one, other]) = values.get(step..step + 2).and_then(|pair| <[f64; 2]>::try_from(pair).ok()) else {
        return;
    };
    for level in [size, -size] {
        if (one < level) != (other < level) {
            let share = (level - one) / (other - one);
            cuts.push(if share.is_finite() { share } else { 0.5 });
        }
    }
}

/// What is gathered over the pieces.
#[derive(Default)]
struct Sum {
    /// Weight of what is dangerous downwards and upwards, and the largest size of what of it is not seen.
    weight: [f64; 2],
    unseen: [f64; 2],
    unseen_weight: [f64; 2],
    /// The largest size on each side that no check sees, dangerous or not.
    overlooked: [f64; 2],
    /// The latest alarm of what is seen in time.
    time_s: Option<f64>,
    /// The share of the distribution at which the least of what is dangerous lies.
    least: Option<(f64, f64)>,
}

impl Sum {
    fn add(
        &mut self,
        piece: Piece,
        weight: f64,
        deviations: &[f64],
        asked: &Asked,
        watches: &[Watch],
        done: &mut Covered,
    ) {
        let middle = piece.middle(deviations);
        let side = usize::from(middle > 0.0);
        let [least, largest] = piece.sizes(deviations);
        let violated = asked.violated(middle);
        let (mut seen_by, mut soonest) = ([None; 2], None::<f64>);
        let (mut noticed, mut told, mut seen_whole) = (false, false, false);
        for (place, watch) in watches.iter().enumerate() {
            let values = watch.values(deviations);
            let value = piece.middle(values);
            let at_last = watch.seeing.sees_late(value);
            noticed |= at_last && (watch.acts || watch.signals);
            told |= at_last && watch.signals;
            if violated {
                done.each[place].at_last |= at_last;
            }
            if !watch.acts || !watch.seeing.sees(value) {
                continue;
            }
            seen_whole |= watch.sees_all();
            match seen_by[0] {
                None => seen_by[0] = Some(place),
                // What is lost with the first is no other one.
                Some(first) if watches[first].lost_with == watch.lost_with => {}
                Some(_) => seen_by[1] = Some(place),
            }
            if violated {
                done.each[place].in_time += weight;
                // At the end of a piece rounding may stand below what is seen.
                let high = value > 0.0;
                let size = piece.sizes(values)[0].max(watch.seeing.from[usize::from(high)].unwrap_or(0.0));
                let time = watch.seeing.sight.latest_s(size, high);
                soonest = Some(soonest.map_or(time, |before| before.min(time)));
            }
        }
        let [first, second] = seen_by;
        if first.is_none() {
            self.overlooked[side] = self.overlooked[side].max(largest);
        }
        if asked.harm > 0.0 {
            let span = Some(piece.span(deviations, asked.harm));
            let beside = &mut done.beside;
            if violated && seen_whole {
                beside.covered[side] = both(beside.covered[side], span);
            }
            if !violated {
                beside.harmless = both(beside.harmless, span);
                beside.quiet = both(beside.quiet, span.filter(|_| !noticed));
            }
        }
        if !violated {
            return;
        }
        self.weight[side] += weight;
        if self.least.is_none_or(|(size, _)| least < size) {
            let steps = (deviations.len() - 1).max(1) as f64;
            self.least = Some((least, (piece.step as f64 + 0.5 * (piece.ends[0] + piece.ends[1])) / steps));
        }
        let Some(place) = first else {
            self.unseen[side] = self.unseen[side].max(largest);
            self.unseen_weight[side] += weight;
            return;
        };
        if !asked.by_probability {
            done.coverage += weight;
            done.told += if told { weight } else { 0.0 };
            if second.is_none() {
                done.alone[place] += weight;
                done.alone_told[place] += if told { weight } else { 0.0 };
            }
        }
        self.time_s = [self.time_s, soonest].into_iter().flatten().reduce(f64::max);
    }

    fn close(self, deviations: &[f64], asked: &Asked, watches: &[Watch], done: &mut Covered) {
        done.seen_from = Some(0.0);
        for side in [0, 1] {
            if self.weight[side] <= NOTHING {
                continue;
            }
            done.dangerous += self.weight[side];
            if self.unseen_weight[side] > NOTHING {
                done.unseen_to = Some(done.unseen_to.map_or(self.unseen[side], |to: f64| to.max(self.unseen[side])));
            }
            let own = watches.iter().filter(|watch| watch.acts && watch.of.is_none());
            let from = own.filter_map(|watch| watch.seeing.from[side]).reduce(f64::min);
            // What is seen by no deviation is seen from where the last is overlooked.
            let by_itself = watches.iter().any(|watch| watch.acts && watch.of.is_some());
            let beyond = (by_itself && self.unseen_weight[side] < self.weight[side]).then_some(self.overlooked[side]);
            let from = [from, beyond].into_iter().flatten().reduce(f64::min);
            done.seen_from = from.and_then(|from| done.seen_from.map(|all| all.max(from)));
        }
        done.time_s = self.time_s.or_else(|| too_late(deviations, asked, watches));
        if done.dangerous <= 0.0 {
            return;
        }
        if asked.by_probability {
            let at = self.least.map_or(0.0, |(_, share)| share);
            by_probability(deviations, asked, at, watches, done);
        }
        done.told = if done.coverage > 0.0 { told_of(done.told, done.coverage) } else { 0.0 };
        for (told, alone) in done.alone_told.iter_mut().zip(&done.alone) {
            *told = if *alone > 0.0 { told_of(*told, *alone) } else { 0.0 };
        }
        done.coverage /= done.dangerous;
        done.alone.iter_mut().for_each(|alone| *alone /= done.dangerous);
    }
}

/// The part of what is covered that somebody is told of; both are sums of the same weights.
fn told_of(told: f64, covered: f64) -> f64 {
    if told >= covered * (1.0 - NOTHING) { 1.0 } else { told / covered }
}

/// The alarm of what is seen, but never in time: the smallest size that is seen at all, by the first check.
fn too_late(deviations: &[f64], asked: &Asked, watches: &[Watch]) -> Option<f64> {
    let of = |watch: &Watch<'_>| {
        let values = watch.values(deviations);
        let harm = if watch.of.is_some() { 0.0 } else { asked.harm };
        let on = |high: bool| {
            let sign = if high { 1.0 } else { -1.0 };
            let ends = values.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[least, most], value| {
                [least.min(sign * value), most.max(sign * value)]
            });
            let certain = watch.seeing.sight.certain(high);
            let minds = watch.of.is_some() || asked.minds[usize::from(high)];
            let size = certain.max(harm).max(ends[0]);
            (minds && ends[1] >= size).then(|| watch.seeing.sight.latest_s(size, high))
        };
        [false, true].into_iter().filter_map(on).reduce(f64::max)
    };
    watches.iter().filter(|watch| watch.acts).filter_map(of).filter(|time| time.is_finite()).reduce(f64::min)
}

/// A curve at a share of the distribution.
fn along(values: &[f64], share: f64) -> f64 {
    let place = share * (values.len() - 1) as f64;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place of the list")]
    let step = (place.floor() as usize).min(values.len() - 1);
    Piece { step, ends: [0.0; 2] }.at(values, place - step as f64)
}

fn by_probability(deviations: &[f64], asked: &Asked, least: f64, watches: &[Watch], done: &mut Covered) {
    let places = if deviations.len() == 1 { 1 } else { MAGNITUDES };
    let even = (0..places).map(|place| (f64::from(place) + 0.5) / f64::from(places));
    let mut shares: Vec<f64> = even.filter(|share| asked.violated(along(deviations, *share))).collect();
    if shares.is_empty() {
        // Too little is dangerous for the even places: its least size stands for it.
        shares.push(least);
    }
    let part = done.dangerous / shares.len() as f64;
    for share in shares {
        let probability = |watch: &Watch<'_>, within_s: f64| {
            watch.seeing.sight.probability(along(watch.values(deviations), share), within_s)
        };
        let acting = |watch: &Watch<'_>| if watch.acts { probability(watch, asked.within_s) } else { 0.0 };
        let seen: Vec<f64> = watches.iter().map(acting).collect();
        let best = seen.iter().copied().fold(0.0, f64::max);
        done.coverage += part * best;
        let telling = watches.iter().filter(|watch| watch.signals).map(|watch| probability(watch, f64::INFINITY));
        let telling = telling.fold(0.0, f64::max);
        done.told += part * best.min(telling);
        for (index, own) in seen.iter().enumerate() {
            let with = |other: usize| watches[other].lost_with == watches[index].lost_with;
            // Of those that are lost together the first that sees most stands for all.
            let better = |(other, p): (usize, &f64)| with(other) && (*p > *own || (*p == *own && other < index));
            if seen.iter().enumerate().any(better) {
                continue;
            }
            let others = seen.iter().enumerate().filter(|(other, _)| !with(*other)).map(|(_, p)| *p);
            let others = others.fold(0.0, f64::max);
            done.alone[index] += part * (own - others).max(0.0);
            done.alone_told[index] += part * (own.min(telling) - others).max(0.0);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::detection::Sight;
    use super::super::watch::Seeing;
    use super::*;

    fn sight() -> Sight {
        Sight {
            limits: [6.0; 2],
            errors: [0.5, 0.3],
            known: [0.0; 2],
            noise: Some(0.5),
            z: 4.5,
            once: false,
            spread: 1.0,
            averaging_s: 0.0,
            low_pass_s: 0.0,
            slow_s: 0.0,
            grows: f64::INFINITY,
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
            let seeing =
                Seeing::of(Sight { limits: [limit; 2], errors: [0.0; 2], noise: Some(0.0), ..sight() }, within, None);
            Watch { seeing, of: None, acts: true, signals: limit > 6.0, lost_with: usize::from(limit > 6.0) }
        };
        let at = |limit| sees(limit, 1.0);
        let spread = [0.0, 10.0];
        let asked = Asked { harm: 2.0, minds: [true, true], within_s: 1.0, by_probability: false };
        let done = covered(&spread, asked, &[at(8.0), at(5.0)]);
        assert!((done.dangerous - 0.8).abs() < 1e-12 && (done.coverage - 5.0 / 8.0).abs() < 1e-12, "{done:?}");
        assert!((done.alone[1] - 3.0 / 8.0).abs() < 1e-12 && done.alone[0] == 0.0, "{done:?}");
        // Only the one from 8 on tells.
        assert!((done.told - 2.0 / 5.0).abs() < 1e-12, "{done:?}");
        let late = covered(&spread, asked, &[sees(5.0, 0.05)]);
        assert_eq!((late.coverage, late.seen_from), (0.0, None));
        let other_way = covered(&spread, Asked { minds: [true, false], ..asked }, &[at(5.0)]);
        assert_eq!(other_way.dangerous, 0.0);
    }
}
