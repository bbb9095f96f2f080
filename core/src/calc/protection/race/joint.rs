//! The link capacitor and the other strings into one fault inside a string, both through its devices.
//!
//! ```text
//! Formula    in common: L di/dt = u − R i, C du/dt = (V − u)/R_o − i
//!            of each its own: L di_l/dt = u − R i, L_o di_o/dt = V − R_o i_o − R i, C du/dt = −i_l, i = i_l + i_o: L_o the
//!            same, the least and the most
//!            x' = A x with 1 as the last state: x(t + h) = e^(A h) x(t), h doubled every 32 steps, as far as it follows
//!            the oscillation
//! Symbols    u [V] of the link, C [F], V [V] of the other strings, R_o [Ω], L_o [H] of theirs together, R [Ω], L [H] of the
//!            short
//! Valid      the path outside counts once for both; where its inductance lies is not asked: the largest of all
//! Accuracy   steps of a 32nd of the time, or of a 50th of the period: a few parts in 10⁴ of a peak
//! Source     Kirchhoff's laws; checked by numerical integration in tests/python
//! ```

use crate::work::{Halt, Work};

/// A matrix of the states: current of the link and of the others, voltage of the link, one.
type Matrix = [[f64; 4]; 4];

/// Steps before a step is doubled.
const STEPS: usize = 32;

/// Most steps of a course.
const MOST: usize = 6000;

/// What feeds the fault.
#[derive(Clone, Copy, Debug)]
pub(super) struct Feeds {
    /// Of the link and of the others before the fault, V.
    pub volt: f64,
    /// Of the link, F.
    pub farad: f64,
    /// Of the others together, Ω.
    pub others_ohm: f64,
    /// Of the short, Ω.
    pub ohm: f64,
    /// Of the path, H.
    pub henry: f64,
    /// Of the others together, at least and at most, H.
    pub others_henry: [f64; 2],
    /// Backwards through the string before the fault, A.
    pub before_a: f64,
}

/// A course of the current: times, s, and currents, A.
#[derive(Clone, Debug, Default)]
pub(super) struct Course(Vec<[f64; 2]>);

impl Course {
    /// The largest from a time on, A.
    pub fn largest_a(&self, from_s: f64) -> f64 {
        self.largest_between_a(from_s, f64::INFINITY)
    }

    /// The largest between two times, A; after its end it stays as it is there.
    pub fn largest_between_a(&self, from_s: f64, to_s: f64) -> f64 {
        let [first, end] = [from_s, to_s].map(|at| self.0.partition_point(|[time, _]| *time < at));
        let ends = self.at(from_s).abs().max(self.at(to_s).abs());
        self.0[first..end.max(first)].iter().fold(ends, |most, [_, current]| most.max(current.abs()))
    }

    /// At a time, A: between two places evenly.
    fn at(&self, time_s: f64) -> f64 {
        let next = self.0.partition_point(|[time, _]| *time < time_s);
        match (self.0.get(next.wrapping_sub(1)), self.0.get(next)) {
            (Some([from, low]), Some([to, high])) => low + (high - low) * (time_s - from) / (to - from),
            (None, Some([_, current])) | (Some([_, current]), None) => *current,
            (None, None) => 0.0,
        }
    }

    /// What passes until a time of a part of it and of what flows besides, A²s.
    pub fn a2s_until(&self, until_s: f64, part: f64, besides_a: f64) -> f64 {
        let mut passed = 0.0;
        for pair in self.0.windows(2) {
            let [[from, one], [to, two]] = [pair[0], pair[1]].map(|[time, a]| [time, part * a.abs() + besides_a]);
            if from >= until_s {
                break;
            }
            let [to, two] =
                if to > until_s { [until_s, one + (two - one) * (until_s - from) / (to - from)] } else { [to, two] };
            passed += (to - from) * (one * one + one * two + two * two) / 3.0;
        }
        // After its end it stays as it is there.
        let rest = self.0.last().filter(|[end, _]| until_s > *end);
        passed + rest.map_or(0.0, |[end, a]| (until_s - end) * (part * a.abs() + besides_a).powi(2))
    }
}

/// The courses until a time, with all inductance in common, with each its own, and with the least and the most of the others; none
/// without resistance and inductance.
pub(super) fn courses(feeds: &Feeds, until_s: f64, work: Work) -> Result<Option<[Course; 4]>, Halt> {
    work.go_on()?;
    let Feeds { farad, ohm, others_ohm, .. } = *feeds;
    if !(ohm > 0.0 || feeds.henry > 0.0) || !(until_s > 0.0) {
        return Ok(None);
    }
    // A path without inductance is one of a time constant that nothing else sees.
    let both = if ohm > 0.0 { ohm.min(others_ohm) } else { others_ohm };
    let least = |ohm: f64| 1e-6 * ohm * both * farad;
    let henry = feeds.henry.max(least(ohm));
    let [least_henry, most_henry] = feeds.others_henry.map(|henry| henry.max(least(others_ohm)));
    let feeds = Feeds { henry, ..*feeds };
    let swing = (henry * farad).sqrt();
    let damped = [ohm, others_ohm].map(|ohm| [henry / ohm, farad * ohm]);
    let shortest = damped.into_iter().flatten().filter(|time| *time > 0.0).fold(swing, f64::min);
    let times = Times { first: shortest / 50.0, longest: swing / 8.0, end: until_s };
    let ways = [common(&feeds), own(&feeds, henry), own(&feeds, least_henry), own(&feeds, most_henry)];
    Ok(Some(ways.map(|(matrix, start)| course(&matrix, start, &times))))
}

/// Steps of a course: the first one, the longest one, and its end, s.
struct Times {
    first: f64,
    longest: f64,
    end: f64,
}

fn common(feeds: &Feeds) -> (Matrix, [f64; 4]) {
    let Feeds { volt, farad, others_ohm, ohm, henry, before_a, .. } = *feeds;
    let through = 1.0 / (others_ohm * farad);
    let matrix =
        [[-ohm / henry, 0.0, 1.0 / henry, 0.0], [0.0; 4], [-1.0 / farad, 0.0, -through, volt * through], [0.0; 4]];
    (matrix, [before_a, 0.0, volt, 1.0])
}

fn own(feeds: &Feeds, others_henry: f64) -> (Matrix, [f64; 4]) {
    let Feeds { volt, farad, others_ohm, ohm, henry, before_a, .. } = *feeds;
    let matrix = [
        [-ohm / henry, -ohm / henry, 1.0 / henry, 0.0],
        [-ohm / others_henry, -(others_ohm + ohm) / others_henry, 0.0, volt / others_henry],
        [-1.0 / farad, 0.0, 0.0, 0.0],
        [0.0; 4],
    ];
    (matrix, [0.0, before_a, volt, 1.0])
}

fn course(matrix: &Matrix, start: [f64; 4], times: &Times) -> Course {
    let mut step_s = times.first.min(times.end / 50.0);
    let mut advance = exponential(matrix, step_s);
    let (mut state, mut time, mut found) = (start, 0.0, vec![[0.0, start[0] + start[1]]]);
    while time < times.end && found.len() < MOST {
        state = std::array::from_fn(|row| (0..4).map(|column| advance[row][column] * state[column]).sum());
        time += step_s;
        found.push([time, state[0] + state[1]]);
        if found.len() % STEPS == 0 && (2.0 * step_s <= times.longest || found.len() > MOST / 2) {
            (advance, step_s) = (product(&advance, &advance), 2.0 * step_s);
        }
    }
    Course(found)
}

fn product(one: &Matrix, other: &Matrix) -> Matrix {
    std::array::from_fn(|row| {
        std::array::from_fn(|column| (0..4).map(|inner| one[row][inner] * other[inner][column]).sum())
    })
}

/// e^(A h): the series of a part of h that is small, squared.
fn exponential(matrix: &Matrix, step_s: f64) -> Matrix {
    let size = matrix.iter().flatten().fold(0.0_f64, |most, entry| most.max((entry * step_s).abs()));
    let halvings = if size > 0.1 { libm::log2(size / 0.1).ceil().min(60.0) } else { 0.0 };
    let part = step_s / libm::exp2(halvings);
    let small: Matrix = matrix.map(|row| row.map(|entry| entry * part));
    let mut sum: Matrix = std::array::from_fn(|row| std::array::from_fn(|column| f64::from(u8::from(row == column))));
    let mut term = sum;
    for order in 1..=12 {
        term = product(&term, &small).map(|row| row.map(|entry| entry / f64::from(order)));
        for (row, added) in sum.iter_mut().zip(term) {
            for (entry, added) in row.iter_mut().zip(added) {
                *entry += added;
            }
        }
    }
    // As many halvings as were taken.
    let mut left = halvings;
    while left > 0.5 {
        sum = product(&sum, &sum);
        left -= 1.0;
    }
    sum
}
