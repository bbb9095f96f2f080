//! # A divider with a fault
//!
//! A part of the chain is replaced by another value, or one is added; the network stays what it is. Open and short are the
//! ends of a fault's magnitude, not its worst.
//!
//! ```text
//! Formula    output = V d(Ru', S') + I_b (Ru' ∥ 1/S'), S' = 1/Rl' + 1/Rload (+ 1/Rleak); d as in `network::divided`;
//!            reading = K output; tap open: I_b Rload K
//! Changes    k elements short Ru (n − k)/n; one open, a leakage in its place Ru (n − 1)/n + Rleak; drift Ru (1 + d/n); joint
//!            Ru + r; leakage across k of them; lower Rl' = ∞, 0, (1 + d) Rl; leakage across the filter capacitor
//! Symbols    Ru upper string of n elements, Rl lower, Rload what follows [Ω]; K the firmware's constant, of the healthy parts
//! Valid      settled; a reading beyond the converter stands at its end
//! Source     Kirchhoff's laws; kinds of failure: common practice, no source
//! ```

use crate::physics::network::{divided, parallel};

/// The chain as firmware takes it to be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DividerChain {
    /// Elements of the upper string.
    pub elements: f64,
    /// One of them, Ω.
    pub element_ohm: f64,
    /// Lower string, Ω.
    pub lower_ohm: f64,
    /// What follows, Ω; infinite without one.
    pub load_ohm: f64,
    /// Current into the tap, A, with its sign.
    pub bias_a: f64,
    /// The firmware's constant: voltage of the pack over that of the tap.
    pub factor: f64,
}

/// What a fault changes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DividerChange {
    /// Nothing.
    Nothing,
    /// So many upper elements are shorts.
    UpperShort(f64),
    /// One upper element is open, with this leakage in its place, Ω.
    UpperOpen(f64),
    /// One upper element is off by this share.
    UpperDrift(f64),
    /// This resistance in series with the upper string, Ω.
    UpperJoint(f64),
    /// This leakage across so many upper elements, Ω.
    UpperLeak(f64, f64),
    /// The lower string is open.
    LowerOpen,
    /// The lower string is a short.
    LowerShort,
    /// The lower string is off by this share.
    LowerDrift(f64),
    /// This leakage across the filter capacitor, Ω.
    FilterLeak(f64),
    /// The input has lost its tap.
    TapOpen,
}

impl DividerChain {
    /// What is read at a voltage, V, before the converter ends, with all of the changes; infinite where only its end stops it.
    /// Upper elements that change are different ones.
    pub fn reading(&self, voltage_v: f64, changes: &[DividerChange]) -> f64 {
        let n = self.elements;
        let (mut upper, mut lower_ohm, mut leaks) = (n * self.element_ohm, self.lower_ohm, 0.0);
        for change in changes {
            match *change {
                DividerChange::UpperShort(count) => upper -= self.element_ohm * count.min(n),
                DividerChange::UpperOpen(leak_ohm) => upper = upper - self.element_ohm + leak_ohm,
                DividerChange::UpperDrift(share) => upper += self.element_ohm * share,
                DividerChange::UpperJoint(ohm) => upper += ohm,
                DividerChange::UpperLeak(ohm, count) => {
                    let across = self.element_ohm * count.min(n);
                    upper = upper - across + parallel(across, ohm);
                }
                DividerChange::LowerShort => return 0.0,
                DividerChange::LowerOpen => lower_ohm = f64::INFINITY,
                DividerChange::LowerDrift(share) => lower_ohm *= 1.0 + share,
                DividerChange::FilterLeak(ohm) => leaks += 1.0 / ohm,
                DividerChange::Nothing | DividerChange::TapOpen => {}
            }
        }
        let upper = upper.max(0.0);
        let output_v = if changes.contains(&DividerChange::TapOpen) {
            self.bias_a * self.load_ohm
        } else {
            let siemens = 1.0 / lower_ohm + leaks + 1.0 / self.load_ohm;
            // The current sees the string and the rest in parallel; of an open string the rest alone.
            let source = if upper.is_infinite() { 1.0 / siemens } else { upper / (1.0 + upper * siemens) };
            divided(upper, siemens) * voltage_v + self.bias_a * source
        };
        output_v * self.factor
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CHAIN: DividerChain = DividerChain {
        elements: 6.0,
        element_ohm: 680e3,
        lower_ohm: 8060.0,
        load_ohm: 10e6,
        bias_a: 20e-9,
        factor: 507.2035,
    };

    fn near(value: f64, source: f64) {
        assert!((value - source).abs() <= 1e-4 * source.abs(), "{value} is not {source}");
    }

    /// Nodal analysis, solved by an independent program.
    #[test]
    fn a_short_and_a_crack_read_what_the_nodes_say() {
        for (volt, expected) in [(554.4, 664.565), (722.7, 866.283), (831.6, 996.807)] {
            near(CHAIN.reading(volt, &[DividerChange::UpperShort(1.0)]), expected);
        }
        near(CHAIN.reading(831.6, &[DividerChange::UpperOpen(2.2e6)]), 605.80);
        // 836 V are read at 1147.6 V, which the pack never reaches.
        near(CHAIN.reading(1147.6, &[DividerChange::UpperOpen(2.2e6)]), 836.0);
        near(CHAIN.reading(0.0, &[DividerChange::TapOpen]), 20e-9 * 10e6 * 507.2035);
        assert!(CHAIN.reading(831.6, &[DividerChange::UpperOpen(f64::INFINITY)]) < 0.1);
        assert_eq!(CHAIN.reading(831.6, &[DividerChange::LowerShort]), 0.0);
    }
}
