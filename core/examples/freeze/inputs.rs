//! Random inputs of a calculation, the same at every run. Most are a sensible input with some of its fields moved
//! nearby, so that what follows from them is sensible too; some are anywhere in range.

use sensewright_core::calculation::Entry;
use sensewright_core::demo::DEMOS;
use sensewright_core::design::prepared::Prepared;
use sensewright_core::field::{Field, Kind, Notation, Start};
use sensewright_core::quantity::Unit;
use sensewright_core::work::Work;
use serde_json::{Map, Value, json};

type Group = Map<String, Value>;

/// How many inputs may be refused for each one that is wanted.
const TRIES: usize = 20;
/// The time of a case is set by its trials.
const TRIALS: [u64; 2] = [1000, 2000];
/// Most rows of a list and most entries of numbers, unless it starts with more.
const FEW: usize = 6;

/// The inputs of a calculation.
pub struct Found {
    /// The accepted ones, the example first.
    pub lines: Vec<Value>,
    /// How many were made.
    pub tried: usize,
}

/// The example and `count` random inputs that the calculation accepts.
pub fn of(entry: &Entry, count: usize) -> Found {
    let bases = bases(entry);
    // FNV-1a: each calculation has numbers of its own.
    let seed = entry
        .meta
        .slug
        .bytes()
        .fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3));
    let mut dice = Dice { state: seed, hints: Vec::new() };
    for base in &bases {
        hints(entry.fields, base, &mut dice.hints);
    }
    let mut lines = vec![Value::Object(bases[0].clone())];
    let mut tried = 1;
    while lines.len() <= count && tried < count * TRIES {
        // The example is moved in half of the cases, a demo's part in the others.
        let base = if dice.one_in(2) { 0 } else { dice.below(bases.len()) };
        let fields = leaves(entry.fields) as f64;
        let chance = match dice.below(10) {
            0 => 1.0,
            1 => 0.5,
            _ => (1 + dice.below(8)) as f64 / fields,
        };
        let input = Value::Object(dice.vary(entry.fields, &bases[base], chance));
        tried += 1;
        if !lines.contains(&input) && entry.answer(Some(&input), Notation::Json).is_ok() {
            lines.push(input);
        }
    }
    Found { lines, tried }
}

/// The example with few trials, and what the demo designs ask of this calculation.
fn bases(entry: &Entry) -> Vec<Group> {
    let mut bases = vec![entry.start().clone()];
    for design in DEMOS.iter().map(|demo| &demo.design) {
        let Ok(ready) = Prepared::new(design, Work::FREE) else { continue };
        let parts = design.parts.iter().enumerate();
        let own = parts.filter(|(_, part)| part.entry().meta.slug == entry.meta.slug);
        bases.extend(own.map(|(at, _)| ready.input(at).written()));
    }
    bases.iter_mut().for_each(few_trials);
    bases
}

fn few_trials(group: &mut Group) {
    for (key, value) in group {
        match value {
            Value::Object(inner) => few_trials(inner),
            _ if key == "trials" => *value = json!(TRIALS[0]),
            _ => {}
        }
    }
}

/// The numbers of a sensible input: an unknown of the same name or unit lies near one of them.
fn hints(fields: &'static [Field], group: &Group, found: &mut Vec<(&'static str, Unit, f64)>) {
    for field in fields {
        match (field.kind, group.get(field.key)) {
            (Kind::Group { fields }, Some(Value::Object(inner))) => hints(fields, inner, found),
            (Kind::Number { unit, .. }, Some(value)) => {
                found.extend(value.as_f64().filter(|value| *value != 0.0).map(|value| (field.key, unit, value)));
            }
            _ => {}
        }
    }
}

fn leaves(fields: &[Field]) -> usize {
    let of = |field: &Field| if let Kind::Group { fields } = field.kind { leaves(fields) } else { 1 };
    fields.iter().map(of).sum()
}

/// What a row starts with.
fn row(fields: &[Field]) -> Group {
    let start = |field: &Field| match field.kind {
        Kind::Number { start: Start::Required(value) | Start::Default(value), .. } => Some(json!(value)),
        Kind::Number { start: Start::Absent | Start::Shown(_), .. } => None,
        Kind::Whole { start, .. } => Some(json!(start)),
        Kind::YesNo { start } => Some(json!(start)),
        Kind::Choice { start, .. } | Kind::Text { start, .. } => Some(json!(start)),
        Kind::Numbers { start, .. } => Some(json!(start)),
        Kind::Group { fields } => Some(Value::Object(row(fields))),
        Kind::List { .. } => Some(json!([])),
    };
    fields.iter().filter_map(|field| Some((field.key.to_owned(), start(field)?))).collect()
}

/// splitmix64, with the numbers of sensible inputs.
struct Dice {
    state: u64,
    hints: Vec<(&'static str, Unit, f64)>,
}

impl Dice {
    fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * ((self.bits() >> 11) as f64 / (1u64 << 53) as f64)
    }

    fn below(&mut self, count: usize) -> usize {
        usize::try_from(self.bits() % count.max(1) as u64).unwrap_or(0)
    }

    fn one_in(&mut self, count: usize) -> bool {
        self.below(count) == 0
    }

    /// A group whose fields are each moved with a chance.
    fn vary(&mut self, fields: &'static [Field], group: &Group, chance: f64) -> Group {
        let mut out = Group::new();
        for field in fields {
            let now = group.get(field.key);
            let moves = self.within(0.0, 1.0) < chance;
            let value = match (field.kind, now) {
                (Kind::Group { fields }, Some(Value::Object(inner))) => {
                    Some(Value::Object(self.vary(fields, inner, chance)))
                }
                _ if !moves => now.cloned(),
                _ => self.moved(field, now, chance),
            };
            out.extend(value.map(|value| (field.key.to_owned(), value)));
        }
        out
    }

    fn moved(&mut self, field: &'static Field, now: Option<&Value>, chance: f64) -> Option<Value> {
        Some(match field.kind {
            Kind::Number { start: Start::Absent | Start::Shown(_), .. } if self.one_in(2) => return None,
            Kind::Number { unit, min, max, .. } => {
                let now = now.and_then(Value::as_f64);
                let near = now.filter(|now| *now != 0.0).or_else(|| self.hint(field.key, unit));
                json!(self.number(near, unit, [min, max]))
            }
            Kind::Whole { .. } if field.key == "trials" => {
                json!(TRIALS[0] + self.bits() % (TRIALS[1] - TRIALS[0] + 1))
            }
            Kind::Whole { min, max, .. } => {
                let (min, max) = (u64::from(min), u64::from(max));
                let now = now.and_then(Value::as_u64).unwrap_or(min);
                // Counts set the time of a case, so the far end of a wide range is left out.
                let span = (max - min).min(100 * (now + 1));
                let value = if self.one_in(2) {
                    (now + self.bits() % 7).saturating_sub(3)
                } else {
                    min + self.bits() % (span + 1)
                };
                json!(value.clamp(min, max))
            }
            Kind::YesNo { .. } => json!(self.one_in(2)),
            Kind::Choice { options, .. } => json!(options[self.below(options.len())].0),
            Kind::Text { .. } => json!(format!("name{}", self.below(100))),
            Kind::Numbers { unit, min, max, most, .. } => {
                let mut list = now.and_then(Value::as_array).cloned().unwrap_or_default();
                self.resize(&mut list, 1, most, |_| json!(min));
                let moved = list.iter().map(|one| self.number(one.as_f64(), unit, [min, max]));
                json!(moved.collect::<Vec<_>>())
            }
            Kind::Group { fields } => Value::Object(self.vary(fields, &row(fields), chance)),
            Kind::List { fields, least, most, .. } => {
                let mut list = now.and_then(Value::as_array).cloned().unwrap_or_default();
                self.resize(&mut list, least, most, |dice| Value::Object(dice.vary(fields, &row(fields), 1.0)));
                match self.below(3) {
                    0 => self.scale(fields, &mut list),
                    1 => self.vary_rows(fields, &mut list),
                    _ => self.odd(fields, &mut list),
                }
                Value::Array(list)
            }
        })
    }

    /// Takes some entries out or puts some in, each beside one that is like it.
    fn resize(&mut self, list: &mut Vec<Value>, least: usize, most: usize, fresh: impl Fn(&mut Self) -> Value) {
        let most = most.min(list.len().max(FEW));
        // Few points, as few as are taken: what rests on spare ones is not there.
        if self.one_in(6) {
            list.truncate(least + self.below(3));
        }
        for _ in 0..self.below(4) {
            if list.len() > least && self.one_in(2) {
                list.remove(self.below(list.len()));
            } else if list.len() < most {
                let at = self.below(list.len() + 1);
                let entry = list.get(at).cloned().unwrap_or_else(|| fresh(self));
                list.insert(at, entry);
            }
        }
        while list.len() < least {
            list.push(fresh(self));
        }
    }

    /// Moves the numbers of a column together: a list in order stays in order.
    fn scale(&mut self, fields: &'static [Field], rows: &mut [Value]) {
        for field in fields {
            let Kind::Number { min, max, .. } = field.kind else { continue };
            let factor = if self.one_in(2) { 10f64.powf(self.within(-0.3, 0.3)) } else { 1.0 };
            for value in rows.iter_mut().filter_map(|row| row.get_mut(field.key)) {
                let Some(now) = value.as_f64() else { continue };
                let apart = self.within(0.9995, 1.0005);
                *value = json!(rounded(now * factor * apart).clamp(min, max));
            }
        }
    }

    /// One row that does not fit the others.
    fn odd(&mut self, fields: &'static [Field], rows: &mut [Value]) {
        let at = self.below(rows.len());
        for field in fields {
            let Kind::Number { min, max, .. } = field.kind else { continue };
            if let Some(value) = rows.get_mut(at).and_then(|row| row.get_mut(field.key))
                && self.one_in(2)
                && let Some(now) = value.as_f64()
            {
                *value = json!((now * self.within(0.98, 1.02)).clamp(min, max));
            }
        }
    }

    fn vary_rows(&mut self, fields: &'static [Field], rows: &mut [Value]) {
        for row in rows {
            if let Value::Object(group) = row {
                *group = self.vary(fields, group, 0.2);
            }
        }
    }

    /// A sensible number for what is not known: one of the same name, or of the same unit.
    fn hint(&mut self, key: &str, unit: Unit) -> Option<f64> {
        let named: Vec<f64> = self.hints.iter().filter(|hint| hint.0 == key).map(|hint| hint.2).collect();
        let alike: Vec<f64> = self.hints.iter().filter(|hint| hint.1 == unit).map(|hint| hint.2).collect();
        let from = if named.is_empty() { alike } else { named };
        from.get(self.below(from.len())).copied()
    }

    fn number(&mut self, near: Option<f64>, unit: Unit, [min, max]: [f64; 2]) -> f64 {
        let value = match (near, self.below(12)) {
            (None, _) | (_, 0) => self.anywhere([min, max]),
            (_, 1) if min <= 0.0 && max >= 0.0 => 0.0,
            (Some(near), 2..=4) if unit == Unit::Celsius => near + self.within(-40.0, 40.0),
            (Some(near), 2..=7) => near * 10f64.powf(self.within(-0.1, 0.1)),
            (Some(near), _) => near * 10f64.powf(self.within(-0.5, 0.5)),
        };
        rounded(value).clamp(min, max)
    }

    /// An end, or even on a logarithmic or linear scale.
    fn anywhere(&mut self, [min, max]: [f64; 2]) -> f64 {
        match self.below(8) {
            0 => min,
            1 => max,
            2..=5 if max > 0.0 => {
                let low = min.max(max * 1e-9);
                low * (max / low).powf(self.within(0.0, 1.0))
            }
            _ => self.within(min, max),
        }
    }
}

/// Four digits, as an engineer types them.
fn rounded(value: f64) -> f64 {
    format!("{value:.3e}").parse().unwrap_or(value)
}
