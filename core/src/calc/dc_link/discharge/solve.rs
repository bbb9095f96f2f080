//! The numbers of a discharge.

use super::decay::Path;
use super::input::{ActiveKind, DischargeInput, FeedKind};
use super::link::{FOR_EVER_S, Link};
use super::output::{DischargeOutput, DischargePoint, DischargeWay};
use super::weld;
use crate::numeric::where_largest;

/// Points of a curve.
const POINTS: u32 = 100;

pub(super) fn solve(input: &DischargeInput) -> DischargeOutput {
    let farad = input.largest_farad();
    // A machine that turns faster than the pack allows lifts the link before anything falls.
    let v0 = input.start_v.max(input.emf_v());
    let v1 = input.safe_v.min(v0);
    let active_limit = input.active.limit_s;
    let (half, resistor) = (input.active.tolerance_percent / 100.0, input.active.kind == ActiveKind::Resistor);
    let active = way(input, &|by| input.active_slower(by), half, resistor, active_limit);
    let half = input.passive.tolerance_percent / 100.0;
    let passive = way(input, &|by| input.passive_slower(by), half, true, input.passive.limit_s);
    let both = input.active_slowest().zip(input.passive_slowest()).filter(|_| input.unknown().is_none());
    let together_s = both.and_then(|(active, passive)| latest_s(input, active.beside(passive), v1));
    let stored_j = 0.5 * farad * v0 * v0;
    DischargeOutput {
        stored_j,
        removed_j: 0.5 * farad * (v0 * v0 - v1 * v1),
        active_j: fed_j(input).unwrap_or(0.0).max(stored_j),
        // The bleeder is always there.
        highest_v: passive.as_ref().or(active.as_ref()).map_or(v0, |way| way.highest_v.max(v0)),
        connected_j: input.active_fastest().map(|path| path.power_w(v0) * active_limit),
        weld: input.weld.reading_error_v.map(|error| weld::solve(input, error)),
        curve: Vec::new(),
        active,
        passive,
        together_s,
    }
}

/// The energy in the active discharge while something feeds the link and of what is left in it then; where that does not stop,
/// up to the allowed time. A slow one keeps the link high and takes more of a current, a fast one takes more of a machine: every
/// value within the tolerance is searched.
fn fed_j(input: &DischargeInput) -> Option<f64> {
    let half = input.active.tolerance_percent / 100.0;
    let until_s = input.active.limit_s.max(input.fed_until_s().unwrap_or(0.0));
    let from_v = input.start_v.max(input.emf_v());
    // A small capacitor is lifted further, a large one has more of its own.
    let each = |farad: f64, by: f64| {
        let own = input.active_slower(by).filter(|_| input.is_fed())?;
        // A machine of which nobody knows when it stands gives nothing for certain.
        let emf_v = input.feed.stop_s.map_or(0.0, |_| input.emf_v());
        let link = Link { emf_v, ..input.link_of(farad, own) };
        let left_v = link.left_v(from_v, until_s);
        Some(link.energy_j(from_v, until_s) + 0.5 * link.farad * left_v * left_v)
    };
    let of = |by: f64| Some(each(input.largest_farad(), by)?.max(each(input.smallest_farad(), by)?));
    of(where_largest(-half, half, &[], |by| of(by).unwrap_or(f64::INFINITY)))
}

/// When the link is at a voltage or below for good at the latest, s.
fn latest_s(input: &DischargeInput, slow: Path, to_v: f64) -> Option<f64> {
    let of = |farad: f64| input.link_of(farad, slow).time_s(input.start_v, to_v).unwrap_or(f64::INFINITY);
    Some(input.over_farad(of)).filter(|time| time.is_finite())
}

/// A way to discharge the link, which `slower` changes by a share of up to `half` towards slower.
fn way(
    input: &DischargeInput,
    slower: &dyn Fn(f64) -> Option<Path>,
    half: f64,
    resistor: bool,
    limit: f64,
) -> Option<DischargeWay> {
    let (slow, nominal) = (slower(half)?, slower(0.0)?);
    let left_v = |farad: f64| input.link_of(farad, slow).left_v(input.start_v, limit);
    // What feeds the link lifts the smallest capacitance most, and goes on after the allowed time.
    let until_s = limit.max(input.fed_until_s().unwrap_or(FOR_EVER_S));
    let lifted_v = |path: Path| input.link_of(input.smallest_farad(), path).highest_v(input.start_v, until_s);
    // A fast one takes more at a voltage, a slow one is lifted further.
    let takes_w = |by: f64| slower(by).map_or(0.0, |path| path.power_w(lifted_v(path)));
    let worst = if input.feed.kind == FeedKind::None { -half } else { where_largest(-half, half, &[], takes_w) };
    let largest_ohm = (resistor && input.start_v > input.safe_v && !input.is_fed())
        .then(|| limit / (input.largest_farad() * libm::log(input.start_v / input.safe_v)) / (1.0 + half));
    Some(DischargeWay {
        time_s: latest_s(input, slow, input.safe_v).filter(|_| input.unknown().is_none()),
        nominal_s: nominal.time_s(input.capacitance_farad, input.start_v, input.safe_v),
        start_w: nominal.power_w(input.start_v),
        highest_w: takes_w(worst),
        highest_v: lifted_v(slow),
        left_v: input.over_farad(left_v),
        left_j: input.over_farad(|farad| 0.5 * farad * left_v(farad) * left_v(farad)),
        largest_ohm,
        largest_w: largest_ohm.map(|ohm| input.start_v * input.start_v / ohm),
    })
}

/// The link voltage over time, to half as long again as the longest of the times.
pub(super) fn curve(input: &DischargeInput, result: &DischargeOutput) -> Vec<DischargePoint> {
    let (active, passive) = (result.active.as_ref(), result.passive.as_ref());
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
                active_v: active.map(|path| input.link(path).left_v(input.start_v, time_s)),
                passive_v: passive.map(|path| input.link(path).left_v(input.start_v, time_s)),
            }
        })
        .collect()
}
