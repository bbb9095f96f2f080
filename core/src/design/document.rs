//! # The document
//!
//! A document of schema 2 holds what was typed, and the set of start values and rules that it counts from; a part has a
//! number of its own, by which others name it. A document of schema 1 is complete, and its parts are named: it opens as set
//! 1, where what equals its start counts as not typed, so that its figures stay.

use serde_json::{Map, Value, json};

use super::section::{Kind, Rests, SECTIONS, Section};
use super::{Design, Head, NAME_LETTERS, Part, SCHEMA, starts, strip};
use crate::field::tree::{at, differing, over, pick, put};
use crate::field::{self, FieldError, Group, Notation};

/// The longest name of an engine.
pub(super) const ENGINE_LETTERS: usize = 200;

/// What a part says it rests on, before it is known which part that is.
#[derive(Clone)]
enum Tie {
    None,
    Name(String),
    Number(u32),
}

impl Tie {
    const fn is_tied(&self) -> bool {
        !matches!(self, Self::None)
    }
}

/// What a document says of itself.
#[derive(Clone, Copy)]
struct Envelope {
    schema: u32,
    starts: u32,
}

impl Design {
    /// Takes a document as it is written, whatever its marks name.
    ///
    /// # Errors
    /// Every fault, each at its place in the document.
    pub(super) fn taken(document: &Value) -> Result<Self, Vec<FieldError>> {
        let Value::Object(own) = document else {
            return Err(field::read::<Head>(Some(document), Notation::Json).err().unwrap_or_default());
        };
        let mut own = own.clone();
        // Which engine made a document is said in answers; it is no part of the design.
        let made_by = own.shift_remove("engine").and_then(|given| engine_fault(&given));
        let envelope = envelope(&mut own)?;
        let take = |section: &'static Section| own.shift_remove(section.key).map(|list| (section, list));
        let lists: Vec<(&'static Section, Value)> = SECTIONS.iter().filter_map(take).collect();
        let (read, mut faults) = match head(&own, envelope) {
            Ok(head) => (Some(head), Vec::new()),
            Err(faults) => (None, with_sections(faults)),
        };
        faults.extend(made_by);
        let complete = read.is_some();
        let (head, typed) = read.unwrap_or_else(|| (field::start::<Head>(), Map::new()));
        let mut design = Self { starts: envelope.starts, head, typed, parts: Vec::new() };
        let mut ties = Vec::new();
        for (section, list) in lists {
            design.read_section(section, &list, envelope, &mut ties, &mut faults);
        }
        if complete {
            faults.extend(design.tie(&ties, &faults));
        }
        faults.extend(design.described_twice());
        if faults.is_empty() { Ok(design) } else { Err(faults) }
    }

    /// The complete document: every value that counts, typed or not.
    pub fn write(&self) -> Map<String, Value> {
        self.written(self.head_values(), |part| (part.input.clone(), self.names(part)))
    }

    /// A part of the complete document.
    pub fn write_part(&self, part: &Part) -> Value {
        part.written(part.input.clone(), self.names(part))
    }

    /// The document: what was typed.
    pub fn document(&self) -> Map<String, Value> {
        self.written(self.typed.clone(), |part| {
            (part.typed.clone(), part.rests_on.iter().map(|one| json!(one)).collect())
        })
    }

    fn written(
        &self,
        head: Map<String, Value>,
        part: impl Fn(&Part) -> (Map<String, Value>, Vec<Value>),
    ) -> Map<String, Value> {
        let mut document = Map::new();
        document.insert("schema".into(), json!(SCHEMA));
        document.insert("start_values".into(), json!(self.starts));
        document.extend(head);
        for section in SECTIONS {
            let list: Vec<Value> = self
                .of(section.key)
                .map(|one| {
                    let (values, ties) = part(one);
                    one.written(values, ties)
                })
                .collect();
            if !list.is_empty() {
                document.insert(section.key.into(), Value::Array(list));
            }
        }
        document
    }

    /// What a part rests on by name, by number where several parts have that name.
    fn names(&self, part: &Part) -> Vec<Value> {
        let name = |(rests, number): (&Rests, &Option<u32>)| {
            let Some(source) = number.and_then(|number| self.source(rests, number)) else { return Value::Null };
            let title = source.title();
            let alone = self.of(rests.section).filter(|other| other.title() == title).count() == 1;
            if alone { json!(title) } else { json!(number) }
        };
        part.kind.rests.iter().zip(&part.rests_on).map(name).collect()
    }

    fn read_section(
        &mut self,
        section: &'static Section,
        list: &Value,
        envelope: Envelope,
        ties: &mut Vec<Vec<Tie>>,
        faults: &mut Vec<FieldError>,
    ) {
        let place = format!("/{}", section.key);
        let Value::Array(items) = list else {
            let message = format!("{} must be a list of parts.", section.title);
            faults.push(fault(place, "wrong-type", message, "a list".into(), list));
            return;
        };
        if items.len() > section.most {
            let (most, given) = (section.most, items.len());
            let message = format!("{} takes at most {most} parts; {given} were given.", section.title);
            faults.push(fault(place, "too-many", message, format!("at most {most} parts"), &json!(given)));
            return;
        }
        for (index, item) in items.iter().enumerate() {
            let next = 1 + self.of(section.key).map(|part| part.number).max().unwrap_or(0);
            let place = Place { section, index, next, pointer: format!("{place}/{index}") };
            if let Some((part, tied)) = self.read_part(&place, item, envelope, faults) {
                if self.of(section.key).any(|other| other.number == part.number) {
                    let message = format!("Two parts of {} have the number {}.", section.title, part.number);
                    let accepted = "a number of its own, or none".into();
                    faults.push(fault(
                        format!("{}/number", place.pointer),
                        "repeated",
                        message,
                        accepted,
                        &json!(part.number),
                    ));
                }
                self.parts.push(part);
                ties.push(tied);
            }
        }
    }

    fn read_part(
        &self,
        place: &Place,
        item: &Value,
        envelope: Envelope,
        faults: &mut Vec<FieldError>,
    ) -> Option<(Part, Vec<Tie>)> {
        let Place { section, index, next, pointer: ref here } = *place;
        let Value::Object(own) = item else {
            let message = format!("{} {} must be a group of fields.", section.title, index + 1);
            faults.push(fault(here.clone(), "wrong-type", message, "a JSON object".into(), item));
            return None;
        };
        let mut own = own.clone();
        let before = faults.len();
        let name = word(&mut own, here, "name", faults);
        let number = if envelope.schema > 1 { number_of(&mut own, here, next, faults) } else { next };
        let kind = kind_of(section, &mut own, here, faults)?;
        let ties: Vec<Tie> =
            kind.rests.iter().map(|rests| tie_of(&mut own, here, rests.key(), envelope, faults)).collect();
        if kind.rests.iter().all(|rests| rests.key() != "rests_on") && own.contains_key("rests_on") {
            let named = word(&mut own, here, "rests_on", faults);
            if !named.is_empty() {
                let message = "This part takes nothing from another one.".to_owned();
                faults.push(fault(
                    format!("{here}/rests_on"),
                    "unknown-field",
                    message,
                    "nothing".into(),
                    &json!(named),
                ));
            }
        }
        let bound = kind.bound.iter().map(|bound| (bound.to, None));
        let tied = kind.rests.iter().zip(&ties).filter(|(_, tie)| tie.is_tied());
        let carried = tied.flat_map(|(rests, tie)| rests.carried.iter().map(move |one| (one.to, Some(tie))));
        let handed: Vec<(&'static str, Option<&Tie>)> = bound.chain(carried).collect();
        let mut part = Part {
            section,
            index,
            number,
            kind,
            name,
            rests_on: vec![None; ties.len()],
            typed: Map::new(),
            input: Map::new(),
        };
        for (pointer, tie) in &handed {
            if let Some(given) = at(&own, pointer) {
                let from = match tie {
                    Some(Tie::Name(name)) => format!("the part {name}"),
                    Some(Tie::Number(number)) => format!("the part of number {number}"),
                    _ => self.origin(&part, pointer),
                };
                let message = format!("This value is handed down from {from}; leave it out here.");
                faults.push(fault(format!("{here}{pointer}"), "handed-down", message, "nothing".into(), given));
            }
        }
        // What is handed down is not known yet: its starting value stands in, and is taken out again.
        let entry = kind.entry;
        let stand_ins = || handed.iter().map(|(pointer, _)| *pointer);
        let start = if envelope.schema > 1 {
            starts::complete(envelope.starts, kind, &self.head.pack, &own)
        } else {
            let mut own = own.clone();
            let start = entry.start();
            for pointer in stand_ins() {
                match at(start, pointer) {
                    Some(value) => put(&mut own, pointer, value.clone()),
                    None => strip(&mut own, std::iter::once(pointer)),
                }
            }
            own
        };
        match entry.complete(Some(&Value::Object(start)), Notation::Json) {
            Ok(mut complete) => {
                strip(&mut complete, stand_ins());
                part.typed = if envelope.schema > 1 {
                    pick(entry.fields, &complete, &own)
                } else {
                    let nothing = starts::complete(envelope.starts, kind, &self.head.pack, &Map::new());
                    differing(entry.fields, &complete, &nothing)
                };
                part.input = complete;
            }
            Err(more) => faults.extend(more.into_iter().map(|mut fault| {
                fault.field = format!("{here}{}", fault.field);
                fault
            })),
        }
        (faults.len() == before).then_some((part, ties))
    }

    /// Groups that one part alone may describe, and two do.
    fn described_twice(&self) -> Vec<FieldError> {
        let mut faults = Vec::new();
        for (place, part) in self.parts.iter().enumerate() {
            for group in part.kind.once {
                let describes = |other: &&Part| other.kind == part.kind && at(&other.typed, group).is_some();
                let Some(first) = self.parts[..place].iter().find(describes).filter(|_| describes(&part)) else {
                    continue;
                };
                let label = field::declared(part.entry().fields, group).map_or("", |field| field.label);
                let message =
                    format!("{label} stands in \u{201c}{}\u{201d} already: one part describes it.", first.title());
                let place = format!("{}{group}", part.pointer());
                faults.push(fault(place, "repeated", message, "nothing".into(), &json!(label)));
            }
        }
        faults
    }

    /// Finds the parts that others rest on; says which are not there, or not one alone.
    fn tie(&mut self, ties: &[Vec<Tie>], told: &[FieldError]) -> Vec<FieldError> {
        let mut faults = Vec::new();
        for (at, ties) in ties.iter().enumerate() {
            for (link, tie) in ties.iter().enumerate() {
                match self.found(&self.parts[at], link, tie, told) {
                    Ok(number) => self.parts[at].rests_on[link] = number,
                    Err(fault) => faults.push(*fault),
                }
            }
        }
        faults
    }

    fn found(&self, part: &Part, link: usize, tie: &Tie, told: &[FieldError]) -> Result<Option<u32>, Box<FieldError>> {
        let rests = &part.kind.rests[link];
        let section = rests.section;
        let refuse = |code: &str, message: String, accepted: String, got: Value| {
            Err(Box::new(fault(format!("{}{}", part.pointer(), rests.named_at), code, message, accepted, &got)))
        };
        let (those, called, got): (Vec<u32>, String, Value) = match tie {
            Tie::None => return Ok(None),
            Tie::Name(name) => {
                let those = self.of(section).filter(|other| other.title() == *name).map(|other| other.number);
                (those.collect(), format!("\u{201c}{name}\u{201d}"), json!(name))
            }
            Tie::Number(number) => {
                let those = self.of(section).filter(|other| other.number == *number).map(|other| other.number);
                (those.collect(), format!("of the number {number}"), json!(number))
            }
        };
        let cell = part.input.get("kind").and_then(Value::as_str).is_some_and(|kind| kind.starts_with("cell-"));
        if section == "voltage" && cell {
            let message = "A threshold of a cell cannot rest on a channel of the pack: type its errors.";
            return refuse("not-a-choice", message.into(), "empty".into(), got);
        }
        match those[..] {
            [number] => Ok(Some(number)),
            [] => {
                // A part with a fault of its own is there, whatever it is called.
                if told.iter().any(|fault| fault.field.starts_with(&format!("/{section}/"))) {
                    return Ok(None);
                }
                let names: Vec<String> = self.of(section).map(Part::title).collect();
                let accepted = if names.is_empty() {
                    "empty, with typed errors".into()
                } else {
                    format!("one of: {}", names.join(", "))
                };
                refuse("not-a-choice", format!("There is no part {called} in the section {section}."), accepted, got)
            }
            _ => {
                let message = format!("Several parts of the section {section} are called {called}.");
                refuse("ambiguous", message, "a name that one part alone has, or its number".into(), got)
            }
        }
    }
}

/// Where a part stands.
struct Place {
    section: &'static Section,
    index: usize,
    /// Its number where it says none.
    next: u32,
    pointer: String,
}

impl Part {
    fn written(&self, values: Map<String, Value>, ties: Vec<Value>) -> Value {
        let mut map = Map::new();
        map.insert("number".into(), json!(self.number));
        if self.section.kinds.len() > 1 {
            map.insert("of".into(), json!(self.kind.tag));
        }
        map.insert("name".into(), json!(self.name));
        for (rests, tie) in self.kind.rests.iter().zip(ties).filter(|(_, tie)| !tie.is_null()) {
            map.insert(rests.key().into(), tie);
        }
        map.extend(values);
        Value::Object(map)
    }
}

fn engine_fault(given: &Value) -> Option<FieldError> {
    if given.as_str().is_some_and(|words| words.chars().count() <= ENGINE_LETTERS) {
        return None;
    }
    let accepted = format!("text of at most {ENGINE_LETTERS} characters");
    Some(fault("/engine".into(), "wrong-type", format!("engine must be {accepted}."), accepted, given))
}

fn envelope(own: &mut Map<String, Value>) -> Result<Envelope, Vec<FieldError>> {
    let mut faults = Vec::new();
    let mut whole = |key: &str, absent: u32, most: u32, future: &str| match own.shift_remove(key) {
        None => absent,
        Some(given) => match given.as_u64().and_then(|number| u32::try_from(number).ok()) {
            Some(number) if (1..=most).contains(&number) => number,
            Some(number) if number > most => {
                let message = format!(
                    "The document has {key} {number}; this server reads up to {most}. Open it with a newer server."
                );
                faults.push(fault(format!("/{key}"), future, message, format!("1 to {most}"), &given));
                absent
            }
            _ => {
                let accepted = format!("a whole number between 1 and {most}");
                let message = format!("{key} must be {accepted}.");
                faults.push(fault(format!("/{key}"), "wrong-type", message, accepted, &given));
                absent
            }
        },
    };
    let schema = whole("schema", 1, SCHEMA, "schema-of-the-future");
    // What a document of schema 2 counts from where it does not say so: it must never change.
    let counts_from = if schema > 1 { 2 } else { starts::FIRST };
    let starts = whole("start_values", counts_from, starts::NEWEST, "start-values-of-the-future");
    if faults.is_empty() { Ok(Envelope { schema, starts }) } else { Err(faults) }
}

/// The head, and what was typed of it.
fn head(own: &Map<String, Value>, envelope: Envelope) -> Result<(Head, Map<String, Value>), Vec<FieldError>> {
    let start = starts::head();
    if envelope.schema > 1 {
        let head = field::read::<Head>(Some(&Value::Object(over(&start, own))), Notation::Json)?;
        let typed = pick(Head::FIELDS, &Group::write(&head), own);
        return Ok((head, typed));
    }
    let mut head = field::read::<Head>(Some(&Value::Object(own.clone())), Notation::Json)?;
    for assumed in &mut head.assumed {
        assumed.value = by_number(&assumed.value);
    }
    let typed = differing(Head::FIELDS, &Group::write(&head), &start);
    Ok((head, typed))
}

/// The key of a value by the number of its part, of one by its place, which counts from nothing.
fn by_number(key: &str) -> String {
    let mut words: Vec<String> = key.split('.').map(str::to_owned).collect();
    if let [section, place, ..] = &mut words[..]
        && SECTIONS.iter().any(|one| one.key == section)
        && let Ok(index) = place.parse::<u32>()
    {
        *place = index.saturating_add(1).to_string();
    }
    words.join(".")
}

/// Names the sections in the list of what a document may hold.
fn with_sections(mut faults: Vec<FieldError>) -> Vec<FieldError> {
    for fault in faults.iter_mut().filter(|fault| fault.code == "unknown-field" && !fault.field[1..].contains('/')) {
        for section in SECTIONS {
            fault.accepted.push_str(", ");
            fault.accepted.push_str(section.key);
        }
    }
    faults
}

pub(super) fn fault(field: String, code: &str, message: String, accepted: String, got: &Value) -> FieldError {
    let got = match got {
        Value::String(text) => text.chars().take(60).collect(),
        other => other.to_string().chars().take(60).collect(),
    };
    FieldError { field, code: code.into(), message, accepted, got }
}

/// A short text of a part, such as its name.
fn word(own: &mut Map<String, Value>, place: &str, key: &str, faults: &mut Vec<FieldError>) -> String {
    match own.shift_remove(key) {
        None => String::new(),
        Some(Value::String(text)) if text.chars().count() <= NAME_LETTERS => tidy(&text),
        Some(other) => {
            let accepted = format!("text of at most {NAME_LETTERS} characters");
            let message = format!("This must be {accepted}.");
            faults.push(fault(format!("{place}/{key}"), "wrong-type", message, accepted, &other));
            String::new()
        }
    }
}

/// A name as it is kept.
pub(super) fn tidy(text: &str) -> String {
    text.chars().filter(|letter| !letter.is_control()).collect::<String>().trim().to_owned()
}

fn number_of(own: &mut Map<String, Value>, place: &str, next: u32, faults: &mut Vec<FieldError>) -> u32 {
    const MOST: u32 = 9999;
    let Some(given) = own.shift_remove("number") else { return next };
    match given.as_u64().and_then(|number| u32::try_from(number).ok()).filter(|number| (1..=MOST).contains(number)) {
        Some(number) => number,
        None => {
            let accepted = format!("a whole number between 1 and {MOST}");
            let message = format!("The number of a part must be {accepted}.");
            faults.push(fault(format!("{place}/number"), "wrong-type", message, accepted, &given));
            next
        }
    }
}

fn kind_of(
    section: &'static Section,
    own: &mut Map<String, Value>,
    place: &str,
    faults: &mut Vec<FieldError>,
) -> Option<&'static Kind> {
    if let [kind] = section.kinds {
        return Some(kind);
    }
    let tag = word(own, place, "of", faults);
    let found = section.kinds.iter().find(|kind| kind.tag == tag);
    if found.is_none() {
        let tags: Vec<&str> = section.kinds.iter().map(|kind| kind.tag).collect();
        let accepted = format!("one of: {}", tags.join(", "));
        let message = format!("Say what the part is about with \u{201c}of\u{201d}: {accepted}.");
        faults.push(fault(format!("{place}/of"), "not-a-choice", message, accepted, &json!(tag)));
    }
    found
}

fn tie_of(
    own: &mut Map<String, Value>,
    place: &str,
    key: &str,
    envelope: Envelope,
    faults: &mut Vec<FieldError>,
) -> Tie {
    if envelope.schema > 1
        && let Some(number) = own.get(key).and_then(Value::as_u64)
    {
        own.shift_remove(key);
        return Tie::Number(u32::try_from(number).unwrap_or(u32::MAX));
    }
    let name = word(own, place, key, faults);
    if name.is_empty() { Tie::None } else { Tie::Name(name) }
}
