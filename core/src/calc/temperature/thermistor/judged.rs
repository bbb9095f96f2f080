//! # How a temperature reading is judged
//!
//! The requirement is judged over its whole range and in every state; temperatures are listed to be printed. Where the code
//! of some part in some state reaches an end of the converter, no error is given: the reading is full there.
//!
//! ```text
//! Grid       56 temperatures or more, every listed one; the three best refined between their neighbours by golden section
//! Ranked     by the model itself with each deviation at the limit that its own effect points to; judged by the engine
//! Full       lowest code <= 0 or highest code >= 2ᴺ − 1, all limits and states; a count has only the lower end
//! Method     worst case: the extremes; root-sum-square: |K| + √Σ(c a)²; coverage interval: its farther end
//! Symbols    K known deviations of the state, c sensitivity, a limit
//! Valid      code and reading follow each deviation one way: tolerances are factors, and the chain is monotone in each
//! Source     JCGM 100:2008, JCGM 101:2008; golden section: textbook
//! ```

use super::curve::Curve;
use super::input::{CurveKind, ThermistorInput};
use super::output::Over;
use super::place::{Place, temperatures};
use super::state::{Sensed, State};
use crate::channel::JudgedBy;
use crate::channel::budget::largest;
use crate::channel::screen::Screen;
use crate::judge::Judged;
use crate::numeric::first_where;
use crate::propagation::{self, Assessment, Quick, Request, defined};
use crate::quantity::Unit;
use crate::work::{Halt, Work};

/// Steps of a grid over a range.
pub const STEPS: u32 = 55;
/// How many temperatures are refined, and how many states of each are judged by the engine.
const BEST: usize = 3;
/// A state is one of them when its error comes so near to the largest.
const NEAR: f64 = 0.9;
const GOLDEN: f64 = 0.618_033_988_749_894_9;
/// Golden-section steps between two points of the grid: 0.618^14 is a thousandth, and the error moves by its square.
const GOLDEN_STEPS: usize = 14;
/// Further outside a table than this share of its outermost step nobody has measured the curve.
const EXTENDED: f64 = 0.5;

/// Why a temperature has no error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unread {
    /// The code of some part reaches an end of the converter.
    Full,
    /// The read-out heats the sensor without end.
    NoBalance,
    /// The limits reach a pole of the read-out, or the curve says nothing.
    Undefined,
}

/// Between which temperatures every part in every state is read.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ends {
    /// Below it some part is full.
    pub cold_degc: Option<f64>,
    /// From there on some part is full.
    pub hot_degc: Option<f64>,
    /// Nothing of the range is read.
    pub nothing: bool,
}

/// One temperature as it is judged.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The sensor there.
    pub place: Place,
    /// The error by the chosen method in the worst state, K, or why there is none.
    pub judged: Result<f64, Unread>,
    /// The worst state.
    pub state: State,
    /// The trials, when they judge.
    pub run: Option<Box<Assessment>>,
}

impl Reading {
    /// The error, when there is one, K.
    pub fn error_k(&self) -> Option<f64> {
        self.judged.ok()
    }

    /// How it stands. Where no error can be given, none is small enough, whether or not one is asked for; what is full is
    /// the matter of the range.
    pub fn requirement(&self, allowed_k: Option<f64>) -> Judged {
        let full = self.judged == Err(Unread::Full);
        let limit = allowed_k.or((self.judged.is_err() && !full).then_some(0.0));
        let one = Judged::at_most("thermistor.error", "/requirement/allowed_k", Unit::Kelvin, self.error_k(), limit);
        match self.run.as_deref().and_then(|run| run.monte_carlo.as_ref()) {
            _ if full && allowed_k.is_some() => one.blocked(),
            // Trials may leave open on which side of the limit it lies.
            Some(run) => run.p95.farther(0.0).settle(run.trials, one),
            None => one,
        }
    }
}

/// A temperature channel over its temperatures and states.
#[derive(Clone, Copy, Debug)]
pub struct Judging<'a> {
    /// The channel.
    pub input: &'a ThermistorInput,
    /// The sensor's curve.
    pub curve: &'a Curve,
}

impl ThermistorInput {
    /// The temperatures that the requirement counts between, °C.
    pub fn judged_degc(&self) -> [f64; 2] {
        let with = &self.requirement;
        [with.from_degc.unwrap_or(self.min_degc), with.to_degc.unwrap_or(self.max_degc)]
    }

    /// The sensor's range and that of the requirement together, °C.
    pub fn whole_degc(&self) -> [f64; 2] {
        let [from, to] = self.judged_degc();
        [self.min_degc.min(from), self.max_degc.max(to)]
    }

    /// The allowed error at a temperature, K; none outside the requirement's range.
    pub fn allowed_k(&self, degc: f64) -> Option<f64> {
        let [from, to] = self.judged_degc();
        self.requirement.allowed_k.filter(|_| from <= degc && degc <= to)
    }

    /// The temperatures between which the curve and its tolerance are known, °C; outside nobody has measured or stated it.
    pub fn known_degc(&self, curve: &Curve) -> [f64; 2] {
        match (self.curve, curve) {
            (CurveKind::Points, Curve::Points(points)) => points.reach_degc(EXTENDED),
            (CurveKind::Platinum, _) => self.platinum.class.range_degc(self.platinum.build),
            _ => [f64::NEG_INFINITY, f64::INFINITY],
        }
    }
}

impl Judging<'_> {
    /// Whether some part in some state is at an end of the converter.
    pub fn full(&self, place: &Place) -> bool {
        self.input.bases(place).any(|state| {
            let sensed = self.input.sensed(self.curve, place, state);
            sensed.is_some_and(|sensed| self.fills(&mut Screen::new(&sensed.sources), &sensed))
        })
    }

    /// Whether the code of some part reaches an end of the converter in a state.
    fn fills(&self, screen: &mut Screen, sensed: &Sensed) -> bool {
        let top = self.input.read_out().codes().map_or(f64::INFINITY, |codes| codes - 1.0);
        let (low, high) = screen.extremes(&sensed.code);
        !(low > 0.0 && high < top)
    }

    /// The ends of what is read, over places in the order of their temperatures.
    pub fn ends(&self, places: &[Place]) -> Ends {
        let full: Vec<bool> = places.iter().map(|place| self.full(place)).collect();
        let full_at = |degc: f64| self.input.place(self.curve, degc).is_none_or(|place| self.full(&place));
        let Some(first) = full.iter().position(|full| !full) else { return Ends { nothing: true, ..Ends::default() } };
        let before = |at: usize| Some((places.get(at.checked_sub(1)?)?.degc, places.get(at)?.degc));
        let past = full.iter().skip(first).position(|full| *full).map(|more| first + more);
        Ends {
            cold_degc: before(first).map(|(low, high)| first_where(low, high, |degc| !full_at(degc))),
            hot_degc: past.and_then(before).map(|(low, high)| first_where(low, high, full_at)),
            nothing: false,
        }
    }

    /// Every way to read at a place with the size of its error, the largest first; `read` where it is known that every part is
    /// read there.
    fn ranked(&self, place: &Place, read: bool) -> Result<Vec<(f64, State)>, Unread> {
        if place.self_heating_k.is_none() {
            return Err(Unread::NoBalance);
        }
        let by = self.input.requirement.judged_by;
        let mut ranked = Vec::new();
        for base in self.input.bases(place) {
            let sensed = self.input.sensed(self.curve, place, base).ok_or(Unread::Undefined)?;
            let mut screen = Screen::new(&sensed.sources);
            if !read && self.fills(&mut screen, &sensed) {
                return Err(Unread::Full);
            }
            let (low, high) = if by == JudgedBy::WorstCase {
                screen.extremes(&sensed.model)
            } else {
                let first = screen.sums(&sensed.model);
                let about = first.size(by) - first.known.abs();
                (first.known - about, first.known + about)
            };
            for &(lag, gradient) in self.input.offsets() {
                let off = self.input.offset_k((lag, gradient));
                let size = largest(low + off, high + off);
                ranked.push((if size.is_nan() { f64::INFINITY } else { size }, State { lag, gradient, ..base }));
            }
        }
        ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
        Ok(ranked)
    }

    fn about(&self, degc: f64) -> f64 {
        let place = self.input.place(self.curve, degc);
        place.and_then(|place| self.ranked(&place, false).ok()?.first().map(|one| one.0)).unwrap_or(f64::NEG_INFINITY)
    }

    /// One temperature in its worst state.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn at(&self, place: &Place, work: Work) -> Result<Reading, Halt> {
        let mut reading = Reading { place: *place, judged: Err(Unread::Undefined), state: State::default(), run: None };
        let ranked = match self.ranked(place, false) {
            Ok(ranked) => ranked,
            Err(why) => return Ok(Reading { judged: Err(why), ..reading }),
        };
        let best = ranked.first().map_or(0.0, |one| one.0);
        for (_, state) in ranked.into_iter().take_while(|one| one.0 >= NEAR * best).take(BEST) {
            work.go_on()?;
            let Some((error, run)) = self.error(place, state, work)? else {
                return Ok(Reading { judged: Err(Unread::Undefined), run: None, state, ..reading });
            };
            if reading.judged.is_ok_and(|judged| error <= judged) {
                continue;
            }
            (reading.judged, reading.state, reading.run) = (Ok(error), state, run);
        }
        Ok(reading)
    }

    /// The error in a state by the chosen method, and the trials when they judge.
    #[expect(clippy::type_complexity, reason = "an error and its trials, or nothing, or stopped")]
    fn error(&self, place: &Place, state: State, work: Work) -> Result<Option<(f64, Option<Box<Assessment>>)>, Halt> {
        let Some(Sensed { model, sources, .. }) = self.input.sensed(self.curve, place, state) else { return Ok(None) };
        Ok(match self.input.requirement.judged_by {
            JudgedBy::WorstCase => {
                defined(propagation::worst_case(&model, &sources, work))?.map(|(low, high)| (largest(low, high), None))
            }
            JudgedBy::RootSumSquare => defined(propagation::quick(&model, &sources, false, work))?
                .map(|quick| (quick.value.abs() + quick.root_sum_square, None)),
            JudgedBy::Probability95 => self.assess(place, state, true, work)?.and_then(|done| {
                let end = crate::channel::corners::interval_end(&done)?;
                Some((end, Some(Box::new(done))))
            }),
        })
    }

    /// All four methods in a state, with trials or without; the sums count what is known beside the limits.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn assess(&self, place: &Place, state: State, trials: bool, work: Work) -> Result<Option<Assessment>, Halt> {
        let Some(Sensed { model, sources, .. }) = self.input.sensed(self.curve, place, state) else { return Ok(None) };
        let with = &self.input.experiment;
        let trials = trials.then_some(with.trials);
        let request = Request { trials, seed: u64::from(with.seed), deviations: false, ..Request::default() };
        let mut done = defined(propagation::assess(&model, &sources, None, &request, work))?;
        if let Some(done) = &mut done {
            done.worst_case.sum_of_limits += done.value.abs();
            done.root_sum_square += done.value.abs();
        }
        Ok(done)
    }

    /// The extremes and sums over all states; none where no error can be given.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn over(&self, place: &Place, work: Work) -> Result<Option<Over>, Halt> {
        if place.self_heating_k.is_none() || self.full(place) {
            return Ok(None);
        }
        let mut over: Option<Over> = None;
        for base in self.input.bases(place) {
            work.go_on()?;
            let Some(sensed) = self.input.sensed(self.curve, place, base) else { return Ok(None) };
            let quick = defined(propagation::quick(&sensed.model, &sensed.sources, false, work))?;
            let Some(quick) = quick else { return Ok(None) };
            for &offset in self.input.offsets() {
                let one = moved(&quick, self.input.offset_k(offset));
                over = Some(over.map_or(one, |over| over.and(one)));
            }
        }
        Ok(over)
    }

    /// The temperature of the requirement's range at which the error is largest, in its worst state; none where nothing of
    /// it is read.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn worst(&self, places: &[Place], ends: &Ends, work: Work) -> Result<Option<Reading>, Halt> {
        let [from, to] = self.input.judged_degc();
        let own = |degc: &f64| from <= *degc && *degc <= to;
        let further = self.input.points_degc.iter().copied().chain(ends.cold_degc).chain(ends.hot_degc).filter(own);
        let mut all: Vec<Place> = places.to_vec();
        all.extend(further.filter_map(|degc| self.input.place(self.curve, degc)));
        all.sort_by(|a, b| a.degc.total_cmp(&b.degc));
        all.dedup_by(|a, b| a.degc.total_cmp(&b.degc).is_eq());
        let mut about: Vec<(f64, usize)> = Vec::with_capacity(all.len());
        for (index, place) in all.iter().enumerate() {
            work.go_on()?;
            let read =
                ends.cold_degc.is_none_or(|cold| cold < place.degc) && ends.hot_degc.is_none_or(|hot| place.degc < hot);
            match self.ranked(place, read && !ends.nothing) {
                Ok(ranked) => about.extend(ranked.first().map(|one| (one.0, index))),
                Err(Unread::Full) => {}
                Err(why) => {
                    let state = State::default();
                    return Ok(Some(Reading { place: *place, judged: Err(why), state, run: None }));
                }
            }
        }
        // A temperature next to a larger error is found from there.
        let size = |index: usize| about.iter().find(|one| one.1 == index).map_or(f64::NEG_INFINITY, |one| one.0);
        let top =
            |one: &(f64, usize)| one.0 >= size(one.1 + 1) && one.1.checked_sub(1).is_none_or(|at| one.0 >= size(at));
        let mut tops: Vec<(f64, usize)> = about.iter().copied().filter(top).collect();
        tops.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut worst: Option<Reading> = None;
        for (_, index) in tops.into_iter().take(BEST) {
            let around = [index.saturating_sub(1), (index + 1).min(all.len() - 1)].map(|at| all[at].degc);
            let refined = self.refined(around, all[index].degc, work)?;
            let place = refined.and_then(|degc| self.input.place(self.curve, degc)).unwrap_or(all[index]);
            let reading = self.at(&place, work)?;
            if reading.judged.is_err() {
                return Ok(Some(reading));
            }
            if worst.as_ref().is_none_or(|other| reading.error_k() > other.error_k()) {
                worst = Some(reading);
            }
        }
        Ok(worst)
    }

    /// A better temperature between two, when there is one.
    fn refined(&self, [mut low, mut high]: [f64; 2], at: f64, work: Work) -> Result<Option<f64>, Halt> {
        let mut best = (self.about(at), None);
        let mut look = |degc: f64| {
            let about = self.about(degc);
            if about > best.0 {
                best = (about, Some(degc));
            }
            about
        };
        let (mut left, mut right) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
        let (mut on_left, mut on_right) = (look(left), look(right));
        for _ in 0..GOLDEN_STEPS {
            work.go_on()?;
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
        Ok(best.1)
    }

    /// The places of a range; what is no place of it says so.
    pub fn places(&self, range: [f64; 2], work: Work) -> Result<Vec<Place>, Halt> {
        let mut places = Vec::new();
        for degc in temperatures(range, STEPS) {
            work.go_on()?;
            places.extend(self.input.place(self.curve, degc));
        }
        Ok(places)
    }
}

/// The sums of a state, moved by what lag and gradient add.
fn moved(quick: &Quick, off: f64) -> Over {
    let known = (quick.value + off).abs();
    Over {
        low: quick.low + off,
        high: quick.high + off,
        sum: known + quick.sum_of_limits,
        root: known + quick.root_sum_square,
    }
}
