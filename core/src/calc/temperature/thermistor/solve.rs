//! # The range and the points of interest
//!
//! ```text
//! Self-heating  the smallest x with x = D P(R(T + x))/δ: the equilibrium, not the first estimate P/δ
//! Straight      error of a scale that is a straight line between the ends of the range, in kelvin
//! Lag           τ dT/dt of a ramp that has lasted some time constants; cell to sensor Rth P
//! By hand       parts of the error where nothing deviates, switched on just now and dry; leads Rw/(R α), leakage −R/(RL α)
//! Source        energy balance of one node; first-order lag in closed form
//! ```

use std::cell::OnceCell;

use crate::channel::budget::largest;
use crate::judge::THIN_FROM_PERCENT;
use crate::work::{Halt, Refused, Work};

use super::curve::Curve;
use super::input::{ReadOutKind, ThermistorInput};
use super::judged::{Ends, Judging, Reading, Unread};
use super::output::{Over, RowError, ThermistorOutput, ThermistorPoint, ThermistorRange, ThermistorRow, WireFaults};
use super::place::{Place, Straight};
use super::read_back::read_back;
use super::{resistor, wire};

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
    /// The sensor over its range.
    pub places: Vec<Place>,
    /// What is read of that range and of the requirement's.
    pub ends: Ends,
    /// The temperature at which the error is largest.
    pub worst: Option<Reading>,
    /// Open and shorted sensor.
    pub wire: WireFaults,
    /// The rows of the range: remarks and the whole result ask for them, verdicts do not.
    rows: OnceCell<Vec<ThermistorRow>>,
}

impl Solved {
    /// The range, evenly spaced.
    pub fn rows(&self, input: &ThermistorInput) -> &[ThermistorRow] {
        self.rows.get_or_init(|| rows(input, &self.curve, &self.places, Work::FREE).unwrap_or_default())
    }

    /// The channel over its temperatures and states.
    pub const fn judging<'a>(&'a self, input: &'a ThermistorInput) -> Judging<'a> {
        Judging { input, curve: &self.curve }
    }
}

fn rows(input: &ThermistorInput, curve: &Curve, places: &[Place], work: Work) -> Result<Vec<ThermistorRow>, Halt> {
    let straight = straight(input, curve);
    let judging = Judging { input, curve };
    places.iter().map(|place| Ok(row(input, curve, place, straight, judging.over(place, work)?))).collect()
}

/// Works out what requirements rest on.
///
/// # Errors
/// The curve contradicts itself, or the work was stopped.
pub fn solve(input: &ThermistorInput, work: Work) -> Result<Solved, Refused> {
    let curve = input.ready_curve()?;
    let judging = Judging { input, curve: &curve };
    let own = [input.min_degc, input.max_degc];
    let places = judging.places(own, work)?;
    let among = |range: [f64; 2]| if range == own { Ok(places.clone()) } else { judging.places(range, work) };
    let ends = judging.ends(&among(input.whole_degc())?);
    let worst = judging.worst(&among(input.judged_degc())?, &ends, work)?;
    Ok(Solved { wire: wire::faults(input, &curve), ends, worst, places, curve, rows: OnceCell::new() })
}

/// Works out the rest.
///
/// # Errors
/// The work was stopped.
pub fn detail(input: &ThermistorInput, solved: Solved, work: Work) -> Result<ThermistorOutput, Refused> {
    let Solved { curve, places, ends, worst, wire, rows: read } = solved;
    let rows = match read.into_inner() {
        Some(rows) => rows,
        None => rows(input, &curve, &places, work)?,
    };
    let straight = straight(input, &curve);
    let judging = Judging { input, curve: &curve };
    let whole = |reading: Reading| point(&judging, reading, straight, work);
    let mut points = Vec::with_capacity(input.points_degc.len());
    for degc in &input.points_degc {
        work.go_on()?;
        if let Some(place) = input.place(&curve, *degc) {
            points.push(whole(judging.at(&place, work)?)?);
        }
    }
    let worst = worst.map(whole).transpose()?;
    let (lag_k, gradient_k) = (input.lag_k(), input.gradient_k());
    // When lag and gradient are part of the error already, they are not counted twice.
    let apart = if input.requirement.with_lag_and_gradient { 0.0 } else { lag_k + gradient_k };
    let errors = points.iter().chain(&worst).filter_map(|point| point.at.error.as_ref());
    let hidden_k = errors.map(|error| apart - error.worst_case_low_k).max_by(f64::total_cmp);
    let divides = input.read_out == ReadOutKind::Divider;
    let ([from_degc, to_degc], [coldest, hottest]) = (input.judged_degc(), input.electronics_degc());
    Ok(ThermistorOutput {
        lag_k,
        gradient_k,
        hidden_k,
        fixed_resistor: divides.then(|| resistor::choices(input, &curve, &places)).flatten(),
        wire,
        read_back: read_back(input, &curve),
        points,
        worst,
        range: ThermistorRange {
            from_degc,
            to_degc,
            full_below_degc: ends.cold_degc,
            full_from_degc: ends.hot_degc,
            electronics_min_degc: coldest,
            electronics_max_degc: hottest,
        },
        rows,
    })
}

fn row_error(input: &ThermistorInput, curve: &Curve, place: &Place, over: &Over) -> Option<RowError> {
    let (sources, slopes) = input.slopes(curve, place)?;
    let limits = |ids: &[&str]| {
        let parts = sources.iter().zip(&slopes).filter(|(source, _)| ids.contains(&&*source.id));
        parts
            .map(|(source, c)| {
                (c * (source.limit + if source.id == "delay.known" { source.estimate.abs() } else { 0.0 })).abs()
            })
            .sum()
    };
    let leak = input.wiring.leakage_ohm.map_or(0.0, |leak| place.ohm / leak);
    Some(RowError {
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
        ageing_k: limits(&["sensor.ageing", "part.ageing", "reference.ageing"]),
        lead_k: input.wiring.lead_ohm / place.ohm / place.alpha,
        leakage_k: -leak / place.alpha,
        worst_case_low_k: over.low,
        worst_case_high_k: over.high,
        worst_case_k: largest(over.low, over.high),
        sum_of_limits_k: over.sum,
        root_sum_square_k: over.root,
    })
}

fn row(input: &ThermistorInput, curve: &Curve, place: &Place, straight: Straight, over: Option<Over>) -> ThermistorRow {
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
        self_heating_k: place.self_heating_k,
        noise_k: read_out.step_v().map_or(0.0, |step| input.converter.noise_v / step * step_k),
        error: over.and_then(|over| row_error(input, curve, place, &over)),
    }
}

fn point(judging: &Judging<'_>, reading: Reading, straight: Straight, work: Work) -> Result<ThermistorPoint, Halt> {
    let Judging { input, curve } = *judging;
    let allowed_k = input.allowed_k(reading.place.degc);
    let outcome = reading.requirement(allowed_k).without(input.missing()).outcome;
    let (judged_k, beyond_range) = (reading.error_k(), reading.judged == Err(Unread::Full));
    let Reading { place, state, run, .. } = reading;
    let assessment = match run {
        Some(run) => Some(*run),
        None if judged_k.is_some() => judging.assess(&place, state, true, work)?,
        None => None,
    };
    Ok(ThermistorPoint {
        at: row(input, curve, &place, straight, judging.over(&place, work)?),
        allowed_k,
        judged_k,
        used_percent: outcome.used().map(|used| used * 100.0),
        beyond_range,
        state: if judged_k.is_some() { state.told(input) } else { String::new() },
        verdict: outcome.verdict(THIN_FROM_PERCENT),
        assessment,
    })
}
