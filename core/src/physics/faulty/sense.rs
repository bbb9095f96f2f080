//! # A shunt, its sense wires and its filter with a fault
//!
//! ```text
//! Formula    v = I R' Rd/(Rd + r + 2 Rf) + I_b r Rd/(Rd + r + 2 Rf); reading = v/R; sense wire open: v = I_b Rd whatever flows
//! Changes    drift R (1 + d), joint between the taps R + r, bridge R ∥ Rb, sense joint r, wires swapped or shorted
//! Symbols    R shunt, Rf one leg of the filter, Rd resistance across the input [Ω]; I_b current of the input, of either sign
//! Valid      settled; joints outside the taps change nothing
//! Source     Kirchhoff's laws; kinds of failure: common practice, no source
//! ```

use crate::physics::network::parallel;

/// The shunt and its wires as firmware takes them to be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SenseChain {
    /// The shunt, Ω.
    pub shunt_ohm: f64,
    /// One leg of the filter, Ω.
    pub leg_ohm: f64,
    /// Across the input, Ω; infinite without one.
    pub input_ohm: f64,
    /// Current of the input, A, with its sign.
    pub bias_a: f64,
}

/// What a fault changes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SenseChange {
    /// Nothing.
    Nothing,
    /// The shunt is off by this share.
    ShuntDrift(f64),
    /// This resistance in series between the taps, Ω.
    ShuntJoint(f64),
    /// This resistance across the shunt, Ω.
    ShuntBridge(f64),
    /// A sense wire is open.
    Open,
    /// This resistance in a sense wire, Ω.
    Resistive(f64),
    /// The wires are swapped.
    Swapped,
    /// The wires touch.
    Shorted,
}

impl SenseChain {
    /// What is read at a current, A, before the converter ends, with all of the changes; infinite where only its end stops it.
    pub fn reading(&self, current_a: f64, changes: &[SenseChange]) -> f64 {
        if changes.contains(&SenseChange::Shorted) {
            return 0.0;
        }
        if changes.contains(&SenseChange::Open) {
            return self.bias_a * self.input_ohm / self.shunt_ohm;
        }
        let (mut shunt, mut joint) = (self.shunt_ohm, 0.0);
        for change in changes {
            match *change {
                SenseChange::ShuntDrift(share) => shunt *= 1.0 + share,
                SenseChange::ShuntJoint(ohm) => shunt += ohm,
                SenseChange::ShuntBridge(ohm) => shunt = parallel(shunt, ohm),
                SenseChange::Resistive(ohm) => joint += ohm,
                SenseChange::Swapped => shunt = -shunt,
                SenseChange::Nothing | SenseChange::Open | SenseChange::Shorted => {}
            }
        }
        let passed = 1.0 / (1.0 + (joint + 2.0 * self.leg_ohm) / self.input_ohm);
        (current_a * shunt + self.bias_a * joint) * passed / self.shunt_ohm
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chain(bias_a: f64) -> SenseChain {
        SenseChain { shunt_ohm: 35e-6, leg_ohm: 10.0, input_ohm: 50e3, bias_a }
    }

    fn near(value: f64, source: f64) {
        assert!((value - source).abs() <= 1e-4 * source.abs(), "{value} is not {source}");
    }

    /// Nodal analysis, solved by an independent program: a plausible constant, and a joint with either sign of the current.
    #[test]
    fn an_open_wire_and_a_joint_read_what_the_nodes_say() {
        near(chain(50e-9).reading(400.0, &[SenseChange::Open]), 71.43);
        near(chain(-50e-9).reading(-400.0, &[SenseChange::Open]), -71.43);
        near(chain(0.0).reading(400.0, &[SenseChange::Nothing]), 399.840);
        near(chain(50e-9).reading(400.0, &[SenseChange::Resistive(5e3)]), 369.995);
        near(chain(-50e-9).reading(400.0, &[SenseChange::Resistive(5e3)]), 357.013);
    }
}
