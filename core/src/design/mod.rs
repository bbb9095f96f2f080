//! # The design
//!
//! One document holds the whole chain of one pack: the pack, what is required, and its parts, each of which is the input
//! of a calculation of the catalogue. What several parts share stands once, in the pack or in the requirements, and is
//! handed down; a channel's error is handed on to the thresholds that rest on it. [`assess`](assess::assess) asks the very
//! calculations that the single pages ask.
//!
//! ```text
//! document ──read──▶ Design ──assess──▶ Assessed (parts, requirements, hints) ──▶ JSON, worksheet, report
//!     ▲                 │
//!     └──── link ◀──────┘  compressed, with schema, engine and check sum
//! ```

pub mod agree;
pub mod answer;
pub mod assess;
pub mod compare;
pub mod comparison;
pub mod levers;
pub mod link;
pub mod movable;
pub mod pack;
pub mod prepared;
pub mod scaling;
pub mod schema;
pub mod section;
pub mod slip;
pub mod summary;
pub mod test_limits;
pub mod ticket;
pub mod turning;

use serde_json::{Map, Value, json};

use crate::calculation::Entry;
use crate::field::tree::{at, put, take};
use crate::field::{self, FieldError, Group, Notation, text, whole};
use crate::input;
use crate::quantity::Unit;
use crate::work::Work;

use pack::{Pack, Requirements};
use section::{Kind, Origin, Rests, SECTIONS, Section};

/// The number of the document's schema. It rises when a document of the former one no longer means the same.
pub const SCHEMA: u32 = 1;

/// Most values that may be marked as assumed.
const MOST_ASSUMED: usize = 60;
/// Longest name of a part.
const NAME_LETTERS: usize = 60;

input! {
    /// A value that nobody measured.
    pub struct Assumed {
        value: String = text(120, ""), "", "Value", "Its key, such as current.0.shunt.life_drift_percent.";
        why: String = text(160, ""), "", "Why", "Where it comes from.";
    }
}

input! {
    /// What a design says besides its parts.
    pub struct Head {
        schema: u32 = whole(Unit::One, 1, SCHEMA, SCHEMA), "", "Schema", "Number of the document's schema.";
        title: String = text(80, "New design"), "", "Title", "Of the pack or the project.";
        notes: String = text(600, ""), "", "Notes", "What a reviewer must know.";
        pack: Pack = field::group::<Pack>(), "", "Pack", "What several parts share.";
        requirements: Requirements = field::group::<Requirements>(), "", "Requirements", "What the channels must hold.";
        assumed: Vec<Assumed> = field::list::<Assumed>(0, MOST_ASSUMED, ""), "", "Assumed values", "Values from memory or by estimate, one a line: key; where it comes from.";
    }
}

/// The declarations of what a design says besides its parts.
pub const HEAD_FIELDS: &[field::Field] = Head::FIELDS;

/// What a design says before anything is typed.
pub fn head_start() -> Map<String, Value> {
    Group::write(&field::start::<Head>())
}

/// A whole design.
#[derive(Clone, Debug, PartialEq)]
pub struct Design {
    /// Title, pack, requirements.
    pub head: Head,
    /// The parts, in the order of the sections.
    pub parts: Vec<Part>,
}

/// One part: the input of one calculation.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// The section it stands in.
    pub section: &'static Section,
    /// Its place in that section.
    pub index: usize,
    /// Which of the section's calculations.
    pub kind: &'static Kind,
    /// What it is called.
    pub name: String,
    /// The parts it rests on, one for each that its kind can rest on; empty where the values are typed.
    pub rests_on: Vec<String>,
    /// Its own values, complete; what is handed down is not among them.
    pub input: Map<String, Value>,
}

impl Part {
    /// Its calculation.
    pub fn entry(&self) -> &'static Entry {
        self.kind.entry
    }

    /// Its dotted key in forms: `current.0`.
    pub fn key(&self) -> String {
        format!("{}.{}", self.section.key, self.index)
    }

    /// The JSON Pointer to it.
    pub fn pointer(&self) -> String {
        format!("/{}/{}", self.section.key, self.index)
    }

    /// What a part is called in a list of many: the section's word and its name.
    pub fn title(&self) -> String {
        if self.name.is_empty() { self.section.one.into() } else { self.name.clone() }
    }

    /// What it takes from other parts, each with the name of that part.
    pub fn resting(&self) -> impl Iterator<Item = (&'static Rests, &str)> {
        let named = self.kind.rests.iter().zip(self.rests_on.iter().map(String::as_str));
        named.filter(|(_, name)| !name.is_empty())
    }

    /// What it takes from one other part; mostly nothing.
    pub fn resting_on(&self, other: &Self) -> impl Iterator<Item = &'static Rests> {
        self.resting()
            .filter(|(rests, name)| rests.section == other.section.key && *name == other.title())
            .map(|(rests, _)| rests)
    }

    /// The pointers of its input that are handed down to it.
    pub fn handed_down(&self) -> impl Iterator<Item = &'static str> {
        let carried = self.resting().flat_map(|(rests, _)| rests.carried).map(|carried| carried.to);
        self.kind.bound.iter().map(|bound| bound.to).chain(carried)
    }

    /// Takes the values of its calculation's own page, as typed there; what is handed down stays with the design.
    ///
    /// # Errors
    /// Every fault of the values.
    pub fn take_back(&mut self, typed: &Value) -> Result<(), Vec<FieldError>> {
        let mut complete = self.entry().complete(Some(typed), Notation::Form)?;
        strip(&mut complete, self.handed_down());
        self.input = complete;
        Ok(())
    }

    /// The groups of its input that do not count as its choices stand: a worksheet leaves them out.
    pub fn idle(&self) -> impl Iterator<Item = &'static str> {
        let counts = |one: &section::OnlyWhen| self.input.get(one.choice).and_then(Value::as_str) == Some(one.word);
        self.kind.only_when.iter().filter(move |one| !counts(one)).map(|one| one.group)
    }

    /// Where the value at a pointer of its calculation stands in the document.
    pub fn origin(&self, pointer: &str) -> String {
        for bound in self.kind.bound {
            if pointer == bound.to || pointer.strip_prefix(bound.to).is_some_and(|rest| rest.starts_with('/')) {
                return match bound.from {
                    Origin::Field(from) => format!("{from}{}", &pointer[bound.to.len()..]),
                    Origin::Pack(from, _) => from.into(),
                };
            }
        }
        format!("{}{pointer}", self.pointer())
    }
}

impl Design {
    /// The design a worksheet starts with: a pack without parts.
    pub fn start() -> Self {
        Self { head: field::start::<Head>(), parts: Vec::new() }
    }

    /// Reads a document.
    ///
    /// # Errors
    /// Every fault, each at its place in the document.
    pub fn read(document: &Value, notation: Notation) -> Result<Self, Vec<FieldError>> {
        let mut faults = Vec::new();
        let mut head = document.clone();
        let mut parts = Vec::new();
        if let Value::Object(map) = &mut head {
            // Which engine made a document is said in answers; it is no part of the design.
            map.shift_remove("engine");
            for section in SECTIONS {
                if let Some(list) = map.shift_remove(section.key) {
                    read_section(section, &list, notation, &mut parts, &mut faults);
                }
            }
        }
        let head = match field::read::<Head>(Some(&head), notation) {
            Ok(head) => head,
            Err(more) => {
                faults.splice(0..0, more);
                return Err(with_sections(faults));
            }
        };
        faults.extend(unknown_sources(&parts, &faults));
        if faults.is_empty() { Ok(Self { head, parts }) } else { Err(faults) }
    }

    /// The complete document.
    pub fn write(&self) -> Map<String, Value> {
        let mut document = Group::write(&self.head);
        for section in SECTIONS {
            let list: Vec<Value> =
                self.parts.iter().filter(|part| part.section.key == section.key).map(Part::write).collect();
            if !list.is_empty() {
                document.insert(section.key.into(), Value::Array(list));
            }
        }
        document
    }

    /// The parts of a section.
    pub fn of(&self, section: &str) -> impl Iterator<Item = &Part> {
        self.parts.iter().filter(move |part| part.section.key == section)
    }

    /// Adds a part with its starting values.
    pub fn add(&mut self, section: &'static Section, kind: &'static Kind) {
        let index = self.of(section.key).count();
        if index >= section.most {
            return;
        }
        let mut input = kind.entry.start();
        let rests_on = vec![String::new(); kind.rests.len()];
        strip(&mut input, kind.bound.iter().map(|bound| bound.to));
        let at = self.parts.iter().rposition(|part| part.section.place() <= section.place()).map_or(0, |at| at + 1);
        self.parts.insert(at, Part { section, index, kind, name: String::new(), rests_on, input });
    }

    /// Takes a part out. What rested on it keeps the values it had, as if they had been typed.
    pub fn remove(&mut self, key: &str) {
        let Some(gone) = self.parts.iter().find(|part| part.key() == key).cloned() else { return };
        let ready = prepared::Prepared::new(self, Work::FREE).ok();
        let had: Vec<_> =
            (0..self.parts.len()).map(|at| ready.as_ref().map(|ready| ready.input(at).written())).collect();
        for (part, had) in self.parts.iter_mut().zip(had).map(|(part, had)| (part, had.unwrap_or_default())) {
            let lost: Vec<&Rests> = part.resting_on(&gone).collect();
            let start = part.entry().start();
            for carried in lost.iter().flat_map(|rests| rests.carried) {
                if let Some(value) = at(&had, carried.to).or_else(|| at(&start, carried.to)) {
                    put(&mut part.input, carried.to, value.clone());
                }
            }
            for (rests, name) in part.kind.rests.iter().zip(&mut part.rests_on) {
                if lost.iter().any(|lost| lost.named_at == rests.named_at) {
                    name.clear();
                }
            }
        }
        self.parts.retain(|part| part.key() != key);
        for section in SECTIONS {
            for (index, part) in self.parts.iter_mut().filter(|part| part.section.key == section.key).enumerate() {
                part.index = index;
            }
        }
    }
}

impl Part {
    fn write(&self) -> Value {
        let mut map = Map::new();
        if self.section.kinds.len() > 1 {
            map.insert("of".into(), json!(self.kind.tag));
        }
        map.insert("name".into(), json!(self.name));
        for (rests, name) in self.kind.rests.iter().zip(&self.rests_on) {
            map.insert(rests.key().into(), json!(name));
        }
        map.extend(self.input.clone());
        Value::Object(map)
    }
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

fn fault(field: String, code: &str, message: String, accepted: String, got: &Value) -> FieldError {
    let got = match got {
        Value::String(text) => text.chars().take(60).collect(),
        other => other.to_string().chars().take(60).collect(),
    };
    FieldError { field, code: code.into(), message, accepted, got }
}

fn read_section(
    section: &'static Section,
    list: &Value,
    notation: Notation,
    parts: &mut Vec<Part>,
    faults: &mut Vec<FieldError>,
) {
    let place = format!("/{}", section.key);
    let items: Vec<&Value> = match (list, notation) {
        (Value::Array(items), Notation::Json) => items.iter().collect(),
        // A form numbers the parts: `current.0.…`, `current.1.…`.
        (Value::Object(map), Notation::Form) => (0..map.len()).map_while(|index| map.get(&index.to_string())).collect(),
        _ => {
            let message = format!("{} must be a list of parts.", section.title);
            faults.push(fault(place, "wrong-type", message, "a list".into(), list));
            return;
        }
    };
    if items.len() > section.most {
        let message = format!("{} takes at most {} parts; {} were given.", section.title, section.most, items.len());
        faults.push(fault(place, "too-many", message, format!("at most {} parts", section.most), &json!(items.len())));
        return;
    }
    for (index, item) in items.into_iter().enumerate() {
        if let Some(part) = read_part(section, index, item, notation, faults) {
            parts.push(part);
        }
    }
}

fn read_part(
    section: &'static Section,
    index: usize,
    item: &Value,
    notation: Notation,
    faults: &mut Vec<FieldError>,
) -> Option<Part> {
    let place = format!("/{}/{index}", section.key);
    let Value::Object(own) = item else {
        let message = format!("{} {} must be a group of fields.", section.title, index + 1);
        faults.push(fault(place, "wrong-type", message, "a JSON object".into(), item));
        return None;
    };
    let mut own = own.clone();
    let before = faults.len();
    let mut word = |key: &str, faults: &mut Vec<FieldError>| match own.shift_remove(key) {
        None => String::new(),
        Some(Value::String(text)) if text.chars().count() <= NAME_LETTERS => {
            text.chars().filter(|letter| !letter.is_control()).collect::<String>().trim().to_owned()
        }
        Some(other) => {
            let accepted = format!("text of at most {NAME_LETTERS} characters");
            faults.push(fault(
                format!("{place}/{key}"),
                "wrong-type",
                format!("This must be {accepted}."),
                accepted,
                &other,
            ));
            String::new()
        }
    };
    let name = word("name", faults);
    let tag = if section.kinds.len() > 1 { word("of", faults) } else { String::new() };
    let kind = if section.kinds.len() == 1 {
        &section.kinds[0]
    } else {
        let Some(kind) = section.kinds.iter().find(|kind| kind.tag == tag) else {
            let tags: Vec<&str> = section.kinds.iter().map(|kind| kind.tag).collect();
            let accepted = format!("one of: {}", tags.join(", "));
            let message = format!("Say what the part is about with \u{201c}of\u{201d}: {accepted}.");
            faults.push(fault(format!("{place}/of"), "not-a-choice", message, accepted, &json!(tag)));
            return None;
        };
        kind
    };
    let rests_on = kind.rests.iter().map(|rests| word(rests.key(), faults)).collect();
    if kind.rests.is_empty() {
        let named = word("rests_on", faults);
        if !named.is_empty() {
            let message = "This part takes nothing from another one.".to_owned();
            faults.push(fault(format!("{place}/rests_on"), "unknown-field", message, "nothing".into(), &json!(named)));
        }
    }
    let mut part = Part { section, index, kind, name, rests_on, input: Map::new() };
    for pointer in part.handed_down() {
        if let Some(given) = at(&own, pointer) {
            let carries = |rests: &Rests| rests.carried.iter().any(|carried| carried.to == pointer);
            let from = match part.resting().find(|(rests, _)| carries(rests)) {
                Some((_, name)) => format!("the part {name}"),
                None => part.origin(pointer),
            };
            let message = format!("This value is handed down from {from}; leave it out here.");
            faults.push(fault(format!("{place}{pointer}"), "handed-down", message, "nothing".into(), given));
        }
    }
    // What is handed down is not known yet: its starting value stands in, and is taken out again.
    let entry = kind.entry;
    let start = entry.start();
    for pointer in part.handed_down() {
        match (at(&start, pointer), notation) {
            (Some(value), Notation::Json) => put(&mut own, pointer, value.clone()),
            _ => drop(take(&mut own, pointer)),
        }
    }
    match entry.complete(Some(&Value::Object(own)), notation) {
        Ok(mut complete) => {
            strip(&mut complete, part.handed_down());
            part.input = complete;
        }
        Err(more) => faults.extend(more.into_iter().map(|mut fault| {
            fault.field = format!("{place}{}", fault.field);
            fault
        })),
    }
    (faults.len() == before).then_some(part)
}

/// Parts that rest on a part that is not there, or on one of several with one name. A part with a fault of its own is there, whatever it is called.
fn unknown_sources(parts: &[Part], told: &[FieldError]) -> Vec<FieldError> {
    let mut faults = Vec::new();
    for (part, (rests, name)) in parts.iter().flat_map(|part| part.resting().map(move |resting| (part, resting))) {
        let section = rests.section;
        let names: Vec<String> = parts.iter().filter(|other| other.section.key == section).map(Part::title).collect();
        let broken = told.iter().any(|fault| fault.field.starts_with(&format!("/{section}/")));
        let mut refuse = |code: &str, message: String, accepted: String| {
            let place = format!("{}{}", part.pointer(), rests.named_at);
            faults.push(fault(place, code, message, accepted, &json!(name)));
        };
        let those = names.iter().filter(|other| *other == name).count();
        if !broken && those == 0 {
            let accepted = if names.is_empty() {
                "empty, with typed errors".into()
            } else {
                format!("one of: {}", names.join(", "))
            };
            let message = format!("There is no part \u{201c}{name}\u{201d} in the section {section}.");
            refuse("not-a-choice", message, accepted);
        }
        let cell = part.input.get("kind").and_then(Value::as_str).is_some_and(|kind| kind.starts_with("cell-"));
        if section == "voltage" && cell {
            let message = "A threshold of a cell cannot rest on a channel of the pack: type its errors.";
            refuse("not-a-choice", message.into(), "empty".into());
        }
        if !broken && those > 1 {
            let message = format!("Several parts of the section {section} are called \u{201c}{name}\u{201d}.");
            refuse("ambiguous", message, "a name that one part alone has".into());
        }
    }
    faults
}

fn strip<'p>(map: &mut Map<String, Value>, pointers: impl Iterator<Item = &'p str>) {
    for pointer in pointers {
        take(map, pointer);
    }
}
