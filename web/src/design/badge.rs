//! # The badge
//!
//! The verdict of a design in a small picture, for the page of a project: its word and its counts, never by colour alone.

use sensewright_core::design::assess::Assessed;
use sensewright_core::design::summary;
use sensewright_core::judge::Verdict;

/// The same in words: what is read aloud, and what stands where the picture does not.
pub fn badge_words(assessed: &Assessed) -> String {
    format!("Sensing: {}", summary::short(assessed).1)
}

/// The picture.
pub fn badge_svg(assessed: &Assessed) -> String {
    let (verdict, said) = summary::short(assessed);
    let colour = match verdict {
        Verdict::Fails => "#a3231b",
        Verdict::Thin | Verdict::NotJudged | Verdict::NotResolved => "#7a5200",
        Verdict::Holds => "#1f6b3a",
        Verdict::NoLimitSet => "#5b6670",
    };
    let words = badge_words(assessed);
    let (left, right) = (92, 20 + 7 * said.chars().count());
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"22\" role=\"img\" aria-label=\"{words}\"><title>{words}</title><rect width=\"{left}\" height=\"22\" fill=\"#2c343b\"/><rect x=\"{left}\" width=\"{right}\" height=\"22\" fill=\"{colour}\"/><g fill=\"#fff\" font-family=\"Verdana,sans-serif\" font-size=\"12\"><text x=\"10\" y=\"15\">sensing</text><text x=\"{start}\" y=\"15\">{said}</text></g></svg>",
        width = left + right,
        start = left + 10
    )
}
