//! # The error of the state of charge
//!
//! Every source is summed over time with its sign first; absolute values and variances come after. So what cancels in a
//! cycle cancels because of its sign, and nothing is assumed to.
//!
//! ```text
//! Formula    e = e0 − 100 E/Ĉ − 100 γ ΔS + 100 (Isd + Iu) t/C + 100 (η̂ − η) Qc/C;  C = Ĉ(1 + γ), ΔS = (Qd − η̂ Qc)/C
//!            E: offset, drift, EMF o t; gain, clock g N; unequal gains ½ d (Qd + Qc); non-linearity, rounding a value a leg
//!            walk s √(Ts t (1 + φ)/(1 − φ)), times √(T/(n Ts)) where readings leave samples out; slow noise u t
//!            spot samples: −½ T' ΔI ± ½ T' |ΔI| a leap; missed as nothing −(0..m) N ± T √(m(1 − m) ∫I²dt/T), else T √(m ΣΔI²)
//! Symbols    E [A·s] counted less what flowed out, e [points] estimated less true, Ĉ capacity of the estimator, Qd, Qc charge
//!            out and in, N = Qd − Qc, T interval of the readings, T' its unseen part, γ true capacity over Ĉ less 1
//! Capacity   −100 γ ΔS = 100 (N/C − N/Ĉ) with the charge N that flowed; both ends of its range are cases of their own
//! Departs    the charge that the estimator leaves out by η̂ is taken out of ΔS as well: Ŝ − S = N/C − N/Ĉ holds only for
//!            what it counts; with η̂ = 1 it is the usual form
//! Misses     rare ones are no normal deviate: one whole reading counts beside three standard deviations
//! Leaps      independent of the readings: cycles in step with them would add n times instead of √n
//! Valid      small errors: products of two are left out
//! Source     charge balance; random walk of correlated noise (AR(1)); held samples of a leap uniform in time; binomial
//!            misses. Derived here, checked against simulation (tests/python)
//! ```

use super::anchor::Left;
use super::cone::{PROBABILITY, Sum, WORST};
use super::course::{COUNTED, Case, Course, Leg, Moment, Tally};
use super::input::{ChargeInput, MONTH_H, MissedReading, StartKind};
use super::reading::{Alias, Level, alias, level};
use crate::constant::HOUR_S;

/// The sources that have a limit, in the order of their values.
pub const LABELS: [&str; 19] = [
    "Beginning",
    "Offset that is left",
    "Drift of the offset",
    "Thermal EMF",
    "Gain error",
    "Clock",
    "Unequal gains",
    "Non-linearity in discharge",
    "Non-linearity in charge",
    "Non-linearity at rest",
    "Rounding in discharge",
    "Rounding in charge",
    "Rounding at rest",
    "Spread of self-discharge",
    "Spread of what is not seen",
    "Spread of the efficiency",
    "A gap or a missed reading",
    "Ripple between the readings",
    "Leaps between the readings",
];
/// How many there are.
pub const LIMITS: usize = LABELS.len();
/// The place of the beginning.
const BEGINNING: usize = 0;
/// The place of the offset.
pub const OFFSET: usize = 1;
/// The place of the leaps, which are random one by one and have a limit all the same.
const LEAPS: usize = 18;
/// Places of what is as likely at its limit as anywhere, or comes and goes: a mean code at the edge of its step is half a
/// step off either way and nothing between. With a probability, too, these count in full.
const IN_FULL: [usize; 5] = [10, 11, 12, GAP, RIPPLE];
/// The place of a gap or a missed reading.
const GAP: usize = 16;
/// The place of the ripple.
const RIPPLE: usize = 17;

/// Errors at one moment, in points of the state of charge; estimated less true.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Terms {
    /// What is known, with its sign.
    pub known: f64,
    /// What may be there or not, downward: 0 or less.
    pub low: f64,
    /// The same upward.
    pub high: f64,
    /// A value for each limit, with the sign of its effect.
    pub limits: [f64; LIMITS],
    /// Variance of everything random but the leaps.
    pub variance: f64,
    /// Variance of the leaps.
    pub leaps: f64,
}

impl Default for Terms {
    fn default() -> Self {
        Self { known: 0.0, low: 0.0, high: 0.0, limits: [0.0; LIMITS], variance: 0.0, leaps: 0.0 }
    }
}

impl Terms {
    /// What an effect that may be there adds.
    fn perhaps(&mut self, effect: f64) {
        self.low += effect.min(0.0);
        self.high += effect.max(0.0);
    }

    /// The worst case, downward and upward.
    pub fn worst(&self) -> [f64; 2] {
        let wide: f64 = self.limits.iter().map(|limit| limit.abs()).sum::<f64>() + WORST * self.variance.sqrt();
        [self.known + self.low - wide, self.known + self.high + wide]
    }

    /// The larger end of it.
    pub fn size(&self) -> f64 {
        let [low, high] = self.worst();
        high.max(-low)
    }

    /// What is known and what may be there, where it is largest.
    fn shift(&self) -> f64 {
        let full: f64 = IN_FULL.iter().map(|place| self.limits[*place].abs()).sum();
        (self.known + self.high).abs().max((self.known + self.low).abs()) + full
    }

    /// The random part with its limits: leaps are one normal deviate there.
    fn sum(&self) -> Sum {
        let mut limits = self.limits;
        limits[LEAPS] = 0.0;
        for place in IN_FULL {
            limits[place] = 0.0;
        }
        Sum::new(&limits, (self.variance + self.leaps).sqrt())
    }

    /// Probability of staying within a limit, at the worse end of what may be there.
    pub fn within(&self, limit: f64) -> f64 {
        self.sum().within(self.shift(), limit)
    }

    /// Whether they stay within a limit with the probability of the interval. Parts that are symmetric and have one
    /// hump decide most of it without their sum: half of it lies beyond a limit below the shift, and at most 4σ²/9t² beyond
    /// t (Vysochanskij and Petunin 1980, for t from √(8/3) σ on).
    pub fn keeps(&self, limit: f64) -> bool {
        /// 4/9 over what may lie outside.
        const CLEAR: f64 = 4.0 / 9.0 / (1.0 - PROBABILITY);
        let room = limit - self.shift();
        let squares: f64 = self.limits.iter().map(|limit| limit * limit).sum();
        let variance = squares / 3.0 + self.variance + self.leaps;
        room >= 0.0 && (room * room > CLEAR * variance || self.within(limit) >= PROBABILITY)
    }

    /// The limit that is kept with 95 %; never above the worst case.
    pub fn coverage(&self) -> f64 {
        self.sum().coverage(self.shift()).min(self.size())
    }

    /// Whether every part of this one is at least as large: of symmetric and unimodal parts none can then be worse.
    pub fn covers(&self, other: &Self) -> bool {
        let parts = self.limits.iter().zip(&other.limits);
        parts.clone().all(|(own, others)| own.abs() >= others.abs())
            && self.shift() >= other.shift()
            && self.size() >= other.size()
            && self.variance >= other.variance
            && self.leaps >= other.leaps
    }

    /// What an anchor of weight K leaves of the intervals before it: (1 − K)/K of what came up in one, of what is alike in
    /// all of them; the random parts of each are new.
    #[must_use]
    fn after_many(mut self, interval: &Self, weight: f64) -> Self {
        let alike = (1.0 - weight) / weight;
        self.known += alike * interval.known;
        self.low += alike * interval.low;
        self.high += alike * interval.high;
        for (place, (own, one)) in self.limits.iter_mut().zip(&interval.limits).enumerate() {
            // The beginning is the anchor itself; its own part never falls with the number of anchors.
            if place != BEGINNING {
                // Signs may differ between a moment and the end: sizes add up.
                *own = own.abs() + alike * one.abs();
            }
        }
        let kept = (1.0 - weight) * (1.0 - weight);
        self.variance += interval.variance * kept / (1.0 - kept);
        self.leaps += interval.leaps * kept / (1.0 - kept);
        self
    }
}

/// What is left of an anchor, as a beginning.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct From {
    /// Its ends at the place.
    pub left: Left,
    /// Its standard uncertainty, points.
    pub standard: f64,
}

/// Everything that an error is made of in one case.
#[derive(Clone, Debug)]
pub struct Rates<'a> {
    input: &'a ChargeInput,
    /// The case.
    pub case: Case,
    /// The course.
    pub course: Course,
    /// Capacity that the estimator divides by, A·s.
    estimated_c: f64,
    /// True capacity, A·s.
    true_c: f64,
    offset_a: f64,
    alias: Option<Alias>,
    from: Option<From>,
    /// What one interval between anchors adds, where anchors count in part.
    interval: Option<Terms>,
}

impl<'a> Rates<'a> {
    /// The errors of a case.
    pub fn new(input: &'a ChargeInput, case: Case, from: Option<From>) -> Self {
        let (battery, usage) = (&input.battery, &input.usage);
        let soh = if case.aged { battery.soh_end_percent / 100.0 } else { 1.0 };
        let new_c = battery.capacity_ah * HOUR_S;
        let estimated_c = if battery.capacity_learned { new_c * soh } else { new_c };
        let true_c = soh * new_c * (1.0 + case.capacity * battery.capacity_error_percent / 100.0);
        let swing_c = usage.swing_percent.unwrap_or(0.0) / 100.0 * true_c;
        let offset_a = input.offset_a();
        Self {
            input,
            case,
            course: Course::of(usage, swing_c, &case).levelled(|current| level_of(input, current)),
            estimated_c,
            true_c,
            offset_a,
            alias: alias(&input.counter, &input.counting),
            from,
            interval: None,
        }
    }

    /// The same with another course, for stretches of one's own.
    #[must_use]
    pub fn with_course(mut self, course: Course) -> Self {
        self.course = course.levelled(|current| level_of(self.input, current));
        self
    }

    /// The same with another offset.
    #[must_use]
    pub fn with_offset(mut self, offset_a: f64) -> Self {
        self.offset_a = offset_a;
        self
    }

    /// The same with anchors that come again after a time and count in part.
    #[must_use]
    pub fn anchored_each(mut self, interval_s: f64) -> Self {
        if self.input.anchor.weight < 1.0 {
            let whole = self.counted(&self.course.at(self.course.moment(interval_s)));
            self.interval = Some(whole);
        }
        self
    }

    /// The errors at a moment, the beginning included.
    pub fn at(&self, moment: Moment) -> Terms {
        self.after(&self.course.at(moment))
    }

    /// The errors after some sums, the beginning included.
    pub fn after(&self, tally: &Tally) -> Terms {
        let mut terms = self.counted(tally);
        let start = &self.input.start;
        let weight = self.input.anchor.weight;
        // What each of many anchors scatters by, as a part of its variance: all of it where an anchor replaces the count.
        let new = weight * weight / (1.0 - (1.0 - weight) * (1.0 - weight));
        match (self.from, start.kind) {
            (None, StartKind::Limit) => terms.limits[BEGINNING] = start.error_percent,
            (None, StartKind::Standard) => terms.variance += start.error_percent * start.error_percent * new,
            (Some(From { left, standard }), _) => {
                // What the reading may be off either way is a limit; lags go one way and may be there or not.
                terms.limits[BEGINNING] = left.either;
                terms.low -= (left.low - left.either).max(0.0);
                terms.high += (left.high - left.either).max(0.0);
                terms.variance += standard * standard * new;
            }
            (None, StartKind::Anchor) => {}
        }
        match &self.interval {
            Some(interval) => terms.after_many(interval, weight),
            None => terms,
        }
    }

    /// The errors that came up since the beginning.
    pub fn counted(&self, tally: &Tally) -> Terms {
        let (counter, counting) = (&self.input.counter, &self.input.counting);
        // e is points for each A·s that is counted too much.
        let point = -100.0 / self.estimated_c;
        let (awake, net, through) = (tally.awake_s(), tally.net_c(), tally.through_c());
        let mut terms = Terms::default();
        let gain = counter.gain_percent / 100.0 * net;
        let unequal = counter.asymmetry_percent / 200.0 * through;
        let clock = counting.clock_ppm * 1e-6 * net;
        terms.limits[OFFSET] = point * self.offset_a * awake;
        terms.limits[2] = point * self.input.drift_a() * awake;
        terms.limits[3] = point * counter.emf_a * awake;
        terms.limits[4] = point * gain;
        terms.limits[5] = point * clock;
        terms.limits[6] = point * unequal;
        if counting.zeroed_at_rest {
            // What flows while it is zeroed is taken for nothing from then on.
            terms.known -= point * self.input.usage.standby_a * awake;
        }
        for place in 0..COUNTED {
            terms.limits[7 + place] = point * counter.bend_a * tally.leg_s[place];
            terms.limits[10 + place] = point * tally.codes_limit_c[place];
        }
        terms.known += point * tally.codes_c;
        terms.perhaps(-point * tally.lost_out_c);
        terms.perhaps(point * tally.lost_in_c);
        self.unseen(tally, point, &mut terms);
        self.random(tally, point, &mut terms);
        self.apart(tally, &mut terms);
        terms
    }

    /// What lies between readings: leaps, missed ones, a gap, ripple.
    fn unseen(&self, tally: &Tally, point: f64, terms: &mut Terms) {
        let (counter, counting) = (&self.input.counter, &self.input.counting);
        let half = counting.unseen_s(counter) / 2.0;
        terms.known += point * -half * tally.leaps;
        terms.limits[LEAPS] = point * half * tally.leaps_size;
        // Uniform over an interval T' wide: variance T'²/12 each.
        terms.leaps = point * point * half * half / 3.0 * tally.leaps_square;
        let (missed, interval) = (counting.missed_percent / 100.0, counting.interval_s(counter));
        if missed > 0.0 {
            let square = match counting.missed_reading {
                MissedReading::Zero => {
                    terms.perhaps(point * -missed * tally.net_c());
                    interval * missed * (1.0 - missed) * tally.square
                }
                MissedReading::Hold | MissedReading::Timed => interval * interval * missed * tally.leaps_square,
            };
            terms.variance += point * point * square;
        }
        // Few misses are no normal deviate: three standard deviations and one whole reading hold them.
        let one = match counting.missed_reading {
            _ if missed <= 0.0 => 0.0,
            MissedReading::Zero => interval * self.largest_a(),
            MissedReading::Hold | MissedReading::Timed => interval * 2.0 * self.largest_a(),
        };
        let awake = tally.awake_s();
        let gap = counting.longest_gap_s.min(awake) * self.largest_a();
        terms.limits[GAP] = point * (gap + one.min(2.0 * self.largest_a() * awake));
        if let Some(alias) = &self.alias {
            terms.limits[RIPPLE] = point * alias.counted_c(awake);
        }
    }

    /// The walk of the noise, and noise that is too slow to average.
    fn random(&self, tally: &Tally, point: f64, terms: &mut Terms) {
        let (counter, counting) = (&self.input.counter, &self.input.counting);
        let awake = tally.awake_s();
        // With noise enough the codes of a sample scatter as well.
        let step = counting.step_a;
        let codes = if counter.noise_a >= super::reading::DITHER * step { step * step / 12.0 } else { 0.0 };
        let one = counter.noise_a * counter.correlated();
        let left_out = (counting.interval_s(counter) / counter.busy_s()).max(1.0);
        let walk = (one * one + codes) * counter.sample_s * left_out * awake;
        let slow = counter.flicker_a * awake;
        terms.variance += point * point * (walk + slow * slow);
    }

    /// What does not pass the shunt, and the capacity.
    fn apart(&self, tally: &Tally, terms: &mut Terms) {
        let apart = &self.input.apart;
        let months = tally.time_s / (MONTH_H * HOUR_S);
        let own = apart.self_discharge_percent_per_month.unwrap_or(0.0) * months;
        let unseen = 100.0 * tally.time_s / self.true_c;
        // A standby current may charge as well.
        let charged = tally.in_c + (-tally.standby_c).max(0.0);
        let drawn = tally.out_c + tally.standby_c.max(0.0);
        let assumed = apart.assumed_efficiency_percent;
        terms.known += own + apart.unseen_a.unwrap_or(0.0) * unseen;
        terms.known += (assumed - apart.efficiency_percent) * charged / self.true_c;
        terms.limits[13] = own * apart.self_discharge_spread_percent / 100.0;
        terms.limits[14] = apart.unseen_spread_a * unseen;
        terms.limits[15] = apart.efficiency_spread_percent * charged / self.true_c;
        // At a given time the charge is known and the capacity is not: N/C − N/Ĉ, the two ends of C being cases of their own.
        let counted = drawn - assumed / 100.0 * charged;
        terms.known += 100.0 * counted * (1.0 / self.true_c - 1.0 / self.estimated_c);
    }

    /// The largest current that is counted, A.
    fn largest_a(&self) -> f64 {
        let [discharge, charge] = self.input.largest_a();
        discharge.max(charge)
    }

    /// The same in points of the true capacity: what a day takes of it.
    #[must_use]
    pub fn of_true(&self) -> Self {
        Self { estimated_c: self.true_c, ..self.clone() }
    }

    /// One point of the state of charge as charge of the estimator, A·s.
    pub fn point_c(&self) -> f64 {
        self.estimated_c / 100.0
    }

    /// The leg in which a moment lies.
    pub fn leg(&self, moment: Moment) -> Option<Leg> {
        self.course.stretches(moment.block).get(moment.stretch).map(|stretch| stretch.leg)
    }
}

/// What codes and bands do to a current. Its reading may be off by all that adds to it when it is rounded and held against the
/// band.
fn level_of(input: &ChargeInput, current_a: f64) -> Level {
    let counter = &input.counter;
    let gain = (counter.gain_percent + counter.asymmetry_percent / 2.0) / 100.0 * current_a.abs();
    let off_a = input.offset_a() + input.drift_a() + counter.emf_a + counter.bend_a + gain;
    level(counter, &input.counting, current_a, off_a)
}

impl ChargeInput {
    /// The offset that counts: what calibration leaves, or what zeroing at rest leaves.
    pub fn offset_a(&self) -> f64 {
        let counting = &self.counting;
        if counting.zeroed_at_rest { counting.zero_left_a.unwrap_or(0.0) } else { self.counter.offset_a }
    }

    /// The drift that counts: zeroing at rest takes it away.
    pub fn drift_a(&self) -> f64 {
        if self.counting.zeroed_at_rest { 0.0 } else { self.counter.drift_a }
    }
}
