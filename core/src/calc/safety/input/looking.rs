//! What a kind of check looks at, and which of its fields count.

use super::check::{Acts, CheckKind, SafetyCheck};
use super::fault::{Comes, Fault};
use super::goal::Reads;
use super::insert::Insert;
use super::{SafetyInput, SafetyLife, names};
use crate::quantity::{Quantity, Unit};

/// A check sum that lets more pass than this, percent, is weak. Common practice, no source.
const WEAK_PERCENT: f64 = 0.1;

impl CheckKind {
    /// Whether two readings are held against each other.
    pub const fn has_partner(self) -> bool {
        matches!(self, Self::Comparison | Self::SumOfCells)
    }

    /// Whether it looks at a difference against a limit.
    pub const fn has_limit(self) -> bool {
        !matches!(self, Self::Communication | Self::StuckCode)
    }

    /// Whether one side of it is the reading of the channel, with the errors of that; a test of the reference has its own.
    pub const fn reads_the_channel(self) -> bool {
        matches!(self, Self::Range | Self::Comparison | Self::SumOfCells | Self::Closure)
    }

    /// Whether the noise of the channel stands in what it looks at.
    pub const fn hears_the_channel(self) -> bool {
        matches!(self, Self::Range | Self::Comparison | Self::SumOfCells | Self::Rate)
    }

    /// Whether it looks at the deviation of the reading itself; the others look at what they make of a fault.
    pub const fn sees_the_deviation(self) -> bool {
        self.reads_the_channel() || matches!(self, Self::ReferenceTest | Self::Rate)
    }

    /// Whether it sees nothing of a value that is held until the true one has moved away.
    pub const fn sees_what_moves(self) -> bool {
        self.sees_the_deviation() || matches!(self, Self::CurrentHeat)
    }

    /// The quantities that it can be about.
    pub const fn quantities(self) -> &'static [Reads] {
        match self {
            Self::SumOfCells => &[Reads::Voltage],
            Self::CurrentHeat | Self::Closure => &[Reads::Current],
            Self::OpenWire => &[Reads::Current, Reads::Temperature],
            Self::StepResistance => &[Reads::Current, Reads::Voltage],
            _ => &[Reads::Current, Reads::Voltage, Reads::Temperature],
        }
    }

    /// Whether it can see such a fault at all.
    const fn looks_at(self, insert: Insert) -> bool {
        match self {
            Self::Comparison | Self::SumOfCells | Self::Range | Self::Rate => insert.deviates_at_rest(),
            // What stands before the converter is not in the test.
            Self::ReferenceTest => matches!(
                insert,
                Insert::ReferenceDrift
                    | Insert::ConverterGain
                    | Insert::ConverterOffset
                    | Insert::ConverterStuck
                    | Insert::None
            ),
            Self::Communication => {
                matches!(insert, Insert::LinkStuck | Insert::LinkLate | Insert::LinkCorrupt | Insert::LinkLost)
            }
            Self::StuckCode => matches!(insert, Insert::ConverterStuck | Insert::LinkStuck | Insert::LinkLost),
            Self::OpenWire => matches!(
                insert,
                Insert::SenseOpen | Insert::SenseResistive | Insert::ThermistorOpen | Insert::LeadResistive
            ),
            // Where the heat of a joint or of what bridges the shunt goes is not known.
            Self::CurrentHeat => {
                insert.deviates_at_rest() && !matches!(insert, Insert::ShuntJoint | Insert::ShuntBridge)
            }
            // A constant has no step: what is stuck is not looked at.
            Self::StepResistance => insert.scales(),
            // What a gain takes in discharge it gives back in charge.
            Self::Closure => insert.is_offset() || matches!(insert, Insert::None),
            Self::ClockTest => matches!(insert, Insert::ClockDrift),
        }
    }

    /// The coverage that is claimed for such checks at most, percent: classes of ISO 26262-5:2018 annex D, from memory.
    const fn usual_ceiling_percent(self) -> f64 {
        match self {
            Self::Comparison | Self::SumOfCells => 99.0,
            Self::Range => 60.0,
            _ => 90.0,
        }
    }
}

impl SafetyInput {
    /// Of each check the place of the first that may be lost with it: two that need one component are lost together, and what
    /// is lost with one of them counts as lost with the other.
    pub fn lost_together(&self) -> Vec<usize> {
        let shares = |one: &SafetyCheck, other: &SafetyCheck| {
            names(&one.needs).any(|name| names(&other.needs).any(|beside| beside == name))
        };
        let mut first: Vec<usize> = (0..self.checks.len()).collect();
        for (place, check) in self.checks.iter().enumerate() {
            for before in (0..place).filter(|before| shares(check, &self.checks[*before])) {
                let (low, high) = (first[place].min(first[before]), first[place].max(first[before]));
                first.iter_mut().filter(|one| **one == high).for_each(|one| *one = low);
            }
        }
        first
    }
}

impl SafetyCheck {
    /// Where the other channel of a comparison ends, where it is said.
    fn other_full(&self) -> Option<f64> {
        self.reads.pick([self.other_full_a, self.other_full_v, self.other_full_degc])
    }

    /// Why nobody knows that it shows something at a true value: its other channel does not reach so far, or not for all that is
    /// known.
    pub fn ends_before(&self, at: Option<f64>) -> Option<String> {
        let full = self.other_full().filter(|_| self.kind.has_partner());
        if full.is_none() && self.kind == CheckKind::Comparison {
            return Some(format!("up to where the other side of {} reads is not given", self.name));
        }
        let (full, at) = full.zip(at)?;
        let value = |value: f64| Quantity::new(value, self.reads.unit_of_values());
        (at.abs() > full)
            .then(|| format!("the other side of {} ends at {}, before {}", self.name, value(full), value(at)))
    }

    /// Whether it can see such a fault at all: what both of its channels share shows in no difference, and what comes slowly in
    /// no step.
    pub fn looks_at(&self, fault: &Fault) -> bool {
        let slow = self.kind == CheckKind::Rate && fault.comes() == Comes::Slowly;
        // A frame that comes again has its old number, a wrong one another sum: where they are sent.
        let unframed = match (self.kind, fault.insert) {
            (CheckKind::Communication, Insert::LinkStuck) => self.counter_bits == 0,
            (CheckKind::Communication, Insert::LinkCorrupt) => self.crc_bits == 0,
            _ => false,
        };
        let seen = self.kind.looks_at(fault.insert) && !fault.insert.is_of_the_controller();
        let blind = slow || unframed || (self.compares() && self.shares(fault.insert));
        seen && !blind
    }

    /// Whether two channels are in it.
    pub fn compares(&self) -> bool {
        self.kind.has_partner() || self.kind == CheckKind::StepResistance
    }

    /// Whether both of its channels have what fails.
    pub const fn shares(&self, insert: Insert) -> bool {
        match insert {
            Insert::ReferenceDrift => self.one_reference,
            Insert::ConverterGain
            | Insert::ConverterOffset
            | Insert::ConverterStuck
            | Insert::ConverterBit
            | Insert::ConverterInput => self.one_converter,
            _ => false,
        }
    }

    /// Whether a test that finds something comes within the multi-point interval, and before the end of the life.
    pub fn is_tested_within(&self, life: &SafetyLife) -> bool {
        let soon = |interval: f64| interval <= life.multi_point_interval_h && interval < life.life_h;
        self.test_coverage_percent > 0.0 && self.test_interval_h.is_some_and(soon)
    }

    /// Whether it gives coverage.
    pub const fn covers(&self) -> bool {
        matches!(self.acts, Acts::SafeState | Acts::Substitute)
    }

    /// The coverage that is used at most, percent: of frames that are corrupted some pass their check sum.
    pub fn most_percent(&self) -> f64 {
        let class = self.ceiling_percent.unwrap_or_else(|| self.kind.usual_ceiling_percent());
        if self.kind == CheckKind::Communication { class.min(100.0 * (1.0 - self.passing())) } else { class }
    }

    /// Share of corrupted frames that pass the check sum.
    pub fn passing(&self) -> f64 {
        libm::exp2(-f64::from(self.crc_bits))
    }

    /// Whether its sum lets too much pass.
    pub fn is_weak_sum(&self) -> bool {
        self.kind == CheckKind::Communication && self.crc_bits > 0 && 100.0 * self.passing() > WEAK_PERCENT
    }

    /// The unit of what it looks at.
    pub const fn unit(&self) -> Unit {
        match self.kind {
            CheckKind::OpenWire => Unit::Volt,
            CheckKind::CurrentHeat => Unit::Kelvin,
            CheckKind::StepResistance => Unit::Ohm,
            CheckKind::ClockTest => Unit::Percent,
            _ => self.reads.unit(),
        }
    }

    /// The quantity whose fields hold limit, errors and noise.
    const fn limited_in(&self) -> Reads {
        match self.kind {
            CheckKind::OpenWire => Reads::Voltage,
            CheckKind::CurrentHeat => Reads::Temperature,
            _ => self.reads,
        }
    }

    /// Limit of the difference at a value that the other one reads: the fixed part and the share of the value.
    pub fn limit(&self, at: f64) -> Option<f64> {
        let fixed = self.limited_in().pick([self.limit_a, self.limit_v, self.limit_k]);
        let share = self.limit_percent.map(|percent| percent / 100.0 * at.abs());
        fixed.or(share.map(|_| 0.0)).map(|fixed| fixed + share.unwrap_or(0.0))
    }

    /// Limit of a rate, a second.
    pub fn rate(&self) -> Option<f64> {
        self.reads.pick([self.rate_a_per_s, self.rate_v_per_s, self.rate_k_per_s])
    }

    /// The largest slope in normal use, a second.
    pub fn slope(&self) -> Option<f64> {
        self.reads.pick([self.slope_a_per_s, self.slope_v_per_s, self.slope_k_per_s])
    }

    /// The ends of a range, the lower first.
    pub fn range(&self) -> [Option<f64>; 2] {
        self.reads.pick([[self.low_a, self.high_a], [self.low_v, self.high_v], [self.low_degc, self.high_degc]])
    }

    /// Errors of the reading that is checked and of the other.
    pub fn errors(&self) -> [Option<f64>; 2] {
        self.limited_in().pick([
            [self.error_a, self.other_error_a],
            [self.error_v, self.other_error_v],
            [self.error_k, self.other_error_k],
        ])
    }

    /// The known difference at its lowest and highest.
    pub fn known(&self) -> [f64; 2] {
        self.reads.pick([
            [self.known_low_a, self.known_high_a],
            [self.known_low_v, self.known_high_v],
            [self.known_low_k, self.known_high_k],
        ])
    }

    /// Noise of the reading that is checked and of the other.
    pub fn noises(&self) -> [Option<f64>; 2] {
        self.limited_in().pick([
            [self.noise_a, self.other_noise_a],
            [self.noise_v, self.other_noise_v],
            [self.noise_k, self.other_noise_k],
        ])
    }
}
