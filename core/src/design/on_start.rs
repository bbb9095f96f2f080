//! # What stands on values that nobody typed
//!
//! A requirement rests on start values when one value that nobody typed, moved alone, changes its word or the share it uses
//! by more than ten points. The values that move most are what to type or to look up next.
//!
//! ```text
//! Untouched  a number that starts or follows from the pack by a rule; the pack's own and what is handed on are another's
//! Moved      to twice and half of it, whatever its sign; a resolution by one bit, decibels by 6 dB, a temperature by 20 K;
//!            one that is zero or not given to the usual value that its field declares, or as far as `movable` says;
//!            where this is refused, half and a quarter as far
//! Not moved  choices, yes and no, lists; what is not given and has no usual value, because it is a limit or follows
//! Bounded    by a count of values: beyond it the first of every part, of each as many
//! Source     one-at-a-time sensitivity; common practice, no source
//! ```

use rayon::prelude::*;

use super::Design;
use super::assess::{Assessed, Row};
use super::movable::Movable;
use super::prepared::{OfPart, Prepared};
use super::summary::{Source, origins};
use super::turning::unit_of;
use crate::field::{Field, Kind, tree};
use crate::judge::{Judged, Verdict};
use crate::quantity::{Unit, in_sentence, percent, say, say_change};
use crate::work::{Refused, Work};

/// A share that changes by more than this rests on what changed it.
const POINTS: f64 = 0.1;
/// Values that are looked at.
const LOOKED_AT: usize = 500;
/// Values that are told.
const TOLD: usize = 5;

/// What stands on values that nobody typed.
#[derive(Clone, Debug, Default)]
pub struct OnStart {
    /// Whether each requirement of the design does, in their order.
    pub rows: Vec<bool>,
    /// The values that move most, first.
    pub next: Vec<Untouched>,
    /// How many values were not looked at.
    pub left_out: usize,
}

/// A value that nobody typed, and what it moves.
#[derive(Clone, Debug)]
pub struct Untouched {
    /// Where it stands in the document.
    pub pointer: String,
    /// Its declaration.
    pub field: &'static Field,
    /// The part it belongs to; nothing for a value of the pack.
    pub part: Option<usize>,
    /// What it stands at; nothing where it is not given.
    pub now: Option<f64>,
    /// What it was moved to, with which it moves most.
    pub then: f64,
    /// How many requirements rest on it.
    pub rows: usize,
    /// The requirement that it moves most, as a place among those of the design.
    pub row: usize,
    /// The share that this one uses then; nothing where it is no number.
    pub used_percent: Option<f64>,
    /// Its word then.
    pub verdict: Verdict,
}

impl OnStart {
    /// How many requirements stand on values that nobody typed.
    pub fn count(&self) -> usize {
        self.places().count()
    }

    /// Their places among the requirements of the design.
    pub fn places(&self) -> impl Iterator<Item = usize> {
        self.rows.iter().enumerate().filter(|(_, one)| **one).map(|(place, _)| place)
    }
}

/// A value that may be moved, and the values it is moved to, each with what to try where it is refused.
struct Candidate {
    pointer: String,
    field: &'static Field,
    part: Option<usize>,
    now: Option<f64>,
    to: Vec<[f64; 3]>,
}

/// How far a row is moved: what becomes of its word (nothing, another one, not judged, fails), and by which share.
#[derive(Clone, Copy, PartialEq, PartialOrd)]
struct Shift {
    word: u8,
    share: f64,
}

/// One row that a value moves.
struct Hit {
    row: usize,
    shift: Shift,
    to: f64,
    verdict: Verdict,
    used: Option<f64>,
}

/// What of a design stands on values that nobody typed.
///
/// # Errors
/// The work was stopped.
pub fn on_start(assessed: &Assessed, work: Work) -> Result<OnStart, Refused> {
    let design = &assessed.design;
    let mut rows = vec![false; assessed.requirements.len()];
    let prepared = Prepared::new(design, work)?;
    let now = prepared.verdicts(work)?;
    let (candidates, left_out) = candidates(design, &prepared);
    let place = |part: usize, one: &Judged| {
        let same = |row: &Row| row.part == part && row.check.id == one.id && row.check.key == one.key;
        assessed.requirements.iter().position(same)
    };
    let of_part = |(part, rows): (usize, &OfPart)| rows.iter().flatten().map(|one| place(part, one)).collect();
    let places = now.iter().enumerate().map(of_part).collect();
    let scale = Scale { now: &now, places, thin: design.head.requirements.thin_from_percent };
    let scanned = candidates.par_iter().map_init(|| prepared.clone(), |ready, one| scale.hits(ready, one, work));
    let mut next: Vec<(Shift, Untouched)> = Vec::new();
    for (one, hits) in candidates.iter().zip(scanned.collect::<Result<Vec<_>, Refused>>()?) {
        for hit in &hits {
            rows[hit.row] = true;
        }
        let most = hits.iter().reduce(|most, hit| if hit.shift > most.shift { hit } else { most });
        next.extend(most.map(|most| (most.shift, untouched(one, most, hits.len()))));
    }
    // Stable: of equals the one that is typed first.
    next.sort_by(|(a, _), (b, _)| b.word.cmp(&a.word).then(b.share.total_cmp(&a.share)));
    Ok(OnStart { rows, next: next.into_iter().take(TOLD).map(|(_, one)| one).collect(), left_out })
}

fn untouched(one: &Candidate, most: &Hit, rows: usize) -> Untouched {
    Untouched {
        pointer: one.pointer.clone(),
        field: one.field,
        part: one.part,
        now: one.now,
        then: most.to,
        rows,
        row: most.row,
        used_percent: most.used.map(|used| used * 100.0 + 0.0),
        verdict: most.verdict,
    }
}

/// The numbers that nobody typed, and how many are left out.
fn candidates(design: &Design, prepared: &Prepared) -> (Vec<Candidate>, usize) {
    let own: Vec<(String, Source)> = origins(design);
    let untouched = |pointer: &str| {
        let from = own.iter().find(|(other, _)| other == pointer).map(|(_, from)| *from);
        from.is_none_or(|from| matches!(from, Source::Start | Source::Pack))
    };
    let mut found: Vec<Candidate> = Movable::of_pack(&design.head)
        .into_iter()
        .filter(|one| untouched(&one.pointer))
        .map(|one| Candidate::present(&one))
        .collect();
    let mut of_parts: Vec<Vec<Candidate>> = Vec::with_capacity(design.parts.len());
    for (index, part) in design.parts.iter().enumerate() {
        let trials = |pointer: &str| pointer.contains("/experiment/");
        let present = Movable::of_part(design, prepared, index);
        let handed: Vec<&str> = part.handed_down().collect();
        let mut of_part: Vec<Candidate> = Vec::new();
        tree::walk(part.entry().fields, &mut |own, field| {
            let pointer = format!("{}{own}", part.pointer());
            if trials(&pointer) || !untouched(&pointer) {
                return;
            }
            let mine = handed.iter().all(|other| !own.starts_with(other));
            of_part.extend(match present.iter().find(|one| one.pointer == pointer) {
                Some(one) => Some(Candidate::present(one)),
                None if mine => Candidate::absent(index, pointer, field),
                None => None,
            });
        });
        of_parts.push(of_part);
    }
    let kept = |share: usize| of_parts.iter().map(|of_part| of_part.len().min(share)).sum::<usize>();
    let all = kept(usize::MAX);
    let share = (1..=LOOKED_AT).take_while(|share| found.len() + kept(*share) <= LOOKED_AT).last().unwrap_or(0);
    let left_out = all - kept(share);
    found.extend(of_parts.into_iter().flat_map(|of_part| of_part.into_iter().take(share)));
    (found, left_out)
}

impl Candidate {
    /// A number that stands at something: both ways, or where it is nothing at its usual value.
    fn present(one: &Movable) -> Self {
        let near = |sign: f64| [1.0, 0.5, 0.25].map(|share| moved(one, sign, share));
        let to = match usual(one.field) {
            Some(like) if one.now == 0.0 => vec![[like; 3]],
            _ => [1.0, -1.0].map(near).to_vec(),
        };
        let (pointer, field) = (one.pointer.clone(), one.field);
        Self { pointer, field, part: one.part, now: Some(one.now), to }
    }

    /// A number that is not given, at its usual value.
    fn absent(part: usize, pointer: String, field: &'static Field) -> Option<Self> {
        let to = vec![[usual(field)?; 3]];
        Some(Self { pointer, field, part: Some(part), now: None, to })
    }
}

/// Twice or half of a value, or a share of that way: of a resolution one bit, of decibels six; a temperature 20 K.
fn moved(one: &Movable, sign: f64, share: f64) -> f64 {
    let by = |step: f64| (one.now + sign * step * share).clamp(one.range[0], one.range[1]);
    match one.field.unit() {
        Some(Unit::Bit) => (one.now + sign).clamp(one.range[0], one.range[1]),
        Some(Unit::Decibel) => by(6.0),
        Some(Unit::Celsius) => by(20.0),
        _ if one.now != 0.0 && !one.by_ratio() => {
            let value = one.now * libm::exp2(sign * share);
            let short: f64 = format!("{value:.2e}").parse().unwrap_or(value);
            short.clamp(one.range[0], one.range[1])
        }
        _ => one.printed(sign * share * std::f64::consts::LN_2),
    }
}

/// The usual value that a field declares for a number that starts at nothing.
fn usual(field: &Field) -> Option<f64> {
    match field.kind {
        Kind::Number { like, .. } => like,
        _ => None,
    }
}

/// What rows are compared with.
struct Scale<'a> {
    now: &'a [OfPart],
    /// Where each row of a part stands among those of the design.
    places: Vec<Vec<Option<usize>>>,
    thin: f64,
}

impl Scale<'_> {
    /// The rows that a value moves, each where it moves most.
    fn hits(&self, ready: &mut Prepared, one: &Candidate, work: Work) -> Result<Vec<Hit>, Refused> {
        let mut hits: Vec<Hit> = Vec::new();
        for to in &one.to {
            for value in to {
                work.go_on()?;
                let Some(moved) = ready.rejudge(&one.pointer, *value, work)? else { continue };
                if moved.iter().any(|(part, rows)| rows.is_err() && self.now[*part].is_ok()) {
                    continue;
                }
                for (part, rows) in &moved {
                    self.compare(*part, rows, *value, &mut hits);
                }
                break;
            }
        }
        Ok(hits)
    }

    fn compare(&self, part: usize, rows: &OfPart, to: f64, hits: &mut Vec<Hit>) {
        let Ok(before) = &self.now[part] else { return };
        let verdict = |one: &Judged| one.outcome.verdict(self.thin);
        for (row, place) in before.iter().zip(&self.places[part]) {
            let Some(place) = *place else { continue };
            let is = rows.iter().flatten().find(|other| other.id == row.id && other.key == row.key);
            let then = is.map_or(Verdict::NotJudged, verdict);
            let (was, used) = (row.outcome.used(), is.and_then(|is| is.outcome.used()));
            let share = was.zip(used).map_or(0.0, |(was, used)| (used - was).abs());
            let word = match then {
                then if then == verdict(row) => 0,
                Verdict::Fails => 3,
                Verdict::NotJudged | Verdict::NotResolved => 2,
                _ => 1,
            };
            let shift = Shift { word, share };
            if word == 0 && share <= POINTS {
                continue;
            }
            let hit = Hit { row: place, shift, to, verdict: then, used };
            match hits.iter_mut().find(|other| other.row == place) {
                Some(other) if hit.shift > other.shift => *other = hit,
                Some(_) => {}
                None => hits.push(hit),
            }
        }
    }
}

/// What a reader calls an untouched value: with its part.
pub fn label(assessed: &Assessed, one: &Untouched) -> String {
    let Some(part) = one.part.map(|part| &assessed.parts[part].part) else {
        return assessed.design.head.pack.words(&format!("Pack: {}", one.field.label));
    };
    let own = one.pointer.strip_prefix(&part.pointer()).and_then(|own| tree::name(part.entry().fields, own));
    format!("{}: {}", part.title(), own.unwrap_or_else(|| one.field.label.into()))
}

/// What an untouched value moves, in words: "not given; with 25 ppm/K: error at 403 V fails, 132 %; 3 rest on it".
pub fn what_it_moves(assessed: &Assessed, one: &Untouched) -> String {
    let unit = unit_of(one.field);
    let [now, then] = match one.now {
        Some(now) => say_change(now, one.then, unit).map(|value| value.to_string()),
        None => ["not given".into(), say(one.then, unit)],
    };
    let word = in_sentence(one.verdict.word());
    let used = one.used_percent.map_or_else(String::new, |used| format!(", {}", percent(used)));
    let others = if one.rows > 1 { format!("; {} rest on it", one.rows) } else { String::new() };
    let row = in_sentence(&assessed.requirements[one.row].check.label);
    format!("{now}; with {then}: {row} {word}{used}{others}")
}

#[cfg(test)]
mod tests {
    use super::usual;
    use crate::design::section::SECTIONS;
    use crate::field::{Kind, Start, tree};

    /// A value of nothing cannot be doubled.
    #[test]
    fn every_number_that_starts_at_zero_has_a_usual_value_that_is_accepted() {
        for kind in SECTIONS.iter().flat_map(|section| section.kinds) {
            tree::walk(kind.entry.fields, &mut |pointer, field| {
                let zero = matches!(field.kind, Kind::Number { start: Start::Default(0.0) | Start::Required(0.0), .. });
                let like = usual(field);
                assert!(!zero || like.is_some(), "{} {pointer}", kind.entry.meta.slug);
                assert!(like.is_none_or(|like| field.takes(like)), "{} {pointer}", kind.entry.meta.slug);
            });
        }
    }
}
