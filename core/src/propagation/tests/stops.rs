//! Work that is asked after: often enough, without a change in the answer, and whole or not at all.

use std::sync::atomic::{AtomicU64, Ordering};

use rayon::{ThreadPool, ThreadPoolBuilder};

use super::super::random::BLOCK;
use super::super::{
    Assessment, Correlation, Distribution, Fault, LANES, Model, Number, Request, Source, assess, defined, fill,
    normal_quantile, quick, summarise, uniform, worst_case,
};
use super::{normal, rectangular, sum_of, values};
use crate::work::{Halt, Work};

/// Counts how often it is evaluated.
struct Counting<'a>(&'a AtomicU64);

impl Model for Counting<'_> {
    fn evaluate<N: Number>(&self, x: &[N]) -> N {
        self.0.fetch_add(1, Ordering::Relaxed);
        x[0] * x[1].exp() + x[2] * x[2] - x[3] / (x[4] + 3.0)
    }
}

/// All kinds of work: a group, a correlated pair, a table for Student's t.
fn mixed() -> (Vec<Source>, Correlation) {
    let sources = vec![
        rectangular(1.0, 0.2).grouped("g", 0.1),
        rectangular(0.0, 0.3).distributed(Distribution::Triangular).grouped("g", 0.3),
        normal(0.2, 0.1).with_dof(6.0),
        normal(1.0, 0.1),
        rectangular(1.0, 0.1),
    ];
    let mut rows: Vec<Vec<f64>> = (0..5).map(|i| (0..5).map(|j| f64::from(u8::from(i == j))).collect()).collect();
    (rows[3][4], rows[4][3]) = (0.7, 0.7);
    (sources, Correlation::new(&rows).unwrap())
}

/// One thread: what is asked between two questions is the same in every run.
fn alone() -> ThreadPool {
    ThreadPoolBuilder::new().num_threads(1).build().unwrap()
}

fn budget(request: &Request, work: Work) -> Result<Assessment, Fault> {
    let (sources, correlation) = mixed();
    let evaluations = AtomicU64::new(0);
    alone().install(|| assess(&Counting(&evaluations), &sources, Some(&correlation), request, work))
}

/// The answer to a watcher that allows so many questions, and how many were asked.
fn allowing<T>(most: u64, run: impl FnOnce(Work) -> T) -> (T, u64) {
    let asked = AtomicU64::new(0);
    let stopped = || asked.fetch_add(1, Ordering::Relaxed) >= most;
    let answer = run(Work::until(&stopped));
    (answer, asked.into_inner())
}

fn requests() -> [Request; 3] {
    [values(None), Request { seed: 3, ..values(Some(150_000)) }, Request { adaptive: true, ..values(Some(100_000)) }]
}

#[test]
fn questions_change_no_bit_of_an_answer() {
    for request in requests() {
        let (watched, asked) = allowing(u64::MAX, |work| budget(&request, work).unwrap());
        let free = budget(&request, Work::FREE).unwrap();
        assert_eq!(serde_json::to_string(&watched).unwrap(), serde_json::to_string(&free).unwrap());
        let trials = watched.monte_carlo.map_or(0, |run| u64::from(run.trials));
        assert!(asked > trials / BLOCK as u64, "{asked} questions for {trials} trials");
    }
}

/// In a run of any kind there is never more than a golden section, or a block of trials, between two questions.
#[test]
fn a_question_comes_at_least_once_a_block() {
    for request in requests() {
        let (sources, correlation) = mixed();
        let (evaluations, last, most) = (AtomicU64::new(0), AtomicU64::new(0), AtomicU64::new(0));
        let watch = || {
            let now = evaluations.load(Ordering::Relaxed);
            most.fetch_max(now - last.swap(now, Ordering::Relaxed), Ordering::Relaxed);
            false
        };
        let model = Counting(&evaluations);
        let run = || assess(&model, &sources, Some(&correlation), &request, Work::until(&watch));
        alone().install(run).unwrap();
        watch();
        let (most, all) = (most.into_inner(), evaluations.load(Ordering::Relaxed));
        assert!(most <= (BLOCK / LANES).max(64) as u64, "{most} of {all} evaluations without a question");
    }
}

#[test]
fn a_stopped_budget_gives_no_answer() {
    for request in requests() {
        let (whole, needed) = allowing(u64::MAX, |work| budget(&request, work));
        for most in (0..needed).step_by(23).chain([needed - 1]) {
            let (answer, asked) = allowing(most, |work| budget(&request, work));
            assert_eq!(answer, Err(Fault::Stopped), "after {most} of {needed} questions");
            // It ends with the question that stops it; both tails are joined side by side.
            assert!((most + 1..=most + 2).contains(&asked), "{asked} questions where {most} were allowed");
        }
        assert_eq!(allowing(needed, |work| budget(&request, work)), (whole, needed));
    }
}

/// Statistics alone: of heavy tails all values fall into one bin, and all of them are sorted.
#[test]
fn statistics_are_asked_after_each_run_of_values() {
    let heavy = |u: f64| (std::f64::consts::PI * (u - 0.5)).tan();
    for shape in [normal_quantile, heavy] {
        let outputs: Vec<f64> = (0..200_000).map(|trial| shape(uniform(2, trial, 0))).collect();
        let sum = |work: Work| alone().install(|| summarise(&sum_of(1), &[normal(0.0, 1.0)], None, 0, &outputs, work));
        let (whole, needed) = allowing(u64::MAX, sum);
        assert_eq!(whole, sum(Work::FREE));
        // Moments and tails of 13 runs each, two histograms of 4 pieces each, and the joining of the tails.
        assert!(needed >= 2 * 13 + 2 * 4 + 2 * 12, "{needed}");
        for most in 0..needed {
            assert_eq!(allowing(most, sum).0, Err(Fault::Stopped), "after {most} of {needed} questions");
        }
    }
}

#[test]
fn cheap_questions_can_be_stopped_too() {
    let sources = mixed().0;
    let evaluations = AtomicU64::new(0);
    let model = Counting(&evaluations);
    let stopped = Work::until(&|| true);
    assert_eq!(quick(&model, &sources, true, stopped), Err(Fault::Stopped));
    assert_eq!(worst_case(&model, &sources, stopped), Err(Fault::Stopped));
    assert_eq!(fill(&model, &sources, None, 1, 0, &mut [0.0; 1000], stopped), Err(Fault::Stopped));
    assert_eq!(evaluations.into_inner(), 0, "nothing was worked out");
}

/// The trap that [`defined`] closes: a stop is no value, and no value is no stop.
#[test]
fn a_stop_is_not_a_missing_value() {
    assert_eq!(defined(Ok(1.0)), Ok(Some(1.0)));
    assert_eq!(defined::<f64>(Err(Fault::NotFinite { place: "here" })), Ok(None));
    assert_eq!(defined::<f64>(Err(Fault::Stopped)), Err(Halt));
}
