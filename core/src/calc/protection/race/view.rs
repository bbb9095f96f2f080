//! The race for a reader: figures, the course of the fault, the co-ordination and the chain.

use super::input::RaceInput;
use super::output::{NobodyReason, Opener, RaceOutput};
use crate::quantity::{Unit, in_sentence, say};
use crate::report::{Axis, Block, Cell, Chart, Column, Curve, Figure, Mark, Row, Stroke, Table, Verdict, View};

/// From this prospective current on an arc is a matter of its own, A. Common practice, no source.
const ARC_CURRENT_A: f64 = 1000.0;

/// From this energy on the opening is a matter of its own, J. Common practice, no source.
const ARC_ENERGY_J: f64 = 1.0;

pub(super) fn view(input: &RaceInput, result: &RaceOutput) -> View {
    let mut view = View { checks: result.checks.clone(), care: care(input, result), ..View::default() };
    view.lead = lead(input, result);
    view.more = more(input, result);
    view.blocks = vec![
        Block::Figures(figures(input, result)),
        Block::Chart(course(input, result)),
        Block::Table(chain(result)),
        Block::Chart(coordination(input, result)),
        Block::Table(nobody(result)),
        Block::Table(faults(result)),
        Block::Table(counting(input, result)),
    ];
    view
}

pub(super) fn capital(words: &str) -> String {
    let mut chars = words.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

fn lead(input: &RaceInput, result: &RaceOutput) -> String {
    let who = capital(result.opens_first.words());
    match (result.opens_first, result.interruption_max_s, result.opening_current_a, result.fuse) {
        (Opener::Switch, Some(time), Some(current), _) => format!(
            "{who}, after {}, and must break {}{}",
            say(time, Unit::Second),
            say(current, Unit::Ampere),
            input
                .switch
                .breaking_a
                .map_or_else(String::new, |can| format!("; it can break {}", say(can, Unit::Ampere)))
        ),
        (Opener::Fuse, switch, _, Some(fuse)) => format!(
            "{who}, after {}; the switch {}",
            say(fuse.prearc_s, Unit::Second),
            switch.map_or_else(|| "is not sure to trip".into(), |time| format!("needs {}", say(time, Unit::Second)))
        ),
        _ => format!("{who} at {}", say(result.strongest.prospective_a, Unit::Ampere)),
    }
}

fn more(input: &RaceInput, result: &RaceOutput) -> String {
    if !result.nobody.is_empty() {
        let ranges: Vec<String> = result
            .nobody
            .iter()
            .map(|interval| format!("{} to {}", say(interval.from_a, Unit::Ampere), say(interval.to_a, Unit::Ampere)))
            .collect();
        return format!("Nobody interrupts as rated at a prospective current of {}.", ranges.join(" and "));
    }
    let longest = input.stages.iter().max_by(|a, b| a.longest_s.total_cmp(&b.longest_s));
    longest.map_or_else(String::new, |stage| {
        format!("The longest stage is {} with {}.", in_sentence(&stage.name), say(stage.longest_s, Unit::Second))
    })
}

fn care(input: &RaceInput, result: &RaceOutput) -> Vec<String> {
    let mut care = Vec::new();
    let prospective = result.strongest.prospective_a;
    if prospective > ARC_CURRENT_A {
        care.push(format!(
            "A short at these terminals would drive about {} and can hold an arc that does not go out by itself. Direct current has no zero crossing. Rated interruption and personal protection are decisions of a qualified person.",
            say(prospective, Unit::Ampere)
        ));
    }
    let beyond = result.must_break_a.zip(input.switch.breaking_a).is_some_and(|(must, can)| must > can);
    if let (Some(current), Some(energy)) = (result.opening_current_a, result.stored_energy_j)
        && (energy > ARC_ENERGY_J || beyond)
    {
        care.push(format!(
            "Opening this circuit at {} releases {} at the contacts, and the source adds to it. A carry rating is not a breaking rating; use the maker's breaking data for direct current at your voltage.",
            say(current, Unit::Ampere),
            say(energy, Unit::Joule)
        ));
    }
    care
}

fn figures(input: &RaceInput, result: &RaceOutput) -> Vec<Figure> {
    let fault = &result.strongest;
    let mut figures = vec![
        Figure::new("Prospective current", fault.prospective_a, Unit::Ampere, "strongest fault"),
        Figure::new("Time constant", fault.time_constant_s, Unit::Second, "L/R of the loop"),
    ];
    let mut add = |label: &str, value: Option<f64>, unit, note: String| {
        if let Some(value) = value {
            figures.push(Figure::new(label, value, unit, note));
        }
    };
    let threshold = say(input.threshold_a, Unit::Ampere);
    add("Threshold reached", result.time_to_threshold_s, Unit::Second, format!("{threshold}, after the fault"));
    add("Interrupted", result.interruption_max_s, Unit::Second, "by the switch, at the latest".into());
    add("Current then", result.opening_current_a, Unit::Ampere, "unopposed".into());
    add("Stored energy then", result.stored_energy_j, Unit::Joule, "½ L i²".into());
    add("Into the clamp", result.clamp.map(|clamp| clamp.energy_j), Unit::Joule, "with what the source adds".into());
    let worst = format!("at {}, until it is surely over", say(result.worst_fault_a, Unit::Ampere));
    let prearc = say(input.fuse.prearc_a2s, Unit::AmpereSquaredSecond);
    add("Let-through", result.let_through_a2s, Unit::AmpereSquaredSecond, "from zero current, until then".into());
    add("Let-through of the worst fault", result.worst_let_through_a2s, Unit::AmpereSquaredSecond, worst);
    add("Fuse melts", result.fuse.map(|fuse| fuse.prearc_s), Unit::Second, format!("pre-arc {prearc}"));
    add("Switch must break", result.must_break_a, Unit::Ampere, "at most, over all faults".into());
    figures
}

fn course(input: &RaceInput, result: &RaceOutput) -> Chart {
    let current_at = |time: f64| {
        let index = result.course.partition_point(|point| point.time_s < time);
        let right = result.course.get(index).or(result.course.last());
        let left = index.checked_sub(1).and_then(|index| result.course.get(index)).or(right);
        match (left, right) {
            (Some(left), Some(right)) if right.time_s > left.time_s => {
                let share = (time - left.time_s) / (right.time_s - left.time_s);
                left.current_a + (right.current_a - left.current_a) * share.clamp(0.0, 1.0)
            }
            (_, Some(right)) => right.current_a,
            _ => 0.0,
        }
    };
    let mut marks: Vec<Mark> = result
        .stages
        .iter()
        .filter_map(|stage| {
            let (time, current) = stage.ends_max_s.zip(stage.current_a)?;
            Some(Mark {
                x: time,
                y: current,
                label: format!("{} {}", stage_word(&stage.name), say(time, Unit::Second)),
            })
        })
        .filter(|mark| mark.x > 0.0)
        .collect();
    if let Some(fuse) = result.fuse {
        let label = format!("fuse melts {}", say(fuse.prearc_s, Unit::Second));
        marks.push(Mark { x: fuse.prearc_s, y: current_at(fuse.prearc_s), label });
    }
    let ends = [result.course.first(), result.course.last()].map(|point| point.map_or(1.0, |point| point.time_s));
    let line = |current: f64| ends.map(|time| [time, current]).to_vec();
    let mut curves = vec![
        Curve {
            label: "current".into(),
            stroke: Stroke::Main,
            points: result.course.iter().map(|point| [point.time_s, point.current_a]).collect(),
        },
        Curve { label: "threshold".into(), stroke: Stroke::Allowed, points: line(input.threshold_a) },
    ];
    if let Some(can) = input.switch.breaking_a {
        curves.push(Curve { label: "breaking capacity".into(), stroke: Stroke::Second, points: line(can) });
    }
    Chart {
        id: "course".into(),
        finding: match (result.interruption_max_s, result.opening_current_a) {
            (Some(time), Some(current)) => format!(
                "{} flow when the switch opens at {}; {}",
                say(current, Unit::Ampere),
                say(time, Unit::Second),
                result.opens_first.words()
            ),
            _ => format!(
                "The current settles at {}, the switch is not sure to trip; {}",
                say(result.strongest.prospective_a, Unit::Ampere),
                result.opens_first.words()
            ),
        },
        conditions: format!(
            "{}, {}, {}, from {}; stages at their longest",
            say(result.strongest.voltage_v, Unit::Volt),
            say(result.strongest.resistance_ohm, Unit::Ohm),
            say(input.source.inductance_henry, Unit::Henry),
            say(input.before_a, Unit::Ampere)
        ),
        title: "Course of the strongest fault".into(),
        x: Axis::log("time after the fault", Unit::Second),
        y: Axis::linear("current", Unit::Ampere),
        curves,
        marks,
        table: Table {
            id: "course-values".into(),
            caption: "Course of the strongest fault".into(),
            note: "Let-through from the current before the fault.".into(),
            head: "Time".into(),
            columns: vec![Column::of("Current", Unit::Ampere), Column::of("Let-through", Unit::AmpereSquaredSecond)],
            rows: result
                .course
                .iter()
                .step_by(6)
                .map(|point| Row {
                    head: say(point.time_s, Unit::Second),
                    note: String::new(),
                    cells: vec![Cell::Number(point.current_a), Cell::Number(point.let_through_a2s)],
                })
                .collect(),
        },
    }
}

/// The first row's name is a sentence; beside a mark one word does.
fn stage_word(name: &str) -> &str {
    match name {
        "Current reaches the threshold" => "threshold",
        "Filter, on this fault" => "filter",
        other => other,
    }
}

fn chain(result: &RaceOutput) -> Table {
    Table {
        id: "chain".into(),
        caption: "The reaction, stage by stage".into(),
        note: "At the strongest fault. The current rises unopposed while the switch opens.".into(),
        head: "Stage".into(),
        columns: vec![
            Column::of("At least", Unit::Second),
            Column::of("At most", Unit::Second),
            Column::of("Over, earliest", Unit::Second),
            Column::of("Over, latest", Unit::Second),
            Column::of("Current then", Unit::Ampere),
        ],
        rows: result
            .stages
            .iter()
            .map(|stage| Row {
                head: capital(&stage.name),
                note: if stage.longest_s.is_none() { "never".into() } else { String::new() },
                cells: [stage.shortest_s, stage.longest_s, stage.ends_min_s, stage.ends_max_s, stage.current_a]
                    .map(Cell::from)
                    .to_vec(),
            })
            .collect(),
    }
}

fn coordination(input: &RaceInput, result: &RaceOutput) -> Chart {
    let points = &result.coordination;
    let curve = |label: &str, stroke, of: fn(&super::CoordinationPoint) -> Option<f64>| Curve {
        label: label.into(),
        stroke,
        points: points.iter().filter_map(|point| of(point).map(|time| [point.prospective_a, time])).collect(),
    };
    let mut curves = vec![
        curve("switch opens", Stroke::Main, |point| point.switch_s),
        curve("fuse melts", Stroke::Second, |point| point.fuse_s),
        curve("wiring limit", Stroke::Thin, |point| point.wiring_s),
        curve("shunt limit", Stroke::Thin, |point| point.shunt_s),
    ];
    curves.retain(|curve| !curve.points.is_empty());
    let times = || curves.iter().flat_map(|curve| &curve.points).map(|point| point[1]).filter(|time| *time > 0.0);
    let (low, high) = (times().reduce(f64::min).unwrap_or(1e-3), times().reduce(f64::max).unwrap_or(1.0));
    // At the threshold itself the switch would take for ever: the trip function comes down from above.
    let (_, threshold) = input.thresholds();
    if let Some(switch) = curves.first_mut().filter(|curve| curve.label == "switch opens")
        && switch.points.first().is_some_and(|first| first[0] <= threshold * 1.001)
    {
        switch.points.insert(0, [threshold.min(switch.points[0][0]), high]);
    }
    // Behind the other curves, which stay readable on the band.
    let bands = result.nobody.iter().map(|interval| Curve {
        label: match interval.reason {
            NobodyReason::NothingOpens => "nothing opens",
            NobodyReason::BeyondBreaking => "beyond breaking",
        }
        .into(),
        stroke: Stroke::Filled,
        points: vec![[interval.from_a, high], [interval.to_a, high]],
    });
    curves.splice(0..0, bands);
    let mut marks = Vec::new();
    if let (Some(carry), Some(time)) = (input.switch.carry_a, input.switch.carry_s) {
        marks.push(Mark { x: carry, y: time, label: "switch carries".into() });
    }
    for (fault, label) in [(&result.weakest, "weakest fault"), (&result.strongest, "strongest fault")] {
        marks.push(Mark { x: fault.prospective_a, y: low, label: label.into() });
    }
    if let Some(can) = input.switch.breaking_a {
        curves.push(Curve {
            label: "breaking capacity".into(),
            stroke: Stroke::Allowed,
            points: vec![[can, low], [can, high]],
        });
    }
    Chart {
        id: "coordination".into(),
        finding: match result.nobody.first() {
            Some(interval) => format!(
                "From {} to {} nobody interrupts as rated: {}",
                say(interval.from_a, Unit::Ampere),
                say(interval.to_a, Unit::Ampere),
                reason(interval.reason)
            ),
            None => format!(
                "From {} to {} somebody opens; at the strongest fault {}",
                say(result.weakest.prospective_a, Unit::Ampere),
                say(result.strongest.prospective_a, Unit::Ampere),
                result.opens_first.words()
            ),
        },
        conditions: "switch at the latest, fuse by its pre-arc value from zero current, limits adiabatic".into(),
        title: "Co-ordination".into(),
        x: Axis::log("prospective current", Unit::Ampere),
        y: Axis::log("time", Unit::Second),
        curves,
        marks,
        table: Table {
            id: "coordination-values".into(),
            caption: "Co-ordination".into(),
            note: "Where a cell is empty, that part does not act.".into(),
            head: "Prospective current".into(),
            columns: vec![
                Column::of("Switch opens", Unit::Second),
                Column::of("Fuse melts", Unit::Second),
                Column::of("Wiring limit", Unit::Second),
                Column::of("Shunt limit", Unit::Second),
            ],
            rows: points
                .iter()
                .step_by(4)
                .map(|point| Row {
                    head: say(point.prospective_a, Unit::Ampere),
                    note: String::new(),
                    cells: [point.switch_s, point.fuse_s, point.wiring_s, point.shunt_s].map(Cell::from).to_vec(),
                })
                .collect(),
        },
    }
}

fn reason(reason: NobodyReason) -> &'static str {
    match reason {
        NobodyReason::NothingOpens => "nothing opens for certain",
        NobodyReason::BeyondBreaking => "the switch may open beyond its breaking capacity",
    }
}

fn nobody(result: &RaceOutput) -> Table {
    let from_to = format!(
        "Prospective currents from {} to {}, every tolerance counted.",
        say(result.weakest.prospective_a, Unit::Ampere),
        say(result.strongest.prospective_a, Unit::Ampere)
    );
    let mut rows: Vec<Row> = result
        .nobody
        .iter()
        .map(|interval| Row {
            head: capital(reason(interval.reason)),
            note: String::new(),
            cells: vec![Cell::Number(interval.from_a), Cell::Number(interval.to_a), Cell::Verdict(Verdict::Fails)],
        })
        .collect();
    if rows.is_empty() {
        let (low, high) = (result.weakest.prospective_a, result.strongest.prospective_a);
        rows.push(Row {
            head: "Somebody opens".into(),
            note: "no breaking capacity given counts as enough".into(),
            cells: vec![Cell::Number(low), Cell::Number(high), Cell::Words("—".into())],
        });
    }
    Table {
        id: "nobody".into(),
        caption: "Nobody's interval".into(),
        note: from_to,
        head: "What happens".into(),
        columns: vec![Column::of("From", Unit::Ampere), Column::of("To", Unit::Ampere), Column::words("Verdict")],
        rows,
    }
}

fn faults(result: &RaceOutput) -> Table {
    Table {
        id: "faults".into(),
        caption: "Strongest and weakest fault".into(),
        note: "The weakest one is the one that neither threshold nor fuse may see.".into(),
        head: "Fault".into(),
        columns: vec![
            Column::of("Voltage", Unit::Volt),
            Column::of("Resistance", Unit::Ohm),
            Column::of("Prospective", Unit::Ampere),
            Column::of("Time constant", Unit::Second),
            Column::of("First rise", Unit::AmperePerSecond),
            Column::words("Who opens"),
        ],
        rows: [
            ("Strongest", &result.strongest, result.opens_first),
            ("Weakest", &result.weakest, result.opens_first_weakest),
        ]
        .map(|(head, fault, opener)| Row {
            head: head.into(),
            note: String::new(),
            cells: vec![
                Cell::Number(fault.voltage_v),
                Cell::Number(fault.resistance_ohm),
                Cell::Number(fault.prospective_a),
                Cell::Number(fault.time_constant_s),
                fault.initial_rise_a_per_s.into(),
                Cell::Words(opener.words().into()),
            ],
        })
        .to_vec(),
    }
}

/// Both conventions: with the current before the fault and without it.
fn counting(input: &RaceInput, result: &RaceOutput) -> Table {
    let row = |head: String, cells: [Option<f64>; 3]| Row {
        head,
        note: String::new(),
        cells: cells.map(Cell::from).to_vec(),
    };
    Table {
        id: "counting".into(),
        caption: "At the latest interruption, counted in two ways".into(),
        note: "Let-through is often stated from zero current; the switch meets the current that really flows.".into(),
        head: "Counted".into(),
        columns: vec![
            Column::of("Current", Unit::Ampere),
            Column::of("Stored energy", Unit::Joule),
            Column::of("Let-through", Unit::AmpereSquaredSecond),
        ],
        rows: vec![
            row(
                format!("From the {} before the fault", say(input.before_a, Unit::Ampere)),
                [result.opening_current_a, result.stored_energy_j, result.let_through_from_before_a2s],
            ),
            row(
                "From zero current".into(),
                [result.opening_current_from_zero_a, result.stored_energy_from_zero_j, result.let_through_a2s],
            ),
        ],
    }
}
