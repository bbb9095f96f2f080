//! # Text inside drawings
//!
//! A drawing has no line breaks and no fonts to ask, so widths are estimated, on the wide side.

/// Estimated width of a letter, per unit of letter size.
const LETTER: f64 = 0.58;

/// The estimated width of a text.
pub fn width(text: &str, size: f64) -> f64 {
    text.chars().count() as f64 * size * LETTER
}

/// Breaks a text between words into at most `most` lines of about `letters`; what does not fit ends with an ellipsis.
pub fn wrap(text: &str, letters: usize, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    // Not at every white space: the thin space between a number and its unit is no break.
    for word in text.split([' ', '\n']) {
        // A long word may break after its hyphens.
        let parts: Vec<&str> =
            if word.chars().count() > letters { word.split_inclusive('-').collect() } else { vec![word] };
        for (index, part) in parts.into_iter().enumerate() {
            let space = usize::from(index == 0);
            match lines.last_mut() {
                Some(line) if line.chars().count() + space + part.chars().count() <= letters => {
                    line.push_str(if index == 0 { " " } else { "" });
                    line.push_str(part);
                }
                _ => lines.push(part.to_owned()),
            }
        }
    }
    if lines.len() > most {
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            last.push('…');
        }
    }
    for line in &mut lines {
        if line.chars().count() > letters + 8 {
            *line = line.chars().take(letters + 7).chain(['…']).collect();
        }
    }
    lines
}

/// Pushes blocks apart so that none overlaps and all stay between `top` and `bottom`. `wanted` holds centre and height
/// of each; the new centres come back in the same order.
pub fn spread(wanted: &[(f64, f64)], top: f64, bottom: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    order.sort_by(|a, b| wanted[*a].0.total_cmp(&wanted[*b].0));
    let mut places = vec![0.0; wanted.len()];
    let mut edge = top;
    for index in &order {
        let (centre, height) = wanted[*index];
        places[*index] = centre.max(edge + height / 2.0);
        edge = places[*index] + height / 2.0;
    }
    // What was pushed over the lower end is pushed back up.
    let mut edge = bottom;
    for index in order.iter().rev() {
        let height = wanted[*index].1;
        places[*index] = places[*index].min(edge - height / 2.0);
        edge = places[*index] - height / 2.0;
    }
    places
}

/// A rectangle that a label takes: left, top, right, bottom.
pub type Area = [f64; 4];

/// How much of `area` is taken already.
pub fn overlap(area: Area, taken: &[Area]) -> f64 {
    taken
        .iter()
        .map(|other| {
            let wide = (area[2].min(other[2]) - area[0].max(other[0])).max(0.0);
            let high = (area[3].min(other[3]) - area[1].max(other[1])).max(0.0);
            wide * high
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_breaks_between_words_and_never_inside_a_quantity() {
        assert_eq!(wrap("worst case, end of life", 12, 3), ["worst case,", "end of life"]);
        assert_eq!(wrap("at 100\u{202f}µΩ", 4, 3), ["at", "100\u{202f}µΩ"]);
        assert_eq!(wrap("a b c d", 1, 2), ["a", "b…"]);
        assert_eq!(wrap("root-sum-square", 12, 3), ["root-sum-", "square"]);
        assert_eq!(wrap("", 5, 2), [""]);
        assert!(wrap(&"x".repeat(500), 10, 2)[0].chars().count() <= 18);
    }

    #[test]
    fn spread_labels_keep_their_order_and_distance() {
        let places = spread(&[(50.0, 14.0), (52.0, 14.0), (10.0, 14.0), (199.0, 14.0)], 0.0, 200.0);
        assert!((places[1] - places[0]).abs() >= 14.0);
        assert!(places.iter().all(|place| (7.0..=193.0).contains(place)), "{places:?}");
    }
}
