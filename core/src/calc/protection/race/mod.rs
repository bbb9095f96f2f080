//! # Reaction race
//!
//! After a short the current rises towards V/R within microseconds. The switch opens when the whole chain from the
//! threshold to the contacts has run; the fuse melts when enough I²t has passed. Who comes first must be able to break
//! what flows then, and at every fault that may occur somebody must come, in time for wiring and shunt.
//!
//! ```text
//! Formula    `physics::fault_loop`: current, threshold, let-through; clamp: opening; fuse: its points; strings: sharing; wiring: heating
//! Parts      these are the physics; region, fault, scan what verdicts rest on; requirements, remarks, usual; detail, working,
//!            view
//! Convention stages are summed as stated; the current rises unopposed until the switch opens; what is shown of the strongest
//!            fault counts let-through from zero current, and beside it from the current before the fault; current and
//!            energy at the opening the other way round, because the switch meets the real current
//! Valid      constant V, R and L: R rises with heating, iron saturates, cells sag after some milliseconds, and all of these
//!            weaken the fault; what the fuse is not told to hold for is not judged
//! Source     Kirchhoff's laws; IEC 60949 and IEC 60364-5-54 annex A for the wiring (constants from memory)
//! ```

mod clamp;
mod detail;
mod fault;
mod fuse;
pub mod given;
mod input;
mod inside;
mod joint;
mod link;
mod output;
mod region;
mod remarks;
mod requirements;
mod scan;
mod slips;
mod strings;
mod usual;
mod view;
mod wiring;
mod working;

use crate::calculation::{Calculation, Depth, Gives, Meta, Slip};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::quantity::{Unit, ampere, celsius, second};
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};

pub use clamp::Clamp;
pub use input::{
    Conductor, FaultSource, Fuse, FusePoint, Insulation, MeantFirst, RaceInput, ReactionStage, Strings, Switch, Wiring,
};
pub use output::{
    CoordinationPoint, NobodyInterval, NobodyReason, Opener, RaceFault, RaceFuse, RaceLink, RaceOutput, RacePoint,
    RaceStage, RaceWiring,
};
pub use strings::{RaceStrings, largest_share};

use fault::Fault;
use region::{Place, Region};

/// The calculation.
#[derive(Debug)]
pub struct Race;

/// What its verdicts rest on.
#[derive(Debug)]
pub struct Solved {
    region: Region,
    /// The strongest fault from the current before that is given.
    strongest: Fault,
    /// The strongest fault from every current before, with the least and the largest inductance.
    strongest_all: Vec<Fault>,
    weakest: Fault,
    scan: scan::Scan,
    wiring: Option<RaceWiring>,
    /// Current at the latest interruption of the strongest fault, A.
    opening_a: Option<f64>,
    clamp: Option<Clamp>,
    link: Option<RaceLink>,
    /// What fails for some inductance of one string or unit alone and holds for another, where that is not told.
    open: Vec<&'static str>,
}

impl Solved {
    /// Over every inductance that one of several strings or units may have alone.
    fn of(input: &RaceInput, work: Work) -> Result<Self, Refused> {
        let region = Region::of(input);
        let (low, high) = region.range_a();
        let at =
            |prospective_a, slow, before_a| region.run(input, Place { prospective_a, slow, before_a, inside: false });
        let strongest = at(high, 0.0, input.before_a);
        let strongest_all =
            [0.0, 1.0].into_iter().flat_map(|slow| region.before_a.iter().map(move |before| at(high, slow, *before)));
        let strongest_all = strongest_all.collect();
        let weakest = at(low, 0.0, input.before_a);
        let scan = scan::scan(input, &region, work)?;
        let wiring = wiring::wiring(input, scan.let_through.value());
        let opening_a = strongest.switch_max_s.map(|time| strongest.seen.high.current_a(input.before_a, time));
        let clamp = strongest.clamp(input);
        let link = link::link(input, &region, work)?;
        let open = Vec::new();
        Ok(Self { region, strongest, strongest_all, weakest, scan, wiring, opening_a, clamp, link, open })
    }

    /// Who opens first at the strongest fault, whatever the current before.
    fn opens_first(&self) -> Opener {
        let all = self.strongest_all.iter().map(|fault| fault.opener);
        all.reduce(|one, two| match (one, two) {
            (one, two) if one == two => one,
            (Opener::Nothing | Opener::Unknown, _) | (_, Opener::Nothing | Opener::Unknown) => Opener::Unknown,
            _ => Opener::Either,
        })
        .unwrap_or(Opener::Unknown)
    }
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
            "First law: a fuse that loses heat needs no less I²t the longer it takes",
        ],
    };
    type Input = RaceInput;
    type Solved = Solved;
    type Output = RaceOutput;
    const SLIPS: &'static [Slip<Self::Input>] = slips::SLIPS;
    const GIVES: &'static [Gives<Self::Input>] = given::GIVES;

    fn contradictions(input: &RaceInput) -> Vec<FieldError> {
        contradictions(input)
    }

    fn cost(input: &RaceInput, _: Depth, _: Work) -> Cost {
        // Each range is searched inside the others; several strings or units are asked alone and together, whatever the ranges:
        // a fit to the times of 140 random races.
        let source = &input.source;
        let ranges = [
            source.voltage_min_v.is_some() || source.pack_resistance_max_ohm.is_some(),
            source.external_resistance_max_ohm.is_some(),
            source.inductance_max_henry.is_some(),
            input.before_min_a.is_some(),
        ];
        let ranges = ranges.into_iter().filter(|given| *given).count();
        // What an inductance that is not told leaves open is solved for both its ends as well.
        let own = if source.own_inductance_henry.is_some() { 1 } else { 3 };
        let units = if input.feeding() > 0 {
            6_500_000 * (2 + ranges as u64) * own
        } else {
            300_000 * [1, 3, 9, 27, 81][ranges]
        };
        Cost::SMALL.and(Cost { units, bytes: 0 })
    }

    fn solve(input: &RaceInput, work: Work) -> Result<Solved, Refused> {
        let mut solved = Solved::of(input, work)?;
        let source = &input.source;
        if input.feeding() == 0 || source.own_inductance_henry.is_some() {
            return Ok(solved);
        }
        let failing = failing(input, &solved);
        if failing.is_empty() {
            return Ok(solved);
        }
        for own_henry in input.own_henry(source.inductance_max_henry.unwrap_or(source.inductance_henry)) {
            let mut told = input.clone();
            told.source.own_inductance_henry = Some(own_henry);
            let fails = self::failing(&told, &Solved::of(&told, work)?);
            solved.open.extend(failing.iter().filter(|id| !fails.contains(id)));
        }
        Ok(solved)
    }

    fn requirements(input: &RaceInput, solved: &Solved, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
        remarks::remarks(input, solved, to);
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

/// The requirements that fail.
fn failing(input: &RaceInput, solved: &Solved) -> Vec<&'static str> {
    let mut rows = Ledger::numbers();
    requirements::requirements(input, solved, &mut rows);
    rows.rows().iter().filter(|row| row.fails()).map(|row| row.id).collect()
}

fn contradictions(input: &RaceInput) -> Vec<FieldError> {
    let source = &input.source;
    let (volt, ohm, a2s) = (Unit::Volt, Unit::Ohm, Unit::AmpereSquaredSecond);
    let mut faults = Vec::new();
    let message = "The lowest voltage lies above the one at full charge.";
    for (at, given) in [("/source/voltage_min_v", source.voltage_min_v), ("/source/pack_min_v", source.pack_min_v)] {
        faults.extend(FieldError::above(at, message, given, source.voltage_v, volt));
    }
    let message = "The largest pack resistance lies below the smallest.";
    let (given, least) = (source.pack_resistance_max_ohm, source.pack_resistance_ohm);
    faults.extend(FieldError::below("/source/pack_resistance_max_ohm", message, given, least, ohm));
    let message = "The weakest fault has less resistance than the strongest.";
    let (given, least) = (source.external_resistance_max_ohm, source.external_resistance_ohm);
    faults.extend(FieldError::below("/source/external_resistance_max_ohm", message, given, least, ohm));
    let message = "The largest inductance lies below the smallest.";
    let (given, least) = (source.inductance_max_henry, source.inductance_henry);
    faults.extend(FieldError::below("/source/inductance_max_henry", message, given, least, Unit::Henry));
    let message = "One string or unit alone has more than the whole loop leaves it.";
    let most = f64::from(input.strings.count) * source.inductance_max_henry.unwrap_or(least);
    let given = source.own_inductance_henry.filter(|_| input.feeding() > 0);
    faults.extend(FieldError::above("/source/own_inductance_henry", message, given, most, Unit::Henry));
    let message = "The lowest current before the fault lies above the one given.";
    faults.extend(FieldError::above("/before_min_a", message, input.before_min_a, input.before_a, Unit::Ampere));
    let message = "The total clearing value lies below the pre-arc value, which is a part of it.";
    let (given, least) = (input.fuse.clearing_a2s, input.fuse.prearc_a2s);
    faults.extend(FieldError::below("/fuse/clearing_a2s", message, given, least, a2s));
    faults.extend(points(&input.fuse.points));
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

/// What cannot be points of one fuse.
fn points(points: &[FusePoint]) -> Vec<FieldError> {
    let mut faults = Vec::new();
    if points.len() == 1 {
        faults.push(FieldError::contradiction(
            "/fuse/points",
            "One point bounds nothing on either side of it.",
            "none, or two points and more",
            1,
        ));
    }
    for (row, pair) in points.windows(2).enumerate() {
        let field = format!("/fuse/points/{}/current_a", row + 1);
        let (given, least) = (pair[1].current_a, pair[0].current_a);
        if given <= least {
            let (message, accepted) = ("The points do not rise in current.", format!("above {}", ampere(least)));
            faults.push(FieldError::contradiction(&field, message, accepted, ampere(given)));
        }
    }
    for (row, point) in points.iter().enumerate() {
        let field = format!("/fuse/points/{row}/clearing_s");
        let message = "The total clearing time lies below the pre-arcing time, which is a part of it.";
        faults.extend(FieldError::below(&field, message, point.clearing_s, point.pre_arcing_s, Unit::Second));
    }
    if let Some((row, least)) = fuse::rising(points) {
        let most = least * fuse::ROUNDING / (points[row].current_a * points[row].current_a);
        faults.push(FieldError::contradiction(
            &format!("/fuse/points/{row}/pre_arcing_s"),
            "The pre-arcing I²t rises with the current; a fuse that has less time to lose heat needs no more.",
            format!("at or below {}", second(most)),
            second(points[row].pre_arcing_s),
        ));
    }
    faults
}
