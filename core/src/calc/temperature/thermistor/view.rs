//! The temperature channel's numbers for a reader: figures, tables, charts and the budget of the worst point.

use crate::channel;
use crate::channel::budget::{self, Heading, Output, size};
use crate::propagation::{Assessment, Contribution};
use crate::quantity::{Quantity, Unit, in_sentence, say};
use crate::report::{Block, Budget, Cell, Column, Figure, Finding, Lane, Row, Table, Verdict, View};

use super::budget::{STAGES, STEP};
use super::chart;
use super::findings;
use super::input::{ReadOutKind, ThermistorInput};
use super::output::{FixedResistor, ThermistorOutput, ThermistorPoint};

/// The point that uses most of its allowance; the largest error when there is none.
fn worst(result: &ThermistorOutput) -> Option<&ThermistorPoint> {
    let key = |point: &ThermistorPoint| point.used_percent.or(point.judged_k).unwrap_or(f64::MAX);
    result.points.iter().max_by(|a, b| key(a).total_cmp(&key(b)))
}

pub(super) fn view(input: &ThermistorInput, result: &ThermistorOutput, found: &[Finding]) -> View {
    let mut view = View { checks: result.checks.clone(), care: care(result), ..View::default() };
    let verdict = view.verdict(found);
    if let Some(point) = worst(result) {
        let at = say(point.at.degc, Unit::Celsius);
        let error = point
            .judged_k
            .map_or_else(|| "no error can be given".into(), |judged| format!("±{}", say(judged, Unit::Kelvin)));
        view.lead = match (verdict, point.allowed_k) {
            (Verdict::Fails, Some(allowed)) => {
                format!("The temperature channel fails: {error} at {at}, ±{} allowed", say(allowed, Unit::Kelvin))
            }
            (Verdict::Fails, None) => format!("A limit is exceeded; the reading error is {error} at {at}"),
            (_, Some(allowed)) => {
                format!("The temperature channel holds: {error} at {at}, ±{} allowed", say(allowed, Unit::Kelvin))
            }
            (_, None) => format!("The reading error is {error} at {at}; no requirement is set"),
        };
        view.more = more(result, point);
    }
    let mut blocks = vec![
        Block::Figures(figures(result)),
        Block::Table(points(input, result)),
        Block::Chart(chart::error_chart(input, result)),
    ];
    if let Some((point, done)) = worst(result).and_then(|point| point.assessment.as_ref().map(|done| (point, done))) {
        blocks.push(Block::Budget(budget(input, point, done)));
        blocks.extend(lane(input, point, done).map(Block::Lane));
    }
    blocks.push(Block::Chart(chart::resistance_chart(result)));
    if let Some(choice) = &result.fixed_resistor {
        blocks.extend([Block::Table(resistors(choice)), Block::Chart(chart::resistor_chart(choice))]);
    }
    blocks.push(Block::Table(wires(result)));
    view.blocks = blocks;
    view
}

/// The band over sensor, wires, chain and converter at a point that has an allowance.
fn lane(input: &ThermistorInput, point: &ThermistorPoint, done: &Assessment) -> Option<Lane> {
    let allowed = Quantity::new(point.allowed_k?, Unit::Kelvin);
    let at = &point.at;
    let volts = at.output_v.map(|volt| say(volt, Unit::Volt));
    let signal = at.output_hz.map(|hertz| say(hertz, Unit::Hertz)).or(volts).unwrap_or_default();
    let described = vec![
        (short(input.curve.label()), say(at.resistance_ohm, Unit::Ohm)),
        (format!("{} in the leads", say(input.wiring.lead_ohm, Unit::Ohm)), String::new()),
        (short(input.read_out.label()), signal),
        (format!("{} bit", input.converter.bits), format!("{} per code", say(at.step_k, Unit::Kelvin))),
    ];
    let reading = Quantity::new(at.degc, Unit::Celsius);
    Some(channel::lane(done, &STAGES, described, channel::At { reading, judged: point.judged_k?, allowed }))
}

/// A label up to what explains it: "Thermistor", "Divider".
fn short(label: &str) -> String {
    label.split([':', ',', '(']).next().and_then(|first| first.split(" with ").next()).unwrap_or(label).trim().into()
}

fn more(result: &ThermistorOutput, point: &ThermistorPoint) -> String {
    let largest = point.assessment.as_ref().and_then(|done| {
        done.contributions
            .iter()
            .map(|term| (in_sentence(&term.label), size(term, Output::Error)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
    });
    let largest = largest.map_or_else(String::new, |(label, kelvin)| {
        format!("There the largest part is {label} ({}). ", say(kelvin, Unit::Kelvin))
    });
    let hidden = result.hidden_k.map_or_else(String::new, |hidden| {
        format!("With lag and the way to the cell, a cell may be {} hotter than it reads.", say(hidden, Unit::Kelvin))
    });
    format!("{largest}{hidden}")
}

fn care(result: &ThermistorOutput) -> Vec<String> {
    let mut care = vec![format!(
        "An open wire looks {}, a leak across a thermistor like a warm cell: decide what is done for each before charging.",
        findings::open_looks(&result.wire)
    )];
    if result.wire.open_code.is_some() && result.wire.open_threshold_code.is_none() {
        care.push("No threshold parts an open wire from a working sensor: the diagnostic is blind there.".into());
    }
    care.push(
        "Charging outside the cell maker's temperature and voltage range can lead to later internal short circuits and fire. The cell maker's limits prevail over anything on this page."
            .into(),
    );
    care.push("A sensor on a cell may sit at pack potential behind a thin insulation. Treat its wires as live.".into());
    care
}

fn figures(result: &ThermistorOutput) -> Vec<Figure> {
    let mut figures = Vec::new();
    if let Some(point) = worst(result) {
        let row = &point.at;
        let at = format!("at {}", say(row.degc, Unit::Celsius));
        figures.push(Figure::new("Resistance", row.resistance_ohm, Unit::Ohm, at.clone()));
        figures.push(Figure::new("One code", row.step_k, Unit::Kelvin, format!("{at}: resolution, not accuracy")));
        if let Some(error) = &row.error {
            figures.push(Figure::new("Tolerance of the parts", error.tolerance_k, Unit::Kelvin, at.clone()));
            figures.push(Figure::new("Worst case", error.worst_case_k, Unit::Kelvin, format!("{at}, all sources")));
        }
        if let Some(rise) = row.self_heating_k {
            figures.push(Figure::new("Self-heating", rise, Unit::Kelvin, at));
        }
    }
    figures.push(Figure::new("Lag on the fastest ramp", result.lag_k, Unit::Kelvin, "reads late"));
    figures.push(Figure::new("Cell to sensor", result.gradient_k, Unit::Kelvin, "the cell is warmer"));
    if let Some(margin) = result.wire.open_margin_codes {
        let note = format!("between an open wire and the {} sensor", result.wire.extreme());
        figures.push(Figure::new("Codes left", margin, Unit::One, note));
    }
    figures
}

fn points(input: &ThermistorInput, result: &ThermistorOutput) -> Table {
    let output = if input.read_out == ReadOutKind::Oscillator {
        Column::of("Frequency", Unit::Hertz)
    } else {
        Column::of("Voltage", Unit::Volt)
    };
    Table {
        id: "points".into(),
        caption: "Points of interest".into(),
        note: "Tolerance: sensor and fixed part alone. Worst case: extremes of the model with all sources.".into(),
        head: "Temperature".into(),
        columns: vec![
            Column::of("Resistance", Unit::Ohm),
            output,
            Column::of("Code", Unit::One),
            Column::of("One code", Unit::Kelvin),
            Column::of("Tolerance", Unit::Kelvin),
            Column::of("Converter", Unit::Kelvin),
            Column::of("Self-heating", Unit::Kelvin),
            Column::of("Worst case", Unit::Kelvin),
            Column::of("Root-sum-square", Unit::Kelvin),
        ],
        rows: result
            .points
            .iter()
            .map(|point| {
                let row = &point.at;
                let error = |part: fn(&super::RowError) -> f64| {
                    row.error.as_ref().map_or(Cell::Empty, |error| Cell::Limit(part(error)))
                };
                Row {
                    head: say(row.degc, Unit::Celsius),
                    note: String::new(),
                    cells: vec![
                        Cell::Number(row.resistance_ohm),
                        row.output_hz.or(row.output_v).into(),
                        Cell::Number(row.code.round()),
                        Cell::Number(row.step_k),
                        error(|error| error.tolerance_k),
                        error(|error| error.converter_k),
                        row.self_heating_k.into(),
                        error(|error| error.worst_case_k),
                        error(|error| error.root_sum_square_k),
                    ],
                }
            })
            .collect(),
    }
}

/// What moves a source, in its own unit.
fn limit_words(term: &Contribution) -> String {
    let said = |value: f64| match term.unit.as_str() {
        "K" => say(value, Unit::Kelvin),
        "Ω" => say(value, Unit::Ohm),
        "s" => say(value, Unit::Second),
        "S" => say(1.0 / value, Unit::Ohm),
        STEP => format!("{} codes", say(value, Unit::One)),
        _ if value.abs() < 1e-3 => say(value * 1e6, Unit::Ppm),
        _ => say(value * 100.0, Unit::Percent),
    };
    match (term.limit > 0.0, term.estimate != 0.0) {
        (true, true) => format!("known {}, ±{}", said(term.estimate), said(term.limit)),
        (true, false) => format!("±{}", said(term.limit)),
        _ => format!("known {}", said(term.estimate)),
    }
}

fn budget(input: &ThermistorInput, point: &ThermistorPoint, done: &Assessment) -> Budget {
    let heading = Heading {
        id: "budget".into(),
        caption: format!("Error budget at {}", say(point.at.degc, Unit::Celsius)),
        note: if input.requirement.with_lag_and_gradient {
            "Against the cell: lag and gradient are part of it.".into()
        } else {
            "Against the sensor's place: lag and gradient come on top.".into()
        },
    };
    let mut budget = budget::budget(heading, Unit::Kelvin, done, Output::Error, point.allowed_k);
    for row in &mut budget.rows {
        if let Some(term) = done.contributions.iter().find(|term| term.label == row.label) {
            row.note = limit_words(term);
            row.grows = term.unit == "1";
        }
    }
    budget
}

fn resistors(choice: &FixedResistor) -> Table {
    Table {
        id: "fixed-resistor".into(),
        caption: format!("Choice of the fixed resistor for {}", say(choice.centre_degc, Unit::Celsius)),
        note: format!("The sensor has {} there.", say(choice.sensor_ohm, Unit::Ohm)),
        head: "Purpose".into(),
        columns: vec![
            Column::of("Value", Unit::Ohm),
            Column::of("E24", Unit::Ohm),
            Column::of("E96", Unit::Ohm),
            Column::of("One code there", Unit::Kelvin),
            Column::of("One code at worst", Unit::Kelvin),
            Column::of("Straight scale off by", Unit::Kelvin),
        ],
        rows: choice
            .choices
            .iter()
            .map(|found| Row {
                head: found.purpose.clone(),
                note: String::new(),
                cells: vec![
                    Cell::Number(found.ohm),
                    Cell::Number(found.e24_ohm),
                    Cell::Number(found.e96_ohm),
                    Cell::Number(found.step_at_centre_k),
                    Cell::Number(found.step_worst_k),
                    Cell::Limit(found.nonlinearity_k),
                ],
            })
            .collect(),
    }
}

fn wires(result: &ThermistorOutput) -> Table {
    let wire = &result.wire;
    let mut rows: Vec<Row> = Vec::new();
    let fault = |head: String, code: Option<f64>, reads: Option<f64>, off: Option<f64>, seen: bool| Row {
        head,
        note: String::new(),
        cells: vec![
            code.map(f64::round).into(),
            reads.into(),
            off.into(),
            Cell::Words(if seen { "seen".into() } else { "not seen".into() }),
        ],
    };
    rows.push(fault(
        "Open wire".into(),
        wire.open_code,
        wire.open_reads_degc,
        None,
        wire.open_threshold_code.is_some(),
    ));
    rows.push(fault("Shorted sensor".into(), wire.short_code, None, None, wire.short_threshold_code.is_some()));
    for slow in &wire.drifts {
        rows.push(fault(
            format!("{} at {}", slow.fault, say(slow.degc, Unit::Celsius)),
            slow.code,
            slow.reads_degc,
            slow.error_k,
            slow.seen,
        ));
    }
    Table {
        id: "wires".into(),
        caption: "Broken and leaking wires".into(),
        note: "Seen: by a check against the thresholds for open and short alone.".into(),
        head: "Fault".into(),
        columns: vec![
            Column::of("Code", Unit::One),
            Column::of("Reads", Unit::Celsius),
            Column::of("Off by", Unit::Kelvin),
            Column::words("Range check"),
        ],
        rows,
    }
}
