//! # The sections of a design
//!
//! Which calculations a design is made of, in the order of the signal, and which of their inputs are handed down: from
//! the pack, from the requirements, or from the error of a channel at the very point where a threshold sits. A section is
//! one row here; worksheet, report, comparison and the published schema are derived from it.

mod given;
mod kinds;
mod rests;

use super::pack::Pack;
use crate::calc::barrier::isolation::Isolation;
use crate::calc::cells::balancing::Balancing;
use crate::calc::charge::charge_counting::ChargeCounting;
use crate::calc::current::current_channel::{self, CurrentChannel};
use crate::calc::dc_link::{
    discharge::{self, Discharge},
    precharge::{self, Precharge},
};
use crate::calc::protection::current::ProtectionCurrent;
use crate::calc::protection::temperature::ProtectionTemperature;
use crate::calc::protection::voltage::ProtectionVoltage;
use crate::calc::protection::{race::Race, ripple::RippleEffects, trip_curve::TripCurve};
use crate::calc::safety::Safety;
use crate::calc::temperature::thermistor::Thermistor;
use crate::calc::voltage::voltage_channel::{self, VoltageChannel};
use crate::quantity::Unit;

pub use kinds::{Bound, Kind, Lent, Normal, OnlyWhen, Origin, Section, Told, kind};
use kinds::{beside, field, pack, parallel, sum};
pub use rests::{At, Carried, Rests, Take};
use rests::{COUNTED, FED_ACROSS, INSERTED, RACED, READ_AT_REST, SENT_ACROSS, error, known, rests_on, value};

/// The key of the section of the isolation barriers.
pub const BARRIERS: &str = "isolation";
/// The key of the section of the races.
pub const RACES: &str = "race";
/// The key of the section of the pre-charges.
pub const PRECHARGES: &str = "precharge";
/// The key of the section of the discharges.
pub const DISCHARGES: &str = "discharge";
/// The key of the section of balancing.
pub const BALANCING: &str = "balancing";
/// The key of the section of the safety goals.
pub const SAFETY: &str = "safety";

const fn volt(kind: &'static str, words: &'static str, pack: fn(&Pack) -> f64, over: bool) -> Normal {
    Normal { kind, field: "/normal_v", words, pack, over }
}

const COLDEST: Bound = field("/conditions/ambient_min_degc", "/pack/ambient_min_degc");
const HOTTEST: Bound = field("/conditions/ambient_max_degc", "/pack/ambient_max_degc");
const CALIBRATED: Bound = field("/conditions/calibration_degc", "/pack/calibration_degc");
const LIFE: Bound = field("/conditions/life_years", "/pack/life_years");

/// The sections, in the order of the signal.
pub static SECTIONS: &[Section] = &[
    Section {
        key: "current",
        title: "Current",
        one: "Current channel",
        absent: "No current channel: its error is not assessed.",
        kinds: &[Kind {
            told: Some(Told {
                unit: Unit::Ampere,
                judged: "judged_a",
                tested: Some(["current_a", "allowed_a"]),
                code: Some("/range/lsb_a"),
            }),
            rests: FED_ACROSS,
            given: given::CURRENT_CHANNEL,
            ..kind::<CurrentChannel>(
                "",
                &[
                    COLDEST,
                    HOTTEST,
                    CALIBRATED,
                    field("/load/continuous_a", "/pack/continuous_a"),
                    field("/load/peak_a", "/pack/peak_a"),
                    field("/load/peak_duration_s", "/pack/peak_duration_s"),
                    field("/load/peak_repeat_s", "/pack/peak_repeat_s"),
                    field("/load/charge_peak_a", "/pack/charge_peak_a"),
                    LIFE,
                    field("/load/ripple_current_a", "/pack/ripple_current_a"),
                    field("/load/ripple_frequency_hz", "/pack/ripple_frequency_hz"),
                    pack("/load/capacity_ah", "/pack/cell_capacity_ah", Pack::capacity_ah),
                    field("/requirement", "/requirements/current"),
                ],
            )
        }],
        most: 4,
    },
    Section {
        key: "voltage",
        title: "Voltage",
        one: "Voltage channel",
        absent: "No voltage channel: its error is not assessed.",
        kinds: &[Kind {
            told: Some(Told {
                unit: Unit::Volt,
                judged: "judged_v",
                tested: Some(["voltage_v", "allowed_v"]),
                code: Some("/range/lsb_v"),
            }),
            rests: FED_ACROSS,
            given: given::VOLTAGE_CHANNEL,
            ..kind::<VoltageChannel>(
                "",
                &[
                    COLDEST,
                    HOTTEST,
                    CALIBRATED,
                    LIFE,
                    pack("/input_min_v", "/pack/cell_min_v", |pack| Some(pack.min_v())),
                    pack("/input_max_v", "/pack/cell_max_v", |pack| Some(pack.max_v())),
                    field("/requirement", "/requirements/voltage"),
                ],
            )
        }],
        most: 4,
    },
    Section {
        key: "temperatures",
        title: "Temperature",
        one: "Temperature channel",
        absent: "No temperature channel: its error is not assessed.",
        kinds: &[Kind {
            only_when: &[
                OnlyWhen { choice: "curve", word: "beta", group: "/beta" },
                OnlyWhen { choice: "curve", word: "steinhart-hart", group: "/steinhart_hart" },
                OnlyWhen { choice: "curve", word: "points", group: "/points" },
                OnlyWhen { choice: "curve", word: "platinum", group: "/platinum" },
                OnlyWhen { choice: "read_out", word: "divider", group: "/divider" },
                OnlyWhen { choice: "read_out", word: "oscillator", group: "/oscillator" },
                OnlyWhen { choice: "read_out", word: "current", group: "/current" },
            ],
            given: given::THERMISTOR,
            told: Some(Told { unit: Unit::Kelvin, judged: "judged_k", tested: None, code: None }),
            ..kind::<Thermistor>("", &[field("/requirement", "/requirements/temperature")])
        }],
        most: 6,
    },
    Section {
        key: BARRIERS,
        title: "Isolation",
        one: "Isolation barrier",
        absent: "No isolation: whether the barrier stands and what is left of the insulation of the bus is not assessed.",
        kinds: &[Kind {
            given: given::ISOLATION,
            once: &["/bus", "/monitor", "/touch", "/y"],
            ..kind::<Isolation>(
                "",
                &[
                    pack("/barrier/pack_v", "/pack/cell_max_v", |pack| Some(pack.max_v())),
                    field("/barrier/altitude_m", "/pack/altitude_m"),
                    field("/isolator/required_life_years", "/pack/life_years"),
                    pack("/bus/units_in_parallel", "/pack/units_in_parallel", |pack| Some(pack.units())),
                    parallel("/bus/strings_positive_ohm", "voltage", voltage_channel::FROM_POSITIVE),
                    parallel("/bus/strings_negative_ohm", "voltage", voltage_channel::FROM_NEGATIVE),
                ],
            )
        }],
        most: 4,
    },
    Section {
        key: "protection",
        title: "Protection thresholds",
        one: "Threshold",
        absent: "No threshold: whether one fits between normal use and harm is not assessed.",
        kinds: &[
            Kind {
                rests: &[
                    rests_on(
                        "voltage",
                        &[
                            error("/error_normal_v", "/normal_v"),
                            error("/error_hazard_v", "/hazard_v"),
                            known("/channel_filter_s", voltage_channel::FILTER),
                            Carried { to: "/reads_from_v", take: Take::From },
                            Carried { to: "/reads_to_v", take: Take::Full },
                        ],
                    ),
                    SENT_ACROSS,
                ],
                given: given::PROTECTION_VOLTAGE,
                asked: &["/threshold_v"],
                of_cells: &["/kind/cell-over-voltage", "/kind/cell-under-voltage"],
                normal: &[
                    volt("cell-over-voltage", "highest cell voltage", |pack| pack.cell_max_v, true),
                    volt("cell-under-voltage", "lowest cell voltage", |pack| pack.cell_min_v, false),
                    volt("pack-over-voltage", "highest voltage", Pack::max_v, true),
                    volt("pack-under-voltage", "lowest voltage", Pack::min_v, false),
                ],
                ..kind::<ProtectionVoltage>(
                    "voltage",
                    &[
                        pack("/pack_cell_max_v", "/pack/cell_max_v", |pack| pack.of_cells(pack.cell_max_v)),
                        pack("/pack_cell_min_v", "/pack/cell_min_v", |pack| pack.of_cells(pack.cell_min_v)),
                        pack("/pack_max_v", "/pack/cell_max_v", |pack| Some(pack.max_v())),
                        pack("/pack_min_v", "/pack/cell_min_v", |pack| Some(pack.min_v())),
                    ],
                )
            },
            Kind {
                rests: &[
                    rests_on(
                        "current",
                        &[
                            error("/error_normal_a", "/normal_a"),
                            error("/error_hazard_a", "/hazard_a"),
                            known("/channel_filter_s", current_channel::FILTER),
                            Carried { to: "/error_charge_normal_a", take: Take::Error(At::Below("/normal_a")) },
                            Carried { to: "/error_charge_hazard_a", take: Take::Error(At::Below("/hazard_a")) },
                            Carried { to: "/reads_to_a", take: Take::Full },
                            Carried { to: "/reads_charge_to_a", take: Take::FullBelow },
                        ],
                    ),
                    RACED,
                    SENT_ACROSS,
                ],
                given: given::PROTECTION_CURRENT,
                of_cells: &["/cells_a2s"],
                asked: &["/threshold_a"],
                normal: &[Normal {
                    kind: "over-current-discharge",
                    field: "/normal_a",
                    words: "peak current",
                    pack: |pack| pack.peak_a,
                    over: true,
                }],
                ..kind::<ProtectionCurrent>(
                    "current",
                    &[
                        pack("/pack_peak_a", "/pack/peak_a", |pack| Some(pack.peak_with_ripple_a())),
                        pack("/pack_charge_peak_a", "/pack/charge_peak_a", |pack| {
                            Some(pack.charge_peak_with_ripple_a())
                        }),
                        pack("/strongest_fault_a", "/pack/cell_resistance_ohm", Pack::prospective_a),
                        pack("/fault_v", "/pack/cell_max_v", |pack| Some(pack.max_v())),
                        field("/fault_inductance_henry", "/pack/loop_inductance_henry"),
                    ],
                )
            },
            Kind {
                rests: &[
                    rests_on(
                        "temperatures",
                        &[
                            error("/error_normal_k", "/normal_degc"),
                            error("/error_hazard_k", "/hazard_degc"),
                            value("/lag_s", "/body/time_constant_s"),
                            value("/rate_k_per_s", "/body/ramp_k_per_s"),
                            value("/cell_power_w", "/cell/heat_flow_w"),
                            value("/cell_to_sensor_k_per_w", "/cell/thermal_resistance_k_per_w"),
                            Carried { to: "/reads_from_degc", take: Take::From },
                            Carried { to: "/reads_to_degc", take: Take::Full },
                        ],
                    ),
                    SENT_ACROSS,
                ],
                given: given::PROTECTION_TEMPERATURE,
                asked: &["/threshold_degc"],
                ..kind::<ProtectionTemperature>("temperature", &[])
            },
            kind::<TripCurve>("trip-curve", &[]),
        ],
        most: 12,
    },
    Section {
        key: "ripple",
        title: "Ripple",
        one: "Ripple check",
        absent: "No ripple check: false trips and shifts of the mean by ripple are not assessed.",
        kinds: &[Kind {
            rests: &[rests_on(
                "current",
                &[
                    value("/shunt/resistance_ohm", "/shunt/resistance_ohm"),
                    value("/shunt/inductance_henry", "/shunt/inductance_henry"),
                ],
            )],
            given: given::RIPPLE,
            ..kind::<RippleEffects>(
                "",
                &[
                    field("/pack_peak_a", "/pack/peak_a"),
                    pack("/pack_charge_peak_a", "/pack/charge_peak_a", |pack| Some(pack.charge_peak())),
                    pack("/peak_to_peak_a", "/pack/ripple_current_a", |pack| Some(2.0 * pack.ripple_current_a)),
                    field("/frequency_hz", "/pack/ripple_frequency_hz"),
                ],
            )
        }],
        most: 3,
    },
    Section {
        key: RACES,
        title: "Reaction race",
        one: "Reaction race",
        absent: "No reaction race: who opens first, and at which current, is not assessed.",
        kinds: &[Kind {
            rests: &[SENT_ACROSS],
            given: given::RACE,
            ..kind::<Race>(
                "",
                &[
                    pack("/source/voltage_v", "/pack/cell_max_v", |pack| Some(pack.max_v())),
                    pack("/source/pack_min_v", "/pack/cell_min_v", |pack| Some(pack.min_v())),
                    pack("/pack_peak_a", "/pack/peak_a", |pack| Some(pack.peak_with_ripple_a())),
                    pack("/pack_charge_peak_a", "/pack/charge_peak_a", |pack| Some(pack.charge_peak_with_ripple_a())),
                    pack("/source/pack_resistance_ohm", "/pack/cell_resistance_ohm", Pack::resistance_ohm),
                    field("/source/inductance_henry", "/pack/loop_inductance_henry"),
                    pack("/units_in_parallel", "/pack/units_in_parallel", |pack| Some(pack.units())),
                    sum("/source/precharged_farad", "precharge", precharge::given::FARAD),
                ],
            )
        }],
        most: 2,
    },
    Section {
        key: PRECHARGES,
        title: "Pre-charge",
        one: "Pre-charge",
        absent: "No pre-charge: whether the link reaches its voltage is not assessed.",
        kinds: &[Kind {
            rests: &[rests_on(
                "voltage",
                &[
                    Carried { to: "/link_error_percent", take: Take::ErrorPercent(At::Pack(Pack::max_v)) },
                    Carried { to: "/pack_error_percent", take: Take::ErrorPercent(At::Pack(Pack::max_v)) },
                    Carried { to: "/link_error_v", take: Take::Error(At::Pack(Pack::min_v)) },
                    Carried { to: "/pack_error_v", take: Take::Error(At::Pack(Pack::min_v)) },
                ],
            )],
            given: given::PRECHARGE,
            ..kind::<Precharge>(
                "",
                &[
                    pack("/pack_v", "/pack/cell_max_v", |pack| Some(pack.max_v())),
                    pack("/pack_min_v", "/pack/cell_min_v", |pack| Some(pack.min_v())),
                    pack("/units_in_parallel", "/pack/units_in_parallel", |pack| Some(pack.units())),
                    beside("/load/bleeder_ohm", DISCHARGES, "/passive/resistance_ohm", discharge::BLEEDER),
                ],
            )
        }],
        most: 2,
    },
    Section {
        key: DISCHARGES,
        title: "Discharge",
        one: "Discharge",
        absent: "No discharge: how long the link stays dangerous is not assessed.",
        kinds: &[Kind {
            rests: &[rests_on("precharge", &[value("/capacitance_farad", "/capacitance_farad")])],
            given: given::DISCHARGE,
            ..kind::<Discharge>(
                "",
                &[
                    pack("/start_v", "/pack/cell_max_v", |pack| Some(pack.max_v())),
                    pack("/start_min_v", "/pack/cell_min_v", |pack| Some(pack.min_v())),
                    pack("/units_in_parallel", "/pack/units_in_parallel", |pack| Some(pack.units())),
                ],
            )
        }],
        most: 2,
    },
    Section {
        key: BALANCING,
        title: "Balancing",
        one: "Balancing",
        absent: "No balancing: time, heat and floor are not assessed.",
        kinds: &[Kind {
            given: given::BALANCING,
            of_cells: &[""],
            ..kind::<Balancing>("", &[pack("/capacity_ah", "/pack/cell_capacity_ah", Pack::capacity_ah)])
        }],
        most: 2,
    },
    Section {
        key: "charge_counting",
        title: "Charge counting",
        one: "Charge counting",
        absent: "No charge counting: how wrong the state of charge gets, and how long it lasts, is not assessed.",
        kinds: &[Kind {
            rests: &[COUNTED, READ_AT_REST],
            lent: &[Lent {
                to: "/anchor/curve",
                section: "balancing",
                from: "/curve/points",
                columns: &["soc_percent", "ocv_v"],
            }],
            given: given::CHARGE_COUNTING,
            asked: &[
                "/usage/discharge_a",
                "/usage/charge_a",
                "/usage/swing_percent",
                "/anchor/cell_error_v",
                "/anchor/relax_v",
                "/anchor/interval_h",
            ],
            of_cells: &[""],
            ..kind::<ChargeCounting>(
                "",
                &[
                    pack("/battery/capacity_ah", "/pack/cell_capacity_ah", Pack::capacity_ah),
                    pack("/battery/voltage_v", "/pack/cell_nominal_v", |pack| Some(pack.nominal_v())),
                    pack("/battery/cells_in_series", "/pack/cells_in_series", |pack| {
                        Some(f64::from(pack.cells_in_series))
                    }),
                    pack("/anchor/cell_resistance_ohm", "/pack/cell_resistance_ohm", |pack| {
                        Some(pack.cell_resistance_ohm / f64::from(pack.cells_in_parallel))
                    }),
                    pack("/resistance/resistance_ohm", "/pack/cell_resistance_ohm", Pack::resistance_ohm),
                    field("/trend/life_years", "/pack/life_years"),
                ],
            )
        }],
        most: 2,
    },
    Section {
        key: SAFETY,
        title: "Functional safety",
        one: "Functional safety",
        absent: "No functional safety: who notices a failed part, how soon, and what is left of the rate is not assessed.",
        kinds: &[Kind {
            rests: INSERTED,
            given: given::SAFETY,
            cells: given::CELLS_OF_SAFETY,
            ..kind::<Safety>(
                "",
                &[
                    pack("/voltage/lowest_v", "/pack/cell_min_v", |pack| Some(pack.min_v())),
                    pack("/voltage/highest_v", "/pack/cell_max_v", |pack| Some(pack.max_v())),
                    pack("/voltage/cells", "/pack/cells_in_series", |pack| Some(f64::from(pack.cells_in_series))),
                    pack("/current/peak_a", "/pack/peak_a", |pack| Some(pack.peak_with_ripple_a())),
                    pack("/current/charge_peak_a", "/pack/charge_peak_a", |pack| {
                        Some(pack.charge_peak_with_ripple_a())
                    }),
                ],
            )
        }],
        most: 1,
    },
];

/// The section of a name.
pub fn find(key: &str) -> Option<&'static Section> {
    SECTIONS.iter().find(|section| section.key == key)
}

impl Section {
    /// Its place in the order.
    pub fn place(&self) -> usize {
        SECTIONS.iter().position(|section| section.key == self.key).unwrap_or(SECTIONS.len())
    }
}
