//! What goals rest on beside thresholds: a reaction race, a pre-charge, a count of charge.

use crate::field::optional;
use crate::input;
use crate::quantity::Unit;

crate::choice! {
    /// What decides whether a goal is kept.
    pub enum DecidedBy {
        Threshold = "threshold", "A threshold, or what is typed";
        Race = "race", "The race of a short circuit";
        Precharge = "pre-charge", "The pre-charge";
        Count = "charge-count", "The count of charge";
    }
}

crate::choice! {
    /// Which of the two channels of a pre-charge a fault sits in.
    pub enum Side {
        Pack = "pack", "The pack's";
        Link = "link", "The link's";
    }
}

input! {
    /// The race of a short circuit.
    pub struct RaceParts {
        voltage_v: Option<f64> = optional(Unit::Volt, 0.1, 5000.0), "V", "Voltage", "Of the strongest fault.";
        resistance_ohm: Option<f64> = optional(Unit::Ohm, 1e-6, 2e3), "R", "Resistance", "Of the whole loop, of the strongest fault.";
        inductance_henry: Option<f64> = optional(Unit::Henry, 0.0, 1.0), "L", "Inductance", "Of the whole loop, smallest.";
        weakest_v: Option<f64> = optional(Unit::Volt, 0.1, 5000.0), "Vmin", "Lowest voltage", "Of the weakest fault; leave empty: the same.";
        weakest_ohm: Option<f64> = optional(Unit::Ohm, 1e-6, 2e3), "Rmax", "Largest resistance", "Of the weakest fault; leave empty: the same.";
        largest_henry: Option<f64> = optional(Unit::Henry, 0.0, 1.0), "Lmax", "Largest inductance", "Leave empty: the same.";
        before_a: Option<f64> = optional(Unit::Ampere, -1e6, 1e6), "I0", "Current before", "Discharge is positive.";
        threshold_a: Option<f64> = optional(Unit::Ampere, 1e-3, 1e7), "Ith", "Threshold", "Of the fast detection.";
        threshold_error_percent: Option<f64> = optional(Unit::Percent, 0.0, 90.0), "eth", "Its error", "Half-width.";
        filter_s: Option<f64> = optional(Unit::Second, 0.0, 200.0), "τf", "Filter", "Largest time constant before the detection; leave empty if its delay is in the reaction.";
        reaction_s: Option<f64> = optional(Unit::Second, 0.0, 2e4), "t", "Reaction", "From the detection until the switch opens, longest.";
        breaking_a: Option<f64> = optional(Unit::Ampere, 1e-3, 1e7), "Ib", "Breaking capacity", "What the switch can still open.";
        pulse_a2s: Option<f64> = optional(Unit::AmpereSquaredSecond, 1e-6, 1e12), "W", "Let-through allowed", "What the weakest part of the loop takes until then.";
        fuse_a2s: Option<f64> = optional(Unit::AmpereSquaredSecond, 1e-6, 1e12), "", "Fuse does not melt below", "Pre-arc I²t, least; leave empty without a fuse.";
        fails: Option<f64> = optional(Unit::One, 0.0, 1.0), "", "Fails without a fault", "1: one of its own requirements fails or is not judged; 0: all hold; leave empty: told from these numbers.";
    }
}

input! {
    /// The pre-charge of a link.
    pub struct PrechargeParts {
        pack_v: Option<f64> = optional(Unit::Volt, 1.0, 5000.0), "V", "Pack voltage", "Highest.";
        start_v: Option<f64> = optional(Unit::Volt, 0.0, 5000.0), "V0", "Link voltage at the start", "Leave empty: 0.";
        capacitance_farad: Option<f64> = optional(Unit::Farad, 1e-9, 10.0), "C", "Link capacitance", "At the upper tolerance.";
        resistance_ohm: Option<f64> = optional(Unit::Ohm, 1e-2, 2e6), "R", "Pre-charge resistor", "Largest.";
        target_percent: Option<f64> = optional(Unit::Percent, 10.0, 99.999), "x", "Target", "Link in percent of the pack at which the contactor may close.";
        closing_difference_v: Option<f64> = optional(Unit::Volt, 1e-3, 1000.0), "dVc", "Closing difference", "Instead of the target; leave empty to close at the target.";
        load_ohm: Option<f64> = optional(Unit::Ohm, 1e-3, 1e15), "RL", "Load resistance", "Of everything that draws in proportion, beside a current or power, too; leave empty if nothing does.";
        load_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e4), "IL", "Load current", "Of a load of constant current.";
        load_w: Option<f64> = optional(Unit::Watt, 0.0, 1e6), "P", "Load power", "Of a load of constant power.";
        enable_v: Option<f64> = optional(Unit::Volt, 0.0, 5000.0), "Ve", "Draws from", "Where such a load wakes; leave empty: always.";
        link_error_v: Option<f64> = optional(Unit::Volt, 0.0, 2500.0), "e1", "Error of the link's channel", "Half-width, without a fault.";
        pack_error_v: Option<f64> = optional(Unit::Volt, 0.0, 2500.0), "e2", "Error of the pack's channel", "Half-width, without a fault.";
        max_time_s: Option<f64> = optional(Unit::Second, 1e-6, 1e5), "tmax", "Time-out", "The attempt is given up after it.";
        path_ohm: Option<f64> = optional(Unit::Ohm, 1e-6, 1e3), "Rp", "Resistance of the path", "That the main contactor closes.";
        path_henry: Option<f64> = optional(Unit::Henry, 0.0, 1.0), "Lp", "Inductance of the path", "Leave empty if unknown: the peak is then the upper bound.";
        making_a: Option<f64> = optional(Unit::Ampere, 1e-3, 1e7), "Imk", "Contactor making current", "Largest that its contacts may close on.";
        making_a2s: Option<f64> = optional(Unit::AmpereSquaredSecond, 1e-9, 1e12), "I2t", "Contactor making I²t", "What its contacts take when they close.";
        fails: Option<f64> = optional(Unit::One, 0.0, 1.0), "", "Fails without a fault", "1: one of its own requirements fails or is not judged; 0: all hold; leave empty: told from these numbers.";
    }
}

input! {
    /// A count of charge.
    pub struct CountParts {
        budget_ah: Option<f64> = optional(Unit::AmpereHour, 1e-6, 1e5), "", "Budget", "By which a fault may put the count off: what is allowed, less what it errs without one, of the capacity at the end of life.";
        anchor_h: Option<f64> = optional(Unit::Hour, 1e-3, 1e6), "", "Until the next anchor", "At most.";
        discharge_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "Id", "Discharge that is counted", "Largest current of the use.";
        charge_a: Option<f64> = optional(Unit::Ampere, 0.0, 1e6), "Ic", "Charge that is counted", "Largest current of the use, a magnitude.";
        fails: Option<f64> = optional(Unit::One, 0.0, 1.0), "", "Fails without a fault", "1: one of its own requirements fails or is not judged; 0: all hold; leave empty: told from these numbers.";
    }
}
