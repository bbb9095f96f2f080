//! # What a count of readings has to know
//!
//! A count adds readings of both directions and of every temperature. For a fixed state an error is a straight line in the
//! value: a part that counts with time and a part that counts with the charge. Over all states each source has its largest
//! offset and the range of its gain, and the range is what two directions in different states may differ by.
//!
//! ```text
//! Formula    δᵢ(x, s) = oᵢ(s) + gᵢ(s) x from two values;  offset Σ max |oᵢ|, gain Σ max |gᵢ|, unequal gains Σ (max gᵢ − min gᵢ);
//!            what is known alike
//! Bound      sums of the largest of each source: no smaller than any state gives, and larger than the worst one
//! Products   of two deviations are taken up by the exact worst case: where it is larger, everything is scaled up to it
//! Left out   rounding and noise of the reading, which a count treats by themselves
//! Valid      chains that are straight in the value, such as a current channel
//! Source     JCGM 100:2008, 5.1.3 note 2 (finite differences); triangle inequality
//! ```

use super::calibrated::{COUNT, NOISE, NONLINEAR, ROUNDING};
use super::chain::Chain;
use super::screen::Screen;
use super::search::Search;
use crate::work::{Halt, Work};

/// Of the ambient temperatures every so many are looked at.
const EVERY: usize = 2;
/// An offset that changes by less than this part over the states is the same in all.
const STEADY: f64 = 1e-6;
/// The two values at which the line is taken, as parts of the largest: no calibrating point.
const AT: [f64; 2] = [0.371, 0.893];

/// Half-widths for a count, in the unit of the reading; gains are parts of 1.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Counted {
    /// Offset that is the same in every state.
    pub offset: f64,
    /// Offset that hangs on temperature or surroundings, at its largest.
    pub drift: f64,
    /// Offset of known size and either sign, such as a thermal EMF.
    pub known: f64,
    /// Non-linearity of a reading.
    pub bend: f64,
    /// Gain, largest in any state.
    pub gain: f64,
    /// Gains of two states, one from the other.
    pub unequal: f64,
}

impl Counted {
    /// What it bounds at a value.
    fn at(&self, x: f64, beside: f64) -> f64 {
        let line = (self.gain + self.unequal / 2.0) * x.abs();
        self.offset + self.drift + self.known + self.bend + beside + line
    }

    fn scaled(self, by: f64) -> Self {
        Self {
            offset: self.offset * by,
            drift: self.drift * by,
            known: self.known * by,
            bend: self.bend * by,
            gain: self.gain * by,
            unequal: self.unequal * by,
        }
    }
}

/// The smallest and the largest of some values.
#[derive(Clone, Copy, Debug)]
struct Between(f64, f64);

impl Between {
    const NONE: Self = Self(f64::INFINITY, f64::NEG_INFINITY);

    const fn with(self, value: f64) -> Self {
        Self(self.0.min(value), self.1.max(value))
    }

    fn size(self) -> f64 {
        self.0.abs().max(self.1.abs())
    }

    fn width(self) -> f64 {
        self.1 - self.0
    }
}

/// The bounds of a channel; nothing where it has no steady state or no error. `exact` is its worst case at a value.
pub(super) fn counted<C: Chain>(
    chain: &C,
    exact: impl Fn(f64) -> Result<Option<f64>, Halt>,
    work: Work,
) -> Result<Option<Counted>, Halt> {
    let top = chain.places().into_iter().fold(0.0, |most: f64, x| most.max(x.abs()));
    if !(top > 0.0) {
        return Ok(None);
    }
    let mut lines: Vec<[Between; 2]> = Vec::new();
    let mut known = [Between::NONE; 2];
    let mut moved = Vec::new();
    for aged in [false, true] {
        let search = Search::new(chain, true, aged, EVERY);
        if search.none.is_some() {
            return Ok(None);
        }
        let values = AT.map(|part| search.straight(part * top));
        let mut screens = [Screen::new(&values[0].sources), Screen::new(&values[1].sources)];
        moved = screens[0].moved();
        lines.resize(moved.len(), [Between::NONE; 2]);
        for (count, state) in search.states().enumerate() {
            if count % 64 == 0 {
                work.go_on()?;
            }
            let mut ask = |place: usize| screens[place].effects(&search.model(&values[place], *state));
            let ((low, first), (high, second)) = (ask(0), ask(1));
            let line = |low: f64, high: f64| {
                let gain = (high - low) / (values[1].x - values[0].x);
                [low - gain * values[0].x, gain]
            };
            for (between, value) in known.iter_mut().zip(line(low, high)) {
                *between = between.with(value);
            }
            for ((between, low), high) in lines.iter_mut().zip(first).zip(second) {
                for (between, value) in between.iter_mut().zip(line(low, high)) {
                    *between = between.with(value);
                }
            }
        }
    }
    let own = chain.sources().len();
    let mut all =
        Counted { known: known[0].size(), gain: known[1].size(), unequal: known[1].width(), ..Counted::default() };
    for (source, [offset, gain]) in moved.into_iter().zip(lines) {
        let added = source.checked_sub(own).filter(|place| *place < COUNT);
        match added {
            Some(ROUNDING | NOISE) => continue,
            Some(NONLINEAR) => all.bend += offset.size(),
            _ if offset.width() <= STEADY * offset.size() => all.offset += offset.size(),
            _ => all.drift += offset.size(),
        }
        all.gain += gain.size();
        all.unequal += gain.width();
    }
    // What a reading has beside: rounding, and noise as the exact worst case takes it.
    let each = chain.each();
    let beside = each.rounding + 3.0 * each.noise;
    let mut larger = 1.0_f64;
    for x in [0.0, top, -top] {
        if let Some(error) = exact(x)? {
            larger = larger.max(error / all.at(x, beside).max(f64::MIN_POSITIVE));
        }
    }
    Ok(larger.is_finite().then(|| all.scaled(larger)))
}
