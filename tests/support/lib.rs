//! Helpers that the test modules share: walking declared fields, building inputs from them, looking into answers.

pub mod expression;

use percent_encoding::percent_decode_str;
use sensewright_core::design::Design;
use sensewright_core::field::{Field, Kind, Start};
use serde_json::{Map, Value, json};

/// A declared leaf with its JSON Pointer.
#[derive(Clone, Debug)]
pub struct Leaf {
    /// Where it stands.
    pub pointer: String,
    /// Its declaration.
    pub field: &'static Field,
}

/// Every leaf below `fields`; a list is entered at its first row.
pub fn leaves(fields: &'static [Field], at: &str) -> Vec<Leaf> {
    fields
        .iter()
        .flat_map(|field| {
            let pointer = format!("{at}/{}", field.key);
            match field.kind {
                Kind::Group { fields } => leaves(fields, &pointer),
                Kind::List { fields, .. } => leaves(fields, &format!("{pointer}/0")),
                _ => vec![Leaf { pointer, field }],
            }
        })
        .collect()
}

/// Puts a value at a pointer, making the objects on the way; rows of a list must be there.
///
/// # Panics
/// When the pointer leads through something that is neither a group nor a row: the test is wrong then.
pub fn put(root: &mut Value, pointer: &str, value: Value) {
    let mut node = root;
    let tokens: Vec<&str> = pointer.trim_start_matches('/').split('/').collect();
    for token in &tokens[..tokens.len() - 1] {
        node = match node {
            Value::Array(items) => &mut items[token.parse::<usize>().expect("a row number")],
            Value::Object(map) => map.entry(*token).or_insert_with(|| Value::Object(Map::new())),
            other => panic!("{other} has no {token} on the way to {pointer}"),
        };
    }
    node.as_object_mut().expect("a group").insert(tokens[tokens.len() - 1].into(), value);
}

/// The same design with the fewest trials that are accepted: for what its pages and files say, not for its numbers.
///
/// # Panics
/// When the design is not accepted with them: the test is wrong then.
pub fn with_few_trials(design: &Design) -> Design {
    let mut document = Value::Object(design.document());
    for part in &design.parts {
        let input = Value::Object(part.input.clone());
        for place in ["/experiment/trials", "/trials", "/two_measurement/trials"] {
            if input.pointer(place).is_some() {
                put(&mut document, &format!("{}{place}", part.pointer()), json!(1_000));
            }
        }
    }
    Design::read(&document).expect("a design")
}

/// Every number of a JSON value.
pub fn numbers(value: &Value) -> Vec<f64> {
    match value {
        Value::Number(number) => number.as_f64().into_iter().collect(),
        Value::Array(items) => items.iter().flat_map(numbers).collect(),
        Value::Object(map) => map.values().flat_map(numbers).collect(),
        _ => Vec::new(),
    }
}

/// Whether a null or a negative zero is anywhere in it.
pub fn is_clean(value: &Value) -> bool {
    match value {
        Value::Null => false,
        Value::Number(number) => {
            number.as_f64().is_some_and(|value| value.is_finite() && !(value == 0.0 && value.is_sign_negative()))
        }
        Value::Array(items) => items.iter().all(is_clean),
        Value::Object(map) => map.values().all(is_clean),
        _ => true,
    }
}

/// The keys and values of an address, without its version.
///
/// # Panics
/// When it has no query, or one that is not coded as forms write it.
pub fn query(link: &str) -> Vec<(String, String)> {
    let decode = |text: &str| {
        let text = text.replace('+', " ");
        percent_decode_str(&text).decode_utf8().expect("UTF-8").into_owned()
    };
    let query = link.split_once('?').expect("a query").1;
    let pairs = query.split('&').filter_map(|pair| pair.split_once('=')).filter(|(key, _)| *key != "v");
    pairs.map(|(key, value)| (key.to_owned(), decode(value))).collect()
}

/// A small generator: splitmix64, for inputs that only have to vary.
#[derive(Clone, Debug)]
pub struct Dice(pub u64);

impl Dice {
    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number from 0 up to 1.
    pub fn share(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// A number from 0 to `most`.
    pub fn up_to(&mut self, most: u64) -> u64 {
        self.bits() % (most + 1)
    }

    /// A value of a range: often its ends, often small, otherwise even on a linear or logarithmic scale.
    pub fn within(&mut self, min: f64, max: f64) -> f64 {
        let value = match self.up_to(9) {
            0 => min,
            1 => max,
            2 if min <= 0.0 && max >= 0.0 => 0.0,
            3..=6 if max > 0.0 => {
                let low = min.max(max * 1e-9).max(f64::MIN_POSITIVE);
                low * (max / low).powf(self.share())
            }
            _ => min + (max - min) * self.share(),
        };
        value.clamp(min, max)
    }

    /// The example with one to eight of its fields moved inside their ranges: most of these are no contradiction.
    pub fn vary(&mut self, example: &Value, fields: &'static [Field]) -> Value {
        let mut input = example.clone();
        let leaves = leaves(fields, "");
        for _ in 0..=self.up_to(7) {
            let leaf = &leaves[usize::try_from(self.up_to(leaves.len() as u64 - 1)).unwrap_or(0)];
            let random = self.input(std::slice::from_ref(leaf.field));
            let row_is_there = leaf.pointer.split_once("/0/").is_none_or(|(list, _)| {
                input.pointer(list).and_then(Value::as_array).is_some_and(|rows| !rows.is_empty())
            });
            if let Some(value) = random.get(leaf.field.key).filter(|_| row_is_there) {
                put(&mut input, &leaf.pointer, value.clone());
            }
        }
        input
    }

    /// An input in which every field is in range.
    pub fn input(&mut self, fields: &[Field]) -> Value {
        let mut map = Map::new();
        for field in fields {
            let value = match field.kind {
                Kind::Number { min, max, start, .. } => match start {
                    Start::Absent | Start::Shown(_) if self.up_to(1) == 0 => continue,
                    Start::Default(_) if self.up_to(2) == 0 => continue,
                    _ => json!(self.within(min, max)),
                },
                // The number of trials sets the time a case takes, so the range is tried at its lower end.
                Kind::Whole { min, max, .. } => json!(u64::from(min) + self.up_to(u64::from(max - min).min(3000))),
                Kind::YesNo { .. } => json!(self.up_to(1) == 0),
                Kind::Choice { options, .. } => {
                    let last = options.len() as u64 - 1;
                    json!(options[usize::try_from(self.up_to(last)).unwrap_or(0)].0)
                }
                Kind::Text { .. } => json!("name"),
                Kind::Numbers { min, max, most, .. } => {
                    let count = 1 + self.up_to(most.min(4) as u64 - 1);
                    json!((0..count).map(|_| self.within(min, max)).collect::<Vec<_>>())
                }
                Kind::Group { fields } => self.input(fields),
                Kind::List { fields, least, most, .. } => {
                    let count = least as u64 + self.up_to((most - least).min(5) as u64);
                    json!((0..count).map(|_| self.input(fields)).collect::<Vec<_>>())
                }
            };
            map.insert(field.key.into(), value);
        }
        Value::Object(map)
    }
}
