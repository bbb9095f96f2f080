//! # Current channel
//!
//! Shunt, amplifier and converter together turn a pack current into a reading, and every part adds its error.
//! The error is judged over current, ambient temperature and life, before and after calibration, by four methods.
//! At the low end offsets and their drift decide, at the high end gain terms and the heat of the shunt.
//!
//! ```text
//! Formula    V = I R0 (1 + t)(1 + c(T) + s)(1 + p)(1 + a) + V_emf;  reading = front end(V) / R0;  error = reading − I
//! Symbols    t tolerance or what calibration leaves of all gains, c(T) = a ΔT + b ΔT² known change at the solved element
//!            temperature, s its spread, p tap position, a ageing; the front end is front_end
//! Known      the curve's change c(T) has a known sign at each corner: the worst case carries it with its sign, the two
//!            trade sums with its full size; the coverage intervals are shifted by it
//! Grid       currents × ambient (ends, calibration temperature, vertex of the curve, 33 steps) × new / calibrated /
//!            end of life; a peak current is judged at the steady temperature it would reach, which is conservative
//! Calibration the curve's change at the calibration current is not subtracted; random noise is not part of these totals:
//!            it belongs to thresholds and single readings
//! Sums       "sum of limits" is Σ|c_i|·limit_i to first order; "worst case" are the extremes of the model itself, which
//!            also hold the products of offset and gain errors and are therefore a little larger
//! Source     JCGM 100:2008, JCGM 101:2008; Ah per day: charge = current × time, closed form
//! ```

mod findings;
pub mod input;
mod output;
mod view;

use crate::calculation::Meta;
use crate::channel::budget::largest;
use crate::constant::DAY_H;
use crate::field::FieldError;
use crate::legacy::Whole;
use crate::propagation::{self, Kind, Model, Number, Request, Source};
use crate::quantity::{Unit, in_sentence, say};
use crate::report::{Check, Report, Verdict};

use super::shunt::State;
use crate::channel::{JudgedBy, Lever};
use crate::physics::front_end::{CalibrationKind, FrontEnd, Life};
use crate::physics::noise::ReadingNoise;
use crate::physics::parts;
pub use input::{ChannelInput, Conditions, Load, Requirement};
pub use output::{ChannelOutput, ChannelPoint, CurvePoint, Grid, Noise, Range, Recipe, Ripple, Stress, Zero};

/// The reading error at one current and one corner, A.
#[derive(Clone, Copy, Debug)]
struct ChannelModel<'a> {
    front_end: FrontEnd<'a>,
    resistance_ohm: f64,
    current_a: f64,
}

/// Number of sources of the shunt, before those of the front end.
const SHUNT_SOURCES: usize = 6;

impl Model for ChannelModel<'_> {
    #[inline]
    fn evaluate<N: Number>(&self, x: &[N]) -> N {
        let gains = (x[0] + 1.0) * (x[1] + x[2] + 1.0) * (x[3] + 1.0) * (x[4] + 1.0);
        let volt = gains * (self.current_a * self.resistance_ohm) + x[5];
        self.front_end.read(volt, &x[SHUNT_SOURCES..]) / self.resistance_ohm - self.current_a
    }
}

/// One corner: a current at an ambient temperature in a state of life.
#[derive(Clone, Debug)]
struct Corner {
    ambient_degc: f64,
    state: State,
    sources: Vec<Source>,
}

impl ChannelInput {
    fn front_end(&self) -> FrontEnd<'_> {
        FrontEnd { amplifier: &self.amplifier, converter: &self.converter, calibration: &self.calibration }
    }

    fn model(&self, current_a: f64) -> ChannelModel<'_> {
        ChannelModel { front_end: self.front_end(), resistance_ohm: self.shunt.resistance_ohm, current_a }
    }

    /// The ambient of the shunt: its extra heat counts fully at the hot end and not at all at the cold end.
    fn shunt_ambient(&self, ambient_degc: f64) -> f64 {
        let with = &self.conditions;
        let span = with.ambient_max_degc - with.ambient_min_degc;
        let share = if span > 0.0 { (ambient_degc - with.ambient_min_degc) / span } else { 1.0 };
        ambient_degc + with.shunt_extra_k * share
    }

    /// A state of life in words, with what the calibration really was.
    fn words(&self, calibrated: bool, end_of_life: bool) -> String {
        let age = if end_of_life { "end of life" } else { "new" };
        let how = match (calibrated, self.calibration.kind) {
            (false, _) | (true, CalibrationKind::None) => "not calibrated",
            (true, CalibrationKind::Offset) => "zero calibrated",
            (true, CalibrationKind::TwoPoint) => "calibrated",
        };
        format!("{age}, {how}")
    }

    fn allowed_a(&self, current_a: f64) -> Option<f64> {
        let with = &self.requirement;
        with.form.allowed(with.gain_percent, with.offset_a, current_a, self.load.full_scale_a)
    }

    fn corner(&self, current_a: f64, ambient_degc: f64, life: Life) -> Option<Corner> {
        let shunt = &self.shunt;
        let state = shunt.at(current_a, self.shunt_ambient(ambient_degc))?;
        let two_point = life.calibrated && self.calibration.kind == CalibrationKind::TwoPoint;
        let stage = "Shunt";
        let ratio = |id: &str, label: &str, kind: Kind, limit: f64| Source::limit(id, label, stage, kind, "1", limit);
        let mut sources = vec![
            if two_point {
                ratio(
                    "gain.left",
                    "Gain left after calibration",
                    Kind::Initial,
                    self.calibration.gain_residual_percent / 100.0,
                )
            } else {
                ratio("shunt.tolerance", "Shunt tolerance", Kind::Initial, shunt.tolerance_percent / 100.0)
            },
            ratio("shunt.curve", "Resistance-temperature curve and self-heating", Kind::Temperature, 0.0)
                .known(state.change),
            ratio(
                "shunt.curve-spread",
                "Spread of the temperature coefficient",
                Kind::Temperature,
                shunt.tcr_tolerance_ppm_per_k * 1e-6 * (state.element_degc - shunt.reference_degc).abs(),
            ),
            ratio(
                "shunt.tap",
                "Tap position",
                Kind::Initial,
                if two_point { 0.0 } else { shunt.sense_position_error_ohm / shunt.resistance_ohm },
            ),
            ratio(
                "shunt.ageing",
                "Shunt ageing",
                Kind::Life,
                if life.end_of_life { shunt.life_drift_percent / 100.0 } else { 0.0 },
            ),
            Source::limit(
                "shunt.emf",
                "Thermal EMF",
                stage,
                Kind::Temperature,
                "V",
                shunt.emf_v_per_k * shunt.end_temperature_difference_k,
            ),
        ];
        sources.extend(self.front_end().sources((ambient_degc - self.conditions.calibration_degc).abs(), life));
        Some(Corner { ambient_degc, state, sources })
    }

    /// The ambient temperatures at which the error may be largest: the ends, the calibration temperature, the ambient at
    /// which the element sits on the vertex of its curve, and an even sweep between the ends.
    fn ambients(&self, current_a: f64) -> Vec<f64> {
        let with = &self.conditions;
        let (low, high) = (with.ambient_min_degc, with.ambient_max_degc);
        let vertex = self.shunt.curve().vertex_degc().map(|vertex| {
            let resistance = self.shunt.resistance_ohm * (1.0 + self.shunt.curve().change(vertex));
            vertex - self.shunt.thermal_resistance_k_per_w * current_a * current_a * resistance
        });
        let mut ambients: Vec<f64> = (0..=32)
            .map(|step| low + (high - low) * f64::from(step) / 32.0)
            .chain([with.calibration_degc])
            .chain(vertex)
            .filter(|degc| low <= *degc && *degc <= high)
            .collect();
        ambients.sort_by(f64::total_cmp);
        ambients.dedup();
        ambients
    }
}

/// The calculation.
#[derive(Debug)]
pub struct CurrentChannel;

impl Whole for CurrentChannel {
    const META: Meta = Meta {
        slug: "current-channel",
        title: "Current channel",
        job: "Shunt, amplifier and converter together: the complete error of the current reading over current, temperature and life.",
        short: "the whole error budget",
        sources: &[
            "JCGM 100:2008 (measurement model, combined standard uncertainty)",
            "JCGM 101:2008 (Monte Carlo, clause 8 comparison)",
            "Root-sum-square of limits and sum of limits: common practice, no source",
            "The shunt's and the converter's own pages for their parts",
        ],
    };
    type Input = ChannelInput;
    type Output = ChannelOutput;

    fn calculate(input: &ChannelInput) -> Result<Report<ChannelOutput>, Vec<FieldError>> {
        contradictions(input)?;
        let result = solve(input);
        let findings = findings::findings(input, &result);
        Ok(Report {
            working: view::working(input, &result),
            view: view::view(input, &result, &findings),
            result,
            findings,
        })
    }

    fn checks(input: &ChannelInput) -> Result<Vec<Check>, Vec<FieldError>> {
        contradictions(input)?;
        let points: Vec<ChannelPoint> =
            input.currents_a.iter().map(|&current_a| point(input, current_a, Depth::Verdict)).collect();
        Ok(findings::checks(input, &points))
    }
}

fn contradictions(input: &ChannelInput) -> Result<(), Vec<FieldError>> {
    let with = &input.conditions;
    let ends = [with.ambient_min_degc, with.ambient_max_degc + with.shunt_extra_k];
    let mut faults = input.shunt.contradictions("/shunt", &ends);
    faults.extend(parts::contradictions(&input.amplifier, &input.filter, &input.converter, ""));
    if with.ambient_max_degc < with.ambient_min_degc {
        faults.push(FieldError::contradiction(
            "/conditions/ambient_max_degc",
            "The highest ambient lies below the lowest.",
            format!("at or above {}", say(with.ambient_min_degc, Unit::Celsius)),
            say(with.ambient_max_degc, Unit::Celsius),
        ));
    }
    if faults.is_empty() { Ok(()) } else { Err(faults) }
}

/// How much of a point is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Depth {
    /// Every state of life, every method, levers and the recipe of the corner.
    Whole,
    /// What the requirement is judged by.
    Verdict,
}

fn solve(input: &ChannelInput) -> ChannelOutput {
    let points: Vec<ChannelPoint> =
        input.currents_a.iter().map(|&current_a| point(input, current_a, Depth::Whole)).collect();
    ChannelOutput {
        stress: stress(input),
        ripple: ripple(input),
        noise: noise(input),
        range: range(input),
        zero: zero(input),
        curve: curve(input),
        checks: findings::checks(input, &points),
        points,
    }
}

/// The ripple's edges make a square wave of ±spike across the inductance. In the steady state a low-pass of the time
/// constant τ lets the output swing by spike · tanh(T/4τ) either way (closed form of a square wave through R-C).
fn ripple(input: &ChannelInput) -> Ripple {
    let spike_a = input.shunt.ripple_spike_a(input.load.ripple_current_a, input.load.ripple_frequency_hz);
    let low_pass_s = input.filter.corner().map(|corner| 1.0 / (2.0 * std::f64::consts::PI * corner));
    Ripple {
        corner_hz: input.shunt.corner_hz(),
        time_constant_s: input.shunt.time_constant_s(),
        spike_a,
        behind_low_pass_a: low_pass_s.map(|tau| spike_a * libm::tanh(0.25 / (input.load.ripple_frequency_hz * tau))),
        low_pass_s,
    }
}

fn noise(input: &ChannelInput) -> Noise {
    let ambient = input.conditions.ambient_max_degc;
    let noise = ReadingNoise::new(&input.amplifier, &input.filter, &input.converter, input.averaging, ambient);
    Noise {
        single_a: noise.single_v / input.shunt.resistance_ohm,
        averaged_a: noise.averaged_v / input.shunt.resistance_ohm,
        rate_hz: input.converter.data_rate_hz / f64::from(input.averaging),
    }
}

/// The share of the range that a current uses, percent.
fn share_of_range(input: &ChannelInput, current_a: f64) -> f64 {
    let adc = &input.converter;
    let (clips_at_v, _) = parts::clips_at_v(&input.amplifier, adc.full_scale_v, adc.bipolar);
    parts::share_percent(current_a * input.shunt.resistance_ohm, clips_at_v)
}

fn range(input: &ChannelInput) -> Range {
    let adc = &input.converter;
    let (clips_at_v, clips_first) = parts::clips_at_v(&input.amplifier, adc.full_scale_v, adc.bipolar);
    let signal = input.load.full_scale_a * input.shunt.resistance_ohm;
    Range {
        full_scale_v: signal,
        clips_at_v,
        clips_at_a: clips_at_v / input.shunt.resistance_ohm,
        clips_first: clips_first.into(),
        used_percent: parts::share_percent(signal, clips_at_v),
        lsb_a: input.front_end().lsb_v() / input.shunt.resistance_ohm,
    }
}

/// The largest error over the ambient range in one state of life.
fn worst_over_ambient(input: &ChannelInput, current_a: f64, ambients: &[f64], life: Life) -> Option<(Corner, Grid)> {
    let model = input.model(current_a);
    let mut worst: Option<(Corner, Grid, f64)> = None;
    for &ambient_degc in ambients {
        let Some(corner) = input.corner(current_a, ambient_degc, life) else { continue };
        let Ok(quick) = propagation::quick(&model, &corner.sources, true) else { continue };
        let grid = Grid {
            calibrated: life.calibrated && input.calibration.kind != CalibrationKind::None,
            end_of_life: life.end_of_life,
            ambient_degc,
            element_degc: corner.state.element_degc,
            change_ppm: corner.state.change * 1e6,
            worst_case_low_a: quick.low,
            worst_case_high_a: quick.high,
            worst_case_a: largest(quick.low, quick.high),
            worst_case_percent_of_reading: largest(quick.low, quick.high) / current_a * 100.0,
            worst_case_percent_of_full_scale: largest(quick.low, quick.high) / input.load.full_scale_a * 100.0,
            sum_of_limits_a: quick.sum_of_limits,
            root_sum_square_a: quick.root_sum_square,
        };
        let judged = match input.requirement.judged_by {
            JudgedBy::WorstCase => grid.worst_case_a,
            JudgedBy::RootSumSquare => grid.root_sum_square_a,
            // Ranked by the first-order interval about the known deviation; the run follows at the corner that wins.
            JudgedBy::Probability95 => propagation::assess(&model, &corner.sources, None, &Request::default())
                .map_or(grid.worst_case_a, |done| largest(done.gum.low, done.gum.high)),
        };
        if worst.as_ref().is_none_or(|(_, _, best)| judged > *best) {
            worst = Some((corner, grid, judged));
        }
    }
    worst.map(|(corner, grid, _)| (corner, grid))
}

fn point(input: &ChannelInput, current_a: f64, depth: Depth) -> ChannelPoint {
    let ambients = input.ambients(current_a);
    let mut grid = Vec::new();
    let mut assessment = None;
    let mut levers = Vec::new();
    let mut worst_corner = None;
    let allowed_a = input.allowed_a(current_a);
    for life in Life::ALL {
        let judged = life.calibrated && life.end_of_life;
        if depth == Depth::Verdict && !judged {
            continue;
        }
        let Some((corner, row)) = worst_over_ambient(input, current_a, &ambients, life) else { continue };
        if depth == Depth::Verdict && input.requirement.judged_by != JudgedBy::Probability95 {
            grid.push(row);
            continue;
        }
        if judged {
            let request = Request {
                trials: Some(input.experiment.trials),
                seed: u64::from(input.experiment.seed),
                ..Request::default()
            };
            assessment = propagation::assess(&input.model(current_a), &corner.sources, None, &request).ok();
            worst_corner = Some(recipe(input, current_a, &corner, &row, assessment.as_ref()));
            if let Some(allowed) = allowed_a {
                // A coverage interval is levered by the root-sum-square that stands in the same proportion to it.
                let interval = assessment.as_ref().and_then(interval_end).filter(|end| *end > 0.0);
                let scale = match (input.requirement.judged_by, interval) {
                    (JudgedBy::Probability95, Some(end)) => row.root_sum_square_a / end,
                    _ => 1.0,
                };
                levers = levers_for(input, current_a, &corner, allowed * scale);
            }
        }
        // Without a calibration the state before it and after it is one.
        if life.calibrated || input.calibration.kind != CalibrationKind::None {
            grid.push(row);
        }
    }
    let beyond_range = share_of_range(input, current_a) > 100.0;
    let judged_a = match (input.requirement.judged_by, grid.last(), &assessment) {
        _ if beyond_range => None,
        (JudgedBy::WorstCase, Some(row), _) => Some(row.worst_case_a),
        (JudgedBy::RootSumSquare, Some(row), _) => Some(row.root_sum_square_a),
        (JudgedBy::Probability95, _, Some(done)) => interval_end(done),
        _ => None,
    };
    let used_percent =
        judged_a.zip(allowed_a).map(|(judged, allowed)| judged / allowed * 100.0).filter(|used| used.is_finite());
    ChannelPoint {
        current_a,
        allowed_a,
        judged_a,
        used_percent,
        beyond_range,
        verdict: match (allowed_a, judged_a) {
            (Some(allowed), Some(judged)) => Verdict::of(Some(judged / allowed * 100.0)),
            (Some(_), None) => Verdict::Fails,
            (None, _) => Verdict::NoLimitSet,
        },
        grid,
        worst_corner,
        assessment,
        what_it_takes: levers,
    }
}

/// The limit each source alone would need, by the first-order sum or, for a statistical requirement, by the
/// root-sum-square; the one that has to shrink least first.
fn levers_for(input: &ChannelInput, current_a: f64, corner: &Corner, allowed: f64) -> Vec<Lever> {
    let method = match input.requirement.judged_by {
        JudgedBy::WorstCase => propagation::Method::Sum,
        JudgedBy::RootSumSquare | JudgedBy::Probability95 => propagation::Method::RootSumSquare,
    };
    let found = propagation::what_it_takes(&input.model(current_a), &corner.sources, allowed, method, true);
    let mut levers: Vec<Lever> = found
        .unwrap_or_default()
        .into_iter()
        .filter(|lever| lever.limit_now > 0.0)
        .filter_map(|lever| {
            let source = corner.sources.iter().find(|source| source.id == lever.id)?;
            Some(Lever {
                id: lever.id,
                label: source.label.clone(),
                unit: source.unit.clone(),
                limit_now: lever.limit_now,
                limit_needed: lever.limit_needed,
            })
        })
        .collect();
    let kept = |lever: &Lever| lever.limit_needed.map_or(-1.0, |needed| needed / lever.limit_now);
    levers.sort_by(|a, b| kept(b).total_cmp(&kept(a)));
    levers
}

/// The farther end of the 95 % coverage interval.
fn interval_end(done: &propagation::Assessment) -> Option<f64> {
    done.monte_carlo.as_ref().map(|run| largest(run.p95.symmetric.low, run.p95.symmetric.high))
}

/// The worst corner as something a bench can set.
fn recipe(
    input: &ChannelInput,
    current_a: f64,
    corner: &Corner,
    row: &Grid,
    assessment: Option<&propagation::Assessment>,
) -> Recipe {
    let up = row.worst_case_high_a.abs() >= row.worst_case_low_a.abs();
    let mut settings = vec![
        format!("ambient {}", say(corner.ambient_degc, Unit::Celsius)),
        format!(
            "{} until the element settles at {}",
            say(current_a, Unit::Ampere),
            say(corner.state.element_degc, Unit::Celsius)
        ),
        input.words(row.calibrated, row.end_of_life),
    ];
    if row.calibrated {
        settings.push(format!("calibrated at {}", say(input.conditions.calibration_degc, Unit::Celsius)));
    }
    if let Some(done) = assessment {
        for term in done.contributions.iter().filter(|term| term.limit > 0.0).take(6) {
            let sign = if (term.sensitivity >= 0.0) == up { '+' } else { '−' };
            let size =
                if term.unit == "V" { say(term.limit, Unit::Volt) } else { say(term.limit * 100.0, Unit::Percent) };
            settings.push(format!("{} {sign}{size}", in_sentence(&term.label)));
        }
    }
    Recipe {
        direction: if up { "reads too high" } else { "reads too low" }.into(),
        ambient_degc: corner.ambient_degc,
        element_degc: corner.state.element_degc,
        settings,
    }
}

fn stress(input: &ChannelInput) -> Stress {
    let (shunt, load) = (&input.shunt, &input.load);
    let ambient = input.shunt_ambient(input.conditions.ambient_max_degc);
    let state = shunt.at(load.continuous_a, ambient);
    let after_peak = state
        .and_then(|state| shunt.node(load.peak_a, ambient).rise_after_k(state.rise_k, load.peak_duration_s))
        .map(|rise| ambient + rise);
    Stress {
        ambient_degc: ambient,
        power_w: state.map(|state| state.power_w),
        rise_k: state.map(|state| state.rise_k),
        element_degc: state.map(|state| state.element_degc),
        change_ppm: state.map(|state| state.change * 1e6),
        derated_power_w: shunt.derated_power_w(ambient),
        after_peak_degc: after_peak,
        largest_current_a: shunt.largest_current(ambient).0,
    }
}

/// What the channel reads at zero current: offsets, without non-linearity and quantisation where the zero was calibrated,
/// because they are zero there. The crossover counts every fixed error.
fn zero(input: &ChannelInput) -> Zero {
    let life = Life { calibrated: true, end_of_life: true };
    let ends = [input.conditions.ambient_min_degc, input.conditions.ambient_max_degc];
    let mut worst = (0.0f64, 0.0f64, ends[1]);
    let mut crossover_v = None;
    for ambient in ends {
        let Some(corner) = input.corner(0.0, ambient, life) else { continue };
        let at_zero = input.calibration.kind != CalibrationKind::None;
        let counted = |source: &&Source| {
            source.unit == "V" && !(at_zero && matches!(source.id.as_str(), "converter.inl" | "converter.quantisation"))
        };
        let fixed: f64 = corner.sources.iter().filter(|source| source.unit == "V").map(|source| source.limit).sum();
        let sum: f64 = corner.sources.iter().filter(counted).map(|source| source.limit).sum();
        let squares: f64 = corner.sources.iter().filter(counted).map(|source| source.limit * source.limit).sum();
        let gain: f64 = corner
            .sources
            .iter()
            .filter(|source| source.unit == "1")
            .map(|source| source.limit + source.estimate.abs())
            .sum();
        if sum > worst.0 {
            worst = (sum, squares.sqrt(), ambient);
            crossover_v = (gain > 0.0).then(|| fixed / gain);
        }
    }
    let resistance = input.shunt.resistance_ohm;
    let current = worst.0 / resistance;
    let per_day = current * DAY_H;
    Zero {
        ambient_degc: worst.2,
        offset_v: worst.0,
        offset_a: current,
        root_sum_square_a: worst.1 / resistance,
        charge_ah_per_day: per_day,
        root_sum_square_ah_per_day: worst.1 / resistance * DAY_H,
        percent_per_day: input.load.capacity_ah.map(|capacity| per_day / capacity * 100.0),
        crossover_a: crossover_v.map(|volt| volt / resistance),
    }
}

/// The error over current, evenly spaced on a logarithmic axis, from a ten-thousandth of full scale up to the largest
/// current that is judged or lasts: beyond it no steady temperature is meant.
fn curve(input: &ChannelInput) -> Vec<CurvePoint> {
    let judged = input.currents_a.iter().copied().fold(0.0, f64::max);
    let top = judged.max(input.load.continuous_a).max(input.load.peak_a);
    let low = (input.load.full_scale_a * 1e-4).min(top * 1e-3);
    let steps = 48;
    let before = Life { calibrated: false, end_of_life: true };
    let after = Life { calibrated: true, end_of_life: true };
    (0..=steps)
        .filter_map(|step| {
            let current_a = top * libm::pow(low / top, f64::from(steps - step) / f64::from(steps));
            let all = input.ambients(current_a);
            // The picture needs the ends and the vertex, not the whole sweep.
            let ambients: Vec<f64> = all
                .iter()
                .copied()
                .enumerate()
                .filter(|(index, _)| index % 8 == 0 || *index + 1 == all.len())
                .map(|(_, degc)| degc)
                .collect();
            let (_, after) = worst_over_ambient(input, current_a, &ambients, after)?;
            let (_, before) = worst_over_ambient(input, current_a, &ambients, before)?;
            Some(CurvePoint {
                current_a,
                worst_case_a: after.worst_case_a,
                root_sum_square_a: after.root_sum_square_a,
                before_calibration_a: before.worst_case_a,
                allowed_a: input.allowed_a(current_a).filter(|allowed| *allowed > 0.0),
            })
        })
        .collect()
}
