//! # All requirements on one scale
//!
//! One mark a requirement at the share of its allowance: a dot holds, a triangle is thin, a square fails. Marks that would
//! cover each other are piled up; what has no number stands in a pile of its own at the right.

use sensewright_core::judge::Verdict;

use super::{Canvas, Size};
use crate::number::share;

/// A requirement.
#[derive(Clone, Debug)]
pub struct Mark {
    /// Its part and label.
    pub label: String,
    /// The share of its allowance, percent; nothing where it is no number.
    pub used_percent: Option<f64>,
    /// How it stands.
    pub verdict: Verdict,
}

/// Shares beyond this are drawn at the edge.
const MOST: f64 = 150.0;
/// A share below this is little.
const LITTLE: f64 = 50.0;
/// How far marks stand apart.
const EACH: f64 = 9.0;
/// How many stand on each other, and by how many columns a higher pile goes on beside itself.
const HIGH: usize = 6;
const BESIDE: usize = 4;

/// Both drawings; nothing where there are fewer than three marks.
pub fn both(marks: &[Mark]) -> String {
    if marks.len() < 3 {
        return String::new();
    }
    format!("{}{}", one(marks, Size::Wide), one(marks, Size::Narrow))
}

/// What the picture shows, in words.
pub fn finding(marks: &[Mark]) -> String {
    let numbers = || marks.iter().filter_map(|mark| mark.used_percent);
    let (half, over) =
        (numbers().filter(|used| *used < LITTLE).count(), numbers().filter(|used| *used > 100.0).count());
    let without = marks.iter().filter(|mark| mark.used_percent.is_none()).count();
    let word = if half == 1 { "uses" } else { "use" };
    let over = if over == 0 { String::new() } else { format!(", {over} more than all of it") };
    let without = match without {
        0 => String::new(),
        1 => ", 1 has no number".into(),
        some => format!(", {some} have no number"),
    };
    format!("{half} of {} requirements {word} less than half of their allowance{over}{without}", marks.len())
}

/// Those that the finding does not count as using little, with their numbers.
fn description(marks: &[Mark]) -> String {
    let told = marks.iter().filter_map(|mark| {
        let used = mark.used_percent.filter(|used| *used >= LITTLE)?;
        Some(format!("{}: {} %", mark.label, share(used)))
    });
    told.collect::<Vec<_>>().join(". ")
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "inside the drawing")]
fn one(marks: &[Mark], size: Size) -> String {
    let (width, left, right) = match size {
        Size::Wide => (820.0, 12.0, 690.0),
        Size::Narrow => (360.0, 12.0, 268.0),
    };
    let margin = f64::midpoint(right, width) + 10.0;
    let place = |used: f64| left + (right - left) * used.clamp(0.0, MOST) / MOST;
    // Where a mark stands: its column, and how many stand in it already.
    let mut piles: Vec<usize> = vec![0; (width / EACH) as usize + 1];
    let across = ((width - margin) / EACH).floor().max(1.0) as usize;
    let mut loose = 0;
    let mut placed = Vec::with_capacity(marks.len());
    for mark in marks {
        placed.push(match mark.used_percent {
            Some(used) => {
                let column = (place(used) / EACH) as usize;
                // A high pile goes on beside itself; where those are as high, all of them grow.
                let near = || (0..=BESIDE).filter_map(|aside| Some((aside, *piles.get(column + aside)?)));
                let low = near().find(|(_, pile)| *pile < HIGH).or_else(|| near().min_by_key(|(_, pile)| *pile));
                let aside = low.map_or(0, |(aside, _)| aside);
                piles[column + aside] += 1;
                [place(used) + EACH * aside as f64, piles[column + aside] as f64 - 1.0]
            }
            None => {
                loose += 1;
                [margin + EACH * ((loose - 1) % across) as f64, ((loose - 1) / across) as f64]
            }
        });
    }
    let highest = placed.iter().fold(0.0_f64, |most, [_, level]| most.max(*level));
    let base = 26.0 + (highest + 1.0) * EACH;
    let mut canvas = Canvas::image(size, width, base + 20.0, "strip", &finding(marks), &description(marks));
    for tick in [0.0, 50.0, 100.0, 150.0] {
        let x = place(tick);
        canvas.line(if tick == 100.0 { "l-lim" } else { "grid" }, [x, 18.0], [x, base]);
        let text = match tick {
            0.0 => "0".into(),
            MOST => format!("over {MOST:.0} %"),
            tick => format!("{tick:.0} %"),
        };
        let class = if tick == 0.0 { "t2" } else { "tm t2" };
        canvas.text(class, [x, base + 15.0], &text);
    }
    canvas.line("axis", [left, base], [right, base]);
    if loose > 0 {
        // Beside the last tick in a wide drawing, above the marks in a narrow one.
        let level = if size == Size::Wide { base + 15.0 } else { 10.0 };
        canvas.text("te t2", [width - 2.0, level], "no number");
    }
    for (mark, [x, level]) in marks.iter().zip(placed) {
        let y = base - 5.0 - level * EACH;
        match mark.verdict {
            Verdict::Fails => canvas.rect("g-bad", [x - 3.5, y - 3.5], [x + 3.5, y + 3.5]),
            Verdict::Thin | Verdict::NotResolved => {
                canvas.polygon("g-thin", &[[x, y - 4.0], [x + 4.0, y + 3.5], [x - 4.0, y + 3.5]]);
            }
            Verdict::Holds => canvas.dot("g-ok", [x, y], 3.5),
            Verdict::NotJudged | Verdict::NoLimitSet => canvas.dot("g-open", [x, y], 3.0),
        }
    }
    canvas.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mark(used_percent: Option<f64>, verdict: Verdict) -> Mark {
        Mark { label: "A".into(), used_percent, verdict }
    }

    /// By hand: of five two use less than half, one more than all, one has no number.
    #[test]
    fn the_finding_counts() {
        let marks = [
            mark(Some(10.0), Verdict::Holds),
            mark(Some(10.1), Verdict::Holds),
            mark(Some(90.0), Verdict::Thin),
            mark(Some(f64::MAX), Verdict::Fails),
            mark(None, Verdict::NotJudged),
        ];
        let words = "2 of 5 requirements use less than half of their allowance, 1 more than all of it, 1 has no number";
        assert_eq!(finding(&marks), words);
        let drawn = both(&marks);
        assert!(!drawn.contains("NaN") && !drawn.contains("inf"));
        // What uses little is counted, not told one by one.
        assert!(drawn.contains("<desc id=\"strip-d\">A: 90 %. A: "), "{drawn}");
        // Two that fall together are piled up.
        assert_eq!(drawn.matches("class=\"g-ok\"").count(), 4);
        assert!(both(&marks[..2]).is_empty());
    }
}
