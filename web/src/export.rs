//! # Files to keep
//!
//! A chart as a drawing that stands alone, a table or a budget as CSV (RFC 4180) in base units and full precision.

use sensewright_core::calculation::Answer;
use sensewright_core::design::assess::{Assessed, AssessedPart};
use sensewright_core::design::scaling;
use sensewright_core::quantity::Unit;
use sensewright_core::report::{Block, Budget, Cell, Chart, NumberLine, Row, Spots, Table};

use crate::design::test_table;
use crate::number::exact;
use crate::plot::{self, Size, chart, escape, number_line, spots};

/// A file to keep.
#[derive(Clone, Debug)]
pub struct Export {
    /// Its media type.
    pub content_type: &'static str,
    /// A name for it, such as `shunt-heat.svg`.
    pub file_name: String,
    /// The file.
    pub text: String,
}

/// The chart (`svg`), table or budget (`csv`) or listing (`h`) of an answer by its id.
pub fn export(answer: &Answer, format: &str, part: &str) -> Option<Export> {
    let slug = answer.address.trim_start_matches('/').split('?').next().unwrap_or_default();
    export_of(&answer.view.blocks.iter().collect::<Vec<_>>(), slug, format, part)
}

/// The same of one part of a design.
pub fn part_export(one: &AssessedPart, format: &str, part: &str) -> Option<Export> {
    export_of(&one.answer.view.blocks.iter().collect::<Vec<_>>(), "design", format, part)
}

/// The same of a design: every part's, and the limits of the tester.
pub fn design_export(assessed: &Assessed, format: &str, part: &str) -> Option<Export> {
    let own: Vec<Block> = [
        test_table(assessed).map(Block::Table),
        scaling::table(assessed).map(Block::Table),
        scaling::header(assessed).map(Block::Listing),
    ]
    .into_iter()
    .flatten()
    .collect();
    let blocks: Vec<&Block> = assessed.parts.iter().flat_map(|one| &one.answer.view.blocks).chain(&own).collect();
    export_of(&blocks, "design", format, part)
}

fn export_of(blocks: &[&Block], slug: &str, format: &str, part: &str) -> Option<Export> {
    let wanted = |id: &str| id == part || plot::id(id) == part;
    let (content_type, text) = match format {
        "svg" => {
            let drawing = blocks.iter().find_map(|block| match block {
                Block::Chart(chart) if wanted(&chart.id) => Some(chart_svg(chart)),
                Block::NumberLine(line) if wanted(&line.id) => Some(line_svg(line)),
                Block::Spots(spots) if wanted(&spots.id) => Some(spots_svg(spots)),
                _ => None,
            })?;
            ("image/svg+xml", drawing)
        }
        "csv" => {
            let text = blocks.iter().find_map(|block| match block {
                Block::Table(table)
                | Block::Chart(Chart { table, .. })
                | Block::NumberLine(NumberLine { table, .. })
                | Block::Spots(Spots { table, .. })
                    if wanted(&table.id) =>
                {
                    Some(table_csv(table))
                }
                Block::Budget(budget) if wanted(&budget.id) => Some(budget_csv(budget)),
                _ => None,
            })?;
            ("text/csv; charset=utf-8", text)
        }
        ending => {
            let text = blocks.iter().find_map(|block| match block {
                Block::Listing(listing) if listing.ending == ending && wanted(&listing.id) => Some(&listing.text),
                _ => None,
            })?;
            ("text/plain; charset=utf-8", text.clone())
        }
    };
    let file_name = format!("{}-{}.{format}", plot::id(slug), plot::id(part)).trim_start_matches('-').to_owned();
    Some(Export { content_type, file_name, text })
}

/// The look of a drawing that stands alone: on white paper, whatever the screen was.
const LOOK: &str = "text{font:12px 'Noto Sans','Liberation Sans',Arial,sans-serif;fill:#16202a}\
.t2{fill:#4b5863}.tb{font-weight:650}.ts{font-size:11px}.te{text-anchor:end}.tm{text-anchor:middle}\
.head{font-size:15px;font-weight:650}.halo{paint-order:stroke;stroke:#fff;stroke-width:4px;stroke-linejoin:round}\
.t-bad{fill:#a71d17}.t-data{fill:#2a5d8c}.grid{stroke:#d3d9d6}.axis{stroke:#16202a}\
.l-wc{fill:none;stroke:#16202a;stroke-width:2.25;stroke-linejoin:round}\
.l-rss{fill:none;stroke:#2a5d8c;stroke-width:1.75;stroke-dasharray:6 3}\
.l-mc{fill:none;stroke:#2a5d8c;stroke-width:1.25}.b-mc{fill:#dbe6ef}\
.l-lim{fill:none;stroke:#a71d17;stroke-width:1.75;stroke-dasharray:9 3 2 3}.l-thin{fill:none;stroke:#75828b;stroke-width:1.25}.l-lead{stroke:#75828b;stroke-dasharray:1 3}\
.dot{fill:#fff;stroke:#16202a;stroke-width:2}.full{fill:#16202a}\
.t-ok{fill:#14664a}.t-thin{fill:#7a5000}.tick{stroke:#75828b}\
.n-oper{fill:#e4f1ea;stroke:#14664a}.n-free{fill:#ecefec}.n-err{fill:#2a5d8c;opacity:.28}.n-guard{fill:url(#hatch-data)}.n-out{fill:url(#hatch-bad)}\
.s-seen{fill:#2a5d8c;stroke:#16202a;opacity:.8}.s-not{fill:#fff;stroke:#a71d17;stroke-width:2}\
.n-thr{stroke:#16202a;stroke-width:3}.n-lim{stroke:#a71d17;stroke-width:3}\
.h-line{stroke:#a71d17;stroke-width:2.5}.h-ground{fill:#fbe8e5}.h-data{stroke:#2a5d8c;stroke-width:2}";

/// The hatches of a drawing that stands alone.
const HATCHES: &str = "<defs><pattern id=\"hatch-bad\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" \
patternTransform=\"rotate(45)\"><rect class=\"h-ground\" width=\"6\" height=\"6\"/><line class=\"h-line\" x1=\"0\" y1=\"0\" x2=\"0\" y2=\"6\"/></pattern>\
<pattern id=\"hatch-data\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\">\
<line class=\"h-data\" x1=\"0\" y1=\"0\" x2=\"0\" y2=\"5\"/></pattern></defs>";

/// A chart as a drawing that stands alone, with its finding above it.
pub fn chart_svg(chart: &Chart) -> String {
    sheet(&chart.finding, &chart.conditions, "", &chart::one(chart, Size::Wide), 270.0)
}

/// Thresholds as a drawing that stands alone.
pub fn line_svg(line: &NumberLine) -> String {
    sheet(
        &line.finding,
        &line.conditions,
        HATCHES,
        &number_line::one(line, Size::Wide),
        number_line::height(line, Size::Wide),
    )
}

/// Marks over a plane as a drawing that stands alone.
pub fn spots_svg(with: &Spots) -> String {
    sheet(&with.finding, &with.conditions, "", &spots::one(with, Size::Wide), spots::height(with, Size::Wide))
}

/// A drawing on a sheet of its own, with its finding above it.
fn sheet(finding: &str, conditions: &str, definitions: &str, drawing: &str, height: f64) -> String {
    let whole = height + 90.0;
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"860\" height=\"{whole:.0}\" viewBox=\"0 0 860 {whole:.0}\">\
         <style>{LOOK}</style>{definitions}<rect width=\"860\" height=\"{whole:.0}\" fill=\"#fff\"/>\
         <text class=\"head\" x=\"20\" y=\"30\">{}</text><text class=\"t2\" x=\"20\" y=\"50\">{}</text>{}</svg>\n",
        escape(finding),
        escape(conditions),
        // The drawing keeps its own coordinates inside the sheet.
        drawing.replacen("<svg ", &format!("<svg x=\"20\" y=\"68\" width=\"820\" height=\"{height:.0}\" "), 1)
    )
}

/// A table as CSV: numbers in base units, which the headings name.
pub fn table_csv(table: &Table) -> String {
    let numbers = table.heads.as_ref().filter(|(_, numbers)| numbers.len() == table.rows.len());
    let mut heads = vec![plain(&head(&table.head, numbers.map(|(unit, _)| *unit)))];
    heads.extend(table.columns.iter().map(|column| plain(&head(&column.label, column.unit))));
    // Where rows have units of their own, a column says which.
    let own = |row: &Row| {
        row.cells.iter().find_map(|cell| match cell {
            Cell::Of(value) | Cell::Within(value) => Some(value.unit),
            _ => None,
        })
    };
    let mixed = table.rows.iter().any(|row| own(row).is_some());
    let count = heads.len();
    heads.extend(mixed.then(|| "Unit".to_owned()));
    let rows = table.rows.iter().enumerate().map(|(at, row)| {
        let name = if row.note.is_empty() { row.head.clone() } else { format!("{} ({})", row.head, row.note) };
        let number = numbers.and_then(|(_, numbers)| numbers.get(at));
        let mut cells = vec![number.map_or_else(|| plain(&name), |number| exact(*number))];
        cells.extend(row.cells.iter().map(|cell| match cell {
            Cell::Number(value) | Cell::Limit(value) => exact(*value),
            Cell::Of(value) | Cell::Within(value) => exact(value.value),
            Cell::Words(text) => plain(text),
            Cell::Verdict(verdict) => verdict.word().into(),
            Cell::Empty => String::new(),
        }));
        cells.resize(count, String::new());
        cells.extend(mixed.then(|| own(row).map_or("", Unit::symbol).to_owned()));
        cells
    });
    csv(std::iter::once(heads.clone()).chain(rows))
}

/// A budget as CSV: contributions, then totals.
pub fn budget_csv(budget: &Budget) -> String {
    let heads = [
        "Line".into(),
        "Note".into(),
        head("Size", Some(budget.unit)),
        head("Share", Some(Unit::Percent)),
        "Kind".into(),
    ];
    let rows = budget.rows.iter().map(|row| {
        let kind = if row.grows { "grows with the reading" } else { "fixed amount" };
        [plain(&row.label), plain(&row.note), exact(row.size), exact(row.share_percent), kind.into()]
    });
    let totals = budget.totals.iter().map(|total| {
        let verdict = total.verdict.map_or("", sensewright_core::judge::Verdict::word);
        let kind = if verdict.is_empty() { "total".to_owned() } else { format!("total: {verdict}") };
        [plain(&total.label), plain(&total.note), exact(total.size), String::new(), kind]
    });
    csv(std::iter::once(heads).chain(rows).chain(totals))
}

/// A text that no spreadsheet takes for a formula: one that begins like it gets an apostrophe in front. A number stays one.
fn plain(text: &str) -> String {
    let begins = text.trim_start_matches(' ').starts_with(['=', '+', '-', '@', '\t', '\r', '\n']);
    if begins && text.trim().parse::<f64>().is_err() { format!("'{text}") } else { text.into() }
}

fn head(label: &str, unit: Option<Unit>) -> String {
    match unit.map(Unit::symbol) {
        Some(symbol) if !symbol.is_empty() => format!("{label} ({symbol})"),
        _ => label.into(),
    }
}

/// RFC 4180: fields with a comma, a quote or a line break stand in quotes; lines end with CR LF.
fn csv<R: IntoIterator<Item = String>>(rows: impl Iterator<Item = R>) -> String {
    let mut out = String::new();
    for row in rows {
        for (index, cell) in row.into_iter().enumerate() {
            if index > 0 {
                out.push(',');
            }
            if cell.contains([',', '"', '\n', '\r']) {
                out.push('"');
                out.push_str(&cell.replace('"', "\"\""));
                out.push('"');
            } else {
                out.push_str(&cell);
            }
        }
        out.push_str("\r\n");
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::tests::{HOSTILE, ROOM, chart, pairs};
    use sensewright_core::field::{Notation, form_tree};

    #[test]
    fn files_are_found_by_the_ids_of_the_page() {
        let tree = form_tree(&pairs(&[("title", "a, \"b\"")])).expect("keys are fine");
        let answer = ROOM.answer(Some(&tree), Notation::Form).expect("values are fine");
        let table = export(&answer, "csv", "values").expect("table");
        assert_eq!(table.file_name, "sample-part-values.csv");
        assert_eq!(
            table.text,
            "Current,Signal (V),Remark,Error (%),Verdict\r\n\
             \"a, \"\"b\"\" (a note)\",0.0001,\"a, \"\"b\"\"\",0.5,Thin\r\nnone,,,,\r\n"
        );
        assert!(
            export(&answer, "csv", "budget").expect("budget").text.contains("Worst case,sum,0.6,,total: Holds\r\n")
        );
        assert_eq!(export(&answer, "csv", "heat-values").expect("values").text.lines().count(), 22);
        assert!(export(&answer, "svg", "heat").is_some());
        for (format, part) in [("svg", "values"), ("csv", "none"), ("pdf", "heat"), ("csv", "")] {
            assert!(export(&answer, format, part).is_none(), "{format} {part}");
        }
    }

    #[test]
    fn a_text_is_no_formula() {
        for (text, cell) in [
            ("=1+1", "'=1+1"),
            ("+cmd|' /C x'!A0", "'+cmd|' /C x'!A0"),
            ("-2+3", "'-2+3"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("\t=1", "'\t=1"),
            (" =1", "' =1"),
            ("-40", "-40"),
            ("pack = 3", "pack = 3"),
        ] {
            assert_eq!(plain(text), cell);
        }
        let tree = form_tree(&pairs(&[("title", "=HYPERLINK(\"x\")")])).expect("keys are fine");
        let answer = ROOM.answer(Some(&tree), Notation::Form).expect("values are fine");
        let table = export(&answer, "csv", "values").expect("table").text;
        assert!(table.contains("\"'=HYPERLINK(\"\"x\"\") (a note)\"") && !table.contains("\"=H"), "{table}");
    }

    #[test]
    fn a_drawing_that_stands_alone_is_well_formed_and_escaped() {
        let text = chart_svg(&chart(HOSTILE));
        assert!(text.starts_with("<svg xmlns=") && !text.contains("<script"));
        assert_eq!(text.matches("<svg").count(), text.matches("</svg>").count());
        assert_eq!(text.matches("<text").count(), text.matches("</text>").count());
    }
}
