//! Laws that hold over the whole range of every input.

mod alone;
mod cost;
mod counted;
mod described;
mod levers;
mod on_start;
mod parsers;
mod profile;
mod temperature;
mod verdict;
mod without_cells;
mod working;
mod worst_state;

use proptest::prelude::*;
use sensewright_core::catalogue::{CATALOGUE, find};
use sensewright_core::field::{Notation, form_tree};
use sensewright_core::work::Work;
use sensewright_tests::{Dice, is_clean, query};
use serde_json::{Value, json};

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]

    /// Any input whose fields are in range is answered, or refused with a contradiction that names a field; nothing
    /// panics, nothing that is not a number leaves.
    #[test]
    fn inputs_in_range_give_clean_answers(seed in any::<u64>()) {
        let mut dice = Dice(seed);
        for entry in CATALOGUE {
            let varied = dice.vary(&Value::Object(entry.start().clone()), entry.fields);
            let input = if dice.up_to(3) == 0 { dice.input(entry.fields) } else { varied };
            match entry.answer(Some(&input), Notation::Json) {
                Ok(answer) => {
                    let json = sensewright_core::json::tree(&answer);
                    prop_assert!(is_clean(&json), "{}: {input}", entry.meta.slug);
                    let drawn = format!("{:?}", answer.view);
                    prop_assert!(!drawn.contains("NaN") && !drawn.contains(": inf") && !drawn.contains("[inf"), "{}: {input}", entry.meta.slug);
                    let pairs = query(&answer.address);
                    let tree = form_tree(&pairs).expect("own keys");
                    let again = entry.complete(Some(&tree), Notation::Form);
                    prop_assert_eq!(again.map(Value::Object), Ok(answer.input), "{}", entry.meta.slug);
                }
                Err(faults) => prop_assert!(
                    faults.iter().all(|fault| fault.code == "contradiction" && fault.field.starts_with('/')),
                    "{}: {faults:?}", entry.meta.slug
                ),
            }
        }
    }

    /// Text of any kind in any field of a form is read or refused.
    #[test]
    fn any_text_in_a_form_is_read_or_refused(seed in any::<u64>(), text in ".{0,40}", digits in "[-+±]?[0-9.,eEkKmMuµRpn]{0,8} ?[a-zA-ZΩ%/]{0,4}") {
        let mut dice = Dice(seed);
        for entry in CATALOGUE {
            let leaves = sensewright_tests::leaves(entry.fields, "");
            let pick = usize::try_from(dice.up_to(leaves.len() as u64 - 1)).expect("small");
            let key = leaves[pick].pointer.split("/0/").next().expect("its list").trim_start_matches('/').replace('/', ".");
            for typed in [&text, &digits] {
                let tree = form_tree(&[(key.clone(), typed.clone())]).expect("one key");
                if let Err(faults) = entry.complete(Some(&tree), Notation::Form) {
                    prop_assert!(faults.iter().all(|fault| !fault.message.is_empty()), "{}", entry.meta.slug);
                }
            }
        }
    }

    /// JSON of any shape is read or refused.
    #[test]
    fn any_json_is_read_or_refused(seed in any::<u64>()) {
        fn anything(dice: &mut Dice, depth: u32) -> Value {
            match dice.up_to(if depth == 0 { 4 } else { 6 }) {
                0 => Value::Null,
                1 => json!(dice.up_to(1) == 0),
                2 => json!(dice.within(-1e300, 1e300)),
                3 => json!(dice.bits()),
                4 => json!("Ωx1e9"),
                5 => json!((0..dice.up_to(3)).map(|_| anything(dice, depth - 1)).collect::<Vec<_>>()),
                _ => json!({"shunt": anything(dice, depth - 1), "points": anything(dice, depth - 1), "bits": anything(dice, depth - 1)}),
            }
        }
        let mut dice = Dice(seed);
        for entry in CATALOGUE {
            let value = anything(&mut dice, 4);
            if let Err(faults) = entry.answer(Some(&value), Notation::Json) {
                prop_assert!(!faults.is_empty());
            }
        }
    }
}

/// A threshold whose room is closed lies far below nothing: whatever is worked out with it is a number.
#[test]
fn a_threshold_below_nothing_gives_numbers() {
    let entry = find("protection/current").expect("it exists");
    let mut input = Value::Object(entry.start().clone());
    for (key, value) in [
        ("normal_a", 0.0),
        ("hazard_a", 7e5),
        ("noise_a", 7e4),
        ("rate_a_per_s", 3.4e11),
        ("processing_s", 6200.0),
        ("strongest_fault_a", 6e6),
        ("fault_v", 1.2e4),
        ("fault_inductance_henry", 7.3e-10),
        ("shunt_a2s", 5e14),
    ] {
        input[key] = json!(value);
    }
    let answer = entry.answer(Some(&input), Notation::Json).expect("an answer");
    assert!(answer.result.tree()["judged"]["threshold"].as_f64().is_some_and(|threshold| threshold < 0.0));
    let drawn = format!("{:?}", answer.view);
    assert!(!drawn.contains("NaN") && !drawn.contains(": inf"), "{drawn}");
    assert!(
        answer.result.tree()["let_through"]["let_through_a2s"].as_f64().is_some_and(|let_through| let_through > 0.0)
    );
}

/// The current channel at random inputs: no trial of bounded sources leaves the worst case, and the first-order sum is
/// never below the root-sum-square.
#[test]
fn the_worst_case_holds_every_trial_and_the_sum_holds_the_root() {
    let entry = find("current-channel").expect("it exists");
    let mut judged = 0;
    for seed in 0..60 {
        let mut input = Dice(seed * 7919 + 5).vary(&Value::Object(entry.start().clone()), entry.fields);
        input["experiment"]["trials"] = json!(5000);
        let Ok(answer) = entry.answer(Some(&input), Notation::Json) else { continue };
        for point in answer.result.tree()["points"].as_array().expect("points") {
            let Some(done) = point.get("assessment") else { continue };
            let number =
                |pointer: &str| done.pointer(pointer).and_then(Value::as_f64).unwrap_or_else(|| panic!("{pointer}"));
            let (low, high) = (number("/worst_case/low"), number("/worst_case/high"));
            judged += 1;
            let slack = 1e-9 * low.abs().max(high.abs());
            // Noise has no limit: the worst case counts three sigma of it, and trials scatter about their end.
            let end = |side: &str| {
                let scatter = 4.0 * number(&format!("/monte_carlo/p99_73/{side}_error"));
                (number(&format!("/monte_carlo/p99_73/symmetric/{side}")), slack + scatter)
            };
            let [(lowest, below), (highest, above)] = ["low", "high"].map(end);
            assert!(lowest >= low - below && highest <= high + above, "{input}");
            assert!(number("/worst_case/sum_of_limits") >= number("/root_sum_square") * (1.0 - 1e-12), "{input}");
        }
    }
    assert!(judged >= 20, "only {judged} points were judged");
}

/// Same request, same bytes, whatever the number of threads.
#[test]
fn the_answer_does_not_depend_on_the_number_of_threads() {
    for entry in CATALOGUE {
        let answers: Vec<String> = [1, 2]
            .into_iter()
            .map(|threads| {
                let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
                pool.install(|| {
                    serde_json::to_string(&entry.answer(None, Notation::Form).expect("the example")).expect("JSON")
                })
            })
            .collect();
        assert_eq!(answers[0], answers[1], "{}", entry.meta.slug);
    }
}

/// Any part of a design moved inside its ranges: the design is assessed or refused at places of the document; nothing that
/// is not a number leaves, and its link gives it back.
#[test]
fn designs_in_range_give_clean_answers() {
    use sensewright_core::demo::DEMOS;
    use sensewright_core::design::{Design, answer, assess, link};
    let mut assessed = 0;
    for seed in 0..40u64 {
        let mut dice = Dice(seed * 104_729 + 17);
        let demo = &DEMOS[usize::try_from(seed).expect("small") % DEMOS.len()];
        let mut document = Value::Object(demo.design.write());
        let which = usize::try_from(dice.up_to(demo.design.parts.len() as u64 - 1)).expect("small");
        let part = &demo.design.parts[which];
        let mut varied = dice.vary(&Value::Object(part.input.clone()), part.entry().fields);
        for pointer in part.handed_down() {
            sensewright_core::field::tree::take(varied.as_object_mut().expect("a group"), pointer);
        }
        let place = document.pointer_mut(&part.pointer()).expect("the part").as_object_mut().expect("a group");
        for (key, value) in varied.as_object().expect("a group") {
            place.insert(key.clone(), value.clone());
        }
        let told = |faults: &[sensewright_core::field::FieldError]| {
            assert!(
                faults.iter().all(|fault| fault.field.starts_with('/') && !fault.message.is_empty()),
                "{faults:#?}"
            );
        };
        let design = match Design::read(&document) {
            Ok(design) => design,
            Err(faults) => {
                told(&faults);
                continue;
            }
        };
        match assess::assess(&design) {
            Ok(done) => {
                // Turning values are dear: of a few designs.
                let include = if seed % 10 == 0 { answer::Include::all() } else { answer::Include::default() };
                let json = answer::write(&answer::answer(&done, &include, Work::FREE).expect("nobody stops it"));
                assert!(is_clean(&json), "{} {}", demo.slug, part.key());
                assert_eq!(link::open(&link::token(&design)).map(|opened| opened.design), Ok(design));
                assessed += 1;
            }
            Err(faults) => told(&faults),
        }
    }
    assert!(assessed >= 20, "only {assessed} were assessed");
}
