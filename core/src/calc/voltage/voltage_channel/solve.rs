//! The voltage channel's numbers.

use super::model::{Channel, State};
use super::output::{VoltageBend, VoltageCurvePoint, VoltageGrid, VoltagePoint, VoltageRange, VoltageRecipe};
use crate::calc::voltage::divider::stress::{Around, StressRung, ladder};
use crate::calc::voltage::divider::{Leak, LeakagePath, at_distance};
use crate::channel::JudgedBy;
use crate::channel::corners::{BEFORE, Corners, JUDGED, Judging, Lives, Point, Sums};
use crate::channel::full;
use crate::channel::search::Found;
use crate::channel::telling::{direction, settings};
use crate::judge::THIN_FROM_PERCENT;
use crate::physics::front_end::{CalibrationKind, Life};
use crate::physics::parts::{finite, share_percent};
use crate::propagation::Assessment;
use crate::quantity::{celsius, volt};
use crate::work::{Halt, Work};

pub(super) fn stress(channel: &Channel<'_>) -> Vec<StressRung> {
    let (input, with) = (channel.input, &channel.input.conditions);
    let [cold, hot] = [with.ambient_min_degc, with.ambient_max_degc].map(|at| (at - with.calibration_degc).abs());
    let leak = Leak(input.surface.leakage_ohm, input.surface.leakage_path);
    let [upper, lower] = at_distance(&input.upper, &input.lower, cold.max(hot), leak);
    let around = Around {
        net: channel.net,
        load_tolerance: input.following.load_tolerance_percent / 100.0
            + input.following.load_drift_ppm_per_k * 1e-6 * cold.max(hot),
        bias_a: input.following.bias_current_a,
        leak_ohm: leak.over(LeakagePath::Whole),
    };
    ladder(&upper, &lower, &around, input.input_max_v, None, with.ambient_max_degc)
}

pub(super) fn range(channel: &Channel<'_>, range: &full::Range<State>) -> VoltageRange {
    let input_max_v = channel.input.input_max_v;
    VoltageRange {
        factor: channel.factor(),
        output_v: channel.net.ratio() * input_max_v,
        full_at_v: range.high.map(|end| end.at),
        over_range_v: range.high.map(|end| end.nominal),
        clips_first: range.high.map_or("nothing", |end| end.first),
        used_percent: finite(range.high.map_or(0.0, |end| share_percent(input_max_v, end.at))),
        lsb_v: channel.lsb_v(),
    }
}

/// Every listed voltage, and the worst of the range; beyond the range there is nothing.
pub(super) fn points(
    channel: &Channel<'_>,
    worst: Option<Point<State>>,
    work: Work,
) -> Result<(Vec<VoltagePoint>, Option<VoltagePoint>), Halt> {
    let judging = Judging::new(channel, work)?;
    let lives = Lives::new(channel, &Life::ALL, 1);
    let (by, full) = (channel.judged_by(), judging.range.high.map(|end| end.at));
    let whole = |mut point: Point<State>| -> Result<VoltagePoint, Halt> {
        work.go_on()?;
        let judged = point.requirement::<Channel<'_>>(point.allowed).without(channel.missing());
        let verdict = judged.outcome.verdict(THIN_FROM_PERCENT);
        let mut told = VoltagePoint {
            voltage_v: point.at,
            beyond_range: point.beyond(),
            allowed_v: point.allowed,
            judged_v: point.error(),
            judged_percent: point.error().map(|judged| judged / point.at * 100.0),
            used_percent: point.used_percent(),
            verdict,
            grid: Vec::new(),
            worst_corner: None,
            before: None,
            assessment: None,
        };
        let Some(found) = point.found else { return Ok(told) };
        let states = lives.sums(point.at, by, work)?;
        let of = |life| states.iter().find(|sums| sums.life == life);
        told.grid = states.iter().map(|sums| grid(full, point.at, sums)).collect();
        if let Some(sums) = of(BEFORE) {
            told.before = lives.assess(point.at, sums, true, work)?;
        }
        told.assessment = match point.run.take() {
            Some(run) => Some(*run),
            None => judging.assess(point.at, found.state, true, work)?,
        };
        let corner = |sums| recipe(channel, (point.at, &found), sums, told.assessment.as_ref());
        told.worst_corner = of(JUDGED).map(corner);
        Ok(told)
    };
    let mut points = Vec::with_capacity(channel.input.voltages_v.len());
    for &at in &channel.input.voltages_v {
        points.push(whole(judging.at(at, by, work)?)?);
    }
    Ok((points, worst.map(whole).transpose()?))
}

fn grid(full: Option<f64>, voltage_v: f64, sums: &Sums<State>) -> VoltageGrid {
    let percent = |volt: f64| volt / voltage_v * 100.0;
    let worst_case_v = sums.worst_case();
    VoltageGrid {
        calibrated: sums.life.calibrated,
        end_of_life: sums.life.end_of_life,
        ambient_degc: sums.found.ambient_degc,
        worst_case_low_v: sums.quick.low,
        worst_case_high_v: sums.quick.high,
        worst_case_v,
        worst_case_percent_of_reading: finite(percent(worst_case_v)),
        worst_case_percent_of_full_scale: full.map_or(0.0, |full| worst_case_v / full * 100.0),
        sum_of_limits_v: sums.quick.sum_of_limits,
        sum_of_limits_percent: percent(sums.quick.sum_of_limits),
        root_sum_square_v: sums.quick.root_sum_square,
        root_sum_square_percent: percent(sums.quick.root_sum_square),
    }
}

/// The worst corner as something a bench can set.
fn recipe(
    channel: &Channel<'_>,
    (voltage_v, found): (f64, &Found<State>),
    sums: &Sums<State>,
    done: Option<&Assessment>,
) -> VoltageRecipe {
    let calibrated = match channel.input.calibration.kind {
        CalibrationKind::None => "drift counted from",
        CalibrationKind::Offset => "zero calibrated at",
        CalibrationKind::TwoPoint => "calibrated at",
    };
    let mut set = vec![
        channel.told(found.ambient_degc, &found.state),
        format!("{} at the input", volt(voltage_v)),
        channel.life(sums.life),
        format!("{calibrated} {}", celsius(channel.input.conditions.calibration_degc)),
    ];
    set.extend(settings(done, sums.up()));
    VoltageRecipe { direction: direction(sums.up()).into(), ambient_degc: found.ambient_degc, settings: set }
}

pub(super) fn bend(channel: &Channel<'_>) -> VoltageBend {
    let with = &channel.input.calibration;
    let span = with.high_v - with.low_v;
    VoltageBend {
        coefficient_ppm_per_v: channel.bend() * 1e6,
        before_v: channel.bend_at(channel.input.input_max_v, false),
        after_v: channel.bend_at(channel.input.input_max_v, true),
        between_v: channel.bend().abs() * span * span / 4.0,
    }
}

/// The error over voltage, evenly spaced from the lowest to the highest voltage of interest.
pub(super) fn curve(channel: &Channel<'_>, work: Work) -> Result<Vec<VoltageCurvePoint>, Halt> {
    let input = channel.input;
    let judged = input.voltages_v.iter().copied();
    // Beyond the range there is no reading and so no error.
    let full = full::range(channel, work)?.high.map_or(f64::INFINITY, |end| end.at);
    let high = judged.clone().fold(input.input_max_v, f64::max).min(full);
    if high <= 0.0 {
        return Ok(Vec::new());
    }
    let low = judged.fold(input.input_min_v.min(input.calibration.low_v), f64::min);
    let low = if low < high { low.max(high / 100.0) } else { high / 100.0 };
    let steps = 48;
    let lives = Lives::new(channel, &[JUDGED, BEFORE], 1);
    let mut curve = Vec::new();
    for step in 0..=steps {
        work.go_on()?;
        let voltage_v = low + (high - low) * f64::from(step) / f64::from(steps);
        if let [after, before] = lives.sums(voltage_v, JudgedBy::WorstCase, work)?.as_slice() {
            curve.push(VoltageCurvePoint {
                voltage_v,
                worst_case_v: after.worst_case(),
                root_sum_square_v: after.quick.root_sum_square,
                before_calibration_v: before.worst_case(),
                allowed_v: input.allowed_v(voltage_v),
            });
        }
    }
    Ok(curve)
}
