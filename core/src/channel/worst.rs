//! # The value that uses most of the allowance
//!
//! Every place of the range at which the error can be largest is looked at, and of the values between them every so many;
//! of the others those that use most in the worst states of their neighbours, where one of these comes near. What comes near is refined between the states of the grids,
//! and the largest of these are judged by the exact model.
//!
//! ```text
//! Formula    largest of |e(x)|/A(x) over the range
//! Near       at least 0.8 of the largest share that was seen, to first order
//! Valid      between two neighbours that both stay far below the largest a smooth share does not rise above it
//! Source     JCGM 100:2008, 5.1.3 for the first order; common practice, no source, for the grid
//! ```

use super::JudgedBy;
use super::calibrated::Value;
use super::chain::Chain;
use super::corners::{CLOSE, Corners, Judging, Point};
use super::screen::Screen;
use super::search::{Found, Ranked};
use crate::work::{Halt, Work};

/// Values that use less than this share of what the one that uses most does, to first order, are looked at no closer.
const NEAR: f64 = 0.8;
/// Of the values between the places every so many are looked at first.
const FIRST: usize = 4;
/// How many values are refined, and how many of these are judged exactly.
const REFINED: usize = 6;
const EXACT: usize = 3;

/// A value and its worst states on the grids.
struct Looked<'a, C: Chain> {
    value: Value<'a, C>,
    allowed: f64,
    ranked: Vec<Ranked<C::State>>,
}

/// The share of a value, the value, and its worst states between those of the grids.
type Near<'a, C> = (f64, Value<'a, C>, Vec<Found<<C as Chain>::State>>);

impl<C: Chain> Looked<'_, C> {
    fn share(&self) -> f64 {
        share(self.ranked.first().map(|one| one.found.about), self.allowed)
    }
}

/// The share that an error uses: more than all of it where nothing is allowed or nothing is known.
fn share(about: Option<f64>, allowed: f64) -> f64 {
    about.filter(|_| allowed > 0.0).map_or(f64::INFINITY, |about| about / allowed)
}

impl<'a, C: Corners> Judging<'a, C> {
    /// The value of the range at which most of the allowance is used, in its worst state.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn worst(&self, work: Work) -> Result<Option<Point<C::State>>, Halt> {
        let (chain, by) = (self.chain, self.chain.judged_by());
        let places = chain.places();
        if self.search.none.is_some() {
            let first = places.into_iter().find(|x| chain.allowed(*x).is_some());
            return first.map(|x| self.exact(&self.search.value(x), by, &[], work)).transpose();
        }
        let mut looked: Vec<Looked<'a, C>> = Vec::with_capacity(places.len());
        // What cannot be read may hide a neighbour that uses most: it has no place in the list.
        let mut seen: Vec<(f64, Option<usize>)> = Vec::with_capacity(places.len());
        let between = chain.between();
        let (first, rest): (Vec<_>, Vec<_>) = between.iter().enumerate().partition(|(at, _)| at % FIRST == FIRST - 1);
        for x in places.into_iter().chain(first.into_iter().map(|(_, x)| *x)) {
            let one = self.look(x, by, work)?;
            seen.push((x, one.as_ref().map(|_| looked.len())));
            looked.extend(one);
        }
        seen.sort_by(|a, b| a.0.total_cmp(&b.0));
        let least = NEAR * looked.iter().map(Looked::share).fold(0.0, f64::max);
        let mut promise: Vec<(f64, f64)> = Vec::with_capacity(rest.len());
        // What is not looked at anyhow takes no other value's turn.
        for (_, &x) in rest.into_iter().filter(|(_, x)| self.counts(**x).is_some()) {
            let after = seen.partition_point(|(other, _)| *other < x);
            let neighbours = || [after.checked_sub(1), Some(after)].into_iter().flatten().filter_map(|at| seen.get(at));
            let near = |at: &Option<usize>| at.is_none_or(|at| looked[at].share() >= least);
            if neighbours().any(|(_, at)| near(at)) {
                work.go_on()?;
                let states = neighbours().filter_map(|(_, at)| *at).flat_map(|at| &looked[at].ranked);
                promise.push((self.glance(x, by, states), x));
            }
        }
        promise.sort_by(|a, b| b.0.total_cmp(&a.0));
        for (_, x) in promise.into_iter().take(REFINED) {
            looked.extend(self.look(x, by, work)?);
        }
        looked.sort_by(|a, b| b.share().total_cmp(&a.share()));
        let least = NEAR * looked.first().map_or(0.0, Looked::share);
        let mut near: Vec<Near<'a, C>> = Vec::with_capacity(REFINED);
        for one in looked.into_iter().take(REFINED).take_while(|one| one.share() >= least) {
            work.go_on()?;
            let found = self.search.refined(&one.value, by, &one.ranked);
            near.push((share(found.first().map(|one| one.about), one.allowed), one.value, found));
        }
        near.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut worst: Option<Point<C::State>> = None;
        for (share, value, found) in near.into_iter().take(EXACT) {
            let used = |point: &Point<C::State>| point.used_percent().unwrap_or(f64::INFINITY);
            if by != JudgedBy::Probability95 && worst.as_ref().is_some_and(|worst| share * 100.0 < CLOSE * used(worst))
            {
                continue;
            }
            let point = self.exact(&value, by, &found, work)?;
            if point.error().is_none() {
                return Ok(Some(point));
            }
            if worst.as_ref().is_none_or(|other| used(&point) > used(other)) {
                worst = Some(point);
            }
        }
        Ok(worst)
    }

    /// The share that a value uses in the worst states of its neighbours; all of it where these have none.
    fn glance<'r>(&self, x: f64, by: JudgedBy, states: impl Iterator<Item = &'r Ranked<C::State>>) -> f64
    where
        C: 'r,
    {
        let (value, allowed) = (self.search.value(x), self.counts(x).unwrap_or(0.0));
        let mut screen = Screen::new(&value.sources);
        let sizes = states.map(|one| screen.sums(&self.search.model(&value, one.found.state)).size(by));
        share(sizes.reduce(f64::max), allowed)
    }

    /// What is allowed at a value; nothing where nothing is required of it or some part is full.
    fn counts(&self, x: f64) -> Option<f64> {
        self.chain.allowed(x).filter(|_| self.range.beyond(x).is_none())
    }

    /// A value that counts, with its worst states.
    fn look(&self, x: f64, by: JudgedBy, work: Work) -> Result<Option<Looked<'a, C>>, Halt> {
        let Some(allowed) = self.counts(x) else { return Ok(None) };
        let value = self.search.value(x);
        let ranked = self.search.ranked(&value, by, work)?;
        Ok(Some(Looked { value, allowed, ranked }))
    }
}
