//! # Recorded profile
//!
//! What a recorded current is: charge out and in, energy, effective value, how long it was where, what it does to the
//! shunt element, and what a chain would have read of it. A profile that is built in is answered here; a file goes through
//! the same [`crate::profile`] in pieces.
//!
//! ```text
//! Formula    Q = ∫ I dt, out and in apart; I_rms = √(∫I² dt / t); E = ∫ U I dt; the others stand with their parts
//! Symbols    I current, discharge positive [A], U voltage [V], t time [s]
//! Valid      as recorded: what happened between two rows is held, or straight, as chosen
//! Source     definition of charge, effective value and energy
//! ```

pub mod built;
mod requirements;
mod view;

use serde_json::Value;

use crate::calculation::{Answer, Ask, Calculation, Depth, Meta, tell};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::profile::{Built, Profile, ProfileInput, ProfileOutput, Refusal};
use crate::quantity::ampere_hour;
use crate::report::{Step, View};
use crate::work::{Cost, Refused, Work};

/// What a built-in profile costs at most: its rows through element and chain, and a page of it.
const ROWS: u64 = 2_000;

/// The calculation.
#[derive(Debug)]
pub struct RecordedProfile;

impl Calculation for RecordedProfile {
    const META: Meta = Meta {
        slug: "charge-counting/profile",
        title: "Recorded profile",
        job: "What a recorded current carries, how long it is where, what it does to the shunt, and what a chain would have read of it.",
        short: "charge and reading of a record",
        sources: &[
            "Definition of charge, effective value and energy",
            "Fourier's law and Joule heat: one thermal node",
            "Fourier series of the rounding error; truncated moments of the normal distribution",
        ],
    };
    type Input = ProfileInput;
    type Solved = ProfileOutput;
    type Output = ProfileOutput;

    fn contradictions(input: &ProfileInput) -> Vec<FieldError> {
        input.contradictions()
    }

    fn cost(_: &ProfileInput, _: Depth, _: Work) -> Cost {
        Cost { units: 1_000, bytes: 1 << 10 }.times(ROWS)
    }

    fn solve(input: &ProfileInput, work: Work) -> Result<ProfileOutput, Refused> {
        let Some(pack) = built::pack(input.profile) else {
            return Err(Refused::Faults(vec![FieldError::contradiction(
                "/profile",
                "Nothing of a file is kept: choose it again and press “Send the file”, or send it as the body of the interface.",
                "a profile that is built in, or a file that is sent",
                Built::File.word(),
            )]));
        };
        let mut profile = Profile::new(input.clone());
        for piece in built::text(pack).as_bytes().chunks(2_048) {
            work.go_on()?;
            profile.push(piece);
        }
        profile.finish().map_err(|refusal| Refused::Faults(of_options(refusal)))
    }

    fn requirements(input: &ProfileInput, solved: &ProfileOutput, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
    }

    fn detail(_: &ProfileInput, solved: ProfileOutput, _: Work) -> Result<ProfileOutput, Refused> {
        Ok(solved)
    }

    fn working(_: &ProfileInput, result: &ProfileOutput) -> Vec<Step> {
        let source = "Definition of charge";
        let net = ampere_hour(result.net_ah);
        let mut steps = vec![Step::worked("Net discharge", "Q", "Q_out − Q_in", net, source, |p| {
            p.of(ampere_hour(result.discharge_ah)) - p.of(ampere_hour(result.charge_ah))
        })];
        if let Some(reading) = &result.reading {
            let read = ampere_hour(reading.read_ah);
            steps.push(Step::worked("What is read", "Q_r", "Q + E + W", read, "Definition of an error", |p| {
                p.of(net) + p.of(ampere_hour(reading.known_ah)) + p.of(ampere_hour(reading.drawn_ah))
            }));
        }
        steps
    }

    fn view(input: &ProfileInput, result: &ProfileOutput, _: &Ledger) -> View {
        view::view(input, result)
    }
}

/// The answer to a file; without an address, since nobody else has the file.
///
/// # Errors
/// The work was stopped.
pub fn answer(input: &ProfileInput, output: ProfileOutput, depth: Depth, work: Work) -> Result<Answer, Refused> {
    tell::<RecordedProfile>(input, output, Ask::to(depth), work)
}

/// Faults of a built-in profile: its text is our own, so that how it is read is what is wrong.
fn of_options(refusal: Refusal) -> Vec<FieldError> {
    let mut faults = refusal.faults;
    for fault in &mut faults {
        fault.code = "contradiction".into();
        if fault.field.starts_with("/file") {
            fault.field = "/text".into();
        }
    }
    faults
}

/// The options of a file: where nothing else is said, its profile is the file.
pub fn of_file(given: Option<&Value>) -> Value {
    let mut options = given.cloned().unwrap_or_else(|| Value::Object(serde_json::Map::new()));
    if let Some(map) = options.as_object_mut() {
        map.entry("profile").or_insert_with(|| Built::File.word().into());
    }
    options
}
