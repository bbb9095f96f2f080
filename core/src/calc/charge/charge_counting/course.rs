//! # The course of use
//!
//! Use is a list of stretches with one current each, some once, the others again and again. What is summed over them (time
//! in each direction, charge out and in, squares, leaps, what codes do to each current) grows in a straight line inside a stretch,
//! so that the sums at any moment follow from whole repetitions and a part of one stretch, whatever the number of days.
//!
//! Cycles do not say when one charges: the rest may lie anywhere between the two directions and after both. Every sum is straight
//! in the part that lies between, and the worst case, a sum of sizes of such sums, convex (the root of the random part, which
//! bends by far less, left out): it is largest where all rest lies between or none.

use super::input::{Usage, UsageKind};
use super::reading::Level;
use crate::constant::HOUR_S;

/// New or at the end of life.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Case {
    /// At the end of life.
    pub aged: bool,
    /// Whether discharge comes first.
    pub discharge_first: bool,
    /// Whether a cycle rests between its two directions, not after both.
    pub rests_between: bool,
    /// Where the true capacity lies in its range: −1 lowest, 1 highest.
    pub capacity: f64,
}

/// What flows in a stretch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Leg {
    /// Out of the battery.
    Discharge,
    /// Into the battery.
    Charge,
    /// The standby current, counted.
    Rest,
    /// Nothing is counted.
    Asleep,
}

/// Legs in which something is counted.
pub const COUNTED: usize = 3;

impl Leg {
    /// Its place among the counted ones.
    pub const fn place(self) -> Option<usize> {
        match self {
            Self::Discharge => Some(0),
            Self::Charge => Some(1),
            Self::Rest => Some(2),
            Self::Asleep => None,
        }
    }
}

/// One current for some time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// What flows.
    pub leg: Leg,
    /// How long, s.
    pub time_s: f64,
    /// Which current, A; discharge is positive.
    pub current_a: f64,
}

/// Sums from the anchor to a moment.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Tally {
    /// All time, s.
    pub time_s: f64,
    /// Time of each counted leg, s.
    pub leg_s: [f64; COUNTED],
    /// Charge out in use, A·s.
    pub out_c: f64,
    /// Charge in in use, A·s.
    pub in_c: f64,
    /// Charge of the standby, out positive, A·s.
    pub standby_c: f64,
    /// ∫I², A²s.
    pub square: f64,
    /// Σ ΔI of the leaps between stretches, A.
    pub leaps: f64,
    /// Σ |ΔI|, A.
    pub leaps_size: f64,
    /// Σ ΔI², A².
    pub leaps_square: f64,
    /// What codes are known to be off by, A·s.
    pub codes_c: f64,
    /// What they may be off by, of each counted leg, A·s.
    pub codes_limit_c: [f64; COUNTED],
    /// What may be lost of them out of the battery, A·s.
    pub lost_out_c: f64,
    /// The same into it, a magnitude, A·s.
    pub lost_in_c: f64,
}

impl Tally {
    /// Another one times a factor added.
    #[must_use]
    pub fn plus(mut self, other: &Self, times: f64) -> Self {
        self.time_s += times * other.time_s;
        let (legs, codes) = (self.leg_s.iter_mut().zip(other.leg_s), self.codes_limit_c.iter_mut());
        for (own, new) in legs.chain(codes.zip(other.codes_limit_c)) {
            *own += times * new;
        }
        self.codes_c += times * other.codes_c;
        self.lost_out_c += times * other.lost_out_c;
        self.lost_in_c += times * other.lost_in_c;
        self.out_c += times * other.out_c;
        self.in_c += times * other.in_c;
        self.standby_c += times * other.standby_c;
        self.square += times * other.square;
        self.leaps += times * other.leaps;
        self.leaps_size += times * other.leaps_size;
        self.leaps_square += times * other.leaps_square;
        self
    }

    /// A part of a stretch added; `from_a` flowed before it.
    #[must_use]
    fn with(self, stretch: &Stretch, level: &Level, from_a: f64, share: f64) -> Self {
        let (time, current) = (share * stretch.time_s, stretch.current_a);
        let charge = current * time;
        let leap = if share > 0.0 { current - from_a } else { 0.0 };
        let mut part = Self { time_s: time, ..Self::default() };
        if let Some(place) = stretch.leg.place() {
            part.leg_s[place] = time;
            part.codes_c = level.known_a * time;
            part.codes_limit_c[place] = level.limit_a * time;
            *(if current < 0.0 { &mut part.lost_in_c } else { &mut part.lost_out_c }) = level.lost_a * time;
            (part.square, part.leaps, part.leaps_size, part.leaps_square) =
                (current * charge, leap, leap.abs(), leap * leap);
        }
        match stretch.leg {
            Leg::Discharge => part.out_c = charge,
            Leg::Charge => part.in_c = -charge,
            Leg::Rest => part.standby_c = charge,
            Leg::Asleep => {}
        }
        self.plus(&part, 1.0)
    }

    /// Time in which something is counted, s.
    pub fn awake_s(&self) -> f64 {
        self.leg_s.iter().sum()
    }

    /// Net charge out through the shunt, A·s.
    pub fn net_c(&self) -> f64 {
        self.out_c - self.in_c + self.standby_c
    }

    /// Charge through the shunt either way, A·s.
    pub fn through_c(&self) -> f64 {
        self.out_c + self.in_c + self.standby_c.abs()
    }
}

/// Where a moment lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// The repetition, from 1; 0 is what is done once.
    pub block: u64,
    /// The stretch in it.
    pub stretch: usize,
    /// The part of it that has passed.
    pub share: f64,
}

/// A course: stretches once, then others again and again.
#[derive(Clone, Debug)]
pub struct Course {
    once: Passed,
    again: Passed,
}

/// Stretches one after the other, with the sums at their ends.
#[derive(Clone, Debug)]
struct Passed {
    stretches: Vec<Stretch>,
    /// What the current of each is off by as a code.
    levels: Vec<Level>,
    /// Of each stretch the sums before it and the current that flowed until then; then those of all.
    before: Vec<(Tally, f64)>,
}

impl Passed {
    fn new(stretches: Vec<Stretch>, levels: Vec<Level>, from_a: f64) -> Self {
        let mut before = vec![(Tally::default(), from_a)];
        let (mut sum, mut from) = before[0];
        for (stretch, level) in stretches.iter().zip(&levels) {
            (sum, from) = (sum.with(stretch, level, from, 1.0), stretch.current_a);
            before.push((sum, from));
        }
        Self { stretches, levels, before }
    }

    /// The same with what a current is off by as a code.
    fn levelled(self, level: impl Fn(f64) -> Level) -> Self {
        let of = |one: &Stretch| if one.leg == Leg::Asleep { Level::default() } else { level(one.current_a) };
        let (levels, from) =
            (self.stretches.iter().map(of).collect(), self.before.first().map_or(0.0, |first| first.1));
        Self::new(self.stretches, levels, from)
    }

    /// The sums of all.
    fn whole(&self) -> Tally {
        self.before.last().map_or_else(Tally::default, |(sum, _)| *sum)
    }

    /// The sums at a part of a stretch.
    fn at(&self, stretch: usize, share: f64) -> Tally {
        match (self.stretches.get(stretch), self.levels.get(stretch), self.before.get(stretch)) {
            (Some(one), Some(level), Some((sum, from))) => sum.with(one, level, *from, share),
            _ => self.whole(),
        }
    }
}

impl Course {
    /// A course of stretches. `rest_a` flows before what is done once; before a repetition flows what flowed at the end of one,
    /// or `rest_a` where that is asleep.
    pub fn new(once: Vec<Stretch>, again: Vec<Stretch>, rest_a: f64) -> Self {
        let last_a = again.last().filter(|last| last.leg != Leg::Asleep).map_or(rest_a, |last| last.current_a);
        let exact = |list: &Vec<Stretch>| vec![Level::default(); list.len()];
        let (once_levels, again_levels) = (exact(&once), exact(&again));
        Self { once: Passed::new(once, once_levels, rest_a), again: Passed::new(again, again_levels, last_a) }
    }

    /// The same with what a current is off by as a code.
    #[must_use]
    pub fn levelled(self, level: impl Fn(f64) -> Level) -> Self {
        Self { once: self.once.levelled(&level), again: self.again.levelled(&level) }
    }

    /// The course of a use in a case; `swing_c` is the charge of its swing, A·s.
    pub fn of(usage: &Usage, swing_c: f64, case: &Case) -> Self {
        let discharge_first = case.discharge_first;
        let stretch = |leg, time_s: f64, current_a: f64| Stretch { leg, time_s, current_a };
        let leg = |discharges: bool| {
            let current = if discharges { usage.discharge_a } else { usage.charge_a }.unwrap_or(0.0);
            let (leg, sign) = if discharges { (Leg::Discharge, 1.0) } else { (Leg::Charge, -1.0) };
            (current > 0.0 && swing_c > 0.0).then(|| stretch(leg, swing_c / current, sign * current))
        };
        let way = |current: f64| match current {
            out if out > 0.0 => Leg::Discharge,
            charge if charge < 0.0 => Leg::Charge,
            _ => Leg::Rest,
        };
        let awake = usage.awake_h * HOUR_S;
        let day = 24.0 * HOUR_S;
        let rest = |awake: f64, all: f64| {
            let rest = stretch(Leg::Rest, awake.max(0.0), usage.standby_a);
            [rest, stretch(Leg::Asleep, (all - awake).max(0.0), 0.0)].into_iter().filter(|one| one.time_s > 0.0)
        };
        match usage.kind {
            UsageKind::OneWay => {
                let way = leg(discharge_first).into_iter().collect();
                Self::new(way, rest(awake, day).collect(), usage.standby_a)
            }
            UsageKind::Cycles | UsageKind::Profile if usage.cycles_per_day > 0.0 => {
                // The cycles of a day are spread evenly: one cycle with its part of the hours awake and asleep.
                let period = day / usage.cycles_per_day;
                let mut again: Vec<Stretch> = if usage.kind == UsageKind::Profile {
                    usage.profile.iter().map(|row| stretch(way(row.current_a), row.duration_s, row.current_a)).collect()
                } else {
                    [leg(discharge_first), leg(!discharge_first)].into_iter().flatten().collect()
                };
                let used: f64 = again.iter().map(|one| one.time_s).sum();
                let awake = (awake / usage.cycles_per_day).max(used);
                let at = if case.rests_between { again.len().min(1) } else { again.len() };
                again.splice(at..at, rest(awake - used, (period - used).max(awake - used)));
                Self::new(Vec::new(), again, usage.standby_a)
            }
            _ => Self::new(Vec::new(), rest(awake, day).collect(), usage.standby_a),
        }
    }

    fn block(&self, block: u64) -> &Passed {
        if block == 0 { &self.once } else { &self.again }
    }

    /// The stretches of a block.
    pub fn stretches(&self, block: u64) -> &[Stretch] {
        &self.block(block).stretches
    }

    /// The ends of the stretches of a block.
    pub fn ends(&self, block: u64) -> impl Iterator<Item = Moment> {
        (0..self.stretches(block).len()).map(move |stretch| Moment { block, stretch, share: 1.0 })
    }

    /// Time of one repetition, s.
    pub fn period_s(&self) -> f64 {
        self.again.whole().time_s
    }

    /// The sums at the end of what came before a block.
    fn before(&self, block: u64) -> Tally {
        if block == 0 {
            return Tally::default();
        }
        #[expect(clippy::cast_precision_loss, reason = "repetitions of hours in a life: far below 2^53")]
        let times = (block - 1) as f64;
        self.once.whole().plus(&self.again.whole(), times)
    }

    /// The sums at a moment.
    pub fn at(&self, moment: Moment) -> Tally {
        self.before(moment.block).plus(&self.block(moment.block).at(moment.stretch, moment.share), 1.0)
    }

    /// The moment at a time from the anchor.
    pub fn moment(&self, time_s: f64) -> Moment {
        let mut left = time_s;
        let mut block = 0;
        let (once_s, period_s) = (self.once.whole().time_s, self.period_s());
        if left >= once_s {
            left -= once_s;
            let whole = if period_s > 0.0 { (left / period_s).floor() } else { 0.0 };
            left -= whole * period_s;
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "whole, at least 0, far below 2^53"
            )]
            let count = whole as u64;
            block = 1 + count;
        }
        let stretches = self.stretches(block);
        for (place, stretch) in stretches.iter().enumerate() {
            if left < stretch.time_s {
                return Moment { block, stretch: place, share: left / stretch.time_s };
            }
            left -= stretch.time_s;
        }
        Moment { block, stretch: stretches.len().saturating_sub(1), share: 1.0 }
    }

    /// The end of what is done once, or of the first repetition.
    pub fn end_of_use(&self) -> Moment {
        let block = u64::from(self.once.stretches.is_empty());
        let last = self.stretches(block).len().saturating_sub(1);
        Moment { block, stretch: last, share: 1.0 }
    }

    /// The sums of one day.
    pub fn day(&self) -> Tally {
        let whole = 24.0 * HOUR_S;
        let period = self.period_s();
        if period > 0.0 { Tally::default().plus(&self.again.whole(), whole / period) } else { Tally::default() }
    }

    /// Whether a repetition rests.
    pub fn rests(&self) -> bool {
        self.again.stretches.iter().any(|one| matches!(one.leg, Leg::Rest | Leg::Asleep))
    }

    /// Whether anything is done once.
    pub fn begins_once(&self) -> bool {
        !self.once.stretches.is_empty()
    }
}
