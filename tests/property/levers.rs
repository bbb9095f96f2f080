//! Levers of whole designs: each, put into the document as printed, does to the whole what is said of it.

use rayon::prelude::*;
use sensewright_core::calculation::Depth;
use sensewright_core::demo::{DEMOS, find};
use sensewright_core::design::Design;
use sensewright_core::design::answer::{self, Include};
use sensewright_core::design::assess::{Assessed, Row, assess_to};
use sensewright_core::design::levers::{Lever, Step, levers};
use sensewright_core::design::movable::Movable;
use sensewright_core::design::prepared::{Moved, OfPart, Prepared};
use sensewright_core::design::summary::what_it_does;
use sensewright_core::field::Kind;
use sensewright_core::judge::Verdict;
use sensewright_core::work::Work;
use sensewright_tests::{Dice, put};
use serde_json::{Value, json};

fn assessed(design: &Design) -> Option<Assessed> {
    assess_to(design, Depth::Requirements, Work::FREE).ok()
}

/// A number as its field writes it.
fn written(value: f64, lever: &Lever) -> Value {
    match lever.field.kind {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a whole number of its range")]
        Kind::Whole { .. } => json!(value as u32),
        _ => json!(value),
    }
}

/// The design with one to six numbers of its parts pushed by up to a factor of five either way, where it still stands.
fn pushed(seed: u64) -> Option<Design> {
    let mut dice = Dice(seed.wrapping_mul(0x9e37_79b9) + 17);
    let pick = |dice: &mut Dice, count: usize| usize::try_from(dice.up_to(count as u64 - 1)).unwrap_or(0);
    let design = &DEMOS[pick(&mut dice, DEMOS.len())].design;
    let prepared = Prepared::new(design, Work::FREE).ok()?;
    let parts = 0..design.parts.len();
    let numbers: Vec<Movable> = parts.flat_map(|at| Movable::of_part(design, &prepared, at)).collect();
    let numbers: Vec<&Movable> = numbers.iter().filter(|one| !one.pointer.contains("/experiment/")).collect();
    let mut document = Value::Object(design.write());
    for _ in 0..=dice.up_to(5) {
        let one = numbers[pick(&mut dice, numbers.len())];
        let value = one.moved((dice.share() - 0.5) * 3.2);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a whole number of its range")]
        put(&mut document, &one.pointer, if one.whole { json!(value as u32) } else { json!(value) });
    }
    Design::read(&document).ok()
}

fn same<'a>(rows: &'a [Row], row: &Row) -> Option<&'a Row> {
    rows.iter().find(|other| (other.part, &other.check.id, other.check.key) == (row.part, &row.check.id, row.check.key))
}

/// Whether a row stands worse than it did: one that is gone, or has lost its limit, is.
fn worse(before: &Row, then: &[Row]) -> bool {
    let now = before.check.verdict;
    match same(then, before).map(|row| row.check.verdict) {
        None => now != Verdict::NoLimitSet && before.check.id != "design.not-assessed",
        Some(then) if now == Verdict::NoLimitSet => then < Verdict::Thin,
        Some(Verdict::NoLimitSet) => true,
        Some(then) => then < now,
    }
}

/// Puts one step into the document and holds what is said of it; whether it makes anything worse.
fn applied(name: &str, before: &Assessed, asked: &Row, lever: &Lever, step: &Step) -> bool {
    let name = format!("{name}: {} {} to {}", asked.check.id, lever.pointer, step.value);
    let mut document = Value::Object(before.design.write());
    put(&mut document, &lever.pointer, written(step.value, lever));
    let design = Design::read(&document).unwrap_or_else(|faults| panic!("{name}: {faults:?}"));
    let then = assessed(&design).unwrap_or_else(|| panic!("{name}: it is refused"));
    let row = same(&then.requirements, asked).unwrap_or_else(|| panic!("{name}: its row is gone"));
    assert_eq!((row.check.verdict, row.check.used_percent), (step.verdict, step.used_percent), "{name}");
    let open = then.count(Verdict::NotResolved) + then.count(Verdict::NotJudged);
    assert_eq!((then.count(Verdict::Fails), open), (step.fails, step.open), "{name}");
    let places = |test: &dyn Fn(&Row) -> bool| -> Vec<usize> {
        let rows = before.requirements.iter().enumerate();
        rows.filter(|(_, row)| same(std::slice::from_ref(*row), asked).is_none() && test(row))
            .map(|(at, _)| at)
            .collect()
    };
    let holds = |row: &Row| matches!(row.check.verdict, Verdict::Thin | Verdict::Holds);
    let turned = |row: &Row| row.check.verdict == Verdict::Fails && same(&then.requirements, row).is_some_and(holds);
    let sorted = |rows: &[usize]| {
        let mut rows = rows.to_vec();
        rows.sort_unstable();
        rows
    };
    assert_eq!(sorted(&step.turns), places(&turned), "{name}");
    assert_eq!(sorted(&step.breaks), places(&|row| worse(row, &then.requirements)), "{name}");
    let new = |row: &&Row| same(&before.requirements, row).is_none() && row.check.verdict < Verdict::Thin;
    assert_eq!(then.requirements.iter().filter(new).count(), step.appears, "{name}");
    let turns = |row: &Row| same(&then.requirements, row).is_none_or(|other| other.check.verdict != row.check.verdict);
    let more = then.requirements.iter().filter(|row| same(&before.requirements, row).is_none()).count();
    assert_eq!(places(&turns).len() + more, step.others, "{name}");
    for (place, [was, is]) in &step.strained {
        let row = &before.requirements[*place];
        // What fails already is told by its share of the limit, which may move, too.
        let fails = row.check.verdict == Verdict::Fails;
        let told = |row: &Row| if fails { row.check.used_percent } else { row.check.achieved };
        let after = same(&then.requirements, row).and_then(told);
        let [before, after] = [told(row), after].map(|value| value.expect("a number"));
        assert!((before / was - 1.0).abs() < 1e-12 && (after / is - 1.0).abs() < 1e-12, "{name}: {}", row.check.id);
        assert!(matches!(row.check.verdict, Verdict::NotJudged | Verdict::NoLimitSet | Verdict::Fails), "{name}");
    }
    !step.breaks.is_empty() || step.appears > 0
}

/// Whether the row still fails an eighth of the change before the printed value; a whole number steps.
fn fails_before(ready: &mut Prepared, asked: &Row, lever: &Lever) -> bool {
    if matches!(lever.field.kind, Kind::Whole { .. }) {
        return true;
    }
    let value = lever.turns.value - (lever.turns.value - lever.now) / 8.0;
    match ready.rejudge_part(asked.part, &lever.pointer, value, Work::FREE).expect("nobody stops it") {
        Moved::Stands(Ok(rows)) => {
            rows.iter().any(|one| one.id == asked.check.id && one.key == asked.check.key && one.fails())
        }
        _ => true,
    }
}

/// Holds what is said of every lever of a design; how many are offered, and how many of these have a second step.
fn checked(name: &str, design: &Design) -> [usize; 2] {
    let Some(before) = assessed(design) else { return [0; 2] };
    let found = levers(&before, Work::FREE).expect("nobody stops it");
    let fails = before.count(Verdict::Fails);
    assert_eq!(found.causes.is_empty(), fails == 0, "{name}");
    let rows: Vec<usize> = found.causes.iter().flat_map(|cause| cause.rows.iter().copied()).collect();
    assert!(rows.iter().all(|row| before.requirements[*row].check.verdict == Verdict::Fails), "{name}");
    assert!(found.causes.len() <= 5 && rows.len() + found.more <= fails, "{name}");
    let mut counts = [0; 2];
    let mut ready = Prepared::new(design, Work::FREE).expect("it stands");
    for cause in &found.causes {
        let asked = &before.requirements[cause.rows[0]];
        for (at, row) in before.requirements.iter().enumerate() {
            let alike = (row.part, &row.check.id, row.check.verdict) == (asked.part, &asked.check.id, Verdict::Fails);
            assert!(!alike || cause.rows.contains(&at), "{name}: {} is parted", row.check.id);
        }
        assert!(cause.offered.len() <= 12 && cause.offered.is_sorted_by_key(|lever| lever.distance), "{name}");
        for lever in &cause.offered {
            let part = &before.parts[lever.part].part;
            let inside = lever.pointer.strip_prefix(&part.pointer()).unwrap_or_else(|| panic!("{}", lever.pointer));
            assert!(!part.kind.gives(inside), "{name}: {} is given", lever.pointer);
            assert!(matches!(lever.turns.verdict, Verdict::Thin | Verdict::Holds), "{name}");
            assert!(
                lever.turns.fails + lever.turns.open
                    < fails + before.count(Verdict::NotResolved) + before.count(Verdict::NotJudged),
                "{name}"
            );
            assert!(!applied(name, &before, asked, lever, &lever.turns), "{name}: {} breaks a row", lever.pointer);
            if let Some(step) = &lever.holds {
                assert_eq!((lever.turns.verdict, step.verdict), (Verdict::Thin, Verdict::Holds), "{name}");
                assert!(!applied(name, &before, asked, lever, step), "{name}: {} breaks a row", lever.pointer);
            }
            assert!(fails_before(&mut ready, asked, lever), "{name}: {} turns before {:?}", lever.pointer, lever.turns);
            let words = what_it_does(&before, cause, lever);
            assert!(words.contains(&format!(" instead of {fails}")) && words.contains("; this row then "), "{words}");
            counts = [counts[0] + 1, counts[1] + usize::from(lever.holds.is_some())];
        }
        for lever in cause.not_offered.iter().take(1) {
            assert!(applied(name, &before, asked, lever, &lever.turns), "{name}: {} breaks nothing", lever.pointer);
        }
        if let Some(lever) = &cause.closest {
            assert_eq!(lever.turns.verdict, Verdict::Fails, "{name}");
            applied(name, &before, asked, lever, &lever.turns);
        }
    }
    counts
}

#[test]
fn every_lever_of_a_demo_does_what_is_said() {
    let counts: Vec<[usize; 2]> = DEMOS.par_iter().map(|demo| checked(demo.slug, &demo.design)).collect();
    assert!(counts.iter().map(|counts| counts[0]).sum::<usize>() > 10, "{counts:?}");
    assert!(counts.iter().any(|counts| counts[1] > 0), "{counts:?}");
}

/// The same of random designs; `DESIGNS` says how many.
#[test]
fn every_lever_of_a_random_design_does_what_is_said() {
    let count = std::env::var("DESIGNS").ok().and_then(|count| count.parse().ok()).unwrap_or(6);
    let designs: Vec<(u64, Design)> = (0..).filter_map(|seed| Some((seed, pushed(seed)?))).take(count).collect();
    let counts = designs.par_iter().map(|(seed, design)| checked(&format!("design {seed}"), design));
    let counts: Vec<[usize; 2]> = counts.collect();
    let sum = counts.iter().fold([0; 2], |sum, one| [sum[0] + one[0], sum[1] + one[1]]);
    println!("{count} designs: {} levers, {} with a second step", sum[0], sum[1]);
    assert!(sum[0] > count / 2, "{counts:?}");
}

/// By hand: what a resistor takes does not depend on its rating, so that it holds from that energy on, and with room from
/// that energy through 0.85 on.
#[test]
fn a_rating_is_raised_to_what_it_must_take() {
    let before = assessed(&find("mountain-rescue-car").expect("a demo").design).expect("it stands");
    let found = levers(&before, Work::FREE).expect("nobody stops it");
    let mut offered = found.causes.iter().flat_map(|cause| &cause.offered);
    let lever = offered.find(|one| one.pointer == "/precharge/0/resistor/pulse_j").expect("it is offered");
    let row = before.requirements.iter().find(|row| row.check.id == "precharge.short-energy").expect("a row");
    let energy = row.check.achieved.expect("a number");
    assert!(lever.turns.value >= energy && lever.turns.value < 1.02 * energy, "{lever:?}");
    let held = lever.holds.as_ref().expect("a larger one holds").value;
    assert!(held >= energy / 0.85 && held < 1.02 * energy / 0.85, "{lever:?}");
}

/// A part that is asked alone stands as it does in the whole.
#[test]
fn a_part_alone_is_judged_as_in_the_whole() {
    let mut dice = Dice(11);
    let design = &DEMOS[1].design;
    let mut ready = Prepared::new(design, Work::FREE).expect("it stands");
    let parts = 0..design.parts.len();
    let numbers: Vec<Movable> = parts.flat_map(|at| Movable::of_part(design, &ready, at)).collect();
    for _ in 0..12 {
        let one = &numbers[usize::try_from(dice.up_to(numbers.len() as u64 - 1)).unwrap_or(0)];
        let value = one.moved(0.3 * (dice.share() - 0.5));
        let whole = ready.rejudge(&one.pointer, value, Work::FREE).expect("nobody stops it");
        for part in 0..design.parts.len() {
            let alone = match ready.rejudge_part(part, &one.pointer, value, Work::FREE).expect("nobody stops it") {
                Moved::Stands(rows) => Some(rows),
                Moved::Refused | Moved::Stays => None,
            };
            let within = whole.iter().flatten().find(|(at, _)| *at == part).map(|(_, rows)| rows);
            let numbers = |rows: Option<&OfPart>| {
                let rows = rows?.as_ref().ok()?;
                Some(rows.iter().map(|row| (row.id, row.outcome.used())).collect::<Vec<_>>())
            };
            assert_eq!(numbers(alone.as_ref()), numbers(within), "{} to {value}: part {part}", one.pointer);
        }
    }
}

/// The same bytes on one thread and on two.
#[test]
fn levers_do_not_depend_on_the_number_of_threads() {
    let include = Include::read("levers").expect("a member");
    let before = assessed(&find("canal-library-bike").expect("a demo").design).expect("it stands");
    let text = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
        let answer = pool.install(|| answer::answer(&before, &include, Work::FREE)).expect("nobody stops it");
        answer::write(&answer).to_string()
    };
    assert_eq!(text(1), text(2));
}
