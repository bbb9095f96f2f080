//! # Input declarations
//!
//! Every input of every calculation is declared once, in a table of [`Field`] rows inside [`input!`](crate::input).
//! The struct, the reading of JSON and of form text, the limits, the published schema, the form row and the words of
//! every refusal come from that one row. Reading goes through the whole input in one pass and reports every fault,
//! each under its own JSON Pointer (RFC 6901).

mod address;
mod reading;
mod schema;
mod slot;

use std::marker::PhantomData;

use serde::Serialize;
use serde_json::Value;

use crate::quantity::{Quantity, Unit, say};

pub use address::{address_pairs, form_tree};
pub use reading::{Group, Notation, Reading, Slot, Typed, pointer_escape, read, start, step};
pub use schema::schema;
pub use slot::choice_word;

/// One declared input.
#[derive(Clone, Copy, Debug)]
pub struct Field {
    /// The JSON name; ends with the unit's suffix.
    pub key: &'static str,
    /// The symbol in formulas.
    pub symbol: &'static str,
    /// The label in words of the trade.
    pub label: &'static str,
    /// One sentence that says what to enter.
    pub help: &'static str,
    /// What is accepted.
    pub kind: Kind,
}

/// What a field accepts, and what it starts from.
#[derive(Clone, Copy, Debug)]
pub enum Kind {
    /// A number with a unit.
    Number {
        /// The base unit.
        unit: Unit,
        /// Smallest accepted value.
        min: f64,
        /// Largest accepted value.
        max: f64,
        /// What happens when it is left out.
        start: Start,
    },
    /// A whole number.
    Whole {
        /// The unit, often [`Unit::One`].
        unit: Unit,
        /// Smallest accepted value.
        min: u32,
        /// Largest accepted value.
        max: u32,
        /// The default.
        start: u32,
    },
    /// Yes or no.
    YesNo {
        /// The default.
        start: bool,
    },
    /// One of a few words.
    Choice {
        /// JSON word and label of each.
        options: &'static [(&'static str, &'static str)],
        /// The default's JSON word.
        start: &'static str,
    },
    /// Free text on one line.
    Text {
        /// Longest accepted, in characters.
        most: usize,
        /// The default.
        start: &'static str,
    },
    /// Several numbers of one unit.
    Numbers {
        /// The base unit.
        unit: Unit,
        /// Smallest accepted value.
        min: f64,
        /// Largest accepted value.
        max: f64,
        /// Most accepted entries.
        most: usize,
        /// The default.
        start: &'static [f64],
    },
    /// Fields that belong together.
    Group {
        /// The fields of the group.
        fields: &'static [Field],
    },
    /// Several rows of the same fields. In a form: one row a line, its columns parted by `;`, a tab or spaces.
    List {
        /// The fields of one row.
        fields: &'static [Field],
        /// Fewest accepted rows.
        least: usize,
        /// Most accepted rows.
        most: usize,
        /// What a form starts with.
        start: &'static str,
    },
}

/// What happens when a number is left out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Start {
    /// JSON must give it; a form starts with this value.
    Required(f64),
    /// This value is used, and shown as used.
    Default(f64),
    /// The quantity is unknown; what depends on it is left out of the answer.
    Absent,
}

/// What a row of [`input!`](crate::input) declares: the kind, for a struct's field of one type and no other.
///
/// A whole number in a field of `f64` would be read as 0, an optional number as one that starts at 0:
///
/// ```compile_fail
/// # use sensewright_core::{field::whole, input, quantity::Unit};
/// input! { /// Part.
///     pub struct Part { bits_bits: f64 = whole(Unit::Bit, 6, 32, 16), "N", "Bits", "Of the code."; } }
/// ```
///
/// ```compile_fail
/// # use sensewright_core::{field::optional, input, quantity::Unit};
/// input! { /// Part.
///     pub struct Part { power_w: f64 = optional(Unit::Watt, 0.0, 1e3), "P", "Power", "If known."; } }
/// ```
///
/// ```
/// # use sensewright_core::{field::{optional, whole}, input, quantity::Unit};
/// input! { /// Part.
///     pub struct Part {
///         bits_bits: u32 = whole(Unit::Bit, 6, 32, 16), "N", "Bits", "Of the code.";
///         power_w: Option<f64> = optional(Unit::Watt, 0.0, 1e3), "P", "Power", "If known.";
///     } }
/// ```
#[derive(Debug)]
pub struct Declared<T> {
    /// What is accepted.
    pub kind: Kind,
    of: PhantomData<fn() -> T>,
}

impl<T> Declared<T> {
    /// A declaration of a kind that a field of this type reads.
    pub const fn of(kind: Kind) -> Self {
        Self { kind, of: PhantomData }
    }
}

/// A number that JSON must give, with the value a form starts from.
pub const fn number(unit: Unit, min: f64, max: f64, start: f64) -> Declared<f64> {
    Declared::of(Kind::Number { unit, min, max, start: Start::Required(start) })
}

/// A number that is unknown unless given.
pub const fn optional(unit: Unit, min: f64, max: f64) -> Declared<Option<f64>> {
    Declared::of(Kind::Number { unit, min, max, start: Start::Absent })
}

/// A number with a default.
pub const fn defaulted(unit: Unit, min: f64, max: f64, default: f64) -> Declared<f64> {
    Declared::of(Kind::Number { unit, min, max, start: Start::Default(default) })
}

/// A whole number with a default.
pub const fn whole(unit: Unit, min: u32, max: u32, start: u32) -> Declared<u32> {
    Declared::of(Kind::Whole { unit, min, max, start })
}

/// Yes or no with a default.
pub const fn yes_no(start: bool) -> Declared<bool> {
    Declared::of(Kind::YesNo { start })
}

/// Free text.
pub const fn text(most: usize, start: &'static str) -> Declared<String> {
    Declared::of(Kind::Text { most, start })
}

/// Several numbers.
pub const fn numbers(unit: Unit, min: f64, max: f64, most: usize, start: &'static [f64]) -> Declared<Vec<f64>> {
    Declared::of(Kind::Numbers { unit, min, max, most, start })
}

/// A nested group.
pub const fn group<G: Group>() -> Declared<G> {
    Declared::of(Kind::Group { fields: G::FIELDS })
}

/// Rows of a nested group.
pub const fn list<G: Group>(least: usize, most: usize, start: &'static str) -> Declared<Vec<G>> {
    Declared::of(Kind::List { fields: G::FIELDS, least, most, start })
}

/// The declaration of the field at a pointer.
pub fn declared(fields: &'static [Field], pointer: &str) -> Option<&'static Field> {
    let mut fields = fields;
    let mut found = None;
    for token in pointer.trim_start_matches('/').split('/') {
        let field = fields.iter().find(|field| field.key == token)?;
        if let Kind::Group { fields: inner } = field.kind {
            fields = inner;
        }
        found = Some(field);
    }
    found
}

/// A refused field.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct FieldError {
    /// JSON Pointer (RFC 6901) to the field.
    pub field: String,
    /// A stable word for programs, such as `above`.
    pub code: String,
    /// One sentence for people: what is wrong and what to enter.
    pub message: String,
    /// What is accepted.
    pub accepted: String,
    /// What was given.
    pub got: String,
}

impl FieldError {
    /// A fault that only several fields together make, such as a derating that ends before it begins.
    #[allow(clippy::needless_pass_by_value, reason = "numbers and texts alike are given as they are")]
    pub fn contradiction(
        field: &str,
        message: impl Into<String>,
        accepted: impl Into<String>,
        got: impl ToString,
    ) -> Self {
        Self {
            field: field.into(),
            code: "contradiction".into(),
            message: message.into(),
            accepted: accepted.into(),
            got: got.to_string(),
        }
    }

    /// Refuses a value, where it is given, that lies above another field's.
    pub fn above(field: &str, message: &str, given: Option<f64>, most: f64, unit: Unit) -> Option<Self> {
        let given = given.filter(|given| *given > most)?;
        Some(Self::contradiction(field, message, format!("at or below {}", say(most, unit)), say(given, unit)))
    }

    /// Refuses a value, where it is given, that lies below another field's.
    pub fn below(field: &str, message: &str, given: Option<f64>, least: f64, unit: Unit) -> Option<Self> {
        let given = given.filter(|given| *given < least)?;
        Some(Self::contradiction(field, message, format!("at or above {}", say(least, unit)), say(given, unit)))
    }
}

impl Field {
    /// What is accepted, in words: the hint of the form and the `accepted` of every refusal.
    pub fn accepted(&self) -> String {
        match self.kind {
            Kind::Number { unit, min, max, .. } | Kind::Numbers { unit, min, max, .. } => range_words(unit, min, max),
            Kind::Whole { min, max, .. } => format!("a whole number between {min} and {max}"),
            Kind::YesNo { .. } => "yes or no (JSON: true or false)".into(),
            Kind::Choice { options, .. } => {
                let words: Vec<_> = options.iter().map(|(key, _)| *key).collect();
                format!("one of: {}", words.join(", "))
            }
            Kind::Text { most, .. } => format!("text of at most {most} characters"),
            Kind::Group { .. } => "a group of fields".into(),
            Kind::List { fields, least, most, .. } => {
                let columns: Vec<_> = fields.iter().map(|field| field.key).collect();
                format!("{least} to {most} rows of {}", columns.join("; "))
            }
        }
    }

    /// Whether a number is inside its range.
    pub fn takes(&self, value: f64) -> bool {
        match self.kind {
            Kind::Number { min, max, .. } | Kind::Numbers { min, max, .. } => min <= value && value <= max,
            Kind::Whole { min, max, .. } => f64::from(min) <= value && value <= f64::from(max),
            _ => false,
        }
    }

    /// The unit of a number field.
    pub const fn unit(&self) -> Option<Unit> {
        match self.kind {
            Kind::Number { unit, .. } | Kind::Numbers { unit, .. } | Kind::Whole { unit, .. } => Some(unit),
            _ => None,
        }
    }

    /// The text of a value in a form or, with `ascii`, in an address.
    pub fn echo(&self, value: Option<&Value>, ascii: bool) -> String {
        let Some(value) = value else { return String::new() };
        match (self.kind, value) {
            (_, Value::String(text)) => text.clone(),
            (_, Value::Bool(yes)) => if *yes { "yes" } else { "no" }.into(),
            (Kind::Number { unit, .. }, Value::Number(number)) => {
                Quantity::new(number.as_f64().unwrap_or(0.0), unit).echo(ascii)
            }
            (Kind::Numbers { unit, .. }, Value::Array(items)) => {
                let texts: Vec<_> =
                    items.iter().filter_map(Value::as_f64).map(|value| Quantity::new(value, unit).echo(true)).collect();
                texts.join(" ")
            }
            (Kind::List { fields, .. }, Value::Array(rows)) => {
                let lines: Vec<_> = rows
                    .iter()
                    .map(|row| {
                        let cells: Vec<_> = fields.iter().map(|field| field.echo(row.get(field.key), true)).collect();
                        cells.join("; ").trim_end_matches([';', ' ']).to_owned()
                    })
                    .collect();
                lines.join("\n")
            }
            (_, other) => other.to_string(),
        }
    }
}

fn range_words(unit: Unit, min: f64, max: f64) -> String {
    let at = |value| Quantity::new(value, unit).brief(6);
    format!("between {} and {}", at(min), at(max))
}

/// Declares an input: the struct, its reading, its writing and its [`Field`] rows.
///
/// Each row is `name: type = kind, "symbol", "label", "what to enter";`.
#[macro_export]
macro_rules! input {
    ($(#[$meta:meta])* pub struct $name:ident {
        $($key:ident : $type:ty = $kind:expr, $symbol:literal, $label:literal, $help:literal;)+
    }) => {
        $(#[$meta])*
        #[derive(Clone, Debug, PartialEq)]
        pub struct $name {
            $(#[doc = $help] pub $key: $type,)+
        }

        impl $crate::field::Group for $name {
            const FIELDS: &'static [$crate::field::Field] = &[$($crate::field::Field {
                key: stringify!($key), symbol: $symbol, label: $label, help: $help, kind: {
                    const ROW: $crate::field::Declared<$type> = $kind;
                    ROW.kind
                },
            },)+];

            fn read(
                node: Option<&serde_json::Value>,
                path: &str,
                reading: &mut $crate::field::Reading,
            ) -> Self {
                let object = reading.open(node, path, Self::FIELDS);
                let mut rows = Self::FIELDS.iter();
                $(let $key = {
                    let key = stringify!($key);
                    // One row a field: the iterator and the struct come from the same list.
                    let row = rows.next().unwrap_or(&Self::FIELDS[0]);
                    <$type as $crate::field::Slot>::read(
                        row, object.and_then(|object| object.get(key)), &format!("{path}/{key}"), reading,
                    )
                };)+
                Self { $($key,)+ }
            }

            fn write(&self) -> serde_json::Map<String, serde_json::Value> {
                let mut map = serde_json::Map::new();
                $(if let Some(value) = $crate::field::Slot::write(&self.$key) {
                    map.insert(stringify!($key).into(), value);
                })+
                map
            }

            fn set(&mut self, pointer: &str, value: f64) -> bool {
                let (key, below) = $crate::field::step(pointer);
                let mut rows = Self::FIELDS.iter();
                $({
                    let row = rows.next().unwrap_or(&Self::FIELDS[0]);
                    if key == stringify!($key) {
                        return $crate::field::Slot::set(&mut self.$key, row, below, value);
                    }
                })+
                false
            }

            fn get(&self, pointer: &str) -> Option<f64> {
                let (key, below) = $crate::field::step(pointer);
                match key {
                    $(stringify!($key) => $crate::field::Slot::get(&self.$key, below),)+
                    _ => None,
                }
            }
        }
    };
}

/// Declares a choice between a few words: the enum, its reading and its list of options.
///
/// A field starts with one of them; another word does not compile:
///
/// ```compile_fail
/// # use sensewright_core::{choice, input};
/// choice! { /// Choice.
///     pub enum Colour { Red = "red", "Red"; Blue = "blue", "Blue"; } }
/// input! { /// Part.
///     pub struct Part { colour: Colour = Colour::Green.chosen(), "", "Colour", "A word."; } }
/// ```
///
/// ```
/// # use sensewright_core::{choice, input};
/// choice! { /// Choice.
///     pub enum Colour { Red = "red", "Red"; Blue = "blue", "Blue"; } }
/// input! { /// Part.
///     pub struct Part { colour: Colour = Colour::Blue.chosen(), "", "Colour", "A word."; } }
/// ```
#[macro_export]
macro_rules! choice {
    ($(#[$meta:meta])* pub enum $name:ident { $($(#[$doc:meta])* $variant:ident = $word:literal, $label:literal;)+ }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
        pub enum $name { $($(#[$doc])* #[doc = $label] #[serde(rename = $word)] $variant,)+ }

        impl $name {
            /// JSON word and label of every option.
            pub const OPTIONS: &'static [(&'static str, &'static str)] = &[$(($word, $label),)+];

            /// The label for people.
            pub const fn label(self) -> &'static str {
                match self { $(Self::$variant => $label,)+ }
            }

            /// The JSON word.
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word,)+ }
            }

            /// Declares a field that starts with this option.
            pub const fn chosen(self) -> $crate::field::Declared<Self> {
                $crate::field::Declared::of($crate::field::Kind::Choice { options: Self::OPTIONS, start: self.word() })
            }

            fn of(word: &str) -> Option<Self> {
                match word { $($word => Some(Self::$variant),)+ _ => None }
            }
        }

        // Written out: the derive does not see a renaming that comes from a macro.
        impl utoipa::PartialSchema for $name {
            fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
                utoipa::openapi::ObjectBuilder::new()
                    .schema_type(utoipa::openapi::schema::Type::String)
                    .enum_values(Some([$($word),+]))
                    .into()
            }
        }

        impl utoipa::ToSchema for $name {}

        impl $crate::field::Slot for $name {
            fn read(
                field: &$crate::field::Field,
                node: Option<&serde_json::Value>,
                path: &str,
                reading: &mut $crate::field::Reading,
            ) -> Self {
                let word = $crate::field::choice_word(field, node, path, reading);
                word.and_then(|word| Self::of(&word)).unwrap_or([$(Self::$variant),+][0])
            }

            fn write(&self) -> Option<serde_json::Value> {
                Some(serde_json::Value::String(self.word().into()))
            }
        }
    };
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    choice! {
        /// Test choice.
        pub enum Colour { Red = "red", "Red"; Blue = "blue", "Blue"; }
    }

    input! {
        /// Test part.
        pub struct Part {
            resistance_ohm: f64 = number(Unit::Ohm, 1e-6, 1.0, 35e-6), "R", "Resistance", "At the reference temperature.";
            tolerance_percent: f64 = defaulted(Unit::Percent, 0.0, 50.0, 1.0), "t", "Tolerance", "Half-width.";
            power_w: Option<f64> = optional(Unit::Watt, 0.0, 1e3), "P", "Rated power", "If known.";
        }
    }

    input! {
        /// Test point.
        pub struct Point {
            at_degc: f64 = number(Unit::Celsius, -273.15, 1000.0, 25.0), "T", "Temperature", "Measured.";
            resistance_ohm: f64 = number(Unit::Ohm, 0.0, 1e9, 1.0), "R", "Resistance", "Measured.";
        }
    }

    input! {
        /// Test input.
        pub struct Everything {
            part: Part = group::<Part>(), "", "Part", "The part.";
            bits_bits: u32 = whole(Unit::Bit, 6, 32, 16), "N", "Resolution", "Bits.";
            bipolar: bool = yes_no(true), "", "Bipolar", "Both signs.";
            colour: Colour = Colour::Blue.chosen(), "", "Colour", "A word.";
            currents_a: Vec<f64> = numbers(Unit::Ampere, 0.0, 1e4, 3, &[5.0, 400.0]), "I", "Currents", "Some.";
            points: Vec<Point> = list::<Point>(2, 4, "0 1\n50 2"), "", "Points", "Rows.";
            title: String = text(10, "none"), "", "Title", "Words.";
        }
    }

    fn codes(faults: &[FieldError]) -> Vec<(String, String)> {
        faults.iter().map(|fault| (fault.field.clone(), fault.code.clone())).collect()
    }

    #[test]
    fn every_fault_is_reported_at_its_pointer_in_one_answer() {
        let bad = json!({
            "part": {"resistance_ohm": 2.0, "tolerance_percent": null, "power_w": "50 mV", "extra": 1},
            "bits_bits": 16.5, "bipolar": "yes", "colour": "green", "currents_a": [1, 2, "x"],
            "points": [{"at_degc": 1}, 7], "title": "far too long a title",
        });
        let faults = read::<Everything>(Some(&bad), Notation::Json).expect_err("all of it is bad");
        let expected = [
            ("/part/extra", "unknown-field"),
            ("/part/resistance_ohm", "above"),
            ("/part/tolerance_percent", "wrong-type"),
            ("/part/power_w", "wrong-unit"),
            ("/bits_bits", "not-whole"),
            ("/bipolar", "wrong-type"),
            ("/colour", "not-a-choice"),
            ("/currents_a/2", "not-a-number"),
            ("/points/0/resistance_ohm", "missing"),
            ("/points/1", "wrong-type"),
            ("/points/1/at_degc", "missing"),
            ("/points/1/resistance_ohm", "missing"),
            ("/title", "too-long"),
        ];
        assert_eq!(codes(&faults), expected.map(|(field, code)| (field.to_owned(), code.to_owned())));
        assert!(faults[8].message.starts_with("Line 1: Resistance is missing"), "{}", faults[8].message);
    }

    #[test]
    fn json_must_give_what_a_form_starts_with() {
        let faults = read::<Everything>(Some(&json!({})), Notation::Json).expect_err("required values are missing");
        assert_eq!(
            codes(&faults),
            [("/part/resistance_ohm".into(), "missing".into()), ("/points".into(), "missing".into())]
        );
        let form = read::<Everything>(None, Notation::Form).expect("a form starts complete");
        assert_eq!(form.part.resistance_ohm, 35e-6);
        assert_eq!(form.points.len(), 2);
        assert_eq!((form.colour, form.colour.label()), (Colour::Blue, "Blue"));
    }

    #[test]
    fn what_is_written_reads_back_from_json_and_from_the_address() {
        let start: Everything = start();
        let mut changed = start.clone();
        changed.part.resistance_ohm = 1.0 / 3.0;
        changed.part.power_w = Some(36.0);
        changed.currents_a = vec![0.5e-3, 7.0];
        changed.points.truncate(2);
        changed.points[1].resistance_ohm = 2.5;
        changed.bipolar = false;
        let json = Value::Object(Group::write(&changed));
        assert_eq!(read::<Everything>(Some(&json), Notation::Json).as_ref(), Ok(&changed));
        let pairs = address_pairs(Everything::FIELDS, &Group::write(&changed), &Group::write(&start));
        assert_eq!(pairs.len(), 5, "{pairs:?}");
        let tree = form_tree(&pairs).expect("own pairs are in order");
        assert_eq!(read::<Everything>(Some(&tree), Notation::Form).as_ref(), Ok(&changed));
        assert!(address_pairs(Everything::FIELDS, &Group::write(&start), &Group::write(&start)).is_empty());
    }

    /// What a spreadsheet or a logger writes: a heading, commas, quotes, comments, empty lines.
    #[test]
    fn points_are_read_as_files_write_them() {
        let points = |text: &str| {
            let tree = form_tree(&[("points".to_owned(), text.to_owned())]).expect("one key");
            read::<Everything>(Some(&tree), Notation::Form)
        };
        for text in [
            "degC,ohm\n0,1\n50,2.5",
            "\"T\";\"R\"\n0;1\n\n50;2.5",
            "# a bath\n0\t1\n50\t2.5",
            "0 1\r\n50 2.5",
            "0, 1 Ω\n50, 2500 mΩ",
        ] {
            let read = points(text).unwrap_or_else(|faults| panic!("{text}: {faults:?}"));
            let pairs: Vec<_> = read.points.iter().map(|point| (point.at_degc, point.resistance_ohm)).collect();
            assert_eq!(pairs, [(0.0, 1.0), (50.0, 2.5)], "{text}");
        }
        let faults = points("T R\n0 1\n\n25,5 100,2\n50 2").expect_err("decimal commas");
        assert_eq!(codes(&faults)[0], ("/points/1/at_degc".to_owned(), "decimal-comma".to_owned()));
        assert!(faults[0].message.starts_with("Line 4: "), "{}", faults[0].message);
    }

    #[test]
    fn a_list_of_numbers_is_read_as_people_write_it() {
        let currents = |text: &str| {
            let tree = form_tree(&[("currents_a".to_owned(), text.to_owned())]).expect("one key");
            read::<Everything>(Some(&tree), Notation::Form).map(|all| all.currents_a)
        };
        for text in [
            "5, 300, 600",
            "5 300 600",
            "5;300;600",
            "5 A, 300 A, 600 A",
            "5 A 0.3 kA 600",
            "5,\n300,\n600,",
            "5 , 300 , 600",
        ] {
            assert_eq!(currents(text), Ok(vec![5.0, 300.0, 600.0]), "{text}");
        }
        for text in ["5,5 300", "5,300,600", "5,5, 300"] {
            let faults = currents(text).expect_err(text);
            assert_eq!(codes(&faults), [("/currents_a/0".to_owned(), "decimal-comma".to_owned())], "{text}");
        }
        assert!(currents("5,300,600").expect_err("commas").iter().all(|fault| fault.message.contains("by a space")));
        assert!(currents("5 V, 300").expect_err("volt")[0].code == "wrong-unit");
    }

    #[test]
    fn a_form_keeps_lines_and_keys_in_order() {
        let pair = |key: &str, value: &str| (key.to_owned(), value.to_owned());
        let tree =
            form_tree(&[pair("points", "0; 1\n\n50\t2 mΩ\n7"), pair("part.power_w", " ")]).expect("keys are fine");
        let faults = read::<Everything>(Some(&tree), Notation::Form).expect_err("the third line lacks a column");
        assert_eq!(codes(&faults), [("/points/2/resistance_ohm".into(), "missing".into())]);
        for bad in [
            vec![pair("a", "1"), pair("a", "2")],
            vec![pair("a", "1"), pair("a.b", "2")],
            vec![pair("a.b.c.d.e.f.g", "1")],
        ] {
            assert!(form_tree(&bad).is_err(), "{bad:?}");
        }
    }
}
