//! # What counting tells of the health
//!
//! Charge between two known states of charge is the capacity, voltage over a step of the current the resistance, and a line
//! through many estimates shows a loss. What two readings share cancels in their difference, as far as the slopes of the
//! curve are alike; what differs adds.
//!
//! ```text
//! Formula    C = ΔQ/ΔS; (uC/C)² = (uQ/ΔQ)² + (u1² + u2² − 2 r u1 u2 + (common)²)/ΔS²; common: g (V2/s2 − V1/s1) of a gain,
//!            after opposite directions the lags of the two rests add; the error of the curve is each place's own
//!            what passes beside the shunt meanwhile is known: (Iu + Isd)/I; a gap of t_g takes t_g I/ΔQ at most
//!            R = ΔV/ΔI; u² = 2(uV/ΔV)² + 2(uI/ΔI)² + u²(gV) + u²(gI) + u²(slope skew/ΔI) + u²(polarisation time/R)
//!            loss at the end of a line through n even estimates: u² = ur² 12(n − 1)/(n(n + 1)) + (drift years/life)²/3
//!            proven: L̂ − claim ≥ 1.645 u; n: smallest from 3 on with which this happens as often as the power asks
//! Symbols    s smallest slope of the curve within reach of a reading, r correlation of what is not known to be common, L̂ = L + normal + rectangular drift
//! Departs    (1.645 + z) u takes the drift for normal and misses the power where it is most of u: its own shape counts
//! Valid      first order: below a tenth of ΔS; worst case: limits in full, (1 + q)/(1 − d) − 1, of the resistance
//!            (1 + v)/(1 − i) − 1; one mean current inside the range, so that a reading that is held loses nothing
//! Source     JCGM 100:2008 clause 5.2; JCGM 106:2012 (one-sided decision); variance of a fitted line: closed form
//! ```

use super::anchor::{ends, readable};
use super::input::{CapacityMethod, ChargeInput, ChargeJudgedBy, Inaccuracy, MissedReading};
use super::reading::rounding_limit_a;
use crate::constant::HOUR_S;
use crate::judge::passes;
use crate::propagation::normal_distribution;

/// Coverage factor of 95 %, both sides.
pub const BOTH_SIDES: f64 = 1.959_963_984_540_054;
/// The same, one side.
pub const ONE_SIDE: f64 = 1.644_853_626_951_472;
/// Part of ΔS above which first order no longer holds.
const FIRST_ORDER: f64 = 0.1;

/// A limit as a standard uncertainty.
fn standard(limit: f64) -> f64 {
    limit / 3f64.sqrt()
}

/// An estimate of the capacity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Capacity {
    /// Swing between the anchors, percent.
    pub swing_percent: f64,
    /// Charge between them, A·s.
    pub charge_c: f64,
    /// Standard uncertainty of the charge, percent of it.
    pub charge_percent: f64,
    /// Standard uncertainty of each anchor, points.
    pub anchors: [f64; 2],
    /// Standard uncertainty of the swing, points.
    pub swing_standard: f64,
    /// Standard uncertainty, percent of the capacity.
    pub standard_percent: f64,
    /// What is known of its error, percent.
    pub bias_percent: f64,
    /// 95 % of both sides with what is known, percent.
    pub probability_percent: f64,
    /// Worst case, percent; nothing where the anchors are worth nothing.
    pub worst_percent: Option<f64>,
    /// Whether no reading may lie beyond the curve.
    pub bounded: bool,
    /// Whether the mean current is beyond the range of the channel.
    pub clips: bool,
    /// Time in which the charge flows, h; none where the count is stated.
    pub flows_h: Option<f64>,
    /// Whether the swing is too small for the uncertainty to mean anything.
    pub too_small: bool,
    /// The smallest swing that meets the requirement, percent; nothing where none does.
    pub smallest_swing_percent: Option<f64>,
}

impl Capacity {
    /// The error as it is judged; nothing where it is not defined.
    pub const fn judged(&self, by: ChargeJudgedBy) -> Option<f64> {
        match by {
            _ if self.clips => None,
            ChargeJudgedBy::WorstCase => self.worst_percent,
            ChargeJudgedBy::Probability95 => Some(self.probability_percent),
        }
    }
}

/// The charge between the anchors, and its errors in percent of it.
struct Charge {
    flowed_c: f64,
    standard: f64,
    limit: f64,
    /// Counted too little in discharge, and too much in charge, as far as that is known.
    known: f64,
    flows_h: Option<f64>,
}

/// Errors of the swing: standard uncertainties of each end and of what they share, limits in all, what is known.
struct Swing {
    /// Whether every reading lies on the curve.
    bounded: bool,
    percent: f64,
    ends: [f64; 2],
    shared: f64,
    limit: f64,
    bias: f64,
}

/// The estimate of the capacity.
///
/// # Errors
/// The pointer of what has no value.
pub fn capacity(input: &ChargeInput) -> Result<Capacity, &'static str> {
    let given = &input.capacity;
    let swing = swing(input)?;
    let Charge { flowed_c: charge_c, standard: standard_q, limit: limit_q, known: known_q, flows_h } =
        charge(input, swing.percent)?;
    let [one, other] = swing.ends;
    let r = given.correlation;
    let own = one * one + other * other - 2.0 * r * one * other;
    let swing_standard = (own.max(0.0) + swing.shared * swing.shared).sqrt();
    let relative = |percent: f64| percent / swing.percent * 100.0;
    let standard_percent = standard_q.hypot(relative(swing_standard));
    // C = ΔQ/ΔS: a swing that is read too large makes the capacity small.
    let of_swing = -100.0 * swing.bias / (swing.percent + swing.bias);
    let of_charge = if given.falls() { -known_q } else { known_q };
    let known = swing.bias.abs();
    let off = (swing.limit + known) / swing.percent;
    let worst_percent =
        (off < 1.0 && swing.bounded).then(|| ((1.0 + (limit_q + known_q.abs()) / 100.0) / (1.0 - off) - 1.0) * 100.0);
    let smallest_swing_percent = input.requirement.capacity_percent.and_then(|allowed| {
        let room = (allowed / BOTH_SIDES).powi(2) - standard_q * standard_q;
        let smallest = 100.0 * swing_standard / room.max(0.0).sqrt();
        (room > 0.0 && smallest <= 100.0).then_some(smallest)
    });
    Ok(Capacity {
        swing_percent: swing.percent,
        charge_c,
        charge_percent: standard_q,
        anchors: swing.ends,
        swing_standard,
        standard_percent,
        bias_percent: of_swing + of_charge,
        probability_percent: BOTH_SIDES * standard_percent + of_swing.abs() + of_charge.abs(),
        worst_percent,
        bounded: swing.bounded,
        clips: given.method != CapacityMethod::Typed && clips(input),
        flows_h,
        too_small: swing_standard > FIRST_ORDER * swing.percent,
        smallest_swing_percent,
    })
}

/// Whether the mean current is beyond the range of the channel, in the direction in which it flows; both count where it may be
/// either.
fn clips(input: &ChargeInput) -> bool {
    let (given, counter) = (&input.capacity, &input.counter);
    let either = given.method != CapacityMethod::TwoRests;
    let ends = [(counter.full_at_a, given.falls()), (counter.full_charge_a, !given.falls())];
    let ends = ends.into_iter().filter(|(_, flows)| either || *flows);
    ends.filter_map(|(end, _)| end).any(|end| passes(given.current_a + input.counting.ripple_a, end))
}

fn charge(input: &ChargeInput, swing_percent: f64) -> Result<Charge, &'static str> {
    let given = &input.capacity;
    if given.method == CapacityMethod::Typed {
        let counted = given.counted_ah.ok_or("/capacity/counted_ah")?;
        let error = given.count_error_percent.ok_or("/capacity/count_error_percent")?;
        let (one, limit) = stated(given.kind, error);
        return Ok(Charge { flowed_c: counted * HOUR_S, standard: one, limit, known: 0.0, flows_h: None });
    }
    input.zero_told()?;
    let (counter, counting) = (&input.counter, &input.counting);
    let current = given.current_a;
    let of = |amperes: f64| amperes / current * 100.0;
    let step = super::reading::level(counter, counting, current, input.offset_a());
    let charge_c = swing_percent / 100.0 * input.battery.capacity_ah * HOUR_S;
    let time = charge_c / current;
    // At the end of life less flows, and a gap is more of it.
    let aged = time * input.battery.soh_end_percent / 100.0;
    let (apart, leaves_a) = (&input.apart, input.self_discharge_a());
    let parts = [
        counter.gain_percent + counter.asymmetry_percent / 2.0,
        counting.clock_ppm * 1e-4,
        of(input.offset_a()),
        of(input.drift_a()),
        of(counter.emf_a),
        of(counter.bend_a),
        of(step.limit_a),
        of(step.known_a.abs() + step.lost_a),
        if counting.missed_reading == MissedReading::Zero { counting.missed_percent } else { 0.0 },
        counting.longest_gap_s.min(aged) / aged * 100.0,
        of(apart.unseen_spread_a + leaves_a * apart.self_discharge_spread_percent / 100.0),
    ];
    let random = of(((counter.noise_a * counter.correlated()).powi(2) * counter.sample_s / time
        + counter.flicker_a * counter.flicker_a)
        .sqrt());
    let square: f64 = parts.iter().map(|part| standard(*part).powi(2)).sum();
    Ok(Charge {
        flowed_c: charge_c,
        standard: (square + random * random).sqrt(),
        limit: parts.iter().sum::<f64>() + super::cone::WORST * random,
        known: of(apart.unseen_a.unwrap_or(0.0) + leaves_a),
        flows_h: Some(time / HOUR_S),
    })
}

/// A stated error as a standard uncertainty and as a limit.
fn stated(kind: Inaccuracy, error: f64) -> (f64, f64) {
    match kind {
        Inaccuracy::Standard => (error, super::cone::WORST * error),
        Inaccuracy::Limit => (standard(error), error),
    }
}

fn swing(input: &ChargeInput) -> Result<Swing, &'static str> {
    let given = &input.capacity;
    let first = || given.first_percent.ok_or("/capacity/first_percent");
    let second = || given.second_percent.ok_or("/capacity/second_percent");
    let end = |limit: f64| (standard(limit), limit);
    match given.method {
        CapacityMethod::Typed => {
            let error = given.rest_error_percent.ok_or("/capacity/rest_error_percent")?;
            let (one, limit) = stated(given.kind, error);
            Ok(Swing {
                bounded: true,
                percent: (second()? - first()?).abs(),
                ends: [one; 2],
                shared: 0.0,
                limit: 2.0 * limit,
                bias: 0.0,
            })
        }
        CapacityMethod::FullAndEmpty => {
            let [full, empty] = [given.full_error_percent, given.empty_error_percent].map(end);
            let (ends, limit) = ([full.0, empty.0], full.1 + empty.1);
            Ok(Swing { bounded: true, percent: 100.0, ends, shared: 0.0, limit, bias: 0.0 })
        }
        CapacityMethod::FullAndRest => {
            let rest = rest(input, first()?)?;
            let full = end(given.full_error_percent);
            let shared = standard(rest.gain).hypot(standard(rest.lag / 2.0));
            let limit = full.1 + rest.own_limit + rest.gain + rest.lag / 2.0;
            // The middle of the lag, low after discharging.
            let bias = rest.lag / 2.0;
            let (bounded, ends) = (rest.bounded, [full.0, rest.own]);
            Ok(Swing { bounded, percent: 100.0 - first()?, ends, shared, limit, bias })
        }
        CapacityMethod::TwoRests => {
            let [one, other] = [rest(input, first()?)?, rest(input, second()?)?];
            let opposite = input.anchor.may_follow() == [true, true];
            // Each lag lies anywhere from nothing to its size, whatever the other does: the middles add after opposite
            // directions and cancel after the same one, the halves never do.
            let lags = one.lag + other.lag;
            let bias = if opposite { lags / 2.0 } else { (other.lag - one.lag).abs() / 2.0 };
            // Where a reading may cross a knot its slope is no number: nothing is known to cancel there.
            let straight = one.straight && other.straight;
            let gain = if straight { (other.gain - one.gain).abs() } else { other.gain + one.gain };
            let apart = standard(one.lag / 2.0).hypot(standard(other.lag / 2.0));
            let shared = standard(gain).hypot(if opposite { standard(lags / 2.0) } else { apart });
            Ok(Swing {
                bounded: one.bounded && other.bounded,
                percent: (second()? - first()?).abs(),
                ends: [one.own, other.own],
                shared,
                limit: one.own_limit + other.own_limit + gain + lags / 2.0,
                bias,
            })
        }
    }
}

/// What a rest is off by, in points, over the smallest slope that its reading may meet.
struct Rest {
    /// Whether the reading lies on the curve.
    bounded: bool,
    /// Whether it meets one slope alone.
    straight: bool,
    /// Standard uncertainty of what is its own.
    own: f64,
    own_limit: f64,
    /// By a gain error of the reading.
    gain: f64,
    /// By what has not relaxed, largest.
    lag: f64,
}

/// A reading that is off by δ is off by no more than δ over the smallest slope between here and there: a curve that bends
/// inside the reach of a reading has no slope of its own. The error of the curve at one place says nothing of another.
fn rest(input: &ChargeInput, soc: f64) -> Result<Rest, &'static str> {
    let anchor = &input.anchor;
    let (curve, off) = readable(input)?;
    let [first, last] = curve.ends();
    let place = soc.clamp(first, last);
    let volt = curve.volt(place);
    let reach = ends(&curve, &off, place);
    let [from, to] = [place - reach[0].unwrap_or(100.0), place + reach[1].unwrap_or(100.0)];
    let [slope, steepest] = curve.slopes(from, to);
    let each = (anchor.reading_v(input.battery.cells_in_series)?
        + anchor.curve_error_v
        + anchor.entropy_v_per_k * anchor.temperature_error_k
        + anchor.rest_current_a * anchor.cell_resistance_ohm)
        / slope;
    let random = anchor.random_v / slope;
    Ok(Rest {
        bounded: reach.iter().all(Option::is_some) && first <= soc && soc <= last,
        straight: steepest <= slope * (1.0 + 1e-9),
        own: standard(each).hypot(random),
        own_limit: each + super::cone::WORST * random,
        gain: anchor.gain_percent / 100.0 * volt / slope,
        lag: off.low_v.max(off.high_v) / slope,
    })
}

/// An estimate of the resistance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resistance {
    /// Step of the voltage, V.
    pub step_v: f64,
    /// Standard uncertainty, percent.
    pub standard_percent: f64,
    /// 95 %, percent.
    pub probability_percent: f64,
    /// Worst case, percent; nothing where the step is lost in the errors of the current.
    pub worst_percent: Option<f64>,
    /// Whether no step of that size lies inside the range of the channel.
    pub clips: bool,
    /// Whether one that begins at rest does not.
    pub clips_from_rest: bool,
}

impl Resistance {
    /// The error as it is judged; nothing where it is not defined.
    pub const fn judged(&self, by: ChargeJudgedBy) -> Option<f64> {
        match by {
            _ if self.clips => None,
            ChargeJudgedBy::WorstCase => self.worst_percent,
            ChargeJudgedBy::Probability95 => Some(self.probability_percent),
        }
    }
}

/// The estimate of the resistance. Offsets cancel in the steps, and so does what voltage and current share.
///
/// # Errors
/// The pointer of what has no value.
pub fn resistance(input: &ChargeInput) -> Result<Resistance, &'static str> {
    let given = &input.resistance;
    let step_a = given.step_a.ok_or("/resistance/step_a")?;
    let ohm = given.resistance_ohm.ok_or("/resistance/resistance_ohm")?;
    let noise_v = given.voltage_noise_v.ok_or("/resistance/voltage_noise_v")?;
    let gain = given.voltage_gain_percent.ok_or("/resistance/voltage_gain_percent")?;
    let step_v = step_a * ohm;
    let many = f64::from(given.averaged).sqrt();
    let random = [noise_v / step_v, input.counter.reading_a() / step_a].map(|one| one / many * 100.0);
    let volts = [gain, given.polarisation_ohm_per_s * given.time_error_s / ohm * 100.0];
    let amperes = [
        input.counter.gain_percent,
        input.counter.asymmetry_percent / 2.0,
        given.current_slope_a_per_s * given.skew_s / step_a * 100.0,
    ];
    let scatter = (2.0 * (random[0] * random[0] + random[1] * random[1])).sqrt();
    let square: f64 = volts.iter().chain(&amperes).map(|limit| standard(*limit).powi(2)).sum();
    let standard_percent = (square + scatter * scatter).sqrt();
    // Non-linearity and rounding may differ at the two ends of the step: two values inside their limits.
    let (counter, step) = (&input.counter, input.counting.step_a);
    let each = [counter.bend_a, rounding_limit_a(step, counter.noise_a)].map(|limit| limit / step_a * 100.0);
    let standard_percent = each.iter().fold(standard_percent, |all, one| all.hypot(standard(*one) * 2f64.sqrt()));
    let [of_volts, of_amperes] = [
        volts.iter().sum::<f64>() + super::cone::WORST * scatter,
        amperes.iter().sum::<f64>() + 2.0 * each.iter().sum::<f64>(),
    ];
    let off = of_amperes / 100.0;
    let ends = [counter.full_at_a, counter.full_charge_a];
    let [both, larger] =
        [|a: f64, b: f64| a + b, f64::max].map(|join| ends[0].zip(ends[1]).map(|(one, two)| join(one, two)));
    let beyond = |end: Option<f64>| end.is_some_and(|end| passes(step_a, end));
    Ok(Resistance {
        step_v,
        standard_percent,
        probability_percent: BOTH_SIDES * standard_percent,
        worst_percent: (off < 1.0).then(|| ((1.0 + of_volts / 100.0) / (1.0 - off) - 1.0) * 100.0),
        clips: beyond(both),
        clips_from_rest: beyond(larger.or(ends[0]).or(ends[1])),
    })
}

/// The proof of a loss.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Proof {
    /// Estimates that are needed; nothing where the drift of the channel takes all of it.
    pub estimates: Option<f64>,
    /// Standard uncertainty of the loss with so many, points.
    pub standard_percent: Option<f64>,
    /// By the drift of the channel alone, points.
    pub drift_percent: f64,
    /// Years after which it is proven, with one at every anchor: not before the loss is there.
    pub years: Option<f64>,
}

/// Variance of the end of a fitted line through n even estimates, as a part of that of one.
pub fn of_line(n: f64) -> f64 {
    12.0 * (n - 1.0) / (n * (n + 1.0))
}

/// How many estimates prove the loss.
///
/// # Errors
/// The pointer of what has no value.
pub fn proof(input: &ChargeInput) -> Result<Proof, &'static str> {
    let given = &input.trend;
    let loss = given.loss_percent.ok_or("/trend/loss_percent")?;
    let life = given.life_years.ok_or("/trend/life_years")?;
    let drift_at = |years: f64| standard(given.channel_drift_percent * years / life);
    let drift = drift_at(given.years);
    let scatter = given.estimate_percent * given.estimate_percent;
    let shows_with = |n: f64, drift: f64| {
        let random = (scatter * of_line(n)).sqrt();
        let beyond = loss - given.claim_percent - ONE_SIDE * random.hypot(drift);
        detected(beyond, random, drift * 3f64.sqrt()) >= given.power_percent / 100.0
    };
    let shows = |n: f64| shows_with(n, drift);
    let estimates = shows(MOST_ESTIMATES).then(|| smallest(shows));
    let standard_percent = estimates.map(|n| (scatter * of_line(n) + drift * drift).sqrt());
    // The loss is that after so many years, and the estimates lie evenly over them: fewer days hold less of it. Where the
    // estimates take longer, the channel has drifted longer, too.
    let years = estimates.zip(input.horizon_h()).and_then(|(n, hours)| {
        let needed = n * hours * HOUR_S / crate::quantity::Unit::Year.plain();
        let after = needed.max(given.years);
        (needed <= given.years || shows_with(n, drift_at(after))).then_some(after)
    });
    Ok(Proof { estimates, standard_percent, drift_percent: drift, years })
}

/// Probability that a normal deviate and a rectangular one, the drift, leave what is beyond the decision above nothing: the
/// mean of Φ over the range of the drift, whose integral is z Φ(z) + φ(z).
fn detected(beyond: f64, standard: f64, limit: f64) -> f64 {
    if standard <= 0.0 && limit <= 0.0 {
        return if beyond >= 0.0 { 1.0 } else { 0.0 };
    }
    if standard <= 1e-9 * limit {
        return ((beyond + limit) / (2.0 * limit)).clamp(0.0, 1.0);
    }
    if limit <= 1e-9 * standard {
        return normal_distribution(beyond / standard);
    }
    let integral = |z: f64| {
        let density = libm::exp(-0.5 * z * z) / (2.0 * std::f64::consts::PI).sqrt();
        z * normal_distribution(z) + density
    };
    let [low, high] = [-limit, limit].map(|off| (beyond + off) / standard);
    standard / (2.0 * limit) * (integral(high) - integral(low))
}

/// More estimates than this are never made.
const MOST_ESTIMATES: f64 = 1e9;

/// The smallest whole number from 3 on that holds, of what holds for all above.
fn smallest(holds: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (2.0, 3.0);
    while !holds(high) && high < MOST_ESTIMATES {
        (low, high) = (high, high * 2.0);
    }
    while high - low > 1.0 {
        let middle = f64::midpoint(low, high).floor();
        if holds(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}
