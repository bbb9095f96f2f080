//! # Where a design contradicts itself, or asks for nothing
//!
//! A threshold says itself what it must never trip at, because that is its question. The pack says what it is allowed to do.
//! Where the pack goes further than the threshold expects, the room of the threshold is worked out for another pack. A peak
//! below what flows for good is a slip, a comparator that bears the name of a threshold is a copy of it, and channels without an allowance are not judged by their error.

use serde_json::Value;

use super::lending::Lends;
use super::prepared::takes_list;
use super::section::{Lent, Normal};
use super::{Design, Part};
use crate::field::{Field, declared, tree};
use crate::quantity::{Unit, in_sentence, say};
use crate::report::{Finding, Severity};

/// Thresholds that the pack's own operation reaches, a peak that is none, channels whose error nothing limits, lists of which
/// two differ.
pub fn disagreements(design: &Design) -> Vec<Finding> {
    let mut found: Vec<Finding> = peak(design).into_iter().collect();
    found.extend(without_allowance(design));
    found.extend(lists(design));
    found.extend(beyond_normal(design));
    found.extend(copies(design));
    found
}

/// Comparators of a ripple check that bear the name of a threshold of current or of a race, and trip elsewhere: which of the
/// two is built the design does not say.
fn copies(design: &Design) -> Vec<Finding> {
    let list = design.parts.iter().filter_map(|part| Some((part, part.input.get("threshold_a")?.as_f64()?)));
    let list: Vec<(&Part, f64)> = list.collect();
    let told = |part: &Part, row: usize, trip: &Value| {
        let (name, own) = (trip.get("name")?.as_str()?, trip.get("threshold_a")?.as_f64()?.abs());
        let (other, theirs) = list.iter().find(|(other, _)| other.name.eq_ignore_ascii_case(name))?;
        ((own - theirs).abs() > 1e-9 * theirs.abs()).then(|| {
            let message = format!(
                "{}: {name} trips at {} here and at {} in {}: two copies of one threshold differ.",
                part.title(),
                say(own, Unit::Ampere),
                say(*theirs, Unit::Ampere),
                other.title()
            );
            let place = format!("{}/trips/{row}/threshold_a", part.pointer());
            Finding::new(Severity::Warn, "design.copies-differ", message).at(&place)
        })
    };
    let trips = |part: &Part| part.input.get("trips").and_then(Value::as_array).cloned().unwrap_or_default();
    let of = |part: &Part| trips(part).iter().enumerate().filter_map(|(row, trip)| told(part, row, trip)).collect();
    design.parts.iter().flat_map(|part| -> Vec<Finding> { of(part) }).collect()
}

fn peak(design: &Design) -> Option<Finding> {
    let pack = &design.head.pack;
    (pack.peak_a < pack.continuous_a).then(|| {
        let [peak, continuous] = [pack.peak_a, pack.continuous_a].map(|current| say(current, Unit::Ampere));
        let message = format!("The peak of {peak} lies below the largest continuous current of {continuous}.");
        Finding::new(Severity::Warn, "design.peak-below-continuous", message).at("/pack/peak_a")
    })
}

/// A requirement of a channel's error that nobody has made.
fn without_allowance(design: &Design) -> Vec<Finding> {
    let asked = &design.head.requirements;
    let [current, voltage] = [
        (&asked.current.gain_percent, &asked.current.offset_a),
        (&asked.voltage.gain_percent, &asked.voltage.offset_v),
    ]
    .map(|(gain, offset)| gain.is_none() && offset.is_none());
    let all = [
        ("current", current, "/requirements/current/gain_percent"),
        ("voltage", voltage, "/requirements/voltage/gain_percent"),
        ("temperatures", asked.temperature.allowed_k.is_none(), "/requirements/temperature/allowed_k"),
    ];
    let told = |(section, missing, at): (&str, bool, &str)| {
        let part = design.of(section).next().filter(|_| missing)?;
        let what = part.section.title.to_lowercase();
        let message = format!("No allowance is set for {what}: the reading error of its channels is not judged.");
        Some(Finding::new(Severity::Warn, "design.no-allowance", message).at(at))
    };
    all.into_iter().filter_map(told).collect()
}

fn beyond_normal(design: &Design) -> Vec<Finding> {
    let told = |part: &Part| {
        let of_kind = part.input.get("kind").and_then(Value::as_str)?;
        let reach: &Normal = part.kind.normal.iter().find(|one| one.kind == of_kind)?;
        let (pack, normal) = ((reach.pack)(&design.head.pack), tree::at(&part.input, reach.field)?.as_f64()?);
        let beyond = if reach.over { pack - normal } else { normal - pack };
        (beyond > 1e-9 * normal.abs()).then(|| {
            let unit = declared(part.entry().fields, reach.field).and_then(Field::unit).unwrap_or(Unit::One);
            let message = format!(
                "{}: the pack's {} is {}, beyond the normal extreme of {} that this threshold counts with.",
                part.title(),
                reach.words,
                say(pack, unit),
                say(normal, unit)
            );
            let place = format!("{}{}", part.pointer(), reach.field);
            Finding::new(Severity::Warn, "design.beyond-normal", design.head.pack.words(&message)).at(&place)
        })
    };
    design.parts.iter().filter_map(told).collect()
}

/// Who lends a part the list at a pointer, where it is lent and taken.
pub fn lender(design: &Design, part: &Part, pointer: &str) -> Option<String> {
    let lent = part.kind.lent.iter().find(|lent| lent.to == pointer)?;
    let Lends::List(_, lenders) = design.lends(part, lent) else { return None };
    takes_list(design, part, lent).ok()?;
    lenders.first().map(|one| one.title_among(&design.parts))
}

/// Lists that are lent, and why one is not.
fn lists(design: &Design) -> Vec<Finding> {
    let all = design.parts.iter().flat_map(|part| part.kind.lent.iter().map(move |lent| (part, lent)));
    all.filter_map(|(part, lent)| lent_list(design, part, lent)).collect()
}

fn lent_list(design: &Design, part: &Part, lent: &Lent) -> Option<Finding> {
    let what = declared(part.entry().fields, lent.to)?.label;
    let (own, title) = (part.title_among(&design.parts), |part: &Part| part.title_among(&design.parts));
    let (severity, code, message) = match design.lends(part, lent) {
        Lends::Nothing => return None,
        Lends::Differ(one, other) => (
            Severity::Warn,
            "design.lists-differ",
            format!(
                "{own}: {} and {} differ in their {}. Which one is it here? Type it: what rests on it is not judged.",
                title(one),
                title(other),
                in_sentence(what)
            ),
        ),
        Lends::List(_, lenders) => {
            let lender = lenders.first().map(|one| title(one)).unwrap_or_default();
            match takes_list(design, part, lent) {
                Ok(()) => {
                    let message = format!("{own}: its {} is not typed; that of {lender} counts.", in_sentence(what));
                    (Severity::Note, "design.list-lent", message)
                }
                Err(faults) => {
                    let words = faults.first().map(|fault| fault.message.clone()).unwrap_or_default();
                    let message = format!(
                        "{own}: the {} of {lender} cannot be taken, and what rests on it is not judged. {words}",
                        in_sentence(what)
                    );
                    (Severity::Warn, "design.list-not-lent", message)
                }
            }
        }
    };
    Some(Finding::new(severity, code, message).at(&format!("{}{}", part.pointer(), lent.to)))
}

#[cfg(test)]
mod tests {
    use super::disagreements;
    use crate::demo::DEMOS;

    #[test]
    fn a_peak_that_is_none_a_channel_without_an_allowance_and_a_copy_that_differs_are_told() {
        let mut design = DEMOS[0].design.clone();
        assert!(disagreements(&design).is_empty());
        design.head.pack.peak_a = 0.5 * design.head.pack.continuous_a;
        for part in design.parts.iter_mut().filter(|part| part.name == "Over-current") {
            part.input.insert("threshold_a".into(), 700.0.into());
        }
        let asked = &mut design.head.requirements;
        (asked.voltage.gain_percent, asked.voltage.offset_v) = (None, None);
        let told: Vec<_> = disagreements(&design).into_iter().filter_map(|one| Some((one.code, one.field?))).collect();
        assert!(told.contains(&("design.peak-below-continuous".into(), "/pack/peak_a".into())), "{told:?}");
        assert!(told.contains(&("design.copies-differ".into(), "/ripple/0/trips/0/threshold_a".into())), "{told:?}");
        assert!(
            told.contains(&("design.no-allowance".into(), "/requirements/voltage/gain_percent".into())),
            "{told:?}"
        );
    }
}
