//! # The dot chart
//!
//! One row an outcome: where every design stands on the share of its allowance. Open dot: the first design; full dot: the
//! last; the dashed line is the limit.

use super::label::wrap;
use super::{Canvas, Size};
use crate::number::share;

/// What is drawn.
#[derive(Clone, Debug)]
pub struct Dots {
    /// What the picture shows.
    pub title: String,
    /// Label and the shares of every design, in percent.
    pub rows: Vec<(String, Vec<Option<f64>>)>,
}

/// Shares beyond this are drawn at the edge, with their number.
const MOST: f64 = 200.0;
const LETTERS: [&str; 5] = ["A", "B", "C", "D", "E"];

/// Both drawings; nothing when there is nothing to draw.
pub fn both(dots: &Dots) -> String {
    if dots.rows.is_empty() {
        return String::new();
    }
    format!("{}{}", one(dots, Size::Wide), one(dots, Size::Narrow))
}

fn one(dots: &Dots, size: Size) -> String {
    let (width, left, row, letters) = match size {
        Size::Wide => (820.0, 300.0, 30.0, 44),
        Size::Narrow => (360.0, 14.0, 46.0, 52),
    };
    let right = width - 46.0;
    let height = 26.0 + dots.rows.len() as f64 * row;
    let most =
        dots.rows.iter().flat_map(|(_, used)| used.iter().flatten()).fold(110.0_f64, |most, used| most.max(*used));
    let most = most.min(MOST);
    let place = |used: f64| left + (right - left) * used.clamp(0.0, most) / most;
    let description: Vec<String> = dots
        .rows
        .iter()
        .map(|(label, used)| {
            let words: Vec<String> = used
                .iter()
                .zip(LETTERS)
                .filter_map(|(used, letter)| Some(format!("{letter} {} %", share((*used)?))))
                .collect();
            format!("{label}: {}", words.join(", "))
        })
        .collect();
    let mut canvas = Canvas::image(size, width, height, "dots", &dots.title, &description.join(". "));
    for tick in [0.0, 50.0, 100.0, 150.0].into_iter().filter(|tick| *tick <= most) {
        let x = place(tick);
        canvas.line(if tick == 100.0 { "l-lim" } else { "grid" }, [x, 20.0], [x, height - 2.0]);
        let text = if tick == 100.0 { "100 %".to_owned() } else { format!("{tick:.0}") };
        canvas.text("tm t2", [x, 13.0], &text);
    }
    for (index, (label, used)) in dots.rows.iter().enumerate() {
        let top = 26.0 + index as f64 * row;
        let (level, class, at) = match size {
            Size::Wide => (top + 14.0, "te", [left - 14.0, top + 18.0]),
            Size::Narrow => (top + 30.0, "ts", [4.0, top + 14.0]),
        };
        canvas.text(class, at, &wrap(label, letters, 1).concat());
        let known: Vec<(usize, f64)> =
            used.iter().enumerate().filter_map(|(place, used)| Some((place, (*used)?))).collect();
        let ends = known.iter().fold([f64::MAX, f64::MIN], |[low, high], (_, used)| [low.min(*used), high.max(*used)]);
        if known.len() > 1 {
            canvas.line("d-link", [place(ends[0]), level], [place(ends[1]), level]);
        }
        for (design, used) in &known {
            let class = if *design == 0 { "d-a" } else { "d-b" };
            canvas.dot(class, [place(*used), level], 4.5);
        }
        // The two ends are named, outside of the span.
        if let (Some(low), Some(high)) =
            (known.iter().find(|(_, used)| *used == ends[0]), known.iter().rev().find(|(_, used)| *used == ends[1]))
        {
            let said = |(design, used): &(usize, f64)| format!("{} {}", LETTERS[*design], share(*used));
            canvas.text("ts halo", [place(high.1) + 9.0, level + 4.0], &said(high));
            if low.0 != high.0 && place(low.1) > left + 34.0 {
                canvas.text("ts te halo", [place(low.1) - 9.0, level + 4.0], &said(low));
            }
        }
    }
    canvas.finish()
}
