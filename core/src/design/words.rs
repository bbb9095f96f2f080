//! # The words of a design without cells
//!
//! The calculations speak of pack and cells, the words of the trade that they are mostly used in. A design without cells has
//! a source instead of a pack, and what a sensor is mounted on is a part: every sentence of its answers, labels and hints is
//! told with those words. What somebody typed stays as it was typed.

use super::pack::Pack;
use crate::calculation::Answer;
use crate::judge::Check;
use crate::report::{Block, Cell, Step, Table};

/// A word of a design of cells, and what stands for it.
const WORDS: &[(&str, &str)] = &[
    ("pack", "source"),
    ("Pack", "Source"),
    ("cell", "part"),
    ("Cell", "Part"),
    ("cells", "parts"),
    ("Cells", "Parts"),
];

/// What does not come out right word by word: what only cells do, and the directions of a current.
const PHRASES: &[(&str, &str)] = &[
    ("cell or pack", "source"),
    ("charging a cold cell", "what is too cold"),
    ("decide what is done for each before charging", "decide what is done for each"),
    ("Cells, busbars", "Source, busbars"),
    ("Cold, aged, nearly empty", "Cold and aged"),
    ("Empty pack, for the weakest", "For the weakest"),
    ("an empty, cold and aged pack", "a cold and aged source"),
    ("The pack charges with", "What flows into the source is"),
    ("of the pack in charge", "into the source"),
    ("Of a charge threshold", "Into the source"),
    ("on the charging side", "into the source"),
    ("in discharge", "out of the source"),
    ("In discharge", "Out of the source"),
    ("in charge", "into the source"),
    ("Charge or discharge,", "Either way,"),
    ("Discharge is positive", "Out of the source is positive"),
    ("Charging is negative", "Into the source is negative"),
    ("Charging peak", "Peak into the source"),
    ("Charging current", "Current into the source"),
    ("Charging is read", "Current into the source is read"),
];

impl Pack {
    /// A sentence in the words that fit: without cells there is no pack.
    pub fn words(&self, text: &str) -> String {
        if self.has_cells() { text.to_owned() } else { without_cells(text) }
    }
}

fn without_cells(text: &str) -> String {
    let text = PHRASES.iter().fold(text.to_owned(), |text, (of_cells, instead)| text.replace(of_cells, instead));
    let mut told = String::with_capacity(text.len());
    let mut rest = text.as_str();
    while let Some(start) = rest.find(char::is_alphanumeric) {
        let (before, from) = rest.split_at(start);
        let (word, after) = from.split_at(from.find(|letter: char| !letter.is_alphanumeric()).unwrap_or(from.len()));
        told.push_str(before);
        told.push_str(WORDS.iter().find(|(of_cells, _)| *of_cells == word).map_or(word, |(_, instead)| instead));
        rest = after;
    }
    told.push_str(rest);
    told
}

type With<'a> = &'a dyn Fn(&str) -> String;

fn tell<'t>(texts: impl IntoIterator<Item = &'t mut String>, with: With) {
    for text in texts {
        *text = with(text);
    }
}

impl Answer {
    /// Tells everything that is for a reader with other words.
    pub(super) fn reword(&mut self, with: With) {
        for Check { label, note, largest, lever, reason, .. } in &mut self.requirements {
            tell([label, note].into_iter().chain(largest).chain(lever).chain(reason), with);
        }
        tell(self.findings.iter_mut().map(|finding| &mut finding.message), with);
        for Step { label, symbol, formula, .. } in &mut self.working {
            tell([label, symbol, formula], with);
        }
        tell(&mut self.cautions, with);
        tell([&mut self.view.lead, &mut self.view.more], with);
        for block in &mut self.view.blocks {
            reword_block(block, with);
        }
    }
}

fn reword_block(block: &mut Block, with: With) {
    match block {
        Block::Figures(figures) => tell(figures.iter_mut().flat_map(|one| [&mut one.label, &mut one.note]), with),
        Block::Table(table) => reword_table(table, with),
        Block::Budget(budget) => {
            tell([&mut budget.caption, &mut budget.note], with);
            tell(budget.rows.iter_mut().flat_map(|row| [&mut row.label, &mut row.note]), with);
            tell(budget.totals.iter_mut().flat_map(|row| [&mut row.label, &mut row.note]), with);
        }
        Block::Chart(chart) => {
            tell([&mut chart.finding, &mut chart.conditions, &mut chart.title], with);
            tell([&mut chart.x.label, &mut chart.y.label], with);
            tell(chart.curves.iter_mut().map(|curve| &mut curve.label), with);
            tell(chart.marks.iter_mut().map(|mark| &mut mark.label), with);
            reword_table(&mut chart.table, with);
        }
        Block::Lane(lane) => {
            tell([&mut lane.caption, &mut lane.allowed, &mut lane.reached], with);
            tell(lane.stages.iter_mut().flat_map(|stage| [&mut stage.label, &mut stage.part, &mut stage.signal]), with);
        }
        Block::NumberLine(line) => {
            tell([&mut line.finding, &mut line.conditions, &mut line.title], with);
            tell(line.rows.iter_mut().flat_map(|row| [&mut row.label, &mut row.reading]), with);
            reword_table(&mut line.table, with);
        }
        Block::Spots(spots) => {
            tell([&mut spots.finding, &mut spots.conditions, &mut spots.title, &mut spots.never], with);
            tell([&mut spots.x.label, &mut spots.y.label], with);
            tell(spots.shapes.iter_mut().chain(spots.spots.iter_mut().map(|spot| &mut spot.label)), with);
            reword_table(&mut spots.table, with);
        }
        // A file to hand on: its words are those of its calculation.
        Block::Listing(listing) => tell([&mut listing.caption, &mut listing.note], with),
    }
}

fn reword_table(table: &mut Table, with: With) {
    tell([&mut table.caption, &mut table.note, &mut table.head], with);
    tell(table.columns.iter_mut().map(|column| &mut column.label), with);
    for row in &mut table.rows {
        tell([&mut row.head, &mut row.note], with);
        for cell in &mut row.cells {
            if let Cell::Words(words) = cell {
                tell([words], with);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::without_cells;

    #[test]
    fn whole_words_are_told_otherwise() {
        for (of_cells, without) in [
            ("Pack under-voltage", "Source under-voltage"),
            ("the pack's peak of 400 A", "the source's peak of 400 A"),
            ("Of the cell or pack at its coldest", "Of the source at its coldest"),
            ("Over-current in charge", "Over-current into the source"),
            ("Peak of the pack in charge", "Peak into the source"),
            ("ΔT_cell", "ΔT_part"),
            ("An unpacked, cellular Cell", "An unpacked, cellular Part"),
            ("µΩ → 4 °C", "µΩ → 4 °C"),
        ] {
            assert_eq!(without_cells(of_cells), without);
        }
    }
}
