//! # Where a design contradicts itself
//!
//! A threshold says itself what it must never trip at, because that is its question. The pack says what it is allowed to do.
//! Where the pack goes further than the threshold expects, the room of the threshold is worked out for another pack.

use serde_json::Value;

use super::{Design, Part};
use crate::field::tree;
use crate::quantity::{Unit, say};
use crate::report::{Finding, Severity};

/// What the pack is allowed to do that a threshold is about.
struct Reach {
    field: &'static str,
    unit: Unit,
    pack: f64,
    words: &'static str,
    over: bool,
}

fn reach(design: &Design, part: &Part) -> Option<Reach> {
    let pack = &design.head.pack;
    let kind = part.input.get("kind").and_then(Value::as_str)?;
    let volt = |pack, words, over| Some(Reach { field: "/normal_v", unit: Unit::Volt, pack, words, over });
    match (part.kind.tag, kind) {
        ("voltage", "cell-over-voltage") => volt(pack.cell_max_v, "highest cell voltage", true),
        ("voltage", "cell-under-voltage") => volt(pack.cell_min_v, "lowest cell voltage", false),
        ("voltage", "pack-over-voltage") => volt(pack.max_v(), "highest voltage", true),
        ("voltage", "pack-under-voltage") => volt(pack.min_v(), "lowest voltage", false),
        ("current", "over-current-discharge") => {
            Some(Reach { field: "/normal_a", unit: Unit::Ampere, pack: pack.peak_a, words: "peak current", over: true })
        }
        _ => None,
    }
}

/// Thresholds that the pack's own operation reaches.
pub fn disagreements(design: &Design) -> Vec<Finding> {
    let told = |part: &Part| {
        let reach = reach(design, part)?;
        let normal = tree::at(&part.input, reach.field)?.as_f64()?;
        let beyond = if reach.over { reach.pack - normal } else { normal - reach.pack };
        (beyond > 1e-9 * normal.abs()).then(|| {
            let message = format!(
                "{}: the pack's {} is {}, beyond the normal extreme of {} that this threshold counts with.",
                part.title(),
                reach.words,
                say(reach.pack, reach.unit),
                say(normal, reach.unit)
            );
            let place = format!("{}{}", part.pointer(), reach.field);
            Finding::new(Severity::Warn, "design.beyond-normal", message).at(&place)
        })
    };
    design.of("protection").filter_map(told).collect()
}
