//! # The contract of a calculation
//!
//! Every calculation is a set of pure functions of a declared input: no I/O, no clock, no global state, no panic. A
//! [`Entry`] is the same calculation with its types erased, so that one page handler and one API handler serve the whole
//! catalogue.

use std::any::TypeId;
use std::collections::HashMap;
use std::sync::{LazyLock, PoisonError, RwLock};

use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use serde::Serialize;
use serde_json::{Map, Value};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use crate::address::{MOST_LETTERS, letters, short_enough};
use crate::channel::Channel;
use crate::field::{self, Field, FieldError, Group, Notation, Typed, tree};
use crate::json::Unwritten;
use crate::judge::{Check, Judged, Ledger, THIN_FROM_PERCENT, Verdict};
use crate::quantity::{Quantity, Unit, in_sentence};
use crate::report::{Finding, Severity, Step, View};
use crate::work::{Cost, Refused, Work};

/// The version of the calculation core: part of every answer, so that an old result can be explained.
pub const ENGINE: &str = concat!("sensewright-core ", env!("CARGO_PKG_VERSION"));

/// The version of the addresses: keys and starting values. An address says which it was made with.
pub const ADDRESS_VERSION: &str = "1";

/// What is coded in a value of a query: all but what RFC 3986 section 2.3 leaves as it is.
const QUERY: &AsciiSet = &NON_ALPHANUMERIC.remove(b'-').remove(b'.').remove(b'_').remove(b'~');

/// What a calculation is, in words.
#[derive(Debug)]
pub struct Meta {
    /// The one word that finds everything: path of the page and of the API.
    pub slug: &'static str,
    /// Title in the words of the trade.
    pub title: &'static str,
    /// The job in one sentence.
    pub job: &'static str,
    /// Three to five words for lists.
    pub short: &'static str,
    /// The sources of its formulas.
    pub sources: &'static [&'static str],
}

/// One calculation, in stages: numbers that verdicts rest on, requirements, the whole result, its words.
///
/// A verdict needs [`solve`](Self::solve) and [`requirements`](Self::requirements) alone; an answer adds
/// [`detail`](Self::detail) and [`working`](Self::working), a page [`view`](Self::view). No requirement can rest on a curve,
/// because curves are made after it.
pub trait Calculation: 'static {
    /// What it is.
    const META: Meta;
    /// What it takes.
    type Input: Group + Clone + Send + Sync;
    /// The numbers that verdicts rest on: no text, no curve, and no trials unless a requirement is judged by them.
    type Solved;
    /// What it gives.
    type Output: Serialize + ToSchema + Send + Sync + 'static;
    /// As a channel: what other parts of a design ask it. Only what turns a quantity of the pack into a reading is one.
    const CHANNEL: Option<AsChannel<Self::Input>> = None;

    /// What other parts of a design take of it.
    const GIVES: &'static [Gives<Self::Input>] = &[];

    /// What shows a slipped power of ten.
    const SLIPS: &'static [Slip<Self::Input>] = &[];

    /// Contradictions between fields that are each in range.
    fn contradictions(_input: &Self::Input) -> Vec<FieldError> {
        Vec::new()
    }

    /// What an answer of this depth costs at most, with the trials that are granted.
    fn cost(_input: &Self::Input, _depth: Depth, _work: Work) -> Cost {
        Cost::SMALL
    }

    /// The numbers that verdicts rest on.
    ///
    /// # Errors
    /// The work was stopped, or only solving it shows that the input contradicts itself.
    fn solve(input: &Self::Input, work: Work) -> Result<Self::Solved, Refused>;

    /// What is required and how it stands, what is noted.
    fn requirements(input: &Self::Input, solved: &Self::Solved, to: &mut Ledger);

    /// The whole result: curves, trials, recipes.
    ///
    /// # Errors
    /// The work was stopped.
    fn detail(input: &Self::Input, solved: Self::Solved, work: Work) -> Result<Self::Output, Refused>;

    /// The steps that lead to the headline numbers.
    fn working(input: &Self::Input, output: &Self::Output) -> Vec<Step>;

    /// Cautions that the numbers make real.
    fn cautions(_input: &Self::Input, _output: &Self::Output) -> Vec<String> {
        Vec::new()
    }

    /// The same numbers for a reader.
    fn view(input: &Self::Input, output: &Self::Output, judged: &Ledger) -> View;
}

/// Something that follows from an input, and where it usually lies: a typed value that is a power of ten off shows there.
#[derive(Debug)]
pub struct Slip<I> {
    /// What follows, in words.
    pub words: &'static str,
    /// Its unit.
    pub unit: Unit,
    /// Where it usually lies.
    pub usual: [f64; 2],
    /// Its value; not a number where it does not follow.
    pub value: fn(&I) -> f64,
    /// The inputs that may have slipped, the likeliest first.
    pub from: &'static [&'static str],
}

/// What other parts of a design take of an input, worked out.
#[derive(Debug)]
pub struct Gives<I> {
    /// What it is, in words.
    pub words: &'static str,
    /// Its value; nothing where it does not follow.
    pub value: fn(&I) -> Option<f64>,
}

/// A value above nothing, or not a number: nothing follows from a part that is not there.
pub fn positive(value: f64) -> f64 {
    if value > 0.0 { value } else { f64::NAN }
}

/// What follows from an input, and whether it lies far from what is usual.
#[derive(Clone, Copy, Debug)]
pub struct Consequence {
    /// What follows, in words.
    pub words: &'static str,
    /// Its value.
    pub value: Quantity,
    /// Whether it lies outside its usual range.
    pub strange: bool,
    /// The inputs that may have slipped, the likeliest first.
    pub from: &'static [&'static str],
}

fn consequences<C: Calculation>(input: &C::Input) -> Vec<Consequence> {
    let told = |slip: &Slip<C::Input>| {
        let value = (slip.value)(input);
        let strange = !(slip.usual[0] <= value && value <= slip.usual[1]);
        let value = Quantity::new(value, slip.unit);
        value.value.is_finite().then_some(Consequence { words: slip.words, value, strange, from: slip.from })
    };
    C::SLIPS.iter().filter_map(told).collect()
}

/// How much of an answer is wanted; what is not wanted is empty.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Depth {
    /// Requirements and findings.
    Requirements,
    /// Result, working and cautions, too.
    Whole,
    /// The view of a page, too.
    Page,
}

/// What is asked of a calculation.
#[derive(Clone, Copy, Debug)]
pub struct Ask<'a> {
    /// How much of the answer is wanted.
    pub depth: Depth,
    /// From this share on a requirement is called thin, percent.
    pub thin_from_percent: f64,
    /// Requirements that stand open for a reason that their calculation does not know, by their places in its order.
    pub open: &'a [(usize, String)],
}

impl Ask<'_> {
    /// A whole answer where nothing is said about thin requirements.
    pub const fn to(depth: Depth) -> Self {
        Self { depth, thin_from_percent: THIN_FROM_PERCENT, open: &[] }
    }
}

/// An input as a channel.
pub type AsChannel<I> = for<'a> fn(&'a I) -> Box<dyn Channel + 'a>;

/// The complete answer: the API's envelope and the view for a page.
#[derive(Clone, Debug, Serialize)]
pub struct Answer {
    /// The version of the calculation core.
    pub engine: &'static str,
    /// Everything that was used, defaults filled in.
    pub input: Value,
    /// The result.
    pub result: Unwritten,
    /// The requirements, worst first.
    pub requirements: Vec<Check>,
    /// The steps that lead to it.
    pub working: Vec<Step>,
    /// What the engineer must know, failures first.
    pub findings: Vec<Finding>,
    /// Cautions that the numbers make real.
    pub cautions: Vec<String>,
    /// The address that reproduces it; nothing when it would be too long.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub link: Option<String>,
    /// The same of any length, for the page that it leads to.
    #[serde(skip)]
    pub address: String,
    /// The same numbers for a reader.
    #[serde(skip)]
    pub view: View,
}

impl Answer {
    /// The worst verdict of all requirements.
    pub fn verdict(&self) -> Verdict {
        let worst = self.requirements.iter().map(|check| check.verdict).min().unwrap_or(Verdict::NoLimitSet);
        let fails = self.findings.iter().any(|finding| finding.severity == Severity::Fail);
        if fails { Verdict::Fails } else { worst }
    }
}

type Read = fn(Option<&Value>, Notation) -> Result<Box<dyn Typed>, Vec<FieldError>>;
type Verdicts = fn(&dyn Typed, Work) -> Result<Vec<Judged>, Refused>;
type Whole = fn(&dyn Typed, Ask<'_>, Work) -> Result<Answer, Refused>;
type Schemas = fn(&mut Vec<(String, RefOr<Schema>)>) -> RefOr<Schema>;

/// A calculation of the catalogue, its types erased.
pub struct Entry {
    /// What it is.
    pub meta: &'static Meta,
    /// Its declared inputs.
    pub fields: &'static [Field],
    read: Read,
    start: fn() -> &'static Map<String, Value>,
    contradictions: fn(&dyn Typed) -> Vec<FieldError>,
    verdicts: Verdicts,
    answer: Whole,
    channel: for<'a> fn(&'a dyn Typed) -> Option<Box<dyn Channel + 'a>>,
    cost: fn(&dyn Typed, Depth, Work) -> Cost,
    consequences: fn(&dyn Typed) -> Vec<Consequence>,
    gives: fn(&dyn Typed, &str) -> Option<f64>,
    output: Schemas,
}

impl std::fmt::Debug for Entry {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Entry").field(&self.meta.slug).finish()
    }
}

/// The input behind an erased one. A calculation is only ever given what it has read itself.
fn typed<I: 'static>(input: &dyn Typed) -> Result<&I, Refused> {
    input.any().downcast_ref().ok_or_else(|| {
        Refused::Faults(vec![FieldError::contradiction("", "This is the input of another calculation.", "", "")])
    })
}

impl Entry {
    /// The calculation with its types erased.
    pub const fn of<C: Calculation>() -> Self {
        Self {
            meta: &C::META,
            fields: C::Input::FIELDS,
            read: |node, notation| Ok(Box::new(field::read::<C::Input>(node, notation)?)),
            start: started::<C::Input>,
            contradictions: |input| typed::<C::Input>(input).map_or_else(Refused::faults, C::contradictions),
            verdicts: |input, work| {
                let input = typed::<C::Input>(input)?;
                let mut ledger = Ledger::numbers();
                C::requirements(input, &solved::<C>(input, work)?, &mut ledger);
                Ok(ledger.into_rows())
            },
            answer: answer::<C>,
            channel: |input| {
                let input = typed::<C::Input>(input).ok()?;
                C::CHANNEL.map(|channel| channel(input))
            },
            cost: |input, depth, work| {
                typed::<C::Input>(input).map_or(Cost::default(), |input| C::cost(input, depth, work))
            },
            consequences: |input| typed::<C::Input>(input).map_or_else(|_| Vec::new(), consequences::<C>),
            gives: |input, words| {
                let input = typed::<C::Input>(input).ok()?;
                C::GIVES.iter().find(|one| one.words == words).and_then(|one| (one.value)(input))
            },
            output: |components| {
                C::Output::schemas(components);
                C::Output::schema()
            },
        }
    }

    /// Reads an input, or says everything that is wrong with it.
    ///
    /// # Errors
    /// Every fault of the input that is no contradiction between fields.
    pub fn read(&self, node: Option<&Value>, notation: Notation) -> Result<Box<dyn Typed>, Vec<FieldError>> {
        (self.read)(node, notation)
    }

    /// Where an input contradicts itself.
    pub fn contradictions(&self, input: &dyn Typed) -> Vec<FieldError> {
        (self.contradictions)(input)
    }

    /// Whether an input contradicts itself.
    pub fn contradicts(&self, input: &dyn Typed) -> bool {
        !self.contradictions(input).is_empty()
    }

    /// The requirements of an input as numbers, in the order of the calculation.
    ///
    /// # Errors
    /// Contradictions, or the work was stopped.
    pub fn verdicts(&self, input: &dyn Typed, work: Work) -> Result<Vec<Judged>, Refused> {
        (self.verdicts)(input, work)
    }

    /// The answer for a reader, as deep as it is wanted.
    ///
    /// # Errors
    /// Contradictions, or the work was stopped.
    pub fn solve(&self, input: &dyn Typed, ask: Ask<'_>, work: Work) -> Result<Answer, Refused> {
        let mut answer = (self.answer)(input, ask, work)?;
        answer.address = answer.input.as_object().map_or_else(String::new, |input| self.address(input));
        answer.link = short_enough(answer.address.clone());
        answer.findings.extend(without_link(&answer));
        Ok(answer)
    }

    /// The input as a channel that other parts ask.
    pub fn channel<'a>(&self, input: &'a dyn Typed) -> Option<Box<dyn Channel + 'a>> {
        (self.channel)(input)
    }

    /// What an answer of this depth costs at most, with the trials that are granted.
    pub fn cost(&self, input: &dyn Typed, depth: Depth, work: Work) -> Cost {
        (self.cost)(input, depth, work)
    }

    /// What other parts of a design take of an input, by its words.
    pub fn gives(&self, input: &dyn Typed, words: &str) -> Option<f64> {
        (self.gives)(input, words)
    }

    /// What follows from an input where a slipped power of ten shows.
    pub fn consequences(&self, input: &dyn Typed) -> Vec<Consequence> {
        (self.consequences)(input)
    }

    /// Reads the input and works it out.
    ///
    /// # Errors
    /// Every fault of the input.
    pub fn answer(&self, node: Option<&Value>, notation: Notation) -> Result<Answer, Vec<FieldError>> {
        self.solve(&*self.read(node, notation)?, Ask::to(Depth::Page), Work::FREE).map_err(Refused::faults)
    }

    /// The input a form starts with: also the example of the API.
    pub fn start(&self) -> &'static Map<String, Value> {
        (self.start)()
    }

    /// The input with its defaults filled in, without working anything out.
    ///
    /// # Errors
    /// Every fault of the input.
    pub fn complete(&self, node: Option<&Value>, notation: Notation) -> Result<Map<String, Value>, Vec<FieldError>> {
        self.read(node, notation).map(|input| input.written())
    }

    /// The schema of the result; the schemas it refers to are added to `components`.
    pub fn output_schema(&self, components: &mut Vec<(String, RefOr<Schema>)>) -> RefOr<Schema> {
        (self.output)(components)
    }

    /// The address that reproduces an input.
    pub fn address(&self, input: &Map<String, Value>) -> String {
        self.address_of(&field::address_pairs(self.fields, input, self.start()))
    }

    /// The address of values as they are typed, whether they can be calculated or not.
    pub fn address_of(&self, typed: &[(String, String)]) -> String {
        let mut address = format!("/{}?v={ADDRESS_VERSION}", self.meta.slug);
        for (key, value) in typed {
            address.push('&');
            address.push_str(key);
            address.push('=');
            // Spaces become `+`, as forms send them.
            address.push_str(&utf8_percent_encode(value, QUERY).to_string().replace("%20", "+"));
        }
        address
    }
}

/// What a form starts with: every address leaves it out, so it is worked out once for each type of input.
fn started<I: Group + 'static>() -> &'static Map<String, Value> {
    static STARTS: LazyLock<RwLock<HashMap<TypeId, &Map<String, Value>>>> = LazyLock::new(RwLock::default);
    let kept = STARTS.read().unwrap_or_else(PoisonError::into_inner).get(&TypeId::of::<I>()).copied();
    kept.unwrap_or_else(|| {
        let mut starts = STARTS.write().unwrap_or_else(PoisonError::into_inner);
        starts.entry(TypeId::of::<I>()).or_insert_with(|| Box::leak(Box::new(field::start::<I>().write())))
    })
}

fn solved<C: Calculation>(input: &C::Input, work: Work) -> Result<C::Solved, Refused> {
    let faults = C::contradictions(input);
    let solved = if faults.is_empty() { C::solve(input, work) } else { Err(Refused::Faults(faults)) };
    solved.map_err(|refused| match refused {
        Refused::Faults(faults) => {
            Refused::Faults(faults.into_iter().map(|fault| fault.in_its_row(C::Input::FIELDS)).collect())
        }
        Refused::Stopped => Refused::Stopped,
    })
}

fn answer<C: Calculation>(input: &dyn Typed, ask: Ask<'_>, work: Work) -> Result<Answer, Refused> {
    let input = typed::<C::Input>(input)?;
    tell::<C>(input, solved::<C>(input, work)?, ask, work)
}

/// The answer without an address, with what was solved elsewhere, such as from a file that came in pieces.
pub(crate) fn tell<C: Calculation>(
    input: &C::Input,
    solved: C::Solved,
    ask: Ask<'_>,
    work: Work,
) -> Result<Answer, Refused> {
    let mut ledger = Ledger::for_reader(ask.thin_from_percent).leaving_open(ask.open);
    C::requirements(input, &solved, &mut ledger);
    let mut answer = Answer {
        engine: ENGINE,
        input: Value::Object(input.write()),
        result: Unwritten::default(),
        requirements: ledger.told(),
        working: Vec::new(),
        findings: ledger.findings(),
        cautions: Vec::new(),
        link: None,
        address: String::new(),
        view: View::default(),
    };
    for check in &mut answer.requirements {
        check.name_missing(|pointer| tree::name(C::Input::FIELDS, pointer));
    }
    if ask.depth == Depth::Requirements {
        return Ok(answer);
    }
    let output = C::detail(input, solved, work)?;
    work.go_on()?;
    answer.working = tidy_steps(C::working(input, &output));
    answer.cautions = C::cautions(input, &output);
    if ask.depth == Depth::Page {
        answer.view = C::view(input, &output, &ledger);
        // What holds so far is no verdict: the sentence says first what is open.
        if let Some(open) = ledger.open_in_words() {
            answer.view.lead = format!("{open}: {}", in_sentence(&answer.view.lead));
        }
    }
    answer.result = Unwritten::new(output);
    Ok(answer)
}

/// What to say of a calculation whose address would be too long.
fn without_link(answer: &Answer) -> Option<Finding> {
    let letters = letters(answer.address.len());
    answer.link.is_none().then(|| {
        let message = format!(
            "These values have no address: it would have about {letters} letters, and {MOST_LETTERS} are safe on the way. Hand them on as JSON."
        );
        Finding::new(Severity::Note, "calculation.no-address", message).against(letters as f64, MOST_LETTERS as f64)
    })
}

fn tidy_steps(steps: Vec<Step>) -> Vec<Step> {
    steps.into_iter().filter(|step| step.value.is_finite()).map(positive_zero).collect()
}

fn positive_zero(mut step: Step) -> Step {
    // −0 + 0 is +0 in IEEE 754 arithmetic.
    step.value += 0.0;
    step
}
