//! The measurement of the insulation with a known resistor: two readings, and what they are worth.
//!
//! The regulation's resistance is the pack's voltage over the largest current with one pole put solidly to the chassis: up
//! to twice the resistance of all paths in parallel. The meter loads every reading alike and cancels in it, as long as the
//! voltage between the poles is read and not added up.

use serde::Serialize;
use utoipa::ToSchema;

use super::bus::Node;
use super::input::{ReadingJudged, TwoMeasurement};
use crate::field::FieldError;
use crate::judge::{Judged, Outcome};
use crate::propagation::{Kind, Model, Number, Request, Source, assess, defined};
use crate::quantity::volt;
use crate::work::{Halt, Work};

/// What the readings say.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct IsolationMeasured {
    /// The larger of the two readings.
    pub larger_v: f64,
    /// Whether that is the negative pole's.
    pub at_negative: bool,
    /// The isolation resistance of the regulation.
    pub method_ohm: f64,
    /// All paths and the meter in parallel.
    pub with_meter_ohm: f64,
    /// All paths in parallel, without the meter; absent where the meter alone gives less.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub parallel_ohm: Option<f64>,
    /// What a drift of the pack between the readings does, its limit.
    pub drift_ohm: f64,
    /// What the known resistor's tolerance does.
    pub resistor_ohm: f64,
    /// What the limit of the reading with the resistor does.
    pub with_resistor_ohm: f64,
    /// What the limit of the larger reading does.
    pub larger_ohm: f64,
    /// What limit and gain of the reading between the poles do.
    pub between_ohm: f64,
    /// All of them together.
    pub limit_ohm: f64,
    /// Standard uncertainty, rectangular limits.
    pub standard_ohm: f64,
    /// The least that it can be.
    pub lower_ohm: f64,
    /// Whether the readings lie too near to each other.
    pub too_near: bool,
    /// What the readings of both poles should add up to, with the meter; absent where its resistance is not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sum_v: Option<f64>,
    /// Whether they add up to something else: one of the values is wrong.
    pub at_odds: bool,
    /// What trials say, where they judge.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drawn: Option<IsolationDrawn>,
}

/// The measured resistance by Monte Carlo, rectangular limits.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct IsolationDrawn {
    /// Number of trials.
    pub trials: u32,
    /// Lower end of 95 %.
    pub low_ohm: f64,
    /// Upper end of 95 %.
    pub high_ohm: f64,
    /// The lower end lies above this.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub low_from_ohm: Option<f64>,
    /// The lower end lies below this.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub low_to_ohm: Option<f64>,
}

/// A difference of two readings counts from so many of their limits on.
const CLEAR: f64 = 10.0;

/// The least limit that a reading has, as a share of it, whatever is typed.
const LEAST_LIMIT: f64 = 1e-3;
/// Two readings as they stand may be off their sum by this share of the voltage between the poles, whatever their limits.
const ODD: f64 = 0.01;
/// A meter whose resistance is not given has at least so much.
const LEAST_METER_OHM: f64 = 1e6;

/// How far the sum of both readings may be above the voltage between the poles, V.
fn slack(input: &TwoMeasurement, vb: f64) -> f64 {
    vb * ((input.drift_percent + input.gain_vb_percent) / 100.0 + ODD) + 3.0 * input.reading_limit_v
}

/// The readings of the method that a bus gives: negative pole, positive pole, and the larger with the resistor.
pub fn readings(paths: Node, voltage_v: f64, meter_ohm: Option<f64>, r0_ohm: f64) -> [f64; 3] {
    let meter = meter_ohm.map_or(0.0, |ohm| 1.0 / ohm);
    let negative = |more: f64| voltage_v * paths.weighted / (paths.siemens + more);
    let positive = |more: f64| voltage_v * (paths.siemens - paths.weighted) / (paths.siemens + more);
    let (v1, v2, with) = (negative(meter), positive(meter), meter + 1.0 / r0_ohm);
    [v1, v2, if v1 >= v2 { negative(with) } else { positive(with) }]
}

/// What the readings say; nothing before all are given.
pub fn measured(input: &TwoMeasurement, work: Work) -> Result<Option<IsolationMeasured>, Halt> {
    let Some(first) = first_order(input) else { return Ok(None) };
    let drawn = drawn(input, &first, work)?;
    let lower_ohm = drawn.map_or(first.lower_ohm, |drawn| drawn.low_ohm);
    Ok(Some(IsolationMeasured { lower_ohm, drawn, ..first }))
}

/// The same to first order.
fn first_order(input: &TwoMeasurement) -> Option<IsolationMeasured> {
    let (vb, v1, v2) = (input.vb_v?, input.v1_v?, input.v2_v?);
    let (with, r0) = (input.v_with_r0_v?, input.r0_ohm?);
    let larger = v1.max(v2);
    let method = r0 * vb * (1.0 / with - 1.0 / larger);
    let with_meter = r0 * (larger / with - 1.0);
    let own = 1.0 / with_meter - input.meter_ohm.map_or(0.0, |ohm| 1.0 / ohm);
    let reading = input.reading_limit_v;
    let drift = r0 * vb / with * input.drift_percent / 100.0;
    let resistor = method * input.r0_tolerance_percent / 100.0;
    let with_resistor = r0 * vb / (with * with) * reading;
    let of_larger = r0 * vb / (larger * larger) * reading;
    let gain = method * input.gain_vb_percent / 100.0;
    let offset = method / vb * reading;
    let limits = [drift, resistor, with_resistor, of_larger, offset, gain];
    let limit: f64 = limits.iter().sum();
    // V1 + V2 = Vb ΣG/(ΣG + Gm) = Vb (1 − Gm R), R all paths and the meter: three readings, of which one is over.
    let [sum, slack] = [v1 + v2, slack(input, vb)];
    let expected = input.meter_ohm.map(|meter| (vb * (1.0 - with_meter / meter), vb * with_meter / meter));
    let at_odds = match expected {
        Some((expected, loaded)) => (sum - expected).abs() > slack + loaded * limit / method,
        None => vb - sum > slack && with_meter / (1.0 - sum / vb) < LEAST_METER_OHM,
    };
    Some(IsolationMeasured {
        larger_v: larger,
        at_negative: v1 >= v2,
        method_ohm: method,
        with_meter_ohm: with_meter,
        parallel_ohm: (own > 0.0).then(|| 1.0 / own),
        drift_ohm: drift,
        resistor_ohm: resistor,
        with_resistor_ohm: with_resistor,
        larger_ohm: of_larger,
        between_ohm: offset + gain,
        limit_ohm: limit,
        standard_ohm: (limits.iter().map(|limit| limit * limit).sum::<f64>() / 3.0).sqrt(),
        lower_ohm: method - limit,
        too_near: larger - with < CLEAR * reading.max(LEAST_LIMIT * larger),
        sum_v: expected.map(|(expected, _)| expected),
        at_odds,
        drawn: None,
    })
}

/// The method with its deviations: of the resistor, of the three readings, of the pack between them, of a range.
struct Method {
    r0: f64,
    vb: f64,
    larger: f64,
    with: f64,
}

/// Inputs of the method that deviate.
const SOURCES: u64 = 6;

impl Model for Method {
    #[inline]
    fn evaluate<N: Number>(&self, x: &[N]) -> N {
        let [r0, vb, larger, with, drift, gain] = [x[0], x[1], x[2], x[3], x[4], x[5]];
        let between = (vb + self.vb) * (gain + 1.0);
        let with = (drift + 1.0) / (with + self.with) - N::from(1.0) / (larger + self.larger);
        (r0 + 1.0) * self.r0 * between * with
    }
}

fn drawn(input: &TwoMeasurement, first: &IsolationMeasured, work: Work) -> Result<Option<IsolationDrawn>, Halt> {
    let (Some(r0), Some(vb), Some(with)) = (input.r0_ohm, input.vb_v, input.v_with_r0_v) else { return Ok(None) };
    // Readings without limits spread by nothing.
    if input.judged_by == ReadingJudged::WorstCase || first.limit_ohm <= 0.0 || first.too_near {
        return Ok(None);
    }
    let of = |id: &'static str, unit: &'static str, limit: f64| Source::limit(id, id, "", Kind::Initial, unit, limit);
    let (volts, part) = (input.reading_limit_v, |percent: f64| percent / 100.0);
    let sources = [
        of("resistor", "", part(input.r0_tolerance_percent)),
        of("between", "V", volts),
        of("larger", "V", volts),
        of("with-resistor", "V", volts),
        of("drift", "", part(input.drift_percent)),
        of("gain", "", part(input.gain_vb_percent)),
    ];
    let model = Method { r0, vb, larger: first.larger_v, with };
    let request = Request { trials: Some(input.trials), seed: u64::from(input.seed), ..Request::default() };
    let found = defined(assess(&model, &sources, None, &request, work))?;
    Ok(found.and_then(|one| one.monte_carlo).map(|run| IsolationDrawn {
        trials: run.trials,
        low_ohm: run.p95.symmetric.low,
        high_ohm: run.p95.symmetric.high,
        low_from_ohm: run.p95.low_between.low,
        low_to_ohm: run.p95.low_between.high,
    }))
}

/// How many trials an answer draws, times what each takes.
pub fn units(input: &TwoMeasurement, work: Work) -> u64 {
    let draws = input.judged_by == ReadingJudged::Probability && input.is_there();
    if draws { SOURCES * u64::from(work.trials(input.trials)) } else { 0 }
}

/// A requirement on the lower end that the trials may leave open.
pub fn settle(drawn: Option<IsolationDrawn>, mut one: Judged) -> Judged {
    let Some((drawn, required)) = drawn.zip(one.required) else { return one };
    let (from, to) = (drawn.low_from_ohm.unwrap_or(0.0), drawn.low_to_ohm.unwrap_or(f64::INFINITY));
    if from < required && required < to && matches!(one.outcome, Outcome::Used(_)) {
        let half = 0.5 * (to - from) / (required - drawn.low_ohm);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "saturates; never negative")]
        let needed = (f64::from(drawn.trials) * half * half).ceil() as u64;
        let share = |end: f64| if end > 0.0 { required / end } else { f64::MAX };
        let trials = needed.max(u64::from(drawn.trials) + 1);
        one.outcome = Outcome::NotResolved { low: share(to), high: share(from), trials };
    }
    one
}

/// Readings that contradict each other.
pub fn contradictions(input: &TwoMeasurement) -> Vec<FieldError> {
    let mut faults = Vec::new();
    let larger = input.v1_v.zip(input.v2_v).map(|(one, other)| one.max(other));
    if let Some((with, larger)) = input.v_with_r0_v.zip(larger).filter(|(with, larger)| with >= larger) {
        faults.push(FieldError::contradiction(
            "/two_measurement/v_with_r0_v",
            "With the known resistor the reading does not fall: it stands between the larger one and the chassis.",
            format!("below {}", volt(larger)),
            volt(with),
        ));
    }
    if let Some((vb, larger)) = input.vb_v.zip(larger).filter(|(vb, larger)| larger > vb) {
        faults.push(FieldError::contradiction(
            "/two_measurement/vb_v",
            "One pole reads more against the chassis than the poles against each other.",
            format!("at least {}", volt(larger)),
            volt(vb),
        ));
    }
    let both = input.v1_v.zip(input.v2_v).map(|(one, other)| one + other);
    if let (true, Some((vb, both))) = (faults.is_empty(), input.vb_v.zip(both))
        && both > vb + slack(input, vb)
    {
        faults.push(FieldError::contradiction(
            "/two_measurement/vb_v",
            "Both poles together read more against the chassis than the poles against each other.",
            format!("at least {}", volt(both)),
            volt(vb),
        ));
    }
    faults
}
