//! What a design made ready tells besides its verdicts: who rests on whom, whether that matters, how far a channel reads.

use super::doubts::Doubt;
use super::{Larger, LeftOut, OfPart, Prepared, Ready, not_assessed, not_given};
use crate::calculation::Entry;
use crate::field::{Typed, tree};
use crate::judge::{Judged, Outcome};
use crate::quantity::in_sentence;
use crate::work::{Refused, Work};

impl Prepared {
    /// The requirements of a part with one of the values that are handed on to it times a factor, and whose value that is.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn rejudge_handed(&self, part: usize, factor: f64, work: Work) -> Result<Vec<(usize, OfPart)>, Refused> {
        let ready = &self.parts[part];
        let mut judged = Vec::new();
        for (link, taken) in ready.links.iter().zip(&ready.taken) {
            for (source, one) in taken.iter().flatten().filter_map(|one| Some((link.source?, one))) {
                let larger = Larger { to: one.to, factor };
                if larger.put(&mut *ready.input.copy()) {
                    work.go_on()?;
                    judged.push((source, self.judged(part, Some(larger), work)?));
                }
            }
        }
        Ok(judged)
    }

    /// The requirements of a part that stand open because of what an error that is handed on leaves out, or because another
    /// part tells otherwise what they rest on: their places in the order of its calculation, and why.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn open(&self, part: usize, work: Work) -> Result<Vec<(usize, String)>, Refused> {
        let at = part;
        let part = &self.parts[at];
        let whole = part.taken.iter().flatten().flatten().all(|one| one.without.is_none());
        if whole && self.unsettling(at).is_empty() {
            return Ok(Vec::new());
        }
        let rows = match part.entry.verdicts(&*part.input, work) {
            Ok(rows) => rows,
            // Its answer says the same.
            Err(Refused::Faults(_)) => Vec::new(),
            Err(Refused::Stopped) => return Err(Refused::Stopped),
        };
        let why = |LeftOut { part, pointer }| {
            let what: Vec<String> =
                self.lacking(part, pointer).into_iter().map(|one| self.name_of(part, one)).collect();
            let (what, part) = (what.join(", "), &self.parts[part]);
            format!("it rests on the error of {}, which leaves out what is not given: {what}", part.title)
        };
        let left_out = part.open(&rows, &*part.input, work)?.into_iter().map(|(place, left)| (place, why(left)));
        let otherwise = |(told, doubt): &(usize, Doubt)| {
            let words = in_sentence(&self.head.pack.words(&self.words(&self.parts[*told], doubt)));
            let words = words.trim_end_matches('.');
            if *told == at { words.to_owned() } else { format!("of {}: {words}", self.parts[*told].title) }
        };
        let all = |told: &[(usize, Doubt)]| told.iter().map(otherwise).collect::<Vec<_>>().join("; ");
        let unsettled = self.unsettled(at, &rows, None, work)?;
        Ok(left_out.chain(unsettled.iter().map(|(place, told)| (*place, all(told)))).collect())
    }

    /// What single requirements of a part will wait for once it has what it needs to be asked at all: as it is drawn until then.
    ///
    /// # Errors
    /// The work was stopped.
    pub fn waits_later(&self, at: usize, work: Work) -> Result<Vec<&'static str>, Refused> {
        let part = &self.parts[at];
        let rows = match part.entry.verdicts(&*part.input, work) {
            Ok(rows) => rows,
            // With what is typed it may be accepted.
            Err(Refused::Faults(_)) => Vec::new(),
            Err(Refused::Stopped) => return Err(Refused::Stopped),
        };
        let mut found: Vec<&'static str> = Vec::new();
        for row in rows {
            if let Outcome::NotJudged(missing) = row.outcome
                && !found.contains(&missing)
                && part.not_given.iter().all(|(_, pointer)| *pointer != missing)
            {
                found.push(missing);
            }
        }
        Ok(found)
    }

    /// All that a row of a part needs and that was not given, where one of it is known.
    pub fn lacking(&self, part: usize, known: &'static str) -> Vec<&'static str> {
        let channel = self.parts[part].entry.channel(self.input(part));
        let all = channel.map_or_else(Vec::new, |channel| channel.all_missing());
        if all.contains(&known) { all } else { vec![known] }
    }

    /// All that was not given and without which a row of a part is not judged, by where it stands in the document: where it is
    /// no input of its own, what the errors that are handed on leave out, and what others tell otherwise.
    pub fn lacking_of(&self, at: usize, own: Option<&'static str>) -> Vec<String> {
        let mut all =
            own.map_or_else(|| self.handed_without(at), |pointer| self.places(vec![LeftOut { part: at, pointer }]));
        let doubts = if own.is_none() { self.unsettling(at) } else { Vec::new() };
        all.extend(doubts.into_iter().map(|(part, doubt)| format!("{}{}", self.parts[part].pointer, doubt.at)));
        all
    }

    /// What the values that are handed on to a part leave out, by where it stands in the document.
    pub fn handed_without(&self, at: usize) -> Vec<String> {
        self.places(self.parts[at].taken.iter().flatten().flatten().filter_map(|one| one.without).collect())
    }

    fn places(&self, left_out: Vec<LeftOut>) -> Vec<String> {
        let mut all = Vec::new();
        for LeftOut { part, pointer } in left_out {
            for one in self.lacking(part, pointer) {
                let place = format!("{}{one}", self.parts[part].pointer);
                if !all.contains(&place) {
                    all.push(place);
                }
            }
        }
        all
    }

    /// What a reader calls a value of a part.
    pub fn name_of(&self, part: usize, pointer: &str) -> String {
        tree::name(self.parts[part].entry.fields, pointer).unwrap_or_else(|| pointer.into())
    }

    /// Whether a part is a channel.
    pub fn is_channel(&self, part: usize) -> bool {
        self.parts[part].entry.channel(self.input(part)).is_some()
    }

    /// How far a channel reads, up and down; nothing of a part that is none.
    pub fn reach_now(&self, part: usize) -> Option<[f64; 2]> {
        reach(self.parts[part].entry, self.input(part))
    }

    /// The same when a value of its own is another; nothing where that is not accepted.
    pub fn reach(&self, part: usize, pointer: &str, value: f64) -> Option<[f64; 2]> {
        let (at, below) = self.place(pointer).filter(|(at, _)| *at == part)?;
        let (entry, mut input) = (self.parts[at].entry, self.parts[at].input.copy());
        let accepted = input.put(below, value) && !entry.contradicts(&*input);
        accepted.then(|| reach(entry, &*input)).flatten()
    }

    /// The requirements of a part as it stands in the design.
    pub(super) fn of_part(&self, at: usize, work: Work) -> Result<OfPart, Refused> {
        let part = &self.parts[at];
        if part.faults().is_some() {
            return Ok(Ok(vec![not_assessed(part.links.first().map_or("", |link| link.rests.named_at))]));
        }
        if !part.not_given.is_empty() {
            return Ok(Ok(part.not_given.iter().map(|one| not_given(*one)).collect()));
        }
        self.judged(at, None, work)
    }

    /// The requirements of a part, with one of its values larger or as it is; the faults where it contradicts itself.
    pub(super) fn judged(&self, at: usize, larger: Option<Larger>, work: Work) -> Result<OfPart, Refused> {
        let part = &self.parts[at];
        let mut input = part.input.copy();
        if larger.is_some_and(|larger| !larger.put(&mut *input)) {
            return Ok(Err(Vec::new()));
        }
        match part.entry.verdicts(&*input, work) {
            Ok(mut rows) => {
                let unsettled = self.unsettled(at, &rows, larger, work)?;
                for (place, _) in part.open(&rows, &*input, work)? {
                    rows[place] = rows[place].left_open();
                }
                for (place, _) in unsettled {
                    rows[place] = rows[place].left_open();
                }
                rows.retain(|row| !part.left_out.contains(&row.field.pointer));
                Ok(Ok(rows))
            }
            Err(Refused::Faults(faults)) => Ok(Err(faults)),
            Err(Refused::Stopped) => Err(Refused::Stopped),
        }
    }

    /// Whether each part stands under another one: itself, what it rests on, and what that rests on.
    pub fn under(&self, part: usize) -> Vec<bool> {
        let mut under = vec![false; self.parts.len()];
        let mut next = vec![part];
        while let Some(at) = next.pop() {
            if !under[at] {
                under[at] = true;
                next.extend(self.parts[at].links.iter().filter_map(|link| link.source));
            }
        }
        under
    }
}

/// How much larger an error is taken that leaves something out, to see which rows rest on it: a little, and far beyond rows
/// that are or are not.
pub(in crate::design) const LARGER: [f64; 2] = [1.25, 30.0];

impl Ready {
    /// Whether an input takes how far a channel reads.
    fn reaches(&self, to: &str) -> bool {
        let mut carried = self.links.iter().flat_map(|link| link.rests.carried);
        carried.any(|carried| carried.to == to && carried.take.is_reach())
    }

    /// The rows that rest on an error that leaves something out, by their places, and what it is: they move when the error is
    /// larger, or are not to be judged then.
    fn open(&self, rows: &[Judged], input: &dyn Typed, work: Work) -> Result<Vec<(usize, LeftOut)>, Refused> {
        let mut open: Vec<(usize, LeftOut)> = Vec::new();
        let lacking = || self.taken.iter().flatten().flatten().filter(|one| one.without.is_some());
        let Some(left_out) = lacking().find_map(|one| one.without) else { return Ok(open) };
        for factor in LARGER {
            let mut larger = input.copy();
            for one in lacking() {
                let value = match one.value {
                    // Nothing grows by no factor: such an error is taken as so many of its unit.
                    0.0 => factor,
                    // What reads more wrongly reads less far.
                    reach if self.reaches(one.to) => reach / factor,
                    error => error * factor,
                };
                if !larger.put(one.to, value) && factor == LARGER[0] {
                    // An error that may not even be a little larger: what rests on it is not known.
                    return Ok((0..rows.len()).map(|place| (place, left_out)).collect());
                }
            }
            work.go_on()?;
            let then = match self.entry.verdicts(&*larger, work) {
                Ok(rows) => rows,
                Err(Refused::Faults(_)) => Vec::new(),
                Err(Refused::Stopped) => return Err(Refused::Stopped),
            };
            let moves = |(place, row): &(usize, &Judged)| {
                let same = |other: &&Judged| other.id == row.id && other.key == row.key;
                open.iter().all(|(other, _)| other != place)
                    && then.iter().find(same).is_none_or(|other| other.outcome != row.outcome)
            };
            let more: Vec<usize> = rows.iter().enumerate().filter(moves).map(|(place, _)| place).collect();
            open.extend(more.into_iter().map(|place| (place, left_out)));
        }
        Ok(open)
    }
}

/// How far a channel reads, up and down.
fn reach(entry: &Entry, input: &dyn Typed) -> Option<[f64; 2]> {
    let channel = entry.channel(input)?;
    let down = channel.full_below().or_else(|| channel.reads_from().map(|from| -from));
    Some([channel.full_at(), down].map(|end| end.unwrap_or(f64::INFINITY)))
}
