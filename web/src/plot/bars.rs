//! # Bars
//!
//! The gauge of an allowance and the bar of a contribution. Both are pictures of a number that stands beside them.

use sensewright_core::judge::Verdict;

use super::at;

/// The gauge of an allowance: the bar is what is used, the tick is the limit, the hatched part is the excess. What all of
/// them have is drawn once a page, among its symbols.
pub fn gauge(used_percent: f64, verdict: Verdict) -> String {
    let used = if used_percent.is_finite() { used_percent.clamp(0.0, 133.0) } else { 133.0 };
    let class = match verdict {
        Verdict::Fails => "g-bad",
        Verdict::Thin | Verdict::NotResolved | Verdict::NotJudged => "g-thin",
        _ => "g-ok",
    };
    let over = if used > 100.0 {
        format!("<rect class=\"g-over\" x=\"100\" y=\"3.5\" width=\"{}\" height=\"7\"/>", at(used - 100.0))
    } else {
        String::new()
    };
    format!(
        "<svg class=\"gauge\" viewBox=\"0 0 134 14\" preserveAspectRatio=\"none\" aria-hidden=\"true\"><use href=\"#g-track\"/>\
         <rect class=\"{class}\" y=\"3\" width=\"{}\" height=\"8\"/>{over}<use href=\"#g-lim\"/></svg>",
        at(used.min(100.0))
    )
}

/// The bar of a contribution: full when it grows with the reading, hatched when it is a fixed amount. The longest bar is
/// the largest contribution. It stands in a cell that is not heard.
pub fn contribution(size: f64, largest: f64, grows: bool) -> String {
    let share = if largest > 0.0 && size.is_finite() { (size.abs() / largest).clamp(0.0, 1.0) } else { 0.0 };
    let shape = if share == 0.0 {
        String::new()
    } else if grows {
        format!("<rect class=\"c-gain\" y=\"1\" width=\"{}\" height=\"10\"/>", at((share * 200.0).max(1.0)))
    } else {
        format!("<rect class=\"c-off\" x=\"0.5\" y=\"1.5\" width=\"{}\" height=\"9\"/>", at((share * 199.0).max(1.0)))
    };
    format!("<svg class=\"cbar\" viewBox=\"0 0 200 12\" preserveAspectRatio=\"none\">{shape}</svg>")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_survive_anything() {
        for value in [0.0, -0.0, 1e300, f64::NAN, f64::INFINITY, -5.0, 101.0] {
            for text in [gauge(value, Verdict::Fails), contribution(value, 1.0, true), contribution(1.0, value, false)]
            {
                assert!(!text.contains("NaN") && !text.contains("inf") && !text.contains("width=\"-"), "{text}");
            }
        }
        assert!(gauge(120.0, Verdict::Fails).contains("width=\"20\""));
        assert!(!gauge(100.0, Verdict::Thin).contains("g-over"));
    }
}
