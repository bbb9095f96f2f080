//! Tables and charts of an answer as files.

use std::sync::Arc;

use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use sensewright_core::calculation::Room;
use sensewright_core::report::{Block, Chart, Table, View};

use super::room::solve;
use crate::error::Fault;
use crate::question::Question;
use crate::site::Site;
use crate::web_stub as web;

/// A table as CSV.
///
/// # Errors
/// No such table, faults of the input, and load.
pub async fn table(site: Arc<Site>, question: Question, room: &'static Room, file: String) -> Result<Response, Fault> {
    let work = move || {
        let answer = solve(&question, room).map_err(Fault::Invalid)?;
        let id = file.strip_suffix(".csv").ok_or(Fault::NotFound)?;
        let table = find_table(&answer.view, id).ok_or(Fault::NotFound)?;
        Ok(as_file(room, &file, "text/csv; charset=utf-8", web::table_csv(table)))
    };
    site.heavy.run(work).await?
}

/// A chart as SVG.
///
/// # Errors
/// No such chart, faults of the input, and load.
pub async fn chart(site: Arc<Site>, question: Question, room: &'static Room, file: String) -> Result<Response, Fault> {
    let work = move || {
        let answer = solve(&question, room).map_err(Fault::Invalid)?;
        let id = file.strip_suffix(".svg").ok_or(Fault::NotFound)?;
        let chart = charts(&answer.view).find(|chart| chart.id == id).ok_or(Fault::NotFound)?;
        Ok(as_file(room, &file, "image/svg+xml", web::chart_svg(chart)))
    };
    site.heavy.run(work).await?
}

/// Tables of their own and the tables of charts.
fn find_table<'v>(view: &'v View, id: &str) -> Option<&'v Table> {
    let own = view.blocks.iter().filter_map(|block| match block {
        Block::Table(table) => Some(table),
        _ => None,
    });
    own.chain(charts(view).map(|chart| &chart.table)).find(|table| table.id == id)
}

fn charts(view: &View) -> impl Iterator<Item = &Chart> {
    view.blocks.iter().filter_map(|block| match block {
        Block::Chart(chart) => Some(chart),
        _ => None,
    })
}

/// `file` is the name of something that exists by now, so it is one of our own names.
fn as_file(room: &Room, file: &str, kind: &'static str, bytes: String) -> Response {
    let name = format!("attachment; filename=\"{}-{file}\"", room.meta.slug.replace('/', "-"));
    ([(CONTENT_TYPE, kind.to_owned()), (CONTENT_DISPOSITION, name)], bytes).into_response()
}
