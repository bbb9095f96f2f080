//! # One fact, told in two parts
//!
//! A link, a cell, a shunt or a clock is often described by more than one part. Where parts are tied one of them hands its
//! value to the other; what is typed twice, or acts on a part that has no place for it, is compared here. Each finding stands
//! where the smaller or quieter of the two is typed.

use serde_json::Value;

use super::section::{BALANCING, DISCHARGES, PRECHARGES, RACES};
use super::{Design, Part};
use crate::field::tree;
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

/// What two parts tell differently.
pub fn told_twice(design: &Design) -> Vec<Finding> {
    let all =
        [samples, bleeders, link_above_start, exact_thresholds, feeds, bleeding, cell_loss, capacitances, ambients];
    all.iter().flat_map(|of| of(design)).collect()
}

fn number(part: &Part, pointer: &str) -> Option<f64> {
    tree::at(&part.input, pointer).and_then(Value::as_f64)
}

/// A sentence that begins with its part.
fn told(design: &Design, severity: Severity, code: &str, (part, at): (&Part, &str), words: &str) -> Finding {
    let message = format!("{}: {words}", part.title_among(&design.parts));
    Finding::new(severity, code, message).at(&design.origin(part, at))
}

/// A threshold that looks at more samples than the converter of its channel makes.
fn samples(design: &Design) -> Vec<Finding> {
    let one = |part: &Part| {
        let (rests, number_of) = part.resting().find(|(rests, _)| matches!(rests.section, "current" | "voltage"))?;
        let channel = design.source(rests, number_of)?;
        let (takes, makes) = (number(part, "/sample_rate_hz")?, number(channel, "/converter/data_rate_hz")?);
        (takes > makes * (1.0 + 1e-9)).then(|| {
            let words = format!(
                "It takes {} for its samples in a row; the converter of {} makes {}.",
                say(takes, Unit::Hertz),
                channel.title_among(&design.parts),
                say(makes, Unit::Hertz)
            );
            told(design, Severity::Warn, "design.samples-too-fast", (part, "/sample_rate_hz"), &words)
        })
    };
    design.of("protection").filter_map(one).collect()
}

/// Without a discharge nobody says whether a bleeder is on the link that is pre-charged.
fn bleeders(design: &Design) -> Vec<Finding> {
    let alone = design.of(PRECHARGES).filter(|part| design.beside(part, DISCHARGES).next().is_none());
    let words = "No discharge of this link is in the design: a bleeder counts as far as its load says so.";
    alone.map(|part| told(design, Severity::Note, "design.no-bleeder-told", (part, "/load/kind"), words)).collect()
}

/// A machine on the link may leave it above the voltage from which it is pre-charged.
fn link_above_start(design: &Design) -> Vec<Finding> {
    let one = |precharge: &Part| {
        let emf = |part: &Part| number(part, "/feed/back_emf_v").map(|volt| (volt, part.title_among(&design.parts)));
        let (volt, other) = design.beside(precharge, DISCHARGES).filter_map(emf).max_by(|a, b| a.0.total_cmp(&b.0))?;
        let starts = number(precharge, "/start_v")?;
        (volt > starts).then(|| {
            let words = format!(
                "The link starts at {}; a machine that turns holds it at up to {} ({other}). What closes onto such a link is not judged.",
                say(starts, Unit::Volt),
                say(volt, Unit::Volt)
            );
            told(design, Severity::Warn, "design.link-above-start", (precharge, "/start_v"), &words)
        })
    };
    design.of(PRECHARGES).filter_map(one).collect()
}

/// A fast threshold that is told to be better than every shunt whose current it may see.
fn exact_thresholds(design: &Design) -> Vec<Finding> {
    let share =
        |part: &Part| Some(number(part, "/shunt/tolerance_percent")? + number(part, "/shunt/life_drift_percent")?);
    let Some(best) = design.of("current").filter_map(share).reduce(f64::min) else { return Vec::new() };
    let one = |race: &Part| {
        let error = number(race, "/threshold_error_percent")?;
        (error < best).then(|| {
            let words = format!(
                "Its threshold is taken to be right within {}; the shunts are within {} at best, and a comparator does not take part in a calibration.",
                say(error, Unit::Percent),
                say(best, Unit::Percent)
            );
            told(design, Severity::Note, "design.threshold-too-exact", (race, "/threshold_error_percent"), &words)
        })
    };
    design.of(RACES).filter_map(one).collect()
}

/// A source that one discharge of a link counts and another does not.
fn feeds(design: &Design) -> Vec<Finding> {
    let fed = |part: &Part| {
        let kind = tree::at(&part.input, "/feed/kind").and_then(Value::as_str).is_some_and(|kind| kind != "none");
        kind || number(part, "/feed/back_emf_v").is_some()
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

/// What balancing takes from the cells beside the shunt.
fn bleeding(design: &Design) -> Vec<Finding> {
    let taken = |part: &Part| -> Option<f64> {
        let ohm = number(part, "/bleed_ohm")? + number(part, "/switch_ohm")? + 2.0 * number(part, "/wire_ohm")?;
        Some(number(part, "/cell_v")? / ohm * number(part, "/duty_percent")? / 100.0)
    };
    let all = design.of(BALANCING).filter_map(|part| Some((taken(part)?, part)));
    let most = all.max_by(|a, b| a.0.total_cmp(&b.0));
    let Some((ampere, balancing)) = most else { return Vec::new() };
    let one = |count: &Part| {
        let unseen = number(count, "/apart/unseen_a").unwrap_or(0.0);
        (unseen < ampere * (1.0 - 1e-9)).then(|| {
            let words = format!(
                "{} flow past the shunt at most; {} takes {} from a cell while it is on.",
                say(unseen, Unit::Ampere),
                balancing.title_among(&design.parts),
                say(ampere, Unit::Ampere)
            );
            told(design, Severity::Note, "design.balancing-not-counted", (count, "/apart/unseen_a"), &words)
        })
    };
    design.of("charge_counting").filter_map(one).collect()
}

/// A cell that loses more at the largest continuous current than what is said to flow past its sensor.
fn cell_loss(design: &Design) -> Vec<Finding> {
    let pack = &design.head.pack;
    if !pack.has_cells() {
        return Vec::new();
    }
    let each = pack.continuous_a / f64::from(pack.cells_in_parallel);
    let loses = each * each * pack.cell_resistance_ohm;
    let one = |part: &Part| {
        let flows = number(part, "/cell/heat_flow_w")?;
        let carries = number(part, "/cell/thermal_resistance_k_per_w").is_some_and(|k_per_w| k_per_w > 0.0);
        (carries && flows < loses * (1.0 - 1e-3)).then(|| {
            let words = format!(
                "{} flow from the cell past the sensor; at the largest continuous current a cell loses {}.",
                say(flows, Unit::Watt),
                say(loses, Unit::Watt)
            );
            told(design, Severity::Note, "design.cell-loss-beyond", (part, "/cell/heat_flow_w"), &words)
        })
    };
    design.of("temperatures").filter_map(one).collect()
}

/// A link that has less capacitance in a race or an untied discharge than in its pre-charge.
fn capacitances(design: &Design) -> Vec<Finding> {
    let all: Vec<f64> = design.of(PRECHARGES).filter_map(|part| number(part, "/capacitance_farad")).collect();
    let (sum, most) = (all.iter().sum::<f64>(), all.iter().copied().fold(0.0, f64::max));
    let one = |part: &Part, at: &str, most: f64| {
        let farad = number(part, at)?;
        (farad < most * (1.0 - 1e-9)).then(|| {
            let [here, there] = [farad, most].map(|farad| say(farad, Unit::Farad));
            let words = format!("The link has {here} here and {there} where it is pre-charged.");
            told(design, Severity::Warn, "design.link-differs", (part, at), &words)
        })
    };
    let races = design.of(RACES).filter_map(|part| one(part, "/source/link_farad", sum));
    let untied = design.of(DISCHARGES).filter(|part| part.resting().next().is_none());
    races.chain(untied.filter_map(|part| one(part, "/capacitance_farad", most))).collect()
}

/// A part that is told to stand in a cooler place than the pack.
fn ambients(design: &Design) -> Vec<Finding> {
    let hottest = design.head.pack.ambient_max_degc;
    let one = |(part, at): (&Part, &str)| {
        let degc = number(part, at)?;
        (degc < hottest).then(|| {
            let [here, pack] = [degc, hottest].map(|degc| say(degc, Unit::Celsius));
            let words = format!("Its ambient temperature is {here} at most, that of the pack {pack}.");
            told(design, Severity::Note, "design.ambient-below-pack", (part, at), &design.head.pack.words(&words))
        })
    };
    let balancing = design.of(BALANCING).map(|part| (part, "/limits/ambient_degc"));
    let resistors = design.of(PRECHARGES).map(|part| (part, "/resistor/ambient_degc"));
    balancing.chain(resistors).filter_map(one).collect()
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::told_twice;
    use crate::demo::find;
    use crate::design::Design;

    /// The codes and places that a demo tells with some of its values replaced, beyond those that it tells by itself.
    fn codes(changes: &[(&str, &str, Value)]) -> Vec<(String, String)> {
        let demo = &find("funicular-summit-buffer").expect("a demo").design;
        let of = |design: &Design| -> Vec<(String, String)> {
            told_twice(design).into_iter().filter_map(|one| Some((one.code, one.field?))).collect()
        };
        let mut changed = demo.clone();
        for (key, pointer, value) in changes {
            let part = changed.parts.iter_mut().find(|part| part.key() == *key).expect("a part");
            crate::field::tree::put(&mut part.input, pointer, value.clone());
        }
        let before = of(demo);
        of(&changed).into_iter().filter(|one| !before.contains(one)).collect()
    }

    #[test]
    fn each_fact_that_two_parts_tell_differently_is_told() {
        let one = |key: &str, pointer: &str, value: Value, code: &str, place: &str| {
            let told = codes(&[(key, pointer, value)]);
            assert_eq!(told, [(code.to_owned(), place.to_owned())], "{key} {pointer}");
        };
        one(
            "current.1",
            "/converter/data_rate_hz",
            json!(20.0),
            "design.samples-too-fast",
            "/protection/1/sample_rate_hz",
        );
        one("discharge.1", "/feed/back_emf_v", json!(2000.0), "design.link-above-start", "/precharge/0/start_v");
        let cooler = ("balancing.1", "/limits/ambient_degc", json!(5.0));
        let told = codes(&[cooler]);
        assert_eq!(told[0].0, "design.ambient-below-pack");
        one("race.1", "/source/link_farad", json!(1e-4), "design.link-differs", "/race/0/source/link_farad");
        one(
            "temperatures.1",
            "/cell/heat_flow_w",
            json!(0.5),
            "design.cell-loss-beyond",
            "/temperatures/0/cell/heat_flow_w",
        );
        assert!(codes(&[("precharge.1", "/start_v", json!(5.0))]).is_empty());
        // A count that is told of more than any cell gives, and a threshold that is less exact than the shunt, are silent.
        let own = |key: &str, pointer: &str, value: Value| {
            let mut design = find("funicular-summit-buffer").expect("a demo").design.clone();
            let part = design.parts.iter_mut().find(|part| part.key() == key).expect("a part");
            crate::field::tree::put(&mut part.input, pointer, value);
            told_twice(&design).into_iter().map(|one| one.code).collect::<Vec<_>>()
        };
        let both = ["design.threshold-too-exact", "design.balancing-not-counted"];
        assert_eq!(own("precharge.1", "/start_v", json!(0.0)), both);
        // 3.45 V over 33 ohm is 104.5 mA; the shunt is within 0.5 % and 0.2 % over life.
        assert_eq!(own("charge_counting.1", "/apart/unseen_a", json!(0.105)), both[..1]);
        assert_eq!(own("charge_counting.1", "/apart/unseen_a", json!(0.104)), both);
        assert_eq!(own("race.1", "/threshold_error_percent", json!(0.71)), both[1..]);
        assert_eq!(own("race.1", "/threshold_error_percent", json!(0.69)), both);
    }

    /// A link whose discharge is gone has nobody who tells of a bleeder, and of two discharges one alone counts a source.
    #[test]
    fn a_discharge_that_is_gone_or_differs_is_told() {
        let mut design = find("funicular-summit-buffer").expect("a demo").design.clone();
        let mut other = design.part("discharge.1").expect("a discharge").clone();
        other.number = 2;
        crate::field::tree::put(&mut other.input, "/feed/kind", json!("constant-current"));
        design.parts.push(other);
        let codes = |design: &Design| told_twice(design).into_iter().map(|one| one.code).collect::<Vec<_>>();
        assert!(codes(&design).contains(&"design.feed-not-counted".to_owned()), "{:?}", codes(&design));
        design.parts.retain(|part| part.section.key != super::DISCHARGES);
        assert!(codes(&design).contains(&"design.no-bleeder-told".to_owned()), "{:?}", codes(&design));
    }
}
