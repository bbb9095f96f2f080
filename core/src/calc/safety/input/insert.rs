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
        ShuntOpen = "shunt-open", "Shunt open";
        SenseOpen = "sense-open", "Sense wire open";
        SenseResistive = "sense-resistive", "Joint in a sense wire";
        SenseSwap = "sense-swap", "Sense wires swapped";
        SenseShort = "sense-short", "Sense wires shorted";
        ThermistorOpen = "thermistor-open", "Thermistor open, leaking";
        ThermistorShort = "thermistor-short", "Thermistor short";
        ThermistorDrift = "thermistor-drift", "Thermistor drifts";
        LeadResistive = "lead-resistive", "Joint in a lead";
        LeadLeak = "lead-leak", "Leakage across the leads";
        ThermistorLoose = "thermistor-loose", "Thermistor has lost its contact";
        FixedDrift = "fixed-drift", "Fixed resistor drifts";
        FixedOpen = "fixed-open", "Fixed resistor open";
        FixedShort = "fixed-short", "Fixed resistor short";
        AmplifierGain = "amplifier-gain", "Gain of the amplifier";
        AmplifierOffset = "amplifier-offset", "Offset of the amplifier";
        AmplifierRail = "amplifier-rail", "Amplifier at one of its ends";
        AmplifierSlow = "amplifier-slow", "Amplifier slow";
        ReferenceDrift = "reference-drift", "Reference drifts";
        ConverterGain = "converter-gain", "Gain of the converter";
        ConverterOffset = "converter-offset", "Offset of the converter";
        ConverterStuck = "converter-stuck", "Code stuck";
        ConverterBit = "converter-bit", "A bit is forced";
        ConverterInput = "converter-input", "Another input is read";
        ClockDrift = "clock-drift", "Clock drifts";
        LinkStuck = "link-stuck", "An old frame comes again";
        LinkLate = "link-late", "Frames late";
        LinkCorrupt = "link-corrupt", "Frames corrupted";
        LinkLost = "link-lost", "No frames: the last value stays";
        SupplyLow = "supply-low", "Supply low";
        SupplyHigh = "supply-high", "Supply high";
        SupplyRipple = "supply-ripple", "Supply with ripple";
        SupplyLost = "supply-lost", "No supply";
        ControllerConstant = "controller-constant", "A constant of the controller is wrong";
        ControllerFrozen = "controller-frozen", "Controller keeps a value";
        ControllerLate = "controller-late", "Controller late";
        CheckLost = "check-lost", "A check is lost";
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
    /// A time, s: from, to, where it is given.
    Second(Option<[f64; 2]>),
}

impl Insert {
    /// The quantity whose channel it changes; nothing where every channel has such a part.
    pub const fn reads(self) -> Option<Reads> {
        Some(match self {
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
            | Self::ShuntOpen
            | Self::SenseOpen
            | Self::SenseResistive
            | Self::SenseSwap
            | Self::SenseShort => Reads::Current,
            Self::ThermistorOpen
            | Self::ThermistorShort
            | Self::ThermistorDrift
            | Self::ThermistorLoose
            | Self::LeadResistive
            | Self::LeadLeak
            | Self::FixedDrift
            | Self::FixedOpen
            | Self::FixedShort => Reads::Temperature,
            _ => return None,
        })
    }

    /// Whether it fails where checks run, too: they see nothing of it.
    pub const fn is_of_the_controller(self) -> bool {
        matches!(self, Self::ControllerConstant | Self::ControllerFrozen | Self::ControllerLate)
    }

    /// Whether the reading deviates while the true value stands, and not only as far as it moves, or not at all.
    pub const fn deviates_at_rest(self) -> bool {
        !matches!(
            self,
            Self::AmplifierSlow | Self::LinkLate | Self::ControllerLate | Self::ClockDrift | Self::CheckLost
        )
    }

    /// Whether the reading stays in proportion to the true value, but for what is constant: a step is read as another step.
    pub const fn scales(self) -> bool {
        matches!(
            self,
            Self::UpperShort
                | Self::UpperOpen
                | Self::UpperDrift
                | Self::UpperJoint
                | Self::UpperLeak
                | Self::LowerOpen
                | Self::LowerDrift
                | Self::FilterLeak
                | Self::ShuntDrift
                | Self::ShuntJoint
                | Self::ShuntBridge
                | Self::SenseResistive
                | Self::SenseSwap
                | Self::ReferenceDrift
                | Self::AmplifierGain
                | Self::ConverterGain
        )
    }

    /// Whether it adds the same whatever flows.
    pub const fn is_offset(self) -> bool {
        matches!(self, Self::AmplifierOffset | Self::ConverterOffset)
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
                | Self::FixedOpen
                | Self::FixedShort
                | Self::AmplifierRail
                | Self::ConverterBit
                | Self::ConverterInput
        )
    }

    /// How large such faults are where nobody says it: common practice, no source.
    pub const fn usual(self) -> Magnitude {
        match self {
            Self::UpperDrift | Self::LowerDrift | Self::ShuntDrift | Self::ThermistorDrift | Self::FixedDrift => {
                Magnitude::Percent(-50.0, 50.0)
            }
            Self::ReferenceDrift
            | Self::AmplifierGain
            | Self::AmplifierOffset
            | Self::ConverterGain
            | Self::ConverterOffset
            | Self::ClockDrift
            | Self::ControllerConstant => Magnitude::Percent(-10.0, 10.0),
            Self::SupplyLow => Magnitude::Percent(-10.0, 0.0),
            Self::SupplyHigh => Magnitude::Percent(0.0, 10.0),
            // A value stands anywhere in the range, a sensor may have lost any part of its contact.
            Self::ConverterStuck
            | Self::ConverterInput
            | Self::LinkStuck
            | Self::LinkCorrupt
            | Self::LinkLost
            | Self::ControllerFrozen
            | Self::ThermistorLoose => Magnitude::Percent(0.0, 100.0),
            Self::UpperOpen => Magnitude::Ohm(1e5, 1e9),
            Self::UpperJoint | Self::SenseResistive | Self::LeadResistive => Magnitude::Ohm(1.0, 1e5),
            Self::UpperLeak | Self::FilterLeak | Self::LeadLeak | Self::ThermistorOpen => Magnitude::Ohm(1e4, 1e7),
            Self::ShuntJoint | Self::ShuntBridge => Magnitude::Ohm(1e-6, 1e-1),
            Self::AmplifierSlow | Self::LinkLate | Self::ControllerLate => Magnitude::Second(None),
            _ => Magnitude::None,
        }
    }
}
