//! # The error of a channel over its corners
//!
//! A channel that ends in a front end is judged at points, each at its worst ambient temperature, in a state of life.
//! What does not depend on the point (the limits at an ambient temperature) is worked out once for all of them.
//!
//! ```text
//! Judged     end of life, as it is calibrated, at the ambient temperature at which the judged sum is largest
//! Ranked     by the sum that is judged; a coverage interval by its first-order interval about the known deviation, and
//!            the trials are run at the ambient that wins
//! Beyond     the range nothing is read, and no error is given
//! Source     JCGM 100:2008, JCGM 101:2008
//! ```

use super::budget::largest;
use super::{Channel, Experiment, JudgedBy, Lever, largest_words, lever_words};
use crate::judge::{Judged, Ledger, Limit, Words, passes};
use crate::physics::front_end::{CalibrationKind, Life};
use crate::propagation::{self, Assessment, Fault, Method, Model, Quick, Request, Source, defined};
use crate::quantity::{Unit, in_sentence, say};
use crate::work::{Cost, Halt, Work};

/// After calibration, at the end of life: the state that is judged.
pub const JUDGED: Life = Life { calibrated: true, end_of_life: true };
/// Before calibration, at the end of life.
pub const BEFORE: Life = Life { calibrated: false, end_of_life: true };

/// A channel as limits at corners.
pub trait Corners: Sync {
    /// The unit of the reading.
    const UNIT: Unit;
    /// The requirement on the error.
    const ERROR: &'static str;
    /// The note that a statistical total is used.
    const STATISTICAL: &'static str;
    /// Why a point within the range has no error: short, and in a sentence after "At 5 A".
    const UNDEFINED: [&'static str; 2];

    /// The error of the reading at a point.
    fn model(&self, at: f64) -> impl Model;

    /// The ambient temperatures that every point is judged at, rising.
    fn ambients(&self) -> Vec<f64>;

    /// One more ambient temperature, at which the error of this point may be largest.
    fn own_ambient(&self, _at: f64) -> Option<f64> {
        None
    }

    /// The limits at an ambient temperature in a state of life.
    fn sources(&self, ambient_degc: f64, life: Life) -> Vec<Source>;

    /// Puts in what depends on the point; nothing when it has no steady state there.
    fn put(&self, at: f64, ambient_degc: f64, life: Life, sources: &mut [Source]) -> Option<()>;

    /// Names the sources that have no name of their own before somebody reads them.
    fn name(&self, _sources: &mut [Source]) {}

    /// The allowed error at a point.
    fn allowed(&self, at: f64) -> Option<f64>;

    /// The largest reading, and what ends there.
    fn full(&self) -> (f64, &'static str);

    /// How the requirement is judged.
    fn judged_by(&self) -> JudgedBy;

    /// What was calibrated.
    fn calibration(&self) -> CalibrationKind;

    /// The numerical experiment.
    fn experiment(&self) -> &Experiment;

    /// Whether anything is calibrated at all.
    fn calibrates(&self) -> bool {
        self.calibration() != CalibrationKind::None
    }

    /// What was calibrated in a state of life, in words.
    fn calibrated(&self, life: Life) -> &'static str {
        match (life.calibrated, self.calibration()) {
            (false, _) | (_, CalibrationKind::None) => "not calibrated",
            (_, CalibrationKind::Offset) => "zero calibrated",
            (_, CalibrationKind::TwoPoint) => "calibrated",
        }
    }

    /// A state of life in words, by what the calibration really does.
    fn state(&self, life: Life) -> String {
        format!("{}, {}", if life.end_of_life { "end of life" } else { "new" }, self.calibrated(life))
    }

    /// The sources of a corner by their names.
    fn corner(&self, at: f64, ambient_degc: f64, life: Life) -> Option<Vec<Source>> {
        let mut sources = self.sources(ambient_degc, life);
        self.put(at, ambient_degc, life, &mut sources)?;
        self.name(&mut sources);
        Some(sources)
    }

    /// All four methods at a corner, with trials or without.
    ///
    /// # Errors
    /// The work was stopped.
    fn assess(
        &self,
        at: f64,
        ambient_degc: f64,
        life: Life,
        with_trials: bool,
        work: Work,
    ) -> Result<Option<Assessment>, Halt> {
        let with = self.experiment();
        let Some(sources) = self.corner(at, ambient_degc, life) else { return Ok(None) };
        let request =
            Request { trials: with_trials.then_some(with.trials), seed: u64::from(with.seed), ..Request::default() };
        defined(propagation::assess(&self.model(at), &sources, None, &request, work))
    }
}

/// The corners of one state of life: the limits that do not depend on the point are worked out once.
#[derive(Debug)]
pub struct Places<'a, C> {
    channel: &'a C,
    life: Life,
    corners: Vec<(f64, Vec<Source>)>,
}

impl<'a, C: Corners> Places<'a, C> {
    /// The corners of a state of life.
    pub fn new(channel: &'a C, life: Life) -> Self {
        let corner = |degc| (degc, channel.sources(degc, life));
        Self { channel, life, corners: channel.ambients().into_iter().map(corner).collect() }
    }

    /// The ambient temperature at which what `measure` ranks by is largest, of equals the lowest; every so many of them and
    /// the last one.
    fn worst<T>(
        &mut self,
        at: f64,
        every: usize,
        measure: impl Fn(&[Source]) -> Result<Option<(f64, T)>, Halt>,
    ) -> Result<Option<(f64, T)>, Halt> {
        let (channel, life) = (self.channel, self.life);
        let inside = |degc: &f64| {
            let ends = (self.corners.first(), self.corners.last());
            matches!(ends, (Some((low, _)), Some((high, _))) if low <= degc && degc <= high)
        };
        let known = |degc: &f64| self.corners.iter().any(|(other, _)| other.total_cmp(degc).is_eq());
        let own = channel.own_ambient(at).filter(|degc| inside(degc) && !known(degc));
        let mut own = own.map(|degc| (degc, channel.sources(degc, life)));
        let place = own.as_ref().map_or(0, |(degc, _)| self.corners.partition_point(|(other, _)| other < degc));
        let last = self.corners.len() - usize::from(own.is_none());
        let (below, above) = self.corners.split_at_mut(place);
        let mut worst: Option<(f64, f64, T)> = None;
        for (index, (degc, sources)) in below.iter_mut().chain(&mut own).chain(above).enumerate() {
            if index % every != 0 && index != last || channel.put(at, *degc, life, sources).is_none() {
                continue;
            }
            let Some((rank, found)) = measure(sources)? else { continue };
            if worst.as_ref().is_none_or(|(best, ..)| rank > *best) {
                worst = Some((rank, *degc, found));
            }
        }
        Ok(worst.map(|(_, degc, found)| (degc, found)))
    }

    /// The error at the worst ambient by one method alone: the ambient and the error. Of a coverage interval it is what
    /// ranks the ambients.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn error(&mut self, at: f64, by: JudgedBy, work: Work) -> Result<Option<(f64, f64)>, Halt> {
        let model = self.channel.model(at);
        self.worst(at, 1, |sources| {
            let of_interval =
                if by == JudgedBy::Probability95 { defined(interval(&model, sources, work))? } else { None };
            let error = match by {
                JudgedBy::RootSumSquare => defined(propagation::trade(&model, sources))?.map(|sums| sums.1),
                _ if of_interval.is_some() => of_interval,
                _ => defined(worst_case(&model, sources, work))?,
            };
            Ok(error.map(|error| (error, error)))
        })
    }

    /// Both trade sums and the worst case at the worst ambient, of every so many ambients.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn sums(&mut self, at: f64, every: usize, work: Work) -> Result<Option<Sums>, Halt> {
        let (model, by, life) = (self.channel.model(at), self.channel.judged_by(), self.life);
        let worst = self.worst(at, every, |sources| {
            let Some(quick) = defined(propagation::quick(&model, sources, true, work))? else { return Ok(None) };
            let worst = largest(quick.low, quick.high);
            let rank = match by {
                JudgedBy::WorstCase => worst,
                JudgedBy::RootSumSquare => quick.root_sum_square,
                JudgedBy::Probability95 => defined(interval(&model, sources, work))?.unwrap_or(worst),
            };
            Ok(Some((rank, quick)))
        })?;
        Ok(worst.map(|(ambient_degc, quick)| Sums { life, ambient_degc, quick }))
    }
}

fn worst_case<M: Model>(model: &M, sources: &[Source], work: Work) -> Result<f64, Fault> {
    propagation::worst_case(model, sources, work).map(|(low, high)| largest(low, high))
}

/// The farther end of the first-order interval.
fn interval<M: Model>(model: &M, sources: &[Source], work: Work) -> Result<f64, Fault> {
    let done = propagation::assess(model, sources, None, &Request::default(), work)?;
    Ok(largest(done.gum.low, done.gum.high))
}

/// The sums of one state of life at its worst ambient.
#[derive(Clone, Copy, Debug)]
pub struct Sums {
    /// The state.
    pub life: Life,
    /// The ambient, °C.
    pub ambient_degc: f64,
    /// The sums.
    pub quick: Quick,
}

impl Sums {
    /// How far the reading may be off.
    pub const fn worst_case(&self) -> f64 {
        largest(self.quick.low, self.quick.high)
    }

    /// Whether it reads too high where it is farthest off.
    pub const fn up(&self) -> bool {
        self.quick.high.abs() >= self.quick.low.abs()
    }
}

/// One point as it is judged.
#[derive(Clone, Debug)]
pub struct Point {
    /// The reading.
    pub at: f64,
    /// The allowed error.
    pub allowed: Option<f64>,
    /// The error by the chosen method; nothing where it is not defined.
    pub judged: Option<f64>,
    /// Whether the channel is full below it.
    pub beyond: bool,
    /// The worst ambient temperature.
    pub ambient_degc: Option<f64>,
    /// The trials, when they judge.
    pub run: Option<Box<Assessment>>,
}

impl Point {
    /// Share of the allowance, percent.
    pub fn used_percent(&self) -> Option<f64> {
        let used = self.judged.zip(self.allowed).map(|(judged, allowed)| judged / allowed * 100.0);
        used.filter(|used| used.is_finite())
    }

    /// The requirement, when there is one.
    pub fn requirement<C: Corners>(&self, limit: impl Into<Limit>) -> Judged {
        Judged::at_most(C::ERROR, "/requirement/gain_percent", C::UNIT, self.judged, limit).at(self.at)
    }
}

/// Judges points.
///
/// # Errors
/// The work was stopped.
pub fn judge<C: Corners>(channel: &C, at: &[f64], work: Work) -> Result<Vec<Point>, Halt> {
    let mut places = Places::new(channel, JUDGED);
    at.iter()
        .map(|&at| {
            work.go_on()?;
            let (by, allowed) = (channel.judged_by(), channel.allowed(at));
            let mut point = Point { at, allowed, judged: None, beyond: false, ambient_degc: None, run: None };
            point.beyond = passes(at, channel.full().0);
            let Some((ambient_degc, error)) = (if point.beyond { None } else { places.error(at, by, work)? }) else {
                return Ok(point);
            };
            point.ambient_degc = Some(ambient_degc);
            point.judged = if by == JudgedBy::Probability95 {
                point.run = channel.assess(at, ambient_degc, JUDGED, true, work)?.map(Box::new);
                point.run.as_deref().and_then(interval_end)
            } else {
                Some(error)
            };
            Ok(point)
        })
        .collect()
}

/// The farther end of the 95 % coverage interval.
pub fn interval_end(done: &Assessment) -> Option<f64> {
    done.monte_carlo.as_ref().map(|run| largest(run.p95.symmetric.low, run.p95.symmetric.high))
}

/// What the answer of so many points costs, each assessed in so many states of life.
pub fn cost<C: Corners>(channel: &C, points: usize, sources: u64, states: u64) -> Cost {
    let count = u64::try_from(points).unwrap_or(u64::MAX).saturating_mul(states);
    let trials = u64::from(channel.experiment().trials);
    Cost::SMALL.and(Cost { units: trials.saturating_mul(sources), bytes: 0 }.times(count)).and(Cost {
        units: 0,
        // The trials of one point are held to be sorted.
        bytes: trials.saturating_mul(16),
    })
}

/// One point in full.
#[derive(Debug)]
pub struct Whole {
    /// Every state of life.
    pub states: Vec<Sums>,
    /// All four methods in the state that is judged.
    pub assessment: Option<Assessment>,
    /// The limit each source alone would need.
    pub levers: Vec<Lever>,
}

/// Every state of life of points.
#[derive(Debug)]
pub struct Wholes<'a, C>([Places<'a, C>; 4]);

impl<'a, C: Corners> Wholes<'a, C> {
    /// The corners of every state of life.
    pub fn new(channel: &'a C) -> Self {
        Self(Life::ALL.map(|life| Places::new(channel, life)))
    }

    /// One point in full.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn point(&mut self, point: &mut Point, work: Work) -> Result<Whole, Halt> {
        let states = self.0.iter_mut().filter_map(|places| places.sums(point.at, 1, work).transpose());
        let states = states.collect::<Result<Vec<Sums>, Halt>>()?;
        let channel = self.0[0].channel;
        let judged = states.iter().find(|sums| sums.life == JUDGED);
        let assessment = match (point.run.take(), judged) {
            (Some(run), _) => Some(*run),
            (None, Some(sums)) => channel.assess(point.at, sums.ambient_degc, JUDGED, true, work)?,
            (None, None) => None,
        };
        let levers = match (judged, point.allowed) {
            (Some(sums), Some(allowed)) => {
                let end = assessment.as_ref().and_then(interval_end);
                levers(channel, point.at, sums.ambient_degc, allowed, (end, sums.quick.root_sum_square), work)?
            }
            _ => Vec::new(),
        };
        Ok(Whole { states, assessment, levers })
    }
}

/// The limit each source alone would need, by the first-order sum or, for a statistical requirement, by the
/// root-sum-square; the one that has to shrink least first.
fn levers<C: Corners>(
    channel: &C,
    at: f64,
    ambient_degc: f64,
    allowed: f64,
    (interval, root_sum_square): (Option<f64>, f64),
    work: Work,
) -> Result<Vec<Lever>, Halt> {
    let (method, scale) = match (channel.judged_by(), interval.filter(|end| *end > 0.0)) {
        (JudgedBy::WorstCase, _) => (Method::Sum, 1.0),
        // A coverage interval is levered by the root-sum-square that stands in the same proportion to it.
        (JudgedBy::Probability95, Some(end)) => (Method::RootSumSquare, root_sum_square / end),
        _ => (Method::RootSumSquare, 1.0),
    };
    let sources = channel.corner(at, ambient_degc, JUDGED).unwrap_or_default();
    let found = propagation::what_it_takes(&channel.model(at), &sources, allowed * scale, method, true, work);
    let mut levers: Vec<Lever> = defined(found)?
        .unwrap_or_default()
        .into_iter()
        .zip(sources)
        // Leakage is a limit on one side: half of it is the estimate, so a limit alone says nothing.
        .filter(|(lever, _)| lever.limit_now > 0.0 && lever.id != "surface.leakage")
        .map(|(lever, source)| Lever {
            id: lever.id,
            label: source.label.into_owned(),
            unit: source.unit.into_owned(),
            limit_now: lever.limit_now,
            limit_needed: lever.limit_needed,
        })
        .collect();
    let kept = |lever: &Lever| lever.limit_needed.map_or(-1.0, |needed| needed / lever.limit_now);
    levers.sort_by(|a, b| kept(b).total_cmp(&kept(a)));
    Ok(levers)
}

/// The requirement on the error at every point.
pub fn require<C: Corners>(channel: &C, points: &[Point], to: &mut Ledger) {
    for point in points {
        // What cannot be read fails, whatever is required of its error.
        let limit = point.judged.map_or(Limit::Given(point.allowed.unwrap_or(0.0)), |_| point.allowed.into());
        let one = point.requirement::<C>(limit);
        to.require(one, |one| words(channel, point, one.fails()));
    }
    let statistical = channel.judged_by() != JudgedBy::WorstCase;
    to.note(C::STATISTICAL, "/requirement/judged_by", statistical, || {
        "A statistical total is used. For a protective limit many projects require worst case; confirm with the person responsible for safety.".into()
    });
}

fn words<C: Corners>(channel: &C, point: &Point, fails: bool) -> Words {
    let said = |value: f64| say(value, C::UNIT);
    let at = said(point.at);
    let label = format!("Reading error at {at}");
    let (Some(judged), Some(ambient_degc)) = (point.judged, point.ambient_degc) else {
        if point.beyond {
            let (full, first) = channel.full();
            let failure = format!(
                "{at} cannot be read: the chain is full at {}, where {first} ends. No error is given there.",
                said(full)
            );
            return Words::new(label, "beyond what the chain can read", failure);
        }
        let [note, why] = C::UNDEFINED;
        return Words::new(label, note, format!("At {at} {why}"));
    };
    let by = channel.judged_by().label();
    let ambient = say(ambient_degc, Unit::Celsius);
    let note = format!("{by}, {}, ambient {ambient}", channel.state(JUDGED));
    // Without trials it is over at once.
    let told = channel.assess(point.at, ambient_degc, JUDGED, false, Work::FREE).ok().flatten();
    let lever = point.allowed.filter(|_| fails).and_then(|allowed| {
        let root = told.as_ref()?.root_sum_square;
        let levers = levers(channel, point.at, ambient_degc, allowed, (Some(judged), root), Work::FREE);
        lever_words(&levers.ok()?)
    });
    let failure = format!(
        "At {at} the error is ±{} by {}; ±{} is allowed.{}",
        said(judged),
        in_sentence(by),
        said(point.allowed.unwrap_or(0.0)),
        lever.as_ref().map_or_else(
            || " No single source can close the gap by itself.".to_owned(),
            |lever| format!(" It would take {lever}.")
        )
    );
    Words::new(label, note, failure).because(told.as_ref().and_then(|done| largest_words(done, C::UNIT)), lever)
}

/// A channel as others ask it: by worst case, whatever its own requirement is judged by.
#[derive(Debug)]
pub struct Asked<C> {
    /// The channel.
    pub channel: C,
    /// The reading at which it is taken to stand when it is full.
    pub full_at: Option<f64>,
}

impl<C: Corners> Channel for Asked<C> {
    fn errors(&self, at: &[f64], work: Work) -> Result<Vec<Option<f64>>, Halt> {
        let mut places = Places::new(&self.channel, JUDGED);
        let full = self.channel.full().0;
        at.iter()
            .map(|&at| {
                work.go_on()?;
                let read = at > 0.0 && !passes(at, full);
                Ok(if read { places.error(at, JudgedBy::WorstCase, work)?.map(|(_, error)| error) } else { None })
            })
            .collect()
    }

    fn full_at(&self) -> Option<f64> {
        self.full_at
    }
}
