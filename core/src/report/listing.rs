//! Text that is put into a program to hand on.

/// A text that stays inside the comment of a C program: no character that could end it, begin another, or join lines.
pub fn c_comment(text: &str) -> String {
    let safe = |c: char| if c.is_control() || matches!(c, '*' | '\\' | '\u{2028}' | '\u{2029}') { ' ' } else { c };
    text.chars().map(safe).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Taking out `*/` once makes a new one of `**//`; a backslash or its trigraph at the end of a line joins the next one.
    #[test]
    fn no_name_leaves_its_comment() {
        for text in ["*/ int x; /*", "**//", "*\\\n/", "a\r\nb", "pack // \\", "??/"] {
            let comment = format!("/* {} */", c_comment(text));
            assert_eq!(comment.matches("*/").count(), 1, "{comment}");
            assert!(comment.ends_with("*/") && !comment.contains(['\n', '\r', '\\']), "{comment}");
        }
        assert_eq!(c_comment("Pack 3, 400 V / 50 µΩ"), "Pack 3, 400 V / 50 µΩ");
    }
}
