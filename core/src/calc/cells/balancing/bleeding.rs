//! The numbers of bleeding, of what it must make up for, and of the transfer beside it.

use super::curve::Ocv;
use super::wires;
use super::{
    BalancingActive, BalancingDaily, BalancingFloor, BalancingFloorPoint, BalancingInput, BalancingPassive,
    BalancingPoint, BalancingWire, Solved,
};
use crate::constant::{DAY_H, HOUR_S};

/// Points of a curve.
const POINTS: u32 = 60;

/// Days of a month without balancing.
const MONTH_DAYS: f64 = 30.0;

pub(super) fn solve(input: &BalancingInput) -> Solved {
    let ocv = Ocv::new(&input.curve.points);
    let passive = passive(input, ocv);
    let wire = wires::worst(input, passive.start_v);
    Solved {
        passive,
        wire,
        daily: daily(input, &passive),
        floor: floor(input, ocv, &wire),
        active: active(input, &passive),
    }
}

/// Hours from the start until `removed` percent are gone, while a leak works against it: V/R · d − dI is what flows, as if V
/// were lower by dI R/d. The leak is less than what bleeding takes on average.
fn hours(input: &BalancingInput, ocv: Option<Ocv<'_>>, removed: f64, leak_a: f64) -> f64 {
    let start = input.curve.start_soc_percent;
    let below_v = leak_a * input.path_ohm() / input.duty();
    let inverse =
        ocv.map_or(removed / (input.cell_v - below_v), |ocv| ocv.integrals(start, start - removed, below_v).0);
    input.capacity_ah / 100.0 * inverse * input.path_ohm() / input.duty()
}

fn passive(input: &BalancingInput, ocv: Option<Ocv<'_>>) -> BalancingPassive {
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
    let energy = ocv.map_or(input.imbalance_percent * input.cell_v, |ocv| ocv.integrals(start, end, 0.0).1);
    let time_h = hours(input, ocv, input.imbalance_percent, 0.0);
    let leak = input.accuracy.leak_mismatch_a;
    let end_current_a = end_v / input.path_ohm();
    let gains = leak < end_current_a.min(current_a) * input.duty();
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
        against_leak_h: gains.then(|| hours(input, ocv, input.imbalance_percent, leak)),
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

fn floor(input: &BalancingInput, ocv: Option<Ocv<'_>>, wire: &BalancingWire) -> Option<BalancingFloor> {
    let error = input.compared_v(wire)?;
    let end = input.curve.start_soc_percent - input.imbalance_percent;
    let slope = input.accuracy.slope_v_per_percent.or(ocv.map(|ocv| ocv.slope(end)))?;
    Some(BalancingFloor {
        slope_v_per_percent: slope,
        error_v: error,
        percent: (slope > 0.0).then(|| error / slope).filter(|floor| floor.is_finite()),
        allowed_error_v: slope * input.imbalance_percent,
    })
}

/// The floor of each stretch, as steps, where it is not level.
pub(super) fn floor_curve(input: &BalancingInput, wire: &BalancingWire) -> Vec<BalancingFloorPoint> {
    let Some(error) = input.compared_v(wire) else { return Vec::new() };
    let stretches = input.curve.points.windows(2).filter(|pair| pair[1].ocv_v > pair[0].ocv_v);
    stretches
        .flat_map(|pair| {
            let width = pair[1].soc_percent - pair[0].soc_percent;
            let floor_percent = error * width / (pair[1].ocv_v - pair[0].ocv_v);
            [&pair[0], &pair[1]].map(|point| BalancingFloorPoint { soc_percent: point.soc_percent, floor_percent })
        })
        .filter(|point| point.floor_percent.is_finite())
        .collect()
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
            let time_h = hours(input, ocv, removed, 0.0);
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
