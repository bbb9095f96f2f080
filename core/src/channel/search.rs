//! # The worst state
//!
//! An error is searched over every state that the design allows: the ambient temperatures as a grid with the best places
//! refined between its points, everything else as the chain lists it. First order ranks, the exact model judges.
//!
//! ```text
//! Grid       33 ambient temperatures or more; the three best kinds of state refined by golden section
//! Judged     the largest of the three, by the exact model
//! No state   a state without a steady value is no state to skip: there the requirement fails
//! Source     golden section: textbook
//! ```

use super::JudgedBy;
use super::calibrated::{self, Calibrated};
use super::chain::{Calibration, Chain, NoSolution};
use super::screen::Screen;
use crate::propagation::Source;
use crate::work::{Halt, Work};

/// How many kinds of state are refined and judged exactly.
const BEST: usize = 3;
const GOLDEN: f64 = 0.618_033_988_749_894_9;
/// Golden-section steps between two points of the grid: 0.618^14 is a thousandth, and the error moves by its square.
const STEPS: usize = 14;

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

/// All states of a chain at one time of its life, calibrated or not.
#[derive(Debug)]
pub struct Search<'a, C: Chain> {
    /// The chain.
    pub chain: &'a C,
    /// Whether the calibration was done.
    pub calibrated: bool,
    aged: bool,
    grid: Vec<f64>,
    states: Vec<C::State>,
    /// How many at each ambient.
    kinds: usize,
    /// Where there is no steady state, and why.
    pub none: Option<(f64, NoSolution)>,
}

impl<'a, C: Chain> Search<'a, C> {
    /// All states; every so many of the ambient temperatures.
    pub fn new(chain: &'a C, calibrated: bool, aged: bool, every: usize) -> Self {
        let all = chain.ambients();
        let last = all.len().saturating_sub(1);
        let kept = |place: &usize| place.is_multiple_of(every.max(1)) || *place == last;
        let grid: Vec<f64> = (0..all.len()).filter(kept).filter_map(|place| all.get(place).copied()).collect();
        Self::at(chain, calibrated, aged, grid)
    }

    /// The states at these ambient temperatures, rising.
    pub fn at(chain: &'a C, calibrated: bool, aged: bool, grid: Vec<f64>) -> Self {
        let mut found = Vec::new();
        let (mut states, mut none) = (Vec::new(), None);
        for &degc in &grid {
            found.clear();
            chain.states(degc, aged, &mut found);
            for one in &found {
                match one {
                    Ok(state) => states.push(*state),
                    Err(why) => none = none.or(Some((degc, *why))),
                }
            }
        }
        let kinds = states.len() / grid.len().max(1);
        Self { chain, calibrated, aged, grid, states, kinds, none }
    }

    /// What is calibrated as a state remembers it.
    pub fn calibration(&self, state: &C::State) -> Calibration<C::State> {
        if self.calibrated { self.chain.calibration(state) } else { Calibration::None }
    }

    /// The sources at a value.
    pub fn sources(&self, x: f64) -> Vec<Source> {
        let points = self.states.first().map_or(Calibration::None, |state| self.calibration(state));
        calibrated::sources(self.chain, x, &points)
    }

    /// The error at a value in a state.
    pub fn model(&self, x: f64, state: C::State, sources: usize) -> Calibrated<'a, C> {
        Calibrated::new(self.chain, x, state, self.calibration(&state), sources)
    }

    /// The worst states at a value, to first order, the worst first; none where there is no steady state.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn worst(&self, x: f64, by: JudgedBy, work: Work) -> Result<Vec<Found<C::State>>, Halt> {
        if self.none.is_some() || self.kinds == 0 {
            return Ok(Vec::new());
        }
        let sources = self.sources(x);
        let mut screen = Screen::new(&sources);
        let mut best: Vec<(f64, usize, usize)> = vec![(f64::MIN, 0, 0); self.kinds];
        let mut most = 0.0_f64;
        for (place, states) in self.states.chunks(self.kinds).enumerate() {
            work.go_on()?;
            for (kind, state) in states.iter().enumerate() {
                let about = screen.size(&self.model(x, *state, sources.len()), by, most);
                most = most.max(about);
                if let Some(one) = best.get_mut(kind).filter(|one| about > one.0 || about.is_nan()) {
                    *one = (about, place, kind);
                }
            }
        }
        best.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut found: Vec<Found<C::State>> = Vec::with_capacity(BEST);
        for (about, place, kind) in best {
            // A kind that is the same state as one that was taken already says nothing new.
            let Some(state) = self.states.get(place * self.kinds + kind).copied() else { continue };
            if found.len() == BEST || found.iter().any(|other| other.state == state) {
                continue;
            }
            let here = Found { ambient_degc: self.grid.get(place).copied().unwrap_or_default(), state, about };
            found.push(self.refined(&mut screen, x, by, here, (place, kind), sources.len()));
        }
        found.sort_by(|a, b| b.about.total_cmp(&a.about));
        Ok(found)
    }

    /// Looks between the points of the grid.
    fn refined(
        &self,
        screen: &mut Screen,
        x: f64,
        by: JudgedBy,
        here: Found<C::State>,
        (place, kind): (usize, usize),
        sources: usize,
    ) -> Found<C::State> {
        // A chain that names two temperatures says that nothing lies between them.
        if self.grid.len() < 3 {
            return here;
        }
        let at = |degc: usize| self.grid.get(degc).copied();
        let (Some(mut low), Some(mut high)) = (at(place.saturating_sub(1)), at(place + 1).or_else(|| at(place))) else {
            return here;
        };
        let mut best = here;
        let mut states = Vec::with_capacity(self.kinds);
        let mut look = |degc: f64| -> f64 {
            states.clear();
            self.chain.states(degc, self.aged, &mut states);
            let Some(Ok(state)) = states.get(kind).copied() else { return f64::MIN };
            let about = screen.size(&self.model(x, state, sources), by, 0.0);
            if about > best.about {
                best = Found { ambient_degc: degc, state, about };
            }
            about
        };
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
        best
    }

    /// Every state of the grid.
    pub fn states(&self) -> &[C::State] {
        &self.states
    }
}
