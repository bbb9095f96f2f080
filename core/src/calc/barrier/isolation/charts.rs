//! The pictures of the isolation: the barrier to scale, the bus with a fault that slides, energy, loss.

use super::bus::par;
use super::input::IsolationInput;
use super::output::IsolationOutput;
use super::supply::{loss_at, losses};
use crate::quantity::{Unit, farad, joule, millimetre, ohm, percent, volt, watt};
use crate::report::kit::Series;
use crate::report::{Axis, Chart, Stroke};

/// Points of a curve.
const POINTS: usize = 60;

/// Of the width: nearer to each other two places are labelled once.
const APART: f64 = 0.08;

/// Even steps from one end to the other.
fn steps(from: f64, to: f64) -> Vec<f64> {
    (0..=POINTS).map(|step| from + (to - from) * step as f64 / POINTS as f64).collect()
}

/// The barrier to scale: the potential falls from the battery's side to the controller's along each way.
pub(super) fn barrier(input: &IsolationInput, result: &IsolationOutput) -> Option<Chart> {
    let short = |crossing: &&super::IsolationCrossing| {
        let air = crossing.clearance_mm.zip(crossing.clearance_required_mm).map(|(there, asked)| asked / there);
        let way = crossing.creepage_mm.zip(crossing.creepage_required_mm).map(|(there, asked)| asked / there);
        air.unwrap_or(0.0).max(way.unwrap_or(0.0))
    };
    let worst = result.crossings.iter().max_by(|one, other| short(one).total_cmp(&short(other)))?;
    let ways = [
        ("air, required", Stroke::Allowed, worst.clearance_required_mm),
        ("air, there is", Stroke::Second, worst.clearance_mm),
        ("surface, required", Stroke::Thin, worst.creepage_required_mm),
        ("surface, there is", Stroke::Main, worst.creepage_mm),
    ];
    let lengths: Vec<f64> = ways.iter().filter_map(|(.., mm)| *mm).collect();
    let end = lengths.iter().copied().fold(0.0, f64::max);
    if end <= 0.0 {
        return None;
    }
    let mut points = lengths;
    points.push(0.0);
    points.sort_by(f64::total_cmp);
    points.dedup();
    let title = "The barrier to scale";
    let x = Axis::linear("distance from the battery's side", Unit::Millimetre);
    let y = Axis::linear("potential to the controller", Unit::Volt);
    let volts = result.stress.working_v;
    let mut series = Series::new("barrier", title, &points, x, |mm: &f64| *mm, y).every(1);
    let mut marked = Vec::with_capacity(ways.len());
    for (label, stroke, mm) in ways {
        if let Some(mm) = mm {
            series.curve(label, stroke, |at: &f64| (*at <= mm).then(|| volts * (1.0 - at / mm)));
            // Two labels in one place cannot be read; the table has all.
            if marked.iter().all(|other: &f64| (other - mm).abs() > APART * end) {
                series.mark(mm, 0.0, millimetre(mm).to_string());
                marked.push(mm);
            }
        }
    }
    let holds = short(&worst) <= 1.0;
    let finding = format!(
        "{}: the tightest crossing {} what is required",
        worst.name,
        if holds { "has" } else { "has less than" }
    );
    Some(series.chart(
        finding,
        format!("{} across the barrier, {}", volt(volts), input.barrier.insulation.label().to_lowercase()),
    ))
}

/// A place of a fault on the pack.
struct Slide {
    position_percent: f64,
    negative_v: f64,
    positive_v: f64,
}

/// The chassis potential as an accepted fault slides from the negative to the positive pole.
pub(super) fn bridge(input: &IsolationInput, result: &IsolationOutput) -> Option<Chart> {
    let bus = result.bus?;
    let (healthy, required) = (bus.parallel_ohm?, bus.required_ohm?);
    let fault = if healthy > required { 1.0 / (1.0 / required - 1.0 / healthy) } else { healthy };
    let fault = if fault.is_finite() { fault } else { healthy };
    let (volts, siemens, weighted) = (input.barrier.pack_v, 1.0 / healthy, bus.weighted);
    let slide = |percent: f64| {
        let more = 1.0 / fault;
        let negative_v = volts * (weighted + more * percent / 100.0) / (siemens + more);
        Slide { position_percent: percent, negative_v, positive_v: volts - negative_v }
    };
    let points: Vec<Slide> = steps(0.0, 100.0).into_iter().map(slide).collect();
    let x = Axis::linear("place of the fault", Unit::Percent);
    let y = Axis::linear("pole to chassis", Unit::Volt);
    let title = "The bus with a fault that slides along the pack";
    let mut series = Series::new("bridge", title, &points, x, |point: &Slide| point.position_percent, y).every(6);
    series.curve("positive pole", Stroke::Main, |point| Some(point.positive_v));
    series.curve("negative pole", Stroke::Second, |point| Some(point.negative_v));
    let most = points.iter().map(|point| point.negative_v.max(point.positive_v)).fold(0.0, f64::max);
    let together = par(healthy, fault);
    Some(series.chart(
        format!("A fault that leaves {} puts up to {} on a pole", ohm(together), volt(most)),
        format!("Fault of {} from {} of the pack to the chassis", ohm(fault), percent(0.0)),
    ))
}

/// Energy against all Y capacitors.
pub(super) fn energy(input: &IsolationInput, result: &IsolationOutput) -> Option<Chart> {
    let y = result.y?;
    let total = y.total_farad?;
    let limit = input.y.energy_limit_j;
    let end = (1.25 * y.largest_farad).max(1.25 * total);
    let points = steps(0.0, end);
    let volts = input.barrier.pack_v;
    let (x, axis) = (Axis::linear("all Y capacitors", Unit::Farad), Axis::linear("energy", Unit::Joule));
    let title = "Energy of the Y capacitors";
    let mut series = Series::new("y-energy", title, &points, x, |c: &f64| *c, axis).every(6);
    series.curve("other pole at the chassis", Stroke::Main, |c| Some(0.5 * c * volts * volts));
    series.curve("balanced", Stroke::Second, |c| Some(0.125 * c * volts * volts));
    series.level("allowed", limit);
    if let Some(one_sided) = y.one_sided_j {
        series.mark(total, one_sided, joule(one_sided).to_string());
    }
    Some(series.chart(
        format!("At most {} keep {}", farad(y.largest_farad), joule(limit)),
        format!("{}, upper tolerance, all units", volt(volts)),
    ))
}

/// Loss of the isolated supply against its output power.
pub(super) fn loss(input: &IsolationInput, result: &IsolationOutput) -> Option<Chart> {
    let supply = result.supply.as_ref()?;
    let given = losses(&input.supply);
    let end = given.last().filter(|_| given.len() > 1)?[0];
    let points = steps(0.0, end);
    let (x, y) = (Axis::linear("output power", Unit::Watt), Axis::linear("loss", Unit::Watt));
    let mut series = Series::new("supply-loss", "Loss of the isolated supply", &points, x, |w: &f64| *w, y).every(6);
    series.curve("loss", Stroke::Main, |power| loss_at(&given, *power));
    let finding = match (supply.output_w, supply.loss_w) {
        (Some(power), Some(loss)) => {
            series.mark(power, loss, watt(loss).to_string());
            format!("For {} it loses {}", watt(power), watt(loss))
        }
        _ => "The loss as the points give it".into(),
    };
    Some(series.chart(finding, "Straight between the points of the loss; below the lowest its loss stays"))
}
