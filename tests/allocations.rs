//! What verdicts cost in allocations: a binary of its own, because the allocator that counts is one of the whole program.

use sensewright_core::demo::DEMOS;
use sensewright_core::design::prepared::Prepared;
use sensewright_core::work::Work;

/// Verdicts are numbers: what is allocated are lists of them, and no text.
#[test]
fn verdicts_allocate_little() {
    let demo = DEMOS.iter().max_by_key(|demo| demo.design.parts.len()).expect("a demo");
    let ready = Prepared::new(&demo.design, Work::FREE).expect("it stands");
    let counted = allocation_counter::measure(|| drop(ready.verdicts(Work::FREE).expect("nobody stops it")));
    println!("{}: {} allocations, {} bytes at once", demo.slug, counted.count_total, counted.bytes_max);
    for (at, part) in demo.design.parts.iter().enumerate() {
        let own = allocation_counter::measure(|| drop(part.entry().verdicts(ready.input(at), Work::FREE)));
        println!("  {}: {}", part.entry().meta.slug, own.count_total);
    }
    assert!(counted.count_total <= 5_000, "{}", counted.count_total);
}
