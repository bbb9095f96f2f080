//! # The report
//!
//! A design on paper. Its core carries a review: the verdict, what fails and entry for signatures on the first page, then
//! every value typed, chain and budget of each channel, findings, cautions and sources. All the rest is an appendix behind a
//! table of its contents: every requirement, the values as they start, and each part with its working.

mod running;
mod values;

use askama::Template;
use sensewright_core::design::assess::{Assessed, AssessedPart};
use sensewright_core::design::on_start::OnStart;
use sensewright_core::design::pack::Pack;
use sensewright_core::design::section::SECTIONS;
use sensewright_core::design::{link, scaling, summary, ticket};
use sensewright_core::judge::Verdict;
use sensewright_core::quantity::{Unit, in_sentence, say};
use sensewright_core::report::{Block, Budget, Severity};

use super::{DesignRow, pack_figures, requirements, rests_on, test_table, urgent};
use crate::number::share;
use crate::plot::lane;
use crate::result::table::{BudgetText, TableText, budget_text, table_text};
use crate::result::{Badge, BlockText, FigureRow, Out, block_text};
use crate::shell::{Shell, print};
use values::{PartValues, not_given, typed, untouched};

pub use running::running_head;

/// How many rows are listed where all hold.
const NEAREST: usize = 8;
/// How many terms of a budget the core tells.
const LARGEST: usize = 6;
/// What marks a source that nobody has looked up.
const MEMORY: &str = "from memory";

#[derive(Template)]
#[template(path = "report.html")]
struct ReportPage<'a> {
    shell: Shell,
    title: &'a str,
    notes: &'a str,
    running: Option<String>,
    source: String,
    pack: String,
    date: &'a str,
    judged_by: String,
    fingerprint: String,
    worksheet: String,
    notice: Option<String>,
    first: First,
    values: Vec<PartValues>,
    not_given: Vec<String>,
    stand: String,
    channels: Vec<ChannelText>,
    findings: Vec<Told>,
    care: Vec<String>,
    sources: Vec<&'static str>,
    memory: Vec<&'static str>,
    top: All,
    appendix: Appendix,
}

/// What the first page says.
struct First {
    badge: Badge,
    lead: String,
    more: String,
    caption: &'static str,
    rows: Vec<DesignRow>,
    unjudged: Vec<Unjudged>,
    rest: String,
    rests_on: Vec<String>,
    absent: Vec<String>,
}

/// What is not judged of a part: what is not given, and the requirements that wait for it.
struct Unjudged {
    part: String,
    waits: Vec<(String, Vec<String>)>,
}

impl Unjudged {
    /// In one line.
    fn words(&self) -> String {
        let told = self.waits.iter().map(|(missing, labels)| format!("{missing}: {}", labels.join(", ")));
        format!("{}.", told.collect::<Vec<_>>().join("; "))
    }
}

/// The chain of a channel, and what takes most of its allowance.
struct ChannelText {
    title: String,
    badge: Badge,
    lane: String,
    budget: Option<BudgetText>,
}

/// A finding with its part.
struct Told {
    badge: Badge,
    part: String,
    message: String,
}

/// Every requirement.
struct All {
    rows: Vec<DesignRow>,
}

struct Appendix {
    contents: Vec<Entry>,
    address: String,
    figures: Vec<FigureRow>,
    starts: Vec<PartValues>,
    tests: Vec<TableText>,
    parts: Vec<PartText>,
}

/// A line of the contents.
struct Entry {
    id: String,
    title: String,
}

struct PartText {
    id: String,
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
pub fn report_page(
    assessed: &Assessed,
    on_start: &OnStart,
    date: &str,
    notice: Option<String>,
    origin: &str,
) -> String {
    let design = &assessed.design;
    let pack = &design.head.pack;
    let address = link::address(design);
    let link = address.clone().unwrap_or_else(|| link::CARRIED.into());
    let (typed_count, stand) = summary::counts(design);
    let sources = || assessed.parts.iter().flat_map(|one| one.part.entry().meta.sources);
    print(&ReportPage {
        shell: Shell::of_design(format!("Report: {}", design.head.title), "report"),
        title: &design.head.title,
        notes: &design.head.notes,
        running: address.as_ref().map(|address| format!("{address}running.css")),
        source: pack.words("Pack"),
        pack: in_short(pack),
        date,
        judged_by: format!("{}, end of life", design.head.requirements.current.judged_by.label()),
        fingerprint: summary::fingerprint(design),
        worksheet: link.clone(),
        notice,
        first: first(assessed, on_start),
        values: typed(assessed),
        not_given: not_given(assessed),
        stand: pack.words(&format!(
            "{typed_count} values are typed; {stand} more stand as they start or follow from the pack"
        )),
        channels: assessed.parts.iter().filter_map(channel).collect(),
        findings: findings(assessed),
        care: cautions(assessed),
        sources: once(sources().filter(|source| !source.contains(MEMORY))),
        memory: once(sources().filter(|source| source.contains(MEMORY))),
        top: All { rows: marked(assessed, on_start) },
        appendix: appendix(
            assessed,
            &link,
            address.map_or_else(|| super::NO_ADDRESS.into(), |address| format!("{origin}{address}")),
        ),
    })
}

/// Each once, in the order in which they come.
fn once<'a>(all: impl Iterator<Item = &'a &'static str>) -> Vec<&'static str> {
    let mut found: Vec<&str> = Vec::new();
    for one in all {
        if !found.contains(one) {
            found.push(one);
        }
    }
    found
}

/// Every requirement, those that stand on values that nobody typed with their mark.
fn marked(assessed: &Assessed, on_start: &OnStart) -> Vec<DesignRow> {
    let mut rows = requirements(assessed, None);
    for place in on_start.places() {
        rows[place].check.badge = rows[place].check.badge.on_start();
    }
    rows
}

fn first(assessed: &Assessed, on_start: &OnStart) -> First {
    let worst = assessed.requirements.first();
    let more = worst.map_or_else(String::new, |row| {
        let lever = row.check.lever.as_ref().map_or_else(String::new, |lever| format!(" It would hold with {lever}."));
        format!("{}: {}.{lever}", assessed.parts[row.part].part.title(), ticket::stands(row))
    });
    let verdict = |row: &DesignRow| row.check.badge.verdict;
    let rows = marked(assessed, on_start);
    let (unjudged, rows): (Vec<_>, Vec<_>) = rows.into_iter().partition(|row| verdict(row) == Verdict::NotJudged);
    let (mut hold, mut rows): (Vec<_>, Vec<_>) = rows.into_iter().partition(|row| verdict(row) >= Verdict::Holds);
    let nearest = rows.is_empty() && unjudged.is_empty();
    if nearest {
        rows.extend(hold.drain(..hold.len().min(NEAREST)));
    }
    let without = hold.iter().filter(|row| verdict(row) == Verdict::NoLimitSet).count();
    let largest = assessed.requirements.iter().filter(|row| row.check.verdict == Verdict::Holds);
    let largest = largest.filter_map(|row| row.check.used_percent).nth(if nearest { rows.len() } else { 0 });
    let uses = largest.map_or_else(String::new, |used| format!(", the largest uses {}\u{202f}%", share(used)));
    let none = if without == 0 { String::new() } else { format!("; {without} have no limit") };
    First {
        badge: assessed.verdict().into(),
        lead: summary::lead_on_start(assessed, on_start.places()),
        more,
        caption: if nearest { "Nearest to their limits" } else { "What does not hold, or holds with little left" },
        rows,
        unjudged: left_open(&unjudged),
        rest: format!("{}{} hold{uses}{none}.", hold.len() - without, if nearest { " more" } else { "" }),
        rests_on: rests_on(assessed),
        absent: summary::absent(assessed),
    }
}

/// What is not judged, by part and by what is missing.
fn left_open(rows: &[DesignRow]) -> Vec<Unjudged> {
    let mut found: Vec<Unjudged> = Vec::new();
    for row in rows {
        let why = row.check.open.as_deref().unwrap_or_default().trim_end_matches('.');
        let why = why.strip_prefix("Not judged: ").unwrap_or(why);
        let why = why.strip_suffix(" is not given").unwrap_or(why);
        let label = in_sentence(&row.check.label);
        let at = found.iter().position(|one| one.part == row.part).unwrap_or_else(|| {
            found.push(Unjudged { part: row.part.clone(), waits: Vec::new() });
            found.len() - 1
        });
        match found[at].waits.iter_mut().find(|(missing, _)| missing == why) {
            Some((_, labels)) => labels.push(label),
            None => found[at].waits.push((why.into(), vec![label])),
        }
    }
    found
}

/// Cautions, without those that another one begins with.
fn cautions(assessed: &Assessed) -> Vec<String> {
    let all = summary::cautions(assessed);
    let longer = |line: &String| all.iter().any(|other| other != line && other.starts_with(line.as_str()));
    all.iter().filter(|line| !longer(line)).cloned().collect()
}

/// The lane of a channel with the largest terms of the budget at its worst point.
fn channel(one: &AssessedPart) -> Option<ChannelText> {
    let blocks = &one.answer.view.blocks;
    let drawn = blocks.iter().find_map(|block| if let Block::Lane(lane) = block { Some(lane) } else { None })?;
    let budget = blocks.iter().find_map(|block| if let Block::Budget(budget) = block { Some(budget) } else { None });
    Some(ChannelText {
        title: format!("{}: {}", one.part.section.title, one.part.title()),
        badge: one.verdict.into(),
        lane: lane::both(drawn),
        budget: budget.map(|budget| {
            let mut rows = budget.rows.clone();
            rows.sort_by(|a, b| b.size.abs().total_cmp(&a.size.abs()));
            rows.truncate(LARGEST);
            let note = budget.note.trim_end_matches('.').to_owned();
            budget_text(&Budget { rows, note, ..budget.clone() }, "")
        }),
    })
}

/// What was found besides failures, which are requirements.
fn findings(assessed: &Assessed) -> Vec<Told> {
    let of_design =
        urgent(assessed).into_iter().map(|row| Told { badge: row.badge, part: String::new(), message: row.message });
    let of_parts = assessed.parts.iter().flat_map(|one| {
        let own = one.answer.findings.iter().filter(|found| found.severity != Severity::Fail);
        own.map(|found| Told { badge: found.severity.into(), part: one.part.title(), message: found.message.clone() })
    });
    let mut all: Vec<Told> = of_design.chain(of_parts).collect();
    all.sort_by_key(|told| told.badge.verdict);
    all
}

fn appendix(assessed: &Assessed, link: &str, address: String) -> Appendix {
    let figures = match block_text(&Block::Figures(pack_figures(assessed)), link) {
        BlockText::Figures(figures) => figures,
        _ => Vec::new(),
    };
    let tests = test_table(assessed).into_iter().chain(scaling::table(assessed));
    let tests: Vec<TableText> = tests.map(|table| table_text(&table, link)).collect();
    let in_order = SECTIONS.iter().flat_map(|section| assessed.of(section.key));
    let parts: Vec<PartText> = in_order.map(|one| part_text(one, link)).collect();
    let entry = |id: &str, title: &str| Entry { id: id.into(), title: title.into() };
    let mut contents = vec![
        entry("a-pack", &assessed.design.head.pack.words("Address and pack")),
        entry("a-req", "All requirements"),
        entry("a-starts", "Values that nobody typed"),
    ];
    if !tests.is_empty() {
        contents.push(entry("a-tests", "For production and firmware"));
    }
    contents.extend(parts.iter().map(|part| entry(&part.id, &part.title)));
    Appendix { contents, address, figures, starts: untouched(assessed), tests, parts }
}

fn part_text(one: &AssessedPart, link: &str) -> PartText {
    // On paper nothing can be followed.
    let mut out = Out::placed(one.part.entry(), &one.answer, link, &|_| None);
    out.part = one.part.title();
    // The lanes stand in the core.
    out.blocks.retain(|block| !matches!(block, BlockText::Lane(_) | BlockText::Listing(_)));
    // What is from memory is said once, among the sources.
    for step in &mut out.steps {
        step.source = step.source.replace(&format!(" ({MEMORY})"), "");
    }
    PartText {
        id: format!("a-{}", one.part.key().replace('.', "-")),
        title: format!("{}: {}", one.part.section.title, one.part.title()),
        badge: one.verdict.into(),
        line: one.answer.view.lead.clone(),
        out,
    }
}
