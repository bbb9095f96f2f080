//! The ripple for a reader: figures, one period, the comparators and the beat.

use super::solve::{RippleOutput, RippleSampling};
use super::{RippleInput, RippleShape};
use crate::quantity::{Unit, say};
use crate::report::{
    Axis, Block, Cell, Chart, Column, Curve, Figure, Finding, Mark, Row, Stroke, Table, Verdict, View,
};

pub(super) fn view(input: &RippleInput, result: &RippleOutput, findings: &[Finding]) -> View {
    let mut view = View { checks: result.checks.clone(), ..View::default() };
    let sense = &result.sense;
    let spike = sense.spike_rise_a.max(sense.spike_fall_a);
    let tripping: Vec<&str> = result.trips.iter().filter(|trip| trip.trips).map(|trip| trip.name.as_str()).collect();
    view.lead = if tripping.is_empty() {
        format!(
            "{} of ripple make a spike of {}{}",
            say(input.peak_to_peak_a, Unit::Ampere),
            say(spike, Unit::Ampere),
            if result.trips.is_empty() { "" } else { "; no comparator trips by it" }
        )
    } else {
        format!(
            "{} of ripple make a spike of {}: {} trips at {} without a fault",
            say(input.peak_to_peak_a, Unit::Ampere),
            say(spike, Unit::Ampere),
            tripping.join(", "),
            say(input.mean_a, Unit::Ampere)
        )
    };
    view.more = if result.converter.clips {
        format!("The converter clips: its mean is off by {}.", say(result.converter.shift_a, Unit::Ampere))
    } else {
        match (&result.sampling, view.verdict(findings)) {
            (Some(sampling), _) => format!(
                "The converter does not clip; the sampling makes a beat of {} at {}.",
                say(sampling.beat_a, Unit::Ampere),
                say(sampling.beat_hz, Unit::Hertz)
            ),
            (None, Verdict::Fails) => format!(
                "The converter does not clip. A filter of {} takes the spike away exactly.",
                say(sense.matched_filter_s, Unit::Second)
            ),
            (None, _) => "The converter does not clip: its mean is right.".into(),
        }
    };
    view.blocks = vec![Block::Figures(figures(input, result)), Block::Chart(period(input, result))];
    if !result.trips.is_empty() {
        view.blocks.push(Block::Table(comparators(input, result)));
    }
    if let Some(sampling) = &result.sampling {
        view.blocks.push(Block::Chart(response(input, sampling)));
        view.blocks.push(Block::Table(harmonics(input, sampling)));
    }
    view
}

fn figures(input: &RippleInput, result: &RippleOutput) -> Vec<Figure> {
    let (sense, converter) = (&result.sense, &result.converter);
    let shape = if input.shape == RippleShape::Triangle { "while the current rises" } else { "amplitude" };
    let mut figures = vec![Figure::new("Ripple spike", sense.spike_rise_a, Unit::Ampere, shape)];
    if sense.spike_fall_a > sense.spike_rise_a {
        figures.push(Figure::new("Spike while falling", sense.spike_fall_a, Unit::Ampere, "the steeper edge"));
    }
    if let Some(trip) = result.trips.first() {
        let note = format!("{}, threshold {}", trip.name, say(trip.threshold_a, Unit::Ampere));
        figures.push(Figure::new("Comparator sees", trip.peak_a, Unit::Ampere, note));
    }
    figures.push(Figure::new("Matched filter", sense.matched_filter_s, Unit::Second, "L/R: takes the spike away"));
    if let Some(corner) = sense.corner_hz {
        figures.push(Figure::new("Corner of the shunt", corner, Unit::Hertz, "above it the inductance rules"));
    }
    figures.push(Figure::new("Root-mean-square current", sense.rms_a, Unit::Ampere, "heats the shunt"));
    figures.push(Figure::new("Loss in the shunt", sense.loss_w, Unit::Watt, "direct current resistance"));
    let range =
        format!("reads {} to {}", say(converter.range_low_a, Unit::Ampere), say(converter.range_high_a, Unit::Ampere));
    figures.push(Figure::new("Shift of the mean", converter.shift_a, Unit::Ampere, range));
    if let Some(sampling) = &result.sampling {
        let note = format!("amplitude, at {}", say(sampling.beat_hz, Unit::Hertz));
        figures.push(Figure::new("Beat", sampling.beat_a, Unit::Ampere, note));
    }
    figures
}

fn period(input: &RippleInput, result: &RippleOutput) -> Chart {
    let line = |of: fn(&super::RipplePoint) -> f64| {
        result.course.iter().map(|point| [point.time_s, of(point)]).collect::<Vec<_>>()
    };
    let ends = [result.course.first(), result.course.last()].map(|point| point.map_or(0.0, |point| point.time_s));
    let level = |label: String, value: f64| Curve {
        label,
        stroke: Stroke::Allowed,
        points: ends.map(|time| [time, value]).to_vec(),
    };
    let first = result.trips.first();
    let mut curves = vec![
        Curve { label: "true current".into(), stroke: Stroke::Main, points: line(|point| point.current_a) },
        Curve {
            label: first.map_or_else(|| "bare shunt".into(), |trip| format!("seen by {}", trip.name)),
            stroke: Stroke::Second,
            points: line(|point| point.comparator_a),
        },
        Curve { label: "converter reads".into(), stroke: Stroke::Thin, points: line(|point| point.converter_a) },
    ];
    curves.extend(result.trips.iter().map(|trip| level(format!("{} threshold", trip.name), trip.threshold_a)));
    let finding = match first {
        Some(trip) if trip.trips => format!(
            "The comparator sees {}, {} above its threshold",
            say(trip.peak_a, Unit::Ampere),
            say(-trip.margin_a, Unit::Ampere)
        ),
        Some(trip) => format!(
            "The comparator sees {}, {} are left to its threshold",
            say(trip.peak_a, Unit::Ampere),
            say(trip.margin_a, Unit::Ampere)
        ),
        None => format!(
            "The bare shunt shows up to {} while {} flow",
            say(result.converter.highest_a, Unit::Ampere),
            say(result.sense.highest_a, Unit::Ampere)
        ),
    };
    Chart {
        id: "period".into(),
        finding,
        conditions: format!(
            "{} mean, {} peak to peak, {}, {} and {}",
            say(input.mean_a, Unit::Ampere),
            say(input.peak_to_peak_a, Unit::Ampere),
            say(input.frequency_hz, Unit::Hertz),
            say(input.shunt.resistance_ohm, Unit::Ohm),
            say(input.shunt.inductance_henry, Unit::Henry)
        ),
        title: "One period of the current and of what is seen of it".into(),
        x: Axis::linear("time", Unit::Second),
        y: Axis::linear("current", Unit::Ampere),
        curves,
        marks: Vec::new(),
        table: Table {
            id: "period-values".into(),
            caption: "One period".into(),
            note: "The shunt's signal is given as the current that it seems to be.".into(),
            head: "Time".into(),
            columns: vec![
                Column::of("True current", Unit::Ampere),
                Column::of("Comparator sees", Unit::Ampere),
                Column::of("Converter reads", Unit::Ampere),
            ],
            rows: result
                .course
                .iter()
                .step_by(6)
                .map(|point| Row {
                    head: say(point.time_s, Unit::Second),
                    note: String::new(),
                    cells: [point.current_a, point.comparator_a, point.converter_a].map(Cell::Number).to_vec(),
                })
                .collect(),
        },
    }
}

fn comparators(input: &RippleInput, result: &RippleOutput) -> Table {
    Table {
        id: "comparators".into(),
        caption: "Comparators at this load".into(),
        note:
            "The filter that is needed counts in the reaction to a short, unless that one has a comparator of its own."
                .into(),
        head: "Comparator".into(),
        columns: vec![
            Column::of("Threshold", Unit::Ampere),
            Column::of("Filter", Unit::Second),
            Column::of("Sees", Unit::Ampere),
            Column::of("Left", Unit::Ampere),
            Column::of("Filter needed", Unit::Second),
            Column::words("Verdict"),
        ],
        rows: result
            .trips
            .iter()
            .zip(&input.trips)
            .zip(&result.checks)
            .map(|((trip, given), check)| Row {
                head: trip.name.clone(),
                note: String::new(),
                cells: vec![
                    Cell::Number(trip.threshold_a),
                    Cell::Number(given.filter_s),
                    Cell::Number(trip.peak_a),
                    Cell::Number(trip.margin_a),
                    trip.needed_filter_s.into(),
                    Cell::Verdict(check.verdict),
                ],
            })
            .collect(),
    }
}

fn response(input: &RippleInput, sampling: &RippleSampling) -> Chart {
    let f = input.frequency_hz;
    let n = input.samples.averages;
    Chart {
        id: "averaging".into(),
        finding: format!(
            "At {} the averaging leaves {} of the ripple",
            say(f, Unit::Hertz),
            say(sampling.gain * 100.0, Unit::Percent)
        ),
        conditions: format!(
            "mean of {n} samples at {}, one word every {}",
            say(input.samples.rate_hz.unwrap_or(0.0), Unit::Hertz),
            say(1.0 / sampling.output_hz, Unit::Second)
        ),
        title: "Gain of the averaging near the ripple frequency".into(),
        x: Axis::linear("frequency", Unit::Hertz),
        y: Axis::linear("gain", Unit::One),
        curves: vec![Curve { label: "gain".into(), stroke: Stroke::Main, points: sampling.response.clone() }],
        marks: vec![Mark { x: f, y: sampling.gain, label: format!("ripple {}", say(f, Unit::Hertz)) }],
        table: Table {
            id: "averaging-values".into(),
            caption: "Gain of the averaging".into(),
            note: String::new(),
            head: "Frequency".into(),
            columns: vec![Column::of("Gain", Unit::One)],
            rows: sampling
                .response
                .iter()
                .step_by(10)
                .map(|point| Row {
                    head: say(point[0], Unit::Hertz),
                    note: String::new(),
                    cells: vec![Cell::Number(point[1])],
                })
                .collect(),
        },
    }
}

fn harmonics(input: &RippleInput, sampling: &RippleSampling) -> Table {
    let filter = say(input.converter.filter_s, Unit::Second);
    Table {
        id: "harmonics".into(),
        caption: "Where the harmonics appear after sampling".into(),
        note: format!(
            "Amplitudes are half of peak to peak; behind the shunt and a filter of {filter}. All together at most {}.",
            say(sampling.beat_bound_a, Unit::Ampere)
        ),
        head: "Harmonic".into(),
        columns: vec![
            Column::of("Frequency", Unit::Hertz),
            Column::of("In the current", Unit::Ampere),
            Column::of("Sensed", Unit::Ampere),
            Column::of("Gain", Unit::One),
            Column::of("Beat at", Unit::Hertz),
            Column::of("Beat", Unit::Ampere),
        ],
        rows: sampling
            .harmonics
            .iter()
            .map(|beat| Row {
                head: beat.order.to_string(),
                note: String::new(),
                cells: [beat.frequency_hz, beat.current_a, beat.sensed_a, beat.gain, beat.beat_hz, beat.beat_a]
                    .map(Cell::Number)
                    .to_vec(),
            })
            .collect(),
    }
}
