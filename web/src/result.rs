//! # The answer as rows of text
//!
//! Turns a view into what a template prints: every number already has its digits, prefix and sign, every drawing is
//! finished. The order is the reading order: verdict, what an engineer must know, requirements, the rest.

pub mod table;

use sensewright_core::calculation::{Answer, Entry};
use sensewright_core::judge::{Check, NOTHING, Reach, Verdict};
use sensewright_core::quantity::{Printed, Quantity};
use sensewright_core::report::{Block, Chart, Figure, Finding, Lane, Listing, NumberLine, Severity, Spots, Step, View};

use crate::form::{control, label_of};
use crate::number::{brief, figure, limits, share};
use crate::plot::{self, bars, chart, lane, number_line, spots};
use table::{BudgetText, TableText, budget_text, table_text};

/// A verdict as shape, word and colour.
#[derive(Clone, Copy, Debug)]
pub struct Badge {
    /// Class of the colour.
    pub class: &'static str,
    /// Id of the symbol.
    pub symbol: &'static str,
    /// The word.
    pub word: &'static str,
    /// The verdict it stands for; of a finding, the one that it would make.
    pub verdict: Verdict,
    /// What is added to the word.
    pub note: &'static str,
}

impl Badge {
    /// The same with a broken outline: what leads it is a value that nobody typed.
    #[must_use]
    pub const fn on_start(self) -> Self {
        let symbol = match self.verdict {
            Verdict::Fails => "s-bad-start",
            Verdict::Thin => "s-thin-start",
            Verdict::Holds => "s-ok-start",
            Verdict::NotResolved | Verdict::NotJudged | Verdict::NoLimitSet => self.symbol,
        };
        Self { symbol, note: "on start values", ..self }
    }
}

impl From<Verdict> for Badge {
    fn from(verdict: Verdict) -> Self {
        let (class, symbol) = match verdict {
            Verdict::Fails => ("v-bad", "s-bad"),
            Verdict::NotResolved | Verdict::NotJudged => ("v-thin", "s-note"),
            Verdict::Thin => ("v-thin", "s-thin"),
            Verdict::Holds => ("v-ok", "s-ok"),
            Verdict::NoLimitSet => ("v-none", "s-none"),
        };
        Self { class, symbol, word: verdict.word(), verdict, note: "" }
    }
}

impl From<Severity> for Badge {
    fn from(severity: Severity) -> Self {
        let (class, symbol, word, verdict) = match severity {
            Severity::Fail => ("v-bad", "s-bad", "Fails", Verdict::Fails),
            Severity::Warn => ("v-thin", "s-thin", "Warning", Verdict::Thin),
            Severity::Note => ("v-none", "s-note", "Note", Verdict::NoLimitSet),
        };
        Self { class, symbol, word, verdict, note: "" }
    }
}

/// A link to a control of the form.
#[derive(Clone, Debug)]
pub struct Target {
    /// Its address: in the page, or on the page where it stands.
    pub href: String,
    /// Its label.
    pub label: String,
}

/// A finding.
#[derive(Debug)]
pub struct FindingRow {
    /// How much it matters.
    pub badge: Badge,
    /// What it says.
    pub message: String,
    /// The input that causes it.
    pub target: Option<Target>,
}

/// A requirement.
#[derive(Debug)]
pub struct CheckRow {
    /// What is required.
    pub label: String,
    /// How it is judged.
    pub note: String,
    /// The input that sets the limit.
    pub target: Option<Target>,
    /// The limit.
    pub required: Option<Printed>,
    /// Whether the limit is the most or the least that is allowed, in words; nothing where the numbers do not tell.
    pub bound: &'static str,
    /// What is reached.
    pub achieved: Option<Printed>,
    /// What stands in place of either where it has no number.
    pub without_numbers: [&'static str; 2],
    /// The share used, or nothing.
    pub used: Option<String>,
    /// Its gauge.
    pub gauge: String,
    /// How it stands.
    pub badge: Badge,
    /// What is left of the allowance.
    pub margin: Option<Printed>,
    /// What takes most, and the cheapest change that would make it hold.
    pub because: Vec<String>,
    /// Why it can be called neither good nor bad.
    pub open: Option<String>,
    /// The value before the last change, when it moved.
    pub former: Option<String>,
    /// Where it would turn, when that is known.
    pub turns: Option<String>,
}

impl CheckRow {
    /// Whether nothing stands for the limit.
    pub fn no_required(&self) -> bool {
        self.required.is_none() && self.without_numbers[0] == NOTHING
    }

    /// Whether nothing stands for what is reached.
    pub fn no_achieved(&self) -> bool {
        self.achieved.is_none() && self.without_numbers[1] == NOTHING
    }
}

/// A key figure.
#[derive(Debug)]
pub struct FigureRow {
    /// What it is.
    pub label: String,
    /// The value.
    pub value: Printed,
    /// What to compare it with.
    pub note: String,
    /// The value before the last change, when it moved.
    pub former: Option<String>,
}

/// A step of the working.
#[derive(Debug)]
pub struct StepRow {
    /// What is worked out.
    pub label: String,
    /// Its symbol, as markup.
    pub symbol: String,
    /// The formula, as markup.
    pub formula: String,
    /// The numbers put in.
    pub numbers: String,
    /// The value.
    pub value: Printed,
    /// Where the formula comes from.
    pub source: String,
}

/// A chart.
#[derive(Debug)]
pub struct ChartText {
    /// Its id in the page.
    pub id: String,
    /// The finding.
    pub finding: String,
    /// Under which conditions.
    pub conditions: String,
    /// Both drawings.
    pub drawings: String,
    /// Whether a narrow window shows the drawing on demand: another one stands before it.
    pub folds: bool,
    /// The same values.
    pub table: TableText,
    /// Address of the drawing as a file.
    pub file: String,
}

impl ChartText {
    /// The name of the region that its table scrolls in.
    pub fn table_label(&self) -> String {
        format!("Values: {}", self.finding)
    }
}

/// A lane.
#[derive(Debug)]
pub struct LaneText {
    /// Its id in the page.
    pub id: String,
    /// What it shows.
    pub caption: String,
    /// Both drawings.
    pub drawings: String,
}

/// A block of the view.
#[derive(Debug)]
#[allow(missing_docs, reason = "each is the text form of the block of the same name")]
pub enum BlockText {
    Figures(Vec<FigureRow>),
    Table(TableText),
    Budget(BudgetText),
    Chart(ChartText),
    Lane(LaneText),
    Listing(ListingText),
}

/// A text to hand on as it is.
#[derive(Debug)]
pub struct ListingText {
    /// Id in the page.
    pub id: String,
    /// What it is.
    pub caption: String,
    /// What to know of it.
    pub note: String,
    /// The text.
    pub text: String,
    /// Address of the same as a file.
    pub file: String,
    /// Ending of that file.
    pub ending: &'static str,
}

/// The whole answer.
#[derive(Debug)]
pub struct Out {
    /// The worst verdict.
    pub badge: Badge,
    /// The verdict in one sentence.
    pub lead: String,
    /// What dominates, what to change.
    pub more: String,
    /// What the engineer must know.
    pub findings: Vec<FindingRow>,
    /// The requirements.
    pub checks: Vec<CheckRow>,
    /// The rest.
    pub blocks: Vec<BlockText>,
    /// The working.
    pub steps: Vec<StepRow>,
    /// Cautions that the numbers make real.
    pub care: Vec<String>,
    /// Where the formulas come from.
    pub sources: &'static [&'static str],
    /// Where what turns its failures is told.
    pub turns: Option<String>,
    /// Where it is told at which values what holds would turn.
    pub nearest: Option<String>,
    /// The part of a design that it is the answer of.
    pub part: String,
    /// Whether the working stands folded.
    pub folded: bool,
    /// Blocks that stand folded.
    pub further: Vec<BlockText>,
    /// Whether they stand open.
    pub opened: bool,
    /// What is left to a page that shows all: a button sends the form there, so that nothing typed is lost.
    pub left: Option<Target>,
}

impl Out {
    /// Folds the working, and of the blocks all but the first of each kind.
    pub fn fold(&mut self) {
        let [mut budgets, mut charts] = [0, 0];
        let count = |number: &mut usize, most| {
            *number += 1;
            *number <= most
        };
        let first = |block: &BlockText| match block {
            BlockText::Figures(_) | BlockText::Lane(_) => true,
            BlockText::Budget(_) => count(&mut budgets, 1),
            BlockText::Chart(_) => count(&mut charts, 3),
            BlockText::Table(_) | BlockText::Listing(_) => false,
        };
        (self.blocks, self.further) = std::mem::take(&mut self.blocks).into_iter().partition(first);
        let mut pictures = 0;
        for block in &mut self.blocks {
            match block {
                BlockText::Chart(chart) => chart.folds = !count(&mut pictures, 1),
                BlockText::Lane(_) => pictures += 1,
                _ => {}
            }
        }
        self.folded = true;
    }

    /// Leaves what stands folded, the charts after the second, and the working to the page at `href`.
    pub fn leave(&mut self, href: &str) {
        let (mut charts, before) = (0, self.blocks.len());
        self.blocks.retain(|block| {
            charts += usize::from(matches!(block, BlockText::Chart(_)));
            charts <= 2 || !matches!(block, BlockText::Chart(_))
        });
        let further = before - self.blocks.len() + std::mem::take(&mut self.further).len();
        let steps = std::mem::take(&mut self.steps).len();
        let working = if steps == 0 { String::new() } else { format!(", and how it is worked out in {steps} steps") };
        self.left = Some(Target { href: href.to_owned(), label: format!("{further} more tables and charts{working}") });
    }

    /// The name of a region: parts of one design may show the same table.
    pub fn named(&self, caption: &str) -> String {
        if self.part.is_empty() { caption.to_owned() } else { format!("{}: {caption}", self.part) }
    }

    /// The answer of an entry as text.
    pub fn new(entry: &Entry, answer: &Answer) -> Self {
        let link = if answer.address.is_empty() { NO_FILES } else { &answer.address };
        Self::placed(entry, answer, link, &|pointer| {
            let label = label_of(entry.fields, pointer)?.to_owned();
            Some(Target { href: format!("#{}", control(entry.fields, pointer)?), label })
        })
    }

    /// The same inside a design: `link` is where its files are found, `place` finds the control of a JSON Pointer.
    pub fn placed(entry: &Entry, answer: &Answer, link: &str, place: &dyn Fn(&str) -> Option<Target>) -> Self {
        let (View { lead, more, blocks, .. }, checks, care) = (&answer.view, &answer.requirements, &answer.cautions);
        let verdict = answer.verdict();
        let target = |pointer: Option<&String>| place(pointer?);
        Self {
            badge: verdict.into(),
            lead: lead.clone(),
            more: more.clone(),
            findings: answer.findings.iter().map(|found| finding(found, target(found.field.as_ref()))).collect(),
            checks: checks.iter().map(|check| check_row(check, target(check.field.as_ref()))).collect(),
            blocks: blocks.iter().map(|block| block_text(block, link)).collect(),
            steps: answer.working.iter().map(step).collect(),
            care: care.clone(),
            sources: entry.meta.sources,
            turns: None,
            nearest: None,
            part: String::new(),
            folded: false,
            further: Vec::new(),
            opened: false,
            left: None,
        }
    }
}

/// A finding with the control it points at.
pub fn finding(finding: &Finding, target: Option<Target>) -> FindingRow {
    FindingRow { badge: finding.severity.into(), message: finding.message.clone(), target }
}

/// A requirement with the control that sets its limit.
pub fn check_row(check: &Check, target: Option<Target>) -> CheckRow {
    // A limit that is just reached is printed as reached.
    let reached = if check.used_percent == Some(100.0) { check.required } else { check.achieved };
    let reach = check.reach.filter(|_| check.yes_or_no());
    let [required, achieved, margin] = match reach {
        Some(Reach { asked, reached, unit }) => limits(Some(asked), Some(reached), None, unit),
        None => limits(check.required, reached, check.margin(), check.unit),
    };
    let gauge = match (check.used_percent, check.verdict) {
        // Of what is asked and how far it reaches no share is used.
        _ if check.yes_or_no() && (check.verdict != Verdict::Fails || reach.is_some()) => String::new(),
        (Some(used), verdict) => bars::gauge(used, verdict),
        (None, Verdict::Fails) => bars::gauge(f64::INFINITY, Verdict::Fails),
        (None, _) => String::new(),
    };
    CheckRow {
        label: check.label.clone(),
        note: check.note.clone(),
        target,
        bound: bound(check.required, check.achieved, check.used_percent),
        required,
        achieved,
        without_numbers: check.without_numbers(),
        used: check.used_percent.filter(|_| !check.yes_or_no()).map(share),
        gauge,
        badge: check.verdict.into(),
        margin,
        because: because(check),
        open: check.reason.clone().filter(|_| check.verdict != Verdict::Fails),
        former: None,
        turns: None,
    }
}

/// What stays below its limit where it keeps it, or passes it where it does not, may be as much as the limit at most. At the
/// limit itself either may be so.
fn bound(required: Option<f64>, achieved: Option<f64>, used_percent: Option<f64>) -> &'static str {
    let (Some(required), Some(achieved), Some(used)) = (required, achieved, used_percent) else { return "" };
    match (used - 100.0).abs() > 1e-4 && achieved != required {
        true if (achieved < required) == (used < 100.0) => "at most",
        true => "at least",
        false => "",
    }
}

fn because(check: &Check) -> Vec<String> {
    let largest = check.largest.as_ref().map(|largest| format!("largest: {largest}"));
    largest.into_iter().chain(check.lever.as_ref().map(|lever| format!("would hold with {lever}"))).collect()
}

fn step(step: &Step) -> StepRow {
    StepRow {
        label: step.label.clone(),
        symbol: subscripts(&step.symbol),
        formula: subscripts(&step.formula),
        numbers: step.numbers.clone(),
        value: brief(Quantity::new(step.value, step.unit), 5),
        source: step.source.clone(),
    }
}

/// Escaped text in which what follows an underscore is set low: `I_rms`.
fn subscripts(text: &str) -> String {
    let mut out = String::new();
    let mut low = false;
    for letter in text.chars() {
        if low && !(letter.is_alphabetic() || letter.is_ascii_digit() || letter == ',') {
            out.push_str("</sub>");
            low = false;
        }
        match letter {
            '_' if !low => {
                out.push_str("<sub>");
                low = true;
            }
            letter => out.push_str(&plot::escape(letter.encode_utf8(&mut [0; 4]))),
        }
    }
    if low {
        out.push_str("</sub>");
    }
    out
}

/// In the place of a link, where an answer has none that gives it again: its parts are no files then.
const NO_FILES: &str = "-";

/// A block; `link` is where its files are found.
pub fn block_text(block: &Block, link: &str) -> BlockText {
    match block {
        Block::Figures(figures) => BlockText::Figures(figures.iter().map(figure_row).collect()),
        Block::Table(table) => BlockText::Table(table_text(table, link)),
        Block::Budget(budget) => BlockText::Budget(budget_text(budget, link)),
        Block::Chart(chart) => BlockText::Chart(chart_text(chart, link)),
        Block::Lane(lane) => BlockText::Lane(lane_text(lane)),
        // The same figure on the page: finding, drawings, values, files.
        Block::NumberLine(line) => BlockText::Chart(line_text(line, link)),
        Block::Spots(spots) => BlockText::Chart(spots_text(spots, link)),
        Block::Listing(listing) => BlockText::Listing(listing_text(listing, link)),
    }
}

fn listing_text(listing: &Listing, link: &str) -> ListingText {
    ListingText {
        id: format!("out-{}", plot::id(&listing.id)),
        caption: listing.caption.clone(),
        note: listing.note.clone(),
        text: listing.text.clone(),
        file: file(link, listing.ending, &listing.id),
        ending: listing.ending,
    }
}

fn figure_row(row: &Figure) -> FigureRow {
    FigureRow { label: row.label.clone(), value: figure(row.value, row.digits), note: row.note.clone(), former: None }
}

/// The address of a part of the answer as a file.
fn file(link: &str, format: &str, part: &str) -> String {
    if link == NO_FILES {
        return String::new();
    }
    let mark = if link.contains('?') { '&' } else { '?' };
    format!("{link}{mark}format={format}&part={}", plot::id(part))
}

fn chart_text(chart: &Chart, link: &str) -> ChartText {
    ChartText {
        id: format!("out-{}", plot::id(&chart.id)),
        finding: chart.finding.clone(),
        conditions: chart.conditions.clone(),
        drawings: chart::both(chart),
        folds: false,
        table: table_text(&chart.table, link),
        file: file(link, "svg", &chart.id),
    }
}

fn line_text(line: &NumberLine, link: &str) -> ChartText {
    ChartText {
        id: format!("out-{}", plot::id(&line.id)),
        finding: line.finding.clone(),
        conditions: line.conditions.clone(),
        drawings: number_line::both(line),
        folds: false,
        table: table_text(&line.table, link),
        file: file(link, "svg", &line.id),
    }
}

fn spots_text(with: &Spots, link: &str) -> ChartText {
    ChartText {
        id: format!("out-{}", plot::id(&with.id)),
        finding: with.finding.clone(),
        conditions: with.conditions.clone(),
        drawings: spots::both(with),
        folds: false,
        table: table_text(&with.table, link),
        file: file(link, "svg", &with.id),
    }
}

fn lane_text(lane: &Lane) -> LaneText {
    LaneText { id: format!("out-{}", plot::id(&lane.id)), caption: lane.caption.clone(), drawings: lane::both(lane) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_is_the_most_or_the_least_as_the_numbers_tell() {
        let of = |required, achieved, used| bound(Some(required), Some(achieved), Some(used));
        assert_eq!([of(160.0, 67.0, 42.0), of(160.0, 200.0, 125.0)], ["at most"; 2]);
        assert_eq!([of(0.68, 1.9, 36.0), of(1.9, 0.68, 279.0)], ["at least"; 2]);
        // Below nothing, at nothing, and without end.
        assert_eq!([of(-5.0, -7.0, 0.0), of(0.0, 1.0, f64::INFINITY)], ["at most"; 2]);
        // At the limit either may be meant, also where what reaches it fails.
        assert_eq!([of(5.0, 5.0, 100.0), of(5.0, 5.0 - 1e-12, 100.0 + 1e-9)], [""; 2]);
        assert_eq!(bound(Some(5.0), None, None), "");
    }

    #[test]
    fn what_follows_an_underscore_is_set_low() {
        assert_eq!(subscripts("I_rms² < R_f"), "I<sub>rms</sub>² &lt; R<sub>f</sub>");
        assert_eq!(subscripts("a__b_"), "a<sub></sub><sub>b</sub><sub></sub>");
    }
}
