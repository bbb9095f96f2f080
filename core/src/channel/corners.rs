//! # How a channel is judged
//!
//! A requirement on the error is judged over its whole range and in every state that the design allows; the values that
//! are listed are where figures are printed. What cannot be read has no error: it is said to be full, and is not judged.
//!
//! ```text
//! Used       largest of |e(x, s)|/A(x) over range and states, both signs apart
//! Judged     end of life, as it is calibrated, by the method of the requirement; first order ranks, the exact model judges
//! Beyond     from the value on at which some part is full no error is given
//! Source     JCGM 100:2008, JCGM 101:2008
//! ```

use std::cell::OnceCell;

use super::budget::largest;
use super::calibrated::Value;
use super::chain::{Chain, NoSolution};
use super::counted::{self, Counted};
use super::full::{self, Range};
use super::search::{EVERY, Found, Search};
use super::{Channel, Experiment, JudgedBy};
use crate::judge::{Judged, Limit};
use crate::physics::front_end::{CalibrationKind, Life};
use crate::propagation::{self, Assessment, Quick, Request, defined};
use crate::work::{Cost, Halt, Work};

/// What lies further below the largest exact error, to first order at its own corner, cannot pass it.
pub(super) const CLOSE: f64 = 0.97;

/// After calibration, at the end of life: the state that is judged.
pub const JUDGED: Life = Life { calibrated: true, end_of_life: true };
/// Before calibration, at the end of life.
pub const BEFORE: Life = Life { calibrated: false, end_of_life: true };

/// A chain with its requirement.
pub trait Corners: Chain {
    /// The requirement on the error.
    const ERROR: &'static str;
    /// The note that a statistical total is used.
    const STATISTICAL: &'static str;
    /// The requirement that every part reads the calibrating points, and the inputs that set them.
    const POINT: &'static str;
    /// See [`Corners::POINT`].
    const POINTS: [&'static str; 2];
    /// The warning that the calibrating points lie far from a part of the range.
    const POINTS_FAR: &'static str;
    /// The warning that noise is left out of the error.
    const NOISE: &'static str;

    /// How the requirement is judged.
    fn judged_by(&self) -> JudgedBy;

    /// What was calibrated.
    fn kind(&self) -> CalibrationKind;

    /// The numerical experiment.
    fn experiment(&self) -> &Experiment;

    /// Standard deviation of the channel's reading where the error that is judged does not hold it, else 0.
    fn noise_left_out(&self) -> f64;

    /// All that the error rests on and that was not given.
    fn all_missing(&self) -> Vec<&'static str>;

    /// The first of it.
    fn missing(&self) -> Option<&'static str> {
        self.all_missing().first().copied()
    }

    /// What its range rests on and was not given.
    fn range_missing(&self) -> Option<&'static str> {
        None
    }

    /// A state in words: temperatures and what comes and goes.
    fn told(&self, ambient_degc: f64, state: &Self::State) -> String;

    /// Gathers what is one source to a reader.
    fn gathered(&self, _done: &mut Assessment) {}

    /// What was calibrated in a state of life, in words.
    fn calibrated(&self, life: Life) -> &'static str {
        match (life.calibrated, self.kind()) {
            (false, _) | (_, CalibrationKind::None) => "not calibrated",
            (_, CalibrationKind::Offset) => "zero calibrated",
            (_, CalibrationKind::TwoPoint) => "calibrated",
        }
    }

    /// A state of life in words, by what the calibration really does.
    fn life(&self, life: Life) -> String {
        format!("{}, {}", if life.end_of_life { "end of life" } else { "new" }, self.calibrated(life))
    }
}

/// Why a value has no error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unread {
    /// Some part is full from here on.
    Full(f64),
    /// No steady state, at this ambient temperature.
    NoState(f64, NoSolution),
    /// The limits are so wide that the reading is not defined.
    Undefined,
}

/// One value as it is judged.
#[derive(Clone, Debug)]
pub struct Point<S> {
    /// The value.
    pub at: f64,
    /// The allowed error.
    pub allowed: Option<f64>,
    /// The error by the chosen method in the worst state, or why there is none.
    pub judged: Result<f64, Unread>,
    /// The worst state.
    pub found: Option<Found<S>>,
    /// The trials, when they judge.
    pub run: Option<Box<Assessment>>,
}

impl<S> Point<S> {
    /// The error, when there is one.
    pub fn error(&self) -> Option<f64> {
        self.judged.ok()
    }

    /// Share of the allowance, percent.
    pub fn used_percent(&self) -> Option<f64> {
        let used = self.error().zip(self.allowed).map(|(judged, allowed)| judged / allowed * 100.0);
        used.filter(|used| used.is_finite())
    }

    /// Whether some part is full there.
    pub const fn beyond(&self) -> bool {
        matches!(self.judged, Err(Unread::Full(_)))
    }

    /// How it stands against its limit.
    pub fn requirement<C: Corners>(&self, limit: impl Into<Limit>) -> Judged {
        let one = Judged::at_most(C::ERROR, "/requirement/gain_percent", C::UNIT, self.error(), limit);
        match self.run.as_deref().and_then(|run| run.monte_carlo.as_ref()) {
            _ if self.beyond() => one.blocked(),
            // Trials may leave open on which side of the limit it lies.
            Some(run) => run.p95.farther(0.0).settle(run.trials, one),
            None => one,
        }
    }
}

/// A channel that is judged: its range, and its states at the end of life.
#[derive(Debug)]
pub struct Judging<'a, C: Chain> {
    pub(super) chain: &'a C,
    pub(super) search: Search<'a, C>,
    /// Where it is full.
    pub range: Range<C::State>,
}

impl<'a, C: Corners> Judging<'a, C> {
    /// The channel as it is calibrated, at the end of life.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn new(chain: &'a C, work: Work) -> Result<Self, Halt> {
        Ok(Self::of(chain, full::range(chain, work)?))
    }

    /// The same, of a channel whose range is known.
    fn of(chain: &'a C, range: Range<C::State>) -> Self {
        Self { chain, search: Search::new(chain, true, true, EVERY), range }
    }

    /// One value in its worst state.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn at(&self, x: f64, by: JudgedBy, work: Work) -> Result<Point<C::State>, Halt> {
        let value = self.search.value(x);
        let found = if self.unread(x).is_none() { self.search.worst(&value, by, work)? } else { Vec::new() };
        self.exact(&value, by, &found, work)
    }

    fn unread(&self, x: f64) -> Option<Unread> {
        if let Some((degc, why)) = self.search.none {
            return Some(Unread::NoState(degc, why));
        }
        self.range.beyond(x).map(Unread::Full)
    }

    /// The largest error of the states that were found, by the exact model.
    pub(super) fn exact(
        &self,
        value: &Value<'a, C>,
        by: JudgedBy,
        found: &[Found<C::State>],
        work: Work,
    ) -> Result<Point<C::State>, Halt> {
        let x = value.x;
        let allowed = self.chain.allowed(x);
        let mut point =
            Point { at: x, allowed, judged: Err(self.unread(x).unwrap_or(Unread::Undefined)), found: None, run: None };
        for one in found {
            work.go_on()?;
            if by != JudgedBy::Probability95 && point.judged.is_ok_and(|judged| one.about < CLOSE * judged) {
                continue;
            }
            let Some((error, run)) = self.error(value, one.state, by, work)? else {
                return Ok(Point { judged: Err(Unread::Undefined), found: None, run: None, ..point });
            };
            if point.judged.is_ok_and(|judged| error <= judged) {
                continue;
            }
            (point.judged, point.found, point.run) = (Ok(error), Some(*one), run);
        }
        Ok(point)
    }

    /// The error at a value in a state, and the trials when they judge.
    #[expect(clippy::type_complexity, reason = "an error and its trials, or nothing, or stopped")]
    fn error(
        &self,
        value: &Value<'a, C>,
        state: C::State,
        by: JudgedBy,
        work: Work,
    ) -> Result<Option<(f64, Option<Box<Assessment>>)>, Halt> {
        let (sources, model) = (&value.sources, self.search.model(value, state));
        Ok(match by {
            JudgedBy::WorstCase => {
                defined(propagation::worst_case(&model, sources, work))?.map(|(low, high)| (largest(low, high), None))
            }
            JudgedBy::RootSumSquare => {
                defined(propagation::quick(&model, sources, true, work))?.map(|quick| (quick.root_sum_square, None))
            }
            JudgedBy::Probability95 => {
                let done = self.assess(value.x, state, true, work)?;
                done.and_then(|done| Some((interval_end(&done)?, Some(Box::new(done)))))
            }
        })
    }

    /// All four methods at a value in a state, with trials or without.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn assess(&self, x: f64, state: C::State, trials: bool, work: Work) -> Result<Option<Assessment>, Halt> {
        assess(&self.search, x, state, trials, work)
    }

    /// The calibrating points: whether there are any, and the first that some part cannot read.
    pub fn points(&self) -> Points {
        Points { any: self.chain.kind() != CalibrationKind::None, not_read: self.point_not_read() }
    }

    /// The first calibrating point that some part cannot read: its place, its value, and from where on.
    fn point_not_read(&self) -> Option<(usize, f64, f64)> {
        let calibration = self.search.calibration(self.search.states().next()?);
        let mut points = calibration.points().into_iter().enumerate();
        points.find_map(|(place, point)| Some((place, point?.x, self.range.beyond(point?.x)?)))
    }

    /// The first place of the range that cannot be read, and from where on.
    pub fn not_read(&self) -> Option<(f64, f64)> {
        let required = |x: &f64| self.chain.allowed(*x).is_some();
        let mut places = self.chain.places();
        places.extend(self.chain.between());
        places.sort_by(f64::total_cmp);
        places.into_iter().filter(required).find_map(|x| Some((x, self.range.beyond(x)?)))
    }
}

pub(super) fn assess<C: Corners>(
    search: &Search<'_, C>,
    x: f64,
    state: C::State,
    trials: bool,
    work: Work,
) -> Result<Option<Assessment>, Halt> {
    let (with, value) = (search.chain.experiment(), search.value(x));
    let model = search.model(&value, state);
    let trials = trials.then_some(with.trials);
    let request = Request { trials, seed: u64::from(with.seed), beyond: search.chain.allowed(x), ..Request::default() };
    let mut done = defined(propagation::assess(&model, &value.sources, None, &request, work))?;
    if let Some(done) = &mut done {
        search.chain.gathered(done);
    }
    Ok(done)
}

/// The farther end of the 95 % coverage interval.
pub fn interval_end(done: &Assessment) -> Option<f64> {
    done.monte_carlo.as_ref().map(|run| largest(run.p95.symmetric.low, run.p95.symmetric.high))
}

/// What the answer of so many points costs, each assessed in so many states of life. Verdicts alone draw trials where these
/// judge.
pub fn cost<C: Corners>(channel: &C, points: usize, states: u64, verdicts: bool, work: Work) -> Cost {
    // The worst state is searched for.
    let searched = Cost::SMALL.again(6 * states);
    if verdicts && channel.judged_by() != JudgedBy::Probability95 {
        return searched;
    }
    let count = u64::try_from(points).unwrap_or(u64::MAX).saturating_mul(states);
    let trials = u64::from(work.trials(channel.experiment().trials));
    let sources = (channel.sources().len() + super::calibrated::COUNT) as u64;
    searched.and(Cost { units: trials.saturating_mul(sources), bytes: 0 }.times(count)).and(Cost {
        units: 0,
        // The trials of one point are held to be sorted.
        bytes: trials.saturating_mul(16),
    })
}

/// The sums of one state of life in its worst state.
#[derive(Clone, Copy, Debug)]
pub struct Sums<S> {
    /// The state of life.
    pub life: Life,
    /// The worst state.
    pub found: Found<S>,
    /// The sums.
    pub quick: Quick,
}

impl<S> Sums<S> {
    /// How far the reading may be off.
    pub const fn worst_case(&self) -> f64 {
        largest(self.quick.low, self.quick.high)
    }

    /// Whether it reads too high where it is farthest off.
    pub const fn up(&self) -> bool {
        self.quick.high.abs() >= self.quick.low.abs()
    }
}

/// Every state of life of a channel.
#[derive(Debug)]
pub struct Lives<'a, C: Chain>(Vec<(Life, Search<'a, C>)>);

impl<'a, C: Corners> Lives<'a, C> {
    /// These states of life; every so many of the ambient temperatures.
    pub fn new(chain: &'a C, lives: &[Life], every: usize) -> Self {
        let one = |life: &Life| (*life, Search::new(chain, life.calibrated, life.end_of_life, every));
        Self(lives.iter().map(one).collect())
    }

    /// The sums of every state of life at a value.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn sums(&self, x: f64, by: JudgedBy, work: Work) -> Result<Vec<Sums<C::State>>, Halt> {
        let mut all = Vec::with_capacity(self.0.len());
        for (life, search) in &self.0 {
            let mut worst: Option<Sums<C::State>> = None;
            let value = search.value(x);
            for found in search.worst(&value, by, work)? {
                let model = search.model(&value, found.state);
                let Some(quick) = defined(propagation::quick(&model, &value.sources, true, work))? else { continue };
                let sums = Sums { life: *life, found, quick };
                let size = |sums: &Sums<C::State>| match by {
                    JudgedBy::RootSumSquare => sums.quick.root_sum_square,
                    _ => sums.worst_case(),
                };
                if worst.as_ref().is_none_or(|other| size(&sums) > size(other)) {
                    worst = Some(sums);
                }
            }
            all.extend(worst);
        }
        Ok(all)
    }

    /// All four methods at a value in a state of life, with trials or without.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn assess(&self, x: f64, sums: &Sums<C::State>, trials: bool, work: Work) -> Result<Option<Assessment>, Halt> {
        let Some((_, search)) = self.0.iter().find(|(life, _)| *life == sums.life) else { return Ok(None) };
        assess(search, x, sums.found.state, trials, work)
    }
}

/// The calibrating points of a channel.
#[derive(Clone, Copy, Debug)]
pub struct Points {
    /// Whether anything is calibrated.
    pub any: bool,
    /// The first that some part cannot read: its place, its value, and from where on.
    pub not_read: Option<(usize, f64, f64)>,
}

/// A channel as others ask it: by worst case, whatever its own requirement is judged by.
#[derive(Debug)]
pub struct Asked<C: Chain> {
    channel: C,
    /// Whether it is taken to stand at its end when it is full: a hazard may lie beyond, and the error counts there.
    stands: bool,
    /// Where it is full, once somebody asked.
    range: OnceCell<Range<C::State>>,
}

impl<C: Chain> Asked<C> {
    /// A channel, and whether it is taken to stand at its end when it is full.
    pub const fn new(channel: C, stands: bool) -> Self {
        Self { channel, stands, range: OnceCell::new() }
    }

    fn range(&self, work: Work) -> Result<Range<C::State>, Halt> {
        if let Some(range) = self.range.get() {
            return Ok(*range);
        }
        let range = full::range(&self.channel, work)?;
        Ok(*self.range.get_or_init(|| range))
    }
}

impl<C: Corners> Channel for Asked<C> {
    fn errors(&self, at: &[f64], work: Work) -> Result<Vec<Option<f64>>, Halt> {
        let judging = Judging::of(&self.channel, self.range(work)?);
        if judging.points().not_read.is_some() {
            return Ok(vec![None; at.len()]);
        }
        at.iter().map(|&x| Ok(judging.at(x, JudgedBy::WorstCase, work)?.error())).collect()
    }

    fn full_at(&self) -> Option<f64> {
        self.range(Work::FREE).ok()?.high.map(|end| end.at)
    }

    fn reads_from(&self) -> Option<f64> {
        let range = self.range(Work::FREE).ok()?;
        match range.low {
            Some(end) => Some(end.at),
            None => (!range.below_zero).then_some(0.0),
        }
    }

    fn all_missing(&self) -> Vec<&'static str> {
        self.channel.all_missing()
    }

    fn stands(&self) -> bool {
        self.stands
    }

    fn counted(&self, work: Work) -> Result<Option<Counted>, Halt> {
        let judging = Judging::of(&self.channel, self.range(work)?);
        if judging.points().not_read.is_some() {
            return Ok(None);
        }
        let exact = |x: f64| Ok(judging.at(x, JudgedBy::WorstCase, work)?.error());
        counted::counted(&self.channel, exact, work)
    }

    fn full_below(&self) -> Option<f64> {
        let range = self.range(Work::FREE).ok()?;
        if range.below_zero { range.low.map(|end| end.at.abs()) } else { Some(0.0) }
    }
}
