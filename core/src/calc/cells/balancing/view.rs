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
        Figure::of("Time", hour(passive.time_h), format!("for {}, by bleeding alone", ampere_hour(passive.charge_ah))),
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
    row("Time against the mismatch of the leakage", passive.against_leak_h.map(hour));
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
    let mut steps = vec![
        Step::worked("Current while on", "I", "V/(R + Rs + 2 Rw)", i, "Ohm's law", |p| p.of(v) / p.of(r)),
        Step::worked("Charge to remove", "dQ", "ds Q", charge, "definition", |p| {
            p.of(percent(input.imbalance_percent)) * p.of(ampere_hour(input.capacity_ah))
        }),
    ];
    steps.push(if input.curve.points.is_empty() {
        Step::worked("Time", "t", "dQ/(I d)", time, "definition", |p| p.of(charge) / (p.of(i) * p.of(d)))
    } else {
        let mean = volt(charge.value * r.value / (time.value * input.duty()));
        let formula = "dQ R/(V_m d), 1/V_m the mean of 1/V over the charge, Σ Δs ln(V1/V2)/(V1 − V2)";
        Step::worked("Time", "t", formula, time, "integrated along the points, exact for each stretch", |p| {
            p.of(charge) * p.of(r) / (p.of(mean) * p.of(d))
        })
    });
    let leak = ampere(input.accuracy.leak_mismatch_a);
    if let Some(time_h) = passive.against_leak_h.filter(|_| leak.value > 0.0) {
        let mean = ampere((charge.value / time_h + leak.value) / input.duty());
        let (label, formula) = ("Time against the leakage", "dQ/(I_m d − dI), I_m the mean current while on");
        steps.push(Step::worked(label, "t_l", formula, hour(time_h), "charge balance", |p| {
            p.of(charge) / (p.of(mean) * p.of(d) - p.of(leak))
        }));
    }
    let (on_board, count) = (ohm(input.bleed_ohm + input.switch_ohm), one(f64::from(input.channels_on)));
    let (power, source) = (watt(passive.board_w), "Joule heat, mesh equations");
    steps.push(if input.wire_ohm == 0.0 {
        Step::worked("Power of the board", "P_b", "n I² (R + Rs) d", power, source, |p| {
            p.of(count) * p.of(i).squared() * p.of(on_board) * p.of(d)
        })
    } else {
        let square = passive.board_w / (count.value * on_board.value * input.duty());
        let formula = "n I_q² (R + Rs) d, I_q root mean square of the mesh currents of one run";
        Step::worked("Power of the board", "P_b", formula, power, source, |p| {
            p.of(count) * p.of(ampere(square.sqrt())).squared() * p.of(on_board) * p.of(d)
        })
    });
    let need = ampere_hour(result.daily.need_ah_per_day);
    steps.push(Step::worked("Charge that a day needs", "q_d", "24 h dI", need, "definition", |p| {
        p.of(hour(24.0)) * p.of(leak)
    }));
    if let Some((floor, lowest)) = result.floor.and_then(|floor| floor.percent.map(|lowest| (floor, lowest))) {
        let slope = Quantity::new(floor.slope_v_per_percent, Unit::VoltPerPercent);
        steps.push(Step::worked("Floor", "s_min", "e/(dU/ds)", percent(lowest), "error propagation", |p| {
            p.of(volt(floor.error_v)) / p.of(slope)
        }));
    }
    steps
}
