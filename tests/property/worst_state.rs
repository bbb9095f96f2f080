//! The worst state of a channel against a search that spares nothing: every ambient temperature of the grid, every kind of
//! state, and corners of the box of deviations from random beginnings, improved until no single deviation helps.

use sensewright_core::calc::current::current_channel::ChannelInput;
use sensewright_core::calc::voltage::voltage_channel::{Channel, VoltageInput};
use sensewright_core::channel::JudgedBy;
use sensewright_core::channel::corners::{Corners, Judging};
use sensewright_core::channel::map::Map;
use sensewright_core::channel::search::Search;
use sensewright_core::demo::DEMOS;
use sensewright_core::design::prepared::Prepared;
use sensewright_core::propagation::{Distribution, Model, Source};
use sensewright_core::work::Work;
use sensewright_tests::Dice;

/// Beginnings a state and side.
const BEGINNINGS: usize = 3;

fn normal(source: &Source) -> bool {
    matches!(source.distribution, Distribution::Normal { .. })
}

/// The largest error of a model over the box, by improving random corners.
fn searched(model: &impl Model, sources: &[Source], dice: &mut Dice) -> f64 {
    let mut best = 0.0_f64;
    for turn in 0..2 * BEGINNINGS {
        let side = if turn % 2 == 0 { 1.0 } else { -1.0 };
        let mut corner = |source: &Source| match dice.up_to(1) {
            _ if normal(source) => source.estimate,
            0 => source.estimate + source.limit,
            _ => source.estimate - source.limit,
        };
        let mut at: Vec<f64> = sources.iter().map(&mut corner).collect();
        let mut value = model.evaluate(&at);
        loop {
            let before = value;
            for (i, source) in sources.iter().enumerate() {
                if source.limit == 0.0 || normal(source) {
                    continue;
                }
                let kept = at[i];
                at[i] = 2.0 * source.estimate - kept;
                let moved = model.evaluate(&at);
                if side * (moved - value) > 0.0 {
                    value = moved;
                } else {
                    at[i] = kept;
                }
            }
            if value == before {
                break;
            }
        }
        // The noise of the stored readings is joined by its squares, as three standard deviations.
        let mut squares = 0.0;
        for (i, source) in sources.iter().enumerate().filter(|(_, source)| normal(source)) {
            let mut moved = |by: f64| {
                at[i] = source.estimate + by;
                let moved = model.evaluate(&at);
                at[i] = source.estimate;
                moved
            };
            squares += (0.5 * (moved(3.0 * source.standard()) - moved(-3.0 * source.standard()))).powi(2);
        }
        best = best.max((value + side * squares.sqrt()).abs());
    }
    best
}

/// Compares a channel at some places of its range with the search over every state.
fn compare<C: Corners>(channel: &C, what: &str) {
    let (judging, every) = (Judging::new(channel, Work::FREE).expect("free"), Search::new(channel, true, true, 1));
    let mut dice = Dice(7);
    let places = channel.places();
    let (Some(&low), Some(&high)) = (places.first(), places.last()) else { panic!("{what}: no places") };
    for share in [0.0, 0.3, 0.4988, 0.501, 0.8, 1.0] {
        let x = low + (high - low) * share;
        let Some(judged) = judging.at(x, JudgedBy::WorstCase, Work::FREE).expect("free").error() else { continue };
        let value = every.value(x);
        let sources = &value.sources;
        assert!(sources.iter().all(|source| source.group.is_none()), "{what}: its box is another");
        let states = every.states();
        let found = states.map(|state| searched(&every.model(&value, *state), sources, &mut dice));
        let found = found.fold(0.0, f64::max);
        // To a thousandth of what is allowed; a search that ends short of the corner may stay below.
        let allowed = channel.allowed(x).unwrap_or(found);
        assert!(found - judged <= 1e-3 * allowed, "{what} at {x}: judged {judged}, found {found}, allowed {allowed}");
        assert!(judged <= found * 1.01, "{what} at {x}: judged {judged}, found {found} only");
    }
}

/// Compares the map over value and temperature with the same search at some of its points, and its largest share with what
/// is judged worst.
fn mapped<C: Corners>(channel: &C, log: bool, what: &str) {
    let judging = Judging::new(channel, Work::FREE).expect("free");
    let worst = judging.worst(Work::FREE).expect("free").expect("it is judged");
    let place = worst.found.as_ref().map(|found| (worst.at, found.ambient_degc));
    let Some(map) = Map::of(channel, log, place, Work::FREE).expect("free") else { panic!("{what}: no map") };
    if channel.judged_by() == JudgedBy::WorstCase && worst.error().is_some() {
        let (most, used) = (map.most().expect("some point is read").0, worst.used_percent().expect("it has a limit"));
        assert!((most / used - 1.0).abs() < 2e-3, "{what}: {most} on the map, {used} judged");
    }
    let mut dice = Dice(11);
    for (i, j) in [(0, 0), (4, 3), (8, 6), (12, 2)] {
        let (size, degc, shown) = (map.at[i], map.ambient_degc[j], map.used_percent[i][j]);
        let Some(shown) = shown.filter(|_| channel.judged_by() == JudgedBy::WorstCase) else { continue };
        let search = Search::at(channel, true, true, vec![degc], 1);
        let least = channel.places().into_iter().fold(0.0, f64::min);
        let mut found = 0.0_f64;
        for x in [size, -size].into_iter().filter(|x| *x >= least) {
            let (value, allowed) = (search.value(x), channel.allowed(x).expect("it has a limit"));
            for state in search.states() {
                let error = searched(&search.model(&value, *state), &value.sources, &mut dice);
                found = found.max(error / allowed * 100.0);
            }
        }
        assert!((found / shown - 1.0).abs() < 1e-2, "{what} at {size}, {degc}: {shown} on the map, {found} searched");
    }
}

fn channels<G: 'static>(slug: &str, mut each: impl FnMut(&G, &str)) {
    for demo in DEMOS.iter() {
        let ready = Prepared::new(&demo.design, Work::FREE).expect("it stands");
        for (at, part) in demo.design.parts.iter().enumerate() {
            if part.entry().meta.slug == slug {
                let input = ready.input(at).any().downcast_ref().expect("of this calculation");
                each(input, &format!("{} {at}", demo.slug));
            }
        }
    }
}

#[test]
fn no_corner_of_any_state_of_a_current_channel_is_worse_than_judged() {
    channels("current-channel", |input: &ChannelInput, what| compare(&input, what));
}

#[test]
fn no_corner_of_any_state_of_a_voltage_channel_is_worse_than_judged() {
    channels("voltage-channel", |input: &VoltageInput, what| compare(&Channel::new(input), what));
}

#[test]
fn the_map_over_value_and_temperature_shows_what_a_search_finds() {
    channels("current-channel", |input: &ChannelInput, what| mapped(&input, true, what));
    channels("voltage-channel", |input: &VoltageInput, what| mapped(&Channel::new(input), false, what));
}
