//! # Charts
//!
//! Curves with their labels at the right end, the allowance, and the evaluated points. The picture is described in words
//! for those who cannot see it, and its values stand in a table below it.

use sensewright_core::quantity::Quantity;
use sensewright_core::report::{self, Chart, Curve, Stroke};

use super::axes::{self, Axis};
use super::label::{Area, overlap, spread, width, wrap};
use super::{Canvas, Size, id};

/// Space between the baselines of a label's lines.
const LINE: f64 = 13.0;

/// The drawing area of one of the two sizes.
struct Frame {
    width: f64,
    height: f64,
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
    letters: usize,
}

impl Frame {
    fn of(size: Size, chart: &Chart, ticks: f64) -> Self {
        let (width_all, height, letters, most) = match size {
            Size::Wide => (820.0, 270.0, 22, 170.0),
            Size::Narrow => (360.0, 250.0, 12, 92.0),
        };
        let widest = chart
            .curves
            .iter()
            .flat_map(|curve| wrap(&curve.label, letters, 3))
            .map(|line| width(&line, 12.5))
            .fold(0.0, f64::max);
        let margin = if widest > 0.0 { (widest + 18.0).clamp(30.0, most) } else { 16.0 };
        Self {
            width: width_all,
            height,
            left: (ticks + 12.0).clamp(30.0, 80.0),
            right: width_all - margin,
            top: 22.0,
            bottom: height - 38.0,
            letters,
        }
    }
}

/// Both drawings of a chart.
pub fn both(chart: &Chart) -> String {
    format!("{}{}", one(chart, Size::Wide), one(chart, Size::Narrow))
}

/// One drawing of a chart.
pub fn one(chart: &Chart, size: Size) -> String {
    let curves: Vec<(&Curve, Vec<[f64; 2]>)> =
        chart.curves.iter().map(|curve| (curve, visible(chart, &curve.points))).collect();
    let marks: Vec<_> =
        chart.marks.iter().filter(|mark| axes::shows(&chart.x, mark.x) && axes::shows(&chart.y, mark.y)).collect();
    let all = || {
        curves.iter().flat_map(|(_, points)| points.iter().copied()).chain(marks.iter().map(|mark| [mark.x, mark.y]))
    };
    let (xs, ys): (Vec<f64>, Vec<f64>) = all().map(|[x, y]| (x, y)).unzip();

    // The height does not depend on the labels, so the vertical axis comes first and its labels set the left edge.
    let bare = Frame::of(size, chart, 0.0);
    let y = Axis::new(&chart.y, &ys, bare.bottom, bare.top, 5, true);
    let widest = y.ticks.iter().map(|tick| width(&tick.label, 12.0)).fold(0.0, f64::max);
    let frame = Frame::of(size, chart, widest);
    let most = if size == Size::Wide { 8 } else { 5 };
    let x = Axis::new(&chart.x, &xs, frame.left, frame.right, most, false);

    let id = format!("chart-{}", id(&chart.id));
    let mut canvas = Canvas::image(size, frame.width, frame.height, &id, &chart.title, &description(chart, &curves));
    scales(&mut canvas, &frame, &x, &y);
    if xs.is_empty() {
        canvas.text("tm t2", [f64::midpoint(frame.left, frame.right), 120.0], "No value can be drawn here.");
        return canvas.finish();
    }
    let mut taken: Vec<Area> = Vec::new();
    let mut dots: Vec<[f64; 2]> = Vec::new();
    for (curve, points) in &curves {
        let drawn: Vec<[f64; 2]> = points.iter().map(|[px, py]| [x.place(*px), y.place(*py)]).collect();
        stroke(&mut canvas, &frame, curve.stroke, &drawn);
        // A label keeps off the line between two points, too.
        for pair in drawn.windows(2) {
            let steps = (pair[1][0] - pair[0][0]).abs().max((pair[1][1] - pair[0][1]).abs()) / 6.0;
            let steps = steps.clamp(1.0, 200.0).ceil();
            let mut step = 0.0;
            while step <= steps {
                let along = |axis: usize| pair[0][axis] + (pair[1][axis] - pair[0][axis]) * step / steps;
                dots.push([along(0), along(1)]);
                step += 1.0;
            }
        }
    }
    ends(&mut canvas, &frame, &x, &y, &curves);
    let centres: Vec<[f64; 2]> = marks.iter().map(|mark| [x.place(mark.x), y.place(mark.y)]).collect();
    for (index, (mark, centre)) in marks.iter().zip(&centres).enumerate() {
        canvas.dot("dot", *centre, 4.0);
        let others: Vec<[f64; 2]> =
            centres.iter().enumerate().filter(|(other, _)| *other != index).map(|(_, place)| *place).collect();
        let Beside { class, place, area, raised } = beside(&frame, *centre, &mark.label, &taken, &dots, &others);
        // Where there is no room, a label that would be read at the wrong dot is worse than none: the wide drawing and
        // the description have it.
        let unclear = overlap(area, &taken) > 20.0 || centres[..index].iter().any(|other| claims(&area, *other));
        if size == Size::Narrow && unclear {
            continue;
        }
        if raised {
            canvas.line("l-lead", [centre[0], centre[1] - 5.0], [place[0], place[1] + 3.0]);
        }
        canvas.text(class, place, &mark.label);
        taken.push(area);
    }
    canvas.finish()
}

fn visible(chart: &Chart, points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    points.iter().copied().filter(|[x, y]| axes::shows(&chart.x, *x) && axes::shows(&chart.y, *y)).collect()
}

fn scales(canvas: &mut Canvas, frame: &Frame, x: &Axis, y: &Axis) {
    let levels: Vec<_> = y.ticks.iter().map(|tick| y.place(tick.value)).collect();
    canvas.lines("grid", &levels.iter().map(|level| [[frame.left, *level], [frame.right, *level]]).collect::<Vec<_>>());
    for (tick, level) in y.ticks.iter().zip(levels) {
        canvas.text("te t2", [frame.left - 7.0, level + 4.0], &tick.label);
    }
    canvas.text("t2 ts", [2.0, 10.0], &y.caption);
    let mut edge = f64::NEG_INFINITY;
    let mut marks = vec![[[frame.left, frame.bottom], [frame.right, frame.bottom]]];
    for tick in &x.ticks {
        let place = x.place(tick.value);
        marks.push([[place, frame.bottom], [place, frame.bottom + 6.0]]);
        let half = width(&tick.label, 12.0) / 2.0;
        if place - half > edge + 6.0 {
            canvas.text("tm t2", [place, frame.bottom + 19.0], &tick.label);
            edge = place + half;
        }
    }
    canvas.lines("axis", &marks);
    canvas.text("te t2 ts", [frame.right, frame.bottom + 33.0], &x.caption);
}

fn stroke(canvas: &mut Canvas, frame: &Frame, stroke: Stroke, drawn: &[[f64; 2]]) {
    let class = match stroke {
        Stroke::Main => "l-wc",
        Stroke::Second => "l-rss",
        Stroke::Filled => "l-mc",
        Stroke::Allowed => "l-lim",
        Stroke::Thin => "l-thin",
    };
    match drawn {
        [] => {}
        // A single point has no line.
        [only] => canvas.dot("dot full", *only, 3.0),
        [first, .., last] => {
            if stroke == Stroke::Filled {
                let mut shape = drawn.to_vec();
                shape.extend([[last[0], frame.bottom], [first[0], frame.bottom]]);
                canvas.polygon("b-mc", &shape);
            }
            canvas.polyline(class, drawn);
        }
    }
}

/// The labels at the right end of the curves, pushed apart, each with a leader.
fn ends(canvas: &mut Canvas, frame: &Frame, x: &Axis, y: &Axis, curves: &[(&Curve, Vec<[f64; 2]>)]) {
    let labelled: Vec<_> = curves
        .iter()
        .filter(|(curve, _)| !curve.label.is_empty())
        .filter_map(|(curve, points)| {
            let last = points.last()?;
            Some((curve, [x.place(last[0]), y.place(last[1])], wrap(&curve.label, frame.letters, 3)))
        })
        .collect();
    let wanted: Vec<_> =
        labelled.iter().map(|(_, end, lines)| (end[1], (lines.len() as f64 * LINE + 2.0).max(14.0))).collect();
    let places = spread(&wanted, 12.0, frame.height - 14.0);
    for ((curve, end, lines), place) in labelled.iter().zip(places) {
        let class = match curve.stroke {
            Stroke::Main => "tb",
            Stroke::Allowed => "tb t-bad",
            Stroke::Second | Stroke::Filled => "tb t-data",
            Stroke::Thin => "t2",
        };
        canvas.line("l-lead", [end[0] + 2.0, end[1]], [frame.right + 11.0, place]);
        let first = place + 4.0 - (lines.len() as f64 - 1.0) * LINE / 2.0;
        for (index, line) in lines.iter().enumerate() {
            canvas.text(class, [frame.right + 14.0, index as f64 * LINE + first], line);
        }
    }
}

/// The baseline of a label above and below its mark.
const ABOVE: f64 = -9.0;
const BELOW: f64 = 18.0;
/// How much wider bold letters are.
const BOLD: f64 = 1.15;
/// What stays free beside a label.
const GAP: f64 = 2.0;

/// Whether a label would be read as that of `mark`: it is as near to it as a label is to its own mark.
fn claims(area: &Area, mark: [f64; 2]) -> bool {
    let across = (area[0] - mark[0]).max(mark[0] - area[2]).max(0.0);
    let down = (area[1] - mark[1]).max(mark[1] - area[3]).max(0.0);
    across.hypot(down) < 11.0
}

/// Where the label of a mark stands.
struct Beside {
    class: &'static str,
    place: [f64; 2],
    area: Area,
    /// Whether it stands so far above that a line leads to it.
    raised: bool,
}

/// The best place beside a point: inside the drawing, off other labels, off the curves, nearer to its own mark than to
/// `others`. Where none of the four beside it is free, one or two lines further up, with a leader.
fn beside(
    frame: &Frame,
    [x, y]: [f64; 2],
    label: &str,
    taken: &[Area],
    dots: &[[f64; 2]],
    others: &[[f64; 2]],
) -> Beside {
    let wide = BOLD * width(label, 12.5);
    let choice = |left: bool, down: f64| {
        let place = [if left { x - 7.0 } else { x + 7.0 }, y + down];
        let start = if left { place[0] - wide } else { place[0] };
        let area = [start - GAP, place[1] - 11.0, start + wide + GAP, place[1] + 3.0];
        Beside { class: if left { "tb halo te" } else { "tb halo" }, place, area, raised: down < ABOVE }
    };
    let cost = |area: &Area| {
        let outside = (frame.left - area[0]).max(0.0) + (area[2] - frame.right).max(0.0);
        let outside = outside + (12.0 - area[1]).max(0.0) * 4.0 + (area[3] - frame.bottom).max(0.0) * 4.0;
        let crossed = dots
            .iter()
            .filter(|dot| (area[0]..=area[2]).contains(&dot[0]) && (area[1]..=area[3]).contains(&dot[1]))
            .count();
        let claimed = others.iter().filter(|other| claims(area, **other)).count();
        outside * 20.0 + overlap(*area, taken) + crossed as f64 * 15.0 + claimed as f64 * 400.0
    };
    let mut best = choice(true, ABOVE);
    for (left, down) in [(false, ABOVE), (true, BELOW), (false, BELOW)] {
        let next = choice(left, down);
        if cost(&next.area) + 1.0 < cost(&best.area) {
            best = next;
        }
    }
    let crowded = |area: &Area| overlap(*area, taken) > 0.0 || others.iter().any(|other| claims(area, *other));
    // A leader is dearer than a line crossed or two, and cheaper than letters on letters.
    for lines in [1.0, 2.0] {
        for left in [true, false] {
            let next = choice(left, ABOVE - 15.0 * lines);
            if crowded(&best.area) && cost(&next.area) + 20.0 * lines < cost(&best.area) {
                best = next;
            }
        }
    }
    best
}

/// The reading in words, not the shape.
fn description(chart: &Chart, curves: &[(&Curve, Vec<[f64; 2]>)]) -> String {
    let mut text = format!("{}.", chart.finding.trim_end_matches('.'));
    let named = curves.iter().any(|(curve, _)| !curve.label.is_empty());
    for (curve, points) in curves.iter().filter(|(curve, _)| !named || !curve.label.is_empty()) {
        let (Some(first), Some(last)) = (points.first(), points.last()) else { continue };
        let name = if curve.label.is_empty() { chart.y.label.as_str() } else { curve.label.as_str() };
        let reading = if points.len() == 1 || first[1].to_bits() == last[1].to_bits() {
            format!(" {name}: {} at {}.", value(&chart.y, last[1]), value(&chart.x, last[0]))
        } else {
            format!(
                " {name}: {} at {} to {} at {}.",
                value(&chart.y, first[1]),
                value(&chart.x, first[0]),
                value(&chart.y, last[1]),
                value(&chart.x, last[0])
            )
        };
        text.push_str(&reading);
    }
    for mark in &chart.marks {
        text.push_str(" Marked: ");
        text.push_str(mark.label.trim_end_matches('.'));
        text.push('.');
    }
    text
}

fn value(axis: &report::Axis, value: f64) -> String {
    Quantity::new(value, axis.unit).brief(3).to_string()
}
