//! # The worst state
//!
//! An error is searched over every state that the design allows: the ambient temperatures and the places of the bench as
//! grids with the best refined between their points, everything else as the chain lists it. First order ranks, the exact
//! model judges.
//!
//! ```text
//! Grid       ambient temperatures of the chain; the bench at 17 places of its tolerance; of both every so many
//! Refined    the three best kinds of state, by golden section between the neighbours on each grid in turn
//! Judged     the largest of the three, by the exact model
//! No state   a state without a steady value is no state to skip: there the requirement fails
//! Source     golden section: textbook
//! ```

use super::JudgedBy;
use super::calibrated::{Calibrated, Value, drowned};
use super::chain::{Around, Calibration, Chain, NoSolution};
use super::screen::Screen;
use crate::work::{Halt, Work};

/// Of the ambient temperatures of a chain, and of the places of the bench, every so many are looked at before the best are
/// refined: between them an error is nearly a parabola, and a test compares with all of them.
pub const EVERY: usize = 8;

/// What lies this far below the largest to first order is not the worst; of what comes nearer the first of each kind and so
/// many of all are looked at with the products of their limits.
const NEAR: f64 = 0.9;
const LOOKED_AT: usize = 16;
/// How many kinds of state are refined and judged exactly.
const BEST: usize = 3;
const GOLDEN: f64 = 0.618_033_988_749_894_9;
/// Golden-section steps between two points of the grid: 0.618^14 is a thousandth, and the error moves by its square.
const STEPS: usize = 14;
/// How far inside the grid its end is looked past: an error that falls from there on is largest at the end.
const INSIDE: f64 = 1.0 / 16.0;
/// Steps of the bench over its tolerance.
const BENCH: u32 = 16;

/// A state and the error it makes to first order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found<S> {
    /// The ambient temperature, °C.
    pub ambient_degc: f64,
    /// The state.
    pub state: S,
    /// The error to first order, by the method it was ranked by.
    pub about: f64,
}

/// The worst state of one kind on the grids.
#[derive(Clone, Copy, Debug)]
pub struct Ranked<S> {
    /// The state.
    pub found: Found<S>,
    /// Its place among the ambient temperatures.
    place: usize,
    /// Its place among those of the bench.
    bench: usize,
    /// Its place in the chain's list, of one place of the bench.
    kind: usize,
}

/// All states of a chain at one time of its life, calibrated or not.
#[derive(Debug)]
pub struct Search<'a, C: Chain> {
    /// The chain.
    pub chain: &'a C,
    /// Whether the calibration was done.
    pub calibrated: bool,
    aged: bool,
    grid: Vec<f64>,
    bench: Vec<f64>,
    /// At each ambient temperature those of each kind at each place of the bench.
    states: Vec<Option<C::State>>,
    /// What is calibrated, with the bench at each of its places.
    calibrations: Vec<Calibration<C::State>>,
    /// How many at each ambient.
    around: usize,
    /// Where there is no steady state, and why.
    pub none: Option<(f64, NoSolution)>,
}

impl<'a, C: Chain> Search<'a, C> {
    /// All states; every so many of the ambient temperatures and of the places of the bench.
    pub fn new(chain: &'a C, calibrated: bool, aged: bool, every: usize) -> Self {
        Self::at(chain, calibrated, aged, thinned(&chain.ambients(), every), every)
    }

    /// The states at these ambient temperatures, rising.
    pub fn at(chain: &'a C, calibrated: bool, aged: bool, grid: Vec<f64>, every: usize) -> Self {
        let places: Vec<f64> = (0..=BENCH).map(|step| f64::from(step) / f64::from(BENCH / 2) - 1.0).collect();
        let bench = if calibrated && chain.bench_varies() { thinned(&places, every) } else { vec![0.0] };
        let mut found = Vec::new();
        let (mut states, mut none) = (Vec::new(), None);
        for &ambient_degc in &grid {
            found.clear();
            chain.states(&Around { ambient_degc, aged, calibrated, bench: &bench }, &mut found);
            for one in &found {
                match one {
                    Ok(state) => states.push(*state),
                    Err(why) => none = none.or(Some((ambient_degc, *why))),
                }
            }
        }
        let around = states.len() / grid.len().max(1);
        let columns = bench.len();
        let mut search = Self { chain, calibrated, aged, grid, bench, states, calibrations: Vec::new(), around, none };
        let of_bench = |column: usize| {
            let state = search.states.iter().skip(column).step_by(columns).flatten().next();
            state.map_or(Calibration::None, |state| search.calibration(state))
        };
        search.calibrations = (0..columns).map(of_bench).collect();
        if let (None, Some(calibration), Some(&ambient)) =
            (search.none, search.calibrations.first(), search.grid.first())
            && drowned(chain, calibration)
        {
            search.none = Some((
                ambient,
                NoSolution("no calibration to rely on (its readings may err by half of their distance)"),
            ));
        }
        search
    }

    /// What is calibrated as a state remembers it.
    pub fn calibration(&self, state: &C::State) -> Calibration<C::State> {
        if self.calibrated { self.chain.calibration(state) } else { Calibration::None }
    }

    /// A value with its sources.
    pub fn value(&self, x: f64) -> Value<'a, C> {
        Value::new(self.chain, x, self.calibrations.first().unwrap_or(&Calibration::None))
    }

    /// The same with single values of the non-linearity: straight in the value.
    pub fn straight(&self, x: f64) -> Value<'a, C> {
        Value::straight(self.chain, x, self.calibrations.first().unwrap_or(&Calibration::None))
    }

    /// The error at a value in a state.
    pub fn model(&self, value: &Value<'a, C>, state: C::State) -> Calibrated<'a, C> {
        value.error(state, self.calibration(&state))
    }

    /// The worst states at a value, to first order, the worst first; none where there is no steady state.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn worst(&self, value: &Value<'a, C>, by: JudgedBy, work: Work) -> Result<Vec<Found<C::State>>, Halt> {
        let ranked = self.ranked(value, by, work)?;
        Ok(self.refined(value, by, &ranked))
    }

    /// The worst states at a value on the grids, the worst first.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn ranked(&self, value: &Value<'a, C>, by: JudgedBy, work: Work) -> Result<Vec<Ranked<C::State>>, Halt> {
        if self.none.is_some() || self.around == 0 {
            return Ok(Vec::new());
        }
        let (mut screen, columns) = (Screen::new(&value.sources), self.bench.len());
        let mut all: Vec<Ranked<C::State>> = Vec::with_capacity(self.states.len());
        for (place, (states, &ambient_degc)) in self.states.chunks(self.around).zip(&self.grid).enumerate() {
            work.go_on()?;
            for (at, state) in states.iter().enumerate() {
                let (kind, bench) = (at / columns, at % columns);
                let Some(state) = *state else { continue };
                let about = screen.sums(&value.error(state, self.calibrations[bench])).size(by);
                all.push(Ranked { found: Found { ambient_degc, state, about }, place, bench, kind });
            }
        }
        all.sort_by(|a, b| b.found.about.total_cmp(&a.found.about));
        let least = NEAR * all.first().map_or(0.0, |one| one.found.about);
        let near = all.into_iter().take_while(|one| one.found.about.is_nan() || one.found.about >= least);
        let mut best: Vec<Ranked<C::State>> = Vec::with_capacity(self.around / columns);
        for (place, mut one) in near.enumerate() {
            // The first of each kind counts, however many of another one come before it.
            if place >= LOOKED_AT && best.iter().any(|other| other.kind == one.kind) {
                continue;
            }
            one.found.about = screen.size(&value.error(one.found.state, self.calibrations[one.bench]), by);
            match best.iter_mut().find(|other| other.kind == one.kind) {
                Some(other) if one.found.about > other.found.about => *other = one,
                Some(_) => {}
                None => best.push(one),
            }
        }
        best.sort_by(|a, b| b.found.about.total_cmp(&a.found.about));
        // A kind whose worst state is that of another one says nothing new.
        let mut distinct: Vec<Ranked<C::State>> = Vec::with_capacity(BEST);
        for one in best {
            if distinct.len() < BEST && distinct.iter().all(|other| other.found.state != one.found.state) {
                distinct.push(one);
            }
        }
        Ok(distinct)
    }

    /// Looks between the points of the grids, and gives the worst first.
    pub fn refined(&self, value: &Value<'a, C>, by: JudgedBy, ranked: &[Ranked<C::State>]) -> Vec<Found<C::State>> {
        let mut look = Look { search: self, value, screen: Screen::new(&value.sources), by, states: Vec::new() };
        let mut found: Vec<Found<C::State>> = ranked.iter().map(|one| look.refined(one)).collect();
        found.sort_by(|a, b| b.about.total_cmp(&a.about));
        found
    }

    /// Every state of the grids.
    pub fn states(&self) -> impl Iterator<Item = &C::State> {
        self.states.iter().flatten()
    }
}

/// Every so many of some values, and the last.
fn thinned(all: &[f64], every: usize) -> Vec<f64> {
    let last = all.len().saturating_sub(1);
    let kept = |place: &usize| place.is_multiple_of(every.max(1)) || *place == last;
    (0..all.len()).filter(kept).filter_map(|place| all.get(place).copied()).collect()
}

/// Looks at one kind of state wherever it is asked to.
struct Look<'s, 'a, C: Chain> {
    search: &'s Search<'a, C>,
    value: &'s Value<'a, C>,
    screen: Screen,
    by: JudgedBy,
    states: Vec<Result<Option<C::State>, NoSolution>>,
}

impl<C: Chain> Look<'_, '_, C> {
    fn refined(&mut self, one: &Ranked<C::State>) -> Found<C::State> {
        let (grid, places) = (&self.search.grid, &self.search.bench);
        let mut best = one.found;
        let Some(&bench) = places.get(one.bench) else { return best };
        // A chain that names two temperatures says that nothing lies between them.
        if grid.len() > 2 {
            along(grid, one.place, &mut |degc| self.at(degc, bench, one.kind, &mut best));
        }
        let degc = best.ambient_degc;
        if places.len() > 2 {
            along(places, one.bench, &mut |bench| self.at(degc, bench, one.kind, &mut best));
        }
        best
    }

    /// The error of a kind around, kept when it is the largest.
    fn at(&mut self, ambient_degc: f64, bench: f64, kind: usize, best: &mut Found<C::State>) -> f64 {
        let (search, bench) = (self.search, [bench]);
        self.states.clear();
        search.chain.states(
            &Around { ambient_degc, aged: search.aged, calibrated: search.calibrated, bench: &bench },
            &mut self.states,
        );
        let Some(Ok(Some(state))) = self.states.get(kind).copied() else { return f64::MIN };
        let about = self.screen.size(&search.model(self.value, state), self.by);
        if about > best.about {
            *best = Found { ambient_degc, state, about };
        }
        about
    }
}

/// Looks between the neighbours of a place of a grid; at an end of the grid only where the error grows inwards.
fn along(grid: &[f64], place: usize, look: &mut dyn FnMut(f64) -> f64) {
    let at = |place: usize| grid.get(place).copied();
    let (Some(here), Some(low)) = (at(place), at(place.saturating_sub(1))) else { return };
    let high = at(place + 1).unwrap_or(here);
    if low == here || high == here {
        let inside = here + INSIDE * (if low == here { high } else { low } - here);
        if look(here) >= look(inside) {
            return;
        }
    }
    let (mut low, mut high) = (low, high);
    let (mut left, mut right) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
    let (mut on_left, mut on_right) = (look(left), look(right));
    for _ in 0..STEPS {
        if on_left > on_right {
            (high, right, on_right) = (right, left, on_left);
            left = high - GOLDEN * (high - low);
            on_left = look(left);
        } else {
            (low, left, on_left) = (left, right, on_right);
            right = low + GOLDEN * (high - low);
            on_right = look(right);
        }
    }
}
