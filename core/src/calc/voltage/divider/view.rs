//! The divider's numbers for a reader: figures, tables and charts.

use super::fault::DividerFault;
use super::input::DividerInput;
use super::ladder_chart;
use super::output::{DividerBendPoint, DividerOutput};
use super::requirements::{CREEPAGE, whole_percent};
use crate::judge::{Ledger, Verdict};
use crate::quantity::{
    Unit, ampere, ampere_hour, celsius, hertz, in_sentence, joule, kelvin, ohm, ohm_per_volt, one, percent,
    ppm_per_volt, second, volt, watt,
};
use crate::report::caution;
use crate::report::kit::{Columns, Series, Values};
use crate::report::{Axis, Block, Budget, Cell, Chart, Contribution, Figure, Stroke, Table, Total, View};

pub(super) fn view(input: &DividerInput, result: &DividerOutput, judged: &Ledger) -> View {
    let stands = match judged.verdict() {
        Verdict::Fails => "The divider fails: ",
        Verdict::NotResolved | Verdict::NotJudged => "",
        Verdict::Thin => "The divider holds with little left: ",
        Verdict::Holds | Verdict::NoLimitSet => "The divider holds: ",
    };
    let worst = judged.told().first().map_or_else(String::new, |worst| {
        let used = worst.used_percent.map_or_else(String::new, |used| format!(", {} used", whole_percent(used)));
        let first = if worst.verdict == Verdict::NotJudged { "not judged" } else { "worst" };
        format!("; {first} is {}{used}", in_sentence(&worst.label))
    });
    let (highest, error) = (volt(input.input_max_v), &result.error);
    let largest = error.terms.iter().max_by(|a, b| a.percent.total_cmp(&b.percent));
    let largest = largest.map_or_else(String::new, |term| {
        format!("; the largest part is {} with {}", in_sentence(term.label), percent(term.percent))
    });
    let (ambient, limit) = (celsius(input.ambient_degc), volt(result.stress.limit_v));
    let conditions = format!("{highest}, ambient {ambient}, limit {limit}");
    let rule = input.stress_limit_percent;
    View {
        lead: format!("{stands}{highest} gives {}{worst}", volt(result.ratio.output_v)),
        more: format!(
            "Its own error is ±{} by worst case without calibration{largest}.",
            percent(error.worst_case_percent)
        ),
        blocks: vec![
            Block::Figures(figures(input, result)),
            Block::Chart(ladder_chart::chart(&result.stress.ladder, input.upper.count, rule, conditions)),
            Block::Budget(budget(input, result)),
            Block::Table(faults(result)),
            Block::Table(creepage(result, judged)),
            Block::Chart(bend_chart(input, result)),
            Block::Table(tolerance(result)),
            Block::Table(surroundings(input, result)),
        ],
    }
}

pub(super) fn cautions(input: &DividerInput, result: &DividerOutput) -> Vec<String> {
    let mut care = voltage_care(input.input_max_v, input.upper.count);
    if let Some(open) = result.faults.iter().find(|row| row.id == "lower-open" && over_range(row, result)) {
        let towards = volt(input.input_max_v.min(open.output_v));
        care.push(format!("An open lower element lets the input of what follows rise towards {towards}: clamp it."));
    }
    care
}

/// What the voltage itself asks for: nothing while it is safe to touch.
pub fn voltage_care(voltage_v: f64, count: u32) -> Vec<String> {
    let Some(touch) = caution::touch(voltage_v) else { return Vec::new() };
    let voltage = volt(voltage_v);
    let mut care = vec![
        touch,
        format!(
            "The upper string stands at {voltage}. Treat every point of it as live, also with the electronics off."
        ),
    ];
    if count == 1 {
        care.push(format!(
            "One shorted part connects {voltage} to the electronics. Use more than one element in series or a rated barrier."
        ));
    }
    care
}

fn figures(input: &DividerInput, result: &DividerOutput) -> Vec<Figure> {
    let (ratio, highest) = (&result.ratio, volt(input.input_max_v));
    let range = format!("at {highest}, {} of the range", percent(ratio.range_used_percent));
    let mut figures = vec![
        Figure::of("Input over output", one(ratio.factor), "the constant of the firmware, with the load"),
        Figure::of("Output", volt(ratio.output_v), range),
        Figure::of("Converter full at", volt(ratio.over_range_v), "at the input"),
        Figure::of("Source resistance", ohm(result.dynamics.source_ohm), "without the load"),
    ];
    if let Some(corner) = result.dynamics.corner_hz {
        figures.push(Figure::of("Filter corner", hertz(corner), "with the load"));
    }
    figures.push(Figure::of("Drain", ampere(result.drain.current_a), "of one string"));
    if let Some(short) = result.faults.iter().find(|row| row.id == "upper-short") {
        let (label, reads) = if over_range(short, result) {
            ("One element short: over range, above", ratio.over_range_v)
        } else {
            ("One element short reads", short.reading_v)
        };
        figures.push(Figure::of(label, volt(reads), format!("instead of {highest}")));
    }
    if let Some(needed) = result.stress.count.needed {
        let there = format!("there are {}", input.upper.count);
        figures.push(Figure::of("Elements needed", one(f64::from(needed)), there));
    }
    figures
}

fn budget(input: &DividerInput, result: &DividerOutput) -> Budget {
    let error = &result.error;
    let whole = error.worst_case_percent.max(f64::MIN_POSITIVE);
    let mut terms: Vec<_> = error.terms.iter().filter(|term| term.percent > 0.0).collect();
    terms.sort_by(|a, b| b.percent.total_cmp(&a.percent));
    let total =
        |label: &str, note: &str, size: f64| Total { label: label.into(), note: note.into(), size, verdict: None };
    Budget {
        id: "divider-error".into(),
        caption: format!("Error of the divider alone at {}", volt(input.input_max_v)),
        note: "Percent of the input, end of life, without calibration.".into(),
        unit: Unit::Percent,
        rows: terms
            .into_iter()
            .map(|term| Contribution {
                label: term.label.into(),
                note: String::new(),
                size: term.percent,
                share_percent: term.percent / whole * 100.0,
                grows: !term.fixed,
            })
            .collect(),
        totals: vec![
            total("Worst case", "sum of the terms", error.worst_case_percent),
            total("Root-sum-square", "of the terms; no coverage interval", error.root_sum_square_percent),
        ],
    }
}

/// Whether the converter is full before it can read the fault.
fn over_range(row: &DividerFault, result: &DividerOutput) -> bool {
    row.reading_v > result.ratio.over_range_v
}

fn faults(result: &DividerOutput) -> Table {
    let full = volt(result.ratio.over_range_v);
    let inside = |row: &DividerFault| !over_range(row, result);
    let seen = |yes: bool| if yes { "seen" } else { "missed" };
    Columns::new("faults", "One element open or short", "Fault", &result.faults, |_, row| row.label.into())
        .note("At the highest input. The range check must see the fault at every voltage of the pack.")
        .small(|row| {
            let missed = row.missed_from_v.zip(row.missed_to_v);
            missed.map_or_else(String::new, |(from, to)| {
                format!("range check misses it from {} to {}", volt(from), volt(to))
            })
        })
        .column("Reads", Unit::Volt, |row| {
            if inside(row) { Cell::Number(row.reading_v) } else { Cell::Words(format!("over range, above {full}")) }
        })
        .column("Factor", Unit::One, |row| Some(row.factor).filter(|_| inside(row)))
        .words("Range check", |row| seen(row.seen_by_range))
        .words("Sum of the cells", |row| seen(row.seen_by_comparison))
        .column("Over the gap", Unit::Volt, |row| row.gap_v)
        .column("Other elements", Unit::Volt, |row| row.survivor_v)
        .column("Of their limit", Unit::Percent, |row| row.survivor_stress_percent)
        .table()
}

fn creepage(result: &DividerOutput, judged: &Ledger) -> Table {
    let stands = judged.rows().iter().filter(|one| one.id == CREEPAGE).map(|one| judged.verdict_of(one));
    let paths: Vec<_> = result.creepage.iter().zip(stands).collect();
    Columns::new("creepage", "Creepage along the chain", "Path", &paths, |_, (path, _)| path.label.to_string())
        .note("Between any two points of the layout; the millimetres per volt are as entered, not taken from a table.")
        .column("Voltage", Unit::Volt, |(path, _)| path.voltage_v)
        .column("Required", Unit::Millimetre, |(path, _)| path.required_mm)
        .column("Available", Unit::Millimetre, |(path, _)| path.available_mm)
        .column("Used", Unit::Percent, |(path, _)| path.used_percent)
        .words("Verdict", |(_, verdict)| *verdict)
        .table()
}

fn bend_chart(input: &DividerInput, result: &DividerOutput) -> Chart {
    let (x, y) = (Axis::linear("input", Unit::Volt), Axis::linear("error", Unit::Volt));
    let (title, bend) = ("Error of the voltage coefficient", &result.bend);
    let at = |point: &DividerBendPoint| point.input_v;
    let mut series = Series::new("voltage-coefficient", title, &result.curve, x, at, y).every(4);
    series.curve("not calibrated", Stroke::Thin, |point| Some(point.before_v));
    series.curve("calibrated", Stroke::Main, |point| Some(point.after_v));
    for v in [bend.calibration_low_v, bend.calibration_high_v] {
        series.mark(v, 0.0, format!("calibrated at {}", volt(v)));
    }
    let finding = format!(
        "The voltage coefficient bends the reading by {} at {}; calibration leaves {} between its two points",
        volt(bend.at_max_v),
        volt(input.input_max_v),
        volt(bend.left_between_v)
    );
    let coefficient = ppm_per_volt(input.upper.voltage_coefficient_ppm_per_v);
    series.chart(finding, format!("{coefficient} on each of {} elements", input.upper.count))
}

fn tolerance(result: &DividerOutput) -> Table {
    let (t, d) = (&result.tolerance, &result.drift);
    let note = "One reel moves together: the credit of √n is for independent elements only.";
    let mut values = Values::new("tolerance", "Tolerance of the ratio", note);
    values.row("Highest deviation of the ratio", percent(t.ratio_high_percent), "exact");
    values.row("Lowest deviation of the ratio", percent(t.ratio_low_percent), "exact");
    values.row("Worst case", percent(t.worst_case_percent), "first order");
    values.row("Root-sum-square, given correlation", percent(t.correlated_percent), "");
    values.row("Root-sum-square, independent", percent(t.independent_percent), "");
    values.row("Standard uncertainty, independent", percent(t.standard_percent), "rectangular limits");
    values.row("Drift by tracking", percent(d.tracking_percent), "");
    values.row("Drift by absolute coefficients", percent(d.absolute_percent), "");
    let heating = &result.heating;
    let rises = format!("upper element {}, lower {} above ambient", kelvin(heating.upper_k), kelvin(heating.lower_k));
    values.row("Self-heating at the highest input", percent(heating.error_percent), rises);
    let seen = percent(result.smallest_seen_drift_percent);
    values.row("Smallest change of one element that the cells reveal", seen, "");
    values.table()
}

fn surroundings(input: &DividerInput, result: &DividerOutput) -> Table {
    let (load, leak, dynamics, drain, insulation) =
        (&result.load, &result.leakage, &result.dynamics, &result.drain, &result.insulation);
    let counted = if insulation.counts { "between pack and chassis" } else { "not referred to the chassis" };
    let loaded = |value: f64| input.load_ohm.map(|_| percent(value));
    let mut values = Values::new("surroundings", "Load, leakage, filter and drain", "");
    values.row("Loading", loaded(load.loading_percent), "in the constant, not an error");
    values.row("Spread of the loading", loaded(load.spread_percent), "");
    values.row("Bias current at the pack", volt(load.bias_v), "");
    values.row("Leakage over the string", leak.whole_percent.map(percent), "");
    values.row("The same over one element", leak.element_percent.map(percent), "");
    values.row("The same over the lower part", leak.lower_percent.map(percent), "");
    values.row("Smallest leakage over the string", leak.smallest_ohm.map(ohm), "for the budget");
    values.row("Smallest leakage over one element", leak.smallest_element_ohm.map(ohm), "for the budget");
    values.row("Settling to 0.1 %", dynamics.settling_1000_s.map(second), "");
    values.row("Settling to 0.01 %", dynamics.settling_10000_s.map(second), "");
    values.row("Lag on the ramp", dynamics.ramp_lag_v.map(volt), "at the pack");
    values.row("Thermal noise", dynamics.noise_v.map(volt), "root mean square, at the pack");
    values.row("Standing power", watt(drain.power_w), "");
    values.row("Charge a year", ampere_hour(drain.charge_ah_per_year), "");
    values.row("Energy a day", joule(drain.energy_j_per_day), "");
    values.row("Resistance of the strings", ohm(insulation.strings_ohm), counted);
    values.row("With the insulation of the pack", ohm(insulation.together_ohm), "");
    values.row("The same, strings at their lowest", ohm(insulation.least_ohm), "");
    values.row("Insulation per volt", ohm_per_volt(insulation.ohm_per_v), "against 100 and 500");
    values.table()
}
