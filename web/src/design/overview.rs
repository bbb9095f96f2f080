//! # The overview
//!
//! Judges the whole: the verdict, what fails first and what turns it, every requirement that does not hold, the chain, the
//! parts with what they rest on, and what is handed on. A part is worked on at its own page.

use askama::Template;
use sensewright_core::design::assess::{Assessed, AssessedPart};
use sensewright_core::design::levers::levers;
use sensewright_core::design::on_start::{OnStart, label, on_start, what_it_moves};
use sensewright_core::design::section::{BARRIERS, Kind, SECTIONS};
use sensewright_core::design::turning::{Reach, turning};
use sensewright_core::design::{Part, scaling, starts, summary, ticket};
use sensewright_core::judge::Verdict;
use sensewright_core::quantity::in_sentence;
use sensewright_core::report::{Block, Lane};

use super::badge::badge_words;
use super::turned::turned;
use super::turns::{CauseList, causes};
use super::{
    ALL, AssumedRow, DesignRow, Sheet, Since, TurningRow, assumed, changed, document_key, faults_heading, faults_of,
    first, href, pack_figures, requirements, rests_on, test_table, turning_rows,
};
use crate::form::Fault;
use crate::number::share;
use crate::plot::lane;
use crate::plot::strip::{self, Mark};
use crate::result::table::{TableText, table_text};
use crate::result::{Badge, BlockText, FigureRow, FindingRow, block_text};
use crate::shell::{Shell, print};

/// How many rows that do not hold are listed at once.
const MOST_ROWS: usize = 16;
/// How many values without which a part is not judged are named.
const MOST_OPEN: usize = 8;
/// And of those that single requirements wait for.
const MOST_WAITED_FOR: usize = 3;
/// How many rows are listed where all hold.
const NEAREST: usize = 8;

#[derive(Template)]
#[template(path = "overview.html")]
struct OverviewPage {
    shell: Shell,
    address: String,
    /// Of the address; without any the design travels in a form.
    letters: usize,
    title: String,
    notes: String,
    source: String,
    count: String,
    notice: Option<String>,
    follow: bool,
    summary: String,
    faults: Vec<FaultRow>,
    changed: Option<Since>,
    top: Option<Top>,
    sections: Vec<SectionRow>,
    none: bool,
}

struct FaultRow {
    href: Option<String>,
    message: String,
}

/// What follows from the values.
struct Top {
    badge: Badge,
    lead: String,
    more: String,
    /// Which verdicts turned since the visit began.
    turned: String,
    urgent: Vec<FindingRow>,
    causes: CauseList,
    turning: Vec<TurningRow>,
    next: Vec<NextRow>,
    next_words: String,
    strip: String,
    strip_words: String,
    open: Vec<DesignRow>,
    /// Of those that do not hold, how many are not listed, and how they stand; nothing where all are.
    more_open: String,
    rest: Vec<DesignRow>,
    rest_words: String,
    figures: Vec<FigureRow>,
    lanes: Vec<LaneRow>,
    beside: Vec<LaneRow>,
    /// What the broken line in the drawings is.
    barrier: String,
    care: Vec<String>,
    rests_on: Vec<String>,
    assumed: Vec<AssumedRow>,
    absent: Vec<String>,
    tests: Vec<TableText>,
    ticket: String,
    preview: String,
    snippets: Vec<Snippet>,
    header: Option<String>,
}

/// A value to type or to look up next.
struct NextRow {
    href: String,
    label: String,
    what: String,
}

/// The badge as text to put into another page.
struct Snippet {
    id: &'static str,
    name: &'static str,
    text: String,
}

/// The badge with its words and the link of the design, as Markdown and as HTML. Words and address hold no sign of either.
fn snippets(words: &str, address: &str) -> [Snippet; 2] {
    let markdown = format!("[![{words}]({address}badge.svg)]({address})");
    let html = format!("<a href=\"{address}\"><img src=\"{address}badge.svg\" alt=\"{words}\" height=\"22\"></a>");
    [
        Snippet { id: "badge-markdown", name: "Markdown", text: markdown },
        Snippet { id: "badge-html", name: "HTML", text: html },
    ]
}

struct LaneRow {
    place: String,
    title: String,
    drawings: String,
    caption: String,
}

struct SectionRow {
    key: &'static str,
    title: &'static str,
    absent: String,
    parts: Vec<PartRow>,
    add: Vec<AddRow>,
}

struct PartRow {
    key: String,
    title: String,
    line: String,
    ties: Vec<String>,
    badge: Option<Badge>,
    used: String,
}

struct AddRow {
    value: String,
    label: String,
}

/// From here on mail programs, trackers and tables are known to cut an address.
pub(super) const LONG: usize = 2_000;

/// The page.
pub fn overview_page(sheet: &Sheet) -> String {
    let design = sheet.design;
    let faults: Vec<Fault> = faults_of(sheet);
    let (typed, same) = summary::counts(design);
    let (title, pack) = (&design.head.title, &design.head.pack);
    let sections: Vec<SectionRow> = SECTIONS.iter().map(|section| section_row(sheet, section)).collect();
    print(&OverviewPage {
        // What is heard first after a change is how the whole stands.
        shell: Shell::of_design(
            match (&sheet.assessed, faults.is_empty()) {
                (_, false) => format!("Error: {title}"),
                (Some(assessed), _) => format!("{}: {title}", summary::short(assessed).1),
                (None, _) => title.clone(),
            },
            "./",
        ),
        address: sheet.told_address(""),
        letters: sheet.address().len(),
        title: title.clone(),
        notes: design.head.notes.clone(),
        source: pack.words("Pack"),
        count: pack.words(&format!("{typed} values typed, {same} as they start or as the pack says.")),
        notice: sheet.notice.clone(),
        follow: design.starts < starts::NEWEST,
        summary: if is_of_adding(sheet) { "Nothing is added".into() } else { faults_heading(faults.len()) },
        faults: faults
            .into_iter()
            .map(|fault| FaultRow {
                href: if is_of_adding(sheet) { Some("#add".into()) } else { fault.target.map(|key| href(&key)) },
                message: fault.message,
            })
            .collect(),
        changed: changed(sheet, ""),
        top: sheet.assessed.filter(|assessed| !assessed.parts.is_empty()).map(|assessed| top(assessed, sheet)),
        none: design.parts.is_empty(),
        sections,
    })
}

/// Whether what is wrong is wrong with the boxes that add parts: they are no values of the design.
fn is_of_adding(sheet: &Sheet) -> bool {
    sheet.faults.iter().any(|fault| fault.field == "/add")
}

fn top(assessed: &Assessed, sheet: &Sheet) -> Top {
    let on_start = on_start(assessed, sheet.work).unwrap_or_default();
    let mut rows = requirements(assessed, sheet.began.and_then(|began| began.assessed));
    for place in on_start.places() {
        rows[place].check.badge = rows[place].check.badge.on_start();
    }
    // Where nothing fails: what is nearest to its limit.
    let nearest_to_turn = match assessed.count(Verdict::Fails) {
        0 => turning(assessed, Reach::Near, sheet.work).unwrap_or_default(),
        _ => Vec::new(),
    };
    for one in nearest_to_turn.iter().filter(|one| one.holds_now) {
        rows[one.row].check.turns.get_or_insert_with(|| summary::would_turn(assessed, one));
    }
    let holds = |row: &DesignRow| row.check.badge.verdict >= Verdict::Holds;
    let (mut rest, mut open): (Vec<_>, Vec<_>) = rows.into_iter().partition(holds);
    let listed = if sheet.all { open.len() } else { open.len().min(MOST_ROWS) };
    let more_open = more_words(&open.split_off(listed));
    // Where all hold: those that are nearest to their limits.
    let nearest = if open.is_empty() { rest.len().min(NEAREST) } else { 0 };
    open.extend(rest.drain(..nearest));
    let found = levers(assessed, sheet.work).unwrap_or_default();
    let (lanes, beside) = lanes(assessed);
    let figures = match block_text(&Block::Figures(pack_figures(assessed)), "") {
        BlockText::Figures(figures) => figures,
        _ => Vec::new(),
    };
    let used = assessed.requirements.iter().filter(|row| row.check.verdict == Verdict::Holds);
    let largest = used.filter_map(|row| row.check.used_percent).nth(nearest).unwrap_or(0.0);
    let marks: Vec<Mark> = assessed
        .requirements
        .iter()
        .filter(|row| row.check.verdict != Verdict::NoLimitSet)
        .map(|row| Mark {
            label: format!("{}: {}", assessed.parts[row.part].part.title(), row.check.label),
            used_percent: row.check.used_percent,
            verdict: row.check.verdict,
        })
        .collect();
    let tables = test_table(assessed).into_iter().chain(scaling::table(assessed));
    Top {
        badge: assessed.verdict().into(),
        lead: summary::lead_on_start(assessed, on_start.places()),
        more: more(assessed),
        turned: sheet.began.and_then(|began| began.assessed).map_or_else(String::new, |then| turned(assessed, then)),
        urgent: first(assessed),
        causes: causes(assessed, &found),
        turning: turning_rows(assessed, &nearest_to_turn),
        next: next_rows(assessed, &on_start),
        next_words: match on_start.left_out {
            0 => String::new(),
            some => format!("{some} further values were not looked at."),
        },
        strip: strip::both(&marks),
        strip_words: strip::finding(&marks),
        more_open,
        rest_words: rest_words(&rest, largest),
        open,
        rest,
        figures,
        lanes,
        beside,
        barrier: barrier_words(assessed),
        care: summary::pack_cautions(&assessed.design.head.pack),
        rests_on: rests_on(assessed),
        assumed: assumed(&assessed.design),
        absent: summary::absent(assessed),
        tests: tables.map(|table| table_text(&table, "")).collect(),
        ticket: ticket::ticket(assessed, &found, &on_start, sheet.origin),
        snippets: match sheet.address() {
            address if address.is_empty() => Vec::new(),
            address => snippets(&badge_words(assessed), &address).into(),
        },
        preview: badge_words(assessed),
        header: scaling::header(assessed).map(|listing| format!("?format={}&part={}", listing.ending, listing.id)),
    }
}

/// The chain: of every quantity its worst channel as a drawing, the others in words.
fn lanes(assessed: &Assessed) -> (Vec<LaneRow>, Vec<LaneRow>) {
    let (mut drawn, mut beside) = (Vec::new(), Vec::new());
    // The requirements stand worst first: of a section the part that comes first among them is the worst.
    let place = |key: &str| assessed.requirements.iter().position(|row| assessed.parts[row.part].part.key() == key);
    for section in SECTIONS {
        // A channel that judges no error has no lane, and is told.
        let of = |one| (one, lane_of(one));
        let shown = |(one, lane): &(&AssessedPart, Option<&Lane>)| lane.is_some() || one.part.kind.told.is_some();
        let mut parts: Vec<(&AssessedPart, Option<&Lane>)> = assessed.of(section.key).map(of).filter(shown).collect();
        parts.sort_by_key(|(one, _)| place(&one.part.key()).unwrap_or(usize::MAX));
        let first = parts.iter().position(|(_, lane)| lane.is_some());
        for (at, (one, lane)) in parts.into_iter().enumerate() {
            let row = |drawings: String, caption: &str| LaneRow {
                place: one.part.key(),
                title: format!("{}: {}", section.title, one.part.title()),
                drawings,
                caption: caption.into(),
            };
            match lane.filter(|_| first == Some(at)) {
                Some(lane) => drawn.push(row(lane::both(lane), &lane.caption)),
                None => beside.push(row(String::new(), &one.answer.view.lead)),
            }
        }
    }
    (drawn, beside)
}

/// What the broken line in the drawings is, and whose channels are not tied to a barrier that the design describes.
fn barrier_words(assessed: &Assessed) -> String {
    if assessed.of(BARRIERS).next().is_none() {
        return "The broken line is the barrier, which this design does not describe; the controller behind it calibrates."
            .into();
    }
    let across = |part: &Part| part.resting().any(|(rests, _)| rests.section == BARRIERS);
    let untied = assessed.parts.iter().filter(|one| lane_of(one).is_some() && !across(&one.part));
    let untied: Vec<String> = untied.map(|one| one.part.title_among(&assessed.design.parts)).collect();
    match &untied[..] {
        [] => "The broken line is the barrier.".into(),
        some => format!("The broken line is the barrier; not said to be fed across it: {}.", some.join(", ")),
    }
}

fn lane_of(one: &AssessedPart) -> Option<&Lane> {
    one.answer.view.blocks.iter().find_map(|block| match block {
        Block::Lane(lane) => Some(lane),
        _ => None,
    })
}

fn next_rows(assessed: &Assessed, found: &OnStart) -> Vec<NextRow> {
    let design = &assessed.design;
    let place = |pointer: &str| document_key(design, pointer).map_or_else(String::new, |key| href(&key));
    let open = design.parts.iter().flat_map(|part| {
        let waits = starts::waits_for(design, part).into_iter();
        // What another part must be told stands with that part.
        let own = waits.filter(|(_, own)| starts::is_told_here(part, own));
        own.map(move |(_, own)| NextRow {
            href: place(&format!("{}{own}", part.pointer())),
            label: summary::long_label(design, &format!("{}{}", part.key(), own.replace('/', "."))),
            what: "to be typed, nothing of its part is judged before".into(),
        })
    });
    let moving = found.next.iter().map(|one| NextRow {
        href: place(&one.pointer),
        label: label(assessed, one),
        what: what_it_moves(assessed, one),
    });
    let mut named: Vec<NextRow> = open.take(MOST_OPEN).collect();
    // Then what a requirement waits for, each once.
    let mut waits: Vec<NextRow> = Vec::new();
    for row in assessed.requirements.iter().filter(|row| row.check.verdict == Verdict::NotJudged) {
        let of = &assessed.parts[row.part];
        let own = row.check.missing.as_deref().into_iter().chain(row.check.lacking.iter().copied());
        let own = own.map(|missing| design.origin(&of.part, missing));
        let handed = of.left_out.iter().filter(|_| row.check.missing.is_none()).cloned();
        for pointer in own.chain(handed) {
            let href = place(&pointer);
            if !href.is_empty() && named.iter().chain(&waits).all(|one| one.href != href) {
                let key =
                    document_key(design, &pointer).unwrap_or_else(|| pointer.trim_start_matches('/').replace('/', "."));
                waits.push(NextRow { href, label: summary::long_label(design, &key), what: "not given".into() });
            }
        }
    }
    let more = waits.len().saturating_sub(MOST_WAITED_FOR);
    waits.truncate(MOST_WAITED_FOR);
    if let Some(last) = waits.last_mut().filter(|_| more > 0) {
        last.what = format!("not given; {more} more of these");
    }
    named.extend(waits);
    named.into_iter().chain(moving).collect()
}

/// What is not listed of what does not hold: how many, and how they stand.
fn more_words(rows: &[DesignRow]) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let mut of: Vec<(&str, usize)> = Vec::new();
    for row in rows {
        let word = row.check.badge.word;
        match of.iter_mut().find(|(other, _)| *other == word) {
            Some((_, count)) => *count += 1,
            None => of.push((word, 1)),
        }
    }
    let of: Vec<String> = of.into_iter().map(|(word, count)| format!("{count} {}", in_sentence(word))).collect();
    format!("{} more of them: {}", rows.len(), of.join(", "))
}

/// What is folded: what holds, and what has no limit.
fn rest_words(rest: &[DesignRow], largest: f64) -> String {
    let without = rest.iter().filter(|row| row.check.badge.verdict == Verdict::NoLimitSet).count();
    let hold = match rest.len() - without {
        0 => String::new(),
        1 => format!("1 more holds, it uses {}\u{202f}%", share(largest)),
        some => format!("{some} more hold, the largest uses {}\u{202f}%", share(largest)),
    };
    let none = match without {
        0 => String::new(),
        some => format!("{some} without a limit"),
    };
    [hold, none].into_iter().filter(|words| !words.is_empty()).collect::<Vec<_>>().join(", ")
}

/// The sentence below the verdict: what takes most of the worst requirement.
fn more(assessed: &Assessed) -> String {
    let Some(row) = assessed.requirements.first() else {
        return assessed.design.head.pack.words("Set what is required at the pack's page.");
    };
    let part = assessed.parts[row.part].part.title();
    let largest = row.check.largest.as_ref().map(|largest| format!(" The largest part is {largest}."));
    let lever = row.check.lever.as_ref().map(|lever| format!(" It would hold with {lever}."));
    [format!("{part}: {}.", ticket::stands(row))].into_iter().chain(largest).chain(lever).collect()
}

fn section_row(sheet: &Sheet, section: &'static sensewright_core::design::section::Section) -> SectionRow {
    let design = sheet.design;
    let parts = design.of(section.key).map(|part| {
        let found = sheet.assessed.and_then(|assessed| assessed.parts.iter().find(|one| one.part.key() == part.key()));
        let worst = found.and_then(|one| one.answer.requirements.first());
        let title = |rests: &sensewright_core::design::section::Rests, number| {
            design.source(rests, number).map(|source| format!("{}: {}", rests.label.to_lowercase(), source.title()))
        };
        PartRow {
            key: part.key(),
            title: part.title(),
            line: found.map_or_else(String::new, |one| one.answer.view.lead.clone()),
            ties: part.resting().filter_map(|(rests, number)| title(rests, number)).collect(),
            badge: found.map(|one| one.verdict.into()),
            used: worst.and_then(|check| check.used_percent).map_or_else(String::new, share),
        }
    });
    let room = design.of(section.key).count() < section.most;
    let has_place = |kind: &&Kind| room && design.has_no_place_for(kind).is_none();
    let add = section.kinds.iter().filter(has_place).map(|kind| AddRow {
        value: format!("{}:{}", section.key, kind.tag),
        label: if section.kinds.len() == 1 { section.one.into() } else { kind.entry.meta.title.into() },
    });
    SectionRow {
        key: section.key,
        title: section.title,
        absent: section
            .kinds
            .iter()
            .find_map(|kind| design.has_no_place_for(kind))
            .unwrap_or_else(|| section.absent.into()),
        parts: parts.collect(),
        add: add.collect(),
    }
}
