//! # The badge
//!
//! The verdict of a design in a small picture, for the page of a project: its word and its counts, never by colour alone.

use sensewright_core::design::assess::Assessed;
use sensewright_core::judge::Verdict;

/// The picture.
pub fn badge_svg(assessed: &Assessed) -> String {
    let count = |verdict| assessed.count(verdict);
    let (fails, open) = (count(Verdict::Fails), count(Verdict::NotJudged) + count(Verdict::NotResolved));
    let all = assessed.requirements.len() - count(Verdict::NoLimitSet);
    let (word, colour, text) = match (fails, open) {
        _ if all == 0 => ("nothing judged", "#5b6670", String::new()),
        (0, 0) if count(Verdict::Thin) > 0 => {
            ("holds, thin", "#7a5200", format!("{} of {all} thin", count(Verdict::Thin)))
        }
        (0, 0) => ("holds", "#1f6b3a", format!("all {all}")),
        (0, open) => ("not judged", "#7a5200", format!("{open} of {all} open")),
        (fails, 0) => ("fails", "#a3231b", format!("{fails} of {all}")),
        (fails, open) => ("fails", "#a3231b", format!("{fails} of {all}, {open} open")),
    };
    let said = format!("{word} {text}").trim().to_owned();
    let (left, right) = (92, 20 + 7 * said.chars().count());
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"22\" role=\"img\" aria-label=\"Sensing: {said}\"><title>Sensing: {said}</title><rect width=\"{left}\" height=\"22\" fill=\"#2c343b\"/><rect x=\"{left}\" width=\"{right}\" height=\"22\" fill=\"{colour}\"/><g fill=\"#fff\" font-family=\"Verdana,sans-serif\" font-size=\"12\"><text x=\"10\" y=\"15\">sensing</text><text x=\"{start}\" y=\"15\">{said}</text></g></svg>",
        width = left + right,
        start = left + 10
    )
}
