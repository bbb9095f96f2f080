//! # First order, for thousands of states
//!
//! Which state of a chain is the worst is found by moving each deviation to its limit, one at a time and eight at once in
//! the lanes of a vector. Only the states that win are worked out exactly.
//!
//! ```text
//! Formula    δ_i = f(limit of i alone) − f(0);  worst case max |f(corners of the signs of δ)| + k √Σδ_n²;
//!            root-sum-square |K| + √(Σδ_i² + k² Σδ_n²)
//! Symbols    K = f(0) what is known, δ_n the standard deviations of normal sources, k = 3
//! Valid      ranks states of models that are nearly straight in each deviation; it judges nothing
//! Source     JCGM 100:2008, 5.1.3 note 2 (finite differences)
//! ```

use smallvec::SmallVec;

use super::JudgedBy;
use crate::propagation::{Distribution, LANES, Lanes, MANY, Model, Numbers, Source};

/// What moves together, as a stretch of [`Screen::members`].
#[derive(Clone, Copy, Debug)]
struct Move {
    end: usize,
    normal: bool,
    /// What it did to the model that was asked last.
    effect: f64,
    /// What it does at the corner.
    lean: f64,
    /// Whether the corner has still to set it.
    open: bool,
}

/// The moves of a list of sources, and what they do to a model.
#[derive(Debug)]
pub struct Screen {
    moves: SmallVec<[Move; MANY]>,
    /// Source and how far it moves.
    members: SmallVec<[(usize, f64); MANY]>,
    estimates: SmallVec<[Lanes; MANY]>,
    /// The estimates, while they are at a corner.
    rest: SmallVec<[Lanes; MANY]>,
}

/// The sums of one state.
#[derive(Clone, Copy, Debug, Default)]
pub struct First {
    /// What is known, signed.
    pub known: f64,
    /// Sum of the limits.
    pub sum: f64,
    /// Sum of their squares.
    pub squares: f64,
    /// Sum of the squares of the standard deviations of normal sources.
    pub normal: f64,
}

/// A move that does less than this share of the most is set at the corner that the others make.
const SMALL: f64 = 0.02;
/// How often: a move whose effect hangs on one that was set, that hangs on another.
const ROUNDS: usize = 3;
/// The side that what is known points away from counts where it comes so near to the other.
const NEAR: f64 = 0.9;
/// How many standard deviations of the normal sources count together.
const NORMAL_K: f64 = 3.0;

impl First {
    /// The size of the error by a method; of a coverage interval about its first-order form.
    pub fn size(&self, by: JudgedBy) -> f64 {
        let normal = NORMAL_K * NORMAL_K * self.normal;
        match by {
            JudgedBy::WorstCase => self.known.abs() + self.sum + normal.sqrt(),
            JudgedBy::RootSumSquare => self.known.abs() + (self.squares + normal).sqrt(),
            JudgedBy::Probability95 => self.known.abs() + 2.0 * (self.squares / 3.0 + self.normal).sqrt(),
        }
    }
}

impl Screen {
    /// The moves of these sources.
    pub fn new(sources: &[Source]) -> Self {
        let estimates = sources.iter().map(|source| Lanes([source.estimate; LANES])).collect();
        let count = sources.len();
        let (moves, members) = (SmallVec::with_capacity(count), SmallVec::with_capacity(count));
        let mut screen = Self { moves, members, estimates, rest: SmallVec::new() };
        let mut done: Vec<&str> = Vec::new();
        for (place, source) in sources.iter().enumerate() {
            if source.rest() > 0.0 {
                let (reach, normal) = match source.distribution {
                    Distribution::Normal { k } => (source.rest() / k, true),
                    _ => (source.rest(), false),
                };
                screen.members.push((place, reach));
                screen.close(normal);
            }
            let Some(group) = source.group.as_ref().filter(|group| group.common > 0.0) else { continue };
            if done.contains(&&*group.name) {
                continue;
            }
            done.push(&group.name);
            let same = |other: &&Source| other.group.as_ref().is_some_and(|other| other.name == group.name);
            let all = sources.iter().enumerate().filter(|(_, other)| same(other));
            screen.members.extend(all.map(|(place, other)| (place, other.common())));
            screen.close(false);
        }
        screen
    }

    fn close(&mut self, normal: bool) {
        self.moves.push(Move { end: self.members.len(), normal, effect: 0.0, lean: 0.0, open: false });
    }

    /// The sums of a model.
    pub fn sums<M: Model>(&mut self, model: &M) -> First {
        let mut first = First { known: self.walk(model), ..First::default() };
        for one in &self.moves {
            let effect = one.effect;
            if one.normal {
                first.normal += effect * effect;
            } else {
                first.sum += effect.abs();
                first.squares += effect * effect;
            }
        }
        first
    }

    /// What is known, and what each move does alone: normal sources at as many standard deviations as count together.
    pub fn effects<M: Model>(&mut self, model: &M) -> (f64, Vec<f64>) {
        let known = self.walk(model);
        let effect = |one: &Move| if one.normal { NORMAL_K * one.effect } else { one.effect };
        (known, self.moves.iter().map(effect).collect())
    }

    /// The source that each move moves first.
    pub fn moved(&self) -> Vec<usize> {
        let mut from = 0;
        let first = |one: &Move| {
            let place = self.members.get(from).map_or(usize::MAX, |member| member.0);
            from = one.end;
            place
        };
        self.moves.iter().map(first).collect()
    }

    /// The size of the error of a model by a method: the worst case at its corners themselves, with what the products of the
    /// limits do there.
    pub fn size<M: Model>(&mut self, model: &M, by: JudgedBy) -> f64 {
        let first = self.sums(model);
        if by != JudgedBy::WorstCase {
            return first.size(by);
        }
        let small = SMALL * first.sum;
        let near = |side: &f64| side * first.known + first.sum >= NEAR * (first.known.abs() + first.sum);
        let ends = [-1.0, 1.0].into_iter().filter(near).map(|side| self.end(model, side, small).abs());
        ends.fold(0.0, f64::max) + NORMAL_K * first.normal.sqrt()
    }

    /// The model at one end: at the corner that the effects point to. Where a move does next to nothing alone, its sign is a
    /// matter of rounding: at the corner it acts by what it multiplies, and is set by what it does there.
    fn end<M: Model>(&mut self, model: &M, side: f64, small: f64) -> f64 {
        self.rest.clone_from(&self.estimates);
        let mut from = 0;
        for index in 0..self.moves.len() {
            let one = &mut self.moves[index];
            one.lean = one.effect;
            one.open = !one.normal && one.effect.abs() <= small;
            if !one.normal && !one.open {
                self.set(from, index, side);
            }
            from = self.moves[index].end;
        }
        let mut corner = model.evaluate(&self.estimates).0[0];
        for _ in 0..ROUNDS {
            let most = self.lean(model, corner);
            if most == 0.0 {
                break;
            }
            let mut from = 0;
            for index in 0..self.moves.len() {
                let one = &mut self.moves[index];
                if one.open && one.lean.abs() > SMALL * most {
                    one.open = false;
                    self.set(from, index, side);
                }
                from = self.moves[index].end;
            }
            corner = model.evaluate(&self.estimates).0[0];
        }
        self.estimates.clone_from(&self.rest);
        corner
    }

    /// Works out what each open move does to the model that is at a corner, and gives the most that one does.
    fn lean<M: Model>(&mut self, model: &M, corner: f64) -> f64 {
        let (mut from, mut lanes, mut most) = (0, 0, 0.0_f64);
        let mut batch = [(0, 0); LANES];
        for index in 0..self.moves.len() {
            let one = self.moves[index];
            if one.open {
                self.push(from..one.end, lanes, 1.0);
                batch[lanes] = (index, from);
                lanes += 1;
            }
            from = one.end;
            if lanes == LANES || (index + 1 == self.moves.len() && lanes > 0) {
                let moved = model.evaluate(&self.estimates);
                for (lane, &(index, from)) in batch.iter().enumerate().take(lanes) {
                    self.push(from..self.moves[index].end, lane, -1.0);
                    self.moves[index].lean = moved.0[lane] - corner;
                    most = most.max(self.moves[index].lean.abs());
                }
                lanes = 0;
            }
        }
        most
    }

    /// Moves a stretch of members in one lane.
    fn push(&mut self, members: std::ops::Range<usize>, lane: usize, way: f64) {
        for (place, reach) in &self.members[members] {
            self.estimates[*place].0[lane] += way * reach;
        }
    }

    /// Moves a move to the limit of a side in every lane.
    fn set(&mut self, from: usize, index: usize, side: f64) {
        let one = self.moves[index];
        let way = if one.lean < 0.0 { -side } else { side };
        for (place, reach) in &self.members[from..one.end] {
            for lane in &mut self.estimates[*place].0 {
                *lane += way * reach;
            }
        }
    }

    /// Works out what each move does, and gives what is known.
    fn walk<M: Model>(&mut self, model: &M) -> f64 {
        let known = model.evaluate(&self.estimates).0[0];
        let mut from = 0;
        for moves in self.moves.chunks_mut(LANES) {
            let begin = from;
            for (lane, one) in moves.iter().enumerate() {
                for (place, reach) in &self.members[from..one.end] {
                    self.estimates[*place].0[lane] += reach;
                }
                from = one.end;
            }
            let moved = model.evaluate(&self.estimates);
            let mut from = begin;
            for (lane, one) in moves.iter_mut().enumerate() {
                one.effect = moved.0[lane] - known;
                for (place, reach) in &self.members[from..one.end] {
                    self.estimates[*place].0[lane] -= reach;
                }
                from = one.end;
            }
        }
        known
    }

    /// The deviations at which a model is largest, to first order; normal sources at three standard deviations.
    pub fn highest<M: Model>(&mut self, model: &M) -> Vec<f64> {
        self.walk(model);
        self.vertex(1.0).into_vec()
    }

    /// The deviations at which a model is smallest.
    pub fn lowest<M: Model>(&mut self, model: &M) -> Vec<f64> {
        self.walk(model);
        self.vertex(-1.0).into_vec()
    }

    /// The model where it is smallest and where it is largest, to first order.
    pub fn extremes<M: Model>(&mut self, model: &M) -> (f64, f64) {
        self.walk(model);
        (model.evaluate(&self.vertex(-1.0)), model.evaluate(&self.vertex(1.0)))
    }

    /// The deviations at an end, by the effects that were worked out last.
    fn vertex(&self, side: f64) -> Numbers {
        let mut at: Numbers = self.estimates.iter().map(|lanes| lanes.0[0]).collect();
        let mut from = 0;
        for one in &self.moves {
            let sign = if one.effect < 0.0 { -side } else { side } * if one.normal { NORMAL_K } else { 1.0 };
            for (place, reach) in &self.members[from..one.end] {
                at[*place] += sign * reach;
            }
            from = one.end;
        }
        at
    }
}
