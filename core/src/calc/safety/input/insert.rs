//! What can be done to a channel, and how large such faults are.

use super::goal::Reads;

crate::choice! {
    /// What is done to the channel.
    pub enum Insert {
        None = "none", "Nothing: the deviation is typed";
        UpperShort = "upper-short", "Upper elements short";
        UpperOpen = "upper-open", "Upper element open, leaking";
        UpperDrift = "upper-drift", "Upper element drifts";
        UpperJoint = "upper-joint", "Joint in the upper string";
        UpperLeak = "upper-leak", "Leakage across upper elements";
        LowerOpen = "lower-open", "Lower string open";
        LowerShort = "lower-short", "Lower string short";
        LowerDrift = "lower-drift", "Lower string drifts";
        FilterLeak = "filter-leak", "Filter capacitor leaks";
        TapOpen = "tap-open", "Tap open";
        ShuntDrift = "shunt-drift", "Shunt drifts";
        ShuntJoint = "shunt-joint", "Joint between the taps";
        ShuntBridge = "shunt-bridge", "Shunt bridged";
        SenseOpen = "sense-open", "Sense wire open";
        SenseResistive = "sense-resistive", "Joint in a sense wire";
        SenseSwap = "sense-swap", "Sense wires swapped";
        SenseShort = "sense-short", "Sense wires shorted";
        ThermistorOpen = "thermistor-open", "Thermistor open, leaking";
        ThermistorShort = "thermistor-short", "Thermistor short";
        ThermistorDrift = "thermistor-drift", "Thermistor drifts";
        LeadResistive = "lead-resistive", "Joint in a lead";
        LeadLeak = "lead-leak", "Leakage across the leads";
        FixedDrift = "fixed-drift", "Fixed resistor drifts";
        ReferenceDrift = "reference-drift", "Reference drifts";
        ConverterGain = "converter-gain", "Gain of amplifier or converter";
        ConverterStuck = "converter-stuck", "Code stuck";
    }
}

/// How the magnitude of a fault is measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Magnitude {
    /// There is one.
    None,
    /// A share of a part, percent: from, to.
    Percent(f64, f64),
    /// A resistance, Ω, uniform in its logarithm: from, to.
    Ohm(f64, f64),
}

impl Insert {
    /// The quantity whose channel it changes; nothing where every channel has such a part.
    pub const fn reads(self) -> Option<Reads> {
        Some(match self {
            Self::None | Self::ReferenceDrift | Self::ConverterGain | Self::ConverterStuck => return None,
            Self::UpperShort
            | Self::UpperOpen
            | Self::UpperDrift
            | Self::UpperJoint
            | Self::UpperLeak
            | Self::LowerOpen
            | Self::LowerShort
            | Self::LowerDrift
            | Self::FilterLeak
            | Self::TapOpen => Reads::Voltage,
            Self::ShuntDrift
            | Self::ShuntJoint
            | Self::ShuntBridge
            | Self::SenseOpen
            | Self::SenseResistive
            | Self::SenseSwap
            | Self::SenseShort => Reads::Current,
            Self::ThermistorOpen
            | Self::ThermistorShort
            | Self::ThermistorDrift
            | Self::LeadResistive
            | Self::LeadLeak
            | Self::FixedDrift => Reads::Temperature,
        })
    }

    /// Whether the circuit of a current channel is changed, or what follows it.
    pub const fn of_current(self) -> bool {
        matches!(self.reads(), Some(Reads::Current) | None) && !matches!(self, Self::None)
    }

    /// Whether the reading stays in proportion to the true value, but for what is constant: a step is read as another step.
    pub const fn scales(self) -> bool {
        !matches!(
            self,
            Self::None | Self::LowerShort | Self::TapOpen | Self::SenseOpen | Self::SenseShort | Self::ConverterStuck
        ) && !matches!(self.reads(), Some(Reads::Temperature))
    }

    /// Whether it comes from one moment to the next for certain.
    pub const fn comes_at_once(self) -> bool {
        matches!(
            self,
            Self::UpperShort
                | Self::LowerOpen
                | Self::LowerShort
                | Self::SenseShort
                | Self::SenseSwap
                | Self::ThermistorShort
        )
    }

    /// How large such faults are where nobody says it: common practice, no source.
    pub const fn usual(self) -> Magnitude {
        match self {
            Self::UpperDrift | Self::LowerDrift | Self::ShuntDrift | Self::ThermistorDrift | Self::FixedDrift => {
                Magnitude::Percent(-50.0, 50.0)
            }
            Self::ReferenceDrift | Self::ConverterGain => Magnitude::Percent(-10.0, 10.0),
            // A code is stuck anywhere in the range.
            Self::ConverterStuck => Magnitude::Percent(0.0, 100.0),
            Self::UpperOpen => Magnitude::Ohm(1e5, 1e9),
            Self::UpperJoint | Self::SenseResistive | Self::LeadResistive => Magnitude::Ohm(1.0, 1e5),
            Self::UpperLeak | Self::FilterLeak | Self::LeadLeak | Self::ThermistorOpen => Magnitude::Ohm(1e4, 1e7),
            Self::ShuntJoint | Self::ShuntBridge => Magnitude::Ohm(1e-6, 1e-1),
            _ => Magnitude::None,
        }
    }
}
