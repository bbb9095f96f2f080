//! The converter's numbers for a reader: working, figures, tables and charts.

use super::{ConverterInput, ConverterOutput, Point};
use crate::channel::budget::{self, Heading, Output};
use crate::channel::telling;
use crate::judge::Verdict;
use crate::quantity::{
    Quantity, Unit, bit, celsius, decibel, farad, hertz, in_sentence, kelvin, ohm, one, percent, ppm, second, volt,
};
use crate::report::kit::{Columns, Series, Values};
use crate::report::worked::{Term, n};
use crate::report::{Axis, Block, Cell, Chart, Figure, Row, Step, Stroke, Table, View};

pub(super) fn working(input: &ConverterInput, result: &ConverterOutput) -> Vec<Step> {
    let adc = &input.converter;
    let resolution = &result.resolution;
    let timing = &result.timing;
    let span = volt(adc.span_v());
    let bits = || n(2).power(adc.bits);
    let (gain, calibrated) = (one(input.amplifier.gain), celsius(input.calibration_degc));
    let mut steps = vec![
        Step::worked("One step", "LSB", "span / 2ᴺ", volt(resolution.lsb_v), "definition", |p| p.of(span) / bits()),
        Step::worked(
            "Quantisation noise",
            "u_q",
            "LSB / √12 / G",
            volt(resolution.quantisation_v),
            "IEEE 1241-2010",
            |p| p.of(volt(resolution.lsb_v)) / n(12).sqrt() / p.of(gain),
        ),
        Step::worked(
            "Signal to quantisation noise",
            "SNR",
            "20 lg(2ᴺ √(3/2))",
            decibel(resolution.ideal_snr_db),
            "IEEE 1241-2010: 6.02 N + 1.76 dB",
            |_| n(20) * (bits() * (n(3) / n(2)).sqrt()).lg(),
        ),
        Step::worked(
            "Drift counts over",
            "ΔT",
            "max(|Tmax − Tcal|, |Tmin − Tcal|)",
            kelvin(result.distance_k),
            "definition",
            |p| {
                let from = |degc| (p.of(celsius(degc)) - p.of(calibrated)).abs();
                Term::largest(&[from(input.ambient_max_degc), from(input.ambient_min_degc)])
            },
        ),
    ];
    for point in &result.points {
        let label = format!("Sum of limits at {}", volt(point.signal_v));
        steps.push(telling::sum(&label, &point.assessment, Unit::Volt));
    }
    if let Some(corner) = timing.corner_hz.filter(|_| input.filter.corner_hz.is_none()) {
        let farad = farad(input.filter.capacitance_farad.unwrap_or(0.0));
        let corner = hertz(corner);
        steps.push(Step::worked("Corner of the low-pass", "f_c", "1 / (2π R C)", corner, "first-order RC", |p| {
            n(1) / (n(2) * Term::pi() * p.of(ohm(input.filter.resistance_ohm)) * p.of(farad))
        }));
    }
    let (label, settling) = ("Settling of the decimating filter", second(timing.sinc_settling_s));
    steps.push(Step::worked(label, "t_s", "K / f_d", settling, "Hogenauer 1981", |p| {
        n(adc.filter_order) / p.of(hertz(adc.data_rate_hz))
    }));
    steps.push(Step::worked(
        "Largest latency",
        "t",
        "τ ln 1000 + K/f_d + (2 n − 1)/f_d + w/f_b + delay + skew",
        second(timing.latency_s),
        "sum of the stages, low-pass and amplifier settled to 0.1 %, averages of blocks; common practice, no source",
        |p| {
            let stages = [
                timing.low_pass_settling_s,
                timing.sinc_settling_s,
                timing.averaging_s,
                timing.transport_s,
                input.link.isolator_delay_s,
                input.link.isolator_skew_s,
            ];
            Term::sum(stages.map(|stage| p.of(second(stage))))
        },
    ));
    steps
}

pub(super) fn view(input: &ConverterInput, result: &ConverterOutput) -> View {
    let largest = result.points.iter().max_by(|a, b| a.signal_v.total_cmp(&b.signal_v));
    let lead = largest.map_or_else(
        || "No signal point could be assessed".to_owned(),
        |point| {
            format!(
                "±{} at {}, ±{} of reading, by worst case",
                volt(point.worst_case_v),
                volt(point.signal_v),
                percent(point.worst_case_percent_of_reading.unwrap_or(f64::INFINITY))
            )
        },
    );
    let more = result.crossover_v.map_or_else(String::new, |signal| {
        format!("Below {} fixed errors decide, above it errors that grow with the signal.", volt(signal))
    });
    let mut blocks = vec![
        Block::Figures(figures(input, result)),
        Block::Table(points("points", &result.points)),
        Block::Chart(chart(result)),
    ];
    if let Some(point) = largest {
        blocks.push(Block::Budget(budget::budget(
            Heading {
                id: "budget".into(),
                caption: format!("Error budget at {}", volt(point.signal_v)),
                note: format!(
                    "Referred to the sensor, end of life, {} from the calibration temperature, calibration: {}.",
                    kelvin(result.distance_k),
                    in_sentence(input.calibration.kind.label())
                ),
            },
            Unit::Volt,
            &point.assessment,
            Output::Error,
            None,
        )));
    }
    blocks.push(Block::Table(noise(result)));
    blocks.push(Block::Table(timing(input, result)));
    blocks.push(Block::Table(words(input, result)));
    View { lead, more, blocks }
}

fn figures(input: &ConverterInput, result: &ConverterOutput) -> Vec<Figure> {
    let resolution = &result.resolution;
    let mut figures = vec![Figure::of(
        "One step at the sensor",
        volt(resolution.lsb_at_sensor_v),
        format!("{} bits over {}", input.converter.bits, volt(input.converter.span_v())),
    )];
    if resolution.noise_v > 0.0 {
        figures.push(Figure::of("Noise of one result", volt(resolution.noise_v), "root mean square, at the sensor"));
        figures.push(Figure::of("Averaged", volt(resolution.averaged_v), format!("{} samples", input.averaging)));
    }
    if let Some(bits) = resolution.averaged_effective_bits {
        figures.push(Figure::of("Effective bits", bit(bits), "averaged, by its noise"));
    }
    figures.push(Figure::of("Largest latency", second(result.timing.latency_s), "sensor to averaged word"));
    figures.push(Figure::of(
        "Ripple passes with",
        percent(result.timing.ripple_gain * 100.0),
        format!("at {}", hertz(input.signals.ripple_frequency_hz)),
    ));
    figures
}

/// The points under the name of their table.
fn points(id: &str, points: &[Point]) -> Table {
    let interval = |point: &Point| {
        let run = point.assessment.monte_carlo.as_ref();
        run.map_or(Cell::Empty, |run| Cell::Limit(budget::largest(run.p95.symmetric.low, run.p95.symmetric.high)))
    };
    Columns::new(id, "Error over signal", "Signal", points, |_, point| volt(point.signal_v).to_string())
        .note("Referred to the sensor, end of life, after the chosen calibration.")
        .column("Worst case", Unit::Volt, |point| Cell::Limit(point.worst_case_v))
        .column("Of reading", Unit::Percent, |point| {
            Cell::Limit(point.worst_case_percent_of_reading.unwrap_or(f64::INFINITY))
        })
        .column("Of full scale", Unit::Percent, |point| Cell::Limit(point.worst_case_percent_of_full_scale))
        .column("Root-sum-square", Unit::Volt, |point| Cell::Limit(point.assessment.root_sum_square))
        .column("95 % interval", Unit::Volt, interval)
        .words("Largest", |point| point.largest.clone())
        .table()
}

fn chart(result: &ConverterOutput) -> Chart {
    let mut sorted = result.points.clone();
    sorted.sort_by(|a, b| a.signal_v.total_cmp(&b.signal_v));
    let (x, y) = (Axis::log("signal", Unit::Volt), Axis::log("error", Unit::Volt));
    let mut series = Series::new("error", "Reading error against signal", &sorted, x, |point| point.signal_v, y);
    series.line("worst case", Stroke::Main, |point| Some(point.worst_case_v));
    series.line("root-sum-square", Stroke::Second, |point| Some(point.assessment.root_sum_square));
    if let Some(last) = sorted.last() {
        series.mark(last.signal_v, last.worst_case_v, format!("±{}", volt(last.worst_case_v)));
    }
    let equal = |signal| format!("Offset and gain errors are equal at {}", volt(signal));
    let shows = result.crossover_v.map_or_else(|| "The error is the same at every signal".into(), equal);
    let mut chart = series.chart(shows, "Error referred to the sensor, end of life, after the chosen calibration");
    chart.table = points("error-values", &result.points);
    chart
}

/// A table with one value a row.
fn facts(id: &str, caption: &str, note: &str, head: &str, rows: Vec<Fact>) -> Table {
    let mut values = Values::new(id, caption, note);
    for (head, value, note) in rows {
        values.words(head, value, note);
    }
    Table { head: head.into(), ..values.table() }
}

type Fact = (&'static str, String, String);

#[allow(clippy::needless_pass_by_value, reason = "quantities and texts alike are given as they are")]
fn fact(head: &'static str, value: impl ToString, note: impl Into<String>) -> Fact {
    (head, value.to_string(), note.into())
}

fn noise(result: &ConverterOutput) -> Table {
    let with = &result.resolution;
    let physical = |value: f64| format!("{} in the physical unit", one(value));
    let mut rows = vec![
        fact("Quantisation", volt(with.quantisation_v), "LSB/√12"),
        fact("Amplifier, white", volt(with.amplifier_white_v), format!("over {}", hertz(with.noise_bandwidth_hz))),
        fact("Amplifier, 1/f", volt(with.amplifier_flicker_v), "from 0.1 Hz; averaging does not lower it"),
        fact("Converter", volt(with.converter_v), "given, or implied by the SINAD"),
    ];
    let sampled = with.sampled_v.map(volt);
    rows.extend(sampled.map(|value| fact("Filter capacitor", value, "√(k T / C) at the hottest ambient")));
    rows.push(fact("One result", volt(with.noise_v), physical(with.noise_value)));
    rows.push(fact("Averaged", volt(with.averaged_v), physical(with.averaged_value)));
    for (head, bits, note) in [
        ("Effective bits, one result", with.effective_bits, "(SINAD − 1.76)/6.02"),
        ("Noise-free bits, one result", with.noise_free_bits, "6.6 σ peak to peak"),
        ("Bits of accuracy", with.accuracy_bits, "log2(1/non-linearity)"),
    ] {
        rows.extend(bits.map(|bits| fact(head, one(bits), note)));
    }
    let note = "Root mean square, at the sensor. Noise is not part of the error totals.";
    facts("noise", "Noise and resolution", note, "Part", rows)
}

fn timing(input: &ConverterInput, result: &ConverterOutput) -> Table {
    let with = &result.timing;
    let weakened = |value: Option<f64>| value.map_or_else(|| "a zero".into(), |db| decibel(db).to_string());
    let mut rows = Vec::new();
    if let (Some(corner), Some([slow, fast])) = (with.corner_hz, with.corner_range_hz) {
        let range = format!("{} to {} within tolerance", hertz(slow), hertz(fast));
        let image = "what the decimating filter passes unweakened";
        rows.push(fact("Low-pass corner", hertz(corner), range));
        rows.push(fact("Low-pass at the ripple", weakened(with.low_pass_db), ""));
        rows.push(fact("Low-pass at the modulator's image", weakened(with.image_low_pass_db), image));
    }
    let order = format!("sinc, order {}", input.converter.filter_order);
    let delay = format!("group delay {}", second(with.sinc_group_delay_s));
    let across = second(with.transport_s + input.link.isolator_delay_s + input.link.isolator_skew_s);
    let (needed, used) = (Quantity::new(with.needed_hz, Unit::BitPerSecond), percent(with.link_use_percent));
    let settles = "with the amplifier, to 0.1 %, slowest corner";
    rows.extend([
        fact("Decimating filter at the ripple", weakened(with.sinc_db), order),
        fact("Average at the ripple", weakened(with.average_db), format!("{} samples", input.averaging)),
        fact("Ripple appears at", hertz(with.alias_hz), "after sampling at the data rate"),
        fact("Low-pass settles in", second(with.low_pass_settling_s), settles),
        fact("Decimating filter settles in", second(with.sinc_settling_s), delay),
        fact("Average takes", second(with.averaging_s), "the rest of a running block and one whole block"),
        fact("Across the barrier", across, "transport, delay and skew"),
        fact("Largest latency", second(with.latency_s), "sum: use it in a safety chain"),
        fact("Bit rate needed", needed, format!("{used} of the isolator's")),
    ]);
    facts("timing", "Filter, latency and link", "", "What", rows)
}

fn words(input: &ConverterInput, result: &ConverterOutput) -> Table {
    let with = &result.output;
    let mut rows = vec![fact("Value of one code", one(with.scale), "physical value = code · this")];
    if let Some(fraction) = &with.fraction {
        let ratio = format!("{} / {}", fraction.numerator, fraction.denominator);
        rows.push(fact("As a fraction", ratio, format!("off by {}", ppm(fraction.rounding_ppm))));
    }
    if let Some(fixed) = &with.fixed_point {
        let (bits, off) = (input.output.product_bits, ppm(fixed.rounding_ppm));
        let constant = format!("(code · {}) / 2^{}", fixed.constant, fixed.fractional_bits);
        rows.push(fact("As a fixed-point constant", constant, format!("product of {bits} bits, off by {off}")));
    }
    let bus = &with.bus;
    let signed = if bus.signed { "signed" } else { "unsigned" };
    let (from, to) = (one(bus.min), one(bus.max));
    let where_it_stands = format!("start bit {}, {} bits, {signed}, {from} to {to}", bus.start_bit, bus.width);
    rows.push(fact("Bus word", format!("word · {} + {}", one(bus.factor), one(bus.offset)), where_it_stands));
    let place = rows.len();
    if let Some(analogue) = &with.analogue {
        let own = format!("its own error ±{}", one(analogue.error));
        rows.push(fact("Analogue output", format!("{} per unit", one(analogue.value_per_unit)), own));
    }
    let note = "Integrate the raw code, not the rounded word.";
    let mut table = facts("words", "Scaling constants and words", note, "What", rows);
    let covers = if bus.covers_range { Verdict::Holds } else { Verdict::Fails };
    let (head, note) = ("Bus word covers the converter's range".into(), format!("rounding ±{}", one(bus.rounding)));
    table.rows.insert(place, Row { head, note, cells: vec![covers.into()] });
    table
}
