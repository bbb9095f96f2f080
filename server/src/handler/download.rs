//! Tables and charts of an answer as files.

use std::sync::Arc;

use axum::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use sensewright_core::calculation::{Answer, Depth, Entry};
use sensewright_core::work::Work;
use sensewright_web::Export;

use super::entry::solve;
use crate::error::Fault;
use crate::question::{File, Question};
use crate::site::Site;

/// A table as CSV or a chart as SVG, by the path of its file.
///
/// # Errors
/// No such file, faults of the input, and load.
pub async fn by_path(
    site: Arc<Site>,
    question: Question,
    entry: &'static Entry,
    format: &'static str,
    name: String,
) -> Result<Response, Fault> {
    let work = move |work: Work| {
        let answer = solve(&question, entry, Depth::Page, work)?;
        let part = name.strip_suffix(format).and_then(|name| name.strip_suffix('.')).ok_or(Fault::NotFound)?;
        part_of(&answer, &File { format, part: part.into() })
    };
    site.heavy.run(work).await?
}

/// A file made of a part of an answer.
///
/// # Errors
/// No such part.
pub fn part_of(answer: &Answer, file: &File) -> Result<Response, Fault> {
    Ok(attached(sensewright_web::export(answer, file.format, &file.part).ok_or(Fault::NotFound)?))
}

/// A file with its name.
pub fn attached(export: Export) -> Response {
    let headers = [
        (CONTENT_TYPE, export.content_type.to_owned()),
        (CONTENT_DISPOSITION, format!("attachment; filename=\"{}\"", export.file_name)),
        (CACHE_CONTROL, "no-cache".to_owned()),
    ];
    (headers, export.text).into_response()
}
