//! What a form is made of: rows with their controls, and the fieldsets around them.

use super::Lean;

/// How many letters a box beside its label shows.
const SHORT_LINE: usize = 9;

/// A form as a sequence: fieldsets open and close around rows.
#[derive(Debug)]
pub enum Piece {
    /// A fieldset begins.
    Open {
        /// Its id: the dotted key of the group, or nothing for the fields that stand alone.
        id: String,
        /// Its legend.
        legend: String,
        /// The sentence below it.
        help: String,
    },
    /// A row.
    Row(Box<Row>),
    /// What is folded begins: its words.
    Fold(String),
    /// What is folded ends.
    Unfold,
    /// A fieldset ends.
    Close,
}

/// Whether a fieldset stands inside another, by its id: of a part's, section and number are no groups.
pub fn is_inner(id: &str) -> bool {
    match id.split('.').position(|word| word.parse::<u32>().is_ok()) {
        Some(number) => id.split('.').count() > number + 2,
        None => id.contains('.'),
    }
}

/// The control of a row.
#[derive(Debug)]
pub enum Control {
    /// A line of text, for numbers and words.
    Line,
    /// Several lines, one row of values each.
    Lines {
        /// How many to show.
        height: usize,
    },
    /// One of a few.
    Select(Vec<Choice>),
}

impl Control {
    /// Whether it needs the whole width to show `text`.
    pub(super) fn is_long(&self, text: &str) -> bool {
        match self {
            Self::Line => text.chars().count() > SHORT_LINE,
            Self::Lines { .. } => true,
            Self::Select(choices) => choices.iter().any(|choice| choice.label.chars().count() > 14),
        }
    }
}

/// An option of a select.
#[derive(Debug)]
pub struct Choice {
    /// What is sent.
    pub word: String,
    /// What is read.
    pub label: String,
    /// Whether it is chosen.
    pub chosen: bool,
}

impl Choice {
    /// Whether it is one of yes and no.
    pub(super) fn is_yes(&self) -> bool {
        self.word == "yes"
    }
}

/// A row of the form.
#[allow(clippy::struct_excessive_bools, reason = "each is one mark of the row in the page")]
#[derive(Debug)]
pub struct Row {
    /// Dotted key: id and name of the control.
    pub key: String,
    /// The label in words of the trade.
    pub label: String,
    /// The unit in words, or nothing.
    pub unit_words: &'static str,
    /// The unit beside the box, or nothing.
    pub unit: &'static str,
    /// Whether it holds numbers: they stand one below the other, also without a unit.
    pub numeric: bool,
    /// The control.
    pub control: Control,
    /// Whether the control stands below its label, over the whole width.
    pub long: bool,
    /// The text in it.
    pub text: String,
    /// The text it starts with.
    pub start: String,
    /// The start value in words.
    pub start_words: String,
    /// The mark of a value that is the start value.
    pub same: &'static str,
    /// Whether the value differs from the start value.
    pub changed: bool,
    /// Whether prefix and unit read as one.
    pub prefixed: bool,
    /// What to enter.
    pub help: String,
    /// What is accepted.
    pub accepted: String,
    /// Columns that a list may name, with what they take.
    pub columns: Vec<(&'static str, String)>,
    /// What is wrong.
    pub error: Option<String>,
    /// What a design says of it.
    pub lean: Option<Lean>,
}

impl Row {
    /// Ids of what describes the control: the error first. The hint has the number of the row, since most keys are long.
    pub fn described_by(&self, number: &usize) -> String {
        if self.error.is_some() { format!("{}-e h{number}", self.key) } else { format!("h{number}") }
    }

    /// The classes of the row.
    pub fn class(&self) -> String {
        let mut class = String::from("f");
        let lean = |is: fn(&Lean) -> bool| self.lean.as_ref().is_some_and(is);
        for (on, name) in [
            (self.changed, " chg"),
            (self.error.is_some(), " bad"),
            (self.long, " long"),
            (!self.numeric, " words"),
            (lean(|lean| lean.open) && !self.changed, " open"),
            (lean(|lean| lean.was.is_some()), " moved"),
            (lean(|lean| matches!(lean.assumed, Some(Some(_)))), " assumed"),
        ] {
            if on {
                class.push_str(name);
            }
        }
        class
    }

    /// Whether it may stand folded: nobody typed it, nothing is wrong with it, and it neither asks for a value nor decides
    /// which values count.
    pub(super) fn is_folded(&self) -> bool {
        let Some(lean) = &self.lean else { return false };
        let quiet = !self.changed && self.error.is_none() && lean.was.is_none() && !lean.open && !lean.leads;
        let decides = matches!(&self.control, Control::Select(choices) if !choices.iter().any(Choice::is_yes));
        quiet && !decides
    }
}
