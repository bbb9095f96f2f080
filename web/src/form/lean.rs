//! What a design says of the rows of its forms: an empty one stands at what is said beside it.

use sensewright_core::design::pack::Pack;
use sensewright_core::field::{Field, Kind, tree};
use sensewright_core::quantity::{Unit, say};
use serde_json::{Map, Value};

use super::Builder;
use super::words::{rounded, start_words};

/// A row of a design: it shows only what was typed.
#[derive(Debug)]
pub struct Lean {
    /// What stands there while it is empty.
    pub placeholder: String,
    /// Where that comes from, in words.
    pub from: String,
    /// Whether nothing of its part is judged before it is typed.
    pub open: bool,
    /// Whether it follows from the pack, is asked for, or is a text: it is never folded.
    pub leads: bool,
    /// The text that was typed when the visit began, when it is another.
    pub was: Option<String>,
    /// Whether it can be marked as assumed, and why it is.
    pub assumed: Option<Option<String>>,
}

/// What a design knows of the fields of one of its forms.
#[derive(Debug)]
pub struct OfDesign<'a> {
    /// Its pack, in whose words the labels are told.
    pub pack: &'a Pack,
    /// The pointers that follow from the pack.
    pub follows: &'a [&'a str],
    /// The pointers of what is asked for although it may stay empty: it is never folded.
    pub asked: &'a [&'a str],
    /// The pointers of lists that other parts lend, and who lends them.
    pub lent: &'a [(String, String)],
    /// The pointers without a value until it is typed.
    pub open: &'a [&'a str],
    /// The pointers of those that another choice would ask for: they count nowhere as the choices stand.
    pub unused: &'a [&'a str],
    /// What was typed when the visit began.
    pub before: Option<&'a Map<String, Value>>,
    /// The values that nobody measured: key, and where it comes from.
    pub assumed: &'a [(String, String)],
}

/// What a voltage of a cell is of the whole pack, in words; nothing of other values.
pub fn of_the_pack(pack: &Pack, pointer: &str, cell_v: f64) -> Option<String> {
    let is_of_cell = matches!(pointer, "/pack/cell_max_v" | "/pack/cell_nominal_v" | "/pack/cell_min_v");
    (is_of_cell && pack.has_cells()).then(|| say(cell_v * f64::from(pack.cells_in_series), Unit::Volt))
}

impl Builder<'_> {
    /// What a design says of a row.
    pub(super) fn lean(&self, field: &Field, pointer: &str, key: &str, start: &str, text: &str) -> Option<Lean> {
        let known = self.values.of_design?;
        let is = |those: &[&str]| those.contains(&pointer);
        let (open, follows, unused) = (is(known.open), is(known.follows), is(known.unused));
        let is_text = matches!(field.kind, Kind::Text { .. });
        let words = self.words(&start_words(field, start));
        let whole = self.values.input.and_then(|_| of_the_pack(known.pack, pointer, Unit::Volt.read(text).ok()?));
        let from = match (open, start.is_empty()) {
            _ if unused => "not used as it stands".into(),
            (true, _) if text.is_empty() => "to be typed".into(),
            (true, _) if whole.is_some() => format!("{} for the whole pack", whole.unwrap_or_default()),
            (true, _) => "has no start value".into(),
            (_, true) if text.is_empty() => match known.lent.iter().find(|(lent, _)| lent == pointer) {
                Some((_, lender)) => format!("that of {lender}"),
                None => "not given".into(),
            },
            (_, true) => "has no start value".into(),
            _ if follows => self.words(&format!("from the pack: {words}")),
            _ => format!("starts at {words}"),
        };
        let was = known.before.map(|before| field.echo(tree::at(before, pointer), false));
        let mark = known.assumed.iter().find(|(value, _)| value == key).map(|(_, why)| why.clone());
        Some(Lean {
            placeholder: match field.kind {
                _ if open || unused => String::new(),
                Kind::List { .. } | Kind::Text { .. } => start.replace('\n', "; "),
                _ => rounded(start),
            },
            from,
            open,
            leads: follows || unused || is(known.asked) || is_text,
            was: was.filter(|was| was != text).map(|was| match field.kind {
                Kind::List { .. } if !was.is_empty() => start_words(field, &was),
                _ => was,
            }),
            // A title is neither measured nor assumed.
            assumed: ((!text.is_empty() && !is_text) || mark.is_some()).then_some(mark),
        })
    }
}
