//! Values of charge counting that show a slipped power of ten.

use super::input::{ChargeInput, UsageKind};
use crate::calculation::{Slip, positive};
use crate::quantity::Unit;

/// The discharge current of the use; not a number where there is none, or where a course has many.
fn discharge_a(input: &ChargeInput) -> f64 {
    if input.usage.kind == UsageKind::Profile { f64::NAN } else { input.usage.discharge_a.unwrap_or(f64::NAN) }
}

/// What shows a slipped power of ten. The usual ranges are common practice, no source.
pub const SLIPS: &[Slip<ChargeInput>] = &[
    Slip {
        words: "the drift of a day",
        unit: Unit::PercentPerDay,
        usual: [1e-4, 100.0],
        value: |input| {
            let offset = 24.0 * (input.offset_a() + input.drift_a()) / input.battery.capacity_ah * 100.0;
            positive(offset)
        },
        from: &["/counter/offset_a", "/battery/capacity_ah"],
    },
    Slip {
        words: "the time of a discharge",
        unit: Unit::Hour,
        usual: [0.02, 500.0],
        value: |input| {
            let swing = input.usage.swing_percent.unwrap_or(f64::NAN) / 100.0 * input.battery.capacity_ah;
            positive(swing / discharge_a(input))
        },
        from: &["/usage/discharge_a", "/battery/capacity_ah"],
    },
    Slip {
        words: "the charge of a course as a part of the capacity",
        unit: Unit::Percent,
        usual: [0.1, 100.0],
        value: |input| match input.usage.kind {
            UsageKind::Profile => positive(100.0 * input.usage.course_ah()[1] / input.battery.capacity_ah),
            _ => f64::NAN,
        },
        from: &["/usage/profile", "/battery/capacity_ah"],
    },
    Slip {
        words: "the noise of a reading as a part of the discharge current",
        unit: Unit::Percent,
        usual: [0.0, 20.0],
        value: |input| 100.0 * input.counter.reading_a() / positive(discharge_a(input)),
        from: &["/counter/noise_a"],
    },
    Slip {
        words: "the interval of the readings",
        unit: Unit::Second,
        usual: [1e-5, 100.0],
        value: |input| input.counting.interval_s(&input.counter),
        from: &["/counter/sample_s", "/counting/period_s"],
    },
    Slip {
        words: "the error of the anchor's reading over its curve",
        unit: Unit::Percent,
        usual: [0.01, 50.0],
        value: |input| {
            let (Some(first), Some(last)) = (input.anchor.curve.first(), input.anchor.curve.last()) else {
                return f64::NAN;
            };
            let error = input.anchor.reading_v(input.battery.cells_in_series).unwrap_or(f64::NAN);
            positive(100.0 * error / (last.ocv_v - first.ocv_v))
        },
        from: &["/anchor/cell_error_v", "/anchor/curve"],
    },
    Slip {
        words: "the energy of the battery",
        unit: Unit::WattHour,
        usual: [10.0, 1e7],
        value: |input| input.battery.capacity_ah * input.battery.voltage_v,
        from: &["/battery/capacity_ah", "/battery/voltage_v"],
    },
];
