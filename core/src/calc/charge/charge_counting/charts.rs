//! The pictures of charge counting: the cone, the saw-tooth, the anchor over its places.

use super::input::ChargeInput;
use super::output::{ChargeConePoint, ChargeOutput, ChargePlace, ChargeTooth};
use crate::quantity::{Unit, hour, one, percent};
use crate::report::kit::Series;
use crate::report::{Axis, Chart, Stroke};

/// Points per row of a table.
const EVERY: usize = 4;

/// Both cones from the anchor on.
pub(super) fn cone(input: &ChargeInput, result: &ChargeOutput) -> Option<Chart> {
    let last = result.cone.last()?;
    let x = Axis::linear("time from the anchor", Unit::Hour);
    let y = Axis::linear("estimated less true", Unit::Percent);
    let title = "Error of the state of charge";
    let at = |point: &ChargeConePoint| point.time_h;
    let mut series = Series::new("cone", title, &result.cone, x, at, y).every(EVERY);
    series.curve("worst case, upper", Stroke::Main, |point| Some(point.high_percent));
    series.curve("worst case, lower", Stroke::Second, |point| Some(point.low_percent));
    // Either way as much is kept with 95 %; what no worst case reaches is left out of it.
    let likely = |point: &ChargeConePoint| point.probability_percent;
    series.line("95 %, upper", Stroke::Thin, |point| Some(likely(point).min(point.high_percent)));
    series.line("95 %, lower", Stroke::Thin, |point| Some((-likely(point)).max(point.low_percent)));
    series.column("95 %, either way", Unit::Percent, |point| Some(likely(point)));
    if let Some(limit) = input.requirement.soc_error_percent {
        series.level("allowed", limit);
        series.level("allowed below", -limit);
    }
    if let Some(hours) = result.lasts.as_ref().and_then(|one| one.judged_h).filter(|hours| *hours <= last.time_h) {
        series.mark(hours, input.requirement.soc_error_percent.unwrap_or(0.0), hour(hours).to_string());
    }
    let size = last.high_percent.max(-last.low_percent);
    let state = result.largest.as_ref().map_or_else(String::new, |one| format!("; largest {}", one.state));
    let conditions = format!(
        "Every case of life and use; of many repetitions each point has the largest of the one up to it{state}"
    );
    Some(series.chart(format!("After {} it is up to {}", hour(last.time_h), percent(size)), conditions))
}

/// The error from anchor to anchor. Between two of them it is drawn where it is largest, where that is inside a cycle.
pub(super) fn sawtooth(input: &ChargeInput, result: &ChargeOutput) -> Option<Chart> {
    result.sawtooth.first()?;
    let anchor = result.anchor.as_ref()?;
    let top = anchor.top_percent?;
    let x = Axis::linear("time", Unit::Hour);
    let y = Axis::linear("error, worst case", Unit::Percent);
    let at = |point: &ChargeTooth| point.time_h;
    let mut series = Series::new("sawtooth", "Anchor after anchor", &result.sawtooth, x, at, y).every(EVERY);
    series.curve("from anchor to anchor", Stroke::Main, |point| Some(point.error_percent));
    if let Some(limit) = input.requirement.soc_error_percent {
        series.level("allowed", limit);
    }
    let (weight, each) = (one(input.anchor.weight), hour(input.horizon_h().unwrap_or(0.0)));
    let finding = match anchor.peak_percent.filter(|peak| *peak > top) {
        Some(peak) => format!("Before an anchor it never passes {}, inside a cycle {}", percent(top), percent(peak)),
        None => format!("From anchor to anchor it never passes {}", percent(top)),
    };
    let swings = "between two anchors drawn only where the error is largest";
    Some(series.chart(finding, format!("Anchors of weight {weight} every {each}, beginning with one; {swings}")))
}

/// The ends of the anchor over its places.
pub(super) fn places(input: &ChargeInput, result: &ChargeOutput) -> Option<Chart> {
    result.places.first()?;
    let x = Axis::linear("state of charge", Unit::Percent);
    let y = Axis::linear("error of the anchor", Unit::Percent);
    let title = "What an anchor is worth";
    let at = |point: &ChargePlace| point.soc_percent;
    let mut series = Series::new("places", title, &result.places, x, at, y).every(EVERY);
    series.curve("too high", Stroke::Main, |point| point.high_percent);
    series.curve("too low", Stroke::Second, |point| point.low_percent.map(|low| -low));
    if let Some(limit) = input.requirement.anchor_percent {
        series.level("allowed", limit);
        series.level("allowed below", -limit);
    }
    let anchor = result.anchor.as_ref()?;
    let finding = match anchor.place_percent.zip(anchor.error_percent) {
        Some((place, size)) => format!("Best at {}: {}", percent(place), percent(size)),
        None => "No place is bounded".into(),
    };
    Some(series.chart(finding, "A gap is a place from which a reading may lie beyond the curve"))
}
