//! # Isolation barrier and insulation of the bus
//!
//! Whether the barrier between battery and controller is long, strong, fast and well fed enough, and what the sensing of
//! all units together leaves of the insulation of the bus.
//!
//! ```text
//! Parts      tables the standard as data, distances clearance and creepage, isolator its ratings, injection slew and data,
//!            supply the isolated supply, bus paths, touch and supervision, energy the Y capacitors, measured the readings
//! Formula    clearance = max(table by impulse, table by peak, floor) k(altitude);  reinforced: next preferred impulse or
//!            160 %, peak 160 %;  creepage = max(table (1 | 2), clearance)
//!            I = C dv/dt, Q = C dV, peak s I (R + L/tr), behind a pole s I R (1 − e^(−te/τ)), mean s Q R f
//!            loss straight between its points;  t = C V/(Ilim − k I);  offset Vpp/2 10^(−a/20) + dV 10^(−a0/20)
//!            R = 1/ΣG;  Ri = R V/max(V1, V2);  N = ⌊(1/(r V) − Gs)/Gu⌋;  I = V Σ|x − p| G/(1 + Rb ΣG) of the
//!            paths for which it is largest
//!            E = ½ Ct V²;  Ri = R0 Vb (1/V' − 1/V);  t = (R/2) Ct ln(V0/Vs)
//! Symbols    k altitude factor, C coupling [F], s share, R shared [Ω], G conductance of a path [S], x its position,
//!            r required [Ω/V], Ct all Y capacitors [F], Rb body [Ω], R0 known resistor [Ω], V' reading with it
//! Valid      tables up to their last rows, then an error that names the range; lowest path resistances; direct voltage
//! Source     IEC 60664-1:2020 (tables read in a public transcription where marked), IEC 60747-17, UN R100 Annex 5; circuits
//!            by Kirchhoff's laws
//! ```

mod bus;
mod charts;
mod contradictions;
mod distances;
mod energy;
mod injection;
mod input;
mod isolator;
mod measured;
mod output;
mod remarks;
mod requirements;
mod slips;
mod spacing;
mod supply;
pub mod tables;
mod view;
mod working;

use crate::calculation::{Calculation, Depth, Gives, Meta, Slip};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};

pub use bus::{IsolationBus, IsolationMonitor, Node};
pub use distances::impulse_of_class;
pub use energy::IsolationY;
pub use injection::{IsolationData, IsolationInjection};
pub use input::*;
pub use isolator::IsolationRatings;
pub use measured::{IsolationDrawn, IsolationMeasured, readings};
pub use output::IsolationOutput;
pub use spacing::{
    ClearanceBy, CreepageBy, IsolationClearance, IsolationCrossing, IsolationOpenElement, IsolationStress,
};
pub use supply::IsolationSupply;

/// The calculation.
#[derive(Debug)]
pub struct Isolation;

impl Calculation for Isolation {
    const META: Meta = Meta {
        slug: "isolation",
        title: "Isolation barrier and insulation of the bus",
        job: "Whether the barrier is long, strong, fast and fed enough, and what the sensing leaves of the insulation of the whole bus.",
        short: "distances, slew, supply, insulation, Y capacitors",
        sources: &[
            "IEC 60664-1:2020: clearance and creepage; each row says whether it was read or is from memory",
            "IEC 60747-17: partial discharge of isolators",
            "UN R100: isolation resistance, the two-measurement method, energy",
            "Kirchhoff's laws: paths to the chassis, injection, supply",
        ],
    };
    type Input = IsolationInput;
    type Solved = IsolationOutput;
    type Output = IsolationOutput;
    const GIVES: &'static [Gives<Self::Input>] = GIVES;
    const SLIPS: &'static [Slip<Self::Input>] = slips::SLIPS;

    fn contradictions(input: &IsolationInput) -> Vec<FieldError> {
        contradictions::contradictions(input)
    }

    fn cost(input: &IsolationInput, _: Depth, work: Work) -> Cost {
        let units = measured::units(&input.two_measurement, work);
        Cost::SMALL.and(Cost { units, bytes: units.saturating_mul(2) })
    }

    fn solve(input: &IsolationInput, work: Work) -> Result<IsolationOutput, Refused> {
        solve(input, work)
    }

    fn requirements(input: &IsolationInput, solved: &IsolationOutput, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
        remarks::remarks(input, solved, to);
    }

    fn detail(_: &IsolationInput, solved: IsolationOutput, _: Work) -> Result<IsolationOutput, Refused> {
        Ok(solved)
    }

    fn working(input: &IsolationInput, output: &IsolationOutput) -> Vec<Step> {
        working::working(input, output)
    }

    fn cautions(input: &IsolationInput, output: &IsolationOutput) -> Vec<String> {
        view::cautions(input, output)
    }

    fn view(input: &IsolationInput, output: &IsolationOutput, judged: &Ledger) -> View {
        view::view(input, output, judged)
    }
}

/// The longest time from a reading to the controller.
pub const LATENCY: &str = "a latency";
/// The amplitude of the ripple at the channel's supply pin.
pub const RIPPLE: &str = "a ripple of its supply";
/// How far that supply moves.
pub const REGULATION: &str = "a regulation of its supply";
/// The mean of all edges at the channel's input; none where no edges are described.
pub const INJECTED: &str = "a mean of its edges";

const GIVES: &[Gives<IsolationInput>] = &[
    Gives { words: LATENCY, value: |input| injection::data(&input.data).latency_s },
    Gives { words: RIPPLE, value: |input| input.supply.ripple_pp_v.map(|pp| pp / 2.0) },
    Gives { words: REGULATION, value: |input| input.supply.regulation_v },
    Gives { words: INJECTED, value: injected },
];

fn injected(input: &IsolationInput) -> Option<f64> {
    let edges = input.common_mode.is_there();
    if edges { injection::injection(&input.common_mode, input.barrier.stressed()).mean_v } else { Some(0.0) }
}

fn solve(input: &IsolationInput, work: Work) -> Result<IsolationOutput, Refused> {
    let distances = distances::distances(input)?;
    let bus = input.describes_bus().then(|| bus::bus(input));
    let units = input.bus.units_in_parallel;
    let y = input.y.is_there().then(|| energy::y_capacitors(&input.y, units, input.barrier.pack_v, bus.as_ref()));
    let total = y.and_then(|y| y.total_farad);
    let monitored = bus.filter(|_| input.monitor.is_there());
    let isolator = input.isolator.is_there().then(|| isolator::ratings(input, &distances.stress));
    let injection = &input.common_mode;
    Ok(IsolationOutput {
        isolator,
        injection: injection.is_there().then(|| injection::injection(injection, distances.stress.working_v)),
        data: input.data.is_there().then(|| injection::data(&input.data)),
        supply: input.supply.is_there().then(|| supply::supply(&input.supply)),
        monitor: monitored.map(|bus| bus::monitor(input, &bus, total)),
        bus,
        y,
        measured: measured::measured(&input.two_measurement, work)?,
        stress: distances.stress,
        clearance: distances.clearance,
        crossings: distances.crossings,
        open_element: distances.open_element,
    })
}
