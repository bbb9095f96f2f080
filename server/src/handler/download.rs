//! Tables and charts of an answer as files.

use axum::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use sensewright_core::calculation::Answer;
use sensewright_web::Export;

use crate::error::Fault;
use crate::question::File;

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
