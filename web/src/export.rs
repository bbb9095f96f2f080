//! Files.
use sensewright_core::calculation::Answer;
use sensewright_core::report::{Budget, Chart, Table};
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
/// The chart (`svg`), table or budget (`csv`) of an answer by its id: what `/{slug}?...&format=csv&part=signal` asks for.
pub fn export(answer: &Answer, format: &str, part: &str) -> Option<Export> {
    let _ = (answer, format, part);
    None
}
/// A chart as a file.
pub fn chart_svg(chart: &Chart) -> String {
    chart.title.clone()
}
/// A table as CSV.
pub fn table_csv(table: &Table) -> String {
    table.id.clone()
}
/// A budget as CSV.
pub fn budget_csv(budget: &Budget) -> String {
    budget.id.clone()
}
