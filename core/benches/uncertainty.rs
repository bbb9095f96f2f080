//! Speed of the uncertainty engine, as ratios of figures taken in the same run.
//!
//! 22 sources (11 rectangular, 4 triangular, 7 normal) in a product-like model, a million trials.
//! The best of several repetitions counts: other work on the machine only ever slows a run down.
#![expect(clippy::inline_always, reason = "the models have to be compiled inside the vectorised loop")]

use std::hint::black_box;
use std::time::Instant;

use sensewright_core::demo::DEMOS;
use sensewright_core::design::prepared::Prepared;
use sensewright_core::field::Notation;
use sensewright_core::propagation::{
    Coverage, Distribution, Kind, Model, Number, Request, Source, assess, fill, quick, summarise,
};
use sensewright_core::work::Work;

const TRIALS: usize = 1_000_000;
const SEED: u64 = 20_240_501;

/// Error of a current reading: a product of gain errors, plus offsets over the reading.
struct Chain;

impl Model for Chain {
    #[inline(always)]
    fn evaluate<N: Number>(&self, x: &[N]) -> N {
        let mut gain = N::from(1.0);
        for x in &x[..11] {
            gain = gain * (*x + 1.0);
        }
        let mut offset = N::from(0.0);
        for x in &x[11..22] {
            offset = offset + *x;
        }
        gain + offset / 100.0 - 1.0
    }
}

/// Reads one input and ignores the rest: what remains is the cost of drawing.
struct First;

impl Model for First {
    #[inline(always)]
    fn evaluate<N: Number>(&self, x: &[N]) -> N {
        x[0]
    }
}

/// The sources of the chain; `plain` makes all of them rectangular, which is the uniform number itself but for a scale.
fn sources(plain: bool) -> Vec<Source> {
    (0..22)
        .map(|i| {
            let shape = match i {
                _ if plain => Distribution::Rectangular,
                0..11 => Distribution::Rectangular,
                11..15 => Distribution::Triangular,
                _ => Distribution::Normal { k: 2.0 },
            };
            let limit = 1e-4 * f64::from(1 + i);
            Source::limit(format!("s{i}"), "source", "chain", Kind::Initial, "1", limit).distributed(shape)
        })
        .collect()
}

/// Best time of `count` repetitions, in seconds.
fn best(count: usize, mut work: impl FnMut()) -> f64 {
    work();
    let time = |work: &mut dyn FnMut()| {
        let start = Instant::now();
        work();
        start.elapsed().as_secs_f64()
    };
    (0..count).map(|_| time(&mut work)).fold(f64::INFINITY, f64::min)
}

fn on<T: Send>(threads: usize, work: impl FnOnce() -> T + Send) -> T {
    rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a thread pool").install(work)
}

fn main() {
    let uniform = sources(true);
    let sources = sources(false);
    let request =
        Request { coverage: Coverage::Factor(2.0), trials: Some(1_000_000), seed: SEED, ..Request::default() };
    let whole = || drop(black_box(assess(&Chain, &sources, None, &request, Work::FREE)));
    let mut values = vec![0.0; TRIALS];

    let one = on(1, || best(7, whole));
    let draw = on(1, || best(7, || drop(black_box(fill(&First, &sources, None, SEED, 0, &mut values, Work::FREE)))));
    let random = on(1, || best(7, || drop(black_box(fill(&First, &uniform, None, SEED, 0, &mut values, Work::FREE)))));
    let evaluate =
        on(1, || best(7, || drop(black_box(fill(&Chain, &sources, None, SEED, 0, &mut values, Work::FREE)))));
    let sum_up = on(1, || best(7, || drop(black_box(summarise(&Chain, &sources, None, SEED, &values, Work::FREE)))));
    let all = best(7, whole);
    let uniforms = best(3, || {
        let mut sum = 0.0;
        for trial in 0..TRIALS as u64 {
            sum += sensewright_core::propagation::uniform(SEED, trial, 0);
        }
        black_box(sum);
    });
    let no_trials = Request { trials: None, ..request };
    let budget = best(2000, || drop(black_box(assess(&Chain, &sources, None, &no_trials, Work::FREE))));
    let point = best(2000, || drop(black_box(quick(&Chain, &sources, true, Work::FREE))));

    let rate = |seconds: f64| TRIALS as f64 / seconds / 1e6;
    println!("Monte Carlo, 22 sources, {TRIALS} trials, intervals at 95 % and 99.73 %");
    println!("  one thread             {:7.2} ms  {:6.1} million trials/s", one * 1e3, rate(one));
    println!("    uniform numbers      {:7.2} ms  whole / uniform numbers = {:.2}", random * 1e3, one / random);
    println!("    drawing the inputs   {:7.2} ms  whole / drawing = {:.2}", draw * 1e3, one / draw);
    println!("    drawing and model    {:7.2} ms", evaluate * 1e3);
    println!("    statistics           {:7.2} ms", sum_up * 1e3);
    println!(
        "  all threads            {:7.2} ms  {:6.1} million trials/s, {:.2} times one",
        all * 1e3,
        rate(all),
        one / all
    );
    println!("  scalar uniforms        {:7.2} ns each, one at a time", uniforms / TRIALS as f64 * 1e9);
    println!("First-order budget       {:7.2} µs  (a Monte Carlo run takes {:.0} of them)", budget * 1e6, one / budget);
    println!("One point of a grid      {:7.2} µs", point * 1e6);

    // The whole current channel at one current: reading, 140 corners, the curve, a million trials of its 22 sources.
    let (channel, closed) = (on(1, || best(5, || channel(TRIALS))), on(1, || best(5, || channel(1_000))));
    println!("Current channel, page    {:7.2} ms, with a thousand trials {:.2} ms", channel * 1e3, closed * 1e3);

    // For a script that sets them against peers.
    for (name, seconds) in [
        ("mc_1m_one_thread", one),
        ("mc_1m_all_threads", all),
        ("mc_draws_only", random),
        ("first_order_22", budget),
        ("channel_1m_one_thread", channel),
        ("channel_closed_form", closed),
    ] {
        println!("bench {name} {seconds:e}");
    }
}

/// The demo's current channel at 400 A, answered as the interface answers it.
fn channel(trials: usize) {
    let design = &DEMOS[0].design;
    let at = design.parts.iter().position(|part| part.section.key == "current").expect("a demo with a current channel");
    let part = &design.parts[at];
    let ready = Prepared::new(design, Work::FREE).expect("it stands");
    let mut input = serde_json::Value::Object(ready.input(at).written());
    input["currents_a"] = serde_json::json!([400.0]);
    input["experiment"] = serde_json::json!({"trials": trials});
    black_box(part.entry().answer(Some(&input), Notation::Json)).expect("valid");
}
