//! Between an input and the pairs of an address or a form.

use serde_json::{Map, Value};

use super::{Field, FieldError, tree};

/// Deepest nesting of a form key, such as `current.shunt.resistance_ohm`.
const KEY_DEPTH: usize = 6;
/// Most fields a form may send.
const MOST_PAIRS: usize = 2000;

fn accepted() -> String {
    format!("each field once, at most {KEY_DEPTH} names deep and {MOST_PAIRS} fields in all")
}

/// Counts the pairs of a form, before they are taken apart.
///
/// # Errors
/// There are too many.
pub fn few_enough(pairs: usize) -> Result<(), FieldError> {
    if pairs <= MOST_PAIRS {
        return Ok(());
    }
    Err(FieldError {
        field: "/".into(),
        code: "too-many".into(),
        message: format!("{pairs} fields were sent."),
        accepted: accepted(),
        got: pairs.to_string(),
    })
}

/// Turns the pairs of an address or a form (`shunt.resistance_ohm=50u`) into a tree of text.
///
/// # Errors
/// A key that is given twice, nested too deeply, or both a value and a group.
pub fn form_tree(pairs: &[(String, String)]) -> Result<Value, Vec<FieldError>> {
    let mut faults = Vec::new();
    let mut root = Map::new();
    let fault = |key: &str, code: &str, message: String| FieldError {
        field: format!("/{}", key.chars().take(80).collect::<String>().replace('.', "/")),
        code: code.into(),
        message,
        accepted: accepted(),
        got: key.chars().take(80).collect(),
    };
    few_enough(pairs.len()).map_err(|fault| vec![fault])?;
    'pairs: for (key, value) in pairs {
        let names: Vec<&str> = key.split('.').collect();
        let Some((last, groups)) = names.split_last().filter(|_| names.len() <= KEY_DEPTH) else {
            faults.push(fault(
                key,
                "too-deep",
                format!("The key \u{201c}{}\u{201d} is nested too deeply.", key.chars().take(80).collect::<String>()),
            ));
            continue;
        };
        let mut node = &mut root;
        for name in groups {
            match node.entry(*name).or_insert_with(|| Value::Object(Map::new())) {
                Value::Object(next) => node = next,
                _ => {
                    faults.push(fault(key, "repeated", format!("{name} is given as a value and as a group.")));
                    continue 'pairs;
                }
            }
        }
        if node.contains_key(*last) {
            faults.push(fault(key, "repeated", format!("{last} is given more than once.")));
        } else {
            node.insert((*last).into(), Value::String(value.clone()));
        }
    }
    if faults.is_empty() { Ok(Value::Object(root)) } else { Err(faults) }
}

/// The pairs of the shortest address: only what differs from the starting values.
pub fn address_pairs(
    fields: &[Field],
    value: &Map<String, Value>,
    start: &Map<String, Value>,
) -> Vec<(String, String)> {
    let mut pairs = Vec::new();
    tree::walk(fields, &mut |pointer, field| {
        let now = tree::at(value, pointer);
        if now != tree::at(start, pointer) {
            pairs.push((pointer.trim_start_matches('/').replace('/', "."), field.echo(now, true)));
        }
    });
    pairs
}
