//! The voltage channel's numbers.

use std::f64::consts::PI;

use super::input::VoltageInput;
use super::model::Channel;
use super::output::{
    VoltageBend, VoltageCurvePoint, VoltageGrid, VoltageNoise, VoltageOutput, VoltagePoint, VoltageRange, VoltageRecipe,
};
use crate::calc::voltage::divider::stress::ladder;
use crate::calc::voltage::divider::whole_percent;
use crate::channel::budget::largest;
use crate::channel::{JudgedBy, Lever};
use crate::channel::{largest_words, lever_words, limit_said};
use crate::physics::front_end::{CalibrationKind, Life};
use crate::physics::noise::{self, ReadingNoise};
use crate::physics::parts::{Filter, clips_at_v, share_percent};
use crate::propagation::{self, Assessment, Request, Source};
use crate::quantity::{Quantity, Unit, in_sentence, say};
use crate::report::{Check, Verdict};

/// After calibration, at the end of life: the state that is judged.
pub(super) const JUDGED: Life = Life { calibrated: true, end_of_life: true };
/// Before calibration, at the end of life.
pub(super) const BEFORE: Life = Life { calibrated: false, end_of_life: true };

pub(super) fn solve(input: &VoltageInput) -> VoltageOutput {
    solve_to(input, true)
}

/// The requirements alone.
pub(super) fn verdicts(input: &VoltageInput) -> Vec<Check> {
    solve_to(input, false).checks
}

/// Everything, or what the requirements are judged by.
fn solve_to(input: &VoltageInput, whole: bool) -> VoltageOutput {
    let parts = input.parts();
    let channel = Channel { input, front_end: parts.front_end(), net: input.network() };
    let ambient = input.conditions.ambient_max_degc;
    let points: Vec<VoltagePoint> = input.voltages_v.iter().map(|&voltage| point(&channel, voltage, whole)).collect();
    let stress =
        ladder(&input.upper.elements(), &input.lower.elements(), channel.net, input.input_max_v, None, ambient);
    let mut result = VoltageOutput {
        range: range(&channel),
        bend: bend_output(&channel),
        noise: noise_output(&channel),
        curve: if whole { curve(&channel) } else { Vec::new() },
        checks: Vec::new(),
        points,
        stress,
    };
    result.checks = checks(input, &result);
    result
}

/// The worst ambient in one state of life, with its sources.
fn worst_over_ambient(channel: &Channel<'_>, voltage_v: f64, life: Life) -> Option<(Vec<Source>, VoltageGrid)> {
    let with = &channel.input.conditions;
    let model = channel.model(voltage_v);
    let by = channel.input.requirement.judged_by;
    let over_range_v = range(channel).over_range_v;
    let mut worst: Option<(f64, Vec<Source>, VoltageGrid)> = None;
    for ambient_degc in [with.ambient_min_degc, with.ambient_max_degc] {
        let sources = channel.sources(voltage_v, ambient_degc, life);
        let Ok(quick) = propagation::quick(&model, &sources, true) else { continue };
        let percent = |volt: f64| volt / voltage_v * 100.0;
        let worst_case_v = largest(quick.low, quick.high);
        let grid = VoltageGrid {
            calibrated: life.calibrated,
            end_of_life: life.end_of_life,
            ambient_degc,
            worst_case_low_v: quick.low,
            worst_case_high_v: quick.high,
            worst_case_v,
            worst_case_percent_of_reading: percent(worst_case_v),
            worst_case_percent_of_full_scale: worst_case_v / over_range_v * 100.0,
            sum_of_limits_v: quick.sum_of_limits,
            sum_of_limits_percent: percent(quick.sum_of_limits),
            root_sum_square_v: quick.root_sum_square,
            root_sum_square_percent: percent(quick.root_sum_square),
        };
        let judged = match by {
            JudgedBy::RootSumSquare => grid.root_sum_square_v,
            JudgedBy::WorstCase => grid.worst_case_v,
            // The same corner as the coverage interval without running the trials.
            JudgedBy::Probability95 => propagation::assess(&model, &sources, None, &Request::default())
                .map_or(grid.worst_case_v, |done| largest(done.gum.low, done.gum.high)),
        };
        if worst.as_ref().is_none_or(|(best, ..)| judged > *best) {
            worst = Some((judged, sources, grid));
        }
    }
    worst.map(|(_, sources, grid)| (sources, grid))
}

fn point(channel: &Channel<'_>, voltage_v: f64, whole: bool) -> VoltagePoint {
    let input = channel.input;
    let allowed_v = input.allowed_v(voltage_v);
    let request =
        Request { trials: Some(input.experiment.trials), seed: u64::from(input.experiment.seed), ..Request::default() };
    let assess = |sources: &[Source]| propagation::assess(&channel.model(voltage_v), sources, None, &request).ok();
    let mut point = VoltagePoint {
        voltage_v,
        beyond_range: voltage_v > range(channel).over_range_v,
        allowed_v,
        judged_v: None,
        judged_percent: None,
        used_percent: None,
        verdict: Verdict::NoLimitSet,
        grid: Vec::new(),
        worst_corner: None,
        before: None,
        assessment: None,
        what_it_takes: Vec::new(),
    };
    if point.beyond_range {
        point.verdict = Verdict::Fails;
        return point;
    }
    for life in Life::ALL {
        if !whole && life != JUDGED {
            continue;
        }
        let Some((sources, row)) = worst_over_ambient(channel, voltage_v, life) else { continue };
        let by = input.requirement.judged_by;
        if !whole && by != JudgedBy::Probability95 {
            point.judged_v = Some(if by == JudgedBy::WorstCase { row.worst_case_v } else { row.root_sum_square_v });
            continue;
        }
        if life == BEFORE {
            point.before = assess(&sources);
        }
        if life == JUDGED {
            point.assessment = assess(&sources);
            point.worst_corner = Some(recipe(input, voltage_v, &row, point.assessment.as_ref()));
            point.judged_v = match (input.requirement.judged_by, &point.assessment) {
                (JudgedBy::WorstCase, _) => Some(row.worst_case_v),
                (JudgedBy::RootSumSquare, _) => Some(row.root_sum_square_v),
                (JudgedBy::Probability95, Some(done)) => {
                    done.monte_carlo.as_ref().map(|run| largest(run.p95.symmetric.low, run.p95.symmetric.high))
                }
                (JudgedBy::Probability95, None) => None,
            };
            if let Some(allowed) = allowed_v {
                point.what_it_takes =
                    levers_for(channel, voltage_v, &sources, allowed, point.judged_v.zip(Some(row.root_sum_square_v)));
            }
        }
        point.grid.push(row);
    }
    let share = point.judged_v.zip(allowed_v).map(|(judged, allowed)| judged / allowed * 100.0);
    point.judged_percent = point.judged_v.map(|judged| judged / voltage_v * 100.0);
    point.used_percent = share.filter(|used| used.is_finite());
    point.verdict = match (allowed_v, share) {
        (None, _) => Verdict::NoLimitSet,
        (Some(_), Some(share)) if !share.is_nan() => Verdict::of(Some(share)),
        _ => Verdict::Fails,
    };
    point
}

/// The limit each source alone would need, the one that has to shrink least first.
fn levers_for(
    channel: &Channel<'_>,
    voltage_v: f64,
    sources: &[Source],
    allowed: f64,
    judged_and_root: Option<(f64, f64)>,
) -> Vec<Lever> {
    let by = channel.input.requirement.judged_by;
    let (method, allowed) = match by {
        JudgedBy::WorstCase => (propagation::Method::Sum, allowed),
        JudgedBy::RootSumSquare => (propagation::Method::RootSumSquare, allowed),
        // The coverage interval is taken to shrink with the root-sum-square.
        JudgedBy::Probability95 => {
            let scale = judged_and_root.filter(|(judged, _)| *judged > 0.0).map_or(1.0, |(judged, root)| root / judged);
            (propagation::Method::RootSumSquare, allowed * scale)
        }
    };
    let found = propagation::what_it_takes(&channel.model(voltage_v), sources, allowed, method, true);
    let mut levers: Vec<Lever> = found
        .unwrap_or_default()
        .into_iter()
        // Leakage is a limit on one side: half of it is the estimate, so a limit alone says nothing.
        .filter(|lever| lever.limit_now > 0.0 && lever.id != "surface.leakage")
        .filter(|lever| {
            by != JudgedBy::Probability95 || lever.limit_needed.is_none_or(|needed| needed < lever.limit_now)
        })
        .filter_map(|lever| {
            let source = sources.iter().find(|source| source.id == lever.id)?;
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

/// The worst corner as something a bench can set.
fn recipe(input: &VoltageInput, voltage_v: f64, row: &VoltageGrid, assessment: Option<&Assessment>) -> VoltageRecipe {
    let up = row.worst_case_high_v.abs() >= row.worst_case_low_v.abs();
    let mut settings = vec![
        format!("ambient {}", say(row.ambient_degc, Unit::Celsius)),
        format!("{} at the input", say(voltage_v, Unit::Volt)),
        state(input, JUDGED),
        match input.calibration.kind {
            CalibrationKind::None => "drift counted from",
            CalibrationKind::Offset => "zero calibrated at",
            CalibrationKind::TwoPoint => "calibrated at",
        }
        .to_owned()
            + " "
            + &say(input.conditions.calibration_degc, Unit::Celsius),
    ];
    if let Some(done) = assessment {
        for term in done.contributions.iter().filter(|term| term.limit > 0.0).take(6) {
            let sign = if (term.sensitivity >= 0.0) == up { '+' } else { '−' };
            let label = in_sentence(&term.label);
            settings.push(if term.id == "surface.leakage" {
                // One-sided: either all of it or none.
                format!("{label} {}", if up { "as large as it gets" } else { "none" })
            } else {
                format!("{label} {sign}{}", limit_said(&term.unit, term.limit))
            });
        }
    }
    VoltageRecipe {
        direction: if up { "reads too high" } else { "reads too low" }.into(),
        ambient_degc: row.ambient_degc,
        settings,
    }
}

/// A state of life in words, by what the calibration really does.
pub(super) fn state(input: &VoltageInput, life: Life) -> String {
    let age = if life.end_of_life { "end of life" } else { "new" };
    let done = if life.calibrated { input.calibration.kind } else { CalibrationKind::None };
    format!("{age}, {}", calibrated(done))
}

/// What was calibrated, in words.
pub(super) const fn calibrated(kind: CalibrationKind) -> &'static str {
    match kind {
        CalibrationKind::None => "not calibrated",
        CalibrationKind::Offset => "zero calibrated",
        CalibrationKind::TwoPoint => "calibrated",
    }
}

fn range(channel: &Channel<'_>) -> VoltageRange {
    let input = channel.input;
    let ratio = channel.net.ratio();
    // The pack voltage has one sign: of a bipolar range its positive side counts.
    let (clips_at, clips_first) = clips_at_v(&input.amplifier, input.converter.full_scale_v, false);
    let over_range_v = clips_at.max(0.0) / ratio;
    VoltageRange {
        factor: 1.0 / channel.nominal_ratio(),
        output_v: ratio * input.input_max_v,
        over_range_v,
        clips_first: clips_first.into(),
        used_percent: share_percent(input.input_max_v, over_range_v),
        lsb_v: channel.front_end.lsb_v() / channel.nominal_ratio(),
    }
}

fn bend_output(channel: &Channel<'_>) -> VoltageBend {
    let with = &channel.input.calibration;
    let span = with.high_v - with.low_v;
    VoltageBend {
        coefficient_ppm_per_v: channel.bend() * 1e6,
        before_v: channel.bend_at(channel.input.input_max_v, false),
        after_v: channel.bend_at(channel.input.input_max_v, true),
        between_v: channel.bend().abs() * span * span / 4.0,
    }
}

fn noise_output(channel: &Channel<'_>) -> VoltageNoise {
    let input = channel.input;
    let ratio = channel.nominal_ratio();
    let source = channel.net.source_loaded_ohm();
    let degc = input.conditions.ambient_max_degc;
    // The capacitor's kT/C is the thermal noise of the divider in its band: the corner alone is handed on, so that it is
    // counted once.
    let filter = Filter {
        resistance_ohm: source,
        capacitance_farad: None,
        corner_hz: input.following.filter_farad.map(|farad| 1.0 / (2.0 * PI * source * farad)),
        resistance_tolerance_percent: 0.0,
        capacitance_tolerance_percent: 0.0,
    };
    let parts = input.parts();
    let rest = ReadingNoise::new(&input.amplifier, &filter, &parts.converter, input.averaging, degc);
    let divider = noise::johnson_v(source, degc, rest.bandwidth_hz);
    let averaged = divider / f64::from(input.averaging).sqrt();
    VoltageNoise {
        divider_v: divider / ratio,
        amplifier_v: rest.white_v / ratio,
        flicker_v: rest.flicker_v / ratio,
        converter_v: rest.converter_v / ratio,
        single_v: libm::hypot(divider, rest.single_v) / ratio,
        averaged_v: libm::hypot(averaged, rest.averaged_v) / ratio,
    }
}

/// The error over voltage, evenly spaced from the lowest to the highest voltage of interest.
fn curve(channel: &Channel<'_>) -> Vec<VoltageCurvePoint> {
    let input = channel.input;
    let judged = input.voltages_v.iter().copied();
    // Beyond the range there is no reading and so no error.
    let high = judged.clone().fold(input.input_max_v, f64::max).min(range(channel).over_range_v);
    if high <= 0.0 {
        return Vec::new();
    }
    let low = judged.fold(input.input_min_v.min(input.calibration.low_v), f64::min);
    let low = if low < high { low.max(high / 100.0) } else { high / 100.0 };
    let steps = 48;
    (0..=steps)
        .filter_map(|step| {
            let voltage_v = low + (high - low) * f64::from(step) / f64::from(steps);
            let (_, after) = worst_over_ambient(channel, voltage_v, JUDGED)?;
            let (_, before) = worst_over_ambient(channel, voltage_v, BEFORE)?;
            Some(VoltageCurvePoint {
                voltage_v,
                worst_case_v: after.worst_case_v,
                root_sum_square_v: after.root_sum_square_v,
                before_calibration_v: before.worst_case_v,
                allowed_v: input.allowed_v(voltage_v),
            })
        })
        .collect()
}

fn checks(input: &VoltageInput, result: &VoltageOutput) -> Vec<Check> {
    let mut checks: Vec<Check> = result
        .points
        .iter()
        .map(|point| {
            let label = format!("Reading error at {}", say(point.voltage_v, Unit::Volt));
            let corner = point
                .worst_corner
                .as_ref()
                .map_or_else(String::new, |corner| format!(", ambient {}", say(corner.ambient_degc, Unit::Celsius)));
            let note = format!("{}, {}{corner}", input.requirement.judged_by.label(), state(input, JUDGED));
            let id = "voltage-channel.error";
            match point.judged_v {
                Some(judged) => Check::at_most(id, &label, note, Quantity::new(judged, Unit::Volt), point.allowed_v),
                None => Check::undefined(
                    id,
                    &label,
                    if point.beyond_range { "beyond the converter's range" } else { "the model is not finite here" },
                    Quantity::new(point.allowed_v.unwrap_or(0.0), Unit::Volt),
                ),
            }
            .at("/requirement/gain_percent")
            .because(
                point.assessment.as_ref().and_then(|done| largest_words(done, Unit::Volt)),
                lever_words(&point.what_it_takes),
            )
        })
        .collect();
    for rung in &result.stress {
        let rule = if rung.id == "normal" { input.stress_limit_percent / 100.0 } else { 1.0 };
        checks.push(
            Check::at_most(
                &format!("voltage-channel.stress-{}", rung.id),
                &format!("Element stress: {}", in_sentence(rung.label)),
                format!(
                    "{}, ambient {}",
                    say(rung.input_v, Unit::Volt),
                    say(input.conditions.ambient_max_degc, Unit::Celsius)
                ),
                Quantity::new(rung.element_v, Unit::Volt),
                Some(rung.limit_v * rule),
            )
            .at(if rung.id == "normal" { "/stress_limit_percent" } else { "/upper/max_working_v" }),
        );
    }
    checks.push(
        Check::at_most(
            "voltage-channel.range",
            "Highest input inside the range",
            format!("{} used; clips first: {}", whole_percent(result.range.used_percent), result.range.clips_first),
            Quantity::new(input.input_max_v, Unit::Volt),
            Some(result.range.over_range_v),
        )
        .at("/converter/full_scale_v"),
    );
    checks
}
