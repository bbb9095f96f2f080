//! What a design must live with, calculation by calculation.
//!
//! Loads, surroundings, cells, hazards, what stands on the link, allowed limits and required times are given; so is what
//! only says how data are meant, such as a reference temperature. What is left are ways out: values and ratings of parts,
//! their tolerances, thresholds, timings, bits, calibration. Common practice, no source.

pub(super) const CURRENT_CHANNEL: &[&str] = &[
    "/shunt/reference_degc",
    "/shunt/derate_from_degc",
    "/shunt/zero_power_degc",
    "/amplifier/common_mode_v",
    "/amplifier/supply_ripple_v",
    "/amplifier/supply_change_v",
    "/amplifier/injected_v",
    "/conditions",
    "/load",
    "/experiment",
];

pub(super) const VOLTAGE_CHANNEL: &[&str] = &[
    "/upper/derate_from_degc",
    "/upper/zero_power_degc",
    "/upper/correlation",
    "/lower/derate_from_degc",
    "/lower/zero_power_degc",
    "/lower/correlation",
    "/amplifier/common_mode_v",
    "/amplifier/supply_ripple_v",
    "/amplifier/supply_change_v",
    "/amplifier/injected_v",
    "/conditions",
    "/stress_limit_percent",
    "/experiment",
];

/// Coefficients of a curve belong to its part: none of them can be had alone.
pub(super) const THERMISTOR: &[&str] = &[
    "/steinhart_hart/a",
    "/steinhart_hart/b",
    "/steinhart_hart/c",
    "/electronics_span_k",
    "/electronics_min_degc",
    "/electronics_max_degc",
    "/body/ramp_k_per_s",
    "/cell/heat_flow_w",
    "/min_degc",
    "/max_degc",
    "/centre_degc",
    "/reading",
    "/experiment",
];

pub(super) const ISOLATION: &[&str] = &[
    "/barrier",
    "/isolator/required_life_years",
    "/common_mode/node_slew_v_per_s",
    "/common_mode/node_step_v",
    "/common_mode/edge_rate_hz",
    "/common_mode/injected_share_percent",
    "/common_mode/cancellation_percent",
    "/common_mode/current_allowed_a",
    "/common_mode/mean_allowed_v",
    "/common_mode/peak_allowed_v",
    "/data/utilisation_limit_percent",
    "/data/latency_allowed_s",
    "/supply/ambient_degc",
    "/supply/start_allowed_s",
    "/supply/offset_allowed_v",
    "/bus/units_in_parallel",
    "/bus/ohm_per_v",
    "/touch",
    "/monitor/response_allowed_s",
    "/y/energy_limit_j",
    "/y/discharge_allowed_s",
    "/y/touch_v",
    "/two_measurement",
    "/tables",
];

pub(super) const PROTECTION_VOLTAGE: &[&str] = &[
    "/normal_v",
    "/hazard_v",
    "/noise_sigma",
    "/rate_v_per_s",
    "/sag_resistance_ohm",
    "/sag_resistance_min_ohm",
    "/sag_current_a",
    "/allowed_nuisance_per_hour",
    "/missed_share_percent",
];

pub(super) const PROTECTION_CURRENT: &[&str] = &[
    "/normal_a",
    "/hazard_a",
    "/noise_sigma",
    "/rate_a_per_s",
    "/faster_from_a",
    "/cells_a2s",
    "/allowed_nuisance_per_hour",
    "/missed_share_percent",
];

pub(super) const PROTECTION_TEMPERATURE: &[&str] = &[
    "/normal_degc",
    "/hazard_degc",
    "/noise_sigma",
    "/rate_k_per_s",
    "/cell_power_w",
    "/allowed_nuisance_per_hour",
    "/missed_share_percent",
];

pub(super) const RIPPLE: &[&str] =
    &["/mean_a", "/duty_percent", "/duty_min_percent", "/duty_max_percent", "/converter/allowed_error_a"];

pub(super) const RACE: &[&str] = &[
    "/source",
    "/before_a",
    "/before_min_a",
    "/fuse/adiabatic_from_a",
    "/fuse/preload_percent",
    "/wiring/start_degc",
    "/wiring/end_degc",
    "/strings",
    "/units_in_parallel",
];

pub(super) const PRECHARGE: &[&str] =
    &["/start_v", "/capacitance_farad", "/wanted_time_s", "/load", "/resistor/ambient_degc", "/units_in_parallel"];

pub(super) const DISCHARGE: &[&str] = &[
    "/safe_v",
    "/capacitance_farad",
    "/capacitance_tolerance_percent",
    "/active/limit_s",
    "/passive/limit_s",
    "/feed",
    "/weld/pack_change_v",
    "/weld/others",
    "/units_in_parallel",
];

pub(super) const BALANCING: &[&str] = &[
    "/cell_v",
    "/imbalance_percent",
    "/curve/start_soc_percent",
    "/accuracy/slope_v_per_percent",
    "/accuracy/leak_mismatch_a",
    "/limits/time_h",
    "/limits/board_w",
    "/limits/limit_degc",
    "/limits/ambient_degc",
];

pub(super) const CHARGE_COUNTING: &[&str] = &[
    "/battery",
    "/usage",
    "/apart",
    "/anchor/curve",
    "/anchor/hysteresis_v",
    "/anchor/relax_v",
    "/anchor/relax_tau_s",
    "/anchor/entropy_v_per_k",
    "/anchor/rest_current_a",
    "/anchor/cell_resistance_ohm",
    "/anchor/place_min_percent",
    "/anchor/place_max_percent",
    "/anchor/after",
    "/capacity/first_percent",
    "/capacity/second_percent",
    "/capacity/current_a",
    "/resistance/resistance_ohm",
    "/resistance/current_slope_a_per_s",
    "/resistance/polarisation_ohm_per_s",
    "/counting/ripple_a",
    "/counting/ripple_hz",
    "/counting/ripple_within_percent",
    "/counting/missed_percent",
    "/counting/longest_gap_s",
    "/trend",
    "/user",
    "/requirement",
];

pub(super) const SAFETY: &[&str] = &[
    "/goals",
    "/faults",
    "/voltage",
    "/current",
    "/temperature",
    "/voltage_trip",
    "/current_trip",
    "/temperature_trip",
    "/race",
    "/precharge",
    "/count",
    "/shares",
    "/life",
];

/// Of a check what its makers choose: what it errs, what it costs and what is asked of it are given.
pub(super) const CELLS_OF_SAFETY: &[(&str, &[&str])] = &[(
    "/checks",
    &[
        "limit_a",
        "limit_v",
        "limit_k",
        "interval_s",
        "in_a_row",
        "processing_s",
        "averaging_s",
        "test_interval_h",
        "test_coverage_percent",
        "time_out_s",
        "equal_codes",
    ],
)];

#[cfg(test)]
mod tests {
    use crate::design::section::SECTIONS;
    use crate::field::{Kind, declared, tree};

    /// What is given is declared, and every hazard is given: it belongs to what is protected.
    #[test]
    fn what_is_given_is_a_field() {
        for kind in SECTIONS.iter().flat_map(|section| section.kinds) {
            let slug = kind.entry.meta.slug;
            for given in kind.given {
                assert!(declared(kind.entry.fields, given).is_some(), "{slug} has no {given}");
            }
            for (list, columns) in kind.cells {
                let Some(Kind::List { fields, .. }) = declared(kind.entry.fields, list).map(|field| field.kind) else {
                    panic!("{slug} has no list {list}")
                };
                for column in *columns {
                    assert!(fields.iter().any(|field| field.key == *column), "{slug} has no {list} {column}");
                }
            }
            tree::walk(kind.entry.fields, &mut |pointer, field| {
                assert!(!field.key.starts_with("hazard_") || kind.gives(pointer), "{slug}: {pointer}");
            });
        }
    }
}
