//! The current channel's numbers.

use super::ChannelInput;
use super::output::{ChannelPoint, CurvePoint, Grid, Noise, Range, Recipe, Ripple, Stress, Zero};
use crate::channel::corners::{BEFORE, Corners, JUDGED, Places, Point, Sums, Wholes};
use crate::channel::telling::{direction, settings};
use crate::constant::DAY_H;
use crate::judge::THIN_FROM_PERCENT;
use crate::physics::front_end::CalibrationKind;
use crate::physics::noise::ReadingNoise;
use crate::physics::parts;
use crate::propagation::{Assessment, Source};
use crate::quantity::{ampere, celsius};
use crate::work::{Halt, Work};

/// The ripple's edges make a square wave of ±spike across the inductance. In the steady state a low-pass of the time
/// constant τ lets the output swing by spike · tanh(T/4τ) either way (closed form of a square wave through R-C).
pub(super) fn ripple(input: &ChannelInput) -> Ripple {
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

pub(super) fn noise(input: &ChannelInput) -> Noise {
    let ambient = input.conditions.ambient_max_degc;
    let noise = ReadingNoise::new(&input.amplifier, &input.filter, &input.converter, input.averaging, ambient);
    Noise {
        single_a: noise.single_v / input.shunt.resistance_ohm,
        averaged_a: noise.averaged_v / input.shunt.resistance_ohm,
        rate_hz: input.converter.data_rate_hz / f64::from(input.averaging),
    }
}

pub(super) fn range(input: &ChannelInput) -> Range {
    let (clips_at_v, clips_first) = input.clips_at_v();
    let signal = input.load.full_scale_a * input.shunt.resistance_ohm;
    Range {
        full_scale_v: signal,
        clips_at_v,
        clips_at_a: clips_at_v / input.shunt.resistance_ohm,
        clips_first,
        used_percent: parts::share_percent(signal, clips_at_v),
        lsb_a: input.front_end().lsb_v() / input.shunt.resistance_ohm,
    }
}

/// Every point in full.
pub(super) fn points(input: &ChannelInput, points: Vec<Point>, work: Work) -> Result<Vec<ChannelPoint>, Halt> {
    let mut wholes = Wholes::new(&input);
    points
        .into_iter()
        .map(|mut point| {
            work.go_on()?;
            let whole = wholes.point(&mut point, work)?;
            let judged = whole.states.iter().find(|sums| sums.life == JUDGED);
            // Without a calibration the state before it and after it is one.
            let one = input.calibration.kind == CalibrationKind::None;
            let shown = whole.states.iter().filter(|sums| sums.life.calibrated || !one);
            Ok(ChannelPoint {
                current_a: point.at,
                allowed_a: point.allowed,
                judged_a: point.judged,
                used_percent: point.used_percent(),
                beyond_range: point.beyond,
                verdict: point.requirement::<&ChannelInput>(point.allowed).outcome.verdict(THIN_FROM_PERCENT),
                grid: shown.filter_map(|sums| grid(input, point.at, sums)).collect(),
                worst_corner: judged.and_then(|sums| recipe(input, point.at, sums, whole.assessment.as_ref())),
                assessment: whole.assessment,
                what_it_takes: whole.levers,
            })
        })
        .collect()
}

fn grid(input: &ChannelInput, current_a: f64, sums: &Sums) -> Option<Grid> {
    let state = input.shunt.at(current_a, input.shunt_ambient(sums.ambient_degc))?;
    let worst_case_a = sums.worst_case();
    Some(Grid {
        calibrated: sums.life.calibrated && input.calibration.kind != CalibrationKind::None,
        end_of_life: sums.life.end_of_life,
        ambient_degc: sums.ambient_degc,
        element_degc: state.element_degc,
        change_ppm: state.change * 1e6,
        worst_case_low_a: sums.quick.low,
        worst_case_high_a: sums.quick.high,
        worst_case_a,
        worst_case_percent_of_reading: worst_case_a / current_a * 100.0,
        worst_case_percent_of_full_scale: worst_case_a / input.load.full_scale_a * 100.0,
        sum_of_limits_a: sums.quick.sum_of_limits,
        root_sum_square_a: sums.quick.root_sum_square,
    })
}

/// The worst corner as something a bench can set.
fn recipe(input: &ChannelInput, current_a: f64, sums: &Sums, done: Option<&Assessment>) -> Option<Recipe> {
    let element_degc = input.shunt.at(current_a, input.shunt_ambient(sums.ambient_degc))?.element_degc;
    let mut set = vec![
        format!("ambient {}", celsius(sums.ambient_degc)),
        format!("{} until the element settles at {}", ampere(current_a), celsius(element_degc)),
        input.state(sums.life),
    ];
    if input.calibration.kind != CalibrationKind::None {
        set.push(format!("calibrated at {}", celsius(input.conditions.calibration_degc)));
    }
    set.extend(settings(done, sums));
    let direction = direction(sums).into();
    Some(Recipe { direction, ambient_degc: sums.ambient_degc, element_degc, settings: set })
}

pub(super) fn stress(input: &ChannelInput) -> Stress {
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
pub(super) fn zero(input: &ChannelInput) -> Zero {
    let ends = [input.conditions.ambient_min_degc, input.conditions.ambient_max_degc];
    let mut worst = (0.0f64, 0.0f64, ends[1]);
    let mut crossover_v = None;
    for ambient in ends {
        let Some(corner) = input.corner(0.0, ambient, JUDGED) else { continue };
        let at_zero = input.calibration.kind != CalibrationKind::None;
        let counted = |source: &&Source| {
            source.unit == "V" && !(at_zero && matches!(&*source.id, "converter.inl" | "converter.quantisation"))
        };
        let fixed: f64 = corner.iter().filter(|source| source.unit == "V").map(|source| source.limit).sum();
        let sum: f64 = corner.iter().filter(counted).map(|source| source.limit).sum();
        let squares: f64 = corner.iter().filter(counted).map(|source| source.limit * source.limit).sum();
        let gain: f64 =
            corner.iter().filter(|source| source.unit == "1").map(|source| source.limit + source.estimate.abs()).sum();
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
pub(super) fn curve(input: &ChannelInput, work: Work) -> Result<Vec<CurvePoint>, Halt> {
    // The picture needs the ends and the vertex, not the whole sweep.
    const EVERY: usize = 8;
    let judged = input.currents_a.iter().copied().fold(0.0, f64::max);
    let top = judged.max(input.load.continuous_a).max(input.load.peak_a);
    let low = (input.load.full_scale_a * 1e-4).min(top * 1e-3);
    let steps = 48;
    let [mut before, mut after] = [BEFORE, JUDGED].map(|life| Places::new(&input, life));
    let mut curve = Vec::new();
    for step in 0..=steps {
        work.go_on()?;
        let current_a = top * libm::pow(low / top, f64::from(steps - step) / f64::from(steps));
        let sums = (after.sums(current_a, EVERY, work)?, before.sums(current_a, EVERY, work)?);
        if let (Some(after), Some(before)) = sums {
            curve.push(CurvePoint {
                current_a,
                worst_case_a: after.worst_case(),
                root_sum_square_a: after.quick.root_sum_square,
                before_calibration_a: before.worst_case(),
                allowed_a: input.allowed(current_a).filter(|allowed| *allowed > 0.0),
            });
        }
    }
    Ok(curve)
}
