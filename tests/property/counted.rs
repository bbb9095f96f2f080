//! What a channel hands to a count against the channel itself: single parts with their deviations anywhere in their limits,
//! in any two states, count no more than the bounds say.

use sensewright_core::calc::current::current_channel::ChannelInput;
use sensewright_core::channel::chain::Chain;
use sensewright_core::channel::search::Search;
use sensewright_core::demo::DEMOS;
use sensewright_core::design::prepared::Prepared;
use sensewright_core::propagation::Model;
use sensewright_core::work::Work;
use sensewright_tests::Dice;

/// Parts of each channel.
const PARTS: usize = 60;

/// A part at a corner of its box, or inside it.
fn part(limits: &[(f64, f64)], dice: &mut Dice) -> Vec<f64> {
    let corner = dice.up_to(1) == 0;
    let mut place = || if corner { dice.up_to(1) as f64 * 2.0 - 1.0 } else { dice.within(-1.0, 1.0) };
    limits.iter().map(|(estimate, limit)| estimate + limit * place()).collect()
}

/// At rest no more than the offsets; in a balanced cycle, its two directions in states of their own, no more than the offsets
/// and half the difference of the gains; one way no more than offsets and gain.
#[test]
fn no_part_counts_more_than_the_bounds_of_its_channel() {
    let mut looked_at = 0;
    for demo in DEMOS.iter() {
        let ready = Prepared::new(&demo.design, Work::FREE).expect("it stands");
        for (at, of) in demo.design.parts.iter().enumerate() {
            let Some(input) = ready.input(at).any().downcast_ref::<ChannelInput>() else { continue };
            let what = format!("{} {at}", demo.slug);
            let asked = of.entry().channel(ready.input(at)).expect("a channel");
            let Some(bound) = asked.counted(Work::FREE).expect("free") else { panic!("{what} gives no bounds") };
            let rounding = (&input).each().rounding;
            let offsets = bound.offset + bound.drift + bound.known + bound.bend + rounding;
            let (discharge, charge) = (input.load.continuous_a, 0.7 * input.load.continuous_a);
            let mut dice = Dice(at as u64 + 41);
            for aged in [false, true] {
                let chain = &input;
                let search = Search::new(chain, true, aged, 1);
                let states: Vec<_> = search.states().copied().collect();
                let values = [0.0, discharge, -charge].map(|x| search.value(x));
                let limits: Vec<(f64, f64)> =
                    values[1].sources.iter().map(|source| (source.estimate, source.limit)).collect();
                for _ in 0..PARTS {
                    let deviations = part(&limits, &mut dice);
                    let mut error = |place: usize| {
                        let state = states[usize::try_from(dice.up_to(states.len() as u64 - 1)).expect("a place")];
                        search.model(&values[place], state).evaluate(&deviations)
                    };
                    let (rest, out, back) = (error(0), error(1), error(2));
                    assert!(rest.abs() <= offsets * (1.0 + 1e-9), "{what} at rest: {rest} of {offsets}");
                    let way = offsets + (bound.gain + bound.unequal / 2.0) * discharge;
                    assert!(out.abs() <= way * (1.0 + 1e-9), "{what} one way: {out} of {way}");
                    // The same charge out and in: times 1/I each.
                    let cycle = out / discharge + back / charge;
                    let most = offsets * (1.0 / discharge + 1.0 / charge) + bound.unequal;
                    assert!(cycle.abs() <= most * (1.0 + 1e-9), "{what} a cycle: {cycle} of {most}");
                    looked_at += 1;
                }
            }
        }
    }
    assert!(looked_at >= 6 * PARTS, "{looked_at}");
}
