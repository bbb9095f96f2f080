//! The race for a reader: figures, the course of the fault, the co-ordination and the chain.

use super::input::{FusePoint, RaceInput};
use super::output::{CoordinationPoint, NobodyInterval, NobodyReason, Opener, RaceOutput};
use super::strings::RaceStrings;
use crate::judge::{Ledger, Verdict, passes};
use crate::quantity::{
    Quantity, Unit, ampere, ampere_squared_second, celsius, henry, in_sentence, joule, ohm, percent, second, volt,
};
use crate::report::caution;
use crate::report::kit::{Columns, Series, capital};
use crate::report::{Axis, Block, Cell, Chart, Curve, Figure, Stroke, Table, View};

/// From this energy on the opening is a matter of its own, J. Common practice, no source.
const ARC_ENERGY_J: f64 = 1.0;

pub(super) fn view(input: &RaceInput, result: &RaceOutput, judged: &Ledger) -> View {
    View { lead: lead(input, result), more: more(input, result), blocks: blocks(input, result, judged) }
}

fn blocks(input: &RaceInput, result: &RaceOutput, judged: &Ledger) -> Vec<Block> {
    let mut blocks = vec![
        Block::Figures(figures(input, result)),
        Block::Chart(course(input, result)),
        Block::Table(chain(result)),
        Block::Chart(coordination(input, result)),
    ];
    if !input.fuse.points.is_empty() {
        blocks.push(Block::Chart(fuse_curve(input, result)));
    }
    blocks.push(Block::Table(nobody(result, judged)));
    blocks.push(Block::Table(faults(result)));
    blocks.extend(result.strings.map(|strings| Block::Table(shared(&strings, input.piece()))));
    blocks.push(Block::Table(counting(input, result)));
    blocks
}

/// The points as they are typed, and between them what is judged by.
fn fuse_curve(input: &RaceInput, result: &RaceOutput) -> Chart {
    let points = &input.fuse.points;
    let (x, y) = (Axis::log("prospective current", Unit::Ampere), Axis::log("time", Unit::Second));
    let mut series =
        Series::new("fuse", "Time-current curve of the fuse", points, x, |point| point.current_a, y).every(1);
    series.table_words("Time-current points of the fuse", "As given; I²t from current and time.");
    series.curve("pre-arcing", Stroke::Main, |point| Some(point.pre_arcing_s));
    series.curve("total clearing", Stroke::Second, |point| point.clearing_s);
    let square = |point: &FusePoint| point.current_a * point.current_a * point.pre_arcing_s;
    series.column("Pre-arcing I²t", Unit::AmpereSquaredSecond, |point| Some(square(point)));
    let range = points[0].current_a..=points[points.len() - 1].current_a;
    let inside = || result.coordination.iter().filter(|point| range.contains(&point.prospective_a));
    let bound = |pick: fn(&CoordinationPoint) -> Option<f64>| {
        inside().filter_map(|point| pick(point).map(|time| [point.prospective_a, time])).collect::<Vec<_>>()
    };
    series.shape("melts at the earliest", Stroke::Thin, bound(|point| point.fuse_min_s));
    series.shape("cleared at the latest", Stroke::Thin, bound(|point| point.fuse_cleared_s));
    let (least, most) = (ampere(points[0].current_a), ampere(points[points.len() - 1].current_a));
    let rated = |value: Option<Quantity>| value.map_or_else(|| "not given".into(), |value| value.to_string());
    let conditions = format!(
        "rated voltage {}, time constant up to {}, tolerance ± {} in current",
        rated(input.fuse.voltage_v.map(volt)),
        rated(input.fuse.time_constant_s.map(second)),
        percent(input.fuse.current_tolerance_percent)
    );
    let mut chart = series.chart(format!("{} points from {least} to {most}", points.len()), conditions);
    chart.curves.retain(|curve| !curve.points.is_empty());
    chart
}

fn shared(strings: &RaceStrings, piece: &str) -> Table {
    let rows = [
        ("Carries most", strings.highest_a),
        ("Carries least", strings.lowest_a),
        ("Alone, the others opened", strings.alone_a),
        ("Fault inside, fed by the others", strings.reverse_a),
    ];
    Columns::new("strings", &format!("What one {piece} carries"), &capital(piece), &rows, |_, (head, _)| (*head).into())
        .note("Prospective currents of the strongest fault.")
        .column("Prospective", Unit::Ampere, |(_, current)| *current)
        .table()
}

fn lead(input: &RaceInput, result: &RaceOutput) -> String {
    let who = capital(result.opens_first.words());
    let latest = result.interruption_max_s.map(second);
    match (result.opens_first, latest, result.opening_current_a.map(ampere), result.fuse) {
        (Opener::Switch, Some(time), Some(current), _) => {
            let can = input.switch.breaking_a.map_or_else(String::new, |can| format!("; it can break {}", ampere(can)));
            format!("{who}, after {time}, and must break {current}{can}")
        }
        (Opener::Fuse, switch, _, Some(fuse)) => {
            let switch = switch.map_or_else(|| "is not sure to trip".into(), |time| format!("needs {time}"));
            format!("{who}, after {} at the earliest; the switch {switch}", second(fuse.prearc_min_s))
        }
        _ => format!("{who} at {}", ampere(result.strongest.prospective_a)),
    }
}

fn more(input: &RaceInput, result: &RaceOutput) -> String {
    if !result.nobody.is_empty() {
        let known = |one: &&NobodyInterval| one.reason != NobodyReason::NotJudged;
        if !result.nobody.iter().any(|one| known(&one)) {
            return "What is given does not tell at every fault whether somebody interrupts.".into();
        }
        let ranges =
            result.nobody.iter().filter(known).map(|one| format!("{} to {}", ampere(one.from_a), ampere(one.to_a)));
        let ranges = ranges.collect::<Vec<_>>().join(" and ");
        return format!("Nothing interrupts as rated at a prospective current of {ranges}.");
    }
    let longest = input.stages.iter().max_by(|a, b| a.longest_s.total_cmp(&b.longest_s));
    longest.map_or_else(String::new, |stage| {
        format!("The longest stage is {} with {}.", in_sentence(&stage.name), second(stage.longest_s))
    })
}

pub(super) fn cautions(input: &RaceInput, result: &RaceOutput) -> Vec<String> {
    let mut cautions: Vec<String> = caution::arc(result.strongest.prospective_a).into_iter().collect();
    let beyond = result.must_break_a.zip(input.switch.breaking_a).is_some_and(|(must, can)| passes(must, can));
    if let (Some(current), Some(energy)) = (result.opening_current_a, result.stored_energy_j)
        && (energy > ARC_ENERGY_J || beyond)
    {
        let (current, energy) = (ampere(current), joule(energy));
        cautions.push(format!("Opening this circuit at {current} releases {energy} at the contacts, and the source adds to it. A carry rating is not a breaking rating; use the maker's breaking data for direct current at your voltage."));
    }
    cautions
}

fn figures(input: &RaceInput, result: &RaceOutput) -> Vec<Figure> {
    let fault = &result.strongest;
    let mut figures = Vec::new();
    let mut add = |label: &str, value: Option<Quantity>, note: &str| {
        figures.extend(value.map(|value| Figure::of(label, value, note)));
    };
    let a2s = ampere_squared_second;
    let threshold = format!("{}, after the fault", ampere(input.threshold_a));
    let worst = format!("at {}, until it is surely over", ampere(result.worst_fault_a));
    let prearc = format!("pre-arc {}, without loss of heat", a2s(input.fuse.prearc_a2s));
    let wiring = result.wiring.and_then(|wiring| wiring.end_degc).map(celsius);
    add("Prospective current", Some(ampere(fault.prospective_a)), "strongest fault");
    add("Time constant", Some(second(fault.time_constant_s)), "L/R of the loop");
    add("Threshold reached", result.time_to_threshold_s.map(second), &threshold);
    add("Interrupted", result.interruption_max_s.map(second), "by the switch, at the latest");
    add("Current then", result.opening_current_a.map(ampere), "unopposed");
    add("Stored energy then", result.stored_energy_j.map(joule), "½ L i²");
    add("Into the clamp", result.clamp.map(|clamp| joule(clamp.energy_j)), "with what the source adds");
    add("Let-through", result.let_through_a2s.map(a2s), "from zero current, until then");
    add("Let-through of the worst fault", result.worst_let_through_a2s.map(a2s), &worst);
    add(
        "Until the current is zero",
        result.let_through_to_zero_a2s.map(a2s),
        "from the current before, with the clamp",
    );
    add("Wiring at the end", wiring, "of the worst fault, without loss of heat");
    let link = result.link;
    add("From the link, peak", link.and_then(|link| link.peak_a).map(ampere), "into a short on the pack's side");
    add(
        "From the link and the others, peak",
        link.and_then(|link| link.with_others_a).map(ampere),
        "into the same fault inside one of them",
    );
    add(
        "Backwards at an opening, with the link",
        link.and_then(|link| link.opened_a).map(ampere),
        "through the switch that opens in that short",
    );
    add("From the link, let-through", link.and_then(|link| link.let_through_a2s).map(a2s), "through the shunt");
    add("Fuse melts", result.fuse.and_then(|fuse| fuse.prearc_s).map(second), &prearc);
    add("Fuse melts at the earliest", result.fuse.map(|fuse| second(fuse.prearc_min_s)), "strongest fault");
    add("Fuse has cleared", result.fuse.and_then(|fuse| fuse.cleared_max_s).map(second), "at the latest");
    add("Switch must break", result.must_break_a.map(ampere), "at most, over all faults");
    figures
}

fn course(input: &RaceInput, result: &RaceOutput) -> Chart {
    let points = &result.course;
    let (x, y) = (Axis::log("time after the fault", Unit::Second), Axis::linear("current", Unit::Ampere));
    let mut series =
        Series::new("course", "Course of the strongest fault", points, x, |point| point.time_s, y).every(6);
    series.table_words("Course of the strongest fault", "Let-through from the current before the fault.");
    series.curve("current", Stroke::Main, |point| Some(point.current_a));
    series.column("Let-through", Unit::AmpereSquaredSecond, |point| Some(point.let_through_a2s));
    series.level("threshold", input.threshold_a);
    for stage in &result.stages {
        if let Some((time, current)) = stage.ends_max_s.filter(|time| *time > 0.0).zip(stage.current_a) {
            series.mark(time, current, format!("{} {}", stage_word(&stage.name), second(time)));
        }
    }
    if let Some(time) = result.fuse.map(|fuse| fuse.prearc_s.unwrap_or(fuse.prearc_min_s)) {
        // On the curve as it is drawn: straight between its points.
        let right = points.partition_point(|point| point.time_s < time).clamp(1, points.len() - 1);
        let (left, right) = (&points[right - 1], &points[right]);
        let share = (time - left.time_s) / (right.time_s - left.time_s);
        let current = left.current_a + (right.current_a - left.current_a) * share.clamp(0.0, 1.0);
        series.mark(time, current, format!("fuse melts {}", second(time)));
    }
    let (fault, who) = (&result.strongest, result.opens_first.words());
    let finding = match (result.interruption_max_s.map(second), result.opening_current_a.map(ampere)) {
        (Some(time), Some(current)) => format!("{current} flow when the switch opens at {time}; {who}"),
        _ => {
            let settled = ampere(fault.prospective_a);
            format!("The current settles at {settled}, the switch is not sure to trip; {who}")
        }
    };
    let (voltage, resistance) = (volt(fault.voltage_v), ohm(fault.resistance_ohm));
    let (inductance, before) = (henry(input.source.inductance_henry), ampere(input.before_a));
    let conditions = format!("{voltage}, {resistance}, {inductance}, from {before}; stages at their longest");
    let mut chart = series.chart(finding, conditions);
    if let Some(can) = input.switch.breaking_a {
        let ends = [points.first(), points.last()].into_iter().flatten();
        let points = ends.map(|point| [point.time_s, can]).collect();
        chart.curves.push(Curve { label: "breaking capacity".into(), stroke: Stroke::Second, points });
    }
    chart
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
    Columns::new("chain", "The reaction, stage by stage", "Stage", &result.stages, |_, stage| capital(&stage.name))
        .note("At the strongest fault. The current rises unopposed while the switch opens.")
        .small(|stage| if stage.longest_s.is_none() { "never".into() } else { String::new() })
        .column("At least", Unit::Second, |stage| stage.shortest_s)
        .column("At most", Unit::Second, |stage| stage.longest_s)
        .column("Over, earliest", Unit::Second, |stage| stage.ends_min_s)
        .column("Over, latest", Unit::Second, |stage| stage.ends_max_s)
        .column("Current then", Unit::Ampere, |stage| stage.current_a)
        .table()
}

fn coordination(input: &RaceInput, result: &RaceOutput) -> Chart {
    let points = &result.coordination;
    let (x, y) = (Axis::log("prospective current", Unit::Ampere), Axis::log("time", Unit::Second));
    let mut series = Series::new("coordination", "Co-ordination", points, x, |point| point.prospective_a, y).every(4);
    series.table_words("Co-ordination", "Where a cell is empty, that part does not act.");
    series.curve("switch opens", Stroke::Main, |point| point.switch_s);
    series.curve("fuse melts", Stroke::Second, |point| point.fuse_min_s);
    series.curve("fuse has cleared", Stroke::Second, |point| point.fuse_cleared_s);
    series.curve("wiring limit", Stroke::Thin, |point| point.wiring_s);
    series.curve("shunt limit", Stroke::Thin, |point| point.shunt_s);
    let times = || {
        let times = points
            .iter()
            .flat_map(|point| [point.switch_s, point.fuse_min_s, point.fuse_cleared_s, point.wiring_s, point.shunt_s]);
        times.flatten().filter(|time| *time > 0.0)
    };
    let (low, high) = (times().reduce(f64::min).unwrap_or(1e-3), times().reduce(f64::max).unwrap_or(1.0));
    if let (Some(carry), Some(time)) = (input.switch.carry_a, input.switch.carry_s) {
        series.mark(carry, time, "switch carries");
    }
    let (weakest, strongest) = (result.weakest.prospective_a, result.strongest.prospective_a);
    series.mark(weakest, low, "weakest fault");
    series.mark(strongest, low, "strongest fault");
    let finding = match result.nobody.first() {
        Some(one) => {
            let (from, to) = (ampere(one.from_a), ampere(one.to_a));
            match one.reason {
                NobodyReason::NotJudged => format!("From {from} to {to} {}", one.reason.words()),
                reason => format!("From {from} to {to} nothing interrupts as rated: {}", reason.words()),
            }
        }
        None => {
            let (from, to, who) = (ampere(weakest), ampere(strongest), result.opens_first.words());
            format!("From {from} to {to} somebody opens; at the strongest fault {who}")
        }
    };
    let conditions = "switch at the latest, fuse at its earliest and latest, from zero current, limits adiabatic";
    let mut chart = series.chart(finding, conditions);
    // At the threshold itself the switch would take for ever: the trip function comes down from above.
    let (_, threshold) = input.thresholds();
    let switch = &mut chart.curves[0].points;
    if let Some([first, _]) = switch.first().copied().filter(|first| first[0] <= threshold * 1.001) {
        switch.insert(0, [threshold.min(first), high]);
    }
    chart.curves.retain(|curve| !curve.points.is_empty());
    // Behind the other curves, which stay readable on the band.
    let curve =
        |label: &str, stroke, points: [[f64; 2]; 2]| Curve { label: label.into(), stroke, points: points.into() };
    let bands = result.nobody.iter().map(|one| {
        let label = match one.reason {
            NobodyReason::NothingOpens => "nothing opens",
            NobodyReason::BeyondBreaking => "beyond breaking",
            NobodyReason::NotJudged => "not judged",
        };
        curve(label, Stroke::Filled, [[one.from_a, high], [one.to_a, high]])
    });
    chart.curves.splice(0..0, bands);
    let can = input.switch.breaking_a;
    chart.curves.extend(can.map(|can| curve("breaking capacity", Stroke::Allowed, [[can, low], [can, high]])));
    chart
}

fn nobody(result: &RaceOutput, judged: &Ledger) -> Table {
    let (low, high) = (result.weakest.prospective_a, result.strongest.prospective_a);
    let verdict = |reason| {
        let requirement = judged.find(match reason {
            NobodyReason::NothingOpens => "race.opens",
            NobodyReason::BeyondBreaking => "race.breaking",
            NobodyReason::NotJudged => return Cell::Verdict(Verdict::NotJudged),
        });
        requirement.map_or(Cell::Empty, |one| judged.verdict_of(one).into())
    };
    let told = |reason: NobodyReason| (capital(reason.words()), "", verdict(reason));
    let mut rows: Vec<_> = result.nobody.iter().map(|one| (told(one.reason), one.from_a, one.to_a)).collect();
    if rows.is_empty() {
        rows.push((("Somebody opens".into(), "and can break what flows then", "—".into()), low, high));
    }
    Columns::new("nobody", "Currents that nothing interrupts", "What happens", &rows, |_, ((head, ..), ..)| {
        head.clone()
    })
    .note(format!("Prospective currents from {} to {}, every tolerance counted.", ampere(low), ampere(high)))
    .small(|((_, note, _), ..)| (*note).into())
    .column("From", Unit::Ampere, |(_, from, _)| *from)
    .column("To", Unit::Ampere, |(_, _, to)| *to)
    .words("Verdict", |((.., verdict), ..)| verdict.clone())
    .table()
}

fn faults(result: &RaceOutput) -> Table {
    let rows = [
        ("Strongest", &result.strongest, result.opens_first),
        ("Weakest", &result.weakest, result.opens_first_weakest),
    ];
    Columns::new("faults", "Strongest and weakest fault", "Fault", &rows, |_, (head, ..)| (*head).into())
        .note("The weakest one is the one that neither threshold nor fuse may see.")
        .column("Voltage", Unit::Volt, |(_, fault, _)| fault.voltage_v)
        .column("Resistance", Unit::Ohm, |(_, fault, _)| fault.resistance_ohm)
        .column("Prospective", Unit::Ampere, |(_, fault, _)| fault.prospective_a)
        .column("Time constant", Unit::Second, |(_, fault, _)| fault.time_constant_s)
        .column("First rise", Unit::AmperePerSecond, |(_, fault, _)| fault.initial_rise_a_per_s)
        .words("Who opens", |(.., opener)| opener.words())
        .table()
}

/// Both conventions: with the current before the fault and without it.
fn counting(input: &RaceInput, result: &RaceOutput) -> Table {
    let before = format!("From the {} before the fault", ampere(input.before_a));
    let rows = [
        (before, result.opening_current_a, result.stored_energy_j, result.let_through_from_before_a2s),
        (
            "From zero current".into(),
            result.opening_current_from_zero_a,
            result.stored_energy_from_zero_j,
            result.let_through_a2s,
        ),
    ];
    let caption = "At the latest interruption, counted in two ways";
    Columns::new("counting", caption, "Counted", &rows, |_, (head, ..)| head.clone())
        .note("Let-through is often stated from zero current; the switch meets the current that really flows.")
        .column("Current", Unit::Ampere, |(_, current, ..)| *current)
        .column("Stored energy", Unit::Joule, |(_, _, energy, _)| *energy)
        .column("Let-through", Unit::AmpereSquaredSecond, |(.., a2s)| *a2s)
        .table()
}
