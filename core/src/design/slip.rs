//! # Unit slips
//!
//! A factor of a thousand is the commonest mistake of a typed value, and it lies inside every range of a field. It shows in
//! what the value makes: a sense voltage of 49 V, a divider that puts 80 V on a converter. Where a consequence is far from
//! what the trade builds, the factor is looked for that brings every consequence of the part back.
//!
//! ```text
//! Rule       a consequence y outside its usual range; x → x · 10^n, n in {−6, −3, 3, 6}; suggested when every consequence
//!            of the part then lies inside
//! Valid      the usual ranges are wide (decades): the hint asks, it does not refuse
//! Source     ranges: common practice, no source; each calculation declares its own
//! ```

use super::prepared::Prepared;
use super::{Design, Part};
use crate::field::{Typed, declared};
use crate::quantity::{Quantity, Unit, say};
use crate::report::{Finding, Severity};
use crate::work::Work;

/// The hints of a design: one a part at most, at the value that slipped.
pub fn hints(design: &Design) -> Vec<Finding> {
    let Ok(ready) = Prepared::new(design, Work::FREE) else { return Vec::new() };
    let parts = design.parts.iter().enumerate();
    parts.filter_map(|(at, part)| hint(design, part, &mut *ready.input(at).copy())).collect()
}

fn hint(design: &Design, part: &Part, input: &mut dyn Typed) -> Option<Finding> {
    let entry = part.entry();
    let mut strange = entry.consequences(input);
    strange.retain(|one| one.strange);
    let first = strange.first()?;
    let seen = format!("{} is {}", first.words, say(first.value.value, first.value.unit));
    let cure = strange
        .iter()
        .flat_map(|one| one.from)
        .flat_map(|pointer| [-3i32, 3, -6, 6].map(|power| (*pointer, power)))
        .find_map(|(pointer, power)| {
            let now = input.number(pointer)?;
            let then = scaled(now, power);
            let field = declared(entry.fields, pointer)?;
            // Put back after it is judged: the next one starts from the same values.
            let mends = input.put(pointer, then) && entry.consequences(input).iter().all(|one| !one.strange);
            input.put(pointer, now);
            mends.then_some((pointer, field, now, then))
        });
    let message = match cure {
        Some((_, field, now, then)) => {
            let unit = field.unit().unwrap_or(Unit::One);
            format!(
                "{}: {seen}, far from what is usual. Was {} meant to be {} instead of {}?",
                part.title(),
                field.label,
                Quantity::new(then, unit).brief(6),
                Quantity::new(now, unit).brief(6)
            )
        }
        None => format!("{}: {seen}, far from what is usual. Check the values it follows from.", part.title()),
    };
    let pointer = cure.map_or_else(|| first.from[0], |(pointer, ..)| pointer);
    Some(Finding::new(Severity::Warn, "design.unit-slip", message).at(&design.origin(part, pointer)))
}

/// A power of ten as somebody types it: without the last digits of a multiplication.
fn scaled(value: f64, power: i32) -> f64 {
    format!("{value:e}")
        .split_once('e')
        .and_then(|(digits, exponent)| Some(format!("{digits}e{}", exponent.parse::<i32>().ok()? + power)))
        .and_then(|text| text.parse().ok())
        .unwrap_or(value)
}
