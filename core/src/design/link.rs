//! # The link of a design
//!
//! A design travels in its address: the complete document, compressed and written with the letters of an address. The
//! document is complete, so a link means the same when a starting value changes; the engine and the schema that made it
//! are inside, so an old link opens for ever and says when its figures may have moved.
//!
//! ```text
//! Token      base64url (RFC 4648 section 5, no padding) of: form (1 byte), length of the rest (2 bytes, big endian),
//!            CRC-32 of the rest (4 bytes, big endian), the rest
//! Rest       raw deflate (RFC 1951) of the JSON document, with a preset dictionary that never changes
//! Bounds     a token has at most 8000 letters, a document at most 48 kB; both are refused before memory is taken
//! Errors     damaged, truncated, too long, of a later version: each in its own words
//! Source     RFC 1951, RFC 4648; CRC-32 as in RFC 1952 section 8
//! ```
//!
//! The dictionary is a document with every value at its start. What a design leaves at its start costs nearly nothing.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use miniz_oxide::deflate::CompressionLevel;
use miniz_oxide::deflate::core::{CompressorOxide, TDEFLFlush, compress_to_output};
use miniz_oxide::inflate::TINFLStatus;
use miniz_oxide::inflate::core::inflate_flags::TINFL_FLAG_USING_NON_WRAPPING_OUTPUT_BUF;
use miniz_oxide::inflate::core::{DecompressorOxide, decompress};
use serde_json::{Map, Value, json};

use super::{Design, SCHEMA};
use crate::calculation::ENGINE;
use crate::field::{FieldError, Notation};

/// Longest token that is read.
pub const MOST_LETTERS: usize = 8_000;
/// Largest document that a token may hold.
pub const MOST_BYTES: usize = 48 * 1024;
/// The form of the token and of its dictionary.
const FORM: u8 = 1;
/// Form, length, check sum.
const HEAD: usize = 7;
/// The preset dictionary of form 1. It must never change: every link rests on it.
const DICTIONARY: &[u8] = include_bytes!("dictionary-1.json");

/// A design taken out of a link.
#[derive(Clone, Debug)]
pub struct Opened {
    /// The design.
    pub design: Design,
    /// The engine that made the link.
    pub engine: String,
}

impl Opened {
    /// What to say when another engine made the link.
    pub fn notice(&self) -> Option<String> {
        (self.engine != ENGINE).then(|| {
            format!("This link was made by {}. It is worked out by {ENGINE} here, so figures may differ.", self.engine)
        })
    }
}

/// The token of a design.
pub fn token(design: &Design) -> String {
    let mut document = Map::new();
    document.insert("engine".into(), json!(ENGINE));
    document.extend(design.write());
    let packed = pack(Value::Object(document).to_string().as_bytes());
    let mut bytes = vec![FORM];
    bytes.extend(u16::try_from(packed.len()).unwrap_or(u16::MAX).to_be_bytes());
    bytes.extend(crc32fast::hash(&packed).to_be_bytes());
    bytes.extend(&packed);
    URL_SAFE_NO_PAD.encode(bytes)
}

/// The address of a design's worksheet.
pub fn address(design: &Design) -> String {
    format!("/worksheet?d={}", token(design))
}

/// Opens a token.
///
/// # Errors
/// One fault that says what is wrong with it; or every fault of the document inside.
pub fn open(token: &str) -> Result<Opened, Vec<FieldError>> {
    let document = unpack_token(token)?;
    let engine = document.get("engine").and_then(Value::as_str).unwrap_or("an unknown engine");
    let engine: String = engine.chars().filter(|letter| !letter.is_control()).take(60).collect();
    let document = migrate(document)?;
    Ok(Opened { design: Design::read(&document, Notation::Json)?, engine })
}

/// The token in what somebody pasted: a token alone, or an address with one.
pub fn token_in(text: &str) -> &str {
    let text = text.trim();
    let after = text.split(['?', '&']).find_map(|pair| pair.strip_prefix("d=")).unwrap_or(text);
    after.split(['#', '&']).next().unwrap_or(after)
}

fn refused(code: &str, message: impl Into<String>, token: &str) -> Vec<FieldError> {
    vec![FieldError {
        field: "/d".into(),
        code: code.into(),
        message: message.into(),
        accepted: "the link of a design, complete, as its worksheet gives it".into(),
        got: match token.char_indices().nth(24) {
            Some((cut, _)) => format!("{}…", &token[..cut]),
            None => token.into(),
        },
    }]
}

fn unpack_token(token: &str) -> Result<Value, Vec<FieldError>> {
    if token.len() > MOST_LETTERS {
        let message = format!("The link has {} letters; at most {MOST_LETTERS} are read.", token.len());
        return Err(refused("link-too-long", message, token));
    }
    let damaged = || {
        refused(
            "link-damaged",
            "The link is damaged: at least one of its letters is not as it was made. Copy it again.",
            token,
        )
    };
    let truncated =
        || refused("link-truncated", "The link is cut off: its end is missing. Copy the whole of it.", token);
    // A letter lost at the end leaves a rest that no encoder makes: it is told from a wrong letter by the length inside.
    let whole = token.len() - usize::from(token.len() % 4 == 1);
    let bytes = match URL_SAFE_NO_PAD.decode(&token.as_bytes()[..whole]) {
        Ok(bytes) => bytes,
        Err(_) => match URL_SAFE_NO_PAD.decode(&token.as_bytes()[..token.len() / 4 * 4]) {
            Ok(bytes) => bytes,
            Err(_) => return Err(damaged()),
        },
    };
    let Some((&form, rest)) = bytes.split_first() else { return Err(truncated()) };
    if form != FORM {
        return Err(if form > FORM && form < 32 {
            let message = format!(
                "The link has form {form}; this server reads form {FORM}. A newer server made it: open it there."
            );
            refused("link-of-the-future", message, token)
        } else {
            damaged()
        });
    }
    let (Some(length), Some(sum), Some(packed)) = (rest.get(..2), rest.get(2..6), bytes.get(HEAD..)) else {
        return Err(truncated());
    };
    let number = |bytes: &[u8]| bytes.iter().fold(0u32, |number, byte| number << 8 | u32::from(*byte));
    match packed.len().cmp(&(number(length) as usize)) {
        std::cmp::Ordering::Less => return Err(truncated()),
        std::cmp::Ordering::Greater => return Err(damaged()),
        std::cmp::Ordering::Equal => {}
    }
    if crc32fast::hash(packed) != number(sum) {
        return Err(damaged());
    }
    let text = unpack(packed).ok_or_else(damaged)?;
    serde_json::from_slice(&text).map_err(|_| damaged())
}

/// What older schemas meant in the words of the next: the first entry takes a document of schema 1 to schema 2.
const MIGRATIONS: &[fn(&mut Map<String, Value>)] = &[];

fn migrate(document: Value) -> Result<Value, Vec<FieldError>> {
    migrate_by(document, MIGRATIONS)
}

fn migrate_by(mut document: Value, steps: &[fn(&mut Map<String, Value>)]) -> Result<Value, Vec<FieldError>> {
    let newest = u32::try_from(steps.len()).unwrap_or(0) + 1;
    let Value::Object(map) = &mut document else { return Ok(document) };
    let made = map.get("schema").and_then(Value::as_u64).unwrap_or(1);
    if made > u64::from(newest) {
        return Err(vec![FieldError {
            field: "/schema".into(),
            code: "schema-of-the-future".into(),
            message: format!(
                "The document has schema {made}; this server reads up to {newest}. Open it with a newer server."
            ),
            accepted: format!("1 to {newest}"),
            got: made.to_string(),
        }]);
    }
    for step in steps.iter().skip(usize::try_from(made).unwrap_or(1).saturating_sub(1)) {
        step(map);
    }
    map.insert("schema".into(), json!(newest));
    Ok(document)
}

/// Brings a document of any known schema to the newest one.
///
/// # Errors
/// A schema that is not known yet.
pub fn newest(document: Value) -> Result<Value, Vec<FieldError>> {
    debug_assert_eq!(SCHEMA as usize, MIGRATIONS.len() + 1);
    migrate(document)
}

/// Deflates `text` as what follows the dictionary: the dictionary goes first and is flushed to a byte; what it became is
/// left out, because who reads it has it already.
fn pack(text: &[u8]) -> Vec<u8> {
    let mut deflater = CompressorOxide::default();
    deflater.set_compression_level(CompressionLevel::UberCompression);
    deflater.set_format_and_level(miniz_oxide::DataFormat::Raw, CompressionLevel::UberCompression as u8);
    let mut out = Vec::new();
    let mut feed = |input: &[u8], flush| {
        compress_to_output(&mut deflater, input, flush, |bytes| {
            out.extend_from_slice(bytes);
            true
        });
        out.len()
    };
    let skipped = feed(DICTIONARY, TDEFLFlush::Sync);
    feed(text, TDEFLFlush::Finish);
    out.split_off(skipped)
}

/// Inflates into a buffer of bounded size that begins with the dictionary.
fn unpack(packed: &[u8]) -> Option<Vec<u8>> {
    let mut buffer = vec![0u8; DICTIONARY.len() + MOST_BYTES];
    buffer[..DICTIONARY.len()].copy_from_slice(DICTIONARY);
    let mut inflater = DecompressorOxide::new();
    let flags = TINFL_FLAG_USING_NON_WRAPPING_OUTPUT_BUF;
    let (status, read, written) = decompress(&mut inflater, packed, &mut buffer, DICTIONARY.len(), flags);
    // Bytes after the end of the stream were put there by somebody.
    if status != TINFLStatus::Done || read != packed.len() {
        return None;
    }
    buffer.truncate(DICTIONARY.len() + written);
    Some(buffer.split_off(DICTIONARY.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_token_gives_its_design_back() {
        let design = Design::start();
        let opened = open(&token(&design)).expect("its own token");
        assert_eq!(opened.design, design);
        assert_eq!(opened.engine, ENGINE);
        assert!(opened.notice().is_none());
        assert_eq!(token_in(&format!("https://sense.example{}#current", address(&design))), token(&design));
    }

    fn code(token: &str) -> String {
        open(token).expect_err("refused").pop().expect("a fault").code
    }

    #[test]
    fn a_token_that_is_not_whole_says_so() {
        let good = token(&crate::demo::DEMOS[0].design);
        assert_eq!(code(""), "link-truncated");
        for cut in 1..good.len() {
            assert_eq!(code(&good[..cut]), "link-truncated", "{cut}");
        }
        assert_eq!(code(&format!("{good}AAAA")), "link-damaged");
        assert_eq!(code(&good.replace(&good[30..32], "!!")), "link-damaged");
        assert_eq!(code(&"A".repeat(MOST_LETTERS + 1)), "link-too-long");
        let mut bytes = URL_SAFE_NO_PAD.decode(&good).expect("own letters");
        bytes[0] = 2;
        assert_eq!(code(&URL_SAFE_NO_PAD.encode(&bytes)), "link-of-the-future");
        bytes[0] = FORM;
        bytes[40] ^= 1;
        assert_eq!(code(&URL_SAFE_NO_PAD.encode(&bytes)), "link-damaged");
    }

    fn sealed(packed: &[u8]) -> String {
        let mut bytes = vec![FORM];
        bytes.extend(u16::try_from(packed.len()).expect("short").to_be_bytes());
        bytes.extend(crc32fast::hash(packed).to_be_bytes());
        bytes.extend(packed);
        URL_SAFE_NO_PAD.encode(bytes)
    }

    /// A small token that would inflate to megabytes ends at the bound; one with a right check sum and no document inside
    /// is refused.
    #[test]
    fn what_is_inside_is_bounded_and_checked() {
        assert_eq!(code(&sealed(&pack(&vec![b' '; 5_000_000]))), "link-damaged");
        assert_eq!(code(&sealed(&pack(b"not a document"))), "link-damaged");
        assert_eq!(code(&sealed(&pack(br#"{"schema": 99}"#))), "schema-of-the-future");
        assert_eq!(code(&sealed(&pack(br#"{"schema": 1, "current": 7}"#))), "wrong-type");
        assert_eq!(open(&sealed(&pack(b"[]"))).expect_err("no document")[0].code, "wrong-type");
    }

    /// Every link ever given away rests on these bytes.
    #[test]
    fn the_dictionary_never_changes() {
        assert_eq!((DICTIONARY.len(), crc32fast::hash(DICTIONARY)), (9714, 2_507_965_667));
    }

    #[test]
    fn older_schemas_are_brought_to_the_newest_step_by_step() {
        fn second(map: &mut Map<String, Value>) {
            map.insert("b".into(), json!(map.get("a").cloned()));
        }
        fn third(map: &mut Map<String, Value>) {
            map.shift_remove("a");
        }
        let at = |schema| migrate_by(json!({"schema": schema, "a": 1}), &[second, third]);
        assert_eq!(at(1), Ok(json!({"schema": 3, "b": 1})));
        assert_eq!(at(2), Ok(json!({"schema": 3})));
        assert_eq!(at(3), Ok(json!({"schema": 3, "a": 1})));
        assert!(at(4).is_err());
    }
}
