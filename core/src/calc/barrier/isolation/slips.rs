//! Values of an isolation that show a slipped power of ten.

use super::bus::bus;
use super::energy::y_capacitors;
use super::injection::injection;
use super::input::IsolationInput;
use super::supply::supply;
use crate::calculation::{Slip, positive};
use crate::quantity::Unit;

/// What shows a slipped power of ten. The usual ranges are common practice, no source.
pub const SLIPS: &[Slip<IsolationInput>] = &[
    Slip {
        words: "the current that an edge drives through the barrier",
        unit: Unit::Ampere,
        usual: [1e-6, 20.0],
        value: |input| {
            let one = injection(&input.common_mode, input.barrier.working());
            positive(one.current_a.unwrap_or(f64::NAN))
        },
        from: &["/common_mode/node_slew_v_per_s", "/common_mode/couplings"],
    },
    Slip {
        words: "the slew of the other side",
        unit: Unit::VoltPerSecond,
        usual: [1e6, 3e11],
        value: |input| positive(input.common_mode.node_slew_v_per_s.unwrap_or(f64::NAN)),
        from: &["/common_mode/node_slew_v_per_s"],
    },
    Slip {
        words: "the energy of the Y capacitors",
        unit: Unit::Joule,
        usual: [1e-5, 5.0],
        value: |input| {
            let y = y_capacitors(&input.y, input.bus.units_in_parallel, input.barrier.pack_v, None);
            positive(y.one_sided_j.unwrap_or(f64::NAN))
        },
        from: &["/y/unit_positive_farad", "/y/unit_negative_farad"],
    },
    Slip {
        words: "the insulation resistance per volt",
        unit: Unit::OhmPerVolt,
        usual: [10.0, 1e6],
        value: |input| bus(input).parallel_ohm_per_v.unwrap_or(f64::NAN),
        from: &["/bus/unit_paths", "/bus/shared_paths"],
    },
    Slip {
        words: "the power of the isolated loads",
        unit: Unit::Watt,
        usual: [1e-3, 30.0],
        value: |input| positive(supply(&input.supply).output_w.unwrap_or(f64::NAN)),
        from: &["/supply/loads"],
    },
    Slip {
        words: "the longest time from reading to controller",
        unit: Unit::Second,
        usual: [1e-6, 1.0],
        value: |input| positive(super::injection::data(&input.data).latency_s.unwrap_or(f64::NAN)),
        from: &["/data/frame_rate_hz", "/data/rate_bit_per_s"],
    },
    Slip {
        words: "the altitude",
        unit: Unit::Metre,
        usual: [-500.0, 5000.0],
        value: |input| input.barrier.altitude_m.unwrap_or(f64::NAN),
        from: &["/barrier/altitude_m"],
    },
];
