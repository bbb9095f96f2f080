//! # Tables and charts, said once
//!
//! A chart makes its own table ([`Series`]), a list of values is [`Values`], and a column carries what fills it
//! ([`Columns`]): a number stands in one place, and both the picture and the figures are made of it.

use super::{Axis, Cell, Chart, Column, Curve, Mark, Row, Stroke, Table};
use crate::quantity::{Quantity, Unit, say};

/// Most rows of the table that a chart makes of its curves, about.
const ROWS: usize = 20;

/// The sentence with its first letter as a capital.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// One quantity a row; what is not defined has no row.
#[derive(Clone, Debug)]
pub struct Values(Table);

impl Values {
    /// An empty list.
    pub fn new(id: &str, caption: &str, note: impl Into<String>) -> Self {
        Self(Table {
            id: id.into(),
            heads: None,
            caption: caption.into(),
            note: note.into(),
            head: "Quantity".into(),
            columns: vec![Column::words("Value")],
            rows: Vec::new(),
        })
    }

    /// A quantity, when it is defined.
    pub fn row(&mut self, head: impl Into<String>, value: impl Into<Option<Quantity>>, note: impl Into<String>) {
        if let Some(value) = value.into() {
            self.words(head, value.to_string(), note);
        }
    }

    /// A value that is no number.
    pub fn words(&mut self, head: impl Into<String>, value: impl Into<String>, note: impl Into<String>) {
        self.0.rows.push(Row { head: head.into(), note: note.into(), cells: vec![Cell::Words(value.into())] });
    }

    /// Whether nothing is defined.
    pub fn is_empty(&self) -> bool {
        self.0.rows.is_empty()
    }

    /// The table.
    pub fn table(self) -> Table {
        self.0
    }
}

/// A table with one row a point: every column carries what fills it.
#[derive(Debug)]
pub struct Columns<'a, P> {
    points: &'a [P],
    table: Table,
}

impl<'a, P> Columns<'a, P> {
    /// The rows with their heads.
    pub fn new(id: &str, caption: &str, head: &str, points: &'a [P], name: impl Fn(usize, &P) -> String) -> Self {
        let row = |(index, point)| Row { head: name(index, point), note: String::new(), cells: Vec::new() };
        let table = Table {
            id: id.into(),
            heads: None,
            caption: caption.into(),
            note: String::new(),
            head: head.into(),
            columns: Vec::new(),
            rows: points.iter().enumerate().map(row).collect(),
        };
        Self { points, table }
    }

    /// Under which conditions.
    #[must_use]
    pub fn note(mut self, note: impl Into<String>) -> Self {
        self.table.note = note.into();
        self
    }

    /// Small print below the heads of the rows.
    #[must_use]
    pub fn small(mut self, pick: impl Fn(&P) -> String) -> Self {
        for (row, point) in self.table.rows.iter_mut().zip(self.points) {
            row.note = pick(point);
        }
        self
    }

    /// A column of numbers; an empty cell where there is none.
    #[must_use]
    pub fn column<C: Into<Cell>>(self, label: &str, unit: Unit, pick: impl Fn(&P) -> C) -> Self {
        self.fill(Column::of(label, unit), pick)
    }

    /// A column of words or verdicts.
    #[must_use]
    pub fn words<C: Into<Cell>>(self, label: &str, pick: impl Fn(&P) -> C) -> Self {
        self.fill(Column::words(label), pick)
    }

    fn fill<C: Into<Cell>>(mut self, column: Column, pick: impl Fn(&P) -> C) -> Self {
        self.table.columns.push(column);
        for (row, point) in self.table.rows.iter_mut().zip(self.points) {
            row.cells.push(pick(point).into());
        }
        self
    }

    /// The table.
    pub fn table(self) -> Table {
        self.table
    }
}

/// Curves over the points of an answer; the table below the chart is made of the same curves.
#[derive(Debug)]
pub struct Series<'a, P> {
    points: &'a [P],
    at: fn(&P) -> f64,
    every: usize,
    chart: Chart,
}

impl<'a, P> Series<'a, P> {
    /// A chart without curves. The id of its table is the chart's with `-values`.
    pub fn new(id: &str, title: &str, points: &'a [P], x: Axis, at: fn(&P) -> f64, y: Axis) -> Self {
        let table = Table {
            id: format!("{id}-values"),
            heads: None,
            caption: title.into(),
            note: String::new(),
            head: capital(&x.label),
            columns: Vec::new(),
            rows: Vec::new(),
        };
        let chart = Chart {
            id: id.into(),
            finding: String::new(),
            conditions: String::new(),
            title: title.into(),
            x,
            y,
            curves: Vec::new(),
            marks: Vec::new(),
            table,
        };
        Self { points, at, every: points.len().div_ceil(ROWS).max(1), chart }
    }

    /// A row of the table for every so many points and for the last one; before the first curve.
    #[must_use]
    pub const fn every(mut self, points: usize) -> Self {
        self.every = if points == 0 { 1 } else { points };
        self
    }

    /// A curve and its column, headed by the curve's label.
    pub fn curve(&mut self, label: &str, stroke: Stroke, pick: impl Fn(&P) -> Option<f64>) {
        self.curve_as(label, &capital(label), stroke, pick);
    }

    /// A curve and its column, headed by a word of its own.
    pub fn curve_as(&mut self, label: &str, head: &str, stroke: Stroke, pick: impl Fn(&P) -> Option<f64>) {
        self.line(label, stroke, &pick);
        self.column(head, self.chart.y.unit, pick);
    }

    /// A column without a curve.
    pub fn column(&mut self, head: &str, unit: Unit, pick: impl Fn(&P) -> Option<f64>) {
        let (at, x, every, table) = (self.at, self.chart.x.unit, self.every, &mut self.chart.table);
        table.columns.push(Column::of(head, unit));
        let last = self.points.len().saturating_sub(1);
        let counts = move |(place, _): &(usize, &P)| place % every == 0 || *place == last;
        let shown = self.points.iter().enumerate().filter(counts).map(|(_, point)| point);
        if table.rows.is_empty() {
            let row = |point: &P| Row { head: say(at(point), x), note: String::new(), cells: Vec::new() };
            table.rows = shown.clone().map(row).collect();
            table.heads = Some((x, shown.clone().map(at).collect()));
        }
        for (row, point) in table.rows.iter_mut().zip(shown) {
            row.cells.push(pick(point).into());
        }
    }

    /// A level from end to end.
    pub fn level(&mut self, label: &str, y: f64) {
        let ends = [self.points.first(), self.points.last()].map(|point| point.map_or(0.0, self.at));
        let points = ends.map(|x| [x, y]).to_vec();
        self.chart.curves.push(Curve { label: label.into(), stroke: Stroke::Allowed, points });
    }

    /// A marked point.
    pub fn mark(&mut self, x: f64, y: f64, label: impl Into<String>) {
        self.chart.marks.push(Mark { x, y, label: label.into() });
    }

    /// The chart, with what it shows and under which conditions.
    pub fn chart(mut self, finding: impl Into<String>, conditions: impl Into<String>) -> Chart {
        (self.chart.finding, self.chart.conditions) = (finding.into(), conditions.into());
        self.chart
    }

    /// A curve without a column of its own, for a table in another order.
    pub fn line(&mut self, label: &str, stroke: Stroke, pick: impl Fn(&P) -> Option<f64>) {
        let points = self.points.iter().filter_map(|point| pick(point).map(|y| [(self.at)(point), y])).collect();
        self.shape(label, stroke, points);
    }

    /// A line of its own, which is no curve of the points and has no column.
    pub fn shape(&mut self, label: &str, stroke: Stroke, points: Vec<[f64; 2]>) {
        self.chart.curves.push(Curve { label: label.into(), stroke, points });
    }

    /// Head of the table where it is not the axis.
    pub fn table_head(&mut self, head: &str) {
        self.chart.table.head = head.into();
    }

    /// Words of the table where they are not the chart's.
    pub fn table_words(&mut self, caption: &str, note: &str) {
        (self.chart.table.caption, self.chart.table.note) = (caption.into(), note.into());
    }
}
