//! # Reaction race
//!
//! After a short the current rises towards V/R within microseconds. The switch opens when the whole chain from the
//! threshold to the contacts has run; the fuse melts when enough I²t has passed. Who comes first must be able to break
//! what flows then, and at every fault, also the weakest, somebody must come.
//!
//! ```text
//! Formula    circuit: current, threshold, let-through; fault: the race; scan: all faults; clamp: opening; wiring: heating
//! Parts      circuit, clamp, wiring physics; fault, scan what verdicts rest on; requirements; detail, working, view
//! Convention stages are summed as stated; the current rises unopposed while the switch opens; let-through counts from
//!            zero current, and beside it from the current before the fault; current and energy at the opening the other
//!            way round, because the switch meets the real current
//! Valid      constant V, R and L; a few milliseconds (cells sag, metal heats, both weaken the fault)
//! Model error  the fuse's pre-arc value holds up to some 10 ms; the current during arcing falls, so a time to a clearing
//!            I²t is not given
//! Source     Kirchhoff's laws; IEC 60949 and IEC 60364-5-54 annex A for the wiring (constants from memory)
//! ```

mod circuit;
mod clamp;
mod detail;
mod fault;
mod input;
mod output;
mod requirements;
mod scan;
mod slips;
mod view;
mod wiring;
mod working;

use crate::calculation::{Calculation, Meta, Slip};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::quantity::{Unit, celsius};
use crate::report::{Step, View};
use crate::work::{Refused, Work};

pub use clamp::Clamp;
pub use input::{Conductor, FaultSource, Fuse, Insulation, MeantFirst, RaceInput, ReactionStage, Switch, Wiring};
pub use output::{
    CoordinationPoint, NobodyInterval, NobodyReason, Opener, RaceFault, RaceFuse, RaceOutput, RacePoint, RaceStage,
    RaceWiring,
};

use fault::{Fault, Faults};

/// The calculation.
#[derive(Debug)]
pub struct Race;

/// What its verdicts rest on.
#[derive(Debug)]
pub struct Solved {
    strongest: Fault,
    weakest: Fault,
    scan: scan::Scan,
    wiring: Option<RaceWiring>,
    /// Current at the latest interruption of the strongest fault, A.
    opening_a: Option<f64>,
    clamp: Option<Clamp>,
}

impl Calculation for Race {
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
    type Solved = Solved;
    type Output = RaceOutput;
    const SLIPS: &'static [Slip<Self::Input>] = slips::SLIPS;

    fn contradictions(input: &RaceInput) -> Vec<FieldError> {
        contradictions(input)
    }

    fn solve(input: &RaceInput, work: Work) -> Result<Solved, Refused> {
        let faults = Faults::of(input);
        let [strongest, weakest] = [faults.strongest, faults.weakest].map(|circuit| Fault::run(input, circuit));
        let scan = scan::scan(input, &faults, work)?;
        let wiring = wiring::wiring(input, scan.let_through.value);
        let opening_a = strongest.switch_max_s.map(|time| strongest.circuit.current_a(input.before_a, time));
        let ends = input.switch.clamp_voltage_v.filter(|_| input.clamp_ends() == Some(true));
        let clamp = opening_a.zip(ends).and_then(|(current, volt)| clamp::clamp(&strongest.circuit, current, volt));
        Ok(Solved { strongest, weakest, scan, wiring, opening_a, clamp })
    }

    fn requirements(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
        requirements::remarks(input, solved, to);
    }

    fn detail(input: &RaceInput, solved: Solved, work: Work) -> Result<RaceOutput, Refused> {
        Ok(detail::detail(input, solved, work)?)
    }

    fn working(input: &RaceInput, output: &RaceOutput) -> Vec<Step> {
        working::working(input, output)
    }

    fn cautions(input: &RaceInput, output: &RaceOutput) -> Vec<String> {
        view::cautions(input, output)
    }

    fn view(input: &RaceInput, output: &RaceOutput, judged: &Ledger) -> View {
        view::view(input, output, judged)
    }
}

fn contradictions(input: &RaceInput) -> Vec<FieldError> {
    let source = &input.source;
    let (volt, ohm, a2s) = (Unit::Volt, Unit::Ohm, Unit::AmpereSquaredSecond);
    let mut faults = Vec::new();
    let message = "The lowest voltage lies above the one at full charge.";
    let (given, most) = (source.voltage_min_v, source.voltage_v);
    faults.extend(FieldError::above("/source/voltage_min_v", message, given, most, volt));
    let message = "The largest pack resistance lies below the smallest.";
    let (given, least) = (source.pack_resistance_max_ohm, source.pack_resistance_ohm);
    faults.extend(FieldError::below("/source/pack_resistance_max_ohm", message, given, least, ohm));
    let message = "The weakest fault has less resistance than the strongest.";
    let (given, least) = (source.external_resistance_max_ohm, source.external_resistance_ohm);
    faults.extend(FieldError::below("/source/external_resistance_max_ohm", message, given, least, ohm));
    let message = "The total clearing value lies below the pre-arc value, which is a part of it.";
    let (given, least) = (input.fuse.clearing_a2s, input.fuse.prearc_a2s);
    faults.extend(FieldError::below("/fuse/clearing_a2s", message, given, least, a2s));
    for (index, stage) in input.stages.iter().enumerate() {
        let field = format!("/stages/{index}/shortest_s");
        let message = "The shortest time of the stage lies above its longest.";
        faults.extend(FieldError::above(&field, message, stage.shortest_s, stage.longest_s, Unit::Second));
    }
    let (start, end) = input.wiring_degc();
    if end <= start {
        let (field, given) = match input.wiring.end_degc {
            Some(end) => ("/wiring/end_degc", end),
            None => ("/wiring/start_degc", start),
        };
        let (start, end) = (celsius(start), celsius(end));
        faults.push(FieldError::contradiction(
            field,
            format!("The wiring may reach {end}, and it starts at {start}: nothing is left to heat."),
            "an allowed temperature above the one before",
            celsius(given),
        ));
    }
    faults
}
