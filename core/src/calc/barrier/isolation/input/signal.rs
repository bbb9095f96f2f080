//! What couples through the barrier, and what is sent across.

use super::any;
use crate::field::{defaulted, list, number, optional, text, whole, yes_no};
use crate::input;
use crate::quantity::Unit;

/// One coupling a line.
const COUPLINGS: &str = "Data isolators; 1.2 pF; 2\nSupply transformer; 14 pF; 1\nLayout; 3 pF; 1";

input! {
    /// A capacitance across the barrier.
    pub struct Coupling {
        name: String = text(60, "Coupling"), "", "Name", "Data isolator, supply transformer, layout, heat sink.";
        capacitance_farad: f64 = number(Unit::Farad, 1e-16, 1e-6, 1e-12), "C", "Capacitance", "Of each, at its maximum.";
        count: u32 = whole(Unit::One, 1, 1000, 1), "n", "Count", "How many of them.";
    }
}

input! {
    /// What the switching of the other side drives through the barrier.
    pub struct CommonMode {
        node_slew_v_per_s: Option<f64> = optional(Unit::VoltPerSecond, 1e3, 1e12).shown(5e10), "dv/dt", "Slew of the other side", "Steepest edge of the switching node; 50 V/ns is usual.";
        node_step_v: Option<f64> = optional(Unit::Volt, 0.1, 10e3), "dV", "Step of that edge", "Empty: the working voltage.";
        edge_rate_hz: Option<f64> = optional(Unit::Hertz, 1.0, 1e8).shown(20e3), "", "Edges a second", "Up and down together.";
        couplings: Vec<Coupling> = list::<Coupling>(0, 20, COUPLINGS), "", "Capacitances across the barrier", "The supply transformer is usually the largest.";
        injected_share_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 100.0), "s", "Share through the measuring path", "Of the current that comes across.";
        shared_resistance_ohm: Option<f64> = optional(Unit::Ohm, 0.0, 1e3).shown(2e-3), "R", "Resistance shared with the channel", "Of the conductor through which that share returns.";
        shared_inductance_henry: Option<f64> = optional(Unit::Henry, 0.0, 1e-3).shown(2e-9), "L", "Inductance shared with the channel", "For a comparator without a filter.";
        current_rise_s: Option<f64> = optional(Unit::Second, 1e-12, 1e-3).shown(2e-9), "tr", "Rise time of the current", "For the same.";
        cancellation_percent: f64 = defaulted(Unit::Percent, 0.0, 100.0, 0.0).like(50.0), "", "Cancellation of rising and falling edges", "Nothing cancels unless it was shown.";
        channel_filter_s: Option<f64> = optional(Unit::Second, 1e-12, 1.0).shown(2e-6), "", "Time constant of the channel's filter", "One pole; leave empty without.";
        current_allowed_a: Option<f64> = optional(Unit::Ampere, 1e-9, 1e3).shown(2.0), "", "Current allowed", "Across the barrier, during an edge.";
        mean_allowed_v: Option<f64> = optional(Unit::Volt, 1e-12, 10.0).shown(10e-6), "", "Mean allowed at the channel's input", "Of all edges; in a design only while no channel is fed across: it judges then.";
        peak_allowed_v: Option<f64> = optional(Unit::Volt, 1e-9, 10.0).shown(10e-3), "", "Peak allowed at a comparator", "Without a filter.";
    }
}

input! {
    /// What is sent across the barrier.
    pub struct DataLink {
        frame_bits: Option<f64> = optional(Unit::Bit, 1.0, 1e6).shown(96.0), "", "Bits of a frame", "Of all channels together.";
        frame_rate_hz: Option<f64> = optional(Unit::Hertz, 1e-3, 1e9).shown(2000.0), "", "Frames a second", "As often as a new value comes.";
        overhead_percent: f64 = defaulted(Unit::Percent, 0.0, 1000.0, 30.0), "", "Overhead", "Addressing, check sums and gaps.";
        rate_bit_per_s: Option<f64> = optional(Unit::BitPerSecond, 1.0, 1e11).shown(1e6), "", "Rate of the link", "Raw, on the wire.";
        utilisation_limit_percent: f64 = defaulted(Unit::Percent, 1.0, 100.0, 70.0), "", "Highest utilisation", "50 to 70 % are usual.";
        clock_hz: Option<f64> = optional(Unit::Hertz, 1.0, 1e11).shown(5e6), "f", "Clock", "Of the synchronous link.";
        clock_returned: bool = yes_no(false), "", "Clock returned with the data", "Then only the skew counts, not the delay there and back.";
        delay_max_s: Option<f64> = optional(Unit::Second, 0.0, 1.0).shown(30e-9), "", "Longest delay", "Of one crossing.";
        skew_s: Option<f64> = optional(Unit::Second, 0.0, 1.0).shown(5e-9), "", "Skew", "Between clock and data.";
        valid_s: Option<f64> = optional(Unit::Second, 0.0, 1.0).shown(40e-9), "", "Data valid after the clock", "After the clock edge, of the sender.";
        setup_s: Option<f64> = optional(Unit::Second, 0.0, 1.0).shown(10e-9), "", "Set-up time", "Of the receiver.";
        lost_frames: u32 = whole(Unit::One, 0, 1000, 1), "", "Frames lost in a row", "That are accepted before it is called a fault.";
        latency_allowed_s: Option<f64> = optional(Unit::Second, 1e-9, 1e3).shown(2e-3), "", "Latency allowed", "From the reading to the controller.";
    }
}

impl CommonMode {
    /// Whether it is described.
    pub fn is_there(&self) -> bool {
        !self.couplings.is_empty()
            || any(&[
                self.node_slew_v_per_s,
                self.node_step_v,
                self.edge_rate_hz,
                self.shared_resistance_ohm,
                self.shared_inductance_henry,
                self.current_rise_s,
                self.channel_filter_s,
                self.current_allowed_a,
                self.mean_allowed_v,
                self.peak_allowed_v,
            ])
    }
}

impl DataLink {
    /// Whether it is described.
    pub fn is_there(&self) -> bool {
        any(&[
            self.frame_bits,
            self.frame_rate_hz,
            self.rate_bit_per_s,
            self.clock_hz,
            self.delay_max_s,
            self.skew_s,
            self.valid_s,
            self.setup_s,
            self.latency_allowed_s,
        ])
    }
}
