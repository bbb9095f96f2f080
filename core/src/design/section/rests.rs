//! What one part of a design takes from another.

use crate::calc::barrier::isolation;
use crate::calc::charge::charge_counting;
use crate::calc::current::current_channel;
use crate::calc::dc_link::precharge;
use crate::calc::protection::{OF_OPERATION, ThresholdInput, current, race, temperature, voltage};
use crate::calc::temperature::thermistor;
use crate::calc::voltage::voltage_channel;
use crate::channel::counted::Counted;
use crate::design::pack::Pack;

/// Another part that hands values on.
#[derive(Debug)]
pub struct Rests {
    /// Where a part names it, as a JSON Pointer inside the part.
    pub named_at: &'static str,
    /// What a reader calls it, and what it is for.
    pub label: &'static str,
    /// See [`Rests::label`].
    pub help: &'static str,
    /// The section it stands in.
    pub section: &'static str,
    /// Its kind there; any where it is empty.
    pub tag: &'static str,
    /// Which values.
    pub carried: &'static [Carried],
    /// Limits of the other part, as JSON Pointers, that are not asked there: what they limit is judged here, as a share of an error.
    pub judged_here: &'static [&'static str],
    /// Whether a new part is tied at once where there is one part alone to rest on.
    pub at_once: bool,
}

impl Rests {
    /// Its word in the document.
    pub fn key(&self) -> &'static str {
        self.named_at.trim_start_matches('/')
    }
}

/// A value that another part hands on.
#[derive(Debug)]
pub struct Carried {
    /// The input that takes it.
    pub to: &'static str,
    /// What is taken.
    pub take: Take,
}

/// What one part takes from another.
#[derive(Clone, Copy, Debug)]
pub enum Take {
    /// The channel's worst-case error at a point.
    Error(At),
    /// The same in percent of that point.
    ErrorPercent(At),
    /// An input of the other part.
    Value(&'static str),
    /// What follows from the inputs of the other part, by its words: it must be there.
    Result(&'static str),
    /// What a count of the channel's readings has to know.
    Counted(fn(&Counted) -> f64),
    /// The channel's largest worst-case error between two voltages of the pack.
    Largest([fn(&Pack) -> f64; 2]),
    /// The channel's largest worst-case error over all that it reads, where it is known.
    LargestRead,
    /// What follows from the inputs of the other part, by its words, where it does.
    Known(&'static str),
    /// 1 where some requirement of the other part, but for these, neither holds nor is thin, 0 where all do.
    Fails(&'static [&'static str]),
    /// The largest reading of the channel.
    Full,
    /// The smallest reading of the channel.
    From,
    /// The size of its largest reading below zero.
    FullBelow,
}

impl Take {
    /// Whether it is how far a channel reads.
    pub const fn is_reach(self) -> bool {
        matches!(self, Self::Full | Self::From | Self::FullBelow)
    }
}

/// A point of a channel.
#[derive(Clone, Copy, Debug)]
pub enum At {
    /// The value of another input of the same part.
    Input(&'static str),
    /// The same below zero: a channel that reads nothing there gives nothing.
    Below(&'static str),
    /// A voltage of the pack.
    Pack(fn(&Pack) -> f64),
}

pub(super) const fn error(to: &'static str, at: &'static str) -> Carried {
    Carried { to, take: Take::Error(At::Input(at)) }
}

pub(super) const fn value(to: &'static str, from: &'static str) -> Carried {
    Carried { to, take: Take::Value(from) }
}

pub(super) const fn known(to: &'static str, words: &'static str) -> Carried {
    Carried { to, take: Take::Known(words) }
}

const fn fails(to: &'static str) -> Carried {
    Carried { to, take: Take::Fails(&[]) }
}

const fn late(to: &'static str) -> Carried {
    Carried { to, take: Take::Fails(OF_OPERATION) }
}

pub(super) const fn result(to: &'static str, words: &'static str) -> Carried {
    Carried { to, take: Take::Result(words) }
}

/// The one part that a calculation rests on.
pub(super) const fn rests_on(section: &'static str, carried: &'static [Carried]) -> Rests {
    let help = "The part whose worst-case error and values count here; typed values otherwise.";
    Rests { named_at: "/rests_on", label: "Rests on", help, section, tag: "", carried, judged_here: &[], at_once: true }
}

/// The race that takes over from a threshold.
pub(super) const RACED: Rests = Rests {
    named_at: "/raced_by",
    label: "Left to the race",
    help: "The race that judges the hazard of a short circuit, or all faults that a faster function opens.",
    section: "race",
    tag: "",
    carried: &[
        value("/race_threshold_a", "/threshold_a"),
        value("/race_error_percent", "/threshold_error_percent"),
        known("/race_weakest_a", race::given::WEAKEST),
    ],
    judged_here: &[],
    at_once: false,
};

/// The barrier that the readings are sent across.
pub(super) const SENT_ACROSS: Rests = Rests {
    named_at: "/linked_by",
    label: "Sent across",
    help: "The isolation barrier whose latency counts here, once; leave empty where the processing holds it.",
    section: "isolation",
    tag: "",
    carried: &[result("/link_s", isolation::LATENCY)],
    judged_here: &[],
    at_once: false,
};

/// The barrier behind which a channel is fed.
pub(super) const FED_ACROSS: &[Rests] = &[Rests {
    named_at: "/rests_on",
    label: "Fed across",
    help: "The isolation barrier whose isolated supply feeds the channel: ripple, regulation and the mean of the edges count here; typed otherwise.",
    section: "isolation",
    tag: "",
    carried: &[
        result("/amplifier/supply_ripple_v", isolation::RIPPLE),
        result("/amplifier/supply_change_v", isolation::REGULATION),
        result("/amplifier/injected_v", isolation::INJECTED),
    ],
    judged_here: &["/supply/offset_allowed_v", "/common_mode/mean_allowed_v"],
    at_once: false,
}];

pub(super) const fn counted(to: &'static str, of: fn(&Counted) -> f64) -> Carried {
    Carried { to, take: Take::Counted(of) }
}

/// The current channel whose readings are counted.
pub(super) const COUNTED: Rests = Rests {
    help: "The current channel whose readings are counted: its errors count here as bounds over all its states; typed values otherwise.",
    ..rests_on(
        "current",
        &[
            counted("/counter/offset_a", |counted| counted.offset),
            counted("/counter/drift_a", |counted| counted.drift),
            counted("/counter/emf_a", |counted| counted.known),
            counted("/counter/bend_a", |counted| counted.bend),
            counted("/counter/gain_percent", |counted| 100.0 * counted.gain),
            counted("/counter/asymmetry_percent", |counted| 100.0 * counted.unequal),
            result("/counter/noise_a", current_channel::NOISE),
            result("/counter/sample_s", current_channel::SAMPLE),
            result("/counter/noise_correlation_s", current_channel::CORRELATION),
            result("/counter/flicker_a", current_channel::SLOW),
            result("/counting/step_a", current_channel::STEP),
            value("/counter/averaging", "/averaging"),
            Carried { to: "/counter/full_at_a", take: Take::Full },
            Carried { to: "/counter/full_charge_a", take: Take::FullBelow },
        ],
    )
};

/// A threshold that a goal hangs on.
const fn decided(named_at: &'static str, tag: &'static str, label: &'static str, carried: &'static [Carried]) -> Rests {
    let help = "The threshold at whose last moment the goals of its quantity are decided, and what makes it late; typed values otherwise.";
    Rests { named_at, label, help, tag, at_once: false, ..rests_on("protection", carried) }
}

/// Another part on which goals rest.
const fn part(named_at: &'static str, section: &'static str, carried: &'static [Carried]) -> Rests {
    Rests { named_at, at_once: false, ..rests_on(section, carried) }
}

/// The channels into which faults are inserted, and the thresholds that rest on them.
pub(super) const INSERTED: &[Rests] = &[
    decided(
        "/current_threshold",
        "current",
        "Current threshold",
        &[
            result("/current/decided_a", current::CurrentInput::LAST[0]),
            result("/current/harm_a", current::CurrentInput::LAST[1]),
            result("/current/late_sign", current::CurrentInput::LAST[2]),
            result("/current_trip/threshold_a", current::CurrentInput::LAST[3]),
            result("/current_trip/error_a", current::CurrentInput::LAST[4]),
            result("/current_trip/hazard_a", current::CurrentInput::LAST[5]),
            result("/current_trip/slope_a_per_s", current::CurrentInput::LAST[6]),
            result("/current_trip/normal_a", current::CurrentInput::LAST[7]),
            late("/current_trip/fails"),
        ],
    ),
    decided(
        "/voltage_threshold",
        "voltage",
        "Voltage threshold",
        &[
            result("/voltage/decided_v", voltage::VoltageInput::LAST[0]),
            result("/voltage/harm_v", voltage::VoltageInput::LAST[1]),
            result("/voltage/late_sign", voltage::VoltageInput::LAST[2]),
            result("/voltage_trip/threshold_v", voltage::VoltageInput::LAST[3]),
            result("/voltage_trip/error_v", voltage::VoltageInput::LAST[4]),
            result("/voltage_trip/hazard_v", voltage::VoltageInput::LAST[5]),
            result("/voltage_trip/slope_v_per_s", voltage::VoltageInput::LAST[6]),
            result("/voltage_trip/normal_v", voltage::VoltageInput::LAST[7]),
            late("/voltage_trip/fails"),
        ],
    ),
    decided(
        "/temperature_threshold",
        "temperature",
        "Temperature threshold",
        &[
            result("/temperature/decided_degc", temperature::TemperatureInput::LAST[0]),
            result("/temperature/harm_k", temperature::TemperatureInput::LAST[1]),
            result("/temperature/late_sign", temperature::TemperatureInput::LAST[2]),
            result("/temperature_trip/threshold_degc", temperature::TemperatureInput::LAST[3]),
            result("/temperature_trip/error_k", temperature::TemperatureInput::LAST[4]),
            result("/temperature_trip/hazard_degc", temperature::TemperatureInput::LAST[5]),
            result("/temperature_trip/slope_k_per_s", temperature::TemperatureInput::LAST[6]),
            result("/temperature_trip/normal_degc", temperature::TemperatureInput::LAST[7]),
            late("/temperature_trip/fails"),
        ],
    ),
    Rests {
        label: "Race",
        help: "The race of a short circuit on which goals rest; typed values otherwise.",
        ..part(
            "/short_circuit",
            "race",
            &[
                value("/race/voltage_v", "/source/voltage_v"),
                known("/race/resistance_ohm", race::given::LEAST),
                value("/race/inductance_henry", "/source/inductance_henry"),
                result("/race/weakest_v", race::given::LOWEST),
                known("/race/weakest_ohm", race::given::MOST),
                value("/race/largest_henry", "/source/inductance_max_henry"),
                value("/race/before_a", "/before_a"),
                value("/race/threshold_a", "/threshold_a"),
                value("/race/threshold_error_percent", "/threshold_error_percent"),
                result("/race/filter_s", race::given::FILTER),
                result("/race/reaction_s", race::given::REACTION),
                known("/race/breaking_a", race::given::OPENS),
                known("/race/pulse_a2s", race::given::PASSES),
                known("/race/fuse_a2s", race::given::MELTS),
                fails("/race/fails"),
            ],
        )
    },
    Rests {
        label: "Pre-charge",
        help: "The pre-charge on which goals rest; typed values otherwise.",
        ..part(
            "/link_precharge",
            "precharge",
            &[
                value("/precharge/pack_v", "/pack_v"),
                value("/precharge/start_v", "/start_v"),
                value("/precharge/capacitance_farad", "/capacitance_farad"),
                result("/precharge/resistance_ohm", precharge::given::RESISTOR),
                value("/precharge/target_percent", "/target_percent"),
                value("/precharge/closing_difference_v", "/closing_difference_v"),
                result("/precharge/load_ohm", precharge::given::OHM),
                result("/precharge/load_a", precharge::given::CURRENT),
                result("/precharge/load_w", precharge::given::POWER),
                value("/precharge/enable_v", "/load/enable_v"),
                known("/precharge/link_error_v", precharge::given::LINK),
                known("/precharge/pack_error_v", precharge::given::PACK),
                value("/precharge/max_time_s", "/max_time_s"),
                value("/precharge/path_ohm", "/path/resistance_ohm"),
                value("/precharge/path_henry", "/path/inductance_henry"),
                value("/precharge/making_a", "/path/contactor_making_a"),
                value("/precharge/making_a2s", "/path/contactor_inrush_a2s"),
                fails("/precharge/fails"),
            ],
        )
    },
    Rests {
        label: "Count of charge",
        help: "The count on which goals rest; typed values otherwise.",
        ..part(
            "/charge_count",
            "charge_counting",
            &[
                known("/count/budget_ah", charge_counting::given::BUDGET),
                known("/count/anchor_h", charge_counting::given::ANCHOR),
                known("/count/discharge_a", charge_counting::given::DISCHARGE),
                known("/count/charge_a", charge_counting::given::CHARGE),
                fails("/count/fails"),
            ],
        )
    },
    Rests {
        named_at: "/current_channel",
        label: "Current channel",
        help: "The channel whose circuit faults of current are inserted into; typed values otherwise.",
        ..rests_on(
            "current",
            &[
                value("/current/shunt_ohm", "/shunt/resistance_ohm"),
                value("/current/leg_ohm", "/amplifier/source_ohm"),
                value("/current/filter_farad", "/filter/capacitance_farad"),
                value("/current/bias_current_a", "/amplifier/bias_current_a"),
                Carried { to: "/current/full_at_a", take: Take::Full },
                Carried { to: "/current/full_charge_a", take: Take::FullBelow },
                error("/current/error_a", "/current/peak_a"),
                result("/current/noise_a", current_channel::READING),
                result("/current/step_a", current_channel::STEP),
            ],
        )
    },
    Rests {
        named_at: "/voltage_channel",
        label: "Voltage channel",
        help: "The channel whose circuit faults of voltage are inserted into; typed values otherwise.",
        ..rests_on(
            "voltage",
            &[
                value("/voltage/upper_count", "/upper/count"),
                value("/voltage/upper_ohm", "/upper/resistance_ohm"),
                result("/voltage/lower_ohm", voltage_channel::LOWER),
                value("/voltage/load_ohm", "/following/load_ohm"),
                value("/voltage/bias_current_a", "/following/bias_current_a"),
                value("/voltage/filter_farad", "/following/filter_farad"),
                result("/voltage/factor", voltage_channel::FACTOR),
                Carried { to: "/voltage/full_at_v", take: Take::Full },
                Carried { to: "/voltage/error_v", take: Take::Largest([Pack::min_v, Pack::max_v]) },
                result("/voltage/noise_v", voltage_channel::READING),
            ],
        )
    },
    Rests {
        named_at: "/temperature_channel",
        label: "Temperature channel",
        help: "The channel whose circuit faults of temperature are inserted into, a thermistor by its beta; typed values otherwise.",
        at_once: false,
        ..rests_on(
            "temperatures",
            &[
                result("/temperature/r25_ohm", thermistor::R25),
                result("/temperature/beta_k", thermistor::BETA),
                known("/temperature/fixed_ohm", thermistor::FIXED),
                known("/temperature/sensor_above", thermistor::ABOVE),
                known("/temperature/reference_gain", thermistor::READS_REFERENCE),
                value("/temperature/coldest_degc", "/min_degc"),
                value("/temperature/hottest_degc", "/max_degc"),
                Carried { to: "/temperature/error_k", take: Take::LargestRead },
                known("/temperature/noise_k", thermistor::READING),
            ],
        )
    },
];

/// The voltage channel that reads the pack at rest.
pub(super) const READ_AT_REST: Rests = Rests {
    named_at: "/rests_on_voltage",
    label: "Anchored by",
    help: "The voltage channel that reads the pack at rest: its largest error over all voltages of the pack; typed otherwise.",
    section: "voltage",
    tag: "",
    carried: &[Carried { to: "/anchor/pack_error_v", take: Take::Largest([Pack::min_v, Pack::max_v]) }],
    judged_here: &[],
    at_once: false,
};
