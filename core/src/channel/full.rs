//! # Where a chain is full
//!
//! A chain is full at either end from the smallest value at which some part in some state is full: tolerances, offsets,
//! the reference, the curve and ageing all move that point, and a calibration does not, because it comes after the clip.
//!
//! ```text
//! Formula    smallest |x| with max over states, deviations and ends of drive(x, s, d) = 1
//! Converter  its non-linearity and three standard deviations of a noise that counts come off that point
//! Symbols    drive [1] signal at an end of the range over that end, x true value, s state, d deviations of the part
//! Valid      a drive that is nearly straight in x: the worst part is found to first order, the point then exactly for it
//! Source     common practice, no source
//! ```

use super::chain::{Chain, ENDS, NoSolution};
use super::screen::Screen;
use super::search::{EVERY, Search};
use crate::propagation::{Model, Number};
use crate::work::{Halt, Work};

/// The end at which what is new in every reading counts, too: its non-linearity and, where noise is judged, three standard
/// deviations of it.
const CONVERTER: usize = ENDS - 1;
/// How often the worst part is looked for again at the point it leads to.
const ROUNDS: usize = 3;

/// An end of the range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Full<S> {
    /// The value from which on some part is full, signed.
    pub at: f64,
    /// The value at which a part without deviations is full.
    pub nominal: f64,
    /// What ends there.
    pub first: &'static str,
    /// The state of the part that is full first.
    pub state: S,
}

/// Both ends of the range; nothing where the chain has no end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range<S> {
    /// Above zero.
    pub high: Option<Full<S>>,
    /// Below zero; of a chain that reads one direction the smallest value that every part reads.
    pub low: Option<Full<S>>,
    /// Whether a reading below zero exists.
    pub below_zero: bool,
    /// Where there is no steady state, and why: nothing is known of the range then.
    pub none: Option<(f64, NoSolution)>,
    /// Where each end of the chain is full, above zero and below it, signed; nothing where it never is.
    pub ends: [[Option<f64>; ENDS]; 2],
}

impl<S: Copy> Range<S> {
    /// The end that a value lies beyond, when it does.
    pub fn beyond(&self, x: f64) -> Option<f64> {
        let past = |end: &Full<S>| crate::judge::passes(x.abs(), end.at.abs());
        if !self.below_zero {
            let least = self.low.as_ref().map_or(0.0, |end| end.at);
            if crate::judge::passes(least, x) && x < least || x < 0.0 {
                return Some(least);
            }
        }
        let end = if x < 0.0 { &self.low } else { &self.high };
        end.as_ref().filter(|end| past(end)).map(|end| end.at)
    }
}

/// How far one end is driven.
struct Drive<'a, C: Chain> {
    chain: &'a C,
    x: f64,
    state: C::State,
    end: usize,
}

impl<C: Chain> Model for Drive<'_, C> {
    #[inline]
    fn evaluate<N: Number>(&self, z: &[N]) -> N {
        self.chain.driven(N::from(self.x), &self.state, z)[self.end]
    }
}

/// Both ends of the range of a chain.
///
/// # Errors
/// The work was stopped.
pub fn range<C: Chain>(chain: &C, work: Work) -> Result<Range<C::State>, Halt> {
    let search = Search::new(chain, false, true, EVERY);
    let sources = chain.sources();
    let mut screen = Screen::new(&sources);
    // A part without deviations, with nothing known about it either.
    let still = vec![0.0; sources.len()];
    let new = chain.each().nonlinear + 3.0 * chain.each().noise;
    let mut end_of = |side: f64, ends: &mut [Option<f64>; ENDS]| -> Result<Option<Full<C::State>>, Halt> {
        let mut nearest: Option<Full<C::State>> = None;
        let Some(&some) = search.states().next() else { return Ok(None) };
        for (end, name) in (0..ENDS).zip(chain.ends()) {
            let Some(nominal) = point(chain, end, [side, side], some, &still) else { continue };
            let mut full = Full { at: nominal, nominal, first: name.0, state: some };
            for _ in 0..ROUNDS {
                work.go_on()?;
                let mut worst = (f64::MIN, some);
                for &state in search.states() {
                    let first = screen.sums(&Drive { chain, x: full.at, state, end });
                    let size = side * first.known + first.sum;
                    if size > worst.0 {
                        worst = (size, state);
                    }
                }
                let model = Drive { chain, x: full.at, state: worst.1, end };
                let part = if side > 0.0 { screen.highest(&model) } else { screen.lowest(&model) };
                let Some(at) = point(chain, end, [side, side], worst.1, &part) else { break };
                let moved = (at - full.at).abs() > 1e-12 * at.abs();
                (full.at, full.state) = (at, worst.1);
                if !moved {
                    break;
                }
            }
            if end == CONVERTER {
                full.at -= side * new;
            }
            ends[end] = Some(full.at);
            if nearest.as_ref().is_none_or(|other| full.at.abs() < other.at.abs()) {
                nearest = Some(full);
            }
        }
        Ok(nearest)
    };
    let mut range = Range {
        high: None,
        low: None,
        below_zero: chain.reads_below_zero(),
        none: search.none,
        ends: [[None; ENDS]; 2],
    };
    if range.none.is_some() {
        return Ok(range);
    }
    let [above, below] = &mut range.ends;
    range.high = end_of(1.0, above)?;
    range.low = if range.below_zero { end_of(-1.0, below)? } else { least(chain, &search, &mut screen, new) };
    Ok(range)
}

/// The smallest value that every part of a chain reads when the reading ends at zero: from there on none is below it.
fn least<C: Chain>(chain: &C, search: &Search<'_, C>, screen: &mut Screen, new: f64) -> Option<Full<C::State>> {
    let mut least: Option<Full<C::State>> = None;
    for &state in search.states() {
        // A value below which nothing is meant: the drive is taken on the positive side.
        let part = screen.lowest(&Drive { chain, x: 1e-9, state, end: CONVERTER });
        let Some(at) = point(chain, CONVERTER, [1.0, 0.0], state, &part) else { continue };
        let first = chain.ends()[CONVERTER].0;
        if least.as_ref().is_none_or(|other| at + new > other.at) {
            least = Some(Full { at: at + new, nominal: 0.0, first, state });
        }
    }
    // A reading that no deviation takes below zero has no end there.
    least.filter(|end| end.at > 0.0)
}

/// Where one part in one state drives an end to a target: the drive is nearly straight, so that a few secants meet it.
fn point<C: Chain>(chain: &C, end: usize, [side, target]: [f64; 2], state: C::State, part: &[f64]) -> Option<f64> {
    let drive = |x: f64| chain.driven(x, &state, part)[end];
    let (mut a, mut b) = (0.5 * side, side);
    for _ in 0..4 {
        let (from, to) = (drive(a), drive(b));
        let slope = (to - from) / (b - a);
        if !(slope > 0.0 && slope.is_finite()) {
            return None;
        }
        // Zero is met from the side that is asked about.
        let at = (b + (target - to) / slope).max(if side > 0.0 { f64::MIN_POSITIVE } else { f64::NEG_INFINITY });
        if (at - b).abs() <= 1e-15 * at.abs() {
            break;
        }
        (a, b) = (b, at);
    }
    (b.is_finite() && b * side > 0.0).then_some(b)
}
