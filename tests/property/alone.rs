//! What turns a failure of a calculation alone: each link, opened, does what is said of it; and where what holds would turn.

use sensewright_core::calculation::{Ask, Depth, Entry};
use sensewright_core::catalogue::CATALOGUE;
use sensewright_core::design::alone::{Alone, alone, can_be_turned, nearest};
use sensewright_core::design::levers::Lever;
use sensewright_core::field::{Kind, Notation, Typed, form_tree, tree};
use sensewright_core::judge::{Check, Verdict};
use sensewright_core::work::Work;
use sensewright_tests::{Dice, query};

/// The start values of a calculation with one to five numbers of its groups pushed by up to a factor of five either way.
fn pushed(entry: &Entry, seed: u64) -> Option<Box<dyn Typed>> {
    let mut dice = Dice(seed.wrapping_mul(0x9e37_79b9) + 31);
    let mut input = entry.read(None, Notation::Form).ok()?;
    let mut numbers = Vec::new();
    tree::walk(entry.fields, &mut |pointer, field| {
        let moved = matches!(field.kind, Kind::Number { .. }) && !pointer.contains("/experiment/");
        numbers.extend(input.number(pointer).filter(|_| moved).map(|now| (pointer.to_owned(), now)));
    });
    for _ in 0..=dice.up_to(4) {
        let at = usize::try_from(dice.up_to(numbers.len() as u64 - 1)).unwrap_or(0);
        input.put(&numbers[at].0, numbers[at].1 * ((dice.share() - 0.5) * 3.2).exp());
    }
    Some(input)
}

fn opened(entry: &Entry, address: &str) -> Vec<Check> {
    let tree = form_tree(&query(address)).expect("own keys");
    let input = entry.read(Some(&tree), Notation::Form).unwrap_or_else(|faults| panic!("{address}: {faults:?}"));
    entry.solve(&*input, Ask::to(Depth::Requirements), Work::FREE).expect("an answer").requirements
}

fn same<'a>(rows: &'a [Check], row: &Check) -> Option<&'a Check> {
    rows.iter().find(|other| (&other.id, other.key) == (&row.id, row.key))
}

/// Opens the links of one lever and holds what is said of them.
fn pressed(entry: &Entry, found: &Alone, cause: usize, lever: &Lever) {
    let before: Vec<Check> = found.assessed.requirements.iter().map(|row| row.check.clone()).collect();
    let asked = &before[found.levers.causes[cause].rows[0]];
    for step in std::iter::once(&lever.turns).chain(&lever.holds) {
        let address = found.address_with(lever, step.value).expect("an address");
        let name = format!("{}: {address}", asked.id);
        let then = opened(entry, &address);
        let row = same(&then, asked).unwrap_or_else(|| panic!("{name}: its row is gone"));
        assert!(matches!(row.verdict, Verdict::Thin | Verdict::Holds), "{name}: {:?}", row.verdict);
        assert_eq!((row.verdict, row.used_percent), (step.verdict, step.used_percent), "{name}");
        let others = |row: &&Check| (&row.id, row.key) != (&asked.id, asked.key);
        let moved = |row: &&Check| same(&then, row).is_none_or(|now| now.verdict != row.verdict);
        let changed = before.iter().filter(others).filter(moved).count();
        let new = then.iter().filter(|row| same(&before, row).is_none()).count();
        assert_eq!(changed + new, step.others, "{name}");
        for row in before.iter().filter(others) {
            let now = same(&then, row).map(|now| now.verdict);
            assert!(
                now.is_none_or(|now| now >= row.verdict || row.verdict == Verdict::NoLimitSet),
                "{name}: {}",
                row.id
            );
        }
    }
    assert!(lever.holds.as_ref().is_none_or(|step| step.verdict == Verdict::Holds));
}

/// Of every calculation that requires something: what is offered does as printed, moves nothing that a pack hands down or that
/// is given, and is found for most.
#[test]
fn what_turns_a_calculation_alone_does_what_is_said() {
    let (mut found_some, mut pressed_all) = (Vec::new(), 0);
    for entry in CATALOGUE.iter().filter(|entry| can_be_turned(entry)) {
        for seed in 0..40 {
            let Some(input) = pushed(entry, seed).filter(|input| !entry.contradicts(&**input)) else { continue };
            let Ok(Some(found)) = alone(entry, input, Work::FREE) else { continue };
            let kind = found.assessed.parts[0].part.kind;
            for (at, cause) in found.levers.causes.iter().enumerate() {
                assert!(cause.strongest.len() <= 3);
                for lever in &cause.offered {
                    let inside = &lever.pointer[found.assessed.parts[0].part.pointer().len()..];
                    let handed = kind.bound.iter().any(|bound| inside.starts_with(bound.to));
                    assert!(!kind.gives(inside) && !handed, "{}: {inside}", entry.meta.slug);
                    pressed(entry, &found, at, lever);
                    pressed_all += 1;
                    if !found_some.contains(&entry.meta.slug) {
                        found_some.push(entry.meta.slug);
                    }
                }
            }
        }
    }
    println!("{pressed_all} pressed, of {found_some:?}");
    assert!(pressed_all > 60 && found_some.len() > 12, "{pressed_all} pressed, of {found_some:?}");
}

/// Of every calculation: with the value at which a row is said to turn it still holds, and a two-hundredth of the way further, or
/// one step, it does not; the nearest of each row is told once.
#[test]
fn what_holds_alone_turns_where_it_is_said_to() {
    let (mut told, mut slugs) = (0, Vec::new());
    for entry in CATALOGUE.iter().filter(|entry| can_be_turned(entry)) {
        for seed in 0..4 {
            let Some(input) = pushed(entry, seed).filter(|input| !entry.contradicts(&**input)) else { continue };
            let Ok(Some((assessed, found))) = nearest(entry, input.copy(), Work::FREE) else { continue };
            for (at, one) in found.iter().enumerate() {
                let row = &assessed.requirements[one.row].check;
                assert!(one.holds_now && found[..at].iter().all(|other| other.row != one.row), "{}", row.id);
                let inside = &one.pointer[assessed.parts[0].part.pointer().len()..];
                let holds = |value: f64| {
                    let mut input = input.copy();
                    assert!(input.put(inside, value), "{}: {inside} {value}", entry.meta.slug);
                    let rows = entry.solve(&*input, Ask::to(Depth::Requirements), Work::FREE).ok()?.requirements;
                    Some(matches!(same(&rows, row)?.verdict, Verdict::Thin | Verdict::Holds))
                };
                let whole = matches!(one.field.kind, Kind::Whole { .. });
                let way = one.turns_at - one.now;
                let beyond = one.turns_at + if whole { way.signum() } else { way / 200.0 };
                let name = format!("{} {} {inside} {} to {}", entry.meta.slug, row.id, one.now, one.turns_at);
                assert_eq!(holds(one.turns_at), Some(true), "{name}");
                // What is chosen of a series of values jumps, and may hold again right behind.
                let jumps = entry.meta.slug == "divider/choice";
                assert!(jumps || holds(beyond) != Some(true), "{name}");
                told += 1;
                if !slugs.contains(&entry.meta.slug) {
                    slugs.push(entry.meta.slug);
                }
            }
        }
    }
    println!("{told} told, of {slugs:?}");
    assert!(told > 60 && slugs.len() > 12, "{told} told, of {slugs:?}");
}
