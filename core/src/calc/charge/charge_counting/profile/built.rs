//! Profiles that are built in, by formula: a drive of twenty minutes with pulses, returns and stops.
//!
//! ```text
//! Formula    I = C (0.45 + 0.3 sin(2πk/95) + 0.2 sin(2πk/23)), the peak P in each cycle of 150 rows for as long as the pack
//!            states, then −0.7 R for 24 s; nothing in the last sixth of every second cycle; U = U_n − R_i I
//! Symbols    C continuous, P peak, R charging peak [A], U_n nominal voltage [V], R_i resistance [Ω], k row, one each 2 s
//! Source     invented, as the designs are that it belongs to; their packs are held against the demo files by a test
//! ```

use std::f64::consts::TAU;
use std::fmt::Write;

use crate::profile::Built;

/// Rows of a profile.
const ROWS: u32 = 601;
const SECONDS: u32 = 2;
const CYCLE: u32 = 150;

/// What a profile takes from the pack it belongs to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pack {
    /// A.
    pub continuous_a: f64,
    /// A.
    pub peak_a: f64,
    /// s.
    pub peak_duration_s: f64,
    /// A.
    pub charge_peak_a: f64,
    /// V.
    pub nominal_v: f64,
    /// Ω.
    pub resistance_ohm: f64,
}

/// The pack that a profile belongs to; none for a file.
pub const fn pack(built: Built) -> Option<Pack> {
    let (continuous_a, peak_a, peak_duration_s, charge_peak_a, nominal_v, resistance_ohm) = match built {
        Built::MountainRescueCar => (400.0, 600.0, 10.0, 600.0, 722.7, 0.2082),
        Built::IslandBakeryVan => (150.0, 350.0, 30.0, 350.0, 358.4, 0.0852),
        Built::LighthouseRelay => (60.0, 120.0, 60.0, 120.0, 51.2, 0.0168),
        Built::FunicularSummitBuffer => (140.0, 280.0, 90.0, 280.0, 1_305.6, 0.113_44),
        Built::CanalLibraryBike => (25.0, 60.0, 5.0, 60.0, 50.4, 0.05),
        Built::VineyardTractorCharger => (32.0, 34.0, 2.0, 0.0, 360.0, 0.0),
        Built::NightBusDrive => (250.0, 400.0, 20.0, 400.0, 750.0, 0.11),
        Built::File => return None,
    };
    Some(Pack { continuous_a, peak_a, peak_duration_s, charge_peak_a, nominal_v, resistance_ohm })
}

/// The text of a profile.
pub fn text(pack: Pack) -> String {
    let mut text = String::from("time_s,current_a,voltage_v\n");
    for row in 0..ROWS {
        let (place, cycle) = (row % CYCLE, row / CYCLE);
        let since_peak = f64::from(place * SECONDS) - f64::from(SECONDS * CYCLE / 3);
        let wave = |rows: f64| libm::sin(TAU * f64::from(row) / rows);
        let current = if (0.0..pack.peak_duration_s).contains(&since_peak) {
            pack.peak_a
        } else if (pack.peak_duration_s..pack.peak_duration_s + 24.0).contains(&since_peak) {
            -0.7 * pack.charge_peak_a
        } else if cycle % 2 == 1 && place >= CYCLE * 5 / 6 {
            0.0
        } else {
            (pack.continuous_a * (0.45 + 0.3 * wave(95.0) + 0.2 * wave(23.0))).max(0.0)
        };
        let voltage = pack.nominal_v - pack.resistance_ohm * current;
        // Writing into a text cannot fail.
        let _ = writeln!(text, "{},{:.2},{voltage:.2}", row * SECONDS, current + 0.0);
    }
    text
}
