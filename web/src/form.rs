//! # The form
//!
//! One row a declared field, in the order of the declarations; a group is a fieldset. The text of a row is what was
//! typed when values were refused, and the exact echo of the value otherwise.

pub mod lean;
mod long;
mod row;
pub mod words;

use std::collections::BTreeMap;

use sensewright_core::calculation::Entry;
use sensewright_core::design::section::SECTIONS;
use sensewright_core::field::{Field, FieldError, Kind, tree};
use sensewright_core::quantity::{Unit, in_sentence};
use serde_json::{Map, Value};

use crate::Outcome;
pub use lean::{Lean, OfDesign};
pub use row::{Choice, Control, Piece, Row, is_inner};
pub use words::ends_in_prefix;
use words::{accepted, accepted_in_names, as_they_start, columns_of, control_of, differs, start_words, untouched};

/// A fault with the control it belongs to.
#[derive(Debug)]
pub struct Fault {
    /// Id of the control or fieldset; nothing when no control has this name.
    pub target: Option<String>,
    /// What is wrong.
    pub message: String,
}

/// A fault in whose words a field is told by its group as well, where the form has another one of that name.
pub fn told_by_group(fields: &'static [Field], pointer: &str, mut fault: FieldError) -> FieldError {
    let (Some(field), Some(name)) = (tree::declared(fields, pointer), tree::name(fields, pointer)) else {
        return fault;
    };
    let mut alike = 0;
    tree::walk(fields, &mut |_, other| alike += usize::from(other.label == field.label));
    if alike > 1 {
        let before = format!("Enter {} as ", in_sentence(field.label));
        if let Some(rest) = fault.message.strip_prefix(field.label) {
            fault.message = format!("{name}{rest}");
        } else if let Some(rest) = fault.message.strip_prefix(&before) {
            fault.message = format!("Enter {} as {rest}", in_sentence(&name));
        }
    }
    fault
}

impl Fault {
    /// A fault at a control. Where values contradict each other both are named, unless the sentence does it.
    pub fn at(target: Option<String>, fault: &FieldError) -> Self {
        let FieldError { message, accepted, got, .. } = fault;
        let begins = |words: &[&str]| words.iter().any(|word| accepted.starts_with(word));
        let of = if begins(&["at least ", "at most "]) { "of " } else { "" };
        let against = !of.is_empty() || begins(&["at or above ", "at or below ", "above ", "below "]);
        let message = if against && !message.contains(got.as_str()) {
            format!("{message} {got} was given; accepted is a value {of}{accepted}.")
        } else {
            message.clone()
        };
        Self { target, message }
    }
}

/// The form of an entry.
#[derive(Debug)]
pub struct Form {
    /// Fieldsets and rows.
    pub pieces: Vec<Piece>,
    /// The faults, in the order of the declarations.
    pub faults: Vec<Fault>,
    /// How many values differ from their start.
    pub changed: usize,
}

impl Form {
    /// Builds the form. `typed` holds what was sent, dotted keys first.
    pub fn new(entry: &Entry, typed: &[(String, String)], outcome: Outcome) -> Self {
        let start = entry.start();
        let input = match outcome {
            Outcome::Solved(answer) => answer.input.as_object().cloned(),
            Outcome::Refused { .. } => None,
        };
        let fault = |fault: &FieldError| {
            let told = told_by_group(entry.fields, &fault.field, fault.clone());
            Fault::at(control(entry.fields, &fault.field), &told)
        };
        // A slip of a value that others follow is told once: where somebody typed it.
        let here = |one: &FieldError| {
            let key = control(entry.fields, &one.field);
            typed.iter().any(|(name, text)| key.as_ref() == Some(name) && !text.trim().is_empty())
        };
        let all = outcome.faults();
        let again = |one: &FieldError| {
            let same = |other: &FieldError| (&other.got, &other.accepted) == (&one.got, &one.accepted);
            one.code == "contradiction" && !here(one) && all.iter().any(|other| here(other) && same(other))
        };
        let faults: Vec<Fault> = all.iter().filter(|one| !again(one)).map(fault).collect();
        let errors = at_controls(&faults);
        let (mut pieces, changed) = pieces(&Values {
            prefix: "",
            fields: entry.fields,
            start,
            input: input.as_ref(),
            typed,
            errors: &errors,
            hidden: &[],
            of_design: None,
        });
        let rows: Vec<(String, String)> = rows_of(&pieces).map(|row| (row.key.clone(), row.text.clone())).collect();
        for piece in &mut pieces {
            if let Piece::Open { id, legend, .. } = piece
                && is_left_out(entry.meta.slug, id, &rows)
            {
                legend.push_str(", does not count now");
            }
        }
        Self { pieces, faults, changed }
    }

    /// The rows alone.
    pub fn rows(&self) -> impl Iterator<Item = &Row> {
        rows_of(&self.pieces)
    }

    /// Ids and legends of the groups.
    pub fn groups(&self) -> impl Iterator<Item = (&str, &str)> {
        self.pieces.iter().filter_map(|piece| match piece {
            Piece::Open { id, legend, .. } if !id.is_empty() => Some((id.as_str(), legend.as_str())),
            _ => None,
        })
    }

    /// The heading of the summary of faults.
    pub fn summary(&self) -> String {
        summary(self.faults.len())
    }

    /// Whether there are more values than anybody reads from top to bottom.
    pub fn is_long(&self) -> bool {
        self.rows().count() > long::MANY
    }

    /// The values that paper leaves out, in words.
    pub fn unprinted(&self) -> String {
        let all = self.rows().count();
        match self.changed {
            0 => format!("All {all} values as they start."),
            some if some == all => String::new(),
            some => format!("All other values as they start ({}).", all - some),
        }
    }
}

fn rows_of(pieces: &[Piece]) -> impl Iterator<Item = &Row> {
    pieces.iter().filter_map(|piece| if let Piece::Row(row) = piece { Some(&**row) } else { None })
}

/// Whether a group of a calculation's own page counts nowhere as the choices stand: what a design leaves out there is told
/// here. Pages below one, such as a table of its values, have its groups.
fn is_left_out(slug: &str, group: &str, rows: &[(String, String)]) -> bool {
    let mut kinds = SECTIONS.iter().flat_map(|section| section.kinds);
    let Some(kind) =
        kinds.find(|kind| slug.split('/').next() == Some(kind.entry.meta.slug) && !kind.only_when.is_empty())
    else {
        return false;
    };
    kind.only_when.iter().any(|one| {
        let chosen = rows.iter().find(|(key, _)| key == one.choice);
        one.group.strip_prefix('/') == Some(group) && chosen.is_some_and(|(_, text)| text != one.word)
    })
}

fn summary(count: usize) -> String {
    if count == 1 { "1 value needs a correction".into() } else { format!("{count} values need a correction") }
}

/// The id of the control that a JSON Pointer leads to. What lies below a control, such as a line of a list, belongs to it.
pub fn control(fields: &[Field], pointer: &str) -> Option<String> {
    // A name that no field has: the group around it is as near as it gets.
    let (path, _) = tree::path(fields, pointer.strip_prefix('/')?);
    let keys: Vec<&str> = path.iter().map(|field| field.key).collect();
    (!keys.is_empty()).then(|| keys.join("."))
}

/// The label of the control that a JSON Pointer leads to.
pub fn label_of(fields: &[Field], pointer: &str) -> Option<&'static str> {
    let (path, lost) = tree::path(fields, pointer.strip_prefix('/')?);
    path.last().filter(|_| !lost).map(|field| field.label)
}

/// The words of the faults, by the control they belong to.
pub fn at_controls(faults: &[Fault]) -> BTreeMap<String, String> {
    let mut errors: BTreeMap<String, String> = BTreeMap::new();
    for fault in faults {
        if let Some(target) = &fault.target {
            let words = errors.entry(target.clone()).or_default();
            if !words.is_empty() {
                words.push(' ');
            }
            words.push_str(&fault.message);
        }
    }
    errors
}

/// Declared fields with the values to show in them.
#[derive(Clone, Copy, Debug)]
pub struct Values<'a> {
    /// What stands before every key: nothing, or the part of a design with its dot.
    pub prefix: &'a str,
    /// The declarations.
    pub fields: &'static [Field],
    /// What they start with.
    pub start: &'a Map<String, Value>,
    /// The values, when they were accepted.
    pub input: Option<&'a Map<String, Value>>,
    /// What was typed, when they were not.
    pub typed: &'a [(String, String)],
    /// What is wrong, by control.
    pub errors: &'a BTreeMap<String, String>,
    /// Fields and groups that have no control here, as JSON Pointers: a design hands them down.
    pub hidden: &'a [&'a str],
    /// What a design knows of the fields: `start` is then what stands where nothing is typed, and `input` what was typed.
    pub of_design: Option<&'a OfDesign<'a>>,
}

/// The fieldsets and rows of declared fields, and how many values differ from their start.
pub fn pieces(values: &Values) -> (Vec<Piece>, usize) {
    let mut builder = Builder { values: *values, pieces: Vec::new(), changed: 0 };
    builder.fields(values.fields, "");
    (long::fold_long(builder.pieces), builder.changed)
}

struct Builder<'a> {
    values: Values<'a>,
    pieces: Vec<Piece>,
    changed: usize,
}

impl Builder<'_> {
    /// Whether a field has a control: it is not handed down, and of a group at least one field is not.
    fn shown(&self, field: &Field, key: &str) -> bool {
        let pointer = format!("/{}", key.replace('.', "/"));
        if self.values.hidden.contains(&pointer.as_str()) {
            return false;
        }
        match field.kind {
            Kind::Group { fields } => fields.iter().any(|inner| self.shown(inner, &format!("{key}.{}", inner.key))),
            _ => true,
        }
    }

    /// A label or a help in the words of the design.
    fn words(&self, text: &str) -> String {
        self.values.of_design.map_or_else(|| text.to_owned(), |known| known.pack.words(text))
    }

    fn fields(&mut self, fields: &[Field], path: &str) {
        // Fields that stand alone at the top get a fieldset of their own.
        let mut open = !path.is_empty();
        let mut legend = "Values";
        let mut folded: Vec<Row> = Vec::new();
        for field in fields {
            let key = if path.is_empty() { field.key.to_owned() } else { format!("{path}.{}", field.key) };
            if !self.shown(field, &key) {
                continue;
            }
            if let Kind::Group { fields: inner } = field.kind {
                self.fold(&mut folded);
                if path.is_empty() && open {
                    self.pieces.push(Piece::Close);
                    open = false;
                }
                let id = format!("{}{key}", self.values.prefix);
                let (legend, help) = (self.words(field.label), self.words(field.help));
                let begin = self.pieces.len();
                self.pieces.push(Piece::Open { id, legend, help });
                self.fields(inner, &key);
                self.pieces.push(Piece::Close);
                self.fold_group(begin);
            } else {
                if !open {
                    let (id, help) = (String::new(), String::new());
                    self.pieces.push(Piece::Open { id, legend: legend.into(), help });
                    legend = "More values";
                    open = true;
                }
                let row = self.row(field, &key);
                self.changed += usize::from(row.changed);
                if row.is_folded() {
                    folded.push(row);
                } else {
                    self.pieces.push(Piece::Row(Box::new(row)));
                }
            }
        }
        self.fold(&mut folded);
        if path.is_empty() && open {
            self.pieces.push(Piece::Close);
        }
    }

    /// What nobody typed and nothing asks for is one line.
    fn fold(&mut self, rows: &mut Vec<Row>) {
        let words = match rows.len() {
            0 => return,
            1 => rows[0].label.clone(),
            some => format!("{some} more, as they start"),
        };
        self.pieces.push(Piece::Fold(words));
        self.pieces.extend(rows.drain(..).map(|row| Piece::Row(Box::new(row))));
        self.pieces.push(Piece::Unfold);
    }

    /// A group of which nothing stands open is one line itself: what folds goes around it.
    fn fold_group(&mut self, begin: usize) {
        let end = self.pieces.len() - 2;
        let [Piece::Open { legend, .. }, Piece::Fold(inside), rows @ .., Piece::Unfold, Piece::Close] =
            &self.pieces[begin..]
        else {
            return;
        };
        if rows.iter().any(|piece| !matches!(piece, Piece::Row(_))) {
            return;
        }
        let words = as_they_start(legend, rows.len(), inside);
        self.pieces.swap(begin, begin + 1);
        self.pieces.swap(end, end + 1);
        self.pieces[begin] = Piece::Fold(words);
    }

    fn row(&self, field: &Field, path: &str) -> Row {
        let Values { prefix, start, input, typed, errors, .. } = self.values;
        let (key, pointer) = (format!("{prefix}{path}"), format!("/{}", path.replace('.', "/")));
        let of_design = self.values.of_design.is_some();
        let start = field.echo(tree::at(start, &pointer), false);
        let text = match input {
            Some(input) => field.echo(tree::at(input, &pointer), false),
            None => match typed.iter().find(|(name, _)| *name == key) {
                Some((_, text)) => text.clone(),
                None if of_design => String::new(),
                None => start.clone(),
            },
        };
        let lean = self.lean(field, &pointer, &key, &start, &text);
        let changed = if of_design { !text.trim().is_empty() } else { differs(field, &text, &start) };
        let unit = field.unit().unwrap_or(Unit::One);
        let mut control =
            if of_design && text.is_empty() { untouched(field, &start) } else { control_of(field, &text) };
        if let Control::Select(choices) = &mut control {
            // An option that has no place is not offered, but stays visible where it is chosen.
            let out = |word: &str| {
                self.values.hidden.iter().any(|one| one.strip_prefix(&*pointer) == Some(&format!("/{word}")))
            };
            choices.retain(|choice| choice.chosen || !out(&choice.word));
            for choice in choices {
                choice.label = self.words(&choice.label);
            }
        }
        let long = matches!(field.kind, Kind::Numbers { .. }) || control.is_long(&text);
        Row {
            label: self.words(field.label),
            unit_words: if unit == Unit::One { "" } else { unit.words() },
            unit: unit.symbol(),
            numeric: field.unit().is_some(),
            control,
            long,
            start_words: start_words(field, &start),
            same: if start.is_empty() { "default: not given" } else { "default" },
            changed,
            prefixed: ends_in_prefix(unit, &text),
            help: self.words(field.help),
            accepted: if of_design { accepted_in_names(field) } else { accepted(field) },
            columns: if of_design { Vec::new() } else { columns_of(field) },
            error: errors.get(&key).cloned(),
            text,
            start: if of_design { String::new() } else { start },
            key,
            lean,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::tests::{ROOM, pairs};

    fn refused(typed: &[(&str, &str)]) -> Form {
        let typed = pairs(typed);
        let tree = sensewright_core::field::form_tree(&typed).expect("keys are fine");
        let faults = ROOM.answer(Some(&tree), sensewright_core::field::Notation::Form).expect_err("refused");
        Form::new(&ROOM, &typed, Outcome::Refused { faults: &faults, last: None })
    }

    #[test]
    fn what_was_typed_stays_and_its_fault_stands_at_the_field() {
        let form = refused(&[("part.resistance_ohm", "80O"), ("points", "1\n2; 3")]);
        let row = form.rows().find(|row| row.key == "part.resistance_ohm").expect("row");
        assert_eq!(row.text, "80O");
        assert!(row.changed && row.error.is_some());
        assert_eq!(row.described_by(&2), "part.resistance_ohm-e h2");
        let points = form.rows().find(|row| row.key == "points").expect("row");
        assert_eq!(points.text, "1\n2; 3");
        assert!(points.error.as_deref().is_some_and(|words| words.contains("Line 1")));
        assert_eq!(form.summary(), "2 values need a correction");
    }

    #[test]
    fn a_list_of_numbers_and_a_long_text_get_the_whole_width() {
        let form = refused(&[("part.resistance_ohm", "1.3862943611198906"), ("bits_bits", "x")]);
        let long = |key| form.rows().find(|row| row.key == key).expect("row").long;
        assert!(long("part.resistance_ohm") && long("currents_a") && long("points"));
        assert!(!long("part.tolerance_percent") && !long("bits_bits"));
    }

    #[test]
    fn fields_that_stand_alone_are_headed_apart() {
        let form = refused(&[("bits_bits", "x")]);
        let legends: Vec<&str> = form
            .pieces
            .iter()
            .filter_map(|piece| if let Piece::Open { legend, .. } = piece { Some(legend.as_str()) } else { None })
            .collect();
        assert_eq!(legends, ["Part", "Values"]);
    }

    #[test]
    fn pointers_lead_to_controls() {
        let of = |pointer| control(ROOM.fields, pointer);
        assert_eq!(of("/part/resistance_ohm").as_deref(), Some("part.resistance_ohm"));
        assert_eq!(of("/points/3/resistance_ohm").as_deref(), Some("points"));
        assert_eq!(of("/part").as_deref(), Some("part"));
        assert_eq!(of("/part/no_such").as_deref(), Some("part"));
        assert_eq!(of("/no_such"), None);
        assert_eq!(of(""), None);
    }

    #[test]
    fn another_notation_of_the_start_is_not_a_change() {
        let form = refused(&[("part.resistance_ohm", "100u"), ("part.tolerance_percent", "x")]);
        assert!(!form.rows().next().expect("row").changed);
        assert_eq!(form.rows().next().expect("row").start_words, "100 µΩ");
        assert!(form.rows().next().expect("row").prefixed);
    }
}
