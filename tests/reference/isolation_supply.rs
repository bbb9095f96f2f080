//! An isolated supply that its loads exceed, and a link that gets more than it sends: by hand.

use sensewright_core::judge::Verdict;
use serde_json::json;

use super::isolation::{row, solved};
use super::{at, holds};

/// Loads of 24 mA behind a limit of 20 mA never get there, however softly they start; a limit of 30 mA leaves 6 mA that fill
/// 22 µF to 5 V in 18.3 ms.
#[test]
fn a_supply_carries_its_loads_after_the_start() {
    let start = |limit: f64| {
        solved(&[(
            "/supply",
            json!({
                "loads": [{"name": "all", "current_a": 24e-3, "voltage_v": 5.0}],
                "start_factor": 0.5, "current_limit_a": limit, "output_farad": 22e-6, "start_allowed_s": 20e-3
            }),
        )])
    };
    assert_eq!(row(&start(20e-3), "supply.start").verdict, Verdict::Fails);
    holds(at(&start(30e-3), "/supply/start_s"), 22e-6 * 5.0 / 6e-3, 1e-12);
}

/// Frames of 125 bits with 30 % more, 2000 a second over 156 kbit/s: 208 % of it, and what waits grows without end; 500 a second
/// wait 2 ms, as long again where one is lost, and take 1.04 ms.
#[test]
fn a_link_that_gets_more_than_it_sends_has_no_latency() {
    let link = |frames: f64| {
        let data = json!({
            "frame_bits": 125.0, "overhead_percent": 30.0, "frame_rate_hz": frames, "rate_bit_per_s": 156.25e3,
            "delay_max_s": 0.0, "lost_frames": 1, "latency_allowed_s": 1.0
        });
        solved(&[("/data", data)])
    };
    let full = link(2000.0);
    holds(at(&full, "/data/utilisation_percent"), 208.0, 1e-9);
    assert_eq!(row(&full, "data.latency").verdict, Verdict::Fails);
    assert_eq!(row(&full, "data.latency").achieved, None);
    holds(at(&link(500.0), "/data/latency_s"), 2.0 * 2e-3 + 1.04e-3, 1e-12);
}
