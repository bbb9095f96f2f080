//! # A design that travels in a form
//!
//! A design that is too long for an address has its token in a form of each of its pages. A link of such a page is a button of
//! that form, so that every page opens without script as well; the forms of the page say the token, too.

use std::fmt::Write;

use sensewright_core::design::link::CARRIED;

const FORM: &str = "carried";

/// The page of a design at a place, or the live part of one, with its token.
pub fn carried(page: &str, place: &str, token: &str) -> String {
    let hidden = format!("<input type=\"hidden\" name=\"token\" value=\"{token}\">");
    let mut out = String::with_capacity(page.len() + page.len() / 8 + 4 * token.len());
    let mut rest = page;
    let mut ends = "</a>";
    while let Some((before, tag, after)) = next_tag(rest) {
        out.push_str(before);
        let action = |name: &str| attribute(tag, name).and_then(|to| resolved(to, place));
        if tag == "</a>" {
            out.push_str(ends);
            ends = "</a>";
        } else if let Some(to) = action("href").filter(|_| tag.starts_with("<a ")) {
            let class = attribute(tag, "class").unwrap_or("carried");
            let here = if tag.contains("aria-current") { " aria-current=\"page\"" } else { "" };
            let _ = write!(out, "<button type=\"submit\" form=\"{FORM}\" formaction=\"{to}\" class=\"{class}\"{here}>");
            ends = "</button>";
        } else if let Some(to) = action("action").filter(|_| tag.contains("method=\"post\"")) {
            let from = attribute(tag, "action").unwrap_or_default();
            out.push_str(&tag.replace(&format!("action=\"{from}\""), &format!("action=\"{to}\"")));
            out.push_str(&hidden);
        } else {
            out.push_str(tag);
            if tag.starts_with("<main ") {
                let _ = write!(out, "<form id=\"{FORM}\" method=\"post\" action=\"{CARRIED}\">{hidden}</form>");
            }
        }
        rest = after;
    }
    out.push_str(rest);
    if !page.contains("<main ") {
        let _ = write!(out, "<p data-token=\"{token}\" hidden></p>");
    }
    out
}

/// What stands before the next tag of interest, the tag, and what stands after it. No value of an attribute has a bracket:
/// all are escaped.
fn next_tag(text: &str) -> Option<(&str, &str, &str)> {
    let starts = ["<a ", "</a>", "<form ", "<main "];
    let at =
        text.match_indices('<').map(|(at, _)| at).find(|at| starts.iter().any(|tag| text[*at..].starts_with(tag)))?;
    let (before, from) = text.split_at(at);
    let (tag, after) = from.split_at(from.find('>')? + 1);
    Some((before, tag, after))
}

fn attribute<'t>(tag: &'t str, name: &str) -> Option<&'t str> {
    let start = tag.find(&format!(" {name}=\""))? + name.len() + 3;
    tag[start..].split('"').next()
}

/// The address that a link means on the page at `place`; nothing where it leads away from the design, or stays on the page.
fn resolved(to: &str, place: &str) -> Option<String> {
    if to.starts_with(CARRIED) {
        return Some(to.into());
    }
    if to.starts_with(['/', '#']) || to.contains("://") {
        return None;
    }
    let page = if to.starts_with('?') { place } else { "" };
    Some(format!("{CARRIED}{page}{}", to.trim_start_matches("./")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn links_of_the_design_are_buttons_and_all_others_stay() {
        let page = "<main id=\"main\"><a class=\"btn\" href=\"?format=json\">J</a> <a href=\"#x\">x</a> <a rel=\"nofollow\" \
                    href=\"set?a=1&#38;b=2\">s</a><a href=\"/api\">API</a><form method=\"post\" action=\"./\"></form></main>";
        let carry = "<form id=\"carried\" method=\"post\" action=\"/worksheet/-/\"><input type=\"hidden\" name=\"token\" value=\"T~b\"></form>";
        let expected = format!(
            "<main id=\"main\">{carry}<button type=\"submit\" form=\"carried\" formaction=\"/worksheet/-/pack?format=json\" \
             class=\"btn\">J</button> <a href=\"#x\">x</a> <button type=\"submit\" form=\"carried\" \
             formaction=\"/worksheet/-/set?a=1&#38;b=2\" class=\"carried\">s</button><a href=\"/api\">API</a>\
             <form method=\"post\" action=\"/worksheet/-/\"><input type=\"hidden\" name=\"token\" value=\"T~b\"></form></main>"
        );
        assert_eq!(carried(page, "pack", "T~b"), expected);
        assert_eq!(carried("<p>a</p>", "", "T"), "<p>a</p><p data-token=\"T\" hidden></p>");
    }
}
