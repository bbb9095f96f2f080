//! # The range and the points of interest
//!
//! ```text
//! Self-heating  the smallest x with x = D P(R(T + x))/δ: the equilibrium, not the first estimate P/δ
//! Straight      error of a scale that is a straight line between the ends of the range, in kelvin
//! Lag           τ dT/dt of a ramp that has lasted some time constants; cell to sensor Rth P
//! Source        energy balance of one node; first-order lag in closed form
//! ```

use std::cell::OnceCell;

use crate::channel::JudgedBy;
use crate::channel::budget::largest;
use crate::judge::{Judged, THIN_FROM_PERCENT};
use crate::propagation::{self, Assessment, Quick, Request, defined};
use crate::quantity::Unit;
use crate::work::{Halt, Refused, Work};

use super::budget::{Heat, ReadingModel, SOURCES};
use super::curve::Curve;
use super::input::{ReadOutKind, ThermistorInput};
use super::output::{RowError, ThermistorOutput, ThermistorPoint, ThermistorRow, WireFaults};
use super::place::{Place, Straight, temperatures};
use super::read_back::read_back;
use super::{resistor, wire};

/// Rows over the range.
const ROWS: u32 = 55;
/// Steps of the search for the equilibrium of the self-heating.
const HEAT_STEPS: u32 = 400;
/// Above this rise nothing is a sensor any more, K.
const MOST_HEAT_K: f64 = 400.0;

impl ThermistorInput {
    /// The sensor at a temperature; none where the curve says nothing.
    pub fn place(&self, curve: &Curve, degc: f64) -> Option<Place> {
        let ohm = curve.ohm(degc)?;
        let alpha = curve.alpha(degc)?;
        let rise = self.self_heating_k(curve, degc);
        let heat = Heat {
            self_heating_k: rise.unwrap_or(0.0),
            lag_k: self.lag_k(),
            gradient_k: self.gradient_k(),
            delay_k: self.delay_k(curve, degc, ohm),
        };
        Some(Place { degc, ohm, alpha, heat, settles: rise.is_some() })
    }

    /// How far the sensor lags behind the fastest ramp, K.
    pub fn lag_k(&self) -> f64 {
        self.body.time_constant_s * self.body.ramp_k_per_s
    }

    /// How much the cell is warmer than the sensor's place, K.
    pub fn gradient_k(&self) -> f64 {
        self.cell.thermal_resistance_k_per_w * self.cell.heat_flow_w
    }

    /// The equilibrium of the self-heating, K; none when there is none below 400 K.
    pub fn self_heating_k(&self, curve: &Curve, degc: f64) -> Option<f64> {
        let read_out = self.read_out();
        let scale = self.body.duty_percent / 100.0 / self.body.dissipation_w_per_k;
        let excess = |rise: f64| curve.ohm(degc + rise).map(|ohm| rise - scale * read_out.power_w(ohm));
        // The first change of sign is the equilibrium that is reached from cold; it is looked for on a scale that is fine
        // where the rise is small.
        if excess(0.0)? >= 0.0 {
            return Some(0.0);
        }
        let mut low = 0.0;
        for step in 1..=HEAT_STEPS {
            let high = MOST_HEAT_K * (f64::from(step) / f64::from(HEAT_STEPS)).powi(3);
            if excess(high)? >= 0.0 {
                let mut top = high;
                for _ in 0..60 {
                    let middle = 0.5 * (low + top);
                    if excess(middle)? < 0.0 {
                        low = middle;
                    } else {
                        top = middle;
                    }
                }
                return Some(0.5 * (low + top));
            }
            low = high;
        }
        None
    }

    /// The model of a reading at a place.
    pub fn model<'a>(&'a self, curve: &'a Curve, place: &Place) -> ReadingModel<'a> {
        ReadingModel {
            curve,
            read_out: self.read_out(),
            degc: place.degc,
            ohm: place.ohm,
            exponent: self.exponent(place.degc),
            delay_s: self.uncorrected_s(),
            delay_k: place.heat.delay_k,
        }
    }

    /// Worst case and trade sums of a reading; none where a limit reaches the end of the read-out.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn quick(&self, curve: &Curve, place: &Place, work: Work) -> Result<Option<Quick>, Halt> {
        let sources = self.sources(place.degc, place.heat);
        defined(propagation::quick(&self.model(curve, place), &sources, true, work))
    }

    /// Every contribution to the error of a reading, and the trials when they are asked for.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn assess(
        &self,
        curve: &Curve,
        place: &Place,
        trials: Option<u32>,
        work: Work,
    ) -> Result<Option<Assessment>, Halt> {
        let request = Request { trials, seed: u64::from(self.experiment.seed), ..Request::default() };
        let sources = self.sources(place.degc, place.heat);
        defined(propagation::assess(&self.model(curve, place), &sources, None, &request, work))
    }

    /// One code in kelvin.
    pub fn step_k(&self, place: &Place) -> f64 {
        1.0 / (self.read_out().code_per_log(place.ohm) * place.alpha).abs()
    }
}

/// The straight line between the codes of the range's ends.
fn straight(input: &ThermistorInput, curve: &Curve) -> Straight {
    let read_out = input.read_out();
    match (curve.ohm(input.min_degc), curve.ohm(input.max_degc)) {
        (Some(cold), Some(hot)) => {
            Straight::between([input.min_degc, read_out.code(cold)], [input.max_degc, read_out.code(hot)])
        }
        _ => Straight::between([0.0, 0.0], [1.0, 1.0]),
    }
}

/// The numbers that the requirements rest on.
#[derive(Debug)]
pub struct Solved {
    /// The sensor's curve.
    pub curve: Curve,
    /// The sensor over the range.
    pub places: Vec<Place>,
    /// The points of interest.
    pub points: Vec<Reading>,
    /// Open and shorted sensor.
    pub wire: WireFaults,
    /// The rows of the range: remarks and the whole result ask for them, verdicts do not.
    rows: OnceCell<Vec<ThermistorRow>>,
}

/// The error of a reading at a point of interest.
#[derive(Debug)]
pub struct Reading {
    /// The sensor there.
    pub place: Place,
    /// Worst case and trade sums.
    pub quick: Option<Quick>,
    /// With trials, when they judge.
    trials: Option<Assessment>,
    /// The error by the chosen method, K.
    pub judged_k: Option<f64>,
}

impl Reading {
    fn new(input: &ThermistorInput, curve: &Curve, place: Place, work: Work) -> Result<Self, Halt> {
        let quick = input.quick(curve, &place, work)?;
        let by = input.requirement.judged_by;
        let trials = if by == JudgedBy::Probability95 {
            input.assess(curve, &place, Some(input.experiment.trials), work)?
        } else {
            None
        };
        let judged_k = match by {
            JudgedBy::WorstCase => quick.map(|quick| largest(quick.low, quick.high)),
            JudgedBy::RootSumSquare => quick.map(|quick| quick.root_sum_square),
            JudgedBy::Probability95 => trials
                .as_ref()
                .and_then(|done| done.monte_carlo.as_ref())
                .map(|run| largest(run.p95.symmetric.low, run.p95.symmetric.high)),
        };
        Ok(Self { place, quick, trials, judged_k })
    }

    /// Every contribution to its error.
    pub fn contributions(&self, input: &ThermistorInput, curve: &Curve) -> Option<Assessment> {
        // Without trials it is over at once.
        self.trials.clone().or_else(|| input.assess(curve, &self.place, None, Work::FREE).ok().flatten())
    }

    /// The requirement of this point.
    pub fn requirement(&self, allowed_k: Option<f64>) -> Judged {
        Judged::at_most("thermistor.error", "/requirement/allowed_k", Unit::Kelvin, self.judged_k, allowed_k)
            .at(self.place.degc)
    }
}

impl Solved {
    /// The range, evenly spaced.
    pub fn rows(&self, input: &ThermistorInput) -> &[ThermistorRow] {
        self.rows.get_or_init(|| rows(input, &self.curve, &self.places, Work::FREE).unwrap_or_default())
    }
}

fn rows(input: &ThermistorInput, curve: &Curve, places: &[Place], work: Work) -> Result<Vec<ThermistorRow>, Halt> {
    let straight = straight(input, curve);
    let one = |place| Ok(row(input, curve, place, straight, input.quick(curve, place, work)?));
    places.iter().map(one).collect()
}

/// Works out what requirements rest on.
///
/// # Errors
/// The curve contradicts itself, or the work was stopped.
pub fn solve(input: &ThermistorInput, work: Work) -> Result<Solved, Refused> {
    let curve = input.ready_curve()?;
    let mut places = Vec::new();
    for degc in temperatures(input, ROWS) {
        work.go_on()?;
        places.extend(input.place(&curve, degc));
    }
    let mut points = Vec::with_capacity(input.points_degc.len());
    for degc in &input.points_degc {
        work.go_on()?;
        if let Some(place) = input.place(&curve, *degc) {
            points.push(Reading::new(input, &curve, place, work)?);
        }
    }
    Ok(Solved { wire: wire::faults(input, &curve), places, points, curve, rows: OnceCell::new() })
}

/// Works out the rest.
///
/// # Errors
/// The work was stopped.
pub fn detail(input: &ThermistorInput, solved: Solved, work: Work) -> Result<ThermistorOutput, Refused> {
    let Solved { curve, places, points: readings, wire, rows: read } = solved;
    let rows = match read.into_inner() {
        Some(rows) => rows,
        None => rows(input, &curve, &places, work)?,
    };
    let straight = straight(input, &curve);
    let mut points = Vec::with_capacity(readings.len());
    for reading in readings {
        work.go_on()?;
        points.push(point(input, &curve, reading, straight, work)?);
    }
    let (lag_k, gradient_k) = (input.lag_k(), input.gradient_k());
    // When lag and gradient are part of the error already, they are not counted twice.
    let apart = if input.requirement.with_lag_and_gradient { 0.0 } else { lag_k + gradient_k };
    let errors = points.iter().filter_map(|point| point.at.error.as_ref());
    let hidden_k = errors.map(|error| apart - error.worst_case_low_k).max_by(f64::total_cmp);
    let divides = input.read_out == ReadOutKind::Divider;
    Ok(ThermistorOutput {
        lag_k,
        gradient_k,
        hidden_k,
        fixed_resistor: divides.then(|| resistor::choices(input, &curve, &places)).flatten(),
        wire,
        read_back: read_back(input, &curve),
        points,
        rows,
    })
}

fn row_error(input: &ThermistorInput, curve: &Curve, place: &Place, quick: &Quick) -> RowError {
    let sources = input.sources(place.degc, place.heat);
    // First-order parts are taken where nothing deviates, as by hand.
    let (_, slopes) = propagation::gradient(&input.model(curve, place), &[0.0; SOURCES]);
    let limits = |ids: &[&str]| {
        let parts = sources.iter().zip(&slopes).filter(|(source, _)| ids.contains(&&*source.id));
        parts
            .map(|(source, c)| {
                (c * (source.limit + if source.id == "delay.known" { source.estimate.abs() } else { 0.0 })).abs()
            })
            .sum()
    };
    let known = |id: &str| {
        let parts = sources.iter().zip(&slopes).filter(|(source, _)| source.id == id);
        parts.map(|(source, c)| c * source.estimate).sum()
    };
    RowError {
        resistance_k: limits(&["sensor.resistance"]),
        curve_k: limits(&["sensor.beta", "sensor.curve"]),
        part_k: limits(&["part.tolerance"]),
        part_drift_k: limits(&["part.drift"]),
        reference_k: limits(&["reference", "delay", "delay.known"]),
        converter_k: limits(&[
            "converter.gain",
            "converter.offset",
            "converter.inl",
            "converter.rounding",
            "converter.reference-count",
        ]),
        tolerance_k: limits(&["sensor.resistance", "sensor.beta", "sensor.curve", "part.tolerance"]),
        lead_k: known("wiring.lead"),
        leakage_k: known("wiring.leakage"),
        worst_case_low_k: quick.low,
        worst_case_high_k: quick.high,
        worst_case_k: largest(quick.low, quick.high),
        sum_of_limits_k: quick.sum_of_limits,
        root_sum_square_k: quick.root_sum_square,
    }
}

fn row(
    input: &ThermistorInput,
    curve: &Curve,
    place: &Place,
    straight: Straight,
    quick: Option<Quick>,
) -> ThermistorRow {
    let read_out = input.read_out();
    let code = read_out.code(place.ohm);
    let step_k = input.step_k(place);
    let spread = input.resistance_tolerance();
    let bent = if input.exponent(place.degc) == 0.0 {
        0.0
    } else {
        input.exponent(place.degc).abs() * input.beta.beta_tolerance_percent / 100.0
    };
    let kelvin = input.curve_tolerance_k(place.degc);
    // The sensor's own limits: the curve moved by its tolerance in kelvin, then scaled.
    let moved = |warmer: f64| curve.ohm(place.degc + warmer).or_else(|| curve.ohm(place.degc));
    let ends = moved(kelvin).zip(moved(-kelvin)).map(|(warm, cold)| {
        let factor = (1.0 + spread) * libm::exp(bent);
        let lower = (1.0 - spread) * libm::exp(-bent);
        (warm.min(cold) * lower, warm.max(cold) * factor)
    });
    ThermistorRow {
        degc: place.degc,
        resistance_ohm: place.ohm,
        resistance_low_ohm: ends.map(|ends| ends.0),
        resistance_high_ohm: ends.map(|ends| ends.1),
        alpha_percent_per_k: place.alpha * 100.0,
        output_v: read_out.output_v(place.ohm),
        sensitivity_v_per_k: read_out.step_v().map(|step| read_out.code_per_log(place.ohm) * place.alpha * step),
        output_hz: (input.read_out == ReadOutKind::Oscillator).then(|| 1.0 / read_out.period_s(place.ohm)),
        code,
        step_k,
        nonlinearity_k: straight.error_k(place.degc, code),
        power_w: read_out.power_w(place.ohm),
        self_heating_k: place.settles.then_some(place.heat.self_heating_k),
        noise_k: read_out.step_v().map_or(0.0, |step| input.converter.noise_v / step * step_k),
        error: quick.map(|quick| row_error(input, curve, place, &quick)),
    }
}

fn point(
    input: &ThermistorInput,
    curve: &Curve,
    reading: Reading,
    straight: Straight,
    work: Work,
) -> Result<ThermistorPoint, Halt> {
    let allowed_k = input.requirement.allowed_k;
    let outcome = reading.requirement(allowed_k).outcome;
    let Reading { place, quick, trials, judged_k } = reading;
    let assessment = match trials {
        Some(trials) => Some(trials),
        None => input.assess(curve, &place, Some(input.experiment.trials), work)?,
    };
    Ok(ThermistorPoint {
        at: row(input, curve, &place, straight, quick),
        allowed_k,
        judged_k,
        used_percent: outcome.used().map(|used| used * 100.0),
        verdict: outcome.verdict(THIN_FROM_PERCENT),
        assessment,
    })
}
