//! # The faults that channels have
//!
//! Where no fault mode is typed, every mode that can be inserted into the channels that are there is taken, with rates and equal
//! shares that only illustrate. What cannot be followed with what is given blocks the metrics until somebody claims its shares.
//!
//! ```text
//! Rates      FIT: divider string 6, shunt 2, sense joint 1, amplifier 25, converter 25, reference 8, thermistor with lead and
//!            fixed resistor 5, isolated supply 20, data isolator 10, share of the controller with its clock 50
//! Valid      for looking at, not for a claim
//! Source     common practice, no source
//! ```

use super::input::{Fault, Goal, Insert, Reads, SafetyInput};

/// A component of a channel: name, rate in FIT, modes.
type Component = (&'static str, f64, &'static [Insert]);

const AMPLIFIER: &[Insert] =
    &[Insert::AmplifierGain, Insert::AmplifierOffset, Insert::AmplifierRail, Insert::AmplifierSlow];
const CONVERTER: &[Insert] = &[
    Insert::ConverterGain,
    Insert::ConverterOffset,
    Insert::ConverterStuck,
    Insert::ConverterBit,
    Insert::ConverterInput,
];
const REFERENCE: Component = ("Reference", 8.0, &[Insert::ReferenceDrift]);

const VOLTAGE: &[Component] = &[
    (
        "Divider string",
        6.0,
        &[
            Insert::UpperShort,
            Insert::UpperOpen,
            Insert::UpperDrift,
            Insert::UpperJoint,
            Insert::UpperLeak,
            Insert::LowerOpen,
            Insert::LowerShort,
            Insert::LowerDrift,
            Insert::FilterLeak,
            Insert::TapOpen,
        ],
    ),
    ("Voltage converter", 25.0, CONVERTER),
    REFERENCE,
];

const CURRENT: &[Component] = &[
    ("Shunt", 2.0, &[Insert::ShuntDrift, Insert::ShuntJoint, Insert::ShuntBridge, Insert::ShuntOpen]),
    ("Sense joint", 1.0, &[Insert::SenseOpen, Insert::SenseResistive, Insert::SenseSwap, Insert::SenseShort]),
    ("Current amplifier", 25.0, AMPLIFIER),
    ("Current converter", 25.0, CONVERTER),
    REFERENCE,
];

const TEMPERATURE: &[Component] = &[
    (
        "Thermistor and lead",
        5.0,
        &[
            Insert::ThermistorOpen,
            Insert::ThermistorShort,
            Insert::ThermistorDrift,
            Insert::ThermistorLoose,
            Insert::LeadResistive,
            Insert::LeadLeak,
            Insert::FixedDrift,
            Insert::FixedOpen,
            Insert::FixedShort,
        ],
    ),
    ("Temperature converter", 25.0, CONVERTER),
    REFERENCE,
];

/// What every channel has.
const OTHERS: &[Component] = &[
    ("Isolated supply", 20.0, &[Insert::SupplyLow, Insert::SupplyHigh, Insert::SupplyRipple, Insert::SupplyLost]),
    ("Data isolator", 10.0, &[Insert::LinkStuck, Insert::LinkLate, Insert::LinkCorrupt, Insert::LinkLost]),
    (
        "Controller",
        50.0,
        &[Insert::ControllerConstant, Insert::ControllerFrozen, Insert::ControllerLate, Insert::ClockDrift],
    ),
];

/// Every mode of the channels that the goals hang on.
pub(super) fn catalogue(input: &SafetyInput, goals: &[Goal]) -> Vec<Fault> {
    let there = |reads: Reads| match reads {
        Reads::Voltage => input.voltage.upper_ohm.is_some(),
        Reads::Current => input.current.shunt_ohm.is_some(),
        Reads::Temperature => input.temperature.r25_ohm.is_some(),
    };
    let mut faults = Vec::new();
    for goal in goals.iter().filter(|goal| there(goal.reads)) {
        let components = match goal.reads {
            Reads::Voltage => VOLTAGE,
            Reads::Current => CURRENT,
            Reads::Temperature => TEMPERATURE,
        };
        for (component, rate_fit, modes) in components.iter().chain(OTHERS) {
            let mode = |insert: &Insert| Fault {
                mode: insert.label().into(),
                mode_percent: 100.0 / modes.len() as f64,
                insert: *insert,
                ..blank(component, *rate_fit, goal)
            };
            faults.extend(modes.iter().map(mode));
        }
    }
    faults
}

fn blank(component: &str, rate_fit: f64, goal: &Goal) -> Fault {
    Fault { component: component.into(), rate_fit, goal: goal.name.clone(), ..crate::field::start::<Fault>() }
}
