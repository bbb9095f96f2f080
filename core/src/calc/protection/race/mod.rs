//! # Reaction race
//!
//! After a short the current rises towards V/R within microseconds. The switch opens when the whole chain from the
//! threshold to the contacts has run; the fuse melts when enough I²t has passed. Who comes first must be able to break
//! what flows then, and at every fault, also the weakest, somebody must come.
//!
//! ```text
//! Formula    circuit: current, threshold, let-through; solve: the race; scan: all faults; clamp: opening
//! Parts      circuit, clamp, solve, scan, checks, input, output, findings, view, working
//! Convention stages are summed as stated; the current rises unopposed while the switch opens; let-through counts from
//!            zero current, and beside it from the current before the fault; current and energy at the opening the other
//!            way round, because the switch meets the real current
//! Valid      constant V, R and L; a few milliseconds (cells sag, metal heats, both weaken the fault)
//! Model error  the fuse's pre-arc value holds up to some 10 ms; the current during arcing falls, so a time to a clearing
//!            I²t is not given
//! Source     Kirchhoff's laws; IEC 60949 and IEC 60364-5-54 annex A for the wiring (constants from memory)
//! ```

mod checks;
pub mod circuit;
pub mod clamp;
mod findings;
mod input;
mod output;
mod scan;
mod solve;
mod view;
mod working;

use crate::calculation::Meta;
use crate::field::FieldError;
use crate::legacy::Whole;
use crate::quantity::{Unit, say};
use crate::report::Report;

pub use input::{Conductor, FaultSource, Fuse, Insulation, MeantFirst, RaceInput, ReactionStage, Switch, Wiring};
pub use output::{
    CoordinationPoint, NobodyInterval, NobodyReason, Opener, RaceFault, RaceFuse, RaceOutput, RacePoint, RaceStage,
    RaceWiring,
};

/// The calculation.
#[derive(Debug)]
pub struct Race;

impl Whole for Race {
    const META: Meta = Meta {
        slug: "race",
        title: "Reaction race",
        job: "From the short to the interruption: who opens first, at what current, and at which faults nobody does.",
        short: "short circuit, fuse or switch",
        sources: &[
            "Kirchhoff's laws: first-order loop in closed form",
            "IEC 60949, IEC 60364-5-54 annex A: adiabatic heating of conductors (constants from memory)",
            "Pre-arc I²t as a constant up to some 10 ms: common practice, no source",
        ],
    };
    type Input = RaceInput;
    type Output = RaceOutput;

    fn calculate(input: &RaceInput) -> Result<Report<RaceOutput>, Vec<FieldError>> {
        let faults = contradictions(input);
        if !faults.is_empty() {
            return Err(faults);
        }
        let result = solve::solve(input);
        let findings = findings::findings(input, &result);
        Ok(Report { working: working::working(input, &result), view: view::view(input, &result), result, findings })
    }
}

fn contradictions(input: &RaceInput) -> Vec<FieldError> {
    let mut faults = Vec::new();
    let source = &input.source;
    let mut order = |field: &str, message: &str, low: Option<f64>, high: Option<f64>, given_low: bool, unit| {
        if let (Some(low), Some(high)) = (low, high)
            && low > high
        {
            let (given, accepted) = if given_low {
                (low, format!("at or below {}", say(high, unit)))
            } else {
                (high, format!("at or above {}", say(low, unit)))
            };
            faults.push(FieldError::contradiction(field, message, accepted, say(given, unit)));
        }
    };
    order(
        "/source/voltage_min_v",
        "The lowest voltage lies above the one at full charge.",
        source.voltage_min_v,
        Some(source.voltage_v),
        true,
        Unit::Volt,
    );
    order(
        "/source/pack_resistance_max_ohm",
        "The largest pack resistance lies below the smallest.",
        Some(source.pack_resistance_ohm),
        source.pack_resistance_max_ohm,
        false,
        Unit::Ohm,
    );
    order(
        "/source/external_resistance_max_ohm",
        "The weakest fault has less resistance than the strongest.",
        Some(source.external_resistance_ohm),
        source.external_resistance_max_ohm,
        false,
        Unit::Ohm,
    );
    order(
        "/fuse/clearing_a2s",
        "The total clearing value lies below the pre-arc value, which is a part of it.",
        Some(input.fuse.prearc_a2s),
        input.fuse.clearing_a2s,
        false,
        Unit::AmpereSquaredSecond,
    );
    for (index, stage) in input.stages.iter().enumerate() {
        order(
            &format!("/stages/{index}/shortest_s"),
            "The shortest time of the stage lies above its longest.",
            stage.shortest_s,
            Some(stage.longest_s),
            true,
            Unit::Second,
        );
    }
    let (start, end) = input.wiring_degc();
    if end <= start {
        let field = if input.wiring.end_degc.is_some() { "/wiring/end_degc" } else { "/wiring/start_degc" };
        faults.push(FieldError::contradiction(
            field,
            format!(
                "The wiring may reach {}, and it starts at {}: nothing is left to heat.",
                say(end, Unit::Celsius),
                say(start, Unit::Celsius)
            ),
            "an allowed temperature above the one before",
            say(if input.wiring.end_degc.is_some() { end } else { start }, Unit::Celsius),
        ));
    }
    faults
}
