//! # All addresses on one screen

use std::any::Any;
use std::sync::Arc;

use axum::Router;
use axum::extract::{DefaultBodyLimit, Path, Request, State};
use axum::http::StatusCode;
use axum::middleware::from_fn_with_state;
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodRouter, get, post};
use sensewright_core::calculation::Entry;
use sensewright_core::catalogue::CATALOGUE;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::predicate::{NotForContentType, Predicate, SizeAbove};
use tower_http::compression::{CompressionLayer, CompressionLevel};

use crate::body;
use crate::desk::Desk;
use crate::edge;
use crate::handler::api::JsonBody;
use crate::handler::{api, asset, design, docs, entry, health, home, profile, worksheet};
use crate::media::takes_files;
use crate::question::Question;
use crate::site::Site;

/// Every address, with every layer.
pub fn all(site: &Arc<Site>) -> Router {
    let drawn_once = from_fn_with_state(Arc::clone(site), edge::drawn_once);
    let limited = entries()
        .route("/demo/{slug}", get(home::demo))
        .route("/worksheet", get(worksheet::entrance).post(worksheet::begin))
        .route("/worksheet/open", post(worksheet::open))
        .route("/worksheet/use", post(worksheet::take_in))
        .route("/worksheet/{token}", get(worksheet::bare))
        .route("/worksheet/{token}/", get(worksheet::overview).layer(drawn_once.clone()).post(worksheet::act))
        .route("/worksheet/{token}/{place}", get(worksheet::place).layer(drawn_once).post(worksheet::change))
        .route("/report", get(worksheet::former_report))
        .route("/compare", get(design::comparison).post(design::compare_posted))
        .route("/api/v1/design/assess", post(design::api_assess))
        .route("/api/v1/design/turning", post(design::api_turning))
        .route("/api/v1/design/compare", post(design::api_compare))
        .route("/api/v1/links", post(design::api_link))
        .route("/api/v1/links/open", post(design::api_open_posted))
        .route("/api/v1/links/{token}", get(design::api_open));
    // Never refused for load: they cost nothing, and a health check that fails under load ends the server.
    let free = reference()
        .route("/", get(home::page))
        .route(docs::REFERENCE, get(docs::index))
        .route("/api/openapi.json", get(docs::openapi))
        .route("/static/{*path}", get(asset::file))
        .route("/favicon.ico", get(asset::icon))
        .route("/robots.txt", get(asset::robots))
        .route("/healthz", get(health::alive))
        .route("/readyz", get(health::ready));
    dressed(limited_by(site, limited).merge(free).fallback(docs::lost), site)
}

/// The pages of the reference.
fn reference() -> Router<Arc<Site>> {
    docs::pages().fold(Router::new(), |router, page| router.route(&page, get(docs::page)))
}

/// The addresses of every calculation, from the catalogue.
fn entries() -> Router<Arc<Site>> {
    CATALOGUE.iter().fold(Router::new(), |router, entry| {
        let slug = entry.meta.slug;
        let page = get(move |desk: Desk, question: Question| entry::page(desk, question, entry));
        let answer = move |desk: Desk, body: JsonBody| api::calculate(desk, body, entry);
        let (page, answer) = if takes_files(entry) {
            let sent = move |state: State<Arc<Site>>, request: Request| profile::page(state, request, entry);
            (page.post(sent), post(move |desk: Desk, request: Request| profile::api(desk, request, entry)))
        } else {
            (page, post(answer))
        };
        router
            .route(&format!("/{slug}"), page)
            .route(&format!("/{slug}/turns"), get(move |desk: Desk, asked: Question| entry::turns(desk, asked, entry)))
            .route(&format!("/{slug}/nearest"), get(move |desk: Desk, asked: Question| entry::near(desk, asked, entry)))
            .route(&format!("/{slug}/table/{{file}}"), file_of(entry, "csv"))
            .route(&format!("/{slug}/chart/{{file}}"), file_of(entry, "svg"))
            .route(&format!("/api/v1/{slug}"), answer)
    })
}

fn file_of(entry: &'static Entry, format: &'static str) -> MethodRouter<Arc<Site>> {
    get(move |desk: Desk, Path(name): Path<String>, question: Question| {
        entry::file(desk, question, entry, format, name)
    })
}

/// The limits on load, outermost last.
pub fn limited_by(site: &Arc<Site>, routes: Router<Arc<Site>>) -> Router<Arc<Site>> {
    routes
        .layer(DefaultBodyLimit::max(site.max_body_bytes))
        .layer(from_fn_with_state(Arc::clone(site), edge::in_time))
        .layer(from_fn_with_state(Arc::clone(site), edge::in_flight))
        .layer(from_fn_with_state(Arc::clone(site), body::read))
        .layer(from_fn_with_state(Arc::clone(site), body::keep))
}

/// What every answer gets, outermost last: a panic is caught inside the edge, so that its answer is dressed, too.
pub fn dressed(routes: Router<Arc<Site>>, site: &Arc<Site>) -> Router {
    // What is told while work goes on must not wait in a packer.
    let told_at_once = NotForContentType::const_new(profile::NDJSON);
    // Fastest: on pages it packs within a tenth of the best, in a quarter of the time.
    let packing = CompressionLayer::new()
        .quality(CompressionLevel::Fastest)
        .compress_when(SizeAbove::new(1_024).and(NotForContentType::IMAGES).and(told_at_once));
    routes
        .layer(CatchPanicLayer::custom(after_panic))
        .layer(from_fn_with_state(Arc::clone(site), edge::edge))
        .layer(packing)
        .with_state(Arc::clone(site))
}

/// Nothing of a panic is for the outside; the log has its place.
fn after_panic(_: Box<dyn Any + Send>) -> Response {
    StatusCode::INTERNAL_SERVER_ERROR.into_response()
}
