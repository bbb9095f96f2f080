//! The numbers of a discharge.

use super::decay::Path;
use super::input::{ActiveKind, DischargeInput};
use super::output::{DischargeOutput, DischargePoint, DischargeWay, DischargeWeld};

/// Points of a curve.
const POINTS: u32 = 100;

pub(super) fn solve(input: &DischargeInput) -> DischargeOutput {
    let farad = input.largest_farad();
    let (v0, v1) = (input.start_v, input.safe_v.min(input.start_v));
    let active_limit = input.active.limit_s;
    let active = input.active_slowest().zip(input.active_nominal()).zip(input.active_fastest()).map(
        |((slow, nominal), fast)| {
            let tolerance = (input.active.kind == ActiveKind::Resistor).then_some(input.active.tolerance_percent);
            way(input, [slow, nominal, fast], active_limit, tolerance)
        },
    );
    let passive = input.passive_slowest().zip(input.passive_nominal()).zip(input.passive_fastest()).map(
        |((slow, nominal), fast)| {
            way(input, [slow, nominal, fast], input.passive.limit_s, Some(input.passive.tolerance_percent))
        },
    );
    let together_s = input
        .active_slowest()
        .zip(input.passive_slowest())
        .and_then(|(active, passive)| active.beside(passive).time_s(farad, v0, v1));
    DischargeOutput {
        stored_j: 0.5 * farad * v0 * v0,
        removed_j: 0.5 * farad * (v0 * v0 - v1 * v1),
        connected_j: input.active_fastest().map(|path| path.power_w(v0) * active_limit),
        weld: weld(input),
        curve: Vec::new(),
        active,
        passive,
        together_s,
    }
}

fn way(
    input: &DischargeInput,
    [slow, nominal, fast]: [Path; 3],
    limit: f64,
    tolerance_percent: Option<f64>,
) -> DischargeWay {
    let farad = input.largest_farad();
    let left_v = slow.left_v(farad, input.start_v, limit);
    let largest_ohm = tolerance_percent
        .filter(|_| input.start_v > input.safe_v)
        .map(|tolerance| limit / (farad * libm::log(input.start_v / input.safe_v)) / (1.0 + tolerance / 100.0));
    DischargeWay {
        time_s: slow.time_s(farad, input.start_v, input.safe_v),
        nominal_s: nominal.time_s(input.capacitance_farad, input.start_v, input.safe_v),
        start_w: nominal.power_w(input.start_v),
        highest_w: fast.power_w(input.start_v),
        left_v,
        left_j: 0.5 * farad * left_v * left_v,
        largest_ohm,
        largest_w: largest_ohm.map(|ohm| input.start_v * input.start_v / ohm),
    }
}

/// The bleeder makes the decay; without one the active discharge does.
fn weld(input: &DischargeInput) -> Option<DischargeWeld> {
    let error_v = 2.0 * input.weld.reading_error_v?;
    let path = input.passive_slowest().or(input.active_slowest()).unwrap_or(Path::NONE);
    let farad = input.largest_farad();
    Some(DischargeWeld {
        drop_v: if path == Path::NONE {
            0.0
        } else {
            input.start_v - path.left_v(farad, input.start_v, input.weld.time_s)
        },
        error_v,
        shortest_s: (error_v < input.start_v && path != Path::NONE)
            .then(|| path.time_s(farad, input.start_v, input.start_v - error_v))
            .flatten(),
    })
}

/// The link voltage over time, to half as long again as the longest of the times.
pub(super) fn curve(input: &DischargeInput, result: &DischargeOutput) -> Vec<DischargePoint> {
    let (active, passive) = (result.active.as_ref(), result.passive.as_ref());
    let farad = input.largest_farad();
    let mut times: Vec<f64> = [
        active.and_then(|way| way.time_s),
        passive.and_then(|way| way.time_s),
        active.map(|_| input.active.limit_s),
        passive.map(|_| input.passive.limit_s),
    ]
    .into_iter()
    .flatten()
    .filter(|time| *time > 0.0)
    .collect();
    times.sort_by(f64::total_cmp);
    let (Some(first), Some(last)) = (times.first(), times.last()) else { return Vec::new() };
    let (first, last) = (first / 30.0, last * 1.5);
    let (active, passive) = (input.active_slowest(), input.passive_slowest());
    (0..=POINTS)
        .map(|i| {
            let time_s = first * libm::pow(last / first, f64::from(i) / f64::from(POINTS));
            DischargePoint {
                time_s,
                active_v: active.map(|path| path.left_v(farad, input.start_v, time_s)),
                passive_v: passive.map(|path| path.left_v(farad, input.start_v, time_s)),
            }
        })
        .collect()
}
