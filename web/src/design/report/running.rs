//! The running head of the report: a style sheet of the design's own, because only a style sheet can say what stands in the
//! margin of every page.

use std::fmt::Write as _;

/// The style sheet. `date` is the day the report was asked for.
pub fn running_head(title: &str, fingerprint: &str, date: &str) -> String {
    const LOOK: &str = "font: 8pt sans-serif; color: #4b5863;";
    let [title, rest] = [title, &format!("{fingerprint} · {date} (UTC) · page ")].map(quoted);
    // No browser tells whether it knows margin boxes. One that knows the second has known them for long.
    format!(
        "@page {{ margin: 15mm 15mm 14mm; @top-left {{ content: {title}; {LOOK} }} \
         @top-right {{ content: {rest} counter(page) \" of \" counter(pages); {LOOK} }} @bottom-right {{ content: none; }} }}\n\
         @supports (scroll-marker-group: after) {{ .runhead {{ display: none !important; }} }}\n"
    )
}

/// A string of a style sheet: what is no letter, figure or space is written by its number, so that nothing ends the string.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for letter in text.chars() {
        match letter {
            letter if letter.is_alphanumeric() || letter == ' ' => out.push(letter),
            letter if letter.is_whitespace() || letter.is_control() => out.push(' '),
            letter => {
                let _ = write!(out, "\\{:x} ", u32::from(letter));
            }
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_title_stays_inside_its_string() {
        let sheet = running_head("a\"; } } body { display: none } </style>\n\\", "0123ABCD", "1 May 2026");
        let told = "\"a\\22 \\3b  \\7d  \\7d  body \\7b  display\\3a  none \\7d  \\3c \\2f style\\3e  \\5c \"";
        assert!(sheet.contains(told), "{sheet}");
        assert_eq!(sheet.matches('{').count(), sheet.matches('}').count(), "{sheet}");
        assert!(running_head("Seilbahn Süd", "0", "").contains("\"Seilbahn Süd\""), "letters stay letters");
    }
}
