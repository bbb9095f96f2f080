//! # Temperature channel
//!
//! A thermistor or a platinum sensor turns temperature into resistance, a divider, an oscillator or a current turns that
//! into a code. The error is judged in kelvin over the whole range, because it grows away from 25 °C at both ends, and
//! heat, lag and the way to the cell are often larger than the electronics.
//!
//! ```text
//! Formula    dT = (T²/B)(tR + tf + tB B |1/T − 1/298.15 K|) + INL · K per code + leak; K per code = 1/(2ᴺ m (1 − m)|α|)
//! Symbols    T [K], B [K], tR, tB, tf tolerances of R25, beta and fixed resistor, m divider ratio, α [1/K]
//! Parts      curve and platinum the sensor, read_out the chain, budget the model of a reading, state what comes and goes,
//!            judged the worst temperature and state, solve the range,
//!            read_back a temperature from a resistance, a voltage or a code, resistor the choice of the fixed resistor, wire open and
//!            shorted sensors; fit and table are calculations of their own
//! Judged     over the requirement's range, in every state: self-heating from switch-on, lag either way, gradient and leakage
//!            with and without, read-out at its own ambient, end of life
//! Heat       self-heating at its equilibrium, lag τ dT/dt, cell to sensor Rth P
//! Valid      one time constant, ramps longer than some of them; beta within some tens of kelvin of its pair
//! Source     IEC 60539-1 (beta, from memory), Steinhart and Hart 1968, IEC 60751, JCGM 100:2008, JCGM 101:2008
//! ```

pub mod budget;
mod chart;
pub mod curve;
pub mod fit;
pub mod input;
mod judged;
mod output;
mod place;
pub mod platinum;
mod read_back;
pub mod read_out;
mod requirements;
pub mod resistor;
mod slips;
pub mod solve;
mod state;
pub mod steinhart;
pub mod table;
mod view;
mod wire;
mod working;

use std::cell::OnceCell;

use crate::calculation::{AsChannel, Calculation, Depth, Gives, Meta, Slip};
use crate::channel::{Channel, JudgedBy};
use crate::field::FieldError;
use crate::judge::Ledger;
use crate::quantity::{Unit, say};
use crate::report::{Step, View};
use crate::work::{Cost, Halt, Refused, Work};

use curve::{Curve, PointCurve};
use input::{CurveKind, Platinum, Points, Side, SteinhartHartInput};
pub use input::{ReadOutKind, ThermistorInput};
use judged::{Judging, STEPS};
pub use output::{
    FixedResistor, ResistorChoice, ResolutionPoint, RowError, SlowFault, ThermistorOutput, ThermistorPoint,
    ThermistorRange, ThermistorRow, WireFaults,
};
use place::temperatures;
pub use read_back::ReadBack;
use solve::Solved;
use steinhart::SteinhartHart;

/// The resistances that a sensor may have over its range, Ω.
const OHM_RANGE: [f64; 2] = [1e-2, 1e10];

/// What is given on, in words: the resistance of a thermistor that is described by its beta.
pub const R25: &str = "the resistance at 25 °C of a beta curve";
/// The same: its beta.
pub const BETA: &str = "the beta of a beta curve";

/// What faults are inserted into: the fixed resistor of a divider.
pub const FIXED: &str = "the fixed resistor of a divider";
/// 1 of a sensor above it, 0 of one below.
pub const ABOVE: &str = "the place of the sensor in a divider";
/// The part of a reference's drift that is read: none of a ratiometric read-out.
pub const READS_REFERENCE: &str = "the part of a drift of the reference that a divider reads";
/// The largest noise of a single reading over the stated range, K.
pub const READING: &str = "the noise of its reading";

/// Temperatures of the stated range at which the noise is looked for.
const NOISY: u32 = 16;

/// The calculation.
#[derive(Debug)]
pub struct Thermistor;

impl Calculation for Thermistor {
    const META: Meta = Meta {
        slug: "thermistor",
        title: "Temperature channel",
        job: "Thermistor or platinum sensor with its read-out: error in kelvin over the range, resolution, heat, lag and broken wires.",
        short: "kelvins, codes, wires",
        sources: &[
            "IEC 60539-1: definition of beta (from memory)",
            "Steinhart and Hart, Deep-Sea Research 15 (1968) 497",
            "IEC 60751:2022: platinum polynomial and tolerance classes",
            "JCGM 100:2008 and JCGM 101:2008 (budget)",
            "First-order tolerance band, open and short thresholds: common practice, no source",
        ],
    };
    type Input = ThermistorInput;
    type Solved = Solved;
    type Output = ThermistorOutput;
    const GIVES: &'static [Gives<Self::Input>] = &[
        Gives { words: R25, value: |input| (input.curve == CurveKind::Beta).then_some(input.beta.r25_ohm) },
        Gives { words: BETA, value: |input| (input.curve == CurveKind::Beta).then_some(input.beta.beta_k) },
        Gives { words: FIXED, value: |input| input.in_divider(input.divider.fixed_ohm) },
        Gives { words: ABOVE, value: |input| input.in_divider(f64::from(u8::from(input.divider.side == Side::High))) },
        Gives {
            words: READS_REFERENCE,
            value: |input| input.in_divider(f64::from(u8::from(!input.divider.ratiometric))),
        },
        Gives { words: READING, value: ThermistorInput::reading_noise_k },
    ];
    const SLIPS: &'static [Slip<Self::Input>] = slips::SLIPS;
    const CHANNEL: Option<AsChannel<ThermistorInput>> = Some(|input| Box::new(Against::the_sensor(input)));

    fn contradictions(input: &ThermistorInput) -> Vec<FieldError> {
        input.ready_curve().map_or_else(|faults| faults, |curve| contradictions(input, &curve))
    }

    fn cost(input: &ThermistorInput, depth: Depth, work: Work) -> Cost {
        // Rows over the whole range, and the search for the worst.
        let searched = Cost::SMALL.again(14).and(Cost::rows(input.points.rows.len()));
        if depth == Depth::Requirements && input.requirement.judged_by != JudgedBy::Probability95 {
            return searched;
        }
        let trials = u64::from(work.trials(input.experiment.trials));
        // A run holds its outcomes and puts them into order.
        // Half of the sources are of the other read-outs and draw nothing.
        let run = Cost { units: trials.saturating_mul(budget::SOURCES as u64) / 2, bytes: 0 };
        let held = Cost { units: 0, bytes: trials.saturating_mul(16) };
        // The worst temperature is looked at as a point, and near it when trials judge.
        run.times(input.points_degc.len() as u64 + 10).and(held).and(searched)
    }

    fn solve(input: &ThermistorInput, work: Work) -> Result<Solved, Refused> {
        solve::solve(input, work)
    }

    fn requirements(input: &ThermistorInput, solved: &Solved, to: &mut Ledger) {
        requirements::requirements(input, solved, to);
    }

    fn detail(input: &ThermistorInput, solved: Solved, work: Work) -> Result<ThermistorOutput, Refused> {
        solve::detail(input, solved, work)
    }

    fn working(input: &ThermistorInput, result: &ThermistorOutput) -> Vec<Step> {
        working::working(input, result)
    }

    fn cautions(_: &ThermistorInput, result: &ThermistorOutput) -> Vec<String> {
        view::cautions(result)
    }

    fn view(input: &ThermistorInput, result: &ThermistorOutput, judged: &Ledger) -> View {
        view::view(input, result, judged)
    }
}

impl ThermistorInput {
    /// A value of the divider, where that is how the sensor is read.
    fn in_divider(&self, value: f64) -> Option<f64> {
        (self.read_out == ReadOutKind::Divider).then_some(value)
    }

    /// The largest noise of a single reading over the stated range, K; nothing where the read-out has no voltage.
    fn reading_noise_k(&self) -> Option<f64> {
        let (curve, step_v) = (self.ready_curve().ok()?, self.read_out().step_v()?);
        let degc = |step: u32| self.min_degc + (self.max_degc - self.min_degc) * f64::from(step) / f64::from(NOISY);
        let noise = |step: u32| Some(self.converter.noise_v / step_v * self.step_k(&self.place(&curve, degc(step))?));
        (0..=NOISY).map(noise).try_fold(0.0, |most: f64, one| Some(most.max(one?)))
    }
}

/// A temperature channel as other parts ask it: by worst case, and against the sensor's place, because lag and gradient are
/// their own inputs.
struct Against {
    input: ThermistorInput,
    /// What every part reads of the stated range, once somebody asked.
    ends: OnceCell<Option<[f64; 2]>>,
}

impl Against {
    fn the_sensor(input: &ThermistorInput) -> Self {
        let mut input = input.clone();
        (input.requirement.with_lag_and_gradient, input.requirement.judged_by) = (false, JudgedBy::WorstCase);
        Self { input, ends: OnceCell::new() }
    }
}

impl Channel for Against {
    fn errors(&self, at: &[f64], work: Work) -> Result<Vec<Option<f64>>, Halt> {
        let Ok(curve) = self.input.ready_curve() else { return Ok(vec![None; at.len()]) };
        let judging = Judging { input: &self.input, curve: &curve };
        let mut errors = Vec::with_capacity(at.len());
        for &degc in at {
            work.go_on()?;
            let place = self.input.place(&curve, degc).filter(|_| off_curve(degc, &curve, "").is_none());
            errors.push(match place {
                Some(place) => judging.at(&place, work)?.error_k(),
                None => None,
            });
        }
        Ok(errors)
    }

    fn all_missing(&self) -> Vec<&'static str> {
        let curve = self.input.ready_curve().ok();
        curve.and_then(|curve| self.input.missing_of_range(&curve)).into_iter().collect()
    }

    fn full_at(&self) -> Option<f64> {
        self.ends().map(|[_, hot]| hot)
    }

    fn reads_from(&self) -> Option<f64> {
        self.ends().map(|[cold, _]| cold)
    }
}

impl Against {
    /// What every part reads of the stated range; nothing where nothing of it is read.
    fn ends(&self) -> Option<[f64; 2]> {
        *self.ends.get_or_init(|| self.read())
    }

    fn read(&self) -> Option<[f64; 2]> {
        let curve = self.input.ready_curve().ok()?;
        let judging = Judging { input: &self.input, curve: &curve };
        let range = [self.input.min_degc, self.input.max_degc];
        let ends = judging.ends(&judging.places(range, Work::FREE).ok()?);
        let read = [ends.cold_degc.unwrap_or(range[0]), ends.hot_degc.unwrap_or(range[1])];
        (!ends.nothing).then_some(read)
    }
}

impl ThermistorInput {
    /// The chosen curve, ready to use.
    pub fn ready_curve(&self) -> Result<Curve, Vec<FieldError>> {
        match self.curve {
            CurveKind::Beta => Ok(Curve::Beta { r25_ohm: self.beta.r25_ohm, beta_k: self.beta.beta_k }),
            CurveKind::SteinhartHart => Ok(self.steinhart_hart.curve()),
            CurveKind::Points => self.points.curve(),
            CurveKind::Platinum => Ok(self.platinum.curve()),
        }
    }
}

impl SteinhartHartInput {
    /// The curve.
    pub const fn curve(&self) -> Curve {
        Curve::SteinhartHart(SteinhartHart { a: self.a, b: self.b, c: self.c })
    }
}

impl Platinum {
    /// The curve.
    pub const fn curve(&self) -> Curve {
        Curve::Platinum { r0_ohm: self.nominal.ohm() }
    }
}

impl Points {
    /// The curve through the table, or the lines that are wrong.
    pub fn curve(&self) -> Result<Curve, Vec<FieldError>> {
        let pairs: Vec<[f64; 2]> = self.rows.iter().map(|row| [row.degc, row.resistance_ohm]).collect();
        let faults = point_faults(&pairs, "/points/rows", 3);
        if !faults.is_empty() {
            return Err(faults);
        }
        PointCurve::new(&pairs).map(Curve::Points).ok_or_else(|| {
            vec![FieldError::contradiction(
                "/points/rows",
                "Between two of these lines the curve turns back: a number is off, or two lines lie too close together.",
                "a table that falls smoothly",
                self.rows.len(),
            )]
        })
    }
}

/// What is wrong with pairs of °C and Ω that must fall with temperature: too few, one temperature twice, a line that does
/// not fall.
pub fn point_faults(pairs: &[[f64; 2]], at: &str, least: usize) -> Vec<FieldError> {
    if pairs.len() < least {
        return vec![FieldError::contradiction(
            at,
            format!("{least} points are needed; {} were given.", pairs.len()),
            format!("at least {least} points"),
            pairs.len(),
        )];
    }
    let mut order: Vec<usize> = (0..pairs.len()).collect();
    order.sort_by(|a, b| pairs[*a][0].total_cmp(&pairs[*b][0]).then(a.cmp(b)));
    let mut faults = Vec::new();
    for step in order.windows(2) {
        let (before, after) = (step[0], step[1]);
        let (cold, warm) = (pairs[before], pairs[after]);
        if cold[0] == warm[0] {
            faults.push(FieldError::contradiction(
                &format!("{at}/{after}/degc"),
                format!("{} stands in row {} already; give its mean once.", say(warm[0], Unit::Celsius), before + 1),
                "every temperature once",
                say(warm[0], Unit::Celsius),
            ));
        } else if cold[1] <= warm[1] {
            faults.push(FieldError::contradiction(
                &format!("{at}/{after}/resistance_ohm"),
                format!(
                    "{} at {} is not below the {} at {} of row {}: the resistance of a thermistor falls when it gets warmer.",
                    say(warm[1], Unit::Ohm),
                    say(warm[0], Unit::Celsius),
                    say(cold[1], Unit::Ohm),
                    say(cold[0], Unit::Celsius),
                    before + 1
                ),
                format!("below {}", say(cold[1], Unit::Ohm)),
                say(warm[1], Unit::Ohm),
            ));
        }
    }
    faults
}

fn contradictions(input: &ThermistorInput, curve: &Curve) -> Vec<FieldError> {
    let mut faults = range_faults(input.min_degc, input.max_degc, curve);
    if !faults.is_empty() {
        return faults;
    }
    for (index, degc) in input.points_degc.iter().enumerate() {
        faults.extend(off_curve(*degc, curve, &format!("/points_degc/{index}")));
    }
    if let Some(degc) = input.centre_degc {
        faults.extend(off_curve(degc, curve, "/centre_degc"));
    }
    faults.extend(requirement_faults(input, curve));
    let [coldest, hottest] = input.electronics_degc();
    if hottest < coldest {
        let at = if input.electronics_max_degc.is_some() { "/electronics_max_degc" } else { "/electronics_min_degc" };
        let given = if input.electronics_max_degc.is_some() { hottest } else { coldest };
        faults.push(FieldError::contradiction(
            at,
            format!(
                "The hottest electronics, {}, lie below the coldest, {}.",
                say(hottest, Unit::Celsius),
                say(coldest, Unit::Celsius)
            ),
            "a coldest below the hottest",
            say(given, Unit::Celsius),
        ));
    }
    faults
}

/// A range of the requirement that falls, or leaves the curve.
fn requirement_faults(input: &ThermistorInput, curve: &Curve) -> Vec<FieldError> {
    let with = &input.requirement;
    let [from, to] = input.judged_degc();
    if to < from {
        let (at, given) = if with.to_degc.is_some() { ("to_degc", to) } else { ("from_degc", from) };
        return vec![FieldError::contradiction(
            &format!("/requirement/{at}"),
            format!(
                "The requirement counts from {} to {}: nothing lies between.",
                say(from, Unit::Celsius),
                say(to, Unit::Celsius)
            ),
            "from below to",
            say(given, Unit::Celsius),
        )];
    }
    let ends = [(with.from_degc, "/requirement/from_degc"), (with.to_degc, "/requirement/to_degc")];
    let mut faults: Vec<FieldError> = ends.into_iter().filter_map(|(degc, at)| off_curve(degc?, curve, at)).collect();
    if faults.is_empty() && (with.from_degc.is_some() || with.to_degc.is_some()) {
        let at = if with.to_degc.is_some() { ends[1].1 } else { ends[0].1 };
        faults.extend(temperatures([from, to], STEPS).filter_map(|degc| off_curve(degc, curve, at)).take(1));
    }
    faults
}

/// A range that falls, or leaves the curve.
pub fn range_faults(min_degc: f64, max_degc: f64, curve: &Curve) -> Vec<FieldError> {
    if max_degc - min_degc < 1.0 {
        return vec![FieldError::contradiction(
            "/max_degc",
            format!(
                "The hottest temperature must lie at least 1 K above the coldest, {}.",
                say(min_degc, Unit::Celsius)
            ),
            format!("at or above {}", say(min_degc + 1.0, Unit::Celsius)),
            say(max_degc, Unit::Celsius),
        )];
    }
    // Between the ends too: a cubic may turn where both ends still have a resistance.
    let inside = temperatures([min_degc, max_degc], STEPS);
    let mut faults: Vec<FieldError> = [(min_degc, "/min_degc"), (max_degc, "/max_degc")]
        .into_iter()
        .filter_map(|(degc, at)| off_curve(degc, curve, at))
        .collect();
    if faults.is_empty() {
        faults.extend(inside.filter_map(|degc| off_curve(degc, curve, "/max_degc")).take(1));
    }
    faults
}

/// A temperature at which the curve gives no resistance that a sensor can have.
fn off_curve(degc: f64, curve: &Curve, at: &str) -> Option<FieldError> {
    let [least, most] = OHM_RANGE;
    if let Curve::Platinum { .. } = curve {
        let [low, high] = platinum::RANGE_DEGC;
        return (degc < low || degc > high).then(|| {
            FieldError::contradiction(
                at,
                format!("IEC 60751 gives no resistance at {}.", say(degc, Unit::Celsius)),
                format!("between {} and {}", say(low, Unit::Celsius), say(high, Unit::Celsius)),
                say(degc, Unit::Celsius),
            )
        });
    }
    let ohm = curve.ohm(degc);
    if ohm.is_some_and(|ohm| least <= ohm && ohm <= most) && curve.alpha(degc).is_some() {
        return None;
    }
    let gives = ohm.map_or_else(|| "no resistance".to_owned(), |ohm| say(ohm, Unit::Ohm));
    Some(FieldError::contradiction(
        at,
        format!(
            "At {} this curve gives {gives}: a thermistor has {} to {}.",
            say(degc, Unit::Celsius),
            say(least, Unit::Ohm),
            say(most, Unit::Ohm)
        ),
        "a temperature at which the curve has a resistance, or a curve that holds there",
        say(degc, Unit::Celsius),
    ))
}
