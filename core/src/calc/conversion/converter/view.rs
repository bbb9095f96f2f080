//! The converter's numbers for a reader: working, figures, tables and charts.

use super::{ConverterInput, ConverterOutput};
use crate::channel::budget::{self, Heading, Output};
use crate::quantity::{Quantity, Unit, in_sentence, say};
use crate::report::{Axis, Block, Cell, Chart, Column, Curve, Figure, Mark, Row, Step, Stroke, Table, Verdict, View};

pub(super) fn working(input: &ConverterInput, result: &ConverterOutput) -> Vec<Step> {
    let q = Quantity::new;
    let adc = &input.converter;
    let resolution = &result.resolution;
    let timing = &result.timing;
    let span = say(adc.span_v(), Unit::Volt);
    let mut steps = vec![
        Step::new(
            "One step",
            "LSB",
            "span / 2ᴺ",
            format!("{span} / 2^{}", adc.bits),
            q(resolution.lsb_v, Unit::Volt),
            "definition",
        ),
        Step::new(
            "Quantisation noise",
            "u_q",
            "LSB / √12 / G",
            format!("{} / √12 / {}", say(resolution.lsb_v, Unit::Volt), input.amplifier.gain),
            q(resolution.quantisation_v, Unit::Volt),
            "IEEE 1241-2010",
        ),
        Step::new(
            "Signal to quantisation noise",
            "SNR",
            "20 lg(2ᴺ √1.5)",
            format!("20 lg(2^{} √1.5)", adc.bits),
            q(resolution.ideal_snr_db, Unit::Decibel),
            "IEEE 1241-2010: 6.02 N + 1.76 dB",
        ),
        Step::new(
            "Drift counts over",
            "ΔT",
            "max(|Tmax − Tcal|, |Tmin − Tcal|)",
            format!(
                "max(|{} − {}|, |{} − {}|)",
                say(input.ambient_max_degc, Unit::Celsius),
                say(input.calibration_degc, Unit::Celsius),
                say(input.ambient_min_degc, Unit::Celsius),
                say(input.calibration_degc, Unit::Celsius)
            ),
            q(result.distance_k, Unit::Kelvin),
            "definition",
        ),
    ];
    for point in &result.points {
        let terms: Vec<String> = point
            .assessment
            .contributions
            .iter()
            .filter(|term| term.contribution > 0.0)
            .map(|term| say(term.contribution, Unit::Volt))
            .collect();
        steps.push(Step::new(
            &format!("Sum of limits at {}", say(point.signal_v, Unit::Volt)),
            "E",
            "Σ |c_i| a_i",
            if terms.is_empty() { "0".into() } else { terms.join(" + ") },
            q(point.assessment.worst_case.sum_of_limits, Unit::Volt),
            "first order; JCGM 100:2008 clause 5.1 for the sensitivities",
        ));
    }
    if let Some(corner) = timing.corner_hz.filter(|_| input.filter.corner_hz.is_none()) {
        steps.push(Step::new(
            "Corner of the low-pass",
            "f_c",
            "1 / (2π R C)",
            format!(
                "1 / (2π · {} · {})",
                say(input.filter.resistance_ohm, Unit::Ohm),
                say(input.filter.capacitance_farad.unwrap_or(0.0), Unit::Farad)
            ),
            q(corner, Unit::Hertz),
            "first-order RC",
        ));
    }
    steps.push(Step::new(
        "Settling of the decimating filter",
        "t_s",
        "K / f_d",
        format!("{} / {}", adc.filter_order, say(adc.data_rate_hz, Unit::Hertz)),
        q(timing.sinc_settling_s, Unit::Second),
        "Hogenauer 1981",
    ));
    steps.push(Step::new(
        "Largest latency",
        "t",
        "τ ln 1000 + K/f_d + (2 n − 1)/f_d + w/f_b + delay + skew",
        format!(
            "{} + {} + {} + {} + {} + {}",
            say(timing.low_pass_settling_s, Unit::Second),
            say(timing.sinc_settling_s, Unit::Second),
            say(timing.averaging_s, Unit::Second),
            say(timing.transport_s, Unit::Second),
            say(input.link.isolator_delay_s, Unit::Second),
            say(input.link.isolator_skew_s, Unit::Second)
        ),
        q(timing.latency_s, Unit::Second),
        "sum of the stages, low-pass and amplifier settled to 0.1 %, averages of blocks; common practice, no source",
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
                say(point.worst_case_v, Unit::Volt),
                say(point.signal_v, Unit::Volt),
                say(point.worst_case_percent_of_reading, Unit::Percent)
            )
        },
    );
    let more = result.crossover_v.map_or_else(String::new, |volt| {
        format!("Below {} fixed errors decide, above it errors that grow with the signal.", say(volt, Unit::Volt))
    });
    let mut blocks =
        vec![Block::Figures(figures(input, result)), Block::Table(points(result)), Block::Chart(chart(result))];
    if let Some(point) = largest {
        blocks.push(Block::Budget(budget::budget(
            Heading {
                id: "budget".into(),
                caption: format!("Error budget at {}", say(point.signal_v, Unit::Volt)),
                note: format!(
                    "Referred to the sensor, end of life, {} from the calibration temperature, calibration: {}.",
                    say(result.distance_k, Unit::Kelvin),
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
    View {
        lead,
        more,
        checks: result.checks.clone(),
        blocks,
        care: vec!["The sensor's side of the barrier sits at pack potential. Treat amplifier, converter and their supply as live.".into()],
    }
}

fn figures(input: &ConverterInput, result: &ConverterOutput) -> Vec<Figure> {
    let resolution = &result.resolution;
    let mut figures = vec![Figure::new(
        "One step at the sensor",
        resolution.lsb_at_sensor_v,
        Unit::Volt,
        format!("{} bits over {}", input.converter.bits, say(input.converter.span_v(), Unit::Volt)),
    )];
    if resolution.noise_v > 0.0 {
        figures.push(Figure::new(
            "Noise of one result",
            resolution.noise_v,
            Unit::Volt,
            "root mean square, at the sensor",
        ));
        figures.push(Figure::new(
            "Averaged",
            resolution.averaged_v,
            Unit::Volt,
            format!("{} samples", input.averaging),
        ));
    }
    if let Some(bits) = resolution.averaged_effective_bits {
        figures.push(Figure::new("Effective bits", bits, Unit::Bit, "averaged, by its noise"));
    }
    figures.push(Figure::new("Largest latency", result.timing.latency_s, Unit::Second, "sensor to averaged word"));
    figures.push(Figure::new(
        "Ripple passes with",
        result.timing.ripple_gain * 100.0,
        Unit::Percent,
        format!("at {}", say(input.signals.ripple_frequency_hz, Unit::Hertz)),
    ));
    figures
}

fn points(result: &ConverterOutput) -> Table {
    Table {
        id: "points".into(),
        caption: "Error over signal".into(),
        note: "Referred to the sensor, end of life, after the chosen calibration.".into(),
        head: "Signal".into(),
        columns: vec![
            Column::of("Worst case", Unit::Volt),
            Column::of("Of reading", Unit::Percent),
            Column::of("Of full scale", Unit::Percent),
            Column::of("Root-sum-square", Unit::Volt),
            Column::of("95 % interval", Unit::Volt),
            Column::words("Largest"),
        ],
        rows: result
            .points
            .iter()
            .map(|point| Row {
                head: say(point.signal_v, Unit::Volt),
                note: String::new(),
                cells: vec![
                    Cell::Limit(point.worst_case_v),
                    Cell::Limit(point.worst_case_percent_of_reading),
                    Cell::Limit(point.worst_case_percent_of_full_scale),
                    Cell::Limit(point.assessment.root_sum_square),
                    point.assessment.monte_carlo.as_ref().map_or(Cell::Empty, |run| {
                        Cell::Limit(budget::largest(run.p95.symmetric.low, run.p95.symmetric.high))
                    }),
                    Cell::Words(point.largest.clone()),
                ],
            })
            .collect(),
    }
}

fn chart(result: &ConverterOutput) -> Chart {
    let mut sorted: Vec<_> = result.points.iter().collect();
    sorted.sort_by(|a, b| a.signal_v.total_cmp(&b.signal_v));
    let line = |with: fn(&super::Point) -> f64| sorted.iter().map(|point| [point.signal_v, with(point)]).collect();
    Chart {
        id: "error".into(),
        finding: result.crossover_v.map_or_else(
            || "The error is the same at every signal".into(),
            |volt| format!("Offset and gain errors are equal at {}", say(volt, Unit::Volt)),
        ),
        conditions: "Error referred to the sensor, end of life, after the chosen calibration".into(),
        title: "Reading error against signal".into(),
        x: Axis::log("signal", Unit::Volt),
        y: Axis::log("error", Unit::Volt),
        curves: vec![
            Curve { label: "worst case".into(), stroke: Stroke::Main, points: line(|point| point.worst_case_v) },
            Curve {
                label: "root-sum-square".into(),
                stroke: Stroke::Second,
                points: line(|point| point.assessment.root_sum_square),
            },
        ],
        marks: sorted
            .last()
            .map(|point| Mark {
                x: point.signal_v,
                y: point.worst_case_v,
                label: format!("±{}", say(point.worst_case_v, Unit::Volt)),
            })
            .into_iter()
            .collect(),
        table: Table { id: "error-values".into(), ..points(result) },
    }
}

fn fact(head: &str, value: String, note: &str) -> Row {
    Row { head: head.into(), note: note.into(), cells: vec![Cell::Words(value)] }
}

fn noise(result: &ConverterOutput) -> Table {
    let with = &result.resolution;
    let volt = |value: f64| say(value, Unit::Volt);
    let mut rows = vec![
        fact("Quantisation", volt(with.quantisation_v), "LSB/√12"),
        fact(
            "Amplifier, white",
            volt(with.amplifier_white_v),
            &format!("over {}", say(with.noise_bandwidth_hz, Unit::Hertz)),
        ),
        fact("Amplifier, 1/f", volt(with.amplifier_flicker_v), "from 0.1 Hz; averaging does not lower it"),
        fact("Converter", volt(with.converter_v), "given, or implied by the SINAD"),
    ];
    if let Some(sampled) = with.sampled_v {
        rows.push(fact("Filter capacitor", volt(sampled), "√(k T / C) at the hottest ambient"));
    }
    rows.push(fact(
        "One result",
        volt(with.noise_v),
        &format!("{} in the physical unit", say(with.noise_value, Unit::One)),
    ));
    rows.push(fact(
        "Averaged",
        volt(with.averaged_v),
        &format!("{} in the physical unit", say(with.averaged_value, Unit::One)),
    ));
    for (head, bits, note) in [
        ("Effective bits, one result", with.effective_bits, "(SINAD − 1.76)/6.02"),
        ("Noise-free bits, one result", with.noise_free_bits, "6.6 σ peak to peak"),
        ("Bits of accuracy", with.accuracy_bits, "log2(1/non-linearity)"),
    ] {
        if let Some(bits) = bits {
            rows.push(fact(head, say(bits, Unit::One), note));
        }
    }
    Table {
        id: "noise".into(),
        caption: "Noise and resolution".into(),
        note: "Root mean square, at the sensor. Noise is not part of the error totals.".into(),
        head: "Part".into(),
        columns: vec![Column::words("Value")],
        rows,
    }
}

fn timing(input: &ConverterInput, result: &ConverterOutput) -> Table {
    let with = &result.timing;
    let decibel = |value: Option<f64>| value.map_or_else(|| "a zero".into(), |db| say(db, Unit::Decibel));
    let second = |value: f64| say(value, Unit::Second);
    let mut rows = Vec::new();
    if let (Some(corner), Some([slow, fast])) = (with.corner_hz, with.corner_range_hz) {
        rows.push(fact(
            "Low-pass corner",
            say(corner, Unit::Hertz),
            &format!("{} to {} within tolerance", say(slow, Unit::Hertz), say(fast, Unit::Hertz)),
        ));
        rows.push(fact("Low-pass at the ripple", decibel(with.low_pass_db), ""));
        rows.push(fact(
            "Low-pass at the modulator's image",
            decibel(with.image_low_pass_db),
            "what the decimating filter passes unweakened",
        ));
    }
    rows.extend([
        fact(
            "Decimating filter at the ripple",
            decibel(with.sinc_db),
            &format!("sinc, order {}", input.converter.filter_order),
        ),
        fact("Average at the ripple", decibel(with.average_db), &format!("{} samples", input.averaging)),
        fact("Ripple appears at", say(with.alias_hz, Unit::Hertz), "after sampling at the data rate"),
        fact("Low-pass settles in", second(with.low_pass_settling_s), "with the amplifier, to 0.1 %, slowest corner"),
        fact(
            "Decimating filter settles in",
            second(with.sinc_settling_s),
            &format!("group delay {}", second(with.sinc_group_delay_s)),
        ),
        fact("Average takes", second(with.averaging_s), "the rest of a running block and one whole block"),
        fact(
            "Across the barrier",
            second(with.transport_s + input.link.isolator_delay_s + input.link.isolator_skew_s),
            "transport, delay and skew",
        ),
        fact("Largest latency", second(with.latency_s), "sum: use it in a safety chain"),
        fact(
            "Bit rate needed",
            say(with.needed_hz, Unit::BitPerSecond),
            &format!("{} of the isolator's", say(with.link_use_percent, Unit::Percent)),
        ),
    ]);
    Table {
        id: "timing".into(),
        caption: "Filter, latency and link".into(),
        note: String::new(),
        head: "What".into(),
        columns: vec![Column::words("Value")],
        rows,
    }
}

fn words(input: &ConverterInput, result: &ConverterOutput) -> Table {
    let with = &result.output;
    let one = |value: f64| say(value, Unit::One);
    let mut rows = vec![fact("Value of one code", one(with.scale), "physical value = code · this")];
    if let Some(fraction) = &with.fraction {
        rows.push(fact(
            "As a fraction",
            format!("{} / {}", fraction.numerator, fraction.denominator),
            &format!("off by {}", say(fraction.rounding_ppm, Unit::Ppm)),
        ));
    }
    if let Some(fixed) = &with.fixed_point {
        rows.push(fact(
            "As a fixed-point constant",
            format!("(code · {}) / 2^{}", fixed.constant, fixed.fractional_bits),
            &format!("product of {} bits, off by {}", input.output.product_bits, say(fixed.rounding_ppm, Unit::Ppm)),
        ));
    }
    rows.push(fact(
        "Bus word",
        format!("word · {} + {}", one(with.bus.factor), one(with.bus.offset)),
        &format!(
            "start bit {}, {} bits, {}, {} to {}",
            with.bus.start_bit,
            with.bus.width,
            if with.bus.signed { "signed" } else { "unsigned" },
            one(with.bus.min),
            one(with.bus.max)
        ),
    ));
    rows.push(Row {
        head: "Bus word covers the converter's range".into(),
        note: format!("rounding ±{}", one(with.bus.rounding)),
        cells: vec![Cell::Verdict(if with.bus.covers_range { Verdict::Holds } else { Verdict::Fails })],
    });
    if let Some(analogue) = &with.analogue {
        rows.push(fact(
            "Analogue output",
            format!("{} per unit", one(analogue.value_per_unit)),
            &format!("its own error ±{}", one(analogue.error)),
        ));
    }
    Table {
        id: "words".into(),
        caption: "Scaling constants and words".into(),
        note: "Integrate the raw code, not the rounded word.".into(),
        head: "What".into(),
        columns: vec![Column::words("Value")],
        rows,
    }
}
