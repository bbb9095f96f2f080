//! The charts of the pre-charge: the course as small multiples on one time axis, and the state map.

use super::input::{PrechargeInput, at_pack};
use super::output::{PrechargeMapPoint, PrechargeOutput, PrechargePoint};
use crate::physics::precharge::course::Draw;
use crate::quantity::{Unit, ampere, joule, ohm, percent, say, second, volt, watt};
use crate::report::kit::Series;
use crate::report::{Axis, Chart, Stroke};

type Pick = fn(&PrechargePoint) -> f64;

/// Voltage, current and energy over the same time.
pub(super) fn course(input: &PrechargeInput, result: &PrechargeOutput) -> Vec<Chart> {
    let charge = &result.charge;
    let end = result.curve.last().map_or(0.0, |point| point.time_s);
    let target = volt(charge.target_v);
    let shows = match charge.time_s {
        Some(time) => format!("{target} is reached after {}", second(time)),
        None => {
            let how = if charge.hangs { "hangs" } else { "settles" };
            format!("The link never reaches {target}: it {how} at {}", volt(charge.settle_v))
        }
    };
    let picks: (Pick, Pick) = (|point| point.link_v, |point| point.unloaded_v);
    let unit = ("link voltage", Unit::Volt);
    let mut voltage = multiple("link-voltage", "Link voltage over time", unit, result, picks);
    voltage.level("target", charge.target_v);
    if result.difference.error_percent > 0.0 {
        let closing = input.closing();
        for (label, y) in
            [("closes for certain", closing.certain_v(input.pack_v)), ("may close", closing.perhaps_v(input.pack_v))]
        {
            voltage.shape(label, Stroke::Thin, vec![[0.0, y], [end, y]]);
        }
    }
    if let Some(time) = charge.time_s.filter(|time| *time <= end) {
        voltage.mark(time, charge.target_v, second(time).to_string());
    }
    if input.max_time_s <= end {
        voltage.mark(input.max_time_s, charge.time_out_v, format!("time-out {}", volt(charge.time_out_v)));
    }
    let (title, picks): (_, (Pick, Pick)) =
        ("Current through the resistor over time", (|point| point.current_a, |point| point.unloaded_a));
    let current = multiple("resistor-current", title, ("current", Unit::Ampere), result, picks);
    let (title, picks): (_, (Pick, Pick)) =
        ("Energy in the resistor over time", (|point| point.energy_j, |point| point.unloaded_j));
    let mut energy = multiple("resistor-energy", title, ("energy", Unit::Joule), result, picks);
    let highest = result.curve.iter().map(|point| point.energy_j).fold(0.0, f64::max);
    if let Some(pulse) = input.resistor.pulse_j.filter(|pulse| *pulse <= 4.0 * highest) {
        energy.level("rated pulse", pulse);
    }
    vec![
        voltage.chart(shows, conditions(input.pack_min_v.is_some())),
        current
            .chart(format!("The current begins at {}", ampere(charge.peak_a)), conditions(input.pack_min_v.is_some())),
        energy.chart(
            format!("This attempt puts {} in the resistor", joule(charge.energy_j)),
            conditions(input.pack_min_v.is_some()),
        ),
    ]
}

fn multiple<'a>(
    id: &str,
    title: &str,
    (label, unit): (&str, Unit),
    result: &'a PrechargeOutput,
    (loaded, unloaded): (Pick, Pick),
) -> Series<'a, PrechargePoint> {
    let (x, y) = (Axis::linear("time", Unit::Second), Axis::linear(label, unit));
    let mut series = Series::new(id, title, &result.curve, x, |point: &PrechargePoint| point.time_s, y).every(6);
    series.curve("with the load", Stroke::Main, |point| Some(loaded(point)));
    series.curve("no load", Stroke::Second, |point| Some(unloaded(point)));
    series
}

/// What the curves hold for.
fn conditions(range: bool) -> String {
    let place = if range { ", at the highest pack voltage" } else { "" };
    format!("With the load and without it, nominal R and C, right readings{place}")
}

/// Size of the load against target: below the line the target is reached.
pub(super) fn map(input: &PrechargeInput, result: &PrechargeOutput) -> Chart {
    let circuit = input.circuit();
    let limits = &result.limits;
    let (x, unit, size, allowed, word) = match circuit.draw {
        Draw::Resistance(ohm) => (
            Axis::log("load resistance", Unit::Ohm),
            Unit::Ohm,
            ohm,
            limits.smallest_load_ohm.unwrap_or(f64::INFINITY),
            "at least",
        ),
        Draw::Current(a) => {
            (Axis::linear("load current", Unit::Ampere), Unit::Ampere, a, limits.largest_current_a, "at most")
        }
        Draw::Power(w) => (Axis::linear("load power", Unit::Watt), Unit::Watt, w, limits.largest_power_w, "at most"),
        Draw::Nothing => (Axis::linear("load power", Unit::Watt), Unit::Watt, 0.0, limits.largest_power_w, "at most"),
    };
    let (first, last) = (result.map.first().map_or(0.0, |p| p.load), result.map.last().map_or(0.0, |p| p.load));
    let title = "Highest target that is reached, by the size of the load";
    let y = Axis::linear("target", Unit::Percent);
    let mut series =
        Series::new("state-map", title, &result.map, x, |point: &PrechargeMapPoint| point.load, y).every(4);
    series.curve_as("reached in the end", "In the end", Stroke::Main, |point| Some(point.settle_percent));
    let by = |point: &PrechargeMapPoint| Some(point.time_out_percent);
    series.curve_as("reached by the time-out", "By the time-out", Stroke::Second, by);
    let target = result.charge.target_v / input.pack_v * 100.0;
    let load = if circuit.draw == Draw::Nothing { "no load".into() } else { say(size, unit) };
    let label = format!("{load}, {}", percent(target));
    series.mark(size.clamp(first, last), target, label);
    if unit == Unit::Watt {
        let collapse = limits.collapse_power_w;
        series.shape("no equilibrium", Stroke::Allowed, vec![[collapse, 50.0], [collapse, 100.0]]);
        series.mark(collapse, 50.0, format!("collapse above {}", watt(collapse)));
    }
    series.table_head("Load");
    series.table_words("Highest target that is reached", "In percent of the pack voltage.");
    let place = input.pack_min_v.map_or_else(String::new, |_| format!(", {}", at_pack(input.pack_v)));
    let inside = if result.charge.reaches { "lies inside" } else { "lies outside" };
    series.chart(
        format!("The target is reached with {word} {}; the design {inside}", say(allowed, unit)),
        format!(
            "Below the line the target is reached; resistor {}, wake-up voltage as entered{place}",
            ohm(input.resistance_ohm)
        ),
    )
}
