//! # The start page
//!
//! Complete packs to start from, single parts to work out, and how to read a verdict.

use askama::Template;
use sensewright_core::calculation::Entry;
use sensewright_core::demo::Demo;
use sensewright_core::judge::Verdict;

use crate::plot::bars::gauge;
use crate::result::Badge;
use crate::shell::{Shell, print};

#[derive(Template)]
#[template(path = "start.html")]
struct StartPage<'a> {
    shell: Shell,
    demos: &'a [Demo],
    entries: Vec<Part>,
    reading: Vec<Reading>,
}

impl StartPage<'_> {
    /// What a pack is, with no break between a number and its degrees.
    #[allow(clippy::unused_self, reason = "templates call methods")]
    fn spec(&self, demo: &Demo) -> String {
        demo.spec.replace(" °", "\u{a0}°")
    }
}

struct Part {
    path: String,
    title: &'static str,
    short: &'static str,
}

struct Reading {
    badge: Badge,
    gauge: String,
    meaning: &'static str,
}

/// The start page: `demos` open already calculated, `catalogue` lists what can be worked out on its own.
pub fn start_page(demos: &[Demo], catalogue: &[Entry]) -> String {
    let reading =
        |verdict: Verdict, used, meaning| Reading { badge: verdict.into(), gauge: gauge(used, verdict), meaning };
    let word = |verdict: Verdict, meaning| Reading { badge: verdict.into(), gauge: String::new(), meaning };
    print(&StartPage {
        shell: Shell::new("Start", "/"),
        demos,
        entries: catalogue
            .iter()
            .map(|entry| Part {
                path: format!("/{}", entry.meta.slug),
                title: entry.meta.title,
                short: entry.meta.short,
            })
            .collect(),
        reading: vec![
            reading(Verdict::Holds, 60.0, "15 % or more of the allowance is left."),
            reading(Verdict::Thin, 92.0, "It holds, with less than 15 % left."),
            reading(Verdict::Fails, 122.0, "More is used than allowed."),
            word(Verdict::NotJudged, "A value that it needs is not given: it may hold or fail."),
            word(Verdict::NotResolved, "The trials leave both sides of the limit open: more of them tell."),
            word(Verdict::NoLimitSet, "The value is told, and nothing is required of it."),
        ],
    })
}
