//! The voltage channel's numbers for a reader: working, figures, tables, charts and the lane of the chain.

use super::input::VoltageInput;
use super::model::{Channel, DIVIDER};
use super::output::{VoltageCurvePoint, VoltageGrid, VoltageOutput, VoltagePoint};
use crate::calc::voltage::divider::{ladder_chart, whole_percent};
use crate::channel;
use crate::channel::budget::{self, Heading, Output};
use crate::channel::calibrated::CALIBRATION;
use crate::channel::corners::{BEFORE, Corners, JUDGED};
use crate::channel::map;
use crate::channel::telling::{self, Line, Shown};
use crate::judge::{Ledger, passes};
use crate::physics::front_end::{AMPLIFIER, CONVERTER, CalibrationKind, Life};
use crate::quantity::{Quantity, Unit, celsius, ohm, one, percent, volt};
use crate::report::kit::Columns;
use crate::report::worked::Term;
use crate::report::{Axis, Block, Budget, Cell, Chart, Figure, Lane, Step, Table, View};

fn shown(point: &VoltagePoint) -> Shown<'_> {
    let corner = point.worst_corner.as_ref();
    Shown {
        at: volt(point.voltage_v),
        allowed: point.allowed_v,
        judged: point.judged_v,
        used_percent: point.used_percent,
        verdict: point.verdict,
        assessment: point.assessment.as_ref(),
        corner: corner.map(|one| (one.ambient_degc, one.direction.as_str(), one.settings.as_slice())),
    }
}

/// Of the points that can be read, the one that counts most.
fn worst(result: &VoltageOutput) -> Option<(&VoltagePoint, Shown<'_>)> {
    let judged = result.worst.as_ref().map(|point| (point, shown(point)));
    judged.or_else(|| telling::worst(&result.points, |point| (!point.beyond_range).then(|| shown(point))))
}

pub(super) fn working(input: &VoltageInput, result: &VoltageOutput) -> Vec<Step> {
    let channel = Channel::new(input);
    let net = channel.net;
    let max = volt(input.input_max_v);
    let bend = &result.bend;
    let calibration = &input.calibration;
    let (lower, formula) = if input.following.factor_includes_load {
        (net.lower_loaded_ohm(), "(Ru + Rp)/Rp, Rp with the load")
    } else {
        (net.lower_ohm, "(Ru + Rl)/Rl, without the load")
    };
    let coefficient = Quantity::new(bend.coefficient_ppm_per_v, Unit::PpmPerVolt);
    let constant = one(result.range.factor);
    let mut steps = vec![Step::worked("Constant of the firmware", "1/k0", formula, constant, "Ohm's law", |p| {
        let lower = p.of(ohm(lower));
        (p.of(ohm(net.upper_ohm)) + lower.clone()) / lower
    })];
    if let Some(full) = result.range.over_range_v.map(volt) {
        let formula = "min(Vfs/G, Vo+/G, Vi+) · 1/k0";
        let source = "Ohm's law; a part that is as the constant takes it";
        steps.push(Step::worked("Range full at", "V_or", formula, full, source, |p| {
            let gain = p.of(one(input.amplifier.gain));
            let ends = [
                p.of(volt(input.converter.full_scale_v)) / gain.clone(),
                p.of(volt(input.amplifier.output_max_v)) / gain,
                p.of(volt(input.amplifier.input_max_v)),
            ];
            // An output that does not rise above zero is no end; a worst part may be full at another one first.
            let ends: Vec<Term> = ends.into_iter().filter(|end| end.value() > 0.0).collect();
            let reached = |end: &&Term| 1.001 * end.value() * constant.value > full.value;
            let ends: Vec<Term> = ends.iter().filter(reached).cloned().collect();
            Term::least(&ends) * p.of(constant)
        }));
    }
    let (label, source) = ("Voltage coefficient without calibration", "definition of the coefficient; closed form");
    let before = volt(bend.before_v);
    steps.push(Step::worked(label, "e_V", "q V²", before, source, |p| p.of(coefficient) * p.of(max).squared()));
    if calibration.kind == CalibrationKind::TwoPoint {
        let (label, source) = (
            "Voltage coefficient after two-point calibration",
            "the parabola less the straight line through its two points",
        );
        let (low, high) = (volt(calibration.low_v), volt(calibration.high_v));
        steps.push(Step::worked(label, "e_V2", "q (V − V1)(V − V2)", volt(bend.after_v), source, |p| {
            p.of(coefficient) * (p.of(max) - p.of(low)) * (p.of(max) - p.of(high))
        }));
    }
    let listed = |worst: &&VoltagePoint| result.points.iter().any(|point| point.voltage_v == worst.voltage_v);
    for point in result.points.iter().chain(result.worst.iter().filter(|worst| !listed(worst))) {
        let at = volt(point.voltage_v);
        let before = Some(&point.before).filter(|_| calibration.kind != CalibrationKind::None);
        for (life, done) in before.map(|done| (BEFORE, done)).into_iter().chain([(JUDGED, &point.assessment)]) {
            let label = format!("Sum of limits at {at}, {}", channel.life(life));
            steps.extend(done.as_ref().map(|done| telling::sum(&label, done, Unit::Volt)));
        }
        if let Some(allowed) = point.allowed_v {
            let with = &input.requirement;
            let voltage = volt(point.voltage_v);
            steps.push(with.form.step(with.gain_percent, with.offset_v, voltage, input.input_max_v, allowed));
        }
    }
    steps
}

pub(super) fn view(input: &VoltageInput, result: &VoltageOutput, judged: &Ledger) -> View {
    let state = Channel::new(input).life(JUDGED);
    let mut view = View::default();
    let all: Vec<Shown<'_>> = result.points.iter().map(shown).collect();
    let worst = worst(result);
    view.lead = lead(input, result, worst.as_ref().map(|(_, told)| told), judged);
    let by = input.requirement.judged_by;
    view.more = worst.as_ref().and_then(|(_, told)| telling::more(told, by, &state)).unwrap_or_default();
    view.blocks.push(Block::Figures(figures(input, result)));
    let drawn = worst.as_ref().filter(|_| telling::judges::<Channel<'_>>(judged));
    view.blocks.extend(drawn.and_then(|(point, _)| lane(input, point)).map(Block::Lane));
    view.blocks.push(Block::Table(grid(input, result)));
    view.blocks.push(Block::Chart(chart(input, result, &state)));
    let at =
        |(point, _): &(&VoltagePoint, Shown<'_>)| Some((point.voltage_v, point.worst_corner.as_ref()?.ambient_degc));
    let worst_at = worst.as_ref().and_then(at);
    view.blocks.extend(map::chart(&Channel::new(input), "voltage", false, worst_at, &state).map(Block::Chart));
    if let Some((point, _)) = &worst {
        view.blocks.extend(budgets(input, point).into_iter().map(Block::Budget));
    }
    let conditions = format!("{}, ambient {}", volt(input.input_max_v), celsius(input.conditions.ambient_max_degc));
    let (count, rule) = (input.upper.count, input.stress_limit_percent);
    view.blocks.push(Block::Chart(ladder_chart::chart(&result.stress, count, rule, conditions)));
    let note = format!("State: {state}; the largest sources with the sign that adds up.");
    view.blocks.push(Block::Table(telling::recipes("voltage", "Voltage", note, &all)));
    view
}

fn lead(input: &VoltageInput, result: &VoltageOutput, worst: Option<&Shown<'_>>, judged: &Ledger) -> String {
    let beyond = result.points.iter().filter(|point| point.beyond_range).map(|point| point.voltage_v);
    let highest = beyond.fold(input.input_max_v, f64::max);
    if let Some(full) = result.range.full_at_v.filter(|full| passes(highest, *full)) {
        return format!("Clips: full at {}, {} cannot be read", volt(full), volt(highest));
    }
    worst.map_or_else(|| "No voltage could be judged".into(), |point| telling::lead(point, "undefined", judged))
}

fn figures(input: &VoltageInput, result: &VoltageOutput) -> Vec<Figure> {
    let channel = Channel::new(input);
    let mut figures = Vec::new();
    if let Some((point, _)) = worst(result) {
        let at = volt(point.voltage_v);
        // Without a calibration there is nothing after it.
        let shown = [BEFORE, JUDGED].into_iter().filter(|life| !life.calibrated || channel.calibrates());
        for life in shown {
            let of = |row: &&VoltageGrid| row.calibrated == life.calibrated && row.end_of_life == life.end_of_life;
            if let Some(row) = point.grid.iter().find(of) {
                let label = format!("Worst case, {}", channel.calibrated(life));
                let note = format!("of {at}, end of life");
                figures.push(Figure::of(
                    label,
                    percent(row.worst_case_percent_of_reading.unwrap_or(f64::INFINITY)),
                    note,
                ));
            }
        }
    }
    figures.push(Figure::of("Input over output", one(result.range.factor), "the constant of the firmware"));
    if let Some(full) = result.range.full_at_v {
        let used = whole_percent(result.range.used_percent.unwrap_or(f64::INFINITY));
        figures.push(Figure::of(
            "Range full at",
            volt(full),
            format!("by {}; used to {used}", result.range.clips_first),
        ));
    }
    if input.calibration.kind == CalibrationKind::TwoPoint {
        figures.push(Figure::of(
            "Bend left by calibration",
            volt(result.bend.between_v),
            "largest between the two points, by the voltage coefficient",
        ));
    }
    figures.push(Figure::of("Value of one LSB", volt(result.range.lsb_v), "at the pack"));
    if result.noise.single_v > 0.0 {
        figures.push(Figure::of(
            "Noise of a reading",
            volt(result.noise.averaged_v),
            format!("root mean square; one sample {}", volt(result.noise.single_v)),
        ));
    }
    figures
}

fn lane(input: &VoltageInput, point: &VoltagePoint) -> Option<Lane> {
    let (gain, signal) = (input.amplifier.gain, point.voltage_v * input.network().ratio());
    let codes = (signal * gain / input.parts().converter.lsb_v()).round();
    let described = vec![
        (format!("{} over {}", input.upper.count, input.lower.count), volt(signal).to_string()),
        (format!("gain {}", one(gain)), volt(signal * gain).to_string()),
        (format!("{} bit", input.converter.bits), format!("{} codes", one(codes))),
        (input.calibration.kind.label().into(), volt(point.voltage_v).to_string()),
    ];
    let (reading, allowed) = (volt(point.voltage_v), volt(point.allowed_v?));
    let at = channel::At { reading, judged: point.judged_v?, allowed };
    Some(channel::lane(point.assessment.as_ref()?, &[DIVIDER, AMPLIFIER, CONVERTER, CALIBRATION], described, at))
}

fn grid(input: &VoltageInput, result: &VoltageOutput) -> Table {
    let channel = Channel::new(input);
    let none = input.calibration.kind == CalibrationKind::None;
    let rows: Vec<(f64, &VoltageGrid)> = result
        .points
        .iter()
        .flat_map(|point| point.grid.iter().map(move |row| (point.voltage_v, row)))
        .filter(|(_, row)| !(none && row.calibrated))
        .collect();
    let head = "Voltage and state";
    Columns::new("grid", "Error over voltage and life", head, &rows, |_, (at, _)| volt(*at).to_string())
        .note(if none {
            "Each state at its worst ambient, without a calibration."
        } else {
            "Each state at its worst ambient. Left after calibration: compare the calibrated rows with those before."
        })
        .small(|(_, row)| channel.life(Life { calibrated: row.calibrated, end_of_life: row.end_of_life }))
        .column("Worst at ambient", Unit::Celsius, |(_, row)| row.ambient_degc)
        .column("Worst case", Unit::Volt, |(_, row)| Cell::Limit(row.worst_case_v))
        .column("Of reading", Unit::Percent, |(_, row)| {
            Cell::Limit(row.worst_case_percent_of_reading.unwrap_or(f64::INFINITY))
        })
        .column("Of full scale", Unit::Percent, |(_, row)| Cell::Limit(row.worst_case_percent_of_full_scale))
        .column("Sum of limits", Unit::Volt, |(_, row)| Cell::Limit(row.sum_of_limits_v))
        .column("Root-sum-square", Unit::Volt, |(_, row)| Cell::Limit(row.root_sum_square_v))
        .table()
}

fn budgets(input: &VoltageInput, point: &VoltagePoint) -> Vec<Budget> {
    let channel = Channel::new(input);
    let at = volt(point.voltage_v);
    let ambient = |life: Life| {
        let row =
            point.grid.iter().find(|row| row.calibrated == life.calibrated && row.end_of_life == life.end_of_life);
        row.map_or_else(String::new, |row| format!("Ambient {}, ", celsius(row.ambient_degc)))
    };
    [("budget-after", JUDGED, &point.assessment), ("budget-before", BEFORE, &point.before)]
        .into_iter()
        // Without a calibration both are the same.
        .filter(|(_, life, _)| life.calibrated || channel.calibrates())
        .filter_map(|(id, life, done)| {
            let budget = budget::budget(
                Heading {
                    id: id.into(),
                    caption: format!("Error budget at {at}, {}", channel.calibrated(life)),
                    note: format!("{}{}.", ambient(life), channel.life(life)),
                },
                Unit::Volt,
                done.as_ref()?,
                Output::Error,
                point.allowed_v,
            );
            Some(budget.judged_as(point.verdict))
        })
        .collect()
}

fn chart(input: &VoltageInput, result: &VoltageOutput, state: &str) -> Chart {
    let line = |point: &VoltageCurvePoint| Line {
        at: point.voltage_v,
        before: point.before_calibration_v,
        worst: point.worst_case_v,
        root: point.root_sum_square_v,
        allowed: point.allowed_v,
    };
    let lines: Vec<Line> = result.curve.iter().map(line).collect();
    let exceeds = |line: &&Line| line.allowed.is_some_and(|allowed| line.worst > allowed);
    let finding = match (lines.iter().find(exceeds), lines.iter().rfind(exceeds)) {
        _ if lines.iter().all(|line| line.allowed.is_none()) => "The error over voltage; no requirement is set".into(),
        (Some(first), Some(last)) => {
            format!("The worst case exceeds the allowance between {} and {}", volt(first.at), volt(last.at))
        }
        _ => "The worst case stays inside the allowance at every voltage that can be read".into(),
    };
    let axes = [Axis::linear("pack voltage", Unit::Volt), Axis::linear("error", Unit::Volt)];
    let before = Channel::new(input).calibrates();
    let mut series = telling::error_series("voltage", &lines, axes, before);
    // Marked where the curve has a value: at the nearest of its points.
    if let (CalibrationKind::TwoPoint, [low, .., high]) = (input.calibration.kind, lines.as_slice()) {
        for at in [input.calibration.low_v, input.calibration.high_v] {
            let near = lines.iter().min_by(|a, b| (a.at - at).abs().total_cmp(&(b.at - at).abs()));
            if let Some(near) = near.filter(|_| low.at <= at && at <= high.at) {
                series.mark(at, near.worst, format!("calibrated at {}", volt(at)));
            }
        }
    }
    let with = &input.conditions;
    let ambient = format!("ambient {} to {}", celsius(with.ambient_min_degc), celsius(with.ambient_max_degc));
    let mut chart = telling::error_chart(series, "voltage", finding, format!("{state}, {ambient}"));
    chart.table.head = "Voltage".into();
    chart
}
