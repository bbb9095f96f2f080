//! Whether work takes as long as it is said to cost: its time over its cost, on one thread, beside the mean of all.
//!
//! What is said is a bound for lanes and budgets; light work is said to be light, however light it is, and only told when it
//! is not.

use std::hint::black_box;
use std::time::Instant;

use sensewright_core::calculation::{Ask, Depth};
use sensewright_core::catalogue::CATALOGUE;
use sensewright_core::demo::DEMOS;
use sensewright_core::design::answer::{self, Include};
use sensewright_core::design::assess::{assess, assess_to};
use sensewright_core::design::compare::compare;
use sensewright_core::design::cost::{Parts, Questions};
use sensewright_core::field::Notation;
use sensewright_core::work::Work;
use serde_json::{Value, json};

/// The time of a unit that the units are told by, in seconds.
const UNIT: f64 = 3.4e-9;
/// Up to this work is light.
const LIGHT: f64 = 5e-3;

fn best(mut work: impl FnMut()) -> f64 {
    let mut time = || {
        let start = Instant::now();
        work();
        start.elapsed().as_secs_f64()
    };
    (0..3).map(|_| time()).fold(f64::INFINITY, f64::min)
}

struct Row {
    what: String,
    said: f64,
    took: f64,
}

impl Row {
    fn of(what: impl Into<String>, units: u64, work: impl FnMut()) -> Self {
        Self { what: what.into(), said: units as f64 * UNIT, took: best(work) }
    }
}

/// Trials tenfold, in an input that has them.
fn more_trials(input: &Value) -> Option<Value> {
    let place = ["/experiment/trials", "/trials"].into_iter().find(|place| input.pointer(place).is_some())?;
    let mut input = input.clone();
    let trials = input.pointer_mut(place)?;
    *trials = json!(trials.as_u64()? * 10);
    Some(input)
}

fn calculations(rows: &mut Vec<Row>) {
    for entry in CATALOGUE {
        let start = Value::Object(entry.start().clone());
        let more = more_trials(&start).map(|input| ("ten times the trials", input));
        for (words, input) in [("", start)].into_iter().chain(more) {
            let input = entry.read(Some(&input), Notation::Json).expect("it is in range");
            for depth in [Depth::Requirements, Depth::Whole, Depth::Page] {
                let units = entry.cost(&*input, depth, Work::FREE).units;
                rows.push(Row::of(format!("{} {depth:?} {words}", entry.meta.slug), units, || {
                    drop(black_box(entry.solve(&*input, Ask::to(depth), Work::FREE)));
                }));
            }
        }
    }
}

fn designs(rows: &mut Vec<Row>) {
    for (place, demo) in DEMOS.iter().enumerate() {
        let (design, parts) = (&demo.design, Parts::of(&demo.design));
        let units = |depth, questions| parts.cost(depth, questions, Work::FREE).units;
        let mut row = |what: &str, units: u64, work: &mut dyn FnMut()| {
            rows.push(Row::of(format!("{} {what}", demo.slug), units, work));
        };
        for depth in [Depth::Requirements, Depth::Page] {
            row(&format!("{depth:?}"), units(depth, Questions::NONE), &mut || {
                drop(black_box(assess_to(design, depth, Work::FREE)));
            });
        }
        let searched = Include::read("levers,on_start").expect("its own words");
        row("overview", units(Depth::Page, Questions::OVERVIEW), &mut || {
            let assessed = assess(design).expect("it stands");
            drop(black_box(answer::answer(&assessed, &searched, Work::FREE)));
        });
        row("turning values", units(Depth::Requirements, Questions::TURNING), &mut || {
            let assessed = assess_to(design, Depth::Requirements, Work::FREE).expect("it stands");
            drop(black_box(answer::turning_answer(&assessed, Work::FREE)));
        });
        let other = usize::from(place == 0);
        let both = [design.clone(), DEMOS[other].design.clone()];
        let second = Parts::of(&both[1]).cost(Depth::Requirements, Questions::NONE, Work::FREE).units;
        row("comparison", units(Depth::Requirements, Questions::COMPARISON) + second, &mut || {
            drop(black_box(compare(&both, Work::FREE)));
        });
    }
}

fn main() {
    let alone = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread");
    let mut rows = Vec::new();
    alone.install(|| {
        calculations(&mut rows);
        designs(&mut rows);
    });
    let (light, dear): (Vec<Row>, Vec<Row>) = rows.into_iter().partition(|row| row.said <= LIGHT);
    for row in light.iter().filter(|row| row.took > LIGHT) {
        println!("not light: {:50} {:8.2} ms", row.what, row.took * 1e3);
    }
    // The mean of factors, which counts twice and half alike.
    let mean = (dear.iter().map(|row| (row.took / row.said).ln()).sum::<f64>() / dear.len() as f64).exp();
    let outside = |row: &Row| !(0.5..=2.0).contains(&(row.took / row.said / mean));
    for row in &dear {
        let ratio = row.took / row.said;
        let mark = if outside(row) { "outside" } else { "" };
        println!(
            "{:60} said {:9.1} ms, took {:9.1} ms, {:5.2} of the mean {mark}",
            row.what,
            row.said * 1e3,
            row.took * 1e3,
            ratio / mean
        );
    }
    println!(
        "{} of {} within 0.5 to 2 of the mean, a time of {mean:.2} of what is said; {} light, {} of them not",
        dear.iter().filter(|row| !outside(row)).count(),
        dear.len(),
        light.len(),
        light.iter().filter(|row| row.took > LIGHT).count()
    );
}
