//! # The lane
//!
//! The band of error opens at every stage by what that stage takes of the allowance, and must pass the bracket. Across
//! on wide windows, downwards on narrow ones.

use sensewright_core::judge::Verdict;
use sensewright_core::report::{Lane, Stage};

use super::label::{width, wrap};
use super::{Canvas, Size, id};
use crate::number::share;

/// Beyond this share of the allowance the bracket shrinks so that the band still fits.
const ROOM: f64 = 160.0;

/// Both drawings of a lane.
pub fn both(lane: &Lane) -> String {
    format!("{}{}", wide(lane), narrow(lane))
}

/// The half-widths of the band after each stage and of the bracket, where `room` is the most there is.
fn halves(lane: &Lane, room: f64) -> (Vec<f64>, f64) {
    let mut sum = 0.0;
    let sums: Vec<f64> = lane
        .stages
        .iter()
        .map(|stage| {
            sum += if stage.takes_percent.is_finite() { stage.takes_percent.clamp(0.0, 1e6) } else { 0.0 };
            sum
        })
        .collect();
    let scale = room / sum.max(ROOM);
    (sums.iter().map(|sum| sum * scale).collect(), (100.0 * scale).max(3.0))
}

fn largest(lane: &Lane) -> Option<usize> {
    let takes = |index: &usize| lane.stages[*index].takes_percent;
    (0..lane.stages.len()).max_by(|a, b| takes(a).total_cmp(&takes(b))).filter(|index| takes(index) > 0.0)
}

fn takes(stage: &Stage, largest: bool) -> String {
    let share = share(stage.takes_percent);
    if largest { format!("largest: takes {share} %") } else { format!("takes {share} %") }
}

fn description(lane: &Lane) -> String {
    let stages: Vec<String> = lane
        .stages
        .iter()
        .map(|stage| format!("{} {} takes {} %", stage.label, stage.part, share(stage.takes_percent)))
        .collect();
    format!("{}. {} Allowed: {}. {}.", stages.join("; "), lane.reached, lane.allowed, lane.verdict.word())
}

const fn colour(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Fails => "tl tb t-bad",
        Verdict::Thin | Verdict::NotResolved | Verdict::NotJudged => "tl tb t-thin",
        Verdict::Holds => "tl tb t-ok",
        Verdict::NoLimitSet => "tl tb t2",
    }
}

/// The outline of the band along the signal: start, and for each stage where it begins and ends to open.
fn outline(from: f64, to: f64, opens: &[(f64, f64)], halves: &[f64], limit: f64) -> Vec<[f64; 2]> {
    let mut points = vec![[from, 0.6]];
    let mut half = 0.6;
    for ((begin, end), next) in opens.iter().zip(halves) {
        let next = next.max(0.6);
        points.push([*begin, half]);
        // Where the band meets the bracket inside a slope, the edge of the excess starts there.
        if half < limit && next > limit {
            points.push([begin + (end - begin) * (limit - half) / (next - half), limit]);
        }
        points.push([*end, next]);
        half = next;
    }
    points.push([to, half]);
    points
}

/// Draws band and excess; `place` turns along and across into coordinates.
fn band(canvas: &mut Canvas, outline: &[[f64; 2]], limit: f64, place: impl Fn(f64, f64) -> [f64; 2]) {
    let inner: Vec<_> = outline.iter().map(|[along, half]| [*along, half.min(limit)]).collect();
    let mut shape: Vec<_> = inner.iter().map(|[along, half]| place(*along, -half)).collect();
    shape.extend(inner.iter().rev().map(|[along, half]| place(*along, *half)));
    canvas.polygon("rib", &shape);
    if outline.iter().any(|point| point[1] > limit + 0.05) {
        for side in [-1.0, 1.0] {
            let mut shape: Vec<_> = outline.iter().map(|[along, half]| place(*along, side * half.max(limit))).collect();
            shape.extend(inner.iter().rev().map(|[along, _]| place(*along, side * limit)));
            // Only from where it passes the limit on.
            let from = outline.iter().position(|point| point[1] > limit + 0.05).unwrap_or(0).saturating_sub(1);
            let count = outline.len();
            let kept: Vec<_> = shape[from..count].iter().chain(&shape[count..2 * count - from]).copied().collect();
            canvas.polygon("rib-bad", &kept);
        }
    }
}

fn wide(lane: &Lane) -> String {
    let count = lane.stages.len().max(1) as f64;
    let (left, right) = (8.0, 632.0);
    let pitch = (right - left) / count;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 6 and 40 letters")]
    let letters = (pitch / 6.9).clamp(6.0, 40.0) as usize;
    let heads: Vec<Vec<(&str, String)>> = lane
        .stages
        .iter()
        .map(|stage| {
            let mut lines = Vec::new();
            for (class, text, most) in
                [("tm tb", &stage.label, 2), ("tm", &stage.part, 2), ("tm t2 ts", &stage.signal, 2)]
            {
                lines.extend(
                    wrap(text, letters, most).into_iter().filter(|line| !line.is_empty()).map(|line| (class, line)),
                );
            }
            lines
        })
        .collect();
    let head = heads.iter().map(Vec::len).max().unwrap_or(0) as f64 * 14.0 + 6.0;
    let middle = head + 62.0;
    let height = middle + 82.0;
    let (halves, limit) = halves(lane, 56.0);
    let id = format!("lane-{}", id(&lane.id));
    let mut canvas = Canvas::image(Size::Wide, 820.0, height, &id, &lane.caption, &description(lane));
    let opens: Vec<(f64, f64)> = (0..lane.stages.len())
        .map(|index| {
            let centre = (index as f64 + 0.5) * pitch + left;
            (centre - pitch * 0.22, centre + pitch * 0.22)
        })
        .collect();
    let shape = outline(left, right + 16.0, &opens, &halves, limit);
    band(&mut canvas, &shape, limit, |along, across| [along, middle + across]);
    canvas.line("rib-mid", [left, middle], [right + 16.0, middle]);
    let top = largest(lane);
    for (index, (stage, lines)) in lane.stages.iter().zip(&heads).enumerate() {
        let centre = (index as f64 + 0.5) * pitch + left;
        let (begin, end) = opens[index];
        for edge in [begin, end] {
            canvas.line("stage", [edge, middle - 4.0], [edge, middle + 4.0]);
        }
        for (row, (class, line)) in lines.iter().enumerate() {
            canvas.text(class, [centre, row as f64 * 14.0 + 12.0], line);
        }
        let words = takes(stage, top == Some(index));
        let words = if width(&words, 11.5) > pitch { format!("{} %", share(stage.takes_percent)) } else { words };
        let class = if top == Some(index) { "tm ts tb" } else { "tm ts" };
        canvas.text(class, [centre, height - 5.0], &words);
    }
    if let Some(stage) = lane.behind_barrier {
        let along = stage as f64 * pitch + left;
        canvas.line("wall", [along, head + 2.0], [along, height - 30.0]);
        canvas.text("tm t2 ts", [along, height - 20.0], "barrier");
    }
    let edge = right + 20.0;
    let bracket = [[edge - 10.0, -1.0], [edge, -1.0], [edge, 1.0], [edge - 10.0, 1.0]]
        .map(|[x, side]| [x, side * (limit + 2.0) + middle]);
    canvas.polyline("brk", &bracket);
    words(&mut canvas, lane, edge + 12.0, middle - 26.0, 20);
    canvas.finish()
}

fn narrow(lane: &Lane) -> String {
    let row = 68.0;
    let centre = 62.0;
    let end = lane.stages.len() as f64 * row + 16.0;
    let lines = wrap(&format!("allowed {}", lane.allowed), 36, 2).len() + wrap(&lane.reached, 34, 3).len();
    let height = end + 18.0 + 14.0 * lines as f64;
    let (halves, limit) = halves(lane, 56.0);
    let id = format!("lane-{}", id(&lane.id));
    let mut canvas = Canvas::image(Size::Narrow, 360.0, height, &id, &lane.caption, &description(lane));
    let opens: Vec<(f64, f64)> = (0..lane.stages.len())
        .map(|index| {
            let top = index as f64 * row + 8.0;
            (top + 20.0, top + 46.0)
        })
        .collect();
    let shape = outline(0.0, end, &opens, &halves, limit);
    band(&mut canvas, &shape, limit, |along, across| [centre + across, along]);
    canvas.line("rib-mid", [centre, 0.0], [centre, end]);
    let top = largest(lane);
    for (index, stage) in lane.stages.iter().enumerate() {
        let mut level = index as f64 * row + 17.0;
        for edge in [opens[index].0, opens[index].1] {
            canvas.line("stage", [centre - 4.0, edge], [centre + 4.0, edge]);
        }
        let label = wrap(&stage.label, 30, 1).concat();
        canvas.text("tb", [136.0, level], &label);
        for (class, text) in [("", &stage.part), ("t2 ts", &stage.signal)] {
            if !text.is_empty() {
                level += 15.0;
                canvas.text(class, [136.0, level], &wrap(text, 34, 1).concat());
            }
        }
        let class = if top == Some(index) { "ts tb" } else { "ts" };
        canvas.text(class, [136.0, level + 15.0], &takes(stage, top == Some(index)));
    }
    if let Some(stage) = lane.behind_barrier {
        let along = stage as f64 * row + 2.0;
        canvas.line("wall", [4.0, along], [352.0, along]);
        canvas.text("te t2 ts", [352.0, along - 4.0], "barrier");
    }
    let level = end + 4.0;
    let bracket = [[-1.0, level - 10.0], [-1.0, level], [1.0, level], [1.0, level - 10.0]]
        .map(|[side, y]| [side * (limit + 2.0) + centre, y]);
    canvas.polyline("brk", &bracket);
    words(&mut canvas, lane, 136.0, end + 6.0, 32);
    canvas.finish()
}

/// What was allowed, what was reached, and the verdict.
fn words(canvas: &mut Canvas, lane: &Lane, x: f64, top: f64, letters: usize) {
    let mut level = top;
    for line in wrap(&format!("allowed {}", lane.allowed), letters + 4, 2) {
        canvas.text("t2 ts", [x, level], &line);
        level += 14.0;
    }
    canvas.text(colour(lane.verdict), [x, level + 5.0], lane.verdict.word());
    level += 21.0;
    for line in wrap(&lane.reached, letters + 2, 3) {
        canvas.text("ts", [x, level], &line);
        level += 14.0;
    }
}
