//! Speed of whole designs on one thread: verdicts alone, one changed value, turning values, levers, the whole answer.
//!
//! The best of several repetitions counts: other work on the machine only ever slows a run down.

use std::hint::black_box;
use std::time::Instant;

use sensewright_core::demo::DEMOS;
use sensewright_core::design::assess::assess;
use sensewright_core::design::levers::levers;
use sensewright_core::design::on_start::on_start;
use sensewright_core::design::prepared::Prepared;
use sensewright_core::design::turning::{Reach, turning};
use sensewright_core::design::{Design, answer};
use sensewright_core::field::tree;
use sensewright_core::work::Work;

/// Best time of `count` repetitions, in seconds.
fn best<T>(count: usize, mut work: impl FnMut() -> T) -> f64 {
    let mut time = || {
        let start = Instant::now();
        black_box(work());
        start.elapsed().as_secs_f64()
    };
    (0..count).map(|_| time()).fold(f64::INFINITY, f64::min)
}

/// Every number of a design that can be another, with a value next to it.
fn numbers(design: &Design, ready: &mut Prepared) -> Vec<(String, f64)> {
    let mut found = Vec::new();
    for (at, part) in design.parts.iter().enumerate() {
        let handed: Vec<&str> = part.handed_down().collect();
        let (input, place) = (ready.input(at), part.pointer());
        tree::walk(part.entry().fields, &mut |pointer, _| {
            if let Some(now) = input.number(pointer).filter(|_| !handed.iter().any(|other| pointer.starts_with(other)))
            {
                found.push((format!("{place}{pointer}"), now * (1.0 + 1e-6)));
            }
        });
    }
    let pack = design.head.pack.clone();
    tree::walk(<sensewright_core::design::pack::Pack as sensewright_core::field::Group>::FIELDS, &mut |pointer, _| {
        if let Some(now) = sensewright_core::field::Group::get(&pack, pointer) {
            found.push((format!("/pack{pointer}"), now * (1.0 + 1e-6)));
        }
    });
    found.retain(|(pointer, value)| ready.rejudge(pointer, *value, Work::FREE).is_ok_and(|moved| moved.is_some()));
    found
}

fn main() {
    let demo = DEMOS.iter().max_by_key(|demo| demo.design.parts.len()).expect("a demo");
    let design = &demo.design;
    rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread pool").install(|| {
        let mut ready = Prepared::new(design, Work::FREE).expect("it stands");
        let assessed = assess(design).expect("it stands");
        let numbers = numbers(design, &mut ready);
        let prepare = best(20, || Prepared::new(design, Work::FREE));
        let verdicts = best(50, || ready.verdicts(Work::FREE));
        let all = best(5, || {
            for (pointer, value) in &numbers {
                drop(black_box(ready.rejudge(pointer, *value, Work::FREE)));
            }
        });
        let rejudge = all / numbers.len() as f64;
        let turned = best(5, || turning(&assessed, Reach::Near, Work::FREE));
        let everything = answer::Include::all();
        let whole = best(3, || {
            let assessed = assess(design).expect("it stands");
            answer::write(&answer::answer(&assessed, &everything, Work::FREE).expect("nobody stops it"))
        });
        println!("{}, {} parts, {} numbers", demo.slug, design.parts.len(), numbers.len());
        println!("  made ready             {:9.3} ms", prepare * 1e3);
        println!("  verdicts alone         {:9.3} ms", verdicts * 1e3);
        for (at, part) in design.parts.iter().enumerate() {
            let own = best(50, || part.entry().verdicts(ready.input(at), Work::FREE));
            println!("    {:20} {:9.3} ms", part.key(), own * 1e3);
        }
        println!("  one changed value      {:9.3} ms, mean of {}", rejudge * 1e3, numbers.len());
        println!("  turning values         {:9.3} ms", turned * 1e3);
        for demo in DEMOS.iter() {
            let assessed = assess(&demo.design).expect("it stands");
            let ready = Prepared::new(&demo.design, Work::FREE).expect("it stands");
            let once = best(5, || ready.verdicts(Work::FREE));
            let found = best(3, || levers(&assessed, Work::FREE));
            let resting = best(3, || on_start(&assessed, Work::FREE));
            let near = best(3, || turning(&assessed, Reach::Near, Work::FREE));
            let (name, times) = (demo.slug, found / once);
            println!("  levers of {name:24} {:9.3} ms, {times:.1} times its verdicts", found * 1e3);
            println!("    start values and turning values {:9.3} ms {:9.3} ms", resting * 1e3, near * 1e3);
        }
        println!("  whole answer           {:9.3} ms", whole * 1e3);
        // For a script that sets them against an older version.
        for (name, seconds) in [("verdicts", verdicts), ("rejudge", rejudge), ("turning", turned), ("whole", whole)] {
            println!("bench {name} {seconds:e}");
        }
    });
}
