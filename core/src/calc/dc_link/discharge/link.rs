//! # The link while something still feeds it
//!
//! Another converter may go on feeding the link for a while, and a machine that still turns holds it at its rectified
//! back-EMF, which may lie above the pack.
//!
//! ```text
//! Formula    fed for a time: the decay with the feed, then without; where the feed alone would lift the link above the
//!            voltage to be reached, its end is waited for
//!            back-EMF E (1 − t/Ts): v(t) is the largest of the decays from every earlier point of that line, because two
//!            courses of one equation never cross. It leaves the line for the last time at the opening, where the feed
//!            ends, or where the decay is as steep as the line: v²/R + I v + P = (C E/Ts) v
//!            energy of a step: ½ C (v1² − v2²) and what the feed gave, of a current that feeds a resistor
//!            I ∫v dt = I R (C (v1 − v2) + I t); of a constant power P t until the link is empty; on the line that of the path
//!            itself, whose power is a parabola over the time
//! Symbols    E [V] rectified back-EMF at the opening, Ts [s] until the machine stands
//! Valid      a stiff back-EMF that falls in a straight line; the feed constant while it lasts
//! Source     C dv/dt = −v/R − I − P/v, integrated; comparison of solutions of a first-order equation
//! ```

use super::decay::Path;
use crate::numeric::first_where;

/// What does not stop has come to rest by then: longer than any resistance and capacitance that are accepted, s.
pub const FOR_EVER_S: f64 = 1e15;

/// A share of R C in which a course is straight enough for Simpson's rule, to 10⁻¹⁰.
const STRAIGHT: f64 = 0.05;

/// Steps of an energy between two times at which something begins or ends.
const STEPS: u32 = 64;

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

    /// The times until `last` at which the link may leave the line of the back-EMF for good, s.
    fn leaves(&self, last: f64) -> impl Iterator<Item = f64> {
        let slope_a = self.farad * self.emf_v / self.stop_s;
        let steep = |path: Path| path.takes_at_v(slope_a).into_iter().flatten();
        let at = |v: f64| self.stop_s * (1.0 - v / self.emf_v);
        let crossings = steep(self.own).chain(steep(self.fed())).map(at);
        crossings.chain([self.feed_s]).filter(move |s| *s > 0.0 && *s < last).chain([0.0, last])
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
            let then = fed.left_v(self.farad, from_v, left_s.min(FOR_EVER_S));
            // A course rises or falls all the way: one that ends below was never above.
            if from_v <= to_v && then <= to_v {
                return Some(at_s);
            }
            self.own.time_s(self.farad, then, to_v).map(|time| self.feed_s + time).filter(|time| time.is_finite())
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
        let worst = self.leaves(last).map(of).fold(0.0, f64::max);
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
        self.leaves(seconds.min(self.stop_s)).map(of).fold(begin, f64::max)
    }

    /// The highest voltage within a time, V: a course without back-EMF rises or falls all the time the feed lasts.
    pub fn highest_v(&self, from_v: f64, seconds: f64) -> f64 {
        from_v.max(self.emf_v).max(self.left_v(from_v, seconds.min(self.feed_s)))
    }

    /// The energy in what discharges it within a time, J.
    pub fn energy_j(&self, from_v: f64, seconds: f64) -> f64 {
        let mut ends = vec![0.0, self.feed_s, seconds];
        if self.emf_v > 0.0 {
            ends.extend(self.leaves(seconds.min(self.stop_s)));
        }
        ends.retain(|end| (0.0..=seconds).contains(end));
        ends.sort_by(f64::total_cmp);
        let mut v = from_v.max(self.emf_v);
        ends.windows(2).filter(|ends| ends[0] < ends[1]).map(|ends| self.stretch_j(&mut v, [ends[0], ends[1]])).sum()
    }

    /// The energy of a stretch in which feed and machine go on as they began, J. Its steps grow from the beginning on, where
    /// most happens; without machine one step is exact.
    fn stretch_j(&self, v: &mut f64, [from_s, to_s]: [f64; 2]) -> f64 {
        let feed = if from_s < self.feed_s { self.feed } else { Path::NONE };
        let steps = if self.emf_at(from_s) > 0.0 { STEPS } else { 1 };
        let at = |i: u32| {
            let share = f64::from(i) / f64::from(steps);
            from_s + (to_s - from_s) * share * share
        };
        (0..steps).map(|i| self.step_j(v, [at(i), at(i + 1)], feed)).sum()
    }

    /// The energy of a link that flows for a time from a voltage on, J. At zero nothing is left to take.
    fn flows_j(&self, before: f64, seconds: f64, feed: Path) -> f64 {
        let path = self.own.beside(feed);
        let seconds = path.time_s(self.farad, before, 0.0).map_or(seconds, |empty| empty.min(seconds));
        let at = |time: f64| path.left_v(self.farad, before, time);
        let then = at(seconds);
        let charge = self.farad * (before - then);
        // What a current feeds, over what it feeds it with: ∫ v dt.
        let fed_vs = match self.own.ohm {
            _ if feed.ampere == 0.0 => 0.0,
            Some(ohm) if seconds > STRAIGHT * ohm * self.farad => ohm * (charge - path.ampere * seconds),
            _ => seconds * (before + 4.0 * at(0.5 * seconds) + then) / 6.0,
        };
        match self.own {
            Path { ohm: None, ampere: 0.0, watt } => watt * seconds,
            _ => 0.5 * charge * (before + then) - feed.watt * seconds - feed.ampere * fed_vs,
        }
    }

    /// The energy of a step, J: of a link that flows, or rests on the line of the machine, or comes to it.
    fn step_j(&self, v: &mut f64, [begin, end]: [f64; 2], feed: Path) -> f64 {
        let before = *v;
        let flow = |to_s: f64| self.flow_v(before, begin, to_s);
        let flows_j = |to_s: f64| self.flows_j(before, to_s - begin, feed);
        let turns = self.emf_at(begin) > 0.0;
        let below = |t: f64| turns && flow(t) <= self.emf_at(t);
        if !below(end) {
            *v = flow(end);
            return flows_j(end);
        }
        *v = self.emf_at(end);
        let meets = if before > self.emf_at(begin) { first_where(begin, end, below) } else { begin };
        // The machine carries the link: what it gives is what the path takes, a parabola over the time.
        let takes = |t: f64| self.own.power_w(self.emf_at(t));
        let carried = (end - meets) * (takes(meets) + 4.0 * takes(0.5 * (meets + end)) + takes(end)) / 6.0;
        flows_j(meets) + carried
    }
}
