//! # The worksheet
//!
//! One design: the verdict, what would change it, the chain, then every section with its values on the left and what
//! follows from them on the right. Every value of the page is one form; its answer is the address of the new design.

use std::collections::BTreeMap;

use askama::Template;
use sensewright_core::design::assess::{Assessed, AssessedPart};
use sensewright_core::design::section::{SECTIONS, Section};
use sensewright_core::design::turning::{Reach, turning};
use sensewright_core::design::{Design, HEAD_FIELDS, Part, head_start, link, scaling, summary, ticket};
use sensewright_core::field::{Field, FieldError, text};
use sensewright_core::judge::Verdict;
use sensewright_core::quantity::say;
use sensewright_core::report::Block;
use sensewright_core::work::Work;
use serde_json::Map;

use super::{
    AssumedRow, DesignRow, TurningRow, assumed, main_blocks, pack_figures, requirements, rests_on, target, test_table,
    turning_rows, urgent,
};
use crate::form::{Choice, Control, Fault, Piece, Row, Values, at_controls, control, pieces};
use crate::plot::lane;
use crate::result::table::{TableText, table_text};
use crate::result::{Badge, BlockText, CheckRow, FigureRow, FindingRow, Out, block_text};
use crate::shell::{Shell, print};

/// What the worksheet shows.
#[derive(Clone, Debug)]
pub struct State<'a> {
    /// The design whose parts the form has.
    pub design: &'a Design,
    /// What follows from it: of the values before when the typed ones were refused.
    pub assessed: Option<&'a Assessed>,
    /// The design before the last change.
    pub before: Option<&'a Assessed>,
    /// What was typed, when it was refused.
    pub typed: &'a [(String, String)],
    /// What is wrong with it.
    pub faults: &'a [FieldError],
    /// What to say of the link: another engine made it.
    pub notice: Option<String>,
    /// Scheme and host.
    pub origin: &'a str,
    /// Whether somebody still waits for the page.
    pub work: Work<'a>,
}

#[derive(Template)]
#[template(path = "worksheet.html")]
struct WorksheetPage<'a> {
    shell: Shell,
    origin: &'a str,
    sheet: Sheet,
}

#[derive(Template)]
#[template(path = "worksheet_live.html")]
struct WorksheetLive<'a> {
    title: String,
    origin: &'a str,
    sheet: Sheet,
}

struct Sheet {
    title: String,
    notes: String,
    link: String,
    token: String,
    count: String,
    notice: Option<String>,
    form: Faults,
    top: Option<Top>,
    head: HeadText,
    sections: Vec<SectionText>,
    refused: bool,
}

/// The faults, as the summary shows them.
struct Faults {
    faults: Vec<Fault>,
}

impl Faults {
    fn summary(&self) -> String {
        match self.faults.len() {
            1 => "1 value needs a correction".into(),
            count => format!("{count} values need a correction"),
        }
    }
}

/// What stands above the sections.
struct Top {
    badge: Badge,
    lead: String,
    more: String,
    urgent: Vec<FindingRow>,
    rows: Vec<DesignRow>,
    turning: Vec<TurningRow>,
    rests_on: Vec<String>,
    assumed: Vec<AssumedRow>,
    lanes: Vec<LaneRow>,
    absent: Vec<String>,
    ticket: String,
    tests: Vec<TableText>,
    header: Option<String>,
}

struct LaneRow {
    place: String,
    title: String,
    drawings: String,
    caption: String,
}

struct HeadText {
    pieces: Vec<Piece>,
    figures: Vec<FigureRow>,
    care: Vec<String>,
}

struct SectionText {
    key: &'static str,
    title: &'static str,
    badge: Option<Badge>,
    absent: &'static str,
    parts: Vec<PartText>,
    add: Vec<[String; 2]>,
}

struct PartText {
    key: String,
    title: String,
    badge: Option<Badge>,
    line: String,
    pieces: Vec<Piece>,
    handed: Vec<String>,
    out: Option<Out>,
    own_page: String,
    remove: String,
}

/// The page.
pub fn worksheet_page(state: &State) -> String {
    let sheet = sheet(state, true);
    let title = page_title(state);
    print(&WorksheetPage { shell: Shell::new(title, "/worksheet"), origin: state.origin, sheet })
}

/// The parts that follow the values, for the script that keeps them current.
pub fn worksheet_live(state: &State) -> String {
    print(&WorksheetLive { title: page_title(state), origin: state.origin, sheet: sheet(state, false) })
}

fn page_title(state: &State) -> String {
    let title = &state.design.head.title;
    if state.faults.is_empty() { title.clone() } else { format!("Error: {title}") }
}

/// Everything of the page. What would change a verdict is looked for on a whole load only: it asks every calculation many
/// times.
fn sheet(state: &State, whole: bool) -> Sheet {
    let design = state.design;
    let shown = state.assessed.map_or(design, |assessed| &assessed.design);
    let link = link::address(shown);
    let faults: Vec<Fault> = state
        .faults
        .iter()
        .map(|fault| Fault { target: fault_target(design, &fault.field), message: fault.message.clone() })
        .collect();
    let errors = at_controls(&faults);
    let refused = !faults.is_empty();
    let (typed, same) = summary::counts(shown);
    let head = head_text(state, &errors);
    let sections: Vec<SectionText> = SECTIONS
        .iter()
        .map(|section| {
            let parts = design.of(section.key).map(|part| part_text(state, part, &errors, &link));
            section_text(section, parts.collect(), design)
        })
        .collect();
    Sheet {
        title: design.head.title.clone(),
        notes: design.head.notes.clone(),
        token: link::token(shown),
        link: link.clone(),
        count: format!(
            "The address holds the whole design: {typed} of {} values differ from where they start.",
            typed + same
        ),
        notice: state.notice.clone(),
        form: Faults { faults },
        top: state.assessed.map(|assessed| top(assessed, state, &link, whole)),
        head,
        sections,
        refused,
    }
}

fn top(assessed: &Assessed, state: &State, link: &str, whole: bool) -> Top {
    let rows = requirements(assessed, state.before);
    let found = if whole { turning(assessed, Reach::Near, state.work).unwrap_or_default() } else { Vec::new() };
    let lanes = assessed
        .parts
        .iter()
        .flat_map(|one| {
            one.answer.view.blocks.iter().filter_map(|block| match block {
                Block::Lane(lane) => Some(LaneRow {
                    place: one.part.key(),
                    title: format!("{}: {}", one.part.section.title, one.part.title()),
                    drawings: lane::both(lane),
                    caption: lane.caption.clone(),
                }),
                _ => None,
            })
        })
        .collect();
    Top {
        badge: assessed.verdict().into(),
        lead: summary::lead(assessed),
        more: more(assessed),
        urgent: urgent(assessed),
        rows,
        turning: turning_rows(assessed, &found),
        rests_on: rests_on(assessed),
        assumed: assumed(assessed),
        lanes,
        absent: summary::absent(assessed),
        ticket: ticket::ticket(assessed, state.origin),
        tests: test_table(assessed)
            .into_iter()
            .chain(scaling::table(assessed))
            .map(|table| table_text(&table, link))
            .collect(),
        header: scaling::header(assessed)
            .map(|listing| format!("{link}&format={}&part={}", listing.ending, listing.id)),
    }
}

/// The sentence below the verdict: what takes most of the worst requirement, and what would mend it.
fn more(assessed: &Assessed) -> String {
    let Some(row) = assessed.requirements.first() else { return "Add the parts of the chain below.".into() };
    let part = assessed.parts[row.part].part.title();
    let largest = row.check.largest.as_ref().map(|largest| format!(" The largest part is {largest}."));
    let lever = row.check.lever.as_ref().map(|lever| format!(" It would hold with {lever}."));
    [format!("{part}: {}.", ticket::stands(row))].into_iter().chain(largest).chain(lever).collect()
}

fn head_text(state: &State, errors: &BTreeMap<String, String>) -> HeadText {
    let start = head_start();
    let written = state.design.write();
    let (pieces, _) = pieces(&Values {
        prefix: "",
        fields: HEAD_FIELDS,
        start: &start,
        input: state.faults.is_empty().then_some(&written),
        typed: state.typed,
        errors,
        hidden: &[],
    });
    let figures = state.assessed.map_or_else(Vec::new, |assessed| {
        match block_text(&Block::Figures(pack_figures(assessed)), "") {
            BlockText::Figures(figures) => figures,
            _ => Vec::new(),
        }
    });
    HeadText {
        pieces,
        figures,
        care: state.assessed.map_or_else(Vec::new, |assessed| summary::pack_cautions(&assessed.design.head.pack)),
    }
}

fn section_text(section: &'static Section, parts: Vec<PartText>, design: &Design) -> SectionText {
    let badges: Vec<Verdict> = parts.iter().filter_map(|part| part.badge.map(|badge| badge.verdict)).collect();
    let entry = design.of(section.key).count() < section.most;
    let add = section.kinds.iter().filter(|_| entry).map(|kind| {
        let words = if section.kinds.len() == 1 {
            format!("Add a {}", section.one.to_lowercase())
        } else {
            format!("Add: {}", kind.entry.meta.title.to_lowercase())
        };
        [format!("add:{}:{}", section.key, kind.tag), words]
    });
    SectionText {
        key: section.key,
        title: section.title,
        badge: badges.into_iter().min().map(Badge::from),
        absent: section.absent,
        add: add.collect(),
        parts,
    }
}

fn assessed_part<'a>(assessed: Option<&'a Assessed>, part: &Part) -> Option<&'a AssessedPart> {
    assessed?.parts.iter().find(|one| one.part.key() == part.key() && one.part.kind == part.kind)
}

fn part_text(state: &State, part: &Part, errors: &BTreeMap<String, String>, link: &str) -> PartText {
    let key = part.key();
    let entry = part.entry();
    let hidden: Vec<&str> = part.handed_down().chain(part.idle()).collect();
    let start = entry.start();
    let prefix = format!("{key}.");
    let (own, _) = pieces(&Values {
        prefix: &prefix,
        fields: entry.fields,
        start: &start,
        input: state.faults.is_empty().then_some(&part.input),
        typed: state.typed,
        errors,
        hidden: &hidden,
    });
    let mut all = vec![Piece::Open { id: key.clone(), legend: "Part".into(), help: String::new() }];
    all.extend(own_rows(state, part, errors).into_iter().map(|row| Piece::Row(Box::new(row))));
    all.push(Piece::Close);
    all.extend(own);
    let found = assessed_part(state.assessed, part);
    let out = found.map(|one| {
        let former = assessed_part(state.before, part);
        out(one, former, link)
    });
    let handed = found.map_or_else(Vec::new, |one| {
        let label = |to: &str| crate::form::label_of(entry.fields, to).unwrap_or_default();
        one.carried
            .iter()
            .map(|carried| {
                let unit = sensewright_core::field::declared(entry.fields, carried.to).and_then(Field::unit);
                let unit = unit.unwrap_or(sensewright_core::quantity::Unit::One);
                let value = format!("{}: {}", label(carried.to), say(carried.value, unit));
                match carried.at {
                    Some(at) => format!("{value}, worst case of {} at {}", carried.from, say(at.value, at.unit)),
                    None => format!("{value}, as in {}", carried.from),
                }
            })
            .collect()
    });
    let line = found.map_or_else(String::new, |one| one.answer.view.lead.clone());
    let own_page = found.map_or_else(
        || format!("/{}", entry.meta.slug),
        |one| format!("{}&design={}&at={key}", one.answer.link, link.trim_start_matches("/worksheet?d=")),
    );
    PartText {
        title: part.title(),
        badge: found.map(|one| one.verdict.into()),
        line,
        pieces: all,
        handed,
        out,
        own_page,
        remove: format!("remove:{key}"),
        key,
    }
}

/// The rows a part has besides its calculation's: its name, and where its errors come from.
fn own_rows(state: &State, part: &Part, errors: &BTreeMap<String, String>) -> Vec<Row> {
    static NAME: Field =
        Field { key: "name", symbol: "", label: "Name", help: "What the part is called.", kind: text(60, "").kind };
    static OF: Field =
        Field { key: "of", symbol: "", label: "About", help: "What the part is about.", kind: text(20, "").kind };
    let shown = |key: &str, now: &str| {
        let typed = state.typed.iter().find(|(name, _)| name == key);
        typed.filter(|_| !state.faults.is_empty()).map_or_else(|| now.to_owned(), |(_, text)| text.clone())
    };
    let row = |field: &Field, now: &str, control: fn(&str) -> Control| {
        let key = format!("{}.{}", part.key(), field.key);
        let text = shown(&key, now);
        Row {
            label: field.label.into(),
            unit_words: "",
            unit: "",
            numeric: false,
            control: control(&text),
            long: true,
            start_words: "empty".into(),
            same: "default",
            changed: false,
            prefixed: false,
            help: field.help.into(),
            accepted: String::new(),
            error: errors.get(&key).cloned(),
            start: String::new(),
            text,
            key,
        }
    };
    let mut rows = vec![row(&NAME, &part.name, |_| Control::Line)];
    if part.section.kinds.len() > 1 {
        let mut kind = row(&OF, part.kind.tag, |_| Control::Line);
        let choice = |word: &str, chosen| Choice { word: word.into(), label: word.into(), chosen };
        kind.control = Control::Select(vec![choice(part.kind.tag, true)]);
        rows.push(kind);
    }
    for (rests, name) in part.kind.rests.iter().zip(&part.rests_on) {
        let from =
            Field { key: rests.key(), symbol: "", label: rests.label, help: rests.help, kind: text(60, "").kind };
        let number = name.map_or_else(String::new, |number| number.to_string());
        let mut from = row(&from, &number, |_| Control::Line);
        let mut choices =
            vec![Choice { word: String::new(), label: "typed values".into(), chosen: from.text.is_empty() }];
        choices.extend(state.design.of(rests.section).map(|other| Choice {
            word: other.number.to_string(),
            label: other.title(),
            chosen: other.number.to_string() == from.text,
        }));
        from.control = Control::Select(choices);
        rows.push(from);
    }
    rows
}

fn out(one: &AssessedPart, former: Option<&AssessedPart>, link: &str) -> Out {
    let part = &one.part;
    let mut out = Out::placed(part.entry(), &one.answer, link, &|pointer| target(part, pointer));
    out.part = part.title();
    out.blocks = main_blocks(one).into_iter().map(|block| block_text(block, link)).collect();
    if let Some(former) = former {
        let before = Out::placed(part.entry(), &former.answer, link, &|_| None);
        mark(&mut out, &before);
    }
    out
}

/// Puts the former value beside every figure and requirement that moved.
fn mark(out: &mut Out, before: &Out) {
    let figures = |out: &Out| -> BTreeMap<String, String> {
        let rows =
            out.blocks.iter().filter_map(|block| if let BlockText::Figures(rows) = block { Some(rows) } else { None });
        rows.flatten().map(|row| (row.label.clone(), row.value.to_string())).collect()
    };
    let old = figures(before);
    for block in &mut out.blocks {
        if let BlockText::Figures(rows) = block {
            for row in rows {
                row.former = old.get(&row.label).filter(|old| **old != row.value.to_string()).cloned();
            }
        }
    }
    let said = |check: &CheckRow| check.achieved.as_ref().map(ToString::to_string);
    for check in &mut out.checks {
        let old = before.checks.iter().find(|old| old.label == check.label);
        check.former = old.filter(|old| said(old) != said(check)).and_then(said);
    }
}

/// The control that a fault of the document belongs to.
fn fault_target(design: &Design, pointer: &str) -> Option<String> {
    for part in &design.parts {
        if let Some(own) = pointer.strip_prefix(&part.pointer()).filter(|own| own.starts_with('/')) {
            if ["/name", "/of"].contains(&own) || part.kind.rests.iter().any(|rests| rests.named_at == own) {
                return Some(format!("{}{}", part.key(), own.replace('/', ".")));
            }
            return Some(
                control(part.entry().fields, own).map_or_else(|| part.key(), |key| format!("{}.{key}", part.key())),
            );
        }
    }
    control(HEAD_FIELDS, pointer)
}

/// The document of the form's fields as pairs of key and text: what a form without script would send.
pub fn form_pairs(design: &Design) -> Vec<(String, String)> {
    let empty = Map::new();
    let written = design.write();
    let mut pairs = sensewright_core::field::address_pairs(HEAD_FIELDS, &written, &empty);
    for part in &design.parts {
        let key = part.key();
        let mut own = |name: &str, value: &str| pairs.push((format!("{key}.{name}"), value.to_owned()));
        own("name", &part.name);
        if part.section.kinds.len() > 1 {
            own("of", part.kind.tag);
        }
        for (rests, name) in part.kind.rests.iter().zip(&part.rests_on) {
            own(rests.key(), &name.map_or_else(String::new, |number| number.to_string()));
        }
        let values = sensewright_core::field::address_pairs(part.entry().fields, &part.input, &empty);
        pairs.extend(values.into_iter().map(|(name, value)| (format!("{key}.{name}"), value)));
    }
    pairs
}
