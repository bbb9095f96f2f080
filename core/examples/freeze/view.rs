//! An answer with its view as JSON. Blocks of one kind stand together, and `order` keeps where each one stood.

use sensewright_core::calculation::Answer;
use sensewright_core::quantity::Quantity;
use sensewright_core::report::{
    Axis, Block, Budget, Cell, Chart, Curve, Figure, Lane, LineRow, Listing, NumberLine, Row, Spots, Table,
};
use serde_json::{Value, json};

/// Everything an answer says.
pub fn answer(answer: &Answer) -> Value {
    json!({
        "link": answer.address,
        "verdict": answer.verdict(),
        "input": answer.input,
        "result": answer.result,
        "working": answer.working,
        "findings": answer.findings,
        "view": view(answer),
    })
}

/// A value with its unit.
pub fn quantity(quantity: &Quantity) -> Value {
    json!([number(quantity.value), quantity.unit])
}

fn view(answer: &Answer) -> Value {
    let view = &answer.view;
    let mut json = json!({
        "lead": view.lead, "more": view.more, "care": answer.cautions, "checks": answer.requirements,
        "figures": [], "tables": [], "budgets": [], "charts": [], "lanes": [], "number_lines": [], "listings": [],
    });
    let mut order = Vec::new();
    for block in &view.blocks {
        let (kind, id, mut items) = match block {
            Block::Figures(figures) => ("figures", "", figures.iter().map(figure).collect()),
            Block::Table(one) => ("tables", one.id.as_str(), vec![table(one)]),
            Block::Budget(one) => ("budgets", one.id.as_str(), vec![budget(one)]),
            Block::Chart(one) => ("charts", one.id.as_str(), vec![chart(one)]),
            Block::Lane(one) => ("lanes", one.id.as_str(), vec![lane(one)]),
            Block::NumberLine(one) => ("number_lines", one.id.as_str(), vec![number_line(one)]),
            Block::Spots(one) => ("charts", one.id.as_str(), vec![spots(one)]),
            Block::Listing(one) => ("listings", one.id.as_str(), vec![listing(one)]),
        };
        order.push(format!("{kind} {id}").trim_end().to_owned());
        if let Some(list) = json[kind].as_array_mut() {
            list.append(&mut items);
        }
    }
    json["order"] = json!(order);
    json
}

/// JSON has no word for what is not finite, and all three would be the same null.
fn number(value: f64) -> Value {
    if value.is_finite() { json!(value) } else { json!(value.to_string()) }
}

fn figure(figure: &Figure) -> Value {
    json!({
        "label": figure.label, "value": number(figure.value.value), "unit": figure.value.unit, "note": figure.note,
    })
}

fn table(table: &Table) -> Value {
    let columns = table.columns.iter().map(|column| json!({ "label": column.label, "unit": column.unit }));
    json!({
        "id": table.id, "caption": table.caption, "note": table.note, "head": table.head,
        "columns": columns.collect::<Vec<_>>(),
        "rows": table.rows.iter().map(row).collect::<Vec<_>>(),
    })
}

fn row(row: &Row) -> Value {
    json!({ "head": row.head, "note": row.note, "cells": row.cells.iter().map(cell).collect::<Vec<_>>() })
}

fn cell(cell: &Cell) -> Value {
    match cell {
        Cell::Number(value) => number(*value),
        Cell::Limit(value) => json!({ "limit": number(*value) }),
        Cell::Of(value) | Cell::Within(value) => json!(value.value),
        Cell::Words(words) => json!(words),
        Cell::Verdict(verdict) => json!({ "verdict": verdict }),
        Cell::Empty => Value::Null,
    }
}

fn budget(budget: &Budget) -> Value {
    let rows = budget.rows.iter().map(|row| {
        json!({
            "label": row.label, "note": row.note, "size": number(row.size),
            "share_percent": number(row.share_percent), "grows": row.grows,
        })
    });
    let totals = budget.totals.iter().map(|total| {
        json!({ "label": total.label, "note": total.note, "size": number(total.size), "verdict": total.verdict })
    });
    json!({
        "id": budget.id, "caption": budget.caption, "note": budget.note, "unit": budget.unit,
        "rows": rows.collect::<Vec<_>>(), "totals": totals.collect::<Vec<_>>(),
    })
}

fn chart(chart: &Chart) -> Value {
    let marks = chart.marks.iter().map(|mark| json!({ "label": mark.label, "x": number(mark.x), "y": number(mark.y) }));
    json!({
        "id": chart.id, "finding": chart.finding, "conditions": chart.conditions, "title": chart.title,
        "x": axis(&chart.x), "y": axis(&chart.y),
        "curves": chart.curves.iter().map(curve).collect::<Vec<_>>(),
        "marks": marks.collect::<Vec<_>>(),
        "table": table(&chart.table),
    })
}

fn spots(with: &Spots) -> Value {
    let spots = with.spots.iter().map(|spot| {
        json!({
            "label": spot.label, "x": number(spot.x), "span": spot.span.map(number), "y": spot.y.map(number),
            "share": number(spot.share), "shape": spot.shape,
        })
    });
    json!({
        "id": with.id, "finding": with.finding, "conditions": with.conditions, "title": with.title,
        "x": axis(&with.x), "y": axis(&with.y), "never": with.never, "matters": number(with.matters.0),
        "sides": with.matters.1, "latest": with.latest.map(number), "shapes": with.shapes,
        "spots": spots.collect::<Vec<_>>(), "table": table(&with.table),
    })
}

fn axis(axis: &Axis) -> Value {
    json!({ "label": axis.label, "unit": axis.unit, "log": axis.log })
}

fn curve(curve: &Curve) -> Value {
    let points = curve.points.iter().map(|[x, y]| json!([number(*x), number(*y)]));
    json!({
        "label": curve.label, "stroke": format!("{:?}", curve.stroke), "points": points.collect::<Vec<_>>(),
    })
}

fn lane(lane: &Lane) -> Value {
    let stages = lane.stages.iter().map(|stage| {
        json!({
            "label": stage.label, "part": stage.part, "signal": stage.signal,
            "takes_percent": number(stage.takes_percent),
        })
    });
    json!({
        "id": lane.id, "caption": lane.caption, "allowed": lane.allowed, "reached": lane.reached,
        "verdict": lane.verdict, "stages": stages.collect::<Vec<_>>(),
    })
}

fn number_line(line: &NumberLine) -> Value {
    json!({
        "id": line.id, "finding": line.finding, "conditions": line.conditions, "title": line.title,
        "rows": line.rows.iter().map(line_row).collect::<Vec<_>>(),
        "table": table(&line.table),
    })
}

fn line_row(row: &LineRow) -> Value {
    json!({
        "label": row.label, "reading": row.reading, "unit": row.unit, "difference": row.difference,
        "normal": number(row.normal), "nuisance_edge": number(row.nuisance_edge),
        "harm_edge": number(row.harm_edge), "hazard": number(row.hazard), "threshold": number(row.threshold),
        "chosen": row.chosen, "error": number(row.error), "verdict": row.verdict,
    })
}

fn listing(listing: &Listing) -> Value {
    json!({
        "id": listing.id, "caption": listing.caption, "note": listing.note, "ending": listing.ending,
        "text": listing.text,
    })
}
