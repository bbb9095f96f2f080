//! What stands on values that nobody typed: as a value that is put into the document and judged anew says.

use sensewright_core::calculation::Depth;
use sensewright_core::demo::DEMOS;
use sensewright_core::design::Design;
use sensewright_core::design::assess::{Assessed, assess_to};
use sensewright_core::design::on_start::on_start;
use sensewright_core::design::summary::{Source, origins};
use sensewright_core::field::tree;
use sensewright_core::field::{Field, Group, Kind};
use sensewright_core::judge::Verdict;
use sensewright_core::quantity::Unit;
use sensewright_core::work::Work;
use sensewright_tests::{Dice, put};
use serde_json::{Value, json};

fn assessed(design: &Design) -> Option<Assessed> {
    assess_to(design, Depth::Requirements, Work::FREE).ok()
}

/// The values a number is moved to, each with what to try where it is refused: written down apart from the code.
fn moves(field: &Field, now: Option<f64>) -> Vec<Vec<f64>> {
    let (min, max, like, whole) = match field.kind {
        Kind::Number { min, max, like, .. } => (min, max, like, false),
        Kind::Whole { min, max, .. } => (f64::from(min), f64::from(max), None, true),
        _ => return Vec::new(),
    };
    let Some(now) = now else { return like.map(|like| vec![like]).into_iter().collect() };
    if let (true, Some(like)) = (now == 0.0, like) {
        return vec![vec![like]];
    }
    let value = |sign: f64, share: f64| {
        let plain = match field.unit() {
            Some(Unit::Bit) => Some(now + sign),
            Some(Unit::Decibel) => Some(now + sign * 6.0 * share),
            Some(Unit::Celsius) => Some(now + sign * 20.0 * share),
            _ => None,
        };
        if let Some(plain) = plain {
            return plain.clamp(min, max);
        }
        let far = sign * share * 2.0_f64.ln();
        let width = now.abs().max((max - min) / 1000.0);
        let moved = if now == 0.0 { now + far * width } else { now * far.exp() };
        let moved = if whole { now + far.signum() * (moved - now).abs().ceil() } else { moved };
        let moved = moved.clamp(min, max);
        let short: f64 = format!("{moved:.2e}").parse().expect("a number");
        if !whole && min <= short && short <= max { short } else { moved }
    };
    [1.0, -1.0].map(|sign| [1.0, 0.5, 0.25].map(|share| value(sign, share)).to_vec()).to_vec()
}

/// A demo of which some typed values are taken out.
fn thinned(seed: u64) -> Design {
    let mut dice = Dice(seed.wrapping_mul(0x9e37_79b9) + 3);
    let demo = &DEMOS[usize::try_from(seed).expect("small") % DEMOS.len()];
    let mut design = demo.design.clone();
    for part in &mut design.parts {
        let mut gone = Vec::new();
        tree::walk(part.entry().fields, &mut |pointer, _| {
            if dice.up_to(3) == 0 {
                gone.push(pointer.to_owned());
            }
        });
        for pointer in gone {
            let mut typed = part.typed.clone();
            tree::take(&mut typed, &pointer);
            part.typed = typed;
        }
    }
    let document = Value::Object(design.document());
    Design::read(&document).unwrap_or_else(|_| demo.design.clone())
}

/// Which rows one value moves by more than ten points or to another word.
fn moved_rows(before: &Assessed, pointer: &str, field: &Field, now: Option<f64>) -> Vec<usize> {
    let mut rows = Vec::new();
    for tries in moves(field, now) {
        let then = tries.iter().find_map(|value| {
            let mut document = Value::Object(before.design.document());
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a whole number of its range")]
            let written = if matches!(field.kind, Kind::Whole { .. }) { json!(*value as u32) } else { json!(value) };
            put(&mut document, pointer, written);
            assessed(&Design::read(&document).ok()?)
        });
        let Some(then) = then else { continue };
        for (place, row) in before.requirements.iter().enumerate() {
            let same = then.requirements.iter().find(|other| {
                (other.part, &other.check.id, other.check.key) == (row.part, &row.check.id, row.check.key)
            });
            let word = same.map_or(Verdict::NotJudged, |other| other.check.verdict);
            let used = |row: &sensewright_core::design::assess::Row| row.check.used_percent;
            let share = used(row).zip(same.and_then(used)).map_or(0.0, |(was, is)| (is - was).abs());
            if (word != row.check.verdict || share > 10.0) && !rows.contains(&place) {
                rows.push(place);
            }
        }
    }
    rows
}

/// Every untouched value of thinned demos, moved in the document and judged as a whole.
#[test]
fn what_stands_on_start_values_is_what_moving_each_says() {
    let count: u64 = std::env::var("DESIGNS").ok().and_then(|count| count.parse().ok()).unwrap_or(1);
    let mut marked = 0;
    for seed in 0..count {
        let Some(before) = assessed(&thinned(seed)) else { continue };
        let found = on_start(&before, Work::FREE).expect("nobody stops it");
        assert_eq!(found.left_out, 0, "design {seed}");
        let mut rows: Vec<Option<String>> = vec![None; before.requirements.len()];
        let all = origins(&before.design);
        for part in &before.design.parts {
            let handed: Vec<&str> = part.handed_down().collect();
            tree::walk(part.entry().fields, &mut |own, field| {
                let pointer = format!("{}{own}", part.pointer());
                let from = all.iter().find(|(other, _)| *other == pointer).map(|(_, from)| *from);
                let touched = from.is_some_and(|from| !matches!(from, Source::Start | Source::Pack));
                if touched || handed.iter().any(|other| own.starts_with(other)) || own.contains("/experiment/") {
                    return;
                }
                let now = tree::at(&part.input, own).and_then(Value::as_f64);
                for row in moved_rows(&before, &pointer, field, now) {
                    rows[row].get_or_insert_with(|| pointer.clone());
                }
            });
        }
        tree::walk(sensewright_core::design::HEAD_FIELDS, &mut |pointer, field| {
            let from = all.iter().find(|(other, _)| other == pointer).map(|(_, from)| *from);
            let counts = pointer.starts_with("/pack/") && !before.design.head.pack.idle().contains(&pointer);
            if counts && from.is_none_or(|from| from == Source::Start) {
                let now = Group::get(&before.design.head, pointer);
                for row in moved_rows(&before, pointer, field, now) {
                    rows[row].get_or_insert_with(|| pointer.to_string());
                }
            }
        });
        for (place, (expected, is)) in rows.iter().zip(&found.rows).enumerate() {
            let row = &before.requirements[place].check;
            assert_eq!(expected.is_some(), *is, "design {seed}: {} {:?} by {expected:?}", row.id, row.key);
        }
        marked += found.count();
    }
    assert!(marked > 0);
}

/// A design of which every value was typed stands on none.
#[test]
fn a_fully_typed_design_stands_on_nothing_untyped() {
    for demo in DEMOS.iter() {
        let mut document = Value::Object(demo.design.write());
        // A complete document leaves out that there is one unit.
        if document.pointer("/pack/units_in_parallel").is_none() {
            put(&mut document, "/pack/units_in_parallel", json!(1));
        }
        // What is not given and has a usual value is typed as that: nothing is left to look up.
        for part in &demo.design.parts {
            tree::walk(part.entry().fields, &mut |own, field| {
                if let Kind::Number { like: Some(like), .. } = field.kind
                    && tree::at(&part.input, own).is_none()
                    && part.handed_down().all(|other| !own.starts_with(other))
                {
                    let mut other = document.clone();
                    put(&mut other, &format!("{}{own}", part.pointer()), json!(like));
                    if Design::read(&other).ok().as_ref().and_then(assessed).is_some() {
                        document = other;
                    }
                }
            });
        }
        let before = assessed(&Design::read(&document).expect("it reads")).expect("it stands");
        let found = on_start(&before, Work::FREE).expect("nobody stops it");
        let labels: Vec<&str> = found.next.iter().map(|one| one.pointer.as_str()).collect();
        assert_eq!(found.count(), 0, "{}: {labels:?}", demo.slug);
    }
}
