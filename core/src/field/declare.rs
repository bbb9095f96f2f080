//! How an input is declared: the kinds of a row, and the macros that make struct, reading and writing of the rows.

use std::marker::PhantomData;

use super::{Group, Kind, Start};
use crate::quantity::Unit;

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

    /// The same with a usual value: what a number that starts at nothing may well be.
    #[must_use]
    pub const fn like(self, value: f64) -> Self {
        match self.kind {
            Kind::Number { unit, min, max, start, .. } => {
                Self::of(Kind::Number { unit, min, max, start, like: Some(value) })
            }
            other => Self::of(other),
        }
    }
}

impl Declared<Option<f64>> {
    /// The same, with a value that a form of its own page starts with.
    #[must_use]
    pub const fn shown(self, value: f64) -> Self {
        match self.kind {
            Kind::Number { unit, min, max, like, .. } => {
                Self::of(Kind::Number { unit, min, max, start: Start::Shown(value), like })
            }
            other => Self::of(other),
        }
    }
}

/// A number that JSON must give, with the value a form starts from.
pub const fn number(unit: Unit, min: f64, max: f64, start: f64) -> Declared<f64> {
    Declared::of(Kind::Number { unit, min, max, start: Start::Required(start), like: None })
}

/// A number that is unknown unless given.
pub const fn optional(unit: Unit, min: f64, max: f64) -> Declared<Option<f64>> {
    Declared::of(Kind::Number { unit, min, max, start: Start::Absent, like: None })
}

/// A number with a default.
pub const fn defaulted(unit: Unit, min: f64, max: f64, default: f64) -> Declared<f64> {
    Declared::of(Kind::Number { unit, min, max, start: Start::Default(default), like: None })
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
