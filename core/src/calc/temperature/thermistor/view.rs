//! The temperature channel's numbers for a reader: figures, tables, charts and the budget of the worst point.

use crate::channel::budget::{self, Heading, Output};
use crate::channel::{self, largest_words, telling};
use crate::judge::{Ledger, Verdict};
use crate::propagation::{Assessment, Contribution};
use crate::quantity::{Unit, celsius, hertz, kelvin, ohm, one, percent, ppm, second, volt};
use crate::report::kit::Columns;
use crate::report::{Block, Budget, Cell, Figure, Lane, Table, View, caution};

use super::budget::{STAGES, STEP};
use super::chart;
use super::input::{ReadOutKind, ThermistorInput};
use super::output::{FixedResistor, ThermistorOutput, ThermistorPoint};
use super::{ReadBack, RowError};

/// The temperature at which the error is largest; of the points of interest when nothing of the range is read.
fn worst(result: &ThermistorOutput) -> Option<&ThermistorPoint> {
    if result.worst.is_some() {
        return result.worst.as_ref();
    }
    let key = |point: &ThermistorPoint| point.used_percent.or(point.judged_k).unwrap_or(f64::MAX);
    result.points.iter().max_by(|a, b| key(a).total_cmp(&key(b)))
}

pub(super) fn view(input: &ThermistorInput, result: &ThermistorOutput, judged: &Ledger) -> View {
    let mut view = View::default();
    let row = judged.find("thermistor.error");
    let error_verdict = row.map_or(Verdict::NoLimitSet, |row| judged.verdict_of(row));
    if let Some(point) = worst(result) {
        let said = |value: f64| format!("±{}", kelvin(value));
        let error = point.judged_k.map_or_else(|| "no error can be given".into(), said);
        let (at, fails) = (celsius(point.at.degc).to_string(), error_verdict == Verdict::Fails);
        view.lead = telling::sentence(&error, &at, point.allowed_k.map(said), fails, judged);
        view.more = more(result, point);
    }
    view.blocks = vec![
        Block::Figures(figures(result)),
        Block::Table(points(input, result)),
        Block::Chart(chart::error_chart(input, result)),
    ];
    if let Some((point, done)) = worst(result).and_then(|point| point.assessment.as_ref().map(|done| (point, done))) {
        view.blocks.push(Block::Budget(budget(input, point, done)));
        // A band that passes its bracket is a verdict: where nothing is judged, there is none.
        if error_verdict != Verdict::NotJudged {
            view.blocks.extend(lane(input, point, done).map(Block::Lane));
        }
    }
    view.blocks.extend(read_back(result).map(Block::Table));
    view.blocks.push(Block::Chart(chart::resistance_chart(result)));
    if let Some(choice) = &result.fixed_resistor {
        view.blocks.extend([Block::Table(resistors(choice)), Block::Chart(chart::resistor_chart(choice))]);
    }
    view.blocks.push(Block::Table(wires(result)));
    view
}

/// The band over sensor, wires, chain and converter at a point that has an allowance.
fn lane(input: &ThermistorInput, point: &ThermistorPoint, done: &Assessment) -> Option<Lane> {
    let (allowed, judged) = (kelvin(point.allowed_k?), point.judged_k?);
    let at = &point.at;
    let signal = at.output_hz.map(hertz).or(at.output_v.map(volt)).map_or_else(String::new, |out| out.to_string());
    let described = vec![
        (short(input.curve.label()), ohm(at.resistance_ohm).to_string()),
        (format!("{} in the leads", ohm(input.wiring.lead_ohm)), String::new()),
        (short(input.read_out.label()), signal),
        (format!("{} bit", input.converter.bits), format!("{} per code", kelvin(at.step_k))),
    ];
    Some(channel::lane(done, &STAGES, described, channel::At { reading: celsius(at.degc), judged, allowed }))
}

/// A label up to what explains it: "Thermistor", "Divider".
fn short(label: &str) -> String {
    label.split([':', ',', '(']).next().and_then(|first| first.split(" with ").next()).unwrap_or(label).trim().into()
}

fn more(result: &ThermistorOutput, point: &ThermistorPoint) -> String {
    let largest = point.assessment.as_ref().and_then(|done| largest_words(done, Unit::Kelvin));
    let largest = largest.map_or_else(String::new, |part| format!("There the largest part is {part}. "));
    let hidden = result.hidden_k.map_or_else(String::new, |hidden| {
        format!("With lag and the way to the cell, a cell may be {} hotter than it reads.", kelvin(hidden))
    });
    largest + &hidden
}

pub(super) fn cautions(result: &ThermistorOutput) -> Vec<String> {
    let mut care = vec![format!(
        "An open wire looks {}, a leak across a thermistor like a warm cell: decide what is done for each before charging.",
        result.wire.looks()
    )];
    if result.wire.open_code.is_some() && result.wire.open_threshold_code.is_none() {
        care.push("No threshold parts an open wire from a working sensor: the diagnostic is blind there.".into());
    }
    care.push(caution::CHARGING.into());
    care.push("A sensor on a cell may sit at pack potential behind a thin insulation. Treat its wires as live.".into());
    care
}

fn figures(result: &ThermistorOutput) -> Vec<Figure> {
    let mut figures = Vec::new();
    if let Some(point) = worst(result) {
        let row = &point.at;
        let at = format!("at {}", celsius(row.degc));
        figures.push(Figure::of("Resistance", ohm(row.resistance_ohm), at.clone()));
        figures.push(Figure::of("Value of one LSB", kelvin(row.step_k), format!("{at}: resolution, not accuracy")));
        if let Some(error) = &row.error {
            figures.push(Figure::of("Tolerance of the parts", kelvin(error.tolerance_k), at.clone()));
            figures.push(Figure::of("Worst case", kelvin(error.worst_case_k), format!("{at}, all sources")));
        }
        figures.extend(row.self_heating_k.map(|rise| Figure::of("Self-heating", kelvin(rise), at)));
    }
    figures.push(Figure::of("Lag on the fastest ramp", kelvin(result.lag_k), "reads late"));
    figures.push(Figure::of("Cell to sensor", kelvin(result.gradient_k), "the cell is warmer"));
    if let Some(margin) = result.wire.open_margin_codes {
        let note = format!("between an open wire and the {} sensor", result.wire.extreme());
        figures.push(Figure::of("Codes left", one(margin), note));
    }
    figures
}

fn points(input: &ThermistorInput, result: &ThermistorOutput) -> Table {
    let (output, unit) =
        if input.read_out == ReadOutKind::Oscillator { ("Frequency", Unit::Hertz) } else { ("Voltage", Unit::Volt) };
    let error = |part: fn(&RowError) -> f64| {
        move |point: &ThermistorPoint| point.at.error.as_ref().map_or(Cell::Empty, |error| Cell::Limit(part(error)))
    };
    let name = |_, point: &ThermistorPoint| celsius(point.at.degc).to_string();
    Columns::new("points", "Points of interest", "Temperature", &result.points, name)
        .note("Tolerance: sensor and fixed part alone. Worst case: extremes of the model with all sources in every state.")
        .column("Resistance", Unit::Ohm, |point| point.at.resistance_ohm)
        .column(output, unit, |point| point.at.output_hz.or(point.at.output_v))
        .column("Code", Unit::One, |point| point.at.code.round())
        .column("Value of one LSB", Unit::Kelvin, |point| point.at.step_k)
        .column("Tolerance", Unit::Kelvin, error(|error| error.tolerance_k))
        .column("Converter", Unit::Kelvin, error(|error| error.converter_k))
        .column("Self-heating", Unit::Kelvin, |point| point.at.self_heating_k)
        .column("Worst case", Unit::Kelvin, error(|error| error.worst_case_k))
        .column("Root-sum-square", Unit::Kelvin, error(|error| error.root_sum_square_k))
        .words("Worst state", |point| point.state.clone())
        .table()
}

/// The temperatures of what was read, when something was.
fn read_back(result: &ThermistorOutput) -> Option<Table> {
    let name = |_, read: &ReadBack| format!("From the {}", read.from);
    let table = Columns::new("read-back", "Temperature of a reading", "Reading", &result.read_back, name)
        .note("With nominal parts, as firmware shows it; an empty cell: no temperature gives that reading.")
        .column("Resistance", Unit::Ohm, |read| read.resistance_ohm)
        .column("Temperature", Unit::Celsius, |read| read.degc)
        .table();
    (!result.read_back.is_empty()).then_some(table)
}

/// What moves a source, in its own unit.
fn limit_words(term: &Contribution) -> String {
    let said = |value: f64| match term.unit.as_str() {
        "K" => kelvin(value).to_string(),
        "s" => second(value).to_string(),
        STEP => format!("{} codes", one(value)),
        _ if value.abs() < 1e-3 => ppm(value * 1e6).to_string(),
        _ => percent(value * 100.0).to_string(),
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
        caption: format!("Error budget at {}", celsius(point.at.degc)),
        note: {
            let against = if input.requirement.with_lag_and_gradient {
                "Against the cell: lag and gradient are part of it."
            } else {
                "Against the sensor's place: lag and gradient come on top."
            };
            let state = if point.state.is_empty() { String::new() } else { format!(" Sensor {}.", point.state) };
            format!("{against}{state}")
        },
    };
    let mut budget = budget::budget(heading, Unit::Kelvin, done, Output::Error, point.allowed_k);
    for row in &mut budget.rows {
        if let Some(term) = done.contributions.iter().find(|term| term.label == row.label) {
            row.note = limit_words(term);
            row.grows = term.unit == "1";
        }
    }
    budget.judged_as(point.verdict)
}

fn resistors(choice: &FixedResistor) -> Table {
    let name = |_, found: &super::ResistorChoice| found.purpose.into();
    let caption = format!("Choice of the fixed resistor for {}", celsius(choice.centre_degc));
    Columns::new("fixed-resistor", &caption, "Purpose", &choice.choices, name)
        .note(format!("The sensor has {} there.", ohm(choice.sensor_ohm)))
        .column("Value", Unit::Ohm, |found| found.ohm)
        .column("E24", Unit::Ohm, |found| found.e24_ohm)
        .column("E96", Unit::Ohm, |found| found.e96_ohm)
        .column("LSB there", Unit::Kelvin, |found| found.step_at_centre_k)
        .column("One code at worst", Unit::Kelvin, |found| found.step_worst_k)
        .column("Straight scale off by", Unit::Kelvin, |found| Cell::Limit(found.nonlinearity_k))
        .table()
}

/// Head, code, temperature that is read, its error, whether it is seen.
type Fault = (String, Option<f64>, Option<f64>, Option<f64>, bool);

fn wires(result: &ThermistorOutput) -> Table {
    let wire = &result.wire;
    let mut faults: Vec<Fault> = vec![
        ("Open wire".into(), wire.open_code, wire.open_reads_degc, None, wire.open_threshold_code.is_some()),
        ("Shorted sensor".into(), wire.short_code, None, None, wire.short_threshold_code.is_some()),
    ];
    faults.extend(wire.drifts.iter().map(|slow| {
        let head = format!("{} at {}", slow.fault, celsius(slow.degc));
        (head, slow.code, slow.reads_degc, slow.error_k, slow.seen)
    }));
    Columns::new("wires", "Broken and leaking wires", "Fault", &faults, |_, fault| fault.0.clone())
        .note("Seen: by a check against the thresholds for open and short alone.")
        .column("Code", Unit::One, |fault| fault.1.map(f64::round))
        .column("Reads", Unit::Celsius, |fault| fault.2)
        .column("Off by", Unit::Kelvin, |fault| fault.3)
        .words("Range check", |fault| if fault.4 { "seen" } else { "not seen" })
        .table()
}
