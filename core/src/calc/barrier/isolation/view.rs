//! The isolation for a reader.

use super::charts;
use super::input::{FieldShape, ImpulseBy, IsolationInput};
use super::output::IsolationOutput;
use super::tables::{Line, RowStatus, TABLES, Table as Standard, counting};
use crate::judge::Ledger;
use crate::quantity::{
    Unit, ampere, bit_per_second, celsius, coulomb, farad, joule, millimetre, ohm, ohm_per_volt, one, percent, say,
    second, volt, watt,
};
use crate::report::caution::{self, TOUCH_SAFE_V};
use crate::report::kit::{Columns, Values};
use crate::report::{Block, Cell, Column, Figure, Row, Table, View};

pub(super) fn view(input: &IsolationInput, result: &IsolationOutput, judged: &Ledger) -> View {
    let lead = judged.in_words("What is described holds");
    let described = [
        ("the isolator", result.isolator.is_some()),
        ("common mode", result.injection.is_some()),
        ("data", result.data.is_some()),
        ("the isolated supply", result.supply.is_some()),
        ("the insulation of the bus", result.bus.is_some()),
        ("its supervision", result.monitor.is_some()),
        ("the Y capacitors", result.y.is_some()),
    ];
    let left_out: Vec<&str> = described.iter().filter(|(_, there)| !there).map(|(name, _)| *name).collect();
    let left_out = if left_out.is_empty() {
        String::new()
    } else {
        format!(" Not described, not judged: {}.", left_out.join(", "))
    };
    let clearance = result
        .clearance
        .map_or_else(String::new, |one| format!("Through air {} are required", millimetre(one.required_mm)));
    let surface = result.crossings.iter().filter_map(|one| one.creepage_required_mm).fold(0.0, f64::max);
    let surface =
        if surface > 0.0 { format!(", along the surface up to {}", millimetre(surface)) } else { String::new() };
    let bus = result.bus.and_then(|bus| bus.parallel_ohm);
    let bus = bus.map_or_else(String::new, |parallel| format!(" The whole bus has {} to the chassis.", ohm(parallel)));
    let more = if clearance.is_empty() { bus } else { format!("{clearance}{surface}.{bus}") };
    let more = format!("{more}{left_out}").trim_start().to_owned();
    let mut blocks = vec![Block::Figures(figures(result))];
    blocks.extend(charts::barrier(input, result).map(Block::Chart));
    blocks.push(Block::Table(crossings(result)));
    blocks.push(Block::Table(stress(result)));
    let groups =
        [signal(input, result), supply(result), bus_values(input, result), y_capacitors(result), measured(result)];
    blocks.extend(groups.into_iter().filter(|table| !table.rows.is_empty()).map(Block::Table));
    let pictures = [charts::bridge(input, result), charts::energy(input, result), charts::loss(input, result)];
    blocks.extend(pictures.into_iter().flatten().map(Block::Chart));
    // A table that nothing is looked up in says nothing.
    let rib = |one: &super::Crossing| one.rib_width_mm.is_some() && one.rib_height_mm.is_some();
    let homogeneous = input.barrier.field == FieldShape::Homogeneous;
    let used = |table: &&'static Standard| match table.own {
        "/tables/impulse" => input.barrier.impulse_by == ImpulseBy::Category,
        "/tables/clearance" => !homogeneous,
        "/tables/homogeneous" => homogeneous,
        "/tables/rib" => input.crossings.iter().any(rib),
        _ => true,
    };
    blocks.extend(TABLES.into_iter().filter(used).map(|table| Block::Table(standard(input, table))));
    View { lead, more, blocks }
}

fn figures(result: &IsolationOutput) -> Vec<Figure> {
    let mut figures = Vec::new();
    if let Some(clearance) = result.clearance {
        let note = format!("altitude factor {}", one(result.stress.altitude_factor));
        figures.push(Figure::of("Clearance required", millimetre(clearance.required_mm), note));
    }
    let longest = result.crossings.iter().filter(|one| one.creepage_required_mm.is_some());
    let longest = longest.max_by(|one, other| {
        one.creepage_required_mm.partial_cmp(&other.creepage_required_mm).unwrap_or(std::cmp::Ordering::Equal)
    });
    if let Some((name, mm)) = longest.and_then(|one| Some((one.name.clone(), one.creepage_required_mm?))) {
        figures.push(Figure::of("Creepage required", millimetre(mm), name));
    }
    if let Some(current) = result.injection.and_then(|one| one.current_a) {
        figures.push(Figure::of("Current of an edge", ampere(current), "through every capacitance"));
    }
    if let Some((input, used)) = result.supply.as_ref().and_then(|one| Some((one.input_w?, one.efficiency_percent?))) {
        figures.push(Figure::of("Isolated supply takes", watt(input), format!("efficiency {}", percent(used))));
    }
    if let Some((bus, parallel)) = result.bus.and_then(|bus| Some((bus, bus.parallel_ohm?))) {
        let per_volt = ohm_per_volt(bus.parallel_ohm_per_v.unwrap_or(0.0));
        figures.push(Figure::of(
            "Insulation of the whole bus",
            ohm(parallel),
            format!("{per_volt}, {}", super::bus::counted(bus.units)),
        ));
        if let Some(method) = bus.method_ohm {
            figures.push(Figure::of("By the regulation's method", ohm(method), "one pole put to the chassis"));
        }
    }
    if let Some((y, energy)) = result.y.and_then(|y| Some((y, y.one_sided_j?))) {
        let balanced = joule(y.balanced_j.unwrap_or(0.0));
        figures.push(Figure::of("Energy of the Y capacitors", joule(energy), format!("{balanced} balanced")));
    }
    figures
}

fn crossings(result: &IsolationOutput) -> Table {
    let mm = Unit::Millimetre;
    let note = "Creepage by the working voltage, doubled for reinforced insulation, and never below the clearance.";
    let head = |_: usize, one: &super::IsolationCrossing| one.name.clone();
    Columns::new("crossings", "Crossings of the barrier", "Crossing", &result.crossings, head)
        .note(note)
        .column("Clearance", mm, |one| one.clearance_mm)
        .column("Required", mm, |one| one.clearance_required_mm)
        .column("Creepage", mm, |one| one.creepage_mm)
        .column("Required ", mm, |one| one.creepage_required_mm)
        .words("Degree", |one| one.pollution_degree.to_string())
        .words("Group", |one| one.group.unwrap_or("–"))
        .words("Rests on", |one| {
            let memory = one.clearance_from_memory || one.creepage_from_memory;
            if memory { RowStatus::Memory.word() } else { RowStatus::Read.word() }
        })
        .table()
}

fn stress(result: &IsolationOutput) -> Table {
    let stress = &result.stress;
    let mut values = Values::new("stress", "What the barrier must stand", "");
    values.row("Working voltage", volt(stress.working_v), "one pole at the chassis");
    values.row(
        "Rated impulse voltage",
        stress.rated_impulse_v.map(volt),
        if stress.preferred { "a preferred value" } else { "" },
    );
    values.row("Impulse voltage of the class", stress.impulse_v.map(volt), "");
    values.row("Recurring peak or temporary overvoltage", volt(stress.peak_v), "the larger");
    values.row("Peak voltage of the class", volt(stress.class_peak_v), "");
    values.row("Altitude factor", one(stress.altitude_factor), "never below 1");
    if let Some(clearance) = result.clearance {
        values.row("Clearance by the impulse voltage", millimetre(clearance.by_impulse_mm), "up to 2000 m");
        values.row("Clearance by the peak voltage", millimetre(clearance.by_peak_mm), "up to 2000 m");
    }
    if let Some(open) = result.open_element {
        values.row("One element open: gap required", millimetre(open.gap_required_mm), "");
        values.row("One element open: creepage required", open.creepage_required_mm.map(millimetre), "");
    }
    if let Some(asked) = result.isolator {
        values.row("Isolator: test voltage of partial discharge", asked.discharge_v.map(volt), "");
        values.row("Isolator: immunity against the slew", asked.immunity_percent.map(percent), "");
    }
    values.table()
}

fn signal(input: &IsolationInput, result: &IsolationOutput) -> Table {
    let mut values = Values::new("signal", "Injection and data", "Nothing of the edges cancels unless it is typed.");
    if let Some(one) = result.injection {
        values.row("Capacitance across the barrier", one.capacitance_farad.map(farad), "");
        values.row("Current of an edge", one.current_a.map(ampere), "");
        values.row("Length of an edge", one.edge_s.map(second), "");
        values.row("Charge of an edge", one.charge_coulomb.map(coulomb), "");
        values.row("Peak at a comparator", one.peak_v.map(volt), "without a filter");
        values.row("Peak behind the filter", one.filtered_v.map(volt), "");
        values.row("Mean of all edges", one.mean_v.map(volt), "");
    }
    if let Some(data) = result.data {
        let returned = if input.data.clock_returned { "clock returned" } else { "there and back" };
        values.row("Rate needed", data.needed_bit_per_s.map(bit_per_second), "");
        values.row("Utilisation", data.utilisation_percent.map(percent), "");
        values.row("Time of a bit", data.bit_s.map(second), returned);
        values.row("Period of the clock", data.period_s.map(second), "");
        values.row("Longest latency", data.latency_s.map(second), "");
    }
    values.table()
}

fn supply(result: &IsolationOutput) -> Table {
    let mut values = Values::new("supply", "Isolated supply", "");
    if let Some(one) = &result.supply {
        values.row("Power of the loads", one.output_w.map(watt), "");
        values.row("Loss", one.loss_w.map(watt), "");
        values.row("Power taken", one.input_w.map(watt), "");
        values.row("Efficiency", one.efficiency_percent.map(percent), "at this load");
        values.row("Power allowed", one.allowed_w.map(watt), "at the hottest ambient");
        values.row("Junction temperature", one.junction_degc.map(celsius), "");
        values.row("Current at the start", one.start_a.map(ampere), "");
        values.row("Start", one.start_s.map(second), "");
        values.row("Offset by the ripple", one.ripple_offset_v.map(volt), "an alias keeps its amplitude");
        values.row("Offset by the regulation", one.regulation_offset_v.map(volt), "");
    }
    values.table()
}

fn bus_values(input: &IsolationInput, result: &IsolationOutput) -> Table {
    let note = "Lowest resistances of all paths, all units.";
    let mut values = Values::new("bus", "Insulation of the whole bus", note);
    if let Some(bus) = result.bus {
        values.row("All paths in parallel", bus.parallel_ohm.map(ohm), "what a monitoring device sees");
        values.row("By the regulation's method", bus.method_ohm.map(ohm), "up to twice that");
        values.row(
            "Required",
            bus.required_ohm.map(ohm),
            bus.required_ohm_per_v.map_or_else(String::new, |r| ohm_per_volt(r).to_string()),
        );
        values.row("One unit alone", bus.one_unit_ohm.map(ohm), "with what the bus shares");
        values.row("Units that are allowed", bus.units_allowed.map(one), format!("{} there", bus.units));
        values.row("Negative pole to chassis", bus.negative_v.map(volt), "");
        values.row("Positive pole to chassis", bus.positive_v.map(volt), "");
        values.row("Share of the measuring strings", bus.strings_percent.map(percent), "");
        values.row(
            "Touch current, positive pole",
            bus.touch_positive_a.map(ampere),
            ohm(input.touch.body_ohm).to_string(),
        );
        values.row("Touch current, negative pole", bus.touch_negative_a.map(ampere), "");
    }
    if let Some(seen) = result.monitor {
        values.row("Alarm from", seen.alarm_from_ohm.map(ohm), "certain before the requirement is passed");
        values.row("Alarm to", seen.alarm_to_ohm.map(ohm), "never from the healthy bus");
        values.row("Fault from one pole that just alarms", seen.one_sided_ohm.map(ohm), "");
        values.row("Detects after", seen.detects_s.map(second), "");
        values.row("Releases after", seen.release_s.map(second), "");
    }
    values.table()
}

fn y_capacitors(result: &IsolationOutput) -> Table {
    let mut values =
        Values::new("y", "Y capacitors", "All units, both poles: the pack recharges one through the other.");
    if let Some(y) = result.y {
        values.row("All together", y.total_farad.map(farad), "upper tolerance");
        values.row("Energy, chassis in the middle", y.balanced_j.map(joule), "");
        values.row(
            "Energy, as the paths divide",
            y.divided_j.map(joule),
            y.divided_v.map_or_else(String::new, |v| volt(v).to_string()),
        );
        values.row("Energy, other pole at the chassis", y.one_sided_j.map(joule), "judged");
        values.row(
            "The same without what is left at 60 V",
            y.after_crash_j.map(joule),
            "form after a crash, from memory",
        );
        values.row("Largest capacitance, one pole at the chassis", farad(y.largest_farad), "");
        values.row("Largest capacitance, balanced", farad(y.largest_balanced_farad), "");
        values.row(
            "Left on both poles",
            y.left_v.map(volt),
            "after a one-sided fault and a discharge from pole to pole",
        );
        values.row("Time constant of the pole bleeders", y.bleed_tau_s.map(second), "");
        values.row("Until discharged", y.bleed_s.map(second), "");
    }
    values.table()
}

fn measured(result: &IsolationOutput) -> Table {
    let mut values = Values::new(
        "measured",
        "Measurement with a known resistor",
        "Limits of first order; the uncertainty takes them as rectangular.",
    );
    if let Some(one) = result.measured {
        let pole = if one.at_negative { "negative pole" } else { "positive pole" };
        values.row("Isolation resistance of the regulation", ohm(one.method_ohm), pole);
        values.row("All paths in parallel", one.parallel_ohm.map(ohm), "without the meter");
        values.row("Limit by drift of the pack", ohm(one.drift_ohm), "");
        values.row("Limit by the known resistor", ohm(one.resistor_ohm), "");
        values.row("Limit by the reading with it", ohm(one.with_resistor_ohm), "");
        values.row("Limit by the larger reading", ohm(one.larger_ohm), "");
        values.row("Limit by the reading between the poles", ohm(one.between_ohm), "");
        values.row("All together", ohm(one.limit_ohm), "added");
        values.row("Standard uncertainty", ohm(one.standard_ohm), "");
        if let Some(drawn) = one.drawn {
            values.row("Lower end of 95 %", ohm(drawn.low_ohm), format!("{} trials", drawn.trials));
            values.row("Upper end of 95 %", ohm(drawn.high_ohm), "");
        }
    }
    values.table()
}

/// A table of the standard, or the typed rows in its place.
fn standard(input: &IsolationInput, table: &'static Standard) -> Table {
    let own = input.tables.lines(table.own);
    let source = if own.is_empty() {
        table.source.to_owned()
    } else {
        format!("typed rows in place of {}: {}", table.source, input.tables.edition)
    };
    let lines = counting(table, own);
    let status = |line: &Line| {
        let count = table.columns.len();
        let words: Vec<&str> = line.status[..count].iter().map(|status| status.word()).collect();
        let same = words.iter().all(|word| *word == words[0]);
        let from_memory = || {
            let columns = table.columns.iter().zip(&words).filter(|(_, word)| **word == RowStatus::Memory.word());
            format!("from memory: {}", columns.map(|(column, _)| *column).collect::<Vec<_>>().join(", "))
        };
        if same { words[0].to_owned() } else { from_memory() }
    };
    let row = |line: &Line| {
        let mut cells: Vec<Cell> = line.values[..table.columns.len()]
            .iter()
            .map(|value| Some(*value).filter(|value| value.is_finite()).into())
            .collect();
        cells.push(status(line).into());
        Row { head: say(line.at, table.axis), note: String::new(), cells }
    };
    let mut columns: Vec<Column> = table.columns.iter().map(|column| Column::of(column, table.unit)).collect();
    columns.push(Column::words("Status"));
    Table {
        id: table.id.into(),
        caption: table.title.into(),
        note: format!("{source}."),
        columns,
        head: table.head.into(),
        heads: Some((table.axis, lines.iter().map(|line| line.at).collect())),
        rows: lines.iter().map(row).collect(),
    }
}

pub(super) fn cautions(input: &IsolationInput, result: &IsolationOutput) -> Vec<String> {
    let mut care: Vec<String> = caution::touch(input.barrier.pack_v).into_iter().collect();
    let stored = result.y.and_then(|y| y.one_sided_j).filter(|energy| *energy > input.y.energy_limit_j);
    if let Some(energy) = stored {
        care.push(format!(
            "Stored {} between conductor and chassis remain after opening. Treat as charged until measured as discharged. The limit shown is an editable assumption; the edition in force for your product decides.",
            joule(energy)
        ));
    }
    let short = result.crossings.iter().any(|one| {
        let less =
            |there: Option<f64>, asked: Option<f64>| there.zip(asked).is_some_and(|(there, asked)| there < asked);
        less(one.clearance_mm, one.clearance_required_mm) || less(one.creepage_mm, one.creepage_required_mm)
    });
    if short {
        care.push("Spacing is less than the value taken from the tables you selected. Tables are typed in as a design aid; the standard, its current edition and the certification body prevail.".into());
    }
    let left = result.y.and_then(|y| y.left_v).filter(|left| *left > TOUCH_SAFE_V);
    if let Some(left) = left {
        care.push(format!(
            "After a discharge from pole to pole both poles may still hold {} to the chassis. Do not rely on time alone: measure with a suitable instrument proven before and after.",
            volt(left)
        ));
    }
    if input.barrier.pack_v > TOUCH_SAFE_V {
        care.push("Distances, ratings and paths are judged. Solid insulation inside isolator, transformer and board, the class of the isolator and its surge test are not: take them from certificates.".into());
    }
    if result.bus.is_some() || result.measured.is_some() {
        care.push("Insulation and dielectric tests can destroy measuring inputs and leave charge behind. Follow the test plan of the responsible person.".into());
    }
    care
}
