//! # The link of a design
//!
//! A design travels in its address: what was typed, and the set of start values that it counts from, compressed and
//! written with the letters of an address. A set never changes, so a link means the same for ever; the engine and the schema
//! that made it are inside, so an old link opens for ever and says when its figures may have moved.
//!
//! ```text
//! Token      base64url (RFC 4648 section 5, no padding) of: form (1 byte), length of the rest (big endian, 4 bytes; 2 in
//!            form 1), CRC-32 of the rest (4 bytes, big endian), the rest
//! Rest       raw deflate (RFC 1951) of the JSON document, with a preset dictionary of the form that never changes
//! Bounds     a design whose address would be too long has a token, but no address; a document may have 2 MiB, and no more
//!            memory is taken for it
//! Errors     damaged (the check sum says so), truncated, too long, too large, of a later version: each in its own words
//! Source     RFC 1951, RFC 4648; CRC-32 as in RFC 1952 section 8
//! ```
//!
//! The dictionary is a document with every value typed as it starts: what a design types costs little more than its digits.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use miniz_oxide::deflate::CompressionLevel;
use miniz_oxide::deflate::core::{CompressorOxide, TDEFLFlush, compress_to_output};
use miniz_oxide::inflate::TINFLStatus;
use miniz_oxide::inflate::core::inflate_flags::TINFL_FLAG_USING_NON_WRAPPING_OUTPUT_BUF;
use miniz_oxide::inflate::core::{DecompressorOxide, decompress};
use serde_json::{Map, Value, json};

use super::{Design, Part};
use crate::address;
use crate::calculation::ENGINE;
use crate::field::FieldError;
use crate::report::{Finding, Severity};

/// The path of a design that has no address: its token travels in a form.
pub const CARRIED: &str = "/worksheet/-/";
/// Longest token that is read: the largest document that nothing makes smaller.
pub const MOST_LETTERS: usize = (MOST_BYTES + MOST_BYTES / 1_024).div_ceil(3) * 4;
/// Largest document, in a token, a file or a body: the power of two above what the schema allows with every part, list
/// and text as large as they may be and every number with all digits, which is more than half of it.
pub const MOST_BYTES: usize = 2 * 1_024 * 1_024;
/// Deflate makes no text smaller than by this.
const MOST_RATIO: usize = 1_032;
/// A form of the token.
struct Form {
    number: u8,
    /// Bytes of the length.
    length: usize,
    /// The preset dictionary. It must never change: every link of this form rests on it.
    dictionary: &'static [u8],
}

/// Every form that was ever given away; the last one is written.
static FORMS: [Form; 4] = [
    Form { number: 1, length: 2, dictionary: include_bytes!("dictionary-1.json") },
    Form { number: 2, length: 4, dictionary: include_bytes!("dictionary-2.json") },
    Form { number: 3, length: 4, dictionary: include_bytes!("dictionary-3.json") },
    Form { number: 4, length: 4, dictionary: include_bytes!("dictionary-4.json") },
];
/// Bytes of the check sum.
const SUM: usize = 4;

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
    document.extend(design.document());
    let [.., form] = &FORMS;
    sealed(form, &pack(Value::Object(document).to_string().as_bytes(), form.dictionary))
}

/// The letters of what is packed.
fn sealed(form: &Form, packed: &[u8]) -> String {
    let mut bytes = vec![form.number];
    // Four bytes of the form that is written hold every length that memory does.
    bytes.extend(&packed.len().to_be_bytes()[size_of::<usize>() - form.length..]);
    bytes.extend(crc32fast::hash(packed).to_be_bytes());
    bytes.extend(packed);
    URL_SAFE_NO_PAD.encode(bytes)
}

/// The address of a design's worksheet; nothing when it would be too long.
pub fn address(design: &Design) -> Option<String> {
    address_of(&token(design))
}

/// The address that a token makes, with or without where the visit began.
pub fn address_of(token: &str) -> Option<String> {
    address::short_enough(format!("/worksheet/{token}/"))
}

/// The address of a comparison; nothing when it would be too long.
pub fn comparison<'d>(designs: impl Iterator<Item = &'d Design>) -> Option<String> {
    let tokens: Vec<String> = designs.map(|design| format!("d={}", token(design))).collect();
    address::short_enough(format!("/compare?{}", tokens.join("&")))
}

/// What to say of a design that has no address: its length, and what takes most of it.
pub fn without_address(design: &Design) -> Option<Finding> {
    let token = token(design);
    if address_of(&token).is_some() {
        return None;
    }
    let size = |part: &Part| Value::Object(part.typed.clone()).to_string().len();
    let mut parts: Vec<(usize, String)> = design.parts.iter().map(|part| (size(part), part.title())).collect();
    parts.sort_by_key(|(bytes, _)| std::cmp::Reverse(*bytes));
    let dearest: Vec<String> =
        parts.iter().take(3).map(|(bytes, title)| format!("{title} ({} kB)", bytes.div_ceil(1_000))).collect();
    let letters = address::letters(token.len());
    let message = format!(
        "This design has no address: it would have about {letters} letters, and {most} are safe on the way. Hand it on as a file. Most is taken by: {}.",
        dearest.join(", "),
        most = address::MOST_LETTERS,
    );
    Some(
        Finding::new(Severity::Note, "design.no-address", message)
            .against(letters as f64, address::MOST_LETTERS as f64),
    )
}

/// Longest trace of where a visit began.
const MOST_LETTERS_OF_A_BEGINNING: usize = 1_500;

/// Where a visit began, in letters that only the design of now can read: deflated behind its own document. Nothing where
/// the two have too little in common.
pub fn beginning(now: &Design, from: &Design) -> Option<String> {
    let text = Value::Object(from.document()).to_string();
    let letters = URL_SAFE_NO_PAD.encode(pack(text.as_bytes(), &dictionary_of(now)));
    (letters.len() <= MOST_LETTERS_OF_A_BEGINNING).then_some(letters)
}

/// The design that a visit began with; nothing where the letters are not of this design.
pub fn begun(now: &Design, letters: &str) -> Option<Design> {
    if letters.len() > MOST_LETTERS_OF_A_BEGINNING {
        return None;
    }
    let text = unpack(&URL_SAFE_NO_PAD.decode(letters).ok()?, &dictionary_of(now))?;
    Design::of_link(&serde_json::from_slice(&text).ok()?).ok()
}

/// What the design of now says, as far as deflate looks back.
fn dictionary_of(now: &Design) -> Vec<u8> {
    let mut text = Value::Object(now.document()).to_string().into_bytes();
    text.truncate(32_000);
    text
}

/// Opens a token.
///
/// # Errors
/// One fault that says what is wrong with it; or every fault of the document inside.
pub fn open(token: &str) -> Result<Opened, Vec<FieldError>> {
    let document = unpack_token(token)?;
    let engine = document.get("engine").and_then(Value::as_str).unwrap_or("an unknown engine");
    let engine: String = engine.chars().filter(|letter| !letter.is_control()).take(60).collect();
    Ok(Opened { design: Design::of_link(&document)?, engine })
}

/// The token in what somebody pasted: a token alone, or an address with one.
pub fn token_in(text: &str) -> &str {
    let text = text.trim();
    let in_path = text.split_once("/worksheet/").map(|(_, rest)| rest);
    let in_query = || text.split(['?', '&']).find_map(|pair| pair.strip_prefix("d="));
    let after = in_path.or_else(in_query).unwrap_or(text);
    after.split(['#', '&', '/', '?', '~']).next().unwrap_or(after)
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
        let foreign = token.bytes().any(|byte| !(byte.is_ascii_alphanumeric() || b"-_".contains(&byte)));
        let message = if foreign {
            "This is no link of a design, or some of its letters are not as they were made. Copy it again."
        } else {
            "The link is damaged: at least one of its letters is not as it was made. Copy it again."
        };
        refused("link-damaged", message, token)
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
    let Some((&number, rest)) = bytes.split_first() else { return Err(truncated()) };
    let [.., newest] = &FORMS;
    let Some(form) = FORMS.iter().find(|form| form.number == number) else {
        return Err(if number > newest.number && number < 32 {
            let message = format!(
                "The link has form {number}; this server reads up to form {}. A newer server made it: open it there.",
                newest.number
            );
            refused("link-of-the-future", message, token)
        } else {
            damaged()
        });
    };
    let Some((length, rest)) = rest.split_at_checked(form.length) else { return Err(truncated()) };
    let Some((sum, packed)) = rest.split_at_checked(SUM) else { return Err(truncated()) };
    let number = |bytes: &[u8]| bytes.iter().fold(0u64, |number, byte| number << 8 | u64::from(*byte));
    match (packed.len() as u64).cmp(&number(length)) {
        std::cmp::Ordering::Less => return Err(truncated()),
        std::cmp::Ordering::Greater => return Err(damaged()),
        std::cmp::Ordering::Equal => {}
    }
    if number(sum) != u64::from(crc32fast::hash(packed)) {
        return Err(damaged());
    }
    // From here on the letters are as they were made: what is wrong is what they were made of.
    let text = unpack(packed, form.dictionary).ok_or_else(|| {
        let message =
            format!("What is in the link is larger than {MOST_BYTES} bytes, or was not packed by this program.");
        refused("link-too-large", message, token)
    })?;
    serde_json::from_slice(&text)
        .map_err(|_| refused("link-without-document", "There is no document in the link.", token))
}

/// Deflates `text` as what follows the dictionary: the dictionary goes first and is flushed to a byte; what it became is
/// left out, because who reads it has it already.
fn pack(text: &[u8], dictionary: &[u8]) -> Vec<u8> {
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
    let skipped = feed(dictionary, TDEFLFlush::Sync);
    feed(text, TDEFLFlush::Finish);
    out.split_off(skipped)
}

/// Inflates into a buffer of bounded size that begins with the dictionary.
fn unpack(packed: &[u8], dictionary: &[u8]) -> Option<Vec<u8>> {
    let most = MOST_BYTES.min(packed.len().saturating_mul(MOST_RATIO));
    let mut buffer = vec![0u8; dictionary.len() + most];
    buffer[..dictionary.len()].copy_from_slice(dictionary);
    let mut inflater = DecompressorOxide::new();
    let flags = TINFL_FLAG_USING_NON_WRAPPING_OUTPUT_BUF;
    let (status, read, written) = decompress(&mut inflater, packed, &mut buffer, dictionary.len(), flags);
    // Bytes after the end of the stream were put there by somebody.
    if status != TINFLStatus::Done || read != packed.len() {
        return None;
    }
    buffer.truncate(dictionary.len() + written);
    Some(buffer.split_off(dictionary.len()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::HEAD_FIELDS;
    use crate::design::section::{self, SECTIONS};
    use crate::field::{Field, Kind};

    #[test]
    fn a_token_gives_its_design_back() {
        let design = Design::start();
        let opened = open(&token(&design)).expect("its own token");
        assert_eq!(opened.design, design);
        assert_eq!(opened.engine, ENGINE);
        assert!(opened.notice().is_none());
        let token = token(&design);
        for pasted in ["worksheet/{}/", "worksheet/{}~abc/current.1#x", "worksheet?d={}#current", "report?v=1&d={}"] {
            let address = format!("https://sense.example/{}", pasted.replace("{}", &token));
            assert_eq!(token_in(&address), token, "{pasted}");
        }
        assert_eq!(token_in(&token), token);
    }

    #[test]
    fn where_a_visit_began_is_read_by_its_design_alone() {
        let now = &crate::demo::DEMOS[0].design;
        let mut from = now.clone();
        from.parts[0].name = "as it was".into();
        let letters = beginning(now, &from).expect("little differs");
        assert!(letters.len() < 200, "{letters}");
        assert_eq!(begun(now, &letters).as_ref(), Some(&from));
        assert_eq!(begun(&crate::demo::DEMOS[1].design, &letters), None);
        assert_eq!(begun(now, "AAAA"), None);
        assert_eq!(begun(now, &"A".repeat(5000)), None);
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
        bytes[0] = 5;
        assert_eq!(code(&URL_SAFE_NO_PAD.encode(&bytes)), "link-of-the-future");
        bytes[0] = 4;
        bytes[40] ^= 1;
        assert_eq!(code(&URL_SAFE_NO_PAD.encode(&bytes)), "link-damaged");
    }

    /// A small token that would inflate to megabytes ends at the bound; one with a right check sum and no document inside
    /// is refused.
    #[test]
    fn what_is_inside_is_bounded_and_checked() {
        for form in &FORMS {
            let of = |text: &[u8]| sealed(form, &pack(text, form.dictionary));
            assert_eq!(code(&of(&vec![b' '; 5_000_000])), "link-too-large");
            assert_eq!(code(&of(b"not a document")), "link-without-document");
            assert_eq!(code(&of(br#"{"schema": 99}"#)), "schema-of-the-future");
            assert_eq!(code(&of(br#"{"schema": 2, "start_values": 99}"#)), "start-values-of-the-future");
            assert_eq!(code(&of(br#"{"schema": 2, "current": 7}"#)), "wrong-type");
            assert_eq!(open(&of(b"[]")).expect_err("no document")[0].code, "wrong-type");
        }
    }

    /// The most letters of a group in JSON: every list and text as long as it may be, every number with all digits.
    fn largest(fields: &[Field]) -> usize {
        let of = |field: &Field| match field.kind {
            Kind::Number { .. } => 24,
            Kind::Whole { .. } => 10,
            Kind::YesNo { .. } => 5,
            Kind::Choice { options, .. } => options.iter().map(|(word, _)| word.len() + 2).max().unwrap_or(0),
            Kind::Text { most, .. } => 4 * most + 2,
            Kind::Numbers { most, .. } => 25 * most + 2,
            Kind::Group { fields } => largest(fields),
            Kind::List { fields, most, .. } => (largest(fields) + 1) * most + 2,
        };
        2 + fields.iter().map(|field| field.key.len() + 4 + of(field)).sum::<usize>()
    }

    #[test]
    fn the_largest_design_has_room() {
        let part = |kind: &section::Kind| largest(kind.entry.fields) + 4 * 60 + 200;
        let sections = SECTIONS
            .iter()
            .map(|section| section.key.len() + 5 + section.most * section.kinds.iter().map(part).max().unwrap_or(0));
        let all = 300 + largest(HEAD_FIELDS) + sections.sum::<usize>();
        assert!((MOST_BYTES / 4..MOST_BYTES).contains(&all), "{all}");
    }

    /// Every link ever given away rests on these bytes.
    #[test]
    fn the_dictionaries_never_change() {
        let sums = FORMS.each_ref().map(|form| (form.dictionary.len(), crc32fast::hash(form.dictionary)));
        assert_eq!(
            sums,
            [(9714, 2_507_965_667), (10_318, 2_153_663_375), (14_234, 131_839_660), (23_777, 599_013_371)]
        );
    }
}
