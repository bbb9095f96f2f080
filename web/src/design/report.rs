//! # The report
//!
//! A design on paper: the verdict, what it rests on and entry for signatures first; then the chain; then every part with
//! its requirements, budgets, drawings, tables, working and sources. As many pages as the design needs.

use askama::Template;
use sensewright_core::design::assess::Assessed;
use sensewright_core::design::pack::Pack;
use sensewright_core::design::section::SECTIONS;
use sensewright_core::design::{link, scaling, summary, ticket};
use sensewright_core::quantity::{Unit, say};
use sensewright_core::report::Block;

use super::{AssumedRow, DesignRow, assumed, pack_figures, requirements, rests_on, target, test_table};
use crate::plot::lane;
use crate::result::table::{TableText, table_text};
use crate::result::{Badge, BlockText, FigureRow, Out, block_text};
use crate::shell::{Shell, print};

#[derive(Template)]
#[template(path = "report.html")]
struct ReportPage<'a> {
    shell: Shell,
    title: &'a str,
    notes: &'a str,
    source: String,
    pack: String,
    date: &'a str,
    judged_by: String,
    fingerprint: String,
    address: String,
    worksheet: String,
    notice: Option<String>,
    top: Top,
    figures: Vec<FigureRow>,
    care: Vec<String>,
    lanes: Vec<[String; 3]>,
    tests: Vec<TableText>,
    sections: Vec<SectionText>,
}

struct Top {
    badge: Badge,
    lead: String,
    more: String,
    rows: Vec<DesignRow>,
    rests_on: Vec<String>,
    assumed: Vec<AssumedRow>,
    absent: Vec<String>,
}

struct SectionText {
    title: &'static str,
    parts: Vec<PartText>,
}

struct PartText {
    title: String,
    badge: Badge,
    line: String,
    out: Out,
}

/// The pack, or the source, in one line.
fn in_short(pack: &Pack) -> String {
    let volts = format!("{} to {}", say(pack.min_v(), Unit::Volt), say(pack.max_v(), Unit::Volt));
    match pack.capacity_ah() {
        Some(capacity) => format!(
            "{} in series, {} in parallel; {volts}; {}",
            pack.cells_in_series,
            pack.cells_in_parallel,
            say(capacity, Unit::AmpereHour)
        ),
        None => format!("without cells; {volts}"),
    }
}

/// The report of a design. `date` is the day it was asked for, `notice` what to say when another engine made the link.
pub fn report_page(assessed: &Assessed, date: &str, notice: Option<String>, origin: &str) -> String {
    let design = &assessed.design;
    let pack = &design.head.pack;
    let link = link::address(design);
    let first = assessed.requirements.first();
    let more = first.map_or_else(String::new, |row| {
        let lever = &row.check.lever;
        let lever = lever.as_ref().map_or_else(String::new, |lever| format!(" It would hold with {lever}."));
        format!("{}: {}.{lever}", assessed.parts[row.part].part.title(), ticket::stands(row))
    });
    let BlockText::Figures(figures) = block_text(&Block::Figures(pack_figures(assessed)), &link) else {
        return String::new();
    };
    let lanes = assessed.parts.iter().flat_map(|one| {
        one.answer.view.blocks.iter().filter_map(|block| match block {
            Block::Lane(lane) => Some([
                format!("{}: {}", one.part.section.title, one.part.title()),
                lane::both(lane),
                lane.caption.clone(),
            ]),
            _ => None,
        })
    });
    print(&ReportPage {
        shell: Shell::of_design(format!("Report: {}", design.head.title), "report"),
        title: &design.head.title,
        notes: &design.head.notes,
        source: pack.words("Pack"),
        pack: in_short(pack),
        date,
        judged_by: format!("{}, end of life", design.head.requirements.current.judged_by.label()),
        fingerprint: summary::fingerprint(assessed),
        address: format!("{origin}{link}"),
        worksheet: link.clone(),
        notice,
        top: Top {
            badge: assessed.verdict().into(),
            lead: summary::lead(assessed),
            more,
            rows: requirements(assessed, None),
            rests_on: rests_on(assessed),
            assumed: assumed(&assessed.design),
            absent: summary::absent(assessed),
        },
        figures,
        care: summary::pack_cautions(pack),
        lanes: lanes.collect(),
        tests: test_table(assessed)
            .into_iter()
            .chain(scaling::table(assessed))
            .map(|table| table_text(&table, &link))
            .collect(),
        sections: SECTIONS
            .iter()
            .map(|section| SectionText {
                title: section.title,
                parts: assessed
                    .of(section.key)
                    .map(|one| {
                        let mut out = Out::placed(one.part.entry(), &one.answer, &link, &|pointer| {
                            target(design, &one.part, pointer)
                        });
                        out.part = one.part.title();
                        // The lanes stand together in the chain.
                        out.blocks.retain(|block| !matches!(block, BlockText::Lane(_) | BlockText::Listing(_)));
                        // On paper nothing can be followed.
                        for finding in &mut out.findings {
                            finding.target = None;
                        }
                        for check in &mut out.checks {
                            check.target = None;
                        }
                        PartText {
                            title: one.part.title(),
                            badge: one.verdict.into(),
                            line: one.answer.view.lead.clone(),
                            out,
                        }
                    })
                    .collect(),
            })
            .filter(|section| !section.parts.is_empty())
            .collect(),
    })
}
