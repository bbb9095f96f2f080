//! # The sections of a design
//!
//! Which calculations a design is made of, in the order of the signal, and which of their inputs are handed down: from
//! the pack, from the requirements, or from the error of a channel at the very point where a threshold sits. A section is
//! one row here; worksheet, report, comparison and the published schema are derived from it.

use super::pack::Pack;
use crate::calculation::Room;
use crate::catalogue;

/// A section.
#[derive(Debug)]
pub struct Section {
    /// Its name in the document.
    pub key: &'static str,
    /// Its heading.
    pub title: &'static str,
    /// One of its parts in words.
    pub one: &'static str,
    /// What is said when it is empty.
    pub absent: &'static str,
    /// Its calculations; a part says which by `of` when there are several.
    pub kinds: &'static [Kind],
    /// Most parts.
    pub most: usize,
}

/// A calculation of a section.
#[derive(Debug)]
pub struct Kind {
    /// Its word in `of`.
    pub tag: &'static str,
    /// Its slug in the catalogue.
    pub slug: &'static str,
    /// What the pack and the requirements hand down.
    pub bound: &'static [Bound],
    /// The section whose channels hand their error on to it.
    pub carries_from: &'static str,
    /// Which errors.
    pub carried: &'static [Carried],
    /// Groups that count only while a choice has a word.
    pub only_when: &'static [OnlyWhen],
}

/// A group of inputs that counts only while a choice has a certain word.
#[derive(Debug)]
pub struct OnlyWhen {
    /// The choice.
    pub choice: &'static str,
    /// Its word.
    pub word: &'static str,
    /// The group.
    pub group: &'static str,
}

/// An input that is handed down.
#[derive(Debug)]
pub struct Bound {
    /// The input of the calculation, as a JSON Pointer: a value or a whole group.
    pub to: &'static str,
    /// Where it stands in the design.
    pub from: From,
}

/// Where something that is handed down stands.
#[derive(Clone, Copy, Debug)]
pub enum From {
    /// At this pointer of the document.
    Field(&'static str),
    /// Worked out from the pack; the pointer names the value that is to blame.
    Pack(&'static str, fn(&Pack) -> f64),
}

/// An error that a channel hands on.
#[derive(Debug)]
pub struct Carried {
    /// The input that takes it.
    pub to: &'static str,
    /// The point of the channel at which it is taken.
    pub at: At,
    /// Whether it is wanted in percent of that point.
    pub in_percent: bool,
}

/// A point of a channel.
#[derive(Clone, Copy, Debug)]
pub enum At {
    /// The value of another input of the same part.
    Input(&'static str),
    /// A voltage of the pack.
    Pack(fn(&Pack) -> f64),
}

const fn field(to: &'static str, from: &'static str) -> Bound {
    Bound { to, from: From::Field(from) }
}

const fn pack(to: &'static str, from: &'static str, value: fn(&Pack) -> f64) -> Bound {
    Bound { to, from: From::Pack(from, value) }
}

const fn kind(tag: &'static str, slug: &'static str, bound: &'static [Bound]) -> Kind {
    Kind { tag, slug, bound, carries_from: "", carried: &[], only_when: &[] }
}

const COLDEST: Bound = field("/conditions/ambient_min_degc", "/pack/ambient_min_degc");
const HOTTEST: Bound = field("/conditions/ambient_max_degc", "/pack/ambient_max_degc");
const CALIBRATED: Bound = field("/conditions/calibration_degc", "/pack/calibration_degc");

/// The sections, in the order of the signal.
pub static SECTIONS: &[Section] = &[
    Section {
        key: "current",
        title: "Current",
        one: "Current channel",
        absent: "No current channel: its error is not assessed.",
        kinds: &[kind(
            "",
            "current-channel",
            &[
                COLDEST,
                HOTTEST,
                CALIBRATED,
                field("/load/continuous_a", "/pack/continuous_a"),
                field("/load/peak_a", "/pack/peak_a"),
                field("/load/peak_duration_s", "/pack/peak_duration_s"),
                field("/load/ripple_current_a", "/pack/ripple_current_a"),
                field("/load/ripple_frequency_hz", "/pack/ripple_frequency_hz"),
                pack("/load/capacity_ah", "/pack/cell_capacity_ah", Pack::capacity_ah),
                field("/requirement", "/requirements/current"),
            ],
        )],
        most: 4,
    },
    Section {
        key: "voltage",
        title: "Voltage",
        one: "Voltage channel",
        absent: "No voltage channel: its error is not assessed.",
        kinds: &[kind(
            "",
            "voltage-channel",
            &[
                COLDEST,
                HOTTEST,
                CALIBRATED,
                pack("/input_min_v", "/pack/cell_min_v", Pack::min_v),
                pack("/input_max_v", "/pack/cell_max_v", Pack::max_v),
                field("/requirement", "/requirements/voltage"),
            ],
        )],
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
            ..kind("", "thermistor", &[field("/requirement", "/requirements/temperature")])
        }],
        most: 6,
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

impl Kind {
    /// Its calculation. A test holds that every slug is in the catalogue.
    pub fn room(&self) -> &'static Room {
        catalogue::find(self.slug).unwrap_or(&catalogue::CATALOGUE[0])
    }
}

impl PartialEq for Section {
    fn eq(&self, other: &Self) -> bool {
        self.key == other.key
    }
}

impl PartialEq for Kind {
    fn eq(&self, other: &Self) -> bool {
        self.slug == other.slug && self.tag == other.tag
    }
}
