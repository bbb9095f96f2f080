//! The current channel's numbers for a reader: working, figures, tables, charts and the lane of the chain.

use super::{ChannelInput, ChannelOutput, ChannelPoint};
use crate::calc::current::shunt::balance_words;
use crate::channel;
use crate::channel::budget::{self, Heading, Output, size};
use crate::physics::front_end::{AMPLIFIER, CONVERTER};
use crate::quantity::{Quantity, Unit, in_sentence, say};
use crate::report::{
    Axis, Block, Cell, Chart, Column, Curve, Figure, Finding, Lane, Mark, Row, Step, Stroke, Table, Verdict, View,
};

const SHUNT: &str = "Shunt";

pub(super) fn working(input: &ChannelInput, result: &ChannelOutput) -> Vec<Step> {
    let q = Quantity::new;
    let (shunt, load) = (&input.shunt, &input.load);
    let r = say(shunt.resistance_ohm, Unit::Ohm);
    let mut steps = Vec::new();
    if let (Some(power), Some(rise), Some(change)) =
        (result.stress.power_w, result.stress.rise_k, result.stress.change_ppm)
    {
        let [a, b, c] = shunt.node(load.continuous_a, result.stress.ambient_degc).coefficients();
        steps.extend([
            Step::new(
                "Rise above ambient, coupled with R(T)",
                "x",
                "2 C / (−B + √(B² − 4 A C)); g = Rth I² R0, d = Ta − Tref, A = g b, B = g (a + 2 b d) − 1, C = g (1 + a d + b d²)",
                balance_words(a, b, c),
                q(rise, Unit::Kelvin),
                "energy balance of one node; closed form of the quadratic",
            ),
            Step::new(
                "Steady loss",
                "P",
                "I² R(T)",
                format!("({})² · {r} · (1 + {})", say(load.continuous_a, Unit::Ampere), say(change, Unit::Ppm)),
                q(power, Unit::Watt),
                "Joule's law",
            ),
        ]);
    }
    if let Some(corner) = result.ripple.corner_hz {
        let l = say(shunt.inductance_henry, Unit::Henry);
        steps.extend([
            Step::new(
                "Inductive corner",
                "f_c",
                "R0 / (2π L)",
                format!("{r} / (2π · {l})"),
                q(corner, Unit::Hertz),
                "first-order R-L",
            ),
            Step::new(
                "Ripple spike in amperes",
                "I_spike",
                "L · 4 Î f / R0",
                format!(
                    "{l} · 4 · {} · {} / {r}",
                    say(load.ripple_current_a, Unit::Ampere),
                    say(load.ripple_frequency_hz, Unit::Hertz)
                ),
                q(result.ripple.spike_a, Unit::Ampere),
                "u = L di/dt, triangle at 50 % duty",
            ),
            Step::new(
                "Matching time constant",
                "R_f C_f",
                "L / R0",
                format!("{l} / {r}"),
                q(result.ripple.time_constant_s, Unit::Second),
                "pole-zero cancellation; common practice, no source",
            ),
        ]);
    }
    for point in &result.points {
        if let Some(done) = &point.assessment {
            let terms: Vec<String> = done
                .contributions
                .iter()
                .map(|term| size(term, Output::Error))
                .filter(|amount| *amount > 0.0)
                .map(|amount| say(amount, Unit::Ampere))
                .collect();
            steps.push(Step::new(
                &format!("Sum of limits at {}", say(point.current_a, Unit::Ampere)),
                "E",
                "Σ |c_i| a_i",
                terms.join(" + "),
                q(done.worst_case.sum_of_limits, Unit::Ampere),
                "first order; sensitivities by differentiation of the model (JCGM 100:2008 clause 5.1)",
            ));
        }
        if let Some(allowed) = point.allowed_a {
            let with = &input.requirement;
            let at = q(point.current_a, Unit::Ampere);
            steps.push(with.form.step(with.gain_percent, with.offset_a, at, load.full_scale_a, allowed));
        }
    }
    let zero = &result.zero;
    steps.push(Step::new(
        "Charge counted in a day at zero current",
        "Q_day",
        "24 h · Σ offsets / R0",
        format!("24 h · {} / {r}", say(zero.offset_v, Unit::Volt)),
        q(zero.charge_ah_per_day, Unit::AmpereHour),
        "charge = current × time; without non-linearity and quantisation",
    ));
    steps
}

/// The point that uses most of its allowance; the largest error in percent when there is no allowance.
fn worst(result: &ChannelOutput) -> Option<&ChannelPoint> {
    let key = |point: &ChannelPoint| {
        point.used_percent.or_else(|| point.judged_a.map(|judged| judged / point.current_a)).unwrap_or(f64::MAX)
    };
    result.points.iter().max_by(|a, b| key(a).total_cmp(&key(b)))
}

pub(super) fn view(input: &ChannelInput, result: &ChannelOutput, findings: &[Finding]) -> View {
    let mut view = View { checks: result.checks.clone(), care: care(result), ..View::default() };
    let verdict = view.verdict(findings);
    let count = |wanted: Verdict| view.checks.iter().filter(|check| check.verdict == wanted).count();
    let (fails, thin, judged) =
        (count(Verdict::Fails), count(Verdict::Thin), view.checks.len() - count(Verdict::NoLimitSet));
    view.lead = match worst(result) {
        Some(point) => {
            let error = point
                .judged_a
                .map_or_else(|| "no steady state".into(), |judged| format!("±{}", say(judged, Unit::Ampere)));
            let at = say(point.current_a, Unit::Ampere);
            match (verdict, point.allowed_a) {
                (Verdict::Fails, Some(allowed)) if fails > 0 => {
                    format!(
                        "{fails} of {judged} requirements {}: {error} at {at}, ±{} allowed",
                        if fails == 1 { "fails" } else { "fail" },
                        say(allowed, Unit::Ampere)
                    )
                }
                (Verdict::Fails, _) => format!("A limit is exceeded; the reading error is {error} at {at}"),
                (_, Some(allowed)) => format!(
                    "All {judged} requirements hold{}: {error} at {at}, ±{} allowed",
                    if thin > 0 { format!(", {thin} with little left") } else { String::new() },
                    say(allowed, Unit::Ampere)
                ),
                (_, None) => format!("The reading error is {error} at {at}; no requirement is set"),
            }
        }
        None => "No current could be judged".into(),
    };
    view.more = more(input, result);
    let mut blocks = vec![Block::Figures(figures(input, result))];
    if let Some(point) = worst(result) {
        blocks.extend(lane(input, point).map(Block::Lane));
    }
    blocks.push(Block::Table(grid(input, result)));
    blocks.push(Block::Chart(chart(input, result)));
    for point in budget_points(result) {
        if let Some(done) = &point.assessment {
            let at = say(point.current_a, Unit::Ampere);
            let corner = point.worst_corner.as_ref().map_or_else(String::new, |corner| {
                format!(
                    "Ambient {}, element {}, ",
                    say(corner.ambient_degc, Unit::Celsius),
                    say(corner.element_degc, Unit::Celsius)
                )
            });
            let id = format!(
                "budget-{}",
                result.points.iter().position(|other| std::ptr::eq(other, point)).unwrap_or(0) + 1
            );
            blocks.push(Block::Budget(budget::budget(
                Heading {
                    id,
                    caption: format!("Error budget at {at}"),
                    note: format!("{corner}{}.", input.words(true, true)),
                },
                Unit::Ampere,
                done,
                Output::Error,
                point.allowed_a,
            )));
        }
    }
    blocks.push(Block::Table(recipes(result)));
    if let Some(point) = worst(result) {
        blocks.extend(levers(point).map(Block::Table));
        blocks.extend(distribution(point).map(Block::Chart));
    }
    view.blocks = blocks;
    view
}

fn budget_points(result: &ChannelOutput) -> Vec<&ChannelPoint> {
    let mut points: Vec<&ChannelPoint> = worst(result).into_iter().collect();
    let largest = result.points.iter().max_by(|a, b| a.current_a.total_cmp(&b.current_a));
    if let Some(point) = largest.filter(|point| points.iter().all(|other| !std::ptr::eq(*other, *point))) {
        points.push(point);
    }
    points
}

fn care(result: &ChannelOutput) -> Vec<String> {
    let mut care = vec![
        "The whole front end of this channel sits at pack potential, up to the barrier. Treat it as live.".to_owned(),
    ];
    if let Some(hot) = result.stress.element_degc.filter(|hot| *hot > 70.0) {
        care.push(format!(
            "Surface near {} in the worst case: burn and fire risk; check neighbouring plastics and solder.",
            say(hot, Unit::Celsius)
        ));
    }
    care
}

fn more(input: &ChannelInput, result: &ChannelOutput) -> String {
    let Some(point) = worst(result) else { return String::new() };
    let Some(done) = &point.assessment else { return String::new() };
    let mut terms: Vec<_> =
        done.contributions.iter().map(|term| (term.label.as_str(), size(term, Output::Error))).collect();
    terms.sort_by(|a, b| b.1.total_cmp(&a.1));
    let Some((label, amount)) = terms.first() else { return String::new() };
    let ambient = point.worst_corner.as_ref().map_or_else(String::new, |corner| {
        format!(", worst at an ambient of {}", say(corner.ambient_degc, Unit::Celsius))
    });
    format!(
        "At {} the largest part is {} ({}){ambient}. Judged by {}, {}.",
        say(point.current_a, Unit::Ampere),
        in_sentence(label),
        say(*amount, Unit::Ampere),
        in_sentence(input.requirement.judged_by.label()),
        input.words(true, true)
    )
}

fn figures(input: &ChannelInput, result: &ChannelOutput) -> Vec<Figure> {
    let mut figures = Vec::new();
    if let (Some(power), Some(degc)) = (result.stress.power_w, result.stress.element_degc) {
        let at = format!("at {}", say(input.load.continuous_a, Unit::Ampere));
        figures.push(Figure::new("Loss in the shunt", power, Unit::Watt, at));
        figures.push(Figure::new(
            "Element",
            degc,
            Unit::Celsius,
            format!(
                "of {}, ambient {}",
                say(input.shunt.max_element_degc, Unit::Celsius),
                say(result.stress.ambient_degc, Unit::Celsius)
            ),
        ));
    }
    figures.push(Figure::new(
        "Reads at zero current",
        result.zero.offset_a,
        Unit::Ampere,
        "what calibration leaves, worst case",
    ));
    let share = result
        .zero
        .percent_per_day
        .map_or_else(String::new, |share| format!("{} of the capacity", say(share, Unit::Percent)));
    figures.push(Figure::new("Drift of charge a day", result.zero.charge_ah_per_day, Unit::AmpereHour, share));
    if let Some(crossover) = result.zero.crossover_a {
        figures.push(Figure::new(
            "Crossover current",
            crossover,
            Unit::Ampere,
            "offset is larger below, gain error above",
        ));
    }
    figures.push(Figure::new("Ripple spike", result.ripple.spike_a, Unit::Ampere, "plus and minus, before any filter"));
    if let Some(corner) = result.ripple.corner_hz {
        figures.push(Figure::new(
            "Inductive corner",
            corner,
            Unit::Hertz,
            format!("cancelled by R·C of {}", say(result.ripple.time_constant_s, Unit::Second)),
        ));
    }
    if result.noise.averaged_a > 0.0 {
        figures.push(Figure::new(
            "Noise of a reading",
            result.noise.averaged_a,
            Unit::Ampere,
            format!(
                "root mean square, {} averaged; one sample {}",
                input.averaging,
                say(result.noise.single_a, Unit::Ampere)
            ),
        ));
    }
    figures.push(Figure::new(
        "One code",
        result.range.lsb_a,
        Unit::Ampere,
        format!("range used to {}", say(result.range.used_percent, Unit::Percent)),
    ));
    figures
}

fn lane(input: &ChannelInput, point: &ChannelPoint) -> Option<Lane> {
    let done = point.assessment.as_ref()?;
    let allowed = point.allowed_a?;
    let volt = point.current_a * input.shunt.resistance_ohm;
    let described = vec![
        (say(input.shunt.resistance_ohm, Unit::Ohm), say(volt, Unit::Volt)),
        (format!("gain {}", say(input.amplifier.gain, Unit::One)), say(volt * input.amplifier.gain, Unit::Volt)),
        (
            format!("{} bit", input.converter.bits),
            format!("{} codes", say((volt * input.amplifier.gain / input.converter.lsb_v()).round(), Unit::One)),
        ),
    ];
    let ampere = |value| Quantity::new(value, Unit::Ampere);
    let at = channel::At { reading: ampere(point.current_a), judged: point.judged_a?, allowed: ampere(allowed) };
    Some(channel::lane(done, &[SHUNT, AMPLIFIER, CONVERTER], described, at))
}

fn grid(input: &ChannelInput, result: &ChannelOutput) -> Table {
    Table {
        id: "grid".into(),
        caption: "Error over current and life".into(),
        note: "Each state at its worst ambient. Left after calibration: compare the calibrated rows with those before."
            .into(),
        head: "Current and state".into(),
        columns: vec![
            Column::of("Worst at ambient", Unit::Celsius),
            Column::of("Element", Unit::Celsius),
            Column::of("Worst case", Unit::Ampere),
            Column::of("Of reading", Unit::Percent),
            Column::of("Of full scale", Unit::Percent),
            Column::of("Sum of limits", Unit::Ampere),
            Column::of("Root-sum-square", Unit::Ampere),
        ],
        rows: result
            .points
            .iter()
            .flat_map(|point| {
                point.grid.iter().map(|row| Row {
                    head: say(point.current_a, Unit::Ampere),
                    note: input.words(row.calibrated, row.end_of_life),
                    cells: vec![
                        Cell::Number(row.ambient_degc),
                        Cell::Number(row.element_degc),
                        Cell::Limit(row.worst_case_a),
                        Cell::Limit(row.worst_case_percent_of_reading),
                        Cell::Limit(row.worst_case_percent_of_full_scale),
                        Cell::Limit(row.sum_of_limits_a),
                        Cell::Limit(row.root_sum_square_a),
                    ],
                })
            })
            .collect(),
    }
}

fn chart(input: &ChannelInput, result: &ChannelOutput) -> Chart {
    let line =
        |with: fn(&super::CurvePoint) -> f64| result.curve.iter().map(|point| [point.current_a, with(point)]).collect();
    let allowed: Vec<[f64; 2]> =
        result.curve.iter().filter_map(|point| point.allowed_a.map(|allowed| [point.current_a, allowed])).collect();
    let finding = match over(result) {
        _ if allowed.is_empty() => "The error over current; no requirement is set".into(),
        where_over if where_over.is_empty() => "The worst case stays inside the allowance at every current".into(),
        where_over => format!("The worst case exceeds the allowance {}", where_over.join(" and ")),
    };
    let mut curves = vec![
        Curve {
            label: "before calibration".into(),
            stroke: Stroke::Thin,
            points: line(|point| point.before_calibration_a),
        },
        Curve { label: "worst case".into(), stroke: Stroke::Main, points: line(|point| point.worst_case_a) },
        Curve {
            label: "root-sum-square".into(),
            stroke: Stroke::Second,
            points: line(|point| point.root_sum_square_a),
        },
    ];
    if !allowed.is_empty() {
        curves.push(Curve { label: "allowed".into(), stroke: Stroke::Allowed, points: allowed });
    }
    let marks = result
        .points
        .iter()
        .filter_map(|point| {
            point.grid.last().map(|row| Mark {
                x: point.current_a,
                y: row.worst_case_a,
                label: format!("±{}", say(row.worst_case_a, Unit::Ampere)),
            })
        })
        .collect();
    Chart {
        id: "error-over-current".into(),
        finding,
        conditions: format!(
            "End of life, ambient {} to {}{}",
            say(input.conditions.ambient_min_degc, Unit::Celsius),
            say(input.conditions.ambient_max_degc, Unit::Celsius),
            result.zero.crossover_a.map_or_else(String::new, |crossover| format!(
                "; offset and gain errors are equal at {}",
                say(crossover, Unit::Ampere)
            ))
        ),
        title: "Reading error against current".into(),
        x: Axis::log("current", Unit::Ampere),
        y: Axis::log("error", Unit::Ampere),
        curves,
        marks,
        table: Table {
            id: "error-over-current-values".into(),
            caption: "Reading error over current".into(),
            note: "End of life.".into(),
            head: "Current".into(),
            columns: vec![
                Column::of("Before calibration", Unit::Ampere),
                Column::of("Worst case", Unit::Ampere),
                Column::of("Root-sum-square", Unit::Ampere),
                Column::of("Allowed", Unit::Ampere),
            ],
            rows: result
                .curve
                .iter()
                .step_by(4)
                .map(|point| Row {
                    head: say(point.current_a, Unit::Ampere),
                    note: String::new(),
                    cells: vec![
                        Cell::Number(point.before_calibration_a),
                        Cell::Number(point.worst_case_a),
                        Cell::Number(point.root_sum_square_a),
                        point.allowed_a.into(),
                    ],
                })
                .collect(),
        },
    }
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
            let (from, to) = (say(curve[first].current_a, Unit::Ampere), say(curve[index - 1].current_a, Unit::Ampere));
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

fn recipes(result: &ChannelOutput) -> Table {
    Table {
        id: "corners".into(),
        caption: "Worst corner of each current, as a bench can set it".into(),
        note: "End of life, calibrated; the largest sources with the sign that adds up.".into(),
        head: "Current".into(),
        columns: vec![Column::words("Direction"), Column::words("Settings")],
        rows: result
            .points
            .iter()
            .filter_map(|point| {
                point.worst_corner.as_ref().map(|corner| Row {
                    head: say(point.current_a, Unit::Ampere),
                    note: String::new(),
                    cells: vec![Cell::Words(corner.direction.clone()), Cell::Words(corner.settings.join("; "))],
                })
            })
            .collect(),
    }
}

fn levers(point: &ChannelPoint) -> Option<Table> {
    if point.what_it_takes.is_empty() || point.verdict != Verdict::Fails {
        return None;
    }
    let said =
        |unit: &str, value: f64| if unit == "V" { say(value, Unit::Volt) } else { say(value * 100.0, Unit::Percent) };
    Some(Table {
        id: "what-it-takes".into(),
        caption: format!("What it would take at {}", say(point.current_a, Unit::Ampere)),
        note: "The limit one source alone would need, everything else as it is.".into(),
        head: "Source".into(),
        columns: vec![Column::words("Now"), Column::words("Needed")],
        rows: point
            .what_it_takes
            .iter()
            .filter(|lever| lever.limit_now > 0.0)
            .map(|lever| Row {
                head: lever.label.clone(),
                note: String::new(),
                cells: vec![
                    Cell::Words(format!("±{}", said(&lever.unit, lever.limit_now))),
                    Cell::Words(
                        lever.limit_needed.map_or_else(
                            || "cannot by itself".into(),
                            |needed| format!("±{}", said(&lever.unit, needed)),
                        ),
                    ),
                ],
            })
            .collect(),
    })
}

fn distribution(point: &ChannelPoint) -> Option<Chart> {
    let run = point.assessment.as_ref()?.monte_carlo.as_ref()?;
    let bins = &run.histogram;
    let width = (bins.high - bins.low) / bins.counts.len().max(1) as f64;
    if width.is_nan() || width <= 0.0 {
        return None;
    }
    let points: Vec<[f64; 2]> = bins
        .counts
        .iter()
        .enumerate()
        .map(|(index, count)| {
            let share = f64::from(*count) / f64::from(run.trials) * 100.0;
            [bins.low + width * (index as f64 + 0.5), share]
        })
        .collect();
    let top = points.iter().map(|point| point[1]).fold(0.0, f64::max);
    let mut curves = vec![Curve { label: "share".into(), stroke: Stroke::Filled, points: points.clone() }];
    if let Some(allowed) = point.allowed_a {
        for end in [-allowed, allowed] {
            curves.push(Curve {
                label: if end > 0.0 { "allowed".into() } else { String::new() },
                stroke: Stroke::Allowed,
                points: vec![[end, 0.0], [end, top]],
            });
        }
    }
    let interval = &run.p95.symmetric;
    Some(Chart {
        id: "distribution".into(),
        finding: format!(
            "The 95 % coverage interval reaches from {} to {} at {}",
            say(interval.low, Unit::Ampere),
            say(interval.high, Unit::Ampere),
            say(point.current_a, Unit::Ampere)
        ),
        conditions: format!(
            "Monte Carlo with the distributions assumed, {} trials, seed {}, at the worst corner",
            run.trials, run.seed
        ),
        title: "Distribution of the reading error".into(),
        x: Axis::linear("reading error", Unit::Ampere),
        y: Axis::linear("share of trials in a bin", Unit::Percent),
        table: Table {
            id: "distribution-values".into(),
            caption: "Distribution of the reading error".into(),
            note: String::new(),
            head: "Error".into(),
            columns: vec![Column::of("Share", Unit::Percent)],
            rows: points
                .iter()
                .step_by(2)
                .map(|point| Row {
                    head: say(point[0], Unit::Ampere),
                    note: String::new(),
                    cells: vec![Cell::Number(point[1])],
                })
                .collect(),
        },
        curves,
        marks: Vec::new(),
    })
}
