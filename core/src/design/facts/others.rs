//! # What cells, counting and surroundings tell, and others, too
//!
//! ```text
//! Courses    largest current of rows that last longer than a peak; steady current that heats as much beside the peaks
//! Source     Ohm's law, heat of a resistance; common practice, no source
//! ```

use serde_json::Value;

use super::{FACT, Fact, all, number, place};
use crate::calc::charge::charge_counting::ChargeInput;
use crate::design::section::{BALANCING, PRECHARGES};
use crate::design::{Design, Part};
use crate::field::tree;
use crate::quantity::{Unit, say};
use crate::report::Severity;

pub(super) static FACTS: &[Fact] = &[
    Fact {
        code: "design.more-than-continuous",
        section: "current",
        at: "/load/continuous_a",
        others: |design, part, _| Some(counting(design, part)),
        there: |head, _, others| {
            let (pack, capacity_ah) = (&head.pack, head.pack.capacity_ah()?);
            let used = |at: usize| {
                let count: &ChargeInput = others[at].1.any().downcast_ref()?;
                let lasting_a = count.usage.lasting_a(capacity_ah, pack.peak_duration_s);
                let steady_a = count.usage.steady_a(pack.peak_a, pack.peak_duration_s, pack.peak_repeat_s);
                Some((lasting_a.max(steady_a), at))
            };
            (0..others.len()).filter_map(used).max_by(|a, b| a.0.total_cmp(&b.0))
        },
        words: |here, there, other| {
            let [here, there] = [here, there].map(|ampere| say(ampere, Unit::Ampere));
            format!(
                "The largest continuous current is {here}; what {other} counts lasts longer than a peak with {there}, or heats as much beside its peaks."
            )
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
];

/// The parts that count the current of a channel: its own readings, or those of another channel of as large a current.
fn counting(design: &Design, channel: &Part) -> Vec<usize> {
    let of_pack = design.head.pack.continuous_a;
    let continuous = |part: &Part| tree::at(&part.input, "/load/continuous_a").map_or(Some(of_pack), Value::as_f64);
    let alike: Vec<&Part> = design.of("current").filter(|other| continuous(other) == continuous(channel)).collect();
    let counts = |part: &Part| alike.iter().any(|channel| part.resting_on(channel).next().is_some());
    design.of("charge_counting").filter(|part| counts(part)).map(|part| place(design, part)).collect()
}

fn ambients(here: f64, there: f64, _: &str) -> String {
    let [here, there] = [here, there].map(|degc| say(degc, Unit::Celsius));
    format!("Its ambient temperature is {here} at most, that of the pack {there}.")
}
