//! What is required of a profile, and what is to be known of it.

use crate::field::{Field, Group, Kind, Start, start};
use crate::judge::{Judged, Ledger, Limit, Words};
use crate::profile::{Built, Chain, CurrentUnit, Gap, ProfileInput, ProfileOutput};
use crate::quantity::{Unit, ampere, ampere_hour, in_sentence, one, say, second, volt};

/// A file whose currents are in another unit by a thousand has a peak beyond this part of the range, or below the other: a
/// chain is chosen for peaks between a tenth of its range and all of it. Common practice, no source.
const STRANGE: [f64; 2] = [1e-3, 100.0];

pub fn requirements(input: &ProfileInput, solved: &ProfileOutput, to: &mut Ledger) {
    let lines = &solved.lines;
    let untouched = untouched(input);
    if let Some(reading) = &solved.reading {
        let line = reading.first_clipped_line.unwrap_or_default();
        let unseen = solved.gaps.count > 0 && input.handling.gap == Gap::Integrate;
        let note = match &untouched[..] {
            [] => "largest current, limits included",
            _ => "largest current, limits included; on start values",
        };
        let words = |direction: &str| {
            if unseen && reading.first_clipped_line.is_none() {
                let why = "in the gaps of the record nobody saw the current; leave them out where none flowed";
                return Words::new(format!("Range of the reading, {direction}"), note, why);
            }
            let failure = format!(
                "In {direction} the reading is at the end of its range, first at line {line}, {} in all: what flows beyond is not counted, and no limit bounds it.",
                second(reading.clipped_s)
            );
            Words::new(format!("Range of the reading, {direction}"), note, failure)
        };
        let limit = |clip: Option<f64>, pointer| clip.map_or(Limit::Missing(pointer), |clip| Limit::Given(clip.abs()));
        let ends = [
            ("charge.range", "/chain/clip_high_a", reading.highest_reached_a, input.chain.clip_high_a, "discharge"),
            ("charge.range-charging", "/chain/clip_low_a", -reading.lowest_reached_a, input.chain.clip_low_a, "charge"),
        ];
        for (id, pointer, reached, clip, direction) in ends {
            let judged = Judged::at_most(id, pointer, Unit::Ampere, reached + 0.0, limit(clip, pointer));
            // What flowed in a gap nobody saw; what is known to be beyond fails all the same.
            let judged = if unseen && !judged.fails() { judged.blocked() } else { judged };
            to.require(judged, |_| words(direction));
        }
    }
    if let Some(element) = &solved.element {
        to.require(Judged::never("charge.element", "/element/thermal_resistance_k_per_w", element.ran_away), |_| {
            let failure = format!(
                "The element's heat grows faster than it leaves, from line {} on: nothing is known of the reading.",
                element.line
            );
            Words::new("Steady heat of the element", "over the whole profile", failure)
        });
    }
    let told = solved.reading.is_some() && !untouched.is_empty();
    to.warn("charge.chain-as-it-starts", "/chain", told, || {
        format!(
            "Error and range are those of a chain of which this stands as the page starts: {}. Type the values of your channel, or leave empty what is not known.",
            untouched.join(", ")
        )
    });
    strange(input, solved, to);
    to.warn("charge.rows-left-out", "/handling/bad_row", lines.left_out > 0, || {
        let first = lines.first_left_out.first().map(|row| format!(", first line {}: {}", row.line, row.got));
        format!(
            "{} rows cannot be read and are left out; the row before each holds on{}.",
            lines.left_out,
            first.unwrap_or_default()
        )
    });
    let gaps = &solved.gaps;
    to.warn("charge.gap", "/handling/gap", gaps.count > 0, || {
        let (count, total) = (counted(gaps.count, "gap"), second(gaps.total_s));
        if input.handling.gap == Gap::LeaveOut {
            return format!("{count}, {total} in all, left out.");
        }
        format!(
            "{count}, {total} in all, integrated as written: {} of the net charge. No limit and no cone holds them.",
            ampere_hour(gaps.held_ah)
        )
    });
    to.warn("charge.sign", "/text/sign", solved.voltage_rises == Some(true), || {
        let ends = solved.lowest_voltage.zip(solved.highest_voltage);
        let ends = ends.map(|(low, high)| format!(" from {} to {}", volt(low.voltage_v), volt(high.voltage_v)));
        format!(
            "The voltage rises{} where the discharge current does. Is the sign of the current the other one?",
            ends.unwrap_or_default()
        )
    });
    to.note("charge.new-segments", "/handling/backward", lines.new_segments > 0, || {
        format!("Time steps back {} times; what follows is put behind what was before.", lines.new_segments)
    });
    to.note("charge.last-line-open", "", lines.last_line_open, || {
        "The last line has no end. It was read; if the file was cut off, its last number may be short.".into()
    });
    to.note("charge.chain-stands-still", "/chain/sample_s", solved.reading.is_none(), || {
        "No error, step or sampling of a chain is given: the reading is taken as the current.".into()
    });
    to.note("charge.dead-band-hides", "/chain/dead_band_a", hides(input, solved), || {
        format!(
            "The dead band of {} lies above the offset: without current it hides the offset, and small currents as well. A part between the limits may be worse than those at them.",
            ampere(input.chain.dead_band_a)
        )
    });
}

/// Values of the chain that a file goes through as the page starts with them, in words: nobody may have looked at them.
pub(super) fn untouched(input: &ProfileInput) -> Vec<String> {
    if input.profile != Built::File {
        return Vec::new();
    }
    let (now, first) = (input.chain.write(), start::<Chain>().write());
    let shown = |field: &&Field| matches!(field.kind, Kind::Number { start: Start::Shown(_), .. });
    let same = Chain::FIELDS.iter().filter(shown).filter(|field| now.get(field.key) == first.get(field.key));
    let told = |field: &Field| {
        let value = now.get(field.key)?.as_f64()?;
        Some(format!("{} {}", in_sentence(field.label), say(value, field.unit()?)))
    };
    same.filter_map(told).collect()
}

/// Currents that are off by a thousand: the unit of the column was assumed.
fn strange(input: &ProfileInput, solved: &ProfileOutput, to: &mut Ledger) {
    let ends = [input.chain.clip_low_a, input.chain.clip_high_a];
    let range = ends.into_iter().flatten().fold(0.0, |most: f64, end| most.max(end.abs()));
    let peak = solved.highest.current_a.max(-solved.lowest.current_a);
    let share = peak / range;
    let unit = match () {
        () if !(peak > 0.0 && range > 0.0) || input.text.current_unit != CurrentUnit::Recognised => return,
        () if share >= STRANGE[1] => CurrentUnit::Milliampere,
        () if share <= STRANGE[0] => CurrentUnit::Kiloampere,
        () => return,
    };
    to.warn("charge.unit", "/text/current_unit", true, || {
        format!(
            "The largest current of the file, {}, is {} times the range of the chain, {}. Is its column in {}?",
            ampere(peak),
            one(share).brief(2),
            ampere(range),
            unit.label()
        )
    });
}

fn counted(count: u64, what: &str) -> String {
    if count == 1 { format!("1 {what}") } else { format!("{count} {what}s") }
}

fn hides(input: &ProfileInput, solved: &ProfileOutput) -> bool {
    let chain = &input.chain;
    solved.reading.is_some() && chain.dead_band_a > 0.0 && chain.dead_band_a > chain.offset_a.unwrap_or_default()
}
