//! Balancing for a reader.

use super::{BalancingInput, BalancingOutput};
use crate::judge::{Ledger, Verdict};
use crate::quantity::{
    Quantity, Unit, ampere, ampere_hour, celsius, hour, joule, ohm, one, percent, second, volt, watt,
};
use crate::report::caution;
use crate::report::kit::{Columns, Series, Values};
use crate::report::{Axis, Block, Chart, Curve, Figure, Step, Stroke, Table, View};

pub(super) fn view(input: &BalancingInput, result: &BalancingOutput, judged: &Ledger) -> View {
    let (passive, daily) = (&result.passive, &result.daily);
    let mut blocks = vec![Block::Figures(figures(input, result)), Block::Chart(chart(input, result))];
    if !result.floor_curve.is_empty() {
        blocks.push(Block::Chart(floor_chart(input, result)));
    }
    blocks.push(Block::Table(table(result)));
    if result.active.is_some() {
        blocks.push(Block::Table(side_by_side(result)));
    }
    let end = match judged.verdict() {
        Verdict::Fails => ": a requirement fails",
        Verdict::Thin => ", with little left",
        _ => "",
    };
    let (imbalance, time) = (percent(input.imbalance_percent), hour(passive.time_h));
    let (board, need, minutes) = (watt(passive.board_w), per_day(daily.need_ah_per_day), one(daily.bleed_min));
    View {
        lead: format!("{imbalance} takes {time} with {} a cell{end}", ampere(passive.current_a)),
        more: format!("The board gets {board}; the daily need is {need} or {minutes} min of bleeding."),
        blocks,
    }
}

const fn per_day(ampere_hours: f64) -> Quantity {
    Quantity::new(ampere_hours, Unit::AmpereHourPerDay)
}

const fn slope(volt_per_percent: f64) -> Quantity {
    Quantity::new(volt_per_percent, Unit::VoltPerPercent)
}

pub(super) fn cautions(result: &BalancingOutput) -> Vec<String> {
    caution::surface("Surface", result.passive.hottest_degc()).into_iter().collect()
}

fn figures(input: &BalancingInput, result: &BalancingOutput) -> Vec<Figure> {
    let (passive, daily) = (&result.passive, &result.daily);
    let start = format!("while on, at {}", volt(passive.start_v));
    let mut figures = vec![
        Figure::of("Current", ampere(passive.current_a), start),
        Figure::of("Time", hour(passive.time_h), format!("for {}", ampere_hour(passive.charge_ah))),
        Figure::of("Power of a channel", watt(passive.channel_w), "while on"),
        Figure::of("Board", watt(passive.board_w), format!("{} channels, mean", input.channels_on)),
        Figure::of("Daily need", per_day(daily.need_ah_per_day), "mismatch of the leakage"),
        Figure::of("Bleeding for it", second(daily.bleed_s), "a day, pauses included"),
    ];
    let floor = result.floor.and_then(|floor| floor.percent).map(percent);
    figures.extend(floor.map(|floor| Figure::of("Floor", floor, "cannot be told from zero")));
    let hot = passive.hottest_degc().map(celsius);
    figures.extend(hot.map(|hot| Figure::of("Hottest", hot, "resistor, or the board when that is all that is known")));
    figures
}

fn chart(input: &BalancingInput, result: &BalancingOutput) -> Chart {
    let (passive, title) = (&result.passive, "Imbalance that is left over time");
    let (x, y) = (Axis::linear("time", Unit::Hour), Axis::linear("imbalance", Unit::Percent));
    let mut series = Series::new("imbalance", title, &result.course, x, |point| point.time_h, y).every(5);
    series.table_words("Imbalance that is left", "");
    series.curve("bleeding", Stroke::Main, |point| Some(point.passive_percent));
    if result.active.is_some() {
        series.curve("transfer", Stroke::Second, |point| point.active_percent);
    } else {
        series.column("Transfer", Unit::Percent, |_| None);
    }
    if let Some(floor) = result.floor.and_then(|floor| floor.percent).filter(|floor| *floor <= input.imbalance_percent)
    {
        series.level("floor", floor);
    }
    let gone = format!("The imbalance is gone after {}", hour(passive.time_h));
    let finding = if input.curve.points.is_empty() {
        gone
    } else {
        format!("{gone}; at constant voltage it would be {}", hour(passive.constant_h))
    };
    let (duty, start, end) = (percent(input.duty_percent), ampere(passive.current_a), ampere(passive.end_current_a));
    series.chart(finding, format!("{duty} duty, {start} at the start, {end} at the end"))
}

fn floor_chart(input: &BalancingInput, result: &BalancingOutput) -> Chart {
    let (points, title) = (&result.floor_curve, "Smallest imbalance that can be seen");
    let (x, y) = (Axis::linear("state of charge", Unit::Percent), Axis::log("imbalance", Unit::Percent));
    let mut series = Series::new("floor", title, points, x, |point| point.soc_percent, y).every(1);
    series.table_words(title, "Level stretches tell nothing and are left out.");
    series.curve("floor", Stroke::Main, |point| Some(point.floor_percent));
    series.mark(input.curve.start_soc_percent, input.imbalance_percent, "bleeding starts");
    let best = points.iter().min_by(|a, b| a.floor_percent.total_cmp(&b.floor_percent));
    let finding = best.map_or_else(String::new, |best| {
        let (at, floor) = (percent(best.soc_percent), percent(best.floor_percent));
        format!("The cells are told apart best near {at}: to {floor}")
    });
    let error = volt(input.compared_v(&result.wire).unwrap_or(0.0));
    let mut chart = series.chart(finding, format!("Error {error}"));
    let points = [0.0, 100.0].map(|soc| [soc, input.imbalance_percent]).into();
    chart.curves.push(Curve { label: "to remove".into(), stroke: Stroke::Allowed, points });
    chart
}

fn table(result: &BalancingOutput) -> Table {
    let (passive, wire, floor) = (&result.passive, &result.wire, result.floor.as_ref());
    let mut values = Values::new("details", "Bleeding in detail", "Heat at the voltage of the start.");
    let mut row = |head: &str, value: Option<Quantity>| values.row(head, value, "");
    row("Current at the end", Some(ampere(passive.end_current_a)));
    row("Power of the resistor, while on", Some(watt(passive.resistor_w)));
    row("Energy lost by one cell", Some(joule(passive.energy_j)));
    row("Time at constant voltage", Some(hour(passive.constant_h)));
    row("Board temperature", passive.board_degc.map(celsius));
    row("Resistor temperature", passive.resistor_degc.map(celsius));
    row("Largest current of a channel, in a run of neighbours", Some(ampere(passive.largest_a)));
    row("Reading of a cell that bleeds alone, off by", Some(volt(wire.own_v)));
    row("Reading of a cell between two runs, off by", Some(volt(wire.neighbour_v)));
    row("Imbalance after 30 days without balancing", Some(percent(result.daily.month_percent)));
    row("Slope of the open-circuit voltage", floor.map(|floor| slope(floor.slope_v_per_percent)));
    row("Largest error that shows the imbalance", floor.map(|floor| volt(floor.allowed_error_v)));
    values.table()
}

fn side_by_side(result: &BalancingOutput) -> Table {
    let passive = &result.passive;
    let mut rows = vec![("Bleeding", "everything is lost".to_owned(), [passive.time_h, passive.energy_j, 0.0])];
    if let Some(active) = &result.active {
        let pays = active.break_even_days.map(|days| Quantity::new(days, Unit::Day));
        let told = |days| format!("one balancing of all channels pays {days} of standby");
        let note = pays.map_or_else(|| "no standby".into(), told);
        rows.push(("Transfer", note, [active.time_h, active.loss_j, active.standby_j]));
    }
    Columns::new("side-by-side", "Bleeding and transfer side by side", "Way", &rows, |_, (head, ..)| (*head).into())
        .note("For the imbalance of one cell.")
        .small(|(_, note, _)| note.clone())
        .column("Time", Unit::Hour, |(.., [time, _, _])| *time)
        .column("Loss", Unit::Joule, |(.., [_, loss, _])| *loss)
        .column("Of it standby", Unit::Joule, |(.., [_, _, standby])| *standby)
        .table()
}

pub(super) fn working(input: &BalancingInput, result: &BalancingOutput) -> Vec<Step> {
    let passive = &result.passive;
    let (v, r, d) = (volt(passive.start_v), ohm(input.path_ohm()), percent(input.duty_percent));
    let (i, charge, time) = (ampere(passive.current_a), ampere_hour(passive.charge_ah), hour(passive.time_h));
    let mut steps = Vec::new();
    let mut step = |label: &str, symbol: &str, formula: &str, numbers: String, value: Quantity, source: &str| {
        steps.push(Step::new(label, symbol, formula, numbers, value, source));
    };
    step("Current while on", "I", "V/(R + Rs + 2 Rw)", format!("{v}/{r}"), i, "Ohm's law");
    let numbers = format!("{} · {}", percent(input.imbalance_percent), ampere_hour(input.capacity_ah));
    step("Charge to remove", "dQ", "ds Q", numbers, charge, "definition");
    if input.curve.points.is_empty() {
        step("Time", "t", "dQ/(I d)", format!("{charge}/({i} · {d})"), time, "definition");
    } else {
        let (formula, source) =
            ("(Q R/d) Σ Δs ln(V1/V2)/(V1 − V2)", "integrated along the points, exact for each stretch");
        let numbers = format!("{charge} · {r}/{d} over {v} to {}", volt(passive.end_v));
        step("Time", "t", formula, numbers, time, source);
    }
    let on_board = ohm(input.bleed_ohm + input.switch_ohm);
    let (formula, numbers) = if input.wire_ohm == 0.0 {
        ("n I² (R + Rs) d", format!("{} · ({i})² · {on_board} · {d}", input.channels_on))
    } else {
        (
            "Σ I_k² (R + Rs) d",
            format!("one run of {}, {} at most, {on_board}, {d}", input.channels_on, ampere(passive.largest_a)),
        )
    };
    step("Power of the board", "P_b", formula, numbers, watt(passive.board_w), "Joule heat, mesh equations");
    let numbers = format!("24 h · {}", ampere(input.accuracy.leak_mismatch_a));
    step("Daily need", "q_d", "24 h dI", numbers, per_day(result.daily.need_ah_per_day), "definition");
    if let Some((floor, lowest)) = result.floor.and_then(|floor| floor.percent.map(|lowest| (floor, lowest))) {
        let error = volt(floor.error_v);
        let numbers = format!("{error}/{}", slope(floor.slope_v_per_percent));
        step("Floor", "s_min", "e/(dU/ds)", numbers, percent(lowest), "error propagation");
    }
    steps
}
