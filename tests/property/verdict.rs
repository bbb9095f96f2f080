//! One verdict: a failure is told alike by row, finding, headline and page, down to the last bit of a double.

use sensewright_core::calculation::{Ask, Depth, Entry};
use sensewright_core::catalogue::CATALOGUE;
use sensewright_core::design::assess::assess;
use sensewright_core::design::on_start::OnStart;
use sensewright_core::design::section::{Kind, Section};
use sensewright_core::design::{Design, Part, starts};
use sensewright_core::field::{Notation, Typed};
use sensewright_core::judge::{Judged, Outcome, Verdict};
use sensewright_core::report::Severity;
use sensewright_core::work::Work;
use sensewright_tests::{Dice, leaves};
use sensewright_web::{entry_page, report_page};
use serde_json::{Value, json};

/// Random inputs that a calculation accepts, read.
fn inputs(entry: &'static Entry, seeds: std::ops::Range<u64>) -> impl Iterator<Item = Box<dyn Typed>> {
    let start = Value::Object(entry.start().clone());
    seeds.filter_map(move |seed| {
        let mut input = Dice(seed * 6_364_136 + 1_442).vary(&start, entry.fields);
        if let Some(trials) = input.pointer_mut("/experiment/trials") {
            *trials = json!(1000);
        }
        entry.read(Some(&input), Notation::Json).ok()
    })
}

/// What an answer says of failures in all its places is one thing.
fn agrees(entry: &Entry, input: &dyn Typed) {
    let Ok(answer) = entry.solve(input, Ask::to(Depth::Requirements), Work::FREE) else { return };
    let slug = entry.meta.slug;
    let failing: Vec<_> = answer.requirements.iter().filter(|check| check.verdict == Verdict::Fails).collect();
    let found: Vec<_> = answer.findings.iter().filter(|found| found.severity == Severity::Fail).collect();
    assert_eq!(failing.len(), found.len(), "{slug}: {:#?}", input.written());
    for check in failing {
        let reason = check.reason.as_ref().unwrap_or_else(|| panic!("{slug}: {} fails without a word", check.id));
        assert!(reason.len() > 10 && !reason.contains("NaN"), "{slug}: {}: {reason}", check.id);
        let same = |found: &&sensewright_core::report::Finding| {
            (&found.code, &found.field, found.value, found.limit)
                == (&check.id, &check.field, check.achieved, check.required)
                && found.message == *reason
        };
        assert!(found.iter().any(same), "{slug}: {check:#?} {found:#?}");
    }
    let judged = entry.verdicts(input, Work::FREE).expect("it was solved");
    assert_eq!(judged.len(), answer.requirements.len(), "{slug}");
    for check in &answer.requirements {
        let one = &judged[check.place];
        assert_eq!((one.id, one.fails()), (check.id.as_str(), check.verdict == Verdict::Fails), "{slug}");
        if let Some(field) = &check.field {
            let known = leaves(entry.fields, "").into_iter().any(|leaf| {
                let list = leaf.pointer.split_once("/0/").map_or("", |(list, _)| list);
                leaf.pointer == *field
                    || leaf.pointer.starts_with(&format!("{field}/"))
                    || (!list.is_empty() && field.strip_prefix(list).is_some_and(|rest| rest.starts_with('/')))
                    || field
                        .rsplit_once('/')
                        .is_some_and(|(list, row)| row.parse::<usize>().is_ok() && leaf.pointer == list)
            });
            assert!(known, "{slug}: {} points at {field}", check.id);
        }
    }
    assert_eq!(
        answer.verdict(),
        answer.requirements.iter().map(|check| check.verdict).min().unwrap_or(Verdict::NoLimitSet),
        "{slug}"
    );
}

/// The text as a page holds it.
fn escaped(text: &str) -> String {
    [("&", "&#38;"), ("<", "&#60;"), (">", "&#62;"), ("\"", "&#34;"), ("'", "&#39;")]
        .iter()
        .fold(text.to_owned(), |text, (from, to)| text.replace(from, to))
}

/// A design of one part, in which nothing is handed down.
fn design(entry: &'static Entry, input: &dyn Typed) -> Design {
    let kind = Kind {
        tag: "",
        entry,
        bound: &[],
        rests: &[],
        lent: &[],
        given: &[],
        asked: &[],
        once: &[],
        of_cells: &[],
        cells: &[],
        only_when: &[],
        told: None,
        normal: &[],
    };
    let kinds: &'static [Kind] = Box::leak(Box::new([kind]));
    let section = Section { key: "only", title: "Only", one: "Only", absent: "", kinds, most: 1 };
    let section: &'static Section = Box::leak(Box::new(section));
    let (kind, rests_on) = (&kinds[0], Vec::new());
    let (typed, input) = (input.written(), input.written());
    let part = Part { section, index: 0, number: 1, kind, name: "Only".into(), rests_on, typed, input };
    Design { parts: vec![part], starts: starts::FIRST, ..Design::start() }
}

/// A page and a design say what the requirements say, in the same words.
fn pages_agree(entry: &'static Entry, input: &dyn Typed) {
    let Ok(answer) = entry.solve(input, Ask::to(Depth::Page), Work::FREE) else { return };
    let assessed = assess(&design(entry, input)).unwrap_or_else(|faults| panic!("{faults:#?}"));
    let of_design: Vec<_> = assessed.requirements.iter().map(|row| row.check.clone()).collect();
    assert_eq!(of_design, answer.requirements, "{}", entry.meta.slug);
    let page = entry_page(entry, &[], sensewright_web::Outcome::Solved(&answer), "");
    let report = report_page(&assessed, &OnStart::default(), "1 January 2026", None, "");
    for check in &answer.requirements {
        let told = check.reason.iter().filter(|_| check.verdict == Verdict::Fails);
        for words in std::iter::once(&check.label).chain(told) {
            assert!(page.contains(&escaped(words)), "{}: the page lacks {words}", entry.meta.slug);
        }
        assert!(report.contains(&escaped(&check.label)), "{}: the report lacks {}", entry.meta.slug, check.label);
        assert!(page.contains(check.verdict.word()) && report.contains(check.verdict.word()), "{}", entry.meta.slug);
    }
}

#[test]
fn a_failure_is_one_wherever_it_is_told() {
    let mut judged = 0;
    for entry in CATALOGUE {
        agrees(entry, &*entry.read(None, Notation::Form).expect("the example"));
        for input in inputs(entry, 0..110) {
            agrees(entry, &*input);
            judged += 1;
        }
    }
    assert!(judged >= 2_400, "{judged}");
}

/// The requirement of a place in the order, or nothing when the input is refused.
fn one(entry: &Entry, input: &dyn Typed, place: usize, id: &str) -> Option<Judged> {
    let judged = entry.verdicts(input, Work::FREE).ok()?;
    judged.get(place).filter(|one| one.id == id).copied()
}

/// Every requirement is turned by the very input it points at: between two neighbouring doubles the row, the finding and
/// the headline turn together.
#[test]
fn verdicts_turn_between_two_neighbouring_doubles() {
    let (mut turned, mut in_lists) = (std::collections::BTreeSet::new(), 0);
    for entry in CATALOGUE {
        let example = entry.read(None, Notation::Form).expect("the example");
        for mut input in std::iter::once(example).chain(inputs(entry, 200..224)) {
            let Ok(judged) = entry.verdicts(&*input, Work::FREE) else { continue };
            for (place, row) in judged.iter().enumerate() {
                let pointer = row.field.to_pointer();
                let (Some(now), Some(required), Outcome::Used(used)) =
                    (input.number(&pointer), row.required, row.outcome)
                else {
                    continue;
                };
                if turned.contains(&(entry.meta.slug, row.id)) || required == 0.0 || now == 0.0 {
                    continue;
                }
                let mut fails = |value: f64| {
                    let put = input.put(&pointer, value);
                    let judged = if put { one(entry, &*input, place, row.id) } else { None };
                    input.put(&pointer, now);
                    judged.map(|one| one.fails())
                };
                // Beyond the share that is used the verdict is another; which way, the calculation knows.
                let far = [used * 1.02, used / 1.02, used * 0.5, used * 2.0, 1.0 / used, 0.1, 10.0].into_iter();
                let far = far.map(|factor| now * factor).find(|value| fails(*value) == Some(!row.fails()));
                let Some(far) = far else { continue };
                let (mut here, mut there) = (now, far);
                while (here - there).abs() > f64::EPSILON * here.abs().max(there.abs()) {
                    let middle = here + (there - here) / 2.0;
                    if middle == here || middle == there {
                        break;
                    }
                    match fails(middle) {
                        Some(fails) if fails == row.fails() => here = middle,
                        Some(_) => there = middle,
                        None => break,
                    }
                }
                for side in [here, there] {
                    if input.put(&pointer, side) {
                        agrees(entry, &*input);
                        pages_agree(entry, &*input);
                    }
                    input.put(&pointer, now);
                }
                turned.insert((entry.meta.slug, row.id));
                in_lists += usize::from(row.field.row.is_some());
            }
        }
    }
    println!("{} requirements turned, {in_lists} of them by a row of a list", turned.len());
    assert!(turned.len() >= 40 && in_lists >= 1, "{in_lists}: {turned:?}");
}
