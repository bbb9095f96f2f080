//! # The test for a welded contactor
//!
//! When the contactor has opened, the link decays; when it is welded, the link follows the pack. Two readings tell the two
//! apart only if a level lies between what a welded link can show and what an opened one shows at least.
//!
//! ```text
//! Formula    welded: at most dVp + b_w; opened: at least D − b_o; a level exists when D > dVp + b_w + b_o
//!            unrelated readings: b = 2 e each, so that D > dVp + 4 e
//!            one channel: its offset cancels, its gain takes g D of the drop and g dVp of the pack's: b = 2 e + g D
//! Symbols    D [V] smallest drop: over the start voltages and C, largest bleeder, every source still feeding;
//!            the first reading is the link's voltage at the opening, not the one to which a machine lifts it then
//!            e [V] error of a reading, g gain error, dVp [V] fall of the pack meanwhile
//! Level      half way between both ends
//! Valid      all units on the bus open: where others hold it, D is nothing; limits; the pack's fall as its largest; a decay
//!            that is not stopped
//! Source     limits added: worst case
//! ```

use super::decay::Path;
use super::input::{DischargeInput, FeedKind, WeldReadings};
use super::output::DischargeWeld;
use crate::numeric::{first_where, where_largest};

/// The smallest drop until a time, V, and the start voltage that gives it: the bleeder makes the decay; without one the
/// active discharge does.
fn drop(input: &DischargeInput, seconds: f64) -> (f64, f64) {
    let path = input.passive_slowest().or(input.active_slowest()).unwrap_or(Path::NONE);
    // What other units hold stays where it is.
    if path == Path::NONE || input.held() == Some(true) {
        return (0.0, input.start_v);
    }
    // The first reading is taken at the opening, when the link still has the pack's voltage: a machine lifts it after that.
    let of = |farad: f64, start_v: f64| start_v - input.link_of(farad, path).left_v(start_v, seconds);
    let over_start = |farad: f64| where_largest(input.lowest_v(), input.start_v, &[], |start_v| -of(farad, start_v));
    let (small, large) = (input.smallest_farad(), input.largest_farad());
    let ends = if input.feed.kind == FeedKind::None { [large; 2] } else { [small, large] };
    let least = |a: (f64, f64), b: (f64, f64)| if b.0 < a.0 { b } else { a };
    // Start and capacitance, one after the other.
    let found = ends.map(|end| {
        let start_v = over_start(end);
        let farad = if ends[0] < ends[1] { input.worst_farad(|farad| -of(farad, start_v)) } else { end };
        let again_v = if farad == end { start_v } else { over_start(farad) };
        least((of(farad, start_v), start_v), (of(farad, again_v), again_v))
    });
    least(found[0], found[1])
}

pub(super) fn solve(input: &DischargeInput, error_v: f64) -> DischargeWeld {
    let weld = &input.weld;
    let gain = match weld.readings {
        WeldReadings::Unrelated => 0.0,
        WeldReadings::Same => weld.gain_percent.unwrap_or(0.0) / 100.0,
    };
    let welded_v = weld.pack_change_v * (1.0 + gain) + 2.0 * error_v;
    // What an opened link shows at least: its drop, less what the readings take of it.
    let opened = |drop_v: f64| drop_v - gain * drop_v.abs() - 2.0 * error_v;
    let (drop_v, drop_at_v) = drop(input, weld.time_s);
    let shows = |seconds: f64| opened(drop(input, seconds).0) > welded_v;
    let mut longer = std::iter::successors(Some(weld.time_s * 1e-6), |time| Some(time * 4.0)).take(40);
    let shortest_s = longer.find(|time| shows(*time)).map(|high| first_where(0.0, high, shows));
    let (low, high) = (welded_v, opened(drop_v));
    DischargeWeld {
        drop_v,
        drop_at_v,
        needed_v: welded_v + 2.0 * error_v + gain * drop_v.max(0.0),
        welded_v,
        opened_v: high,
        level_v: (low < high).then_some(0.5 * (low + high)),
        shortest_s,
    }
}
