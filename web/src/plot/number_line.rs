//! # The number line
//!
//! A threshold between operation and hazard: green operation, hatched what error and noise or error and reaction take,
//! grey the room between them, a dark line with its shaded error for the threshold, red the limit and hatched what lies
//! beyond. Where both hatched parts meet there is no room; the overlap is hatched in red. Labels step up towards the limit.

use std::fmt::Write as _;

use sensewright_core::judge::Verdict;
use sensewright_core::quantity::{say_among, say_difference};
use sensewright_core::report::{self, LineRow, NumberLine};

use super::axes::Axis;
use super::label::{width, wrap};
use super::{Canvas, Size, id};

/// Height of a row.
const ROW: f64 = 166.0;
/// Top and bottom of the bar inside its row.
const BAR: [f64; 2] = [100.0, 126.0];
/// Space at both sides.
const EDGE: f64 = 16.0;

/// Both drawings of a number line.
pub fn both(line: &NumberLine) -> String {
    format!("{}{}", one(line, Size::Wide), one(line, Size::Narrow))
}

/// The height of a drawing.
pub fn height(line: &NumberLine, size: Size) -> f64 {
    let reading = if size == Size::Narrow && line.rows.len() > 1 { 14.0 } else { 0.0 };
    line.rows.len().max(1) as f64 * (ROW + reading)
}

/// One drawing.
pub fn one(line: &NumberLine, size: Size) -> String {
    let wide = match size {
        Size::Wide => 820.0,
        Size::Narrow => 360.0,
    };
    let height = height(line, size);
    let name = format!("line-{}", id(&line.id));
    let mut canvas = Canvas::image(size, wide, height, &name, &line.title, &description(line));
    let each = height / line.rows.len().max(1) as f64;
    for (index, row) in line.rows.iter().enumerate() {
        draw(&mut canvas, row, index as f64 * each + each - ROW, wide, size, line.rows.len() > 1);
    }
    canvas.finish()
}

const fn colour(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Fails => "tb t-bad",
        Verdict::Thin | Verdict::NotResolved | Verdict::NotJudged => "tb t-thin",
        Verdict::Holds => "tb t-ok",
        Verdict::NoLimitSet => "tb t2",
    }
}

/// A mark above the bar.
struct Flag {
    at: f64,
    text: String,
    class: &'static str,
    line: &'static str,
}

fn draw(canvas: &mut Canvas, row: &LineRow, top: f64, wide: f64, size: Size, several: bool) {
    let toward = if row.hazard >= row.normal { 1.0 } else { -1.0 };
    let span = (row.hazard - row.normal).abs();
    let say = |value: f64| say_among(value, row.unit, span);
    // What lies far outside is drawn at the end of the line.
    let (mut from, mut to) = (row.normal - toward * 0.5 * span, row.hazard + toward * 0.25 * span);
    for value in [row.nuisance_edge, row.harm_edge, row.threshold] {
        // Not clamp: its ends may be no numbers.
        let value = value.max(row.normal.min(row.hazard) - 1.5 * span).min(row.normal.max(row.hazard) + span);
        if toward * (value - to) > 0.0 {
            to = value + toward * 0.1 * span;
        } else if toward * (value - from) < 0.0 {
            from = value - toward * 0.1 * span;
        }
    }
    let axis = report::Axis::linear("", row.unit);
    let most = if size == Size::Wide { 8 } else { 4 };
    let x = Axis::new(&axis, &[from.min(to), from.max(to)], EDGE, wide - EDGE, most, false);
    let place = |value: f64| x.place(value);
    let [high, low] = BAR.map(|level| top + level);
    let bar = |canvas: &mut Canvas, class: &str, a: f64, b: f64| canvas.rect(class, [a, high], [b, low]);
    let begin = if toward > 0.0 { EDGE } else { wide - EDGE };
    let end = wide - begin;
    let [normal, hazard, nuisance, harm] = [row.normal, row.hazard, row.nuisance_edge, row.harm_edge].map(place);

    bar(canvas, "n-free", normal, hazard);
    bar(canvas, "n-guard", normal, nuisance);
    bar(canvas, "n-guard", harm, hazard);
    if toward * (row.nuisance_edge - row.harm_edge) > 0.0 {
        bar(canvas, "n-out", harm, nuisance);
    }
    bar(canvas, "n-oper", begin, normal);
    bar(canvas, "n-out", hazard, end);
    let sides = [row.threshold - row.error, row.threshold + row.error].map(place);
    bar(canvas, "n-err", sides[0], sides[1]);
    operation(canvas, begin, normal, f64::midpoint(high, low) + 4.0);

    let error = say_difference(row.error, row.difference);
    let name = if row.chosen { "threshold" } else { "middle" };
    let mut flags = [
        Flag {
            at: row.nuisance_edge,
            text: format!("nuisance edge {}", say(row.nuisance_edge)),
            class: "",
            line: "tick",
        },
        Flag {
            at: row.threshold,
            text: format!("{name} {} ± {error}", say(row.threshold)),
            class: "tb",
            line: "n-thr",
        },
        Flag { at: row.harm_edge, text: format!("harm edge {}", say(row.harm_edge)), class: "", line: "tick" },
        Flag { at: row.hazard, text: format!("limit {}", say(row.hazard)), class: "tb t-bad", line: "n-lim" },
    ];
    flags.sort_by(|a, b| (toward * a.at).total_cmp(&(toward * b.at)));
    let level = |step: usize| high - 8.0 - step as f64 * 17.0;
    for (step, flag) in flags.iter().enumerate() {
        canvas.line(flag.line, [place(flag.at), level(step) - 8.0], [place(flag.at), low + 2.0]);
    }
    // Words come after all lines, so that their halo keeps them readable where they cross one.
    for (step, flag) in flags.iter().enumerate() {
        flag_text(canvas, flag, place(flag.at), level(step), toward, wide);
    }
    let mut edge = f64::NEG_INFINITY;
    canvas.line("axis", [EDGE, low + 3.0], [wide - EDGE, low + 3.0]);
    for tick in &x.ticks {
        let at = x.place(tick.value);
        canvas.line("axis", [at, low + 3.0], [at, low + 9.0]);
        let half = width(&tick.label, 12.0) / 2.0;
        if at - half > edge + 6.0 && at + half < wide && at - half > 0.0 {
            canvas.text("tm t2", [at, low + 21.0], &tick.label);
            edge = at + half;
        }
    }
    canvas.text("te t2 ts", [wide - EDGE, low + 34.0], x.caption.trim_start_matches(", "));
    if several {
        let level = if size == Size::Wide { top + 13.0 } else { top };
        canvas.text("tb", [EDGE, level], &row.label);
        canvas.text(colour(row.verdict), [EDGE + width(&row.label, 13.5) + 8.0, level], row.verdict.word());
        match size {
            Size::Wide => canvas.text("te t2", [wide - EDGE, level], &wrap(&row.reading, 84, 1).concat()),
            Size::Narrow => canvas.text("t2 ts", [EDGE, top + 14.0], &wrap(&row.reading, 58, 1).concat()),
        }
    }
}

/// The word in the green part, as long as it has room.
fn operation(canvas: &mut Canvas, begin: f64, normal: f64, level: f64) {
    let room = (normal - begin).abs();
    if let Some(words) = ["operating range", "operation"].into_iter().find(|words| width(words, 12.5) + 8.0 < room) {
        canvas.text("tm t-ok tb", [f64::midpoint(begin, normal), level], words);
    }
}

/// A label before its mark; behind it where there is no room before it.
fn flag_text(canvas: &mut Canvas, flag: &Flag, at: f64, level: f64, toward: f64, wide: f64) {
    let long = width(&flag.text, 12.5);
    let before_fits = if toward > 0.0 { at - 5.0 - long > 0.0 } else { at + 5.0 + long < wide };
    let ends_here = (toward > 0.0) == before_fits;
    let anchor = if ends_here { "te " } else { "" };
    let place = if ends_here { at - 5.0 } else { at + 5.0 };
    let place = if ends_here { place.max(long.min(wide)) } else { place.min(wide - long).max(0.0) };
    let weight = if flag.class.is_empty() { String::new() } else { format!("{} ", flag.class) };
    canvas.text(&format!("{anchor}{weight}halo"), [place, level], &flag.text);
}

fn description(line: &NumberLine) -> String {
    let mut text = format!("{}.", line.finding.trim_end_matches('.'));
    for row in &line.rows {
        let span = (row.hazard - row.normal).abs();
        let say = |value: f64| say_among(value, row.unit, span);
        let side = if row.hazard >= row.normal { "up to" } else { "down to" };
        let _ = write!(
            text,
            " {}: operation {side} {}, nuisance edge {}, threshold {} with an error of {} either side, harm edge {}, limit {}. {}.",
            row.label,
            say(row.normal),
            say(row.nuisance_edge),
            say(row.threshold),
            say_difference(row.error, row.difference),
            say(row.harm_edge),
            say(row.hazard),
            row.verdict.word()
        );
    }
    text
}
