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

use super::JudgedBy;
use crate::propagation::{Distribution, LANES, Lanes, Model, Source};

/// What moves together, as a stretch of [`Screen::members`].
#[derive(Clone, Copy, Debug)]
struct Move {
    end: usize,
    normal: bool,
    /// What it did to the model that was asked last.
    effect: f64,
}

/// The moves of a list of sources, and what they do to a model.
#[derive(Debug)]
pub struct Screen {
    moves: Vec<Move>,
    /// Source and how far it moves.
    members: Vec<(usize, f64)>,
    estimates: Vec<Lanes>,
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
    /// The model where every limit takes it down, and where every limit takes it up.
    pub ends: [f64; 2],
}

/// How many standard deviations of the normal sources count together.
const NORMAL_K: f64 = 3.0;

impl First {
    /// The size of the error by a method; of a coverage interval about its first-order form.
    pub fn size(&self, by: JudgedBy) -> f64 {
        let normal = NORMAL_K * NORMAL_K * self.normal;
        match by {
            // The corners themselves, with what the products of the limits do there.
            JudgedBy::WorstCase => self.ends[0].abs().max(self.ends[1].abs()) + normal.sqrt(),
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
        let (moves, members) = (Vec::with_capacity(count), Vec::with_capacity(count));
        let mut screen = Self { moves, members, estimates };
        let mut done: Vec<&str> = Vec::new();
        for (place, source) in sources.iter().enumerate() {
            if source.rest() > 0.0 {
                let (reach, normal) = match source.distribution {
                    Distribution::Normal { k } => (source.rest() / k, true),
                    _ => (source.rest(), false),
                };
                screen.members.push((place, reach));
                screen.end(normal);
            }
            let Some(group) = source.group.as_ref().filter(|group| group.common > 0.0) else { continue };
            if done.contains(&&*group.name) {
                continue;
            }
            done.push(&group.name);
            let same = |other: &&Source| other.group.as_ref().is_some_and(|other| other.name == group.name);
            let all = sources.iter().enumerate().filter(|(_, other)| same(other));
            screen.members.extend(all.map(|(place, other)| (place, other.common())));
            screen.end(false);
        }
        screen
    }

    fn end(&mut self, normal: bool) {
        self.moves.push(Move { end: self.members.len(), normal, effect: 0.0 });
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
        first.ends = self.ends(model);
        first
    }

    /// The model at the two corners that the effects point to, normal sources at rest.
    fn ends<M: Model>(&mut self, model: &M) -> [f64; 2] {
        self.corners(1.0);
        let ends = model.evaluate(&self.estimates);
        self.corners(-1.0);
        [ends.0[0], ends.0[1]]
    }

    /// Moves the first lane down and the second up, or back.
    fn corners(&mut self, way: f64) {
        let mut from = 0;
        for one in &self.moves {
            if !one.normal {
                let up = if one.effect < 0.0 { -way } else { way };
                for (place, reach) in &self.members[from..one.end] {
                    let lanes = &mut self.estimates[*place].0;
                    lanes[0] -= up * reach;
                    lanes[1] += up * reach;
                }
            }
            from = one.end;
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
        self.vertex(model, 1.0)
    }

    /// The deviations at which a model is smallest.
    pub fn lowest<M: Model>(&mut self, model: &M) -> Vec<f64> {
        self.vertex(model, -1.0)
    }

    fn vertex<M: Model>(&mut self, model: &M, side: f64) -> Vec<f64> {
        self.walk(model);
        let mut at: Vec<f64> = self.estimates.iter().map(|lanes| lanes.0[0]).collect();
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
