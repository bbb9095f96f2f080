//! The values of a design as a list on paper: every one by its label, under its part and its group.

use sensewright_core::design::assess::{Assessed, AssessedPart};
use sensewright_core::design::pack::Pack;
use sensewright_core::design::summary::{Source, origins};
use sensewright_core::design::{Design, Head, Part, starts};
use sensewright_core::field::{Field, Group, Kind, tree};
use sensewright_core::quantity::{Quantity, Unit, say};
use serde_json::{Map, Value};

use crate::form::lean::of_the_pack;
use crate::form::words::with_unit;

/// The values of a part, or of the pack.
#[derive(Debug)]
pub struct PartValues {
    /// What it is called.
    pub title: String,
    /// Its groups.
    pub groups: Vec<GroupValues>,
}

/// The values of a group.
#[derive(Debug)]
pub struct GroupValues {
    /// What it is called.
    pub title: String,
    /// Its values.
    pub rows: Vec<ValueRow>,
}

/// A value.
#[derive(Debug)]
pub struct ValueRow {
    /// Its label.
    pub label: String,
    /// The value with its unit.
    pub value: String,
    /// Where it comes from, where that is no matter of course.
    pub from: String,
}

impl ValueRow {
    /// Whether it needs a line of its own.
    pub fn is_long(&self) -> bool {
        self.value.chars().count() > LINE
    }

    /// Whether it is a list of rows that needs the whole width.
    pub fn is_list(&self) -> bool {
        self.value.chars().count() > ROWS
    }

    /// The rows of a list, one a line.
    pub fn rows(&self) -> String {
        self.value.replace("; ", ";\n")
    }
}

/// From how many letters on a value takes the whole width, each of its rows a line.
const ROWS: usize = 300;
/// How many letters of a value stand beside its label.
const LINE: usize = 22;
/// A longer number was not typed by a hand.
const EXACT: usize = 14;

/// The values that were typed, with where an assumed one comes from; and what a part rests on.
pub fn typed(assessed: &Assessed) -> Vec<PartValues> {
    listed(assessed, &|design, key, source| match source {
        Source::Typed => Some(String::new()),
        Source::Assumed => {
            let why = design.head.assumed.iter().find(|one| one.value == key).map(|one| one.why.as_str());
            let why = why.filter(|why| !why.is_empty());
            Some(why.map_or_else(|| "assumed".into(), |why| format!("assumed: {why}")))
        }
        _ => None,
    })
}

/// The values that nobody typed.
pub fn untouched(assessed: &Assessed) -> Vec<PartValues> {
    let mut all = listed(assessed, &|_, _, source| match source {
        Source::Start => Some(String::new()),
        Source::Pack => Some(assessed.design.head.pack.words(" (pack)")),
        Source::Part => Some(" (part)".into()),
        _ => None,
    });
    let groups = all.iter_mut().flat_map(|part| &mut part.groups);
    groups.flat_map(|group| &mut group.rows).for_each(|row| row.label += &std::mem::take(&mut row.from));
    all
}

/// Labels of what has no value until it is typed.
pub fn not_given(assessed: &Assessed) -> Vec<String> {
    let design = &assessed.design;
    let open = origins(design).into_iter().filter(|(_, source)| *source == Source::Open);
    open.filter_map(|(pointer, _)| {
        let part = design.parts.iter().find(|part| below(part, &pointer).is_some())?;
        Some(format!("{}: {}", part.title(), tree::name(part.entry().fields, below(part, &pointer)?)?))
    })
    .collect()
}

fn below<'p>(part: &Part, pointer: &'p str) -> Option<&'p str> {
    pointer.strip_prefix(&part.pointer()).filter(|own| own.starts_with('/'))
}

/// Takes the values of which `wanted` says where they come from.
type Wanted<'a> = &'a dyn Fn(&Design, &str, Source) -> Option<String>;

fn listed(assessed: &Assessed, wanted: Wanted) -> Vec<PartValues> {
    let design = &assessed.design;
    let found = origins(design);
    let head = Group::write(&design.head);
    let mut own = Groups::of(design);
    for (pointer, source) in
        found.iter().filter(|(pointer, _)| pointer.starts_with("/pack/") || pointer.starts_with("/requirements/"))
    {
        let key = pointer.trim_start_matches('/').replace('/', ".");
        if let Some(from) = wanted(design, &key, *source) {
            own.take(Head::FIELDS, pointer, &head, true, from);
        }
    }
    let pack = PartValues { title: design.head.pack.words("Pack and requirements"), groups: own.all };
    let parts = assessed.parts.iter().map(|one| of_part(design, one, &found, wanted));
    std::iter::once(pack).chain(parts).filter(|part| !part.groups.is_empty()).collect()
}

fn of_part(design: &Design, one: &AssessedPart, found: &[(String, Source)], wanted: Wanted) -> PartValues {
    let part = &one.part;
    let mut own = Groups::of(design);
    // Typed, too: which other part it takes from.
    if wanted(design, "", Source::Typed).is_some() {
        for (rests, number) in part.resting() {
            let title = design.source(rests, number).map(Part::title).unwrap_or_default();
            own.push(String::new(), ValueRow { label: rests.label.into(), value: title, from: String::new() });
        }
    }
    let empty = Map::new();
    let input = one.answer.input.as_object().unwrap_or(&empty);
    for (pointer, source) in found {
        let Some(pointer) = below(part, pointer) else { continue };
        // What another choice would ask for and nobody typed is no value of this design.
        if *source == Source::Start && starts::is_unused(design, part, pointer) {
            continue;
        }
        let key = format!("{}{}", part.key(), pointer.replace('/', "."));
        if let Some(from) = wanted(design, &key, *source) {
            let typed = tree::at(&part.typed, pointer).is_some();
            let values = if typed { &part.typed } else { input };
            own.take(part.entry().fields, pointer, values, typed, from);
        }
    }
    // What a choice leaves out counts nowhere, and says so.
    for idle in part.idle() {
        let title = own.title(part.entry().fields, &format!("{idle}/x"));
        for group in own.all.iter_mut().filter(|group| group.title == title) {
            group.title += ", does not count";
        }
    }
    PartValues { title: part.title(), groups: own.all }
}

/// Groups in the order in which their values come, in the words of their design.
struct Groups<'a> {
    pack: &'a Pack,
    all: Vec<GroupValues>,
}

impl<'a> Groups<'a> {
    const fn of(design: &'a Design) -> Self {
        Self { pack: &design.head.pack, all: Vec::new() }
    }

    fn take(&mut self, fields: &[Field], pointer: &str, values: &Map<String, Value>, exact: bool, from: String) {
        let (Some(field), Some(value)) = (tree::declared(fields, pointer), tree::at(values, pointer)) else { return };
        let said = said(field, value, exact);
        let whole = value.as_f64().and_then(|cell| of_the_pack(self.pack, pointer, cell));
        let value = match whole {
            // Typed of the pack: a cell's share of it is no round number.
            Some(whole) if whole.chars().count() < said.chars().count() => format!("{said}, {whole} for the pack"),
            _ if matches!(field.kind, Kind::Choice { .. }) => self.pack.words(&said),
            _ => said,
        };
        let row = ValueRow { label: self.pack.words(field.label), value, from };
        self.push(self.title(fields, pointer), row);
    }

    fn push(&mut self, title: String, row: ValueRow) {
        match self.all.iter_mut().find(|group| group.title == title) {
            Some(group) => group.rows.push(row),
            None => self.all.push(GroupValues { title, rows: vec![row] }),
        }
    }

    /// The labels of the groups that a pointer leads through.
    fn title(&self, fields: &[Field], pointer: &str) -> String {
        let (path, _) = tree::path(fields, pointer);
        let groups: Vec<&str> =
            path.iter().filter(|field| matches!(field.kind, Kind::Group { .. })).map(|field| field.label).collect();
        self.pack.words(&groups.join(", "))
    }
}

/// A value with its unit: exact as it was typed, with a few digits where it was worked out.
fn said(field: &Field, value: &Value, exact: bool) -> String {
    let one = |value: f64, unit: Unit| {
        let echo = Quantity::new(value, unit).echo(false);
        let told = match exact {
            true if echo.len() <= EXACT => with_unit(&echo, unit),
            // Worked out from what was typed, such as a cell's share of the pack.
            true => Quantity::new(value, unit).brief(9).to_string(),
            false => say(value, unit),
        };
        told.replace('-', "\u{2212}")
    };
    match (field.kind, value) {
        (Kind::Number { unit, .. } | Kind::Whole { unit, .. }, Value::Number(number)) => {
            one(number.as_f64().unwrap_or_default(), unit)
        }
        (Kind::Numbers { unit, .. }, Value::Array(items)) => {
            items.iter().filter_map(Value::as_f64).map(|value| one(value, unit)).collect::<Vec<_>>().join(", ")
        }
        (Kind::List { fields, .. }, Value::Array(rows)) => {
            // Of very many columns those in use, each by its name; the first is the row's own name.
            let named = |row: &Value| {
                let used =
                    fields.iter().enumerate().filter(|(at, one)| *at == 0 || !one.stands_at_start(row.get(one.key)));
                let cell = |(at, one): (usize, &Field)| {
                    let value = said(one, row.get(one.key)?, exact);
                    Some(if at == 0 { value } else { format!("{} {value}", one.label.to_lowercase()) })
                };
                used.filter_map(cell).collect::<Vec<_>>().join(", ")
            };
            let row = |row: &Value| {
                if field.names_columns() {
                    return named(row);
                }
                let cells = fields.iter().filter_map(|field| Some(said(field, row.get(field.key)?, exact)));
                cells.collect::<Vec<_>>().join(" ")
            };
            if rows.is_empty() { "none".into() } else { rows.iter().map(row).collect::<Vec<_>>().join("; ") }
        }
        (Kind::Choice { options, .. }, Value::String(word)) => {
            options.iter().find(|(known, _)| known == word).map_or_else(|| word.clone(), |(_, label)| (*label).into())
        }
        _ => field.echo(Some(value), false),
    }
}
