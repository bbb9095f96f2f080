//! # Taking back
//!
//! A part, or what a part rests on, as an earlier design had it. Nothing that was handed down is typed on the way: a value that
//! a tie gave is what it was before the tie.

use serde_json::Value;

use super::section::Rests;
use super::{Assumed, Design, MOST_ASSUMED, Part};
use crate::field::FieldError;
use crate::field::tree::{at, put, take};

impl Design {
    /// The design with a part (`balancing.1`) or a tie (`protection.1.rests_on`) as it was in an earlier one; nothing where
    /// there is no way back: the section is full by now, the part has no place, or what it rested on is gone.
    ///
    /// # Errors
    /// Every fault of what that makes.
    pub fn taken_back(&self, before: &Self, key: &str) -> Option<Result<Self, Vec<FieldError>>> {
        let mut design = self.clone();
        match (self.part(key), before.part(key)) {
            (Some(_), None) => design.without(before, key),
            (None, Some(was)) => design.again(before, was)?,
            _ => {
                let (page, own) = key.rsplit_once('.')?;
                let part = self.part(page)?;
                let link = part.kind.rests.iter().position(|rests| rests.key() == own)?;
                design.tie_again(before, page, link)?;
            }
        }
        design.count();
        Some(Self::read(&Value::Object(design.document())))
    }

    /// Takes out a part that was not there before.
    fn without(&mut self, before: &Self, key: &str) {
        let Some(gone) = self.part(key).cloned() else { return };
        for (page, link) in self.tied_to(&gone) {
            if self.tie_again(before, &page, link).is_none()
                && let Some(part) = self.parts.iter_mut().find(|part| part.key() == page)
            {
                part.rests_on[link] = None;
            }
        }
        self.parts.retain(|part| part.key() != key);
        let prefix = format!("{key}.");
        self.mark(|marks| marks.retain(|one| !one.value.starts_with(&prefix)));
    }

    /// Puts a part that is gone in its place, and ties to it again what rested on it.
    fn again(&mut self, before: &Self, was: &Part) -> Option<()> {
        if self.of(was.section.key).count() >= was.section.most || self.has_no_place_for(was.kind).is_some() {
            return None;
        }
        let mut part = was.clone();
        for (rests, number) in was.kind.rests.iter().zip(&mut part.rests_on) {
            *number = number.filter(|number| self.source(rests, *number).is_some());
        }
        let later = |other: &Part| {
            let (place, own) = (other.section.place(), was.section.place());
            place > own || (place == own && other.index >= was.index)
        };
        let place = self.parts.iter().position(later).unwrap_or(self.parts.len());
        self.parts.insert(place, part);
        let prefix = format!("{}.", was.key());
        self.mark_as(before, |key| key.starts_with(&prefix));
        for (page, link) in before.tied_to(was) {
            if self.part(&page).is_some_and(|part| part.rests_on.get(link) == Some(&None)) {
                self.tie_again(before, &page, link);
            }
        }
        Some(())
    }

    /// Lets a part rest on what it rested on before, with what was typed of the values that are handed over there; nothing
    /// where it was not there, or what it rested on is gone.
    fn tie_again(&mut self, before: &Self, page: &str, link: usize) -> Option<()> {
        let was = before.part(page)?;
        let rests: &Rests = was.kind.rests.get(link)?;
        let number = was.rests_on[link];
        if number.is_some_and(|number| self.source(rests, number).is_none()) {
            return None;
        }
        let part = self.parts.iter_mut().find(|part| part.key() == page && part.kind == was.kind)?;
        part.rests_on[link] = number;
        for carried in rests.carried {
            match at(&was.typed, carried.to) {
                Some(value) => put(&mut part.typed, carried.to, value.clone()),
                None => drop(take(&mut part.typed, carried.to)),
            }
        }
        let handed: Vec<&str> = part.handed_down().collect();
        super::strip(&mut part.typed, handed.into_iter());
        let keys: Vec<String> =
            rests.carried.iter().map(|carried| format!("{page}{}", carried.to.replace('/', "."))).collect();
        self.mark_as(before, |key| keys.iter().any(|one| one == key));
        Some(())
    }

    /// The parts that rest on one, each with which of its ties does.
    fn tied_to(&self, source: &Part) -> Vec<(String, usize)> {
        let ties = |part: &Part| {
            let tied = part.kind.rests.iter().zip(&part.rests_on).enumerate();
            let those = tied
                .filter(|(_, (rests, number))| rests.section == source.section.key && **number == Some(source.number));
            those.map(|(link, _)| (part.key(), link)).collect::<Vec<_>>()
        };
        self.parts.iter().flat_map(ties).collect()
    }

    /// Marks those values as assumed that were marked before, of the keys that are meant.
    fn mark_as(&mut self, before: &Self, meant: impl Fn(&str) -> bool) {
        let were = &before.head.assumed;
        self.mark(|marks| {
            marks.retain(|one| !meant(&one.value));
            marks.extend(were.iter().filter(|one| meant(&one.value)).cloned());
            marks.truncate(MOST_ASSUMED);
            let place = |one: &Assumed| were.iter().position(|other| other.value == one.value);
            marks.sort_by_key(|one| place(one).unwrap_or(usize::MAX));
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::DEMOS;
    use crate::design::section::{self, Kind, Section};

    fn kind(section: &str, tag: &str) -> (&'static Section, &'static Kind) {
        let section = section::find(section).expect("a section");
        (section, section.kinds.iter().find(|kind| kind.tag == tag).expect("a kind"))
    }

    fn back(now: &Design, began: &Design, key: &str) -> Design {
        now.taken_back(began, key).expect("there is a way back").expect("it is a design")
    }

    fn document(design: &Design) -> Value {
        Value::Object(design.document())
    }

    /// What is added and taken back, removed and taken back, leaves the document as it was, in every demo and for each part.
    #[test]
    fn a_part_that_is_taken_back_leaves_the_document_as_it_was() {
        for demo in DEMOS.iter() {
            let began = Design::read(&document(&demo.design)).expect("a demo");
            for part in &began.parts {
                let mut now = began.clone();
                now.remove(&part.key());
                assert_eq!(document(&back(&now, &began, &part.key())), document(&began), "{} removed", part.key());
            }
            for section in section::SECTIONS {
                for kind in section.kinds {
                    let mut now = began.clone();
                    if let Some(added) = now.add(section, kind) {
                        assert_eq!(document(&back(&now, &began, &added)), document(&began), "{added} added");
                    }
                }
            }
        }
    }

    /// A tie that is taken back types nothing that it had handed down, and gives back what was typed before it.
    #[test]
    fn a_tie_that_is_taken_back_types_nothing() {
        const TIE: &str = "protection.2.rests_on";
        let tied = DEMOS[0].design.clone();
        let to = |number: &str| serde_json::json!({"protection": {"2": {"rests_on": number}}});
        let loose = tied.changed(&to("")).expect("loose");
        assert!(loose.head.assumed.len() > tied.head.assumed.len(), "what it had is kept and marked");
        assert_eq!(document(&back(&loose, &tied, TIE)), document(&tied));
        // Where nothing was marked before, nothing is left of the marks.
        let mut bare = tied.clone();
        for one in &tied.head.assumed {
            bare.assume(&one.value, None);
        }
        let untied = bare.changed(&to("")).expect("loose");
        assert_eq!(document(&back(&untied, &bare, TIE)), document(&bare));
        assert!(document(&bare).get("assumed").is_none());
        let again = loose.changed(&to("1")).expect("tied");
        assert_eq!(document(&back(&again, &loose, TIE)), document(&loose));
        // What it rested on is gone: there is no way back but with it.
        let mut gone = tied.clone();
        gone.remove("current.1");
        assert!(gone.taken_back(&tied, TIE).is_none());
        assert_eq!(document(&back(&gone, &tied, "current.1")), document(&tied));
    }

    /// A new part is tied at once; taken back from under the others it leaves no copy of what it gave.
    #[test]
    fn a_new_part_that_is_taken_back_leaves_no_values() {
        let began = DEMOS[0].design.clone();
        let mut now = began.clone();
        now.remove("ripple.1");
        now.remove("current.1");
        let began = now.clone();
        let (section, channel) = kind("current", "");
        let channel = now.add(section, channel).expect("there is room");
        let (section, ripple) = kind("ripple", "");
        let ripple = now.add(section, ripple).expect("there is room");
        assert_eq!(now.part(&ripple).expect("it is there").rests_on, [Some(1)]);
        let without = back(&now, &began, &channel);
        let left = without.part(&ripple).expect("it stays");
        assert_eq!((&left.rests_on[..], left.typed.len()), (&[None][..], 0));
        assert_eq!(document(&back(&without, &began, &ripple)), document(&began));
    }

    #[test]
    fn where_there_is_no_way_back_none_is_told() {
        let began = Design::start();
        for key in ["", "pack", "pack.cell_max_v", "current.1", "current.1.rests_on", "current.x.y.z"] {
            assert!(began.taken_back(&began, key).is_none(), "{key}");
        }
    }
}
