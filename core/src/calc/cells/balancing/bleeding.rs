//! The numbers of bleeding, of what it must make up for, and of the transfer beside it.

use super::curve::Ocv;
use super::wires;
use super::{
    BalancingActive, BalancingDaily, BalancingFloor, BalancingFloorPoint, BalancingInput, BalancingPassive,
    BalancingPoint, BalancingWire, Solved,
};
use crate::constant::{DAY_H, HOUR_S};
use crate::numeric::first_where;

/// Points of a curve.
const POINTS: u32 = 60;

/// Days of a month without balancing.
const MONTH_DAYS: f64 = 30.0;

pub(super) fn solve(input: &BalancingInput) -> Solved {
    let ocv = Ocv::new(&input.curve.points);
    let level = level(input, ocv);
    let passive = passive(input, ocv, level);
    let wire = wires::worst(input, passive.start_v);
    Solved {
        passive,
        wire,
        daily: daily(input, &passive),
        floor: floor(input, ocv, level, &wire),
        active: active(input, &passive),
    }
}

/// Hours from the start until `removed` percent are gone.
fn hours(input: &BalancingInput, ocv: Option<Ocv<'_>>, removed: f64) -> f64 {
    let start = input.curve.start_soc_percent;
    let inverse = ocv.map_or(removed / input.cell_v, |ocv| ocv.integrals(start, start - removed).0);
    input.capacity_ah / 100.0 * inverse * input.path_ohm() / input.duty()
}

/// Where the cells are level while the others lose a leak more: they come down meanwhile, and the full one has to follow.
#[derive(Clone, Copy)]
struct Level {
    /// What is taken from the full one by then, percent; where it never comes to that, all that gains anything.
    removed: f64,
    /// After so many hours; none where bleeding never gains on the others, or the cell is at the lowest point before.
    after_h: Option<f64>,
}

fn level(input: &BalancingInput, ocv: Option<Ocv<'_>>) -> Level {
    let (leak, imbalance) = (input.accuracy.leak_mismatch_a, input.imbalance_percent);
    let Some(ocv) = ocv else {
        let gains = input.cell_v / input.path_ohm() * input.duty() - leak;
        let after_h = (gains > 0.0).then(|| input.capacity_ah / 100.0 * imbalance / gains);
        return Level { removed: imbalance, after_h };
    };
    let time_h = |removed: f64| hours(input, Some(ocv), removed);
    if leak == 0.0 {
        return Level { removed: imbalance, after_h: Some(time_h(imbalance)) };
    }
    let start = input.curve.start_soc_percent;
    let loses = |removed: f64| ocv.volt(start - removed) / input.path_ohm() * input.duty() <= leak;
    let last = start - ocv.lowest();
    // What is removed beyond that gains nothing.
    let most = if loses(last) { first_where(0.0, last, loses) } else { last };
    let level = |removed: f64| removed - 100.0 / input.capacity_ah * leak * time_h(removed) >= imbalance;
    let removed = if level(most) { first_where(imbalance, most, level) } else { most };
    Level { removed, after_h: level(most).then(|| time_h(removed)) }
}

fn passive(input: &BalancingInput, ocv: Option<Ocv<'_>>, level: Level) -> BalancingPassive {
    let start = input.curve.start_soc_percent;
    let end = start - input.imbalance_percent;
    let (start_v, end_v) = ocv.map_or((input.cell_v, input.cell_v), |ocv| (ocv.volt(start), ocv.volt(end)));
    let charge_ah = input.capacity_ah * input.imbalance_percent / 100.0;
    let current_a = start_v / input.path_ohm();
    let (largest_a, squares) = wires::heat(input, start_v);
    let channel_w = start_v * largest_a;
    let resistor_w = largest_a * largest_a * input.bleed_ohm;
    // What is lost in the sense wires does not warm the board.
    let board_w = squares * (input.bleed_ohm + input.switch_ohm) * input.duty();
    let energy = ocv.map_or(input.imbalance_percent * input.cell_v, |ocv| ocv.integrals(start, end).1);
    let time_h = hours(input, ocv, input.imbalance_percent);
    let end_current_a = end_v / input.path_ohm();
    let board_degc = input.limits.board_k_per_w.map(|rise| input.limits.ambient_degc + rise * board_w);
    BalancingPassive {
        start_v,
        end_v,
        current_a,
        largest_a,
        end_current_a,
        channel_w,
        resistor_w,
        board_w,
        charge_ah,
        time_s: time_h * HOUR_S,
        time_h,
        against_leak_h: level.after_h,
        least_a: ocv.map_or(input.cell_v, |ocv| ocv.volt(start - level.removed)) / input.path_ohm(),
        constant_h: charge_ah * input.path_ohm() / (start_v * input.duty()),
        energy_j: input.capacity_ah / 100.0 * energy * HOUR_S,
        board_degc,
        resistor_degc: input.limits.resistor_k_per_w.zip(board_degc).map(|(rise, board)| board + rise * resistor_w),
    }
}

fn daily(input: &BalancingInput, passive: &BalancingPassive) -> BalancingDaily {
    let need_ah_per_day = DAY_H * input.accuracy.leak_mismatch_a;
    let bleed_h = need_ah_per_day / (passive.current_a * input.duty());
    BalancingDaily {
        need_ah_per_day,
        bleed_s: bleed_h * HOUR_S,
        bleed_min: bleed_h * 60.0,
        keeps_up: input.accuracy.leak_mismatch_a < passive.mean_a(input),
        month_percent: need_ah_per_day * MONTH_DAYS / input.capacity_ah * 100.0,
    }
}

fn floor(input: &BalancingInput, ocv: Option<Ocv<'_>>, level: Level, wire: &BalancingWire) -> Option<BalancingFloor> {
    let error = input.compared_v(wire)?;
    let start = input.curve.start_soc_percent;
    let end = start - input.imbalance_percent;
    // A typed slope, and the points: what shows less counts.
    let typed = input.accuracy.slope_v_per_percent.map(|slope| (error / slope, slope * input.imbalance_percent));
    // The cells part by the whole mismatch or by less: they are level anywhere between.
    let hides = |ocv: Ocv<'_>| ocv.hides_most(start - level.removed.max(input.imbalance_percent), end, error);
    let along = ocv.map(|ocv| (hides(ocv).unwrap_or(f64::INFINITY), ocv.volt(start) - ocv.volt(end)));
    let (floor, allowed_error_v) =
        typed.into_iter().chain(along).reduce(|one, other| (one.0.max(other.0), one.1.min(other.1)))?;
    let percent = Some(floor).filter(|floor| floor.is_finite());
    let at_end = || input.accuracy.slope_v_per_percent.or(ocv.map(|ocv| ocv.slope(end))).unwrap_or(0.0);
    Some(BalancingFloor {
        slope_v_per_percent: percent.filter(|floor| *floor > 0.0).map_or_else(at_end, |floor| error / floor),
        error_v: error,
        percent,
        allowed_error_v,
    })
}

/// The floor at each point and between them, where a voltage shows it.
pub(super) fn floor_curve(input: &BalancingInput, wire: &BalancingWire) -> Vec<BalancingFloorPoint> {
    let (Some(error), Some(ocv)) = (input.compared_v(wire), Ocv::new(&input.curve.points)) else { return Vec::new() };
    let points = &input.curve.points;
    let last = points[points.len() - 1].soc_percent;
    let between = |i: u32| ocv.lowest() + (last - ocv.lowest()) * f64::from(i) / f64::from(POINTS);
    let mut places: Vec<f64> = points.iter().map(|point| point.soc_percent).chain((0..POINTS).map(between)).collect();
    places.sort_by(f64::total_cmp);
    places.dedup();
    let floor = |soc_percent: f64| {
        let floor_percent = ocv.rises_by(soc_percent, error)?;
        Some(BalancingFloorPoint { soc_percent, floor_percent })
    };
    places.into_iter().filter_map(floor).collect()
}

fn active(input: &BalancingInput, passive: &BalancingPassive) -> Option<BalancingActive> {
    let current = input.active.current_a?;
    let efficiency = input.active.efficiency_percent / 100.0;
    let time_h = passive.charge_ah / current;
    let transfer_loss_j = passive.energy_j * (1.0 - efficiency);
    let standby_j = input.active.standby_w * time_h * HOUR_S;
    let saved_j = f64::from(input.channels_on) * passive.energy_j * efficiency;
    Some(BalancingActive {
        time_h,
        transfer_loss_j,
        standby_j,
        loss_j: transfer_loss_j + standby_j,
        saved_j,
        break_even_days: (input.active.standby_w > 0.0)
            .then(|| saved_j / (input.active.standby_w * DAY_H * HOUR_S))
            .filter(|days| days.is_finite()),
        break_even_w: f64::from(input.channels_on) * input.accuracy.leak_mismatch_a * passive.start_v * efficiency,
    })
}

pub(super) fn course(input: &BalancingInput, passive: &BalancingPassive) -> Vec<BalancingPoint> {
    let ocv = Ocv::new(&input.curve.points);
    let whole = input.imbalance_percent;
    (0..=POINTS)
        .map(|i| {
            let removed = whole * f64::from(i) / f64::from(POINTS);
            let time_h = hours(input, ocv, removed);
            BalancingPoint {
                time_h,
                passive_percent: whole - removed,
                active_percent: input
                    .active
                    .current_a
                    .map(|current| (whole - current * time_h / passive.charge_ah * whole).max(0.0)),
            }
        })
        .collect()
}
