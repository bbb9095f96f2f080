//! # One fact, told in two parts
//!
//! A link, a cell, a shunt or a clock is often described by more than one part. Where parts are tied one of them hands its
//! value to the other; what is typed twice, or acts on a part that has no place for it, is compared here. Where both cannot
//! be true nobody knows which is: requirements that hold with one of them alone are not judged (`prepared::doubts`), and the
//! finding stands where the smaller or quieter of the two is typed. A note tells what may well be so, and unsettles nothing.
//!
//! ```text
//! Noise      of samples that are f a second, of a converter that makes f_d: at least u √(f/f_d), the mean of all between
//! Lag        of a first-order filter on a ramp: its time constant
//! Source     closed forms; that both tell of one thing: common practice, no source
//! ```

use std::borrow::Cow;

use serde_json::Value;

use super::section::{BALANCING, BARRIERS, DISCHARGES, PRECHARGES, RACES};
use super::{Design, Head, Part};
use crate::calc::barrier::isolation;
use crate::calc::current::current_channel;
use crate::calc::protection::race;
use crate::calc::voltage::voltage_channel;
use crate::calculation::Entry;
use crate::field::{Typed, tree};
use crate::quantity::{Unit, say};
use crate::report::{Finding, Severity};

/// Codes of what a reader of the first page can wait for: the report and the interface tell it.
pub const LATER: [&str; 5] = [
    "design.threshold-too-exact",
    "design.balancing-not-counted",
    "design.cell-loss-beyond",
    "design.ambient-below-pack",
    "design.no-bleeder-told",
];

/// What is typed with so much less, or more, is told otherwise: values are typed with three digits.
const TYPED: f64 = 1e-3;
/// A lag that takes less of a time-out is not told.
const LITTLE: f64 = 0.02;

/// A part with its input as it is asked.
pub type Asked<'a> = (&'static Entry, &'a dyn Typed);

/// What others tell, and which of them.
type There = fn(&Head, &dyn Typed, &[Asked]) -> Option<(f64, usize)>;

/// A fact that two parts tell.
pub struct Fact {
    /// A warning unsettles what rests on it.
    pub severity: Severity,
    /// The word of its finding.
    pub code: &'static str,
    section: &'static str,
    /// The input of that section's parts that tells it; a column of a list below it.
    at: &'static str,
    column: &'static str,
    /// The parts that tell it, too, of a row of the list: none of the pack; nothing where a part does not tell of the same.
    others: fn(&Design, &Part, usize) -> Option<Vec<usize>>,
    /// What they tell, and which of them.
    pub there: There,
    /// Whether it is at least what they tell; at most otherwise.
    least: bool,
    /// What it is where it is empty.
    pub empty: Option<f64>,
    /// Both in a sentence, with the title of the other.
    pub words: fn(f64, f64, &str) -> String,
}

impl std::fmt::Debug for Fact {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Fact({} {})", self.code, self.at)
    }
}

impl PartialEq for Fact {
    fn eq(&self, other: &Self) -> bool {
        (self.code, self.section, self.at) == (other.code, other.section, other.at)
    }
}

impl Fact {
    /// Whether a value cannot stand beside what others tell.
    pub fn contradicts(&self, here: f64, there: f64) -> bool {
        let little = TYPED * there.abs();
        if self.least { here < there - little } else { here > there + little }
    }

    /// Whether requirements that rest on it are not judged.
    pub fn unsettles(&self) -> bool {
        self.severity == Severity::Warn
    }

    /// Those of a part that others may tell, too: where they stand in its input, and who these are.
    pub fn of(design: &Design, part: &Part) -> Vec<(&'static Self, Cow<'static, str>, Vec<usize>)> {
        let mut found = Vec::new();
        for fact in FACTS.iter().filter(|fact| fact.section == part.section.key) {
            let rows = if fact.column.is_empty() { 1 } else { rows(part, fact.at).len() };
            for row in 0..rows {
                let Some(others) = (fact.others)(design, part, row) else { continue };
                let at = if fact.column.is_empty() {
                    fact.at.into()
                } else {
                    format!("{}/{row}/{}", fact.at, fact.column).into()
                };
                found.push((fact, at, others));
            }
        }
        found
    }
}

/// A fact of the pack that unsettles what rests on it.
const FACT: Fact = Fact {
    severity: Severity::Warn,
    code: "",
    section: "",
    at: "",
    column: "",
    others: |_, _, _| Some(Vec::new()),
    there: |_, _, _| None,
    least: true,
    empty: None,
    words: |_, _, _| String::new(),
};

static FACTS: &[Fact] = &[
    Fact {
        code: "design.samples-too-fast",
        section: "protection",
        at: "/sample_rate_hz",
        others: |design, part, _| rests_on(design, part, &["current", "voltage"]),
        there: |_, _, others| number(others, 0, "/converter/data_rate_hz"),
        least: false,
        words: |here, there, other| {
            let [here, there] = [here, there].map(|hertz| say(hertz, Unit::Hertz));
            format!("It takes {here} for its samples in a row; the converter of {other} makes {there}.")
        },
        ..FACT
    },
    Fact {
        code: "design.quieter-than-channel",
        section: "protection",
        at: "/noise_a",
        others: |design, part, _| rests_on(design, part, &["current"]),
        there: |_, here, others| {
            let (entry, channel) = others.first()?;
            let share = here.number("/sample_rate_hz")? / channel.number("/converter/data_rate_hz")?;
            Some((entry.gives(*channel, current_channel::NOISE)? * share.min(1.0).sqrt(), 0))
        },
        words: |here, there, other| {
            let [here, there] = [here, there].map(|ampere| say(ampere, Unit::Ampere));
            format!(
                "Its samples are said to have a noise of {here}; those of {other} have {there} at least, however they are averaged."
            )
        },
        ..FACT
    },
    Fact {
        code: "design.sag-differs",
        section: "protection",
        at: "/sag_resistance_ohm",
        others: |_, part, _| reads(part, "cell-").then(Vec::new),
        there: |head, _, _| {
            let pack = &head.pack;
            pack.of_cells(pack.cell_resistance_ohm / f64::from(pack.cells_in_parallel)).map(|ohm| (ohm, 0))
        },
        words: |here, there, _| resistances("the cells in parallel have", here, there),
        ..FACT
    },
    Fact {
        code: "design.sag-differs",
        section: "protection",
        at: "/sag_resistance_ohm",
        others: |_, part, _| reads(part, "pack-").then(Vec::new),
        there: |head, _, _| head.pack.resistance_ohm().map(|ohm| (ohm, 0)),
        words: |here, there, _| resistances("the pack has", here, there),
        ..FACT
    },
    Fact {
        code: "design.sag-differs",
        section: "protection",
        at: "/sag_current_a",
        others: |_, part, _| (reads(part, "cell-") || reads(part, "pack-")).then(Vec::new),
        there: |head, _, _| Some((head.pack.peak_a, 0)),
        words: |here, there, _| {
            let [here, there] = [here, there].map(|ampere| say(ampere, Unit::Ampere));
            format!("Its voltage under load is that at {here}; the pack gives up to {there}.")
        },
        ..FACT
    },
    Fact {
        code: "design.takes-less-elsewhere",
        section: "protection",
        at: "/wire_a2s",
        others: |design, part, _| rests_on(design, part, &[RACES]),
        there: |_, _, others| gives(others, 0, race::given::WIRING),
        least: false,
        words: |here, there, other| takes("the wire", here, there, other),
        ..FACT
    },
    Fact {
        code: "design.takes-less-elsewhere",
        section: "protection",
        at: "/shunt_a2s",
        others: |design, part, _| rests_on(design, part, &[RACES]),
        there: |_, _, others| gives(others, 0, race::given::SHUNT),
        least: false,
        words: |here, there, other| takes("the shunt", here, there, other),
        ..FACT
    },
    Fact {
        code: "design.threshold-too-exact",
        section: RACES,
        at: "/threshold_error_percent",
        others: |design, _, _| Some(all(design, "current")),
        there: |_, _, others| {
            let share = |at: usize| {
                let of = |pointer| Some(number(others, at, pointer)?.0);
                Some((of("/shunt/tolerance_percent")? + of("/shunt/life_drift_percent")?, at))
            };
            (0..others.len()).filter_map(share).min_by(|a, b| a.0.total_cmp(&b.0))
        },
        words: |here, there, _| {
            let [here, there] = [here, there].map(|share| say(share, Unit::Percent));
            format!(
                "Its threshold is taken to be right within {here}; the shunts are within {there} at best, and a comparator does not take part in a calibration."
            )
        },
        ..FACT
    },
    Fact {
        code: "design.link-differs",
        section: RACES,
        at: "/source/link_farad",
        others: |design, _, _| Some(all(design, PRECHARGES)),
        there: |_, _, others| {
            let each = (0..others.len()).filter_map(|at| number(others, at, "/capacitance_farad"));
            each.reduce(|sum, one| (sum.0 + one.0, 0))
        },
        words: capacitances,
        ..FACT
    },
    Fact {
        code: "design.link-differs",
        section: DISCHARGES,
        at: "/capacitance_farad",
        others: |design, part, _| part.resting().next().is_none().then(|| all(design, PRECHARGES)),
        there: |_, _, others| most(others, "/capacitance_farad"),
        words: capacitances,
        ..FACT
    },
    Fact {
        code: "design.link-above-start",
        section: PRECHARGES,
        at: "/start_v",
        others: |design, part, _| Some(design.beside(part, DISCHARGES).map(|other| place(design, other)).collect()),
        there: |_, _, others| most(others, "/feed/back_emf_v"),
        words: |here, there, other| {
            let [here, there] = [here, there].map(|volt| say(volt, Unit::Volt));
            format!("The link starts at {here}; a machine that turns holds it at up to {there} ({other}).")
        },
        ..FACT
    },
    Fact {
        code: "design.read-late",
        section: PRECHARGES,
        at: "/max_time_s",
        others: |design, part, _| {
            let channel = rests_on(design, part, &["voltage"])?;
            let barrier = rests_on(design, &design.parts[channel[0]], &[BARRIERS]).unwrap_or_default();
            Some(channel.into_iter().chain(barrier).collect())
        },
        there: |_, here, others| {
            let filter = gives(others, 0, voltage_channel::FILTER).map_or(0.0, |(lag, _)| lag);
            let late = filter + gives(others, 1, isolation::LATENCY).map_or(0.0, |(lag, _)| lag);
            let all = here.number("/max_time_s")?;
            (late > LITTLE * all).then(|| ((all - late).max(LITTLE * all), 0))
        },
        least: false,
        words: |here, there, other| {
            let [here, late] = [here, here - there].map(|second| say(second, Unit::Second));
            format!("The readings of {other} come {late} late; the time-out of {here} is held against the link itself.")
        },
        ..FACT
    },
    Fact {
        severity: Severity::Note,
        code: "design.balancing-not-counted",
        section: "charge_counting",
        at: "/apart/unseen_a",
        empty: Some(0.0),
        others: |design, _, _| Some(all(design, BALANCING)),
        there: |_, _, others| {
            let taken = |at: usize| {
                let of = |pointer| Some(number(others, at, pointer)?.0);
                let ohm = of("/bleed_ohm")? + of("/switch_ohm")? + 2.0 * of("/wire_ohm")?;
                Some((of("/cell_v")? / ohm * of("/duty_percent")? / 100.0, at))
            };
            (0..others.len()).filter_map(taken).max_by(|a, b| a.0.total_cmp(&b.0))
        },
        words: |here, there, other| {
            let [here, there] = [here, there].map(|ampere| say(ampere, Unit::Ampere));
            format!("{here} flow past the shunt at most; {other} takes {there} from a cell while it is on.")
        },
        ..FACT
    },
    Fact {
        severity: Severity::Note,
        code: "design.cell-loss-beyond",
        section: "temperatures",
        at: "/cell/heat_flow_w",
        others: |_, part, _| {
            let path = tree::at(&part.input, "/cell/thermal_resistance_k_per_w").and_then(Value::as_f64);
            path.is_some_and(|k_per_w| k_per_w > 0.0).then(Vec::new)
        },
        there: |head, _, _| {
            let pack = &head.pack;
            let each = pack.continuous_a / f64::from(pack.cells_in_parallel);
            pack.of_cells(each * each * pack.cell_resistance_ohm).map(|watt| (watt, 0))
        },
        words: |here, there, _| {
            let [here, there] = [here, there].map(|watt| say(watt, Unit::Watt));
            format!(
                "{here} flow from the cell past the sensor; at the largest continuous current a cell loses {there}."
            )
        },
        ..FACT
    },
    Fact {
        severity: Severity::Note,
        code: "design.ambient-below-pack",
        section: BALANCING,
        at: "/limits/ambient_degc",
        there: |head, _, _| Some((head.pack.ambient_max_degc, 0)),
        words: ambients,
        ..FACT
    },
    Fact {
        severity: Severity::Note,
        code: "design.ambient-below-pack",
        section: PRECHARGES,
        at: "/resistor/ambient_degc",
        there: |head, _, _| Some((head.pack.ambient_max_degc, 0)),
        words: ambients,
        ..FACT
    },
    Fact {
        code: "design.opens-later",
        section: "safety",
        at: "/goals",
        column: "reaction_s",
        others: threshold_of_goal,
        there: |_, _, others| number(others, 0, "/opening_s"),
        words: |here, there, other| {
            let [here, there] = [here, there].map(|second| say(second, Unit::Second));
            format!(
                "From an alarm to the safe state it takes {here}, while the opening of {other} alone takes {there}."
            )
        },
        ..FACT
    },
    Fact {
        code: "design.trips-later",
        section: "safety",
        at: "/goals",
        column: "delay_s",
        others: threshold_of_goal,
        there: |_, _, others| {
            let of = |pointer| number(others, 0, pointer).map(|(value, _)| value);
            let row = of("/samples_in_a_row")? / of("/sample_rate_hz")?;
            let lag = of("/filter_s").or(of("/lag_s")).unwrap_or(0.0).max(of("/channel_filter_s").unwrap_or(0.0));
            let rest: f64 = ["/processing_s", "/link_s", "/opening_s"].into_iter().filter_map(of).sum();
            Some((row + lag + rest, 0))
        },
        words: |here, there, other| {
            let [here, there] = [here, there].map(|second| say(second, Unit::Second));
            format!("From the crossing to the safe state it takes {here}, and {there} where {other} is judged.")
        },
        ..FACT
    },
];

/// The threshold on which a goal rests.
fn threshold_of_goal(design: &Design, part: &Part, row: usize) -> Option<Vec<usize>> {
    let word = |key: &str| rows(part, "/goals").get(row)?.get(key)?.as_str();
    let reads = word("reads").filter(|_| word("decided_by").is_none_or(|by| by == "threshold"))?;
    let named_at = format!("/{reads}_threshold");
    let (rests, number) = part.resting().find(|(rests, _)| rests.named_at == named_at)?;
    design.source(rests, number).map(|source| vec![place(design, source)])
}

fn rows<'a>(part: &'a Part, list: &str) -> &'a [Value] {
    tree::at(&part.input, list).and_then(Value::as_array).map_or(&[], Vec::as_slice)
}

fn place(design: &Design, part: &Part) -> usize {
    design.parts.iter().position(|other| other.key() == part.key()).unwrap_or(usize::MAX)
}

fn all(design: &Design, section: &str) -> Vec<usize> {
    design.of(section).map(|part| place(design, part)).collect()
}

/// The part of one of these sections that a part rests on.
fn rests_on(design: &Design, part: &Part, sections: &[&str]) -> Option<Vec<usize>> {
    let (rests, number) = part.resting().find(|(rests, _)| sections.contains(&rests.section))?;
    design.source(rests, number).map(|source| vec![place(design, source)])
}

/// Whether a lower threshold of voltage reads what begins so: a cell, the pack.
fn reads(part: &Part, what: &str) -> bool {
    let kind = tree::at(&part.input, "/kind").and_then(Value::as_str).unwrap_or_default();
    kind.starts_with(what) && kind.ends_with("under-voltage")
}

fn number(others: &[Asked], at: usize, pointer: &str) -> Option<(f64, usize)> {
    others.get(at)?.1.number(pointer).map(|value| (value, at))
}

fn gives(others: &[Asked], at: usize, words: &str) -> Option<(f64, usize)> {
    let (entry, input) = others.get(at)?;
    entry.gives(*input, words).map(|value| (value, at))
}

fn most(others: &[Asked], pointer: &str) -> Option<(f64, usize)> {
    (0..others.len()).filter_map(|at| number(others, at, pointer)).max_by(|a, b| a.0.total_cmp(&b.0))
}

fn resistances(of: &str, here: f64, there: f64) -> String {
    let [here, there] = [here, there].map(|ohm| say(ohm, Unit::Ohm));
    format!("Its voltage under load is that of {here} at most; {of} {there} at least.")
}

fn takes(what: &str, here: f64, there: f64, other: &str) -> String {
    let [here, there] = [here, there].map(|a2s| say(a2s, Unit::AmpereSquaredSecond));
    format!("Here {what} takes {here}, in {other} it takes {there}.")
}

fn capacitances(here: f64, there: f64, _: &str) -> String {
    let [here, there] = [here, there].map(|farad| say(farad, Unit::Farad));
    format!("The link has {here} here and {there} where it is pre-charged.")
}

fn ambients(here: f64, there: f64, _: &str) -> String {
    let [here, there] = [here, there].map(|degc| say(degc, Unit::Celsius));
    format!("Its ambient temperature is {here} at most, that of the pack {there}.")
}

/// A sentence that begins with its part.
pub fn told(design: &Design, severity: Severity, code: &str, (part, at): (&Part, &str), words: &str) -> Finding {
    let message = format!("{}: {}", part.title_among(&design.parts), design.head.pack.words(words));
    Finding::new(severity, code, message).at(&design.origin(part, at))
}

/// What one part tells, and another that it acts on has no place for.
pub fn told_once(design: &Design) -> Vec<Finding> {
    bleeders(design).into_iter().chain(feeds(design)).collect()
}

/// Without a discharge nobody says whether a bleeder is on the link that is pre-charged.
fn bleeders(design: &Design) -> Vec<Finding> {
    let alone = design.of(PRECHARGES).filter(|part| design.beside(part, DISCHARGES).next().is_none());
    let words = "No discharge of this link is in the design: a bleeder counts as far as its load says so.";
    alone.map(|part| told(design, Severity::Note, "design.no-bleeder-told", (part, "/load/kind"), words)).collect()
}

/// A source that one discharge of a link counts and another does not.
fn feeds(design: &Design) -> Vec<Finding> {
    let fed = |part: &Part| {
        let kind = tree::at(&part.input, "/feed/kind").and_then(Value::as_str).is_some_and(|kind| kind != "none");
        kind || tree::at(&part.input, "/feed/back_emf_v").is_some()
    };
    let tie = |part: &Part| part.resting().find(|(rests, _)| rests.section == PRECHARGES).map(|(_, number)| number);
    let one = |part: &Part| {
        let of_one_link = |other: &&Part| tie(other).is_none() || tie(part).is_none() || tie(other) == tie(part);
        let other = design.of(DISCHARGES).filter(of_one_link).find(|other| fed(other)).filter(|_| !fed(part))?;
        let words = format!("Nothing feeds the link here; {} counts a source on it.", other.title_among(&design.parts));
        Some(told(design, Severity::Warn, "design.feed-not-counted", (part, "/feed/kind"), &words))
    };
    design.of(DISCHARGES).filter_map(one).collect()
}

#[cfg(test)]
mod tests;
