//! Work that is stopped: no answer, wherever it stood, and never a verdict that rests on a missing value; no question comes
//! after the one that stops it. Whoever watches gets the same answer as one who does not. There is no clock in here.

use std::sync::atomic::{AtomicUsize, Ordering};

use sensewright_core::calculation::{Ask, Depth};
use sensewright_core::catalogue::CATALOGUE;
use sensewright_core::demo::DEMOS;
use sensewright_core::design::answer::{self, Include};
use sensewright_core::design::assess::{Assessed, assess, assess_to};
use sensewright_core::design::compare::compare;
use sensewright_core::design::levers::levers;
use sensewright_core::design::on_start::on_start;
use sensewright_core::design::turning::{Reach, turning};
use sensewright_core::field::Notation;
use sensewright_core::judge::Verdict;
use sensewright_core::work::{Refused, Work};
use serde_json::json;

/// Runs work that may ask so many questions, and counts them. It has a thread of its own, which keeps nothing of earlier
/// answers, and no other, so that every run asks the same.
fn allowing<T: Send>(most: usize, run: impl FnOnce(Work) -> Result<T, Refused> + Send) -> (Result<T, Refused>, usize) {
    let asked = AtomicUsize::new(0);
    let stopped = || asked.fetch_add(1, Ordering::Relaxed) >= most;
    let alone = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread");
    let answer = alone.install(|| run(Work::until(&stopped)));
    (answer, asked.into_inner())
}

/// Stopped at the first question, and after some parts of all of them; the answer, and how many there are.
fn stops(what: &str, parts: &[usize], run: impl Fn(Work) -> Result<String, Refused> + Sync) -> (String, usize) {
    let (watched, needed) = allowing(usize::MAX, &run);
    assert!(needed > 0, "{what} asks nothing");
    for most in parts.iter().map(|part| needed / part).chain([0]) {
        let (answer, asked) = allowing(most, &run);
        assert_eq!(answer, Err(Refused::Stopped), "{what} after {most} of {needed} questions");
        // Two halves of one sum are begun side by side: the second one learns of it by its own question.
        assert!(asked - most <= 2, "{what}: {} questions after the one that stopped it, of {needed}", asked - most - 1);
    }
    (watched.unwrap_or_else(|refused| panic!("{what}: {refused:?}")), needed)
}

#[test]
fn a_stopped_calculation_gives_no_answer_and_asks_no_more() {
    for entry in CATALOGUE {
        let input = || entry.read(None, Notation::Form).expect("the example");
        let solve = |work: Work| {
            let answer = entry.solve(&*input(), Ask::to(Depth::Page), work);
            answer.map(|answer| json!(answer).to_string())
        };
        let (watched, needed) = stops(entry.meta.slug, &[7, 2], solve);
        // Whoever watches gets the same answer as one who does not; and the last question counts as any other.
        assert_eq!(Ok(watched), solve(Work::FREE), "{}", entry.meta.slug);
        assert_eq!(allowing(needed - 1, solve).0, Err(Refused::Stopped), "{}", entry.meta.slug);
    }
}

fn told(assessed: &Assessed, include: &Include, work: Work) -> Result<String, Refused> {
    answer::answer(assessed, include, work).map(|answer| answer::write(&answer).to_string())
}

#[test]
fn a_stopped_design_gives_no_answer_and_asks_no_more() {
    // The smallest that fails, so that there is something to turn.
    let assessed = DEMOS.iter().map(|demo| assess(&demo.design).expect("it stands"));
    let failing = assessed.filter(|assessed| assessed.verdict() == Verdict::Fails);
    let assessed = failing.min_by_key(|assessed| assessed.parts.len()).expect("a demo that fails");
    let design = &assessed.design;
    stops("the whole design", &[9, 2], |work| told(&assess_to(design, Depth::Page, work)?, &Include::default(), work));
    stops("turning values", &[4], |work| turning(&assessed, Reach::Near, work).map(|found| format!("{found:?}")));
    stops("levers", &[4], |work| levers(&assessed, work).map(|found| format!("{found:?}")));
    stops("what stands on start values", &[4], |work| on_start(&assessed, work).map(|found| format!("{found:?}")));
    let mut other = design.clone();
    other.head.title = "another".into();
    other.parts.pop();
    let designs = [design.clone(), other];
    stops("a comparison", &[4], |work| compare(&designs, work).map(|done| format!("{done:?}")));
}
