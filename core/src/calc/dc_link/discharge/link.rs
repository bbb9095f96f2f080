//! # The link while something still feeds it
//!
//! Another converter may go on feeding the link for a while, and a machine that still turns holds it at its rectified
//! back-EMF, which may lie above the pack.
//!
//! ```text
//! Formula    fed for a time: the decay with the feed, then without; where the feed alone would lift the link above the
//!            voltage to be reached, its end is waited for
//!            back-EMF E (1 − t/Ts): v(t) is the largest of the decays from every earlier point of that line, because two
//!            courses of one equation never cross
//! Symbols    E [V] rectified back-EMF at the opening, Ts [s] until the machine stands
//! Valid      a stiff back-EMF that falls in a straight line; the feed constant while it lasts
//! Source     C dv/dt = −v/R − I − P/v, integrated; comparison of solutions of a first-order equation
//! ```

use super::decay::Path;
use crate::numeric::where_largest;

/// Steps of an energy.
const STEPS: u32 = 400;

/// A link with what discharges it and what feeds it.
#[derive(Clone, Copy, Debug)]
pub struct Link {
    /// Capacitance, F.
    pub farad: f64,
    /// What discharges it.
    pub own: Path,
    /// What feeds it, as a path with a minus sign.
    pub feed: Path,
    /// How long, s.
    pub feed_s: f64,
    /// Rectified back-EMF at the opening, V.
    pub emf_v: f64,
    /// Until the machine stands, s.
    pub stop_s: f64,
}

impl Link {
    fn fed(&self) -> Path {
        self.own.beside(self.feed)
    }

    fn emf_at(&self, t: f64) -> f64 {
        self.emf_v * (1.0 - t / self.stop_s).max(0.0)
    }

    /// When a link that is at `from_v` at `at_s` is at `to_v` or below for good, s; without the back-EMF.
    fn reach_s(&self, from_v: f64, at_s: f64, to_v: f64) -> Option<f64> {
        let left_s = (self.feed_s - at_s).max(0.0);
        if self.feed == Path::NONE || left_s == 0.0 {
            return self.own.time_s(self.farad, from_v, to_v).map(|time| at_s + time);
        }
        let fed = self.fed();
        // Where the feed is stronger at the voltage to be reached, the link comes back to above it.
        let stays = fed.falls_at(to_v);
        let soon = fed.time_s(self.farad, from_v, to_v).filter(|time| stays && *time <= left_s);
        soon.map(|time| at_s + time).or_else(|| {
            if left_s == f64::INFINITY {
                return None;
            }
            let then = fed.left_v(self.farad, from_v, left_s);
            self.own.time_s(self.farad, then, to_v).map(|time| self.feed_s + time)
        })
    }

    /// When the link is at `to_v` or below for good, s.
    pub fn time_s(&self, from_v: f64, to_v: f64) -> Option<f64> {
        let begin = self.reach_s(from_v.max(self.emf_v), 0.0, to_v);
        if self.emf_v <= to_v {
            return begin;
        }
        let last = self.stop_s * (1.0 - to_v / self.emf_v);
        let of = |s: f64| self.reach_s(self.emf_at(s), s, to_v).unwrap_or(f64::INFINITY);
        let worst = of(where_largest(0.0, last, &[self.feed_s], of));
        begin.map(|begin| begin.max(worst)).filter(|time| time.is_finite())
    }

    /// The voltage a time after another, s, without the back-EMF.
    fn flow_v(&self, from_v: f64, at_s: f64, to_s: f64) -> f64 {
        let fed_s = (self.feed_s.min(to_s) - at_s).max(0.0);
        let then = if fed_s > 0.0 && self.feed != Path::NONE {
            self.fed().left_v(self.farad, from_v, fed_s)
        } else {
            return self.own.left_v(self.farad, from_v, to_s - at_s);
        };
        if to_s > self.feed_s { self.own.left_v(self.farad, then, to_s - self.feed_s) } else { then }
    }

    /// The voltage at a time, V.
    pub fn left_v(&self, from_v: f64, seconds: f64) -> f64 {
        let begin = self.flow_v(from_v.max(self.emf_v), 0.0, seconds);
        if self.emf_v <= 0.0 {
            return begin;
        }
        let of = |s: f64| self.flow_v(self.emf_at(s), s, seconds);
        begin.max(of(where_largest(0.0, seconds.min(self.stop_s), &[self.feed_s], of)))
    }

    /// The highest voltage within a time, V: a course without back-EMF rises or falls all the time the feed lasts.
    pub fn highest_v(&self, from_v: f64, seconds: f64) -> f64 {
        from_v.max(self.emf_v).max(self.left_v(from_v, seconds.min(self.feed_s)))
    }

    /// The energy in what discharges it within a time, J.
    pub fn energy_j(&self, from_v: f64, seconds: f64) -> f64 {
        let step = seconds / f64::from(STEPS);
        let power = |v: f64| if v > 0.0 { self.own.power_w(v) } else { 0.0 };
        let mut v = from_v.max(self.emf_v);
        (0..STEPS)
            .map(|i| {
                let (begin, end) = (step * f64::from(i), step * f64::from(i + 1));
                let before = power(v);
                v = self.flow_v(v, begin, end).max(self.emf_at(end));
                0.5 * (before + power(v)) * step
            })
            .sum()
    }
}
