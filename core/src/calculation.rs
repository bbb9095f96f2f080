//! # The contract of a calculation
//!
//! Every calculation is a pure function from a declared input to a [`Report`]: no I/O, no clock, no global state, no
//! panic. A [`Room`] is the same calculation with its types erased, so that one page handler and one API handler
//! serve the whole catalogue.

use serde::Serialize;
use serde_json::{Map, Value};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use crate::field::{self, Field, FieldError, Group, Notation};
use crate::report::{Check, Finding, Report, Severity, Step, View};

/// The version of the calculation core: part of every answer, so that an old result can be explained.
pub const ENGINE: &str = concat!("sensewright-core ", env!("CARGO_PKG_VERSION"));

/// The version of the addresses: keys and starting values. An address says which it was made with.
pub const ADDRESS_VERSION: &str = "1";

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

/// One calculation.
pub trait Calculation: 'static {
    /// What it is.
    const META: Meta;
    /// What it takes.
    type Input: Group;
    /// What it gives.
    type Output: Serialize + ToSchema;

    /// Works it out.
    ///
    /// # Errors
    /// Contradictions between fields that are each in range.
    fn calculate(input: &Self::Input) -> Result<Report<Self::Output>, Vec<FieldError>>;

    /// The requirements alone, in the order of the result. They are asked for a hundred times when a value is looked for
    /// that turns a verdict, so a calculation with long curves or trials gives them here without.
    ///
    /// # Errors
    /// As [`calculate`](Self::calculate).
    fn checks(input: &Self::Input) -> Result<Vec<Check>, Vec<FieldError>> {
        Self::calculate(input).map(|report| report.view.checks)
    }
}

/// The complete answer: the API's envelope and the view for a page.
#[derive(Clone, Debug, Serialize)]
pub struct Answer {
    /// The version of the calculation core.
    pub engine: &'static str,
    /// Everything that was used, defaults filled in.
    pub input: Value,
    /// The result.
    pub result: Value,
    /// The steps that lead to it.
    pub working: Vec<Step>,
    /// What the engineer must know, failures first.
    pub findings: Vec<Finding>,
    /// The address that reproduces it.
    pub link: String,
    /// The same numbers for a reader.
    #[serde(skip)]
    pub view: View,
}

type Checks = fn(Option<&Value>, Notation) -> Result<Vec<Check>, Vec<FieldError>>;
type Solve = fn(Option<&Value>, Notation) -> Result<Answer, Vec<FieldError>>;
type Complete = fn(Option<&Value>, Notation) -> Result<Map<String, Value>, Vec<FieldError>>;
type Schemas = fn(&mut Vec<(String, RefOr<Schema>)>) -> RefOr<Schema>;

/// A calculation of the catalogue.
#[derive(Debug)]
pub struct Room {
    /// What it is.
    pub meta: &'static Meta,
    /// Its declared inputs.
    pub fields: &'static [Field],
    solve: Solve,
    start: fn() -> Map<String, Value>,
    complete: Complete,
    checks: Checks,
    output: Schemas,
}

impl Room {
    /// The room of a calculation.
    pub const fn of<C: Calculation>() -> Self {
        Self {
            meta: &C::META,
            fields: C::Input::FIELDS,
            solve: solve::<C>,
            start: || field::start::<C::Input>().write(),
            complete: |node, notation| field::read::<C::Input>(node, notation).map(|input| input.write()),
            checks: |node, notation| C::checks(&field::read(node, notation)?),
            output: |components| {
                C::Output::schemas(components);
                C::Output::schema()
            },
        }
    }

    /// Reads the input and works it out.
    ///
    /// # Errors
    /// Every fault of the input.
    pub fn answer(&self, node: Option<&Value>, notation: Notation) -> Result<Answer, Vec<FieldError>> {
        (self.solve)(node, notation)
    }

    /// The input a form starts with: also the example of the API.
    pub fn start(&self) -> Map<String, Value> {
        (self.start)()
    }

    /// The input with its defaults filled in, without working anything out.
    ///
    /// # Errors
    /// Every fault of the input.
    pub fn complete(&self, node: Option<&Value>, notation: Notation) -> Result<Map<String, Value>, Vec<FieldError>> {
        (self.complete)(node, notation)
    }

    /// The requirements alone, in the order of the result.
    ///
    /// # Errors
    /// Every fault of the input.
    pub fn checks(&self, node: Option<&Value>, notation: Notation) -> Result<Vec<Check>, Vec<FieldError>> {
        (self.checks)(node, notation)
    }

    /// The schema of the result; the schemas it refers to are added to `components`.
    pub fn output_schema(&self, components: &mut Vec<(String, RefOr<Schema>)>) -> RefOr<Schema> {
        (self.output)(components)
    }

    /// The address that reproduces an input.
    pub fn address(&self, input: &Map<String, Value>) -> String {
        let mut address = format!("/{}?v={ADDRESS_VERSION}", self.meta.slug);
        for (key, value) in field::address_pairs(self.fields, input, &self.start()) {
            address.push('&');
            address.push_str(&key);
            address.push('=');
            percent_encode(&value, &mut address);
        }
        address
    }
}

fn solve<C: Calculation>(node: Option<&Value>, notation: Notation) -> Result<Answer, Vec<FieldError>> {
    let input: C::Input = field::read(node, notation)?;
    let report = C::calculate(&input)?;
    let written = input.write();
    let room = Room::of::<C>();
    let mut findings = report.findings;
    let result = match serde_json::to_value(&report.result) {
        Ok(value) => tidy(value),
        Err(fault) => {
            findings.push(Finding::new(
                Severity::Fail,
                "answer.not-writable",
                format!("The result could not be written: {fault}."),
            ));
            Value::Object(Map::new())
        }
    };
    findings.sort_by_key(|finding| finding.severity);
    Ok(Answer {
        engine: ENGINE,
        link: room.address(&written),
        input: Value::Object(written),
        result,
        working: report.working.into_iter().filter(|step| step.value.is_finite()).map(positive_zero).collect(),
        findings,
        view: report.view.sorted(),
    })
}

fn positive_zero(mut step: Step) -> Step {
    // −0 + 0 is +0 in IEEE 754 arithmetic.
    step.value += 0.0;
    step
}

/// Removes what must never be in an answer: a value that is not a number is written by the JSON library as null and
/// dropped here (its calculation adds a finding that says why); a negative zero becomes zero.
pub(crate) fn tidy(value: Value) -> Value {
    match value {
        Value::Object(map) => Value::Object(
            map.into_iter().filter(|(_, value)| !value.is_null()).map(|(key, value)| (key, tidy(value))).collect(),
        ),
        Value::Array(items) => Value::Array(items.into_iter().filter(|item| !item.is_null()).map(tidy).collect()),
        Value::Number(number) if number.as_f64() == Some(0.0) && number.is_f64() => Value::from(0.0),
        other => other,
    }
}

/// Percent-encodes a query value (RFC 3986 section 2.1); spaces become `+` as forms send them.
fn percent_encode(text: &str, out: &mut String) {
    for byte in text.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => out.push(char::from(byte)),
            b' ' => out.push('+'),
            _ => {
                for digit in [byte >> 4, byte & 15] {
                    out.push(char::from_digit(u32::from(digit), 16).unwrap_or('0').to_ascii_uppercase());
                }
                let at = out.len() - 2;
                out.insert(at, '%');
            }
        }
    }
}
