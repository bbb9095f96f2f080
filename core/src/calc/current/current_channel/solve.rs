//! The current channel's numbers.

use super::output::{ChannelPoint, CurvePoint, Grid, Noise, Range, Recipe, Ripple, Stress, Zero};
use super::{ChannelInput, State};
use crate::channel::JudgedBy;
use crate::channel::chain::Chain;
use crate::channel::corners::{BEFORE, Corners, JUDGED, Judging, Lives, Point, Sums};
use crate::channel::full;
use crate::channel::search::EVERY;
use crate::channel::telling::{direction, settings};
use crate::constant::DAY_H;
use crate::judge::THIN_FROM_PERCENT;
use crate::physics::front_end::{CalibrationKind, Life};
use crate::physics::parts;
use crate::propagation::Assessment;
use crate::quantity::{ampere, celsius};
use crate::work::{Halt, Work};

/// The ripple's edges make a square wave of ±spike across the inductance. In the steady state a low-pass of the time
/// constant τ lets the output swing by spike · tanh(T/4τ) either way (closed form of a square wave through R-C).
/// Ripple and edges together swing by [`swing`].
pub(super) fn ripple(input: &ChannelInput) -> Ripple {
    let spike_a = input.shunt.ripple_spike_a(input.load.ripple_current_a, input.load.ripple_frequency_hz);
    let low_pass_s = input.filter.corner().map(|corner| 1.0 / (2.0 * std::f64::consts::PI * corner));
    Ripple {
        corner_hz: input.shunt.corner_hz(),
        time_constant_s: input.shunt.time_constant_s(),
        spike_a,
        behind_low_pass_a: low_pass_s.map(|tau| spike_a * libm::tanh(0.25 / (input.load.ripple_frequency_hz * tau))),
        low_pass_s,
        swing_a: swing(input, 0.0),
        swing_behind_low_pass_a: low_pass_s.map(|tau| swing(input, tau)),
    }
}

/// By how much the signal of a triangular ripple swings either way behind a low-pass: the periodic solution of
/// τ y' + y = x + (L/R) x' for x between ±Î with the slope s = 4 Î f (closed form, piecewise exponential). While x rises
/// y = −Î + s t + (L/R − τ) s + K exp(−t/τ), K = 2 s (τ − L/R)/(1 + exp(−T/2τ)); it is lowest where y' = 0, else at an end.
fn swing(input: &ChannelInput, tau: f64) -> f64 {
    let (amplitude, hz) = (input.load.ripple_current_a, input.load.ripple_frequency_hz);
    let (slope, lead) = (4.0 * amplitude * hz, input.shunt.time_constant_s());
    if tau <= lead {
        let share = if tau > 0.0 { libm::tanh(0.25 / (hz * tau)) } else { 1.0 };
        return amplitude + (lead - tau) * slope * share;
    }
    let turns = tau * libm::log(2.0 * (tau - lead) / (tau * (1.0 + libm::exp(-0.5 / (hz * tau)))));
    let at_end = (amplitude - (tau - lead) * slope * libm::tanh(0.25 / (hz * tau))).abs();
    if turns > 0.0 { amplitude - slope * (turns + lead) } else { at_end }
}

/// How far a peak with its ripple goes, and from where on an end of the chain is full, A, signed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reach {
    pub(super) with_ripple_a: f64,
    pub(super) full_at_a: f64,
}

/// The pack's peak with its ripple, signed, and from where on an end of the chain is full of it; the way that goes furthest
/// beyond, or comes nearest.
pub(super) fn ripple_reaches(input: &ChannelInput, range: &full::Range<State>) -> Option<Reach> {
    let (load, ripple) = (&input.load, ripple(input));
    let charge = if input.reads_below_zero() { input.charge_peak_a() } else { 0.0 };
    // Of every part: the quickest low-pass leaves most.
    let (_, quickest) = input.filter.corner_factors();
    let behind_low_pass = ripple.low_pass_s.map_or(ripple.swing_a, |tau| swing(input, tau / quickest));
    let behind = [ripple.swing_a, ripple.swing_a, behind_low_pass];
    let ways = [(load.peak_a.max(load.continuous_a), range.ends[0]), (charge, range.ends[1])];
    let reaches = ways.into_iter().filter(|(peak, _)| *peak > 0.0).flat_map(|(peak, ends)| {
        let peak = peak.min(load.full_scale_a);
        ends.into_iter().zip(behind).filter_map(move |(end, swing)| {
            Some(Reach { with_ripple_a: (peak + swing).copysign(end?), full_at_a: end? })
        })
    });
    let share = |reach: &Reach| reach.with_ripple_a / reach.full_at_a;
    reaches.filter(|_| load.ripple_current_a > 0.0).max_by(|a, b| share(a).total_cmp(&share(b)))
}

pub(super) fn noise(input: &ChannelInput) -> Noise {
    let [single_a, averaged_a] = input.noise_a();
    Noise { single_a, averaged_a, rate_hz: input.converter.data_rate_hz / f64::from(input.averaging) }
}

pub(super) fn range(input: &ChannelInput, range: &full::Range<State>) -> Range {
    let asked = input.load.full_scale_a;
    Range {
        full_scale_v: asked * input.shunt.resistance_ohm,
        full_at_a: range.high.map(|end| end.at),
        full_below_a: range.low.map(|end| end.at),
        nominal_full_a: range.high.map(|end| end.nominal),
        full_first: range.high.map_or("nothing", |end| end.first),
        full_below_first: range.low.map_or("nothing", |end| end.first),
        used_percent: parts::finite(range.high.map_or(0.0, |end| parts::share_percent(asked, end.at))),
        lsb_a: input.front_end().lsb_v() / input.shunt.resistance_ohm,
    }
}

/// Every listed current, and the worst of the range.
pub(super) fn points(
    input: &ChannelInput,
    worst: Option<Point<State>>,
    work: Work,
) -> Result<(Vec<ChannelPoint>, Option<ChannelPoint>), Halt> {
    let channel = &input;
    let judging = Judging::new(channel, work)?;
    // Without a calibration the state before it and after it is one.
    let one = input.calibration.kind == CalibrationKind::None;
    let shown: Vec<Life> = Life::ALL.into_iter().filter(|life| life.calibrated || !one).collect();
    let lives = Lives::new(channel, &shown, EVERY);
    let whole = |mut point: Point<State>| -> Result<ChannelPoint, Halt> {
        work.go_on()?;
        let states =
            if point.error().is_some() { lives.sums(point.at, input.requirement.judged_by, work)? } else { Vec::new() };
        let judged = point.requirement::<&ChannelInput>(point.allowed).without(channel.missing());
        let verdict = judged.outcome.verdict(THIN_FROM_PERCENT);
        let assessment = match (point.run.take(), point.found) {
            (Some(run), _) => Some(*run),
            (None, Some(found)) => judging.assess(point.at, found.state, true, work)?,
            (None, None) => None,
        };
        let judged = states.iter().find(|sums| sums.life == JUDGED);
        Ok(ChannelPoint {
            current_a: point.at,
            allowed_a: point.allowed,
            judged_a: point.error(),
            used_percent: point.used_percent(),
            beyond_range: point.beyond(),
            verdict,
            grid: states.iter().map(|sums| grid(input, point.at, sums)).collect(),
            worst_corner: judged.map(|sums| recipe(input, &point, sums, assessment.as_ref())),
            assessment,
        })
    };
    let by = input.requirement.judged_by;
    let mut points = Vec::with_capacity(input.currents_a.len());
    for &at in &input.currents_a {
        let mut point = judging.at(at, by, work)?;
        if channel.reads_below_zero() && at <= input.charge_peak_a() {
            let charging = judging.at(-at, by, work)?;
            if charging.error() > point.error() {
                point = charging;
            }
        }
        points.push(whole(point)?);
    }
    Ok((points, worst.map(whole).transpose()?))
}

fn grid(input: &ChannelInput, current_a: f64, sums: &Sums<State>) -> Grid {
    let (state, worst_case_a) = (sums.found.state, sums.worst_case());
    Grid {
        calibrated: sums.life.calibrated && input.calibration.kind != CalibrationKind::None,
        end_of_life: sums.life.end_of_life,
        ambient_degc: sums.found.ambient_degc,
        element_degc: state.element_degc,
        change_ppm: input.shunt.curve().change(state.element_degc) * 1e6,
        worst_case_low_a: sums.quick.low,
        worst_case_high_a: sums.quick.high,
        worst_case_a,
        worst_case_percent_of_reading: parts::finite(worst_case_a / current_a.abs() * 100.0),
        worst_case_percent_of_full_scale: worst_case_a / input.load.full_scale_a * 100.0,
        sum_of_limits_a: sums.quick.sum_of_limits,
        root_sum_square_a: sums.quick.root_sum_square,
    }
}

/// The worst corner as something a bench can set.
fn recipe(input: &ChannelInput, point: &Point<State>, sums: &Sums<State>, done: Option<&Assessment>) -> Recipe {
    let found = point.found.unwrap_or(sums.found);
    let (ambient_degc, element_degc) = (found.ambient_degc, found.state.element_degc);
    let heat = if element_degc <= ambient_degc {
        format!("{} just switched on, the element at {}", ampere(point.at), celsius(element_degc))
    } else {
        format!("{} with the element at {}", ampere(point.at), celsius(element_degc))
    };
    let mut set = vec![format!("ambient {}", celsius(ambient_degc)), heat, (&input).life(sums.life)];
    if input.calibration.kind != CalibrationKind::None {
        set.push(format!("calibrated at {}", celsius(input.conditions.calibration_degc)));
    }
    set.extend(settings(done, sums.up()));
    Recipe { direction: direction(sums.up()).into(), ambient_degc, element_degc, settings: set }
}

/// Places between the ends of the ambient at which a curved resistance is looked at.
const BETWEEN: u32 = 32;

/// The ambient at which most of the allowed power is used: the highest, unless the resistance falls with the temperature
/// or is highest between. The allowance is straight on both sides of where it begins to fall.
fn power_ambient(input: &ChannelInput) -> f64 {
    let shunt = &input.shunt;
    let [low, high] = [input.conditions.ambient_min_degc, input.conditions.ambient_max_degc]
        .map(|ambient| input.shunt_ambient(ambient));
    let used = |ambient: f64| match shunt.steady_of_any(input.lasting_a(), ambient) {
        Some((power_w, _)) => power_w / shunt.derated_power_w(ambient),
        None => f64::INFINITY,
    };
    let inside = if shunt.tcr_quadratic_ppm_per_k2 == 0.0 { 1 } else { BETWEEN };
    let between = (1..inside).map(|i| low + (high - low) * f64::from(i) / f64::from(inside));
    let knee = Some(shunt.derate_from_degc).filter(|knee| (low..high).contains(knee));
    let places = between.chain(knee).chain([low]).map(|at| (used(at), at));
    places.fold((used(high), high), |most, other| if other.0 > most.0 { other } else { most }).1
}

pub(super) fn stress(input: &ChannelInput) -> Stress {
    let (shunt, load) = (&input.shunt, &input.load);
    let ambient = input.shunt_ambient(input.conditions.ambient_max_degc);
    let power_ambient = power_ambient(input);
    let coldest = input.shunt_ambient(input.conditions.ambient_min_degc);
    let largest = [ambient, power_ambient, coldest].map(|ambient| shunt.largest_of_any(ambient).0);
    let state = shunt.at(load.continuous_a, ambient);
    let after_peak = input.hottest_degc(input.conditions.ambient_max_degc);
    let hottest = shunt.steady_of_any(input.heating_a(), ambient);
    let lasting = shunt.steady_of_any(input.lasting_a(), power_ambient);
    Stress {
        ambient_degc: ambient,
        power_w: state.map(|state| state.power_w),
        rise_k: state.map(|state| state.rise_k),
        element_degc: state.map(|state| state.element_degc),
        hottest_power_w: lasting.map(|lasting| lasting.0),
        hottest_element_degc: hottest.map(|hottest| hottest.1),
        change_ppm: state.map(|state| state.change * 1e6),
        power_ambient_degc: power_ambient,
        derated_power_w: shunt.derated_power_w(power_ambient),
        after_peak_degc: after_peak,
        largest_current_a: largest.into_iter().fold(f64::INFINITY, f64::min),
    }
}

/// The charge that the offset counts in a day, Ah, and its share of the capacity, percent.
pub(super) fn drift(input: &ChannelInput, worst: &Point<State>) -> (f64, Option<f64>) {
    let per_day = worst.error().unwrap_or(0.0) * DAY_H;
    (per_day, input.load.capacity_ah.map(|capacity| per_day / capacity * 100.0))
}

/// What the channel reads at no current, and where gain errors become larger than that.
pub(super) fn zero(input: &ChannelInput, worst: &Point<State>, work: Work) -> Result<Zero, Halt> {
    let judging = Judging::new(&input, work)?;
    let at = |x: f64, by| judging.at(x, by, work);
    let root = at(0.0, JudgedBy::RootSumSquare)?;
    let top = input.load.continuous_a.max(input.load.peak_a);
    let high = at(top, JudgedBy::WorstCase)?.error();
    let (offset_a, root_a) = (worst.error().unwrap_or(0.0), root.error().unwrap_or(0.0));
    let slope = high.map(|high| (high - offset_a) / top).filter(|slope| *slope > 0.0 && slope.is_finite());
    let (per_day, share) = drift(input, worst);
    Ok(Zero {
        ambient_degc: worst.found.map_or(input.conditions.ambient_max_degc, |found| found.ambient_degc),
        offset_a,
        root_sum_square_a: root_a,
        charge_ah_per_day: per_day,
        root_sum_square_ah_per_day: root_a * DAY_H,
        percent_per_day: share,
        crossover_a: slope.map(|slope| offset_a / slope),
    })
}

/// The error over current, evenly spaced on a logarithmic axis, from a ten-thousandth of full scale up to the largest
/// current that is judged or lasts: beyond it no steady temperature is meant.
pub(super) fn curve(input: &ChannelInput, work: Work) -> Result<Vec<CurvePoint>, Halt> {
    // The picture needs the ends and the vertex, not the whole sweep.
    const PICTURE: usize = 8;
    let judged = input.currents_a.iter().copied().fold(0.0, f64::max);
    let top = judged.max(input.load.continuous_a).max(input.load.peak_a);
    let low = (input.load.full_scale_a * 1e-4).min(top * 1e-3);
    let steps = 48;
    let lives = Lives::new(&input, &[JUDGED, BEFORE], PICTURE);
    let mut curve = Vec::new();
    for step in 0..=steps {
        work.go_on()?;
        let current_a = top * libm::pow(low / top, f64::from(steps - step) / f64::from(steps));
        if let [after, before] = lives.sums(current_a, JudgedBy::WorstCase, work)?.as_slice() {
            curve.push(CurvePoint {
                current_a,
                worst_case_a: after.worst_case(),
                root_sum_square_a: after.quick.root_sum_square,
                before_calibration_a: before.worst_case(),
                allowed_a: (&input).allowed(current_a).filter(|allowed| *allowed > 0.0),
            });
        }
    }
    Ok(curve)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::start;

    /// A triangle of 30 A at 10 kHz through L/R of 0, 40 and 400 µs and a low-pass of 0 to 1 ms, integrated in 20,000 steps a
    /// period until it repeats.
    #[test]
    fn the_swing_is_that_of_an_integrated_course() {
        for lead in [0.0, 4e-5, 4e-4] {
            for tau in [0.0, 1e-5, 3.9e-5, 4e-5, 6e-5, 3.9e-4, 1e-3] {
                let mut input: ChannelInput = start();
                input.load.ripple_current_a = 30.0;
                input.load.ripple_frequency_hz = 1e4;
                input.shunt.inductance_henry = lead * input.shunt.resistance_ohm;
                let (steps, slope) = (20_000_u32, 4.0 * 30.0 * 1e4);
                let step = 1e-4 / f64::from(steps);
                let (mut y, mut most) = (0.0, 0.0_f64);
                let periods = if tau > 2e-4 { 202 } else { 22 };
                for at in 0..periods * steps {
                    let place = f64::from(at % steps) + 0.5;
                    let rises = place < f64::from(steps) / 2.0;
                    let way = place / f64::from(steps) * 4.0 * 30.0;
                    let x = if rises { way - 30.0 } else { 90.0 - way };
                    let drive = x + if rises { lead * slope } else { -lead * slope };
                    y = if tau > 0.0 { drive + (y - drive) * (-step / tau).exp() } else { drive };
                    if at >= (periods - 1) * steps {
                        most = most.max(y.abs());
                    }
                }
                let found = swing(&input, tau);
                assert!((found - most).abs() < 2e-3 * (1.0 + most), "{lead} {tau}: {found} {most}");
            }
        }
    }
}
