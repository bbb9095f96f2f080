//! # Changing a design
//!
//! Parts are added, copied, moved and removed; what was typed into a form is put in its place. A field of a form that is
//! empty is not typed: it follows from the pack, or starts as its set says. What a part took from another one stays with it
//! when that one goes, typed and marked as assumed.

use serde_json::{Map, Value, json};

use super::document::{fault, tidy};
use super::prepared::Prepared;
use super::section::{Kind, Rests, SECTIONS, Section};
use super::{Assumed, Design, Head, MOST_ASSUMED, NAME_LETTERS, Part, starts, strip};
use crate::field::tree::{at, differing, put, take, walk};
use crate::field::{self, Field, FieldError, Group, Notation};
use crate::quantity::{Unit, say};
use crate::work::Work;

/// The voltages that may be typed of the whole pack, what they are of a cell, and which they are.
const VOLTS: [(&str, &str, &str); 3] = [
    ("max_v", "/pack/cell_max_v", "highest"),
    ("nominal_v", "/pack/cell_nominal_v", "nominal"),
    ("min_v", "/pack/cell_min_v", "lowest"),
];

impl Design {
    /// Adds a part; it rests on the only channel it can rest on. Its key; nothing where the section is full, or the part
    /// needs cells that are not there.
    pub fn add(&mut self, section: &'static Section, kind: &'static Kind) -> Option<String> {
        let index = self.of(section.key).count();
        if index >= section.most || self.has_no_place_for(kind).is_some() {
            return None;
        }
        let only = |rests: &Rests| {
            let mut those = self.of(rests.section).map(|part| part.number);
            those.next().filter(|_| rests.at_once && those.next().is_none())
        };
        let rests_on = kind.rests.iter().map(only).collect();
        let number = 1 + self.of(section.key).map(|part| part.number).max().unwrap_or(0);
        let part =
            Part { section, index, number, kind, name: String::new(), rests_on, typed: Map::new(), input: Map::new() };
        let key = part.key();
        let place = self.parts.iter().rposition(|part| part.section.place() <= section.place());
        self.parts.insert(place.map_or(0, |at| at + 1), part);
        self.complete();
        // A threshold of a cell takes nothing from a channel of the pack.
        if Self::read(&Value::Object(self.document())).is_err()
            && let Some(part) = self.parts.iter_mut().find(|part| part.key() == key)
        {
            part.rests_on.fill(None);
            self.complete();
        }
        Some(key)
    }

    /// Copies a part beside it. The key of the copy; nothing where the section is full.
    pub fn copy(&mut self, key: &str) -> Option<String> {
        let place = self.parts.iter().position(|part| part.key() == key)?;
        let mut copy = self.parts[place].clone();
        if self.of(copy.section.key).count() >= copy.section.most {
            return None;
        }
        copy.number = 1 + self.of(copy.section.key).map(|part| part.number).max().unwrap_or(0);
        copy.name = format!("{} {}", copy.title(), copy.number).chars().take(NAME_LETTERS).collect();
        // What one part alone may describe stays with the first.
        for group in copy.kind.once {
            take(&mut copy.typed, group);
        }
        let copied = copy.key();
        self.parts.insert(place + 1, copy);
        self.count();
        self.complete();
        Some(copied)
    }

    /// Moves a part one place up or down among those of its section.
    pub fn shift(&mut self, key: &str, up: bool) {
        let Some(place) = self.parts.iter().position(|part| part.key() == key) else { return };
        let other = if up { place.checked_sub(1) } else { Some(place + 1) };
        let same = |other: &usize| self.parts.get(*other).is_some_and(|part| part.section == self.parts[place].section);
        if let Some(other) = other.filter(same) {
            self.parts.swap(place, other);
            self.count();
        }
    }

    /// Takes a part out. What rested on it keeps the values it had, typed and marked as assumed.
    pub fn remove(&mut self, key: &str) {
        let Some(gone) = self.part(key).cloned() else { return };
        let ready = Prepared::new(self, Work::FREE).ok();
        for place in 0..self.parts.len() {
            let ties = self.parts[place].kind.rests.iter().zip(&self.parts[place].rests_on).enumerate();
            let lost =
                ties.filter(|(_, (rests, number))| rests.section == gone.section.key && **number == Some(gone.number));
            for link in lost.map(|(link, _)| link).collect::<Vec<_>>() {
                self.untie(place, link, ready.as_ref());
            }
        }
        self.parts.retain(|part| part.key() != key);
        let prefix = format!("{key}.");
        self.mark(|marks| marks.retain(|one| !one.value.starts_with(&prefix)));
        self.count();
        self.complete();
    }

    /// Lets a part rest on nothing: what it took stays, as assumed. What the other one did not give is open again.
    fn untie(&mut self, place: usize, link: usize, ready: Option<&Prepared>) {
        let had = ready.and_then(|ready| ready.taken(place).ok()).unwrap_or_default();
        let part = &mut self.parts[place];
        let (rests, key) = (&part.kind.rests[link], part.key());
        let source = part.rests_on[link].take();
        let mut kept = Vec::new();
        for carried in rests.carried {
            if let Some((_, given)) = had.iter().find(|(_, given)| given.to == carried.to) {
                let value = as_typed(part.entry().fields, carried.to, given.value);
                put(&mut part.typed, carried.to, value);
                kept.push(format!("{key}{}", carried.to.replace('/', ".")));
            }
        }
        let from = source.and_then(|number| self.source(rests, number)).map_or_else(String::new, Part::title);
        self.mark(|marks| {
            for value in kept {
                marks.retain(|one| one.value != value);
                if marks.len() < MOST_ASSUMED {
                    marks.push(Assumed { value, why: format!("as {from} gave it").chars().take(160).collect() });
                }
            }
        });
    }

    /// Counts the parts of every section anew.
    pub(super) fn count(&mut self) {
        for section in SECTIONS {
            for (index, part) in self.parts.iter_mut().filter(|part| part.section.key == section.key).enumerate() {
                part.index = index;
            }
        }
    }

    /// Works out what stands where nothing is typed.
    fn complete(&mut self) {
        for part in &mut self.parts {
            part.input = starts::complete(self.starts, part.kind, &self.head.pack, &part.typed);
            let handed: Vec<&str> = part.handed_down().collect();
            strip(&mut part.input, handed.into_iter());
        }
    }

    /// Takes what follows from the pack and what is open from the newest set: values that are as they start are no longer
    /// those of an older set.
    pub fn follow_the_pack(&mut self) {
        self.starts = starts::NEWEST;
        self.complete();
    }

    /// The design with what a form sends: a tree of text, in which a part stands under its section and number, and a field
    /// that is empty is not typed. What the form does not send stays.
    ///
    /// # Errors
    /// Every fault of what was typed, at its place in the document.
    pub fn changed(&self, form: &Value) -> Result<Self, Vec<FieldError>> {
        let Value::Object(form) = form else { return Ok(self.clone()) };
        let mut changed = self.clone();
        let mut faults = Vec::new();
        let mut head = form.clone();
        for section in SECTIONS {
            let Some(sent) = head.shift_remove(section.key) else { continue };
            let Value::Object(sent) = sent else {
                let message = format!("{} stands under the number of a part.", section.title);
                faults.push(fault(format!("/{}", section.key), "wrong-type", message, "current.1.…".into(), &sent));
                continue;
            };
            for (number, own) in sent {
                let key = format!("{}.{number}", section.key);
                let Some(place) = changed.parts.iter().position(|part| part.key() == key) else {
                    let message = format!("There is no part {key}.");
                    let keys: Vec<String> = self.of(section.key).map(Part::key).collect();
                    let place = format!("/{}/{number}", section.key);
                    faults.push(fault(place, "unknown-field", message, keys.join(", "), &Value::String(key)));
                    continue;
                };
                changed.take(place, &own, &mut faults);
            }
        }
        let read = |node: &Value| field::read::<Head>(Some(node), Notation::Form).map(|head| Group::write(&head));
        match typed(Head::FIELDS, &head, &changed.typed, read) {
            Ok(values) => changed.typed = values,
            Err(more) => faults.extend(more),
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        Self::read(&Value::Object(changed.document()))
    }

    /// A new design from what is known of its pack: a voltage may be typed of the cell or of the pack, under `pack_v`. Without
    /// cells it is typed where it stands.
    ///
    /// # Errors
    /// Every fault of what was typed; what a pack cannot be judged without; two voltages that differ by more than 0.5 %.
    pub fn begin(form: &Value) -> Result<Self, Vec<FieldError>> {
        let mut form = form.clone();
        let of_pack = form.as_object_mut().and_then(|form| form.shift_remove("pack_v"));
        let mut design = Self::start().changed(&form)?;
        let series = f64::from(design.head.pack.cells_in_series);
        let mut faults = Vec::new();
        let mut by_pack = false;
        for (key, to, _) in VOLTS {
            let of_pack = of_pack.as_ref().filter(|_| design.head.pack.has_cells());
            let typed = of_pack.and_then(|volts| volts.get(key)?.as_str()).map(str::trim).unwrap_or_default();
            if typed.is_empty() {
                continue;
            }
            by_pack = true;
            let place = format!("/pack_v/{key}");
            let volts = match Unit::Volt.read(typed) {
                Ok(volts) if volts > 0.0 => volts,
                _ => {
                    let message = format!(
                        "The voltage of the pack is a number in volts above 0; \u{201c}{typed}\u{201d} is none."
                    );
                    faults.push(fault(place, "not-a-number", message, "a voltage above 0 V".into(), &json!(typed)));
                    continue;
                }
            };
            // Nine digits: what a person reads again, to a part in a thousand million.
            let cell = volts / series;
            let cell = format!("{cell:.8e}").parse().unwrap_or(cell);
            match at(&design.typed, to).and_then(Value::as_f64) {
                Some(other) if (other / cell - 1.0).abs() > 5e-3 => {
                    let words = format!(
                        "{} of the pack are {} a cell; {} was typed for the cell: clear one of the two.",
                        say(volts, Unit::Volt),
                        say(cell, Unit::Volt),
                        say(other, Unit::Volt)
                    );
                    let accepted = "one of the two, or both within 0.5 %".to_owned();
                    faults.push(fault(place, "contradiction", words.clone(), accepted.clone(), &json!(typed)));
                    faults.push(fault(to.into(), "contradiction", words, accepted, &json!(other)));
                }
                Some(_) => {}
                None => put(&mut design.typed, to, json!(cell)),
            }
        }
        let design = Self::read(&Value::Object(design.document())).unwrap_or_else(|more| {
            faults.extend(more);
            Self::start()
        });
        if faults.is_empty() {
            faults.extend(starts::pack_not_given(&design));
            // Who types voltages of the pack is asked for those.
            let missing = VOLTS.iter().filter(|_| by_pack);
            for (key, to, which) in missing {
                for fault in faults.iter_mut().filter(|fault| fault.field == *to) {
                    fault.field = format!("/pack_v/{key}");
                    fault.message =
                        format!("The {which} voltage of the pack is not given: enter it, or that of a cell.");
                }
            }
        }
        if faults.is_empty() { Ok(design) } else { Err(faults) }
    }

    /// Takes what a form sends of one part.
    fn take(&mut self, place: usize, own: &Value, faults: &mut Vec<FieldError>) {
        let here = self.parts[place].pointer();
        let Value::Object(own) = own else { return };
        let mut own = own.clone();
        if let Some(Value::String(name)) = own.shift_remove("name") {
            if name.chars().count() > NAME_LETTERS {
                let accepted = format!("text of at most {NAME_LETTERS} characters");
                let message = format!("The name must be {accepted}.");
                faults.push(fault(format!("{here}/name"), "too-long", message, accepted, &Value::String(name)));
            } else {
                self.parts[place].name = tidy(&name);
            }
        }
        own.shift_remove("of");
        for link in 0..self.parts[place].kind.rests.len() {
            let rests = &self.parts[place].kind.rests[link];
            let Some(Value::String(word)) = own.shift_remove(rests.key()) else { continue };
            let then = word.trim().parse().ok();
            let now = self.parts[place].rests_on[link];
            if !word.trim().is_empty() && then.is_none_or(|number| self.source(rests, number).is_none()) {
                let numbers: Vec<String> = self.of(rests.section).map(|part| part.number.to_string()).collect();
                let message = format!("There is no part of the number {word} in the section {}.", rests.section);
                let accepted = format!("empty, or one of: {}", numbers.join(", "));
                faults.push(fault(
                    format!("{here}{}", rests.named_at),
                    "not-a-choice",
                    message,
                    accepted,
                    &Value::String(word),
                ));
            } else if then.is_none() && now.is_some() {
                let ready = Prepared::new(self, Work::FREE).ok();
                self.untie(place, link, ready.as_ref());
            } else {
                self.parts[place].rests_on[link] = then;
            }
        }
        let part = &mut self.parts[place];
        let handed: Vec<&str> = part.handed_down().collect();
        // A field that was drawn before the tie: what is handed down now is no longer typed.
        strip(&mut own, handed.iter().copied());
        let entry = part.entry();
        let read = |node: &Value| entry.complete(Some(node), Notation::Form);
        match typed(entry.fields, &own, &part.typed, read) {
            Ok(mut values) => {
                strip(&mut values, handed.into_iter());
                part.typed = values;
            }
            Err(more) => faults.extend(more.into_iter().map(|mut fault| {
                fault.field = format!("{here}{}", fault.field);
                fault
            })),
        }
    }

    /// Takes the values of a calculation's own page into a part; what is handed down stays with the design.
    ///
    /// # Errors
    /// Every fault of the values.
    pub fn take_back(&mut self, key: &str, page: &Value) -> Result<(), Vec<FieldError>> {
        let Some(place) = self.parts.iter().position(|part| part.key() == key) else { return Ok(()) };
        let part = &self.parts[place];
        let entry = part.entry();
        let values = entry.complete(Some(page), Notation::Form)?;
        let nothing = starts::complete(self.starts, part.kind, &self.head.pack, &Map::new());
        let mut typed = differing(entry.fields, &values, &nothing);
        strip(&mut typed, part.handed_down());
        self.parts[place].typed = typed;
        self.complete();
        Ok(())
    }
}

/// A value that was taken, as it would be typed: whole where its field counts.
fn as_typed(fields: &'static [Field], pointer: &str, value: f64) -> Value {
    let mut whole = false;
    walk(fields, &mut |place, field| whole |= place == pointer && matches!(field.kind, field::Kind::Whole { .. }));
    // Of a whole field it is small and not negative.
    let text = if whole { format!("{value:.0}") } else { String::new() };
    text.parse::<u32>().map_or(json!(value), |count| json!(count))
}

/// What is typed after a form was sent: what is empty no longer is, what the form does not have stays.
fn typed(
    fields: &[Field],
    form: &Map<String, Value>,
    before: &Map<String, Value>,
    read: impl Fn(&Value) -> Result<Map<String, Value>, Vec<FieldError>>,
) -> Result<Map<String, Value>, Vec<FieldError>> {
    let mut typed = before.clone();
    let mut sent = form.clone();
    let mut there: Vec<String> = Vec::new();
    walk(fields, &mut |pointer, _| match at(&sent, pointer) {
        Some(Value::String(text)) if text.trim().is_empty() => {
            take(&mut sent, pointer);
            take(&mut typed, pointer);
        }
        Some(_) => there.push(pointer.into()),
        None => {}
    });
    let values = read(&Value::Object(sent))?;
    for pointer in there {
        if let Some(value) = at(&values, &pointer) {
            put(&mut typed, &pointer, value.clone());
        }
    }
    Ok(typed)
}
