//! # How answers are written
//!
//! Typed values become text once, without a tree between: what is unknown or not a number has no member (its calculation
//! adds a finding that says why), a negative zero is zero.

use std::fmt;
use std::io::{self, Write};
use std::sync::Arc;

use serde::{Serialize, Serializer as Writing};
use serde_json::ser::{CharEscape, CompactFormatter as Plain, Formatter, Serializer};
use serde_json::{Error, Value};

/// The JSON text of a value.
///
/// # Errors
/// The value has a map whose keys are no text.
pub fn text<T: Serialize + ?Sized>(value: &T) -> Result<Vec<u8>, Error> {
    let mut text = Vec::with_capacity(4096);
    value.serialize(&mut Serializer::with_formatter(&mut text, Members::default()))?;
    Ok(text)
}

/// The same as a tree; nothing where it has no text.
pub fn tree<T: Serialize + ?Sized>(value: &T) -> Value {
    text(value).and_then(|text| serde_json::from_slice(&text)).unwrap_or_default()
}

/// A value of any type that is written when somebody asks for it.
#[derive(Clone)]
pub struct Unwritten(Arc<dyn erased_serde::Serialize + Send + Sync>);

impl Unwritten {
    /// Keeps a value.
    pub fn new(value: impl Serialize + Send + Sync + 'static) -> Self {
        Self(Arc::new(value))
    }

    /// It as a tree.
    pub fn tree(&self) -> Value {
        tree(self)
    }
}

impl Default for Unwritten {
    fn default() -> Self {
        Self::new(serde_json::Map::new())
    }
}

impl fmt::Debug for Unwritten {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.tree().fmt(f)
    }
}

impl Serialize for Unwritten {
    fn serialize<S: Writing>(&self, to: S) -> Result<S::Ok, S::Error> {
        erased_serde::serialize(&*self.0, to)
    }
}

/// Writes members once their value is known to be one.
#[derive(Default)]
struct Members {
    /// Of each open list or object whether it has a member yet.
    any: Vec<bool>,
    /// What stands before the next value: comma, name, colon.
    waiting: Vec<u8>,
    /// Whether a name is being written.
    naming: bool,
}

impl Members {
    /// Begins a value: what waits for it is written.
    fn value<W: Write + ?Sized>(&mut self, to: &mut W) -> io::Result<()> {
        to.write_all(&self.waiting)?;
        self.waiting.clear();
        if let Some(any) = self.any.last_mut() {
            *any = true;
        }
        Ok(())
    }

    fn member(&mut self) {
        self.waiting.clear();
        if self.any.last() == Some(&true) {
            self.waiting.push(b',');
        }
    }

    fn open<W: Write + ?Sized>(&mut self, to: &mut W, bracket: u8) -> io::Result<()> {
        self.value(to)?;
        self.any.push(false);
        to.write_all(&[bracket])
    }

    fn close<W: Write + ?Sized>(&mut self, to: &mut W, bracket: u8) -> io::Result<()> {
        self.any.pop();
        self.waiting.clear();
        to.write_all(&[bracket])
    }

    /// A piece of text: of a name, which waits, or of a value.
    fn piece<W: Write + ?Sized>(
        &mut self,
        to: &mut W,
        write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    ) -> io::Result<()> {
        if self.naming { write(&mut self.waiting) } else { write(&mut Through(to)) }
    }
}

/// A writer of any size as one of a known size.
struct Through<'a, W: ?Sized>(&'a mut W);

impl<W: Write + ?Sized> Write for Through<'_, W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

/// The library's own compact form, for a value that needs no care, after what waits for it.
macro_rules! plainly {
    ($($method:ident: $type:ty),*) => {
        $(fn $method<W: Write + ?Sized>(&mut self, to: &mut W, value: $type) -> io::Result<()> {
            self.value(to)?;
            Plain.$method(to, value)
        })*
    };
}

impl Formatter for Members {
    plainly! {
        write_bool: bool, write_i8: i8, write_i16: i16, write_i32: i32, write_i64: i64, write_i128: i128,
        write_u8: u8, write_u16: u16, write_u32: u32, write_u64: u64, write_u128: u128, write_number_str: &str
    }

    fn write_null<W: Write + ?Sized>(&mut self, to: &mut W) -> io::Result<()> {
        self.waiting.clear();
        if self.any.is_empty() { Plain.write_null(to) } else { Ok(()) }
    }

    // −0 + 0 is +0 in IEEE 754 arithmetic.
    fn write_f32<W: Write + ?Sized>(&mut self, to: &mut W, value: f32) -> io::Result<()> {
        self.value(to)?;
        Plain.write_f32(to, value + 0.0)
    }

    fn write_f64<W: Write + ?Sized>(&mut self, to: &mut W, value: f64) -> io::Result<()> {
        self.value(to)?;
        Plain.write_f64(to, value + 0.0)
    }

    fn begin_string<W: Write + ?Sized>(&mut self, to: &mut W) -> io::Result<()> {
        if !self.naming {
            self.value(to)?;
        }
        self.piece(to, |to| to.write_all(b"\""))
    }

    fn end_string<W: Write + ?Sized>(&mut self, to: &mut W) -> io::Result<()> {
        self.piece(to, |to| to.write_all(b"\""))
    }

    fn write_string_fragment<W: Write + ?Sized>(&mut self, to: &mut W, fragment: &str) -> io::Result<()> {
        self.piece(to, |to| to.write_all(fragment.as_bytes()))
    }

    fn write_char_escape<W: Write + ?Sized>(&mut self, to: &mut W, escape: CharEscape) -> io::Result<()> {
        self.piece(to, |to| Plain.write_char_escape(to, escape))
    }

    fn begin_array<W: Write + ?Sized>(&mut self, to: &mut W) -> io::Result<()> {
        self.open(to, b'[')
    }

    fn end_array<W: Write + ?Sized>(&mut self, to: &mut W) -> io::Result<()> {
        self.close(to, b']')
    }

    fn begin_array_value<W: Write + ?Sized>(&mut self, _: &mut W, _: bool) -> io::Result<()> {
        self.member();
        Ok(())
    }

    fn begin_object<W: Write + ?Sized>(&mut self, to: &mut W) -> io::Result<()> {
        self.open(to, b'{')
    }

    fn end_object<W: Write + ?Sized>(&mut self, to: &mut W) -> io::Result<()> {
        self.close(to, b'}')
    }

    fn begin_object_key<W: Write + ?Sized>(&mut self, _: &mut W, _: bool) -> io::Result<()> {
        self.member();
        self.naming = true;
        Ok(())
    }

    fn end_object_key<W: Write + ?Sized>(&mut self, _: &mut W) -> io::Result<()> {
        self.naming = false;
        Ok(())
    }

    fn begin_object_value<W: Write + ?Sized>(&mut self, _: &mut W) -> io::Result<()> {
        self.waiting.push(b':');
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[derive(Serialize)]
    enum Told {
        Bare,
        With(f64),
        Named { size: f64, none: Option<f64> },
    }

    #[derive(Serialize)]
    struct Everything {
        first: Option<u8>,
        gap: f64,
        zero: f64,
        list: Vec<f64>,
        holes: [Option<&'static str>; 3],
        empty: Vec<f64>,
        pair: (i64, bool),
        told: Vec<Told>,
        #[serde(rename = "a \"name\"\n")]
        odd: &'static str,
        under: Under,
        last: Option<bool>,
    }

    #[derive(Serialize)]
    struct Under {
        nothing: Option<f64>,
        #[serde(flatten)]
        more: std::collections::BTreeMap<String, f64>,
    }

    /// As the library writes a tree from which what is null was taken by hand.
    #[test]
    fn what_is_not_known_has_no_member() {
        let everything = Everything {
            first: None,
            gap: f64::NAN,
            zero: -0.0,
            list: vec![1.5, f64::INFINITY, -0.0, 1e-300],
            holes: [None, Some("é\t\u{1}\\"), None],
            empty: Vec::new(),
            pair: (-7, true),
            told: vec![Told::Bare, Told::With(f64::NAN), Told::With(0.1), Told::Named { size: 5e-324, none: None }],
            odd: "",
            under: Under { nothing: None, more: [("a".into(), f64::NAN), ("b".into(), 2.0)].into() },
            last: None,
        };
        let wanted = json!({
            "zero": 0.0, "list": [1.5, 0.0, 1e-300], "holes": ["é\t\u{1}\\"], "empty": [], "pair": [-7, true],
            "told": ["Bare", {}, {"With": 0.1}, {"Named": {"size": 5e-324}}], "a \"name\"\n": "", "under": {"b": 2.0}
        });
        assert_eq!(String::from_utf8(text(&everything).expect("text")).expect("UTF-8"), wanted.to_string());
        assert_eq!(tree(&everything), wanted);
        assert_eq!(text(&f64::NAN).expect("text"), b"null");
    }
}
