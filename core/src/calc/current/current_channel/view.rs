//! The current channel's numbers for a reader: working, figures, tables, charts and the lane of the chain.

use super::model::SHUNT;
use super::{ChannelInput, ChannelOutput, ChannelPoint};
use crate::calc::current::shunt::balance;
use crate::channel;
use crate::channel::budget::{self, Heading, Output};
use crate::channel::calibrated::CALIBRATION;
use crate::channel::corners::{Corners, JUDGED};
use crate::channel::map;
use crate::channel::telling::{self, Line, Shown};
use crate::judge::Ledger;
use crate::physics::front_end::{AMPLIFIER, CONVERTER, Life};
use crate::quantity::{
    Unit, ampere, ampere_hour, celsius, henry, hertz, hour, kelvin, ohm, one, percent, ppm, second, volt, watt,
};
use crate::report::caution;
use crate::report::kit::{Columns, Series};
use crate::report::worked::{Term, n};
use crate::report::{Axis, Block, Budget, Cell, Chart, Curve, Figure, Lane, Step, Stroke, Table, View};

fn shown(point: &ChannelPoint) -> Shown<'_> {
    let corner = point.worst_corner.as_ref();
    Shown {
        at: ampere(point.current_a),
        allowed: point.allowed_a,
        judged: point.judged_a,
        used_percent: point.used_percent,
        verdict: point.verdict,
        assessment: point.assessment.as_ref(),
        corner: corner.map(|one| (one.ambient_degc, one.direction.as_str(), one.settings.as_slice())),
    }
}

pub(super) fn working(input: &ChannelInput, result: &ChannelOutput) -> Vec<Step> {
    let (shunt, load) = (&input.shunt, &input.load);
    let r = ohm(shunt.resistance_ohm);
    let mut steps = Vec::new();
    if let (Some(power), Some(rise), Some(change)) =
        (result.stress.power_w, result.stress.rise_k, result.stress.change_ppm)
    {
        let [a, b, c] = shunt.node(load.continuous_a, result.stress.ambient_degc).coefficients();
        steps.extend([
            Step::worked(
                "Rise above ambient, coupled with R(T)",
                "x",
                "2 C / (−B + √(B² − 4 A C)); g = Rth I² R0, d = Ta − Tref, A = g b, B = g (a + 2 b d) − 1, C = g (1 + a d + b d²)",
                kelvin(rise),
                "energy balance of one node; closed form of the quadratic",
                balance(a, b, c),
            ),
            Step::worked("Steady loss", "P", "I² R(T)", watt(power), "Joule's law", |p| {
                p.of(ampere(load.continuous_a)).squared() * p.of(r) * (n(1) + p.of(ppm(change)))
            }),
        ]);
    }
    if let Some(corner) = result.ripple.corner_hz {
        let l = henry(shunt.inductance_henry);
        steps.extend([
            Step::worked("Inductive corner", "f_c", "R0 / (2π L)", hertz(corner), "first-order R-L", |p| {
                p.of(r) / (n(2) * Term::pi() * p.of(l))
            }),
            Step::worked(
                "Ripple spike in amperes",
                "I_spike",
                "L · 4 Î f / R0",
                ampere(result.ripple.spike_a),
                "u = L di/dt, triangle at 50 % duty",
                |p| {
                    p.of(l) * n(4) * p.of(ampere(load.ripple_current_a)) * p.of(hertz(load.ripple_frequency_hz))
                        / p.of(r)
                },
            ),
            Step::worked(
                "Matching time constant",
                "R_f C_f",
                "L / R0",
                second(result.ripple.time_constant_s),
                "pole-zero cancellation; common practice, no source",
                |p| p.of(l) / p.of(r),
            ),
        ]);
    }
    let listed = |worst: &&ChannelPoint| result.points.iter().any(|point| point.current_a == worst.current_a);
    for point in result.points.iter().chain(result.worst.iter().filter(|worst| !listed(worst))) {
        if let Some(done) = &point.assessment {
            steps.push(telling::sum(&format!("Sum of limits at {}", ampere(point.current_a)), done, Unit::Ampere));
        }
        if let Some(allowed) = point.allowed_a {
            let with = &input.requirement;
            let at = ampere(point.current_a);
            steps.push(with.form.step(with.gain_percent, with.offset_a, at, load.full_scale_a, allowed));
        }
    }
    let zero = &result.zero;
    let (charge, source) = (ampere_hour(zero.charge_ah_per_day), "charge = current × time");
    steps.push(Step::worked("Charge counted in a day at zero current", "Q_day", "24 h · I_0", charge, source, |p| {
        p.of(hour(24.0)) * p.of(ampere(zero.offset_a))
    }));
    steps
}

pub(super) fn view(input: &ChannelInput, result: &ChannelOutput, judged: &Ledger) -> View {
    let state = (&input).life(JUDGED);
    let mut view = View::default();
    let all: Vec<Shown<'_>> = result.points.iter().map(shown).collect();
    let worst = result.worst.as_ref().map(|point| (point, shown(point)));
    let worst = worst.or_else(|| telling::worst(&result.points, |point| Some(shown(point))));
    view.blocks.push(Block::Figures(figures(input, result)));
    let Some((point, told)) = worst else {
        view.lead = "No current could be judged".into();
        return view;
    };
    view.lead = telling::lead(&told, "no steady state", judged);
    view.more = telling::more(&told, input.requirement.judged_by, &state).unwrap_or_default();
    view.blocks.extend(lane(input, point).filter(|_| telling::judges::<&ChannelInput>(judged)).map(Block::Lane));
    view.blocks.push(Block::Table(grid(input, result)));
    view.blocks.push(Block::Chart(chart(input, result)));
    let worst_at = point.worst_corner.as_ref().map(|corner| (point.current_a, corner.ambient_degc));
    view.blocks.extend(map::chart(&input, "current", true, worst_at, &state).map(Block::Chart));
    view.blocks.extend(budgets(result, point, &state).into_iter().map(Block::Budget));
    let note = "End of life, calibrated; the largest sources with the sign that adds up.";
    view.blocks.push(Block::Table(telling::recipes("current", "Current", note.into(), &all)));
    view.blocks.extend(distribution(point).map(Block::Chart));
    view
}

/// The budgets of the worst point and of the largest current.
fn budgets(result: &ChannelOutput, worst: &ChannelPoint, state: &str) -> Vec<Budget> {
    let largest = result.points.iter().max_by(|a, b| a.current_a.abs().total_cmp(&b.current_a.abs()));
    let other = largest.filter(|point| point.current_a.total_cmp(&worst.current_a).is_ne());
    // The address of a budget is the place of its current among the listed ones; one that is not listed stands behind them.
    let same = |point: &ChannelPoint| {
        let size = point.current_a.abs();
        move |other: &ChannelPoint| other.current_a.abs().total_cmp(&size).is_eq()
    };
    let place = |point: &ChannelPoint| result.points.iter().position(same(point)).unwrap_or(result.points.len());
    let told = [worst].into_iter().chain(other).filter_map(|point| {
        let corner = point.worst_corner.as_ref().map_or_else(String::new, |corner| {
            format!("Ambient {}, element {}, ", celsius(corner.ambient_degc), celsius(corner.element_degc))
        });
        let heading = Heading {
            id: format!("budget-{}", place(point) + 1),
            caption: format!("Error budget at {}", ampere(point.current_a)),
            note: format!("{corner}{state}."),
        };
        let budget = budget::budget(heading, Unit::Ampere, point.assessment.as_ref()?, Output::Error, point.allowed_a);
        Some(budget.judged_as(point.verdict))
    });
    told.collect()
}

pub(super) fn cautions(result: &ChannelOutput) -> Vec<String> {
    let live =
        "The whole front end of this channel sits at pack potential, up to the barrier. Treat it as live.".to_owned();
    std::iter::once(live).chain(caution::surface("Surface", result.stress.hottest_element_degc)).collect()
}

fn figures(input: &ChannelInput, result: &ChannelOutput) -> Vec<Figure> {
    let mut figures = Vec::new();
    if let (Some(power), Some(degc)) = (result.stress.power_w, result.stress.element_degc) {
        let at = format!("at {}, of a part without deviations", ampere(input.load.continuous_a));
        figures.push(Figure::of("Loss in the shunt", watt(power), at));
        figures.push(Figure::of(
            "Element",
            celsius(degc),
            format!("of {}, ambient {}", celsius(input.shunt.max_element_degc), celsius(result.stress.ambient_degc)),
        ));
    }
    figures.push(Figure::of(
        "Reads at zero current",
        ampere(result.zero.offset_a),
        "what calibration leaves, worst case",
    ));
    let share =
        result.zero.percent_per_day.map_or_else(String::new, |share| format!("{} of the capacity", percent(share)));
    figures.push(Figure::of("Drift of charge a day", ampere_hour(result.zero.charge_ah_per_day), share));
    if let Some(crossover) = result.zero.crossover_a {
        figures.push(Figure::of("Crossover current", ampere(crossover), "offset is larger below, gain error above"));
    }
    figures.push(Figure::of("Ripple spike", ampere(result.ripple.spike_a), "plus and minus, before any filter"));
    if let Some(corner) = result.ripple.corner_hz {
        figures.push(Figure::of(
            "Inductive corner",
            hertz(corner),
            format!("cancelled by R·C of {}", second(result.ripple.time_constant_s)),
        ));
    }
    if result.noise.averaged_a > 0.0 {
        figures.push(Figure::of(
            "Noise of a reading",
            ampere(result.noise.averaged_a),
            format!("root mean square, {} averaged; one sample {}", input.averaging, ampere(result.noise.single_a)),
        ));
    }
    figures.push(Figure::of(
        "Value of one LSB",
        ampere(result.range.lsb_a),
        format!("range used to {}", percent(result.range.used_percent.unwrap_or(f64::INFINITY))),
    ));
    figures
}

fn lane(input: &ChannelInput, point: &ChannelPoint) -> Option<Lane> {
    let (gain, signal) = (input.amplifier.gain, point.current_a * input.shunt.resistance_ohm);
    let codes = (signal * gain / input.converter.lsb_v()).round();
    let described = vec![
        (ohm(input.shunt.resistance_ohm).to_string(), volt(signal).to_string()),
        (format!("gain {}", one(gain)), volt(signal * gain).to_string()),
        (format!("{} bit", input.converter.bits), format!("{} codes", one(codes))),
        (input.calibration.kind.label().into(), ampere(point.current_a).to_string()),
    ];
    let (reading, allowed) = (ampere(point.current_a), ampere(point.allowed_a?));
    let at = channel::At { reading, judged: point.judged_a?, allowed };
    Some(channel::lane(point.assessment.as_ref()?, &[SHUNT, AMPLIFIER, CONVERTER, CALIBRATION], described, at))
}

fn grid(input: &ChannelInput, result: &ChannelOutput) -> Table {
    let rows: Vec<_> =
        result.points.iter().flat_map(|point| point.grid.iter().map(move |row| (point.current_a, row))).collect();
    let head = "Current and state";
    Columns::new("grid", "Error over current and life", head, &rows, |_, (at, _)| ampere(*at).to_string())
        .note("Each state at its worst ambient. Left after calibration: compare the calibrated rows with those before.")
        .small(|(_, row)| (&input).life(Life { calibrated: row.calibrated, end_of_life: row.end_of_life }))
        .column("Worst at ambient", Unit::Celsius, |(_, row)| row.ambient_degc)
        .column("Element", Unit::Celsius, |(_, row)| row.element_degc)
        .column("Worst case", Unit::Ampere, |(_, row)| Cell::Limit(row.worst_case_a))
        .column("Of reading", Unit::Percent, |(_, row)| {
            Cell::Limit(row.worst_case_percent_of_reading.unwrap_or(f64::INFINITY))
        })
        .column("Of full scale", Unit::Percent, |(_, row)| Cell::Limit(row.worst_case_percent_of_full_scale))
        .column("Sum of limits", Unit::Ampere, |(_, row)| Cell::Limit(row.sum_of_limits_a))
        .column("Root-sum-square", Unit::Ampere, |(_, row)| Cell::Limit(row.root_sum_square_a))
        .table()
}

fn chart(input: &ChannelInput, result: &ChannelOutput) -> Chart {
    let line = |point: &super::CurvePoint| Line {
        at: point.current_a,
        before: point.before_calibration_a,
        worst: point.worst_case_a,
        root: point.root_sum_square_a,
        allowed: point.allowed_a,
    };
    let lines: Vec<Line> = result.curve.iter().map(line).collect();
    let finding = match over(result) {
        _ if lines.iter().all(|line| line.allowed.is_none()) => "The error over current; no requirement is set".into(),
        where_over if where_over.is_empty() => "The worst case stays inside the allowance at every current".into(),
        where_over => format!("The worst case exceeds the allowance {}", where_over.join(" and ")),
    };
    let axes = [Axis::log("current", Unit::Ampere), Axis::log("error", Unit::Ampere)];
    let mut series = telling::error_series("current", &lines, axes, true);
    for point in &result.points {
        if let Some(row) = point.grid.last() {
            series.mark(point.current_a, row.worst_case_a, format!("±{}", ampere(row.worst_case_a)));
        }
    }
    let crossover = result
        .zero
        .crossover_a
        .map_or_else(String::new, |crossover| format!("; offset and gain errors are equal at {}", ampere(crossover)));
    let with = &input.conditions;
    let (low, high) = (celsius(with.ambient_min_degc), celsius(with.ambient_max_degc));
    telling::error_chart(series, "current", finding, format!("End of life, ambient {low} to {high}{crossover}"))
}

/// Where the worst case exceeds the allowance, in words: "up to", "from", "between".
fn over(result: &ChannelOutput) -> Vec<String> {
    let curve = &result.curve;
    let passes = |index: usize| curve[index].allowed_a.is_some_and(|allowed| curve[index].worst_case_a > allowed);
    let mut words = Vec::new();
    let mut index = 0;
    while index < curve.len() {
        let first = index;
        while index < curve.len() && passes(index) {
            index += 1;
        }
        if index > first {
            let (from, to) = (ampere(curve[first].current_a), ampere(curve[index - 1].current_a));
            words.push(match (first == 0, index == curve.len()) {
                (true, true) => "at every current".into(),
                (true, false) => format!("up to {to}"),
                (false, true) => format!("from {from}"),
                (false, false) => format!("between {from} and {to}"),
            });
        }
        index += 1;
    }
    words
}

fn distribution(point: &ChannelPoint) -> Option<Chart> {
    let run = point.assessment.as_ref()?.monte_carlo.as_ref()?;
    let bins = &run.histogram;
    let width = (bins.high - bins.low) / bins.counts.len().max(1) as f64;
    if width.is_nan() || width <= 0.0 {
        return None;
    }
    let share = |(index, count): (usize, &u32)| {
        [bins.low + width * (index as f64 + 0.5), f64::from(*count) / f64::from(run.trials) * 100.0]
    };
    let points: Vec<[f64; 2]> = bins.counts.iter().enumerate().map(share).collect();
    let top = points.iter().map(|point| point[1]).fold(0.0, f64::max);
    let axes = (Axis::linear("reading error", Unit::Ampere), Axis::linear("share of trials in a bin", Unit::Percent));
    let title = "Distribution of the reading error";
    let mut series = Series::new("distribution", title, &points, axes.0, |point| point[0], axes.1).every(2);
    series.curve_as("share", "Share", Stroke::Filled, |point| Some(point[1]));
    let interval = &run.p95.symmetric;
    let finding = format!(
        "The 95 % coverage interval reaches from {} to {} at {}",
        ampere(interval.low),
        ampere(interval.high),
        ampere(point.current_a)
    );
    let conditions = format!(
        "Monte Carlo with the distributions assumed, {} trials, seed {}, at the worst corner",
        run.trials, run.seed
    );
    let mut chart = series.chart(finding, conditions);
    chart.table.head = "Error".into();
    for end in point.allowed_a.into_iter().flat_map(|allowed| [-allowed, allowed]) {
        chart.curves.push(Curve {
            label: if end > 0.0 { "allowed".into() } else { String::new() },
            stroke: Stroke::Allowed,
            points: vec![[end, 0.0], [end, top]],
        });
    }
    Some(chart)
}
