//! # Where a design contradicts itself
//!
//! A threshold says itself what it must never trip at, because that is its question. The pack says what it is allowed to do.
//! Where the pack goes further than the threshold expects, the room of the threshold is worked out for another pack.

use serde_json::Value;

use super::section::Normal;
use super::{Design, Part};
use crate::field::{Field, declared, tree};
use crate::quantity::{Unit, say};
use crate::report::{Finding, Severity};

/// Thresholds that the pack's own operation reaches.
pub fn disagreements(design: &Design) -> Vec<Finding> {
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
