//! The tree of fields and the tree of values below it, and the one way through both.
//!
//! Pointers are JSON Pointers (RFC 6901) through groups; a list is one value.

use serde_json::{Map, Value};

use super::{Field, Kind};

/// Tells every field that is no group, with its pointer.
pub fn walk<'f>(fields: &'f [Field], tell: &mut dyn FnMut(&str, &'f Field)) {
    below(fields, "", tell);
}

fn below<'f>(fields: &'f [Field], path: &str, tell: &mut dyn FnMut(&str, &'f Field)) {
    for field in fields {
        let pointer = format!("{path}/{}", field.key);
        match field.kind {
            Kind::Group { fields } => below(fields, &pointer, tell),
            _ => tell(&pointer, field),
        }
    }
}

/// The fields that a pointer leads through, and whether it leads on to a name that no field has. What lies below a field
/// that is no group belongs to it.
pub fn path<'f>(fields: &'f [Field], pointer: &str) -> (Vec<&'f Field>, bool) {
    let mut fields = fields;
    let mut path = Vec::new();
    for token in pointer.trim_start_matches('/').split('/') {
        let token = token.replace("~1", "/").replace("~0", "~");
        let Some(field) = fields.iter().find(|field| field.key == token) else { return (path, true) };
        path.push(field);
        match field.kind {
            Kind::Group { fields: inner } => fields = inner,
            _ => break,
        }
    }
    (path, false)
}

/// The row of a list that a pointer leads to or into, counted from 0.
pub fn row(fields: &[Field], pointer: &str) -> Option<usize> {
    let (path, _) = path(fields, pointer);
    let in_a_list = path.last().is_some_and(|field| matches!(field.kind, Kind::List { .. }));
    let below = pointer.trim_start_matches('/').split('/').nth(path.len())?;
    below.parse().ok().filter(|_| in_a_list)
}

/// What a reader calls the field at a pointer: its label, and in brackets the group that it stands in.
pub fn name(fields: &[Field], pointer: &str) -> Option<String> {
    declared(fields, pointer)?;
    let (path, _) = path(fields, pointer);
    let (last, groups) = path.split_last()?;
    let group = groups.last().map_or_else(String::new, |group| format!(" ({})", group.label));
    Some(format!("{}{group}", last.label))
}

/// The declaration of the field at a pointer.
pub fn declared<'f>(fields: &'f [Field], pointer: &str) -> Option<&'f Field> {
    let (path, lost) = path(fields, pointer);
    path.last().copied().filter(|_| !lost && path.len() == pointer.trim_start_matches('/').split('/').count())
}

/// The cell of a list that a pointer leads to: the list, the row, and the declaration of the column.
pub fn cell<'p>(fields: &'static [Field], pointer: &'p str) -> Option<(&'p str, &'p str, &'static Field)> {
    let (rest, key) = pointer.rsplit_once('/')?;
    let (list, row) = rest.rsplit_once('/')?;
    let Kind::List { fields, .. } = declared(fields, list)?.kind else { return None };
    Some((list, row, fields.iter().find(|field| field.key == key)?))
}

/// The value at a pointer.
pub fn at<'v>(map: &'v Map<String, Value>, pointer: &str) -> Option<&'v Value> {
    let mut tokens = pointer.trim_start_matches('/').split('/');
    let first = map.get(tokens.next()?)?;
    tokens.try_fold(first, |node, token| node.get(token))
}

/// Puts a value at a pointer through groups, making them on the way.
pub fn put(map: &mut Map<String, Value>, pointer: &str, value: Value) {
    let mut node = map;
    let pointer = pointer.trim_start_matches('/');
    let (groups, last) = pointer.rsplit_once('/').map_or(("", pointer), |(groups, last)| (groups, last));
    for token in groups.split('/').filter(|token| !token.is_empty()) {
        match node.entry(token).or_insert_with(|| Value::Object(Map::new())) {
            Value::Object(next) => node = next,
            _ => return,
        }
    }
    node.insert(last.into(), value);
}

/// Takes the value at a pointer out, and the groups that are empty then.
pub fn take(map: &mut Map<String, Value>, pointer: &str) -> Option<Value> {
    let pointer = pointer.trim_start_matches('/');
    match pointer.split_once('/') {
        None => map.shift_remove(pointer),
        Some((first, rest)) => {
            let Value::Object(inner) = map.get_mut(first)? else { return None };
            let taken = take(inner, rest);
            if inner.is_empty() {
                map.shift_remove(first);
            }
            taken
        }
    }
}

/// A tree over another one: groups are joined, every other value replaces what stands below it.
pub fn over(below: &Map<String, Value>, above: &Map<String, Value>) -> Map<String, Value> {
    let mut joined = below.clone();
    for (key, value) in above {
        let value = match (joined.get(key), value) {
            (Some(Value::Object(below)), Value::Object(above)) => Value::Object(over(below, above)),
            _ => value.clone(),
        };
        joined.insert(key.clone(), value);
    }
    joined
}

/// The values of `from` at the places that `places` holds.
pub fn pick(fields: &[Field], from: &Map<String, Value>, places: &Map<String, Value>) -> Map<String, Value> {
    let mut picked = Map::new();
    walk(fields, &mut |pointer, _| {
        if let (Some(value), true) = (at(from, pointer), at(places, pointer).is_some()) {
            put(&mut picked, pointer, value.clone());
        }
    });
    picked
}

/// The values of `now` that differ from those of `start`.
pub fn differing(fields: &[Field], now: &Map<String, Value>, start: &Map<String, Value>) -> Map<String, Value> {
    let mut picked = Map::new();
    walk(fields, &mut |pointer, _| {
        if let Some(value) = at(now, pointer).filter(|value| at(start, pointer) != Some(value)) {
            put(&mut picked, pointer, value.clone());
        }
    });
    picked
}
