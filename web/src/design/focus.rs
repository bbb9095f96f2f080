//! # A part in focus
//!
//! The page of a part is the page of its calculation, with what the design adds: how the whole stands, what is handed down
//! and by whom, which values were typed. The pack has such a page, too.

use std::collections::BTreeMap;

use askama::Template;
use sensewright_core::design::assess::AssessedPart;
use sensewright_core::design::pack::{ASKED, Pack};
use sensewright_core::design::section::{Origin, Rests};
use sensewright_core::design::{HEAD_FIELDS, Part, agree, starts, summary};
use sensewright_core::field::{Field, declared, text, tree};
use sensewright_core::judge::Verdict;
use sensewright_core::quantity::{Quantity, Unit, in_sentence, say};
use sensewright_core::report::Block;
use serde_json::{Map, Value};

use super::{
    ALL, PACK, Sheet, Since, Step, changed, faults_of, href, pack_figures, page_of, set_link, steps, target,
    typed_pairs,
};
use crate::form::{Choice, Control, Fault, Lean, OfDesign, Piece, Row, Values, at_controls, label_of, pieces};
use crate::number::share;
use crate::plot::bars::gauge;
use crate::result::{Badge, BlockText, CheckRow, FigureRow, Out, block_text};
use crate::shell::{Shell, print};

#[derive(Template)]
#[template(path = "focus.html")]
struct FocusPage {
    shell: Shell,
    page: Page,
}

#[derive(Template)]
#[template(path = "focus_live.html")]
struct FocusLive {
    title: String,
    engine: &'static str,
    page: Page,
}

#[allow(clippy::struct_excessive_bools, reason = "each is one mark of the page")]
struct Page {
    address: String,
    link: String,
    here: String,
    title: String,
    job: &'static str,
    whole: Whole,
    /// Of the design, and the day on which it was asked for: paper has both.
    fingerprint: String,
    date: String,
    mine: Option<Mine>,
    steps: Vec<Step>,
    notice: Option<String>,
    changed: Option<Since>,
    form: Form,
    given: Vec<GivenFrom>,
    out: Option<Out>,
    figures: Vec<FigureRow>,
    care: Vec<String>,
    refused: bool,
    /// Whether the form holds what no address does: it was sent and refused.
    unkept: bool,
    is_part: bool,
    /// Where a part stands among those of its section: what moves it leads there.
    order: String,
    all: bool,
    source: Option<SourceRow>,
}

/// Folded tables and charts that a page carries: more, and the working with them, are drawn when they are asked for.
const MOST_FURTHER: usize = 9;

/// Which kind of source there is, and the link that makes it the other.
struct SourceRow {
    now: String,
    href: String,
    other: String,
}

/// The form with its faults; what is wrong on another page has its address.
struct Form {
    pieces: Vec<Piece>,
    faults: Vec<FaultRow>,
}

struct FaultRow {
    href: Option<String>,
    message: String,
}

impl Form {
    fn summary(&self) -> String {
        super::faults_heading(self.faults.len())
    }

    fn rows(&self) -> impl Iterator<Item = &Row> {
        self.pieces.iter().filter_map(|piece| if let Piece::Row(row) = piece { Some(&**row) } else { None })
    }
}

/// How the whole stands.
struct Whole {
    title: String,
    badge: Option<Badge>,
    count: String,
    was: Option<String>,
}

/// How the part stands.
struct Mine {
    badge: Badge,
    gauge: String,
    used: String,
    was: Option<String>,
    label: String,
}

/// Values that stand in one place elsewhere.
struct GivenFrom {
    from: String,
    rows: Vec<GivenRow>,
}

/// A value that stands elsewhere.
struct GivenRow {
    label: String,
    value: String,
    href: String,
    note: String,
}

/// The page of a part, or of the pack; nothing where there is no such part.
pub fn focus_page(sheet: &Sheet, here: &str) -> Option<String> {
    let page = page(sheet, here)?;
    let shell = Shell::of_design(titled(sheet, &page), "");
    let shell = match sheet.design.part(here) {
        Some(part) => shell.of_calculation(part.entry().meta.slug),
        None => shell,
    };
    Some(print(&FocusPage { shell, page }))
}

/// The parts of the page that follow the values.
pub fn focus_live(sheet: &Sheet, here: &str) -> Option<String> {
    let page = page(sheet, here)?;
    let engine = sensewright_core::calculation::ENGINE;
    Some(print(&FocusLive { engine, title: titled(sheet, &page), page }))
}

/// What is heard first of a page: that something is wrong on it, or how its part stands.
fn titled(sheet: &Sheet, page: &Page) -> String {
    let first = match &page.mine {
        _ if !sheet.faults.is_empty() => "Error: ".into(),
        Some(mine) => format!("{}: ", mine.badge.word),
        None => String::new(),
    };
    format!("{first}{}, {}", page.title, sheet.design.head.title)
}

fn page(sheet: &Sheet, here: &str) -> Option<Page> {
    let part = sheet.design.part(here);
    if part.is_none() && here != PACK {
        return None;
    }
    let faults: Vec<Fault> = faults_of(sheet);
    let errors = at_controls(&faults);
    let found = part.and_then(|part| assessed_part(sheet, part));
    let out = found.map(|one| out(sheet, one));
    let figures = match sheet.assessed.map(|assessed| block_text(&Block::Figures(pack_figures(assessed)), "")) {
        Some(BlockText::Figures(figures)) if part.is_none() => figures,
        _ => Vec::new(),
    };
    let place = |key: String| if page_of(&key) == here { format!("#{key}") } else { href(&key) };
    Some(Page {
        address: sheet.told_address(here),
        link: format!("{}{here}{}", sheet.path, if sheet.all { ALL } else { "" }),
        here: here.to_owned(),
        title: part.map_or_else(|| sheet.design.head.pack.words("Pack and requirements"), Part::title),
        job: part.map_or("What several parts share, and what the channels must hold.", |part| part.entry().meta.title),
        whole: whole(sheet),
        fingerprint: summary::fingerprint(sheet.design),
        date: sheet.date.clone(),
        mine: found.map(|one| mine(sheet, one)),
        steps: steps(sheet, here),
        notice: sheet.notice.clone(),
        changed: changed(sheet, here),
        given: found.map_or_else(Vec::new, |one| given(sheet, one)),
        form: Form {
            pieces: form(sheet, part, &errors),
            faults: faults
                .into_iter()
                .map(|fault| FaultRow { href: fault.target.map(place), message: fault.message })
                .collect(),
        },
        out,
        figures,
        care: if part.is_none() { summary::pack_cautions(&sheet.design.head.pack) } else { Vec::new() },
        refused: !sheet.faults.is_empty(),
        unkept: !sheet.faults.is_empty() && sheet.typed != typed_pairs(sheet.design),
        is_part: part.is_some(),
        order: part.map_or_else(String::new, |part| order(sheet, part)),
        all: sheet.all,
        source: part.is_none().then(|| source_row(&sheet.design.head.pack)),
    })
}

fn order(sheet: &Sheet, part: &Part) -> String {
    let section = part.section;
    let mut alike = sheet.design.of(section.key);
    let place = alike.position(|one| one.number == part.number).unwrap_or_default() + 1;
    match place + alike.count() {
        1 => format!("Alone in \u{201c}{}\u{201d}", section.title),
        all => format!("Place {place} of {all} in \u{201c}{}\u{201d}", section.title),
    }
}

fn source_row(pack: &Pack) -> SourceRow {
    let (now, other) = (pack.source.label(), pack.other_source());
    SourceRow {
        now: if pack.has_cells() { now.into() } else { format!("{now}; current out of the source is positive") },
        href: set_link(PACK, &[("pack.source", other.word())]),
        other: in_sentence(other.label()),
    }
}

fn assessed_part<'a>(sheet: &Sheet<'a>, part: &Part) -> Option<&'a AssessedPart> {
    sheet.assessed?.parts.iter().find(|one| one.part.key() == part.key() && one.part.kind == part.kind)
}

fn former<'a>(sheet: &Sheet<'a>, part: &Part) -> Option<&'a AssessedPart> {
    let found = |one: &&AssessedPart| one.part.key() == part.key() && one.part.kind == part.kind;
    sheet.began?.assessed?.parts.iter().find(found)
}

fn whole(sheet: &Sheet) -> Whole {
    let count = |assessed: &sensewright_core::design::assess::Assessed| {
        let of = |verdict| assessed.count(verdict);
        let all = assessed.requirements.len() - of(Verdict::NoLimitSet);
        match (of(Verdict::Fails), of(Verdict::NotJudged) + of(Verdict::NotResolved)) {
            _ if all == 0 => "nothing judged".into(),
            (0, 0) if of(Verdict::Thin) == 0 => format!("all {all} hold"),
            (0, 0) => format!("{} of {all} hold, {} thin", of(Verdict::Holds), of(Verdict::Thin)),
            (0, open) => format!("{open} of {all} not judged"),
            (fail, 0) => format!("{fail} of {all} fail"),
            (fail, open) => format!("{fail} of {all} fail, {open} not judged"),
        }
    };
    let now = sheet.assessed.map(count);
    let was = sheet.began.and_then(|began| began.assessed).map(count);
    Whole {
        title: sheet.design.head.title.clone(),
        badge: sheet.assessed.map(|assessed| assessed.verdict().into()),
        was: was.filter(|was| now.as_ref() != Some(was)),
        count: now.unwrap_or_default(),
    }
}

fn mine(sheet: &Sheet, one: &AssessedPart) -> Mine {
    let worst = one.answer.requirements.first();
    let percent = |used: Option<f64>| used.map_or_else(|| "–".into(), |used| format!("{}\u{202f}%", share(used)));
    let used = percent(worst.and_then(|check| check.used_percent));
    let was = former(sheet, &one.part).and_then(|former| former.answer.requirements.first());
    let was = was.map(|check| percent(check.used_percent));
    Mine {
        badge: one.verdict.into(),
        gauge: worst.map_or_else(String::new, |check| gauge(check.used_percent.unwrap_or(0.0), check.verdict)),
        was: was.filter(|was| *was != used),
        used,
        label: worst.map_or_else(String::new, |check| check.label.clone()),
    }
}

/// The answer of a part with everything that its own page shows.
fn out(sheet: &Sheet, one: &AssessedPart) -> Out {
    let part = &one.part;
    let here = part.key();
    let place = |pointer: &str| {
        let mut target = target(sheet.design, part, pointer)?;
        // What stands on this page is gone to without leaving it.
        if let Some(own) = target.href.strip_prefix(&here).filter(|own| own.starts_with('#')) {
            target.href = own.to_owned();
        }
        Some(target)
    };
    let mut out = Out::placed(part.entry(), &one.answer, "", &place);
    out.part = part.title();
    if let Some(former) = former(sheet, part) {
        mark(&mut out, &Out::placed(part.entry(), &former.answer, "", &|_| None));
    }
    out.fold();
    if sheet.all {
        out.opened = true;
    } else if out.further.len() > MOST_FURTHER {
        out.leave(&format!("{here}#further"));
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

/// What stands in the pack or comes from another part: figures, not fields.
fn given(sheet: &Sheet, one: &AssessedPart) -> Vec<GivenFrom> {
    let (part, pack) = (&one.part, &sheet.design.head.pack);
    let fields = part.entry().fields;
    let input = one.answer.input.as_object();
    let mut all: Vec<GivenFrom> = Vec::new();
    let mut add = |from: &str, row: GivenRow| match all.iter_mut().find(|one| one.from == from) {
        Some(one) => one.rows.push(row),
        None => all.push(GivenFrom { from: from.into(), rows: vec![row] }),
    };
    let unit = |to: &str| declared(fields, to).and_then(Field::unit).unwrap_or(Unit::One);
    for bound in part.kind.bound {
        // A whole group, such as the requirement, stands on the pack's page.
        let (Some(field), Some(value)) =
            (declared(fields, bound.to), input.and_then(|input| tree::at(input, bound.to)).and_then(Value::as_f64))
        else {
            continue;
        };
        let value = Quantity::new(value, unit(bound.to)).brief(4).to_string();
        let row = |href| GivenRow { label: pack.words(field.label), value, href, note: String::new() };
        let first = match bound.from {
            Origin::Parallel(section, _) | Origin::Sum(section, _) => sheet.design.of(section).next(),
            Origin::Beside(section, ..) => sheet.design.beside(part, section).next(),
            Origin::Field(_) | Origin::Pack(..) => {
                let key = sheet.design.origin(part, bound.to).trim_start_matches('/').replace('/', ".");
                add(&pack.words("Pack"), row(href(&key)));
                continue;
            }
        };
        add(first.map_or("", |first| first.section.title), row(first.map_or_else(String::new, Part::key)));
    }
    for carried in &one.carried {
        let source = part.resting().find(|(rests, _)| rests.carried.iter().any(|one| one.to == carried.to));
        let source = source.and_then(|(rests, number)| sheet.design.source(rests, number));
        let at = carried.at.map_or_else(String::new, |at| format!("worst case at {}", say(at.value, at.unit)));
        let row = GivenRow {
            label: pack.words(label_of(fields, carried.to).unwrap_or_default()),
            value: Quantity::new(carried.value, unit(carried.to)).brief(4).to_string(),
            href: source.map_or_else(String::new, Part::key),
            note: at,
        };
        add(&carried.from, row);
    }
    all
}

fn form(sheet: &Sheet, part: Option<&Part>, errors: &BTreeMap<String, String>) -> Vec<Piece> {
    let design = sheet.design;
    let pack = &design.head.pack;
    let assumed: Vec<(String, String)> =
        design.head.assumed.iter().map(|one| (one.value.clone(), one.why.clone())).collect();
    let accepted = sheet.faults.is_empty();
    let Some(part) = part else {
        let start = starts::head();
        // Which kind of source there is is changed by a link: fields that do not count yet could not be shown.
        let hidden: Vec<&str> = ["/assumed", "/pack/source"].into_iter().chain(pack.idle().iter().copied()).collect();
        let of_design = OfDesign {
            pack,
            follows: &[],
            lent: &[],
            asked: ASKED,
            open: &starts::open_of_the_pack(design.starts, pack),
            unused: &[],
            before: sheet.began.map(|began| &began.design.typed),
            assumed: &assumed,
        };
        return pieces(&Values {
            prefix: "",
            fields: HEAD_FIELDS,
            start: &start,
            input: accepted.then_some(&design.typed),
            typed: sheet.typed,
            errors,
            hidden: &hidden,
            of_design: Some(&of_design),
        })
        .0;
    };
    let key = part.key();
    let entry = part.entry();
    let of_cells = design.of_cells_alone(part).iter().copied();
    let hidden: Vec<&str> = part.handed_down().chain(part.idle()).chain(of_cells).collect();
    let start = starts::complete(design.starts, part.kind, &design.head.pack, &Map::new());
    let mut follows = Vec::new();
    let mut open = Vec::new();
    let mut unused = Vec::new();
    let mut lent = Vec::new();
    tree::walk(entry.fields, &mut |pointer, _| {
        lent.extend(agree::lender(design, part, pointer).map(|lender| (pointer.to_owned(), lender)));
        if starts::follows(design, part, pointer) {
            follows.push(pointer.to_owned());
        }
        if starts::is_unused(design, part, pointer) {
            unused.push(pointer.to_owned());
        } else if starts::is_open(design, part, pointer) {
            open.push(pointer.to_owned());
        }
    });
    let before = sheet.began.and_then(|began| began.design.part(&key)).map(|part| &part.typed);
    let of_design = OfDesign {
        pack,
        asked: part.kind.asked,
        lent: &lent,
        follows: &follows.iter().map(String::as_str).collect::<Vec<_>>(),
        open: &open.iter().map(String::as_str).collect::<Vec<_>>(),
        unused: &unused.iter().map(String::as_str).collect::<Vec<_>>(),
        before,
        assumed: &assumed,
    };
    let prefix = format!("{key}.");
    let (own, _) = pieces(&Values {
        prefix: &prefix,
        fields: entry.fields,
        start: &start,
        input: accepted.then_some(&part.typed),
        typed: sheet.typed,
        errors,
        hidden: &hidden,
        of_design: Some(&of_design),
    });
    let mut itself = vec![Piece::Open { id: format!("{key}.part"), legend: "Part".into(), help: String::new() }];
    itself.extend(own_rows(sheet, part, errors).into_iter().map(|row| Piece::Row(Box::new(row))));
    itself.push(Piece::Close);
    // Which channel it rests on is the first question where that is not said.
    let untied = part.resting().count() < part.kind.rests.len();
    if untied { itself.into_iter().chain(own).collect() } else { own.into_iter().chain(itself).collect() }
}

/// The rows a part has besides its calculation's: its name, and what it rests on.
fn own_rows(sheet: &Sheet, part: &Part, errors: &BTreeMap<String, String>) -> Vec<Row> {
    static NAME: Field =
        Field { key: "name", symbol: "", label: "Name", help: "What the part is called.", kind: text(60, "").kind };
    let row = |field: &Field, now: String, placeholder: &str| {
        let key = format!("{}.{}", part.key(), field.key);
        let typed = sheet.typed.iter().find(|(name, _)| *name == key).filter(|_| !sheet.faults.is_empty());
        let text = typed.map_or(now, |(_, text)| text.clone());
        Row {
            label: field.label.into(),
            unit_words: "",
            unit: "",
            numeric: false,
            control: Control::Line,
            long: true,
            start_words: String::new(),
            same: "",
            changed: false,
            prefixed: false,
            help: field.help.into(),
            accepted: String::new(),
            columns: Vec::new(),
            error: errors.get(&key).cloned(),
            start: String::new(),
            lean: Some(Lean {
                placeholder: placeholder.into(),
                from: String::new(),
                open: false,
                leads: true,
                was: None,
                assumed: None,
            }),
            text,
            key,
        }
    };
    let mut rows = vec![row(&NAME, part.name.clone(), part.section.one)];
    for (rests, number) in part.kind.rests.iter().zip(&part.rests_on) {
        rows.push(tie_row(sheet, rests, *number, row));
    }
    rows
}

fn tie_row(sheet: &Sheet, rests: &Rests, number: Option<u32>, row: impl Fn(&Field, String, &str) -> Row) -> Row {
    let field = Field { key: rests.key(), symbol: "", label: rests.label, help: rests.help, kind: text(60, "").kind };
    let mut tie = row(&field, number.map_or_else(String::new, |number| number.to_string()), "");
    let mut choices = vec![Choice { word: String::new(), label: "typed values".into(), chosen: tie.text.is_empty() }];
    let named = |other: &&Part| other.number.to_string() == tie.text;
    let fits = |other: &&Part| rests.tag.is_empty() || other.kind.tag == rests.tag || named(other);
    choices.extend(sheet.design.of(rests.section).filter(fits).map(|other| Choice {
        word: other.number.to_string(),
        label: other.title(),
        chosen: other.number.to_string() == tie.text,
    }));
    tie.control = Control::Select(choices);
    tie
}
