//! # The other listener
//!
//! Health, readiness and metrics for who operates the service, on an address and a thread of their own: whatever the load, it
//! answers, and none of it is open to who uses the service.

use std::io;
use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;
use std::thread;

use axum::Router;
use axum::extract::State;
use axum::http::header::CONTENT_TYPE;
use axum::response::IntoResponse;
use axum::routing::get;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::time::{sleep, timeout};

use crate::handler::health;
use crate::limits::{HEAD, PAUSE};
use crate::site::Site;

const OPEN_METRICS: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Listens on a thread of its own, until the process ends.
///
/// # Errors
/// The address cannot be listened at, or the system gives no thread.
pub fn start(address: SocketAddr, site: &Arc<Site>) -> io::Result<()> {
    let named = |fault: io::Error| io::Error::new(fault.kind(), format!("cannot listen at {address}: {fault}"));
    let listener = TcpListener::bind(address).map_err(named)?;
    listener.set_nonblocking(true)?;
    let routes = routes(site);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let listen = move || {
        runtime.block_on(async {
            match tokio::net::TcpListener::from_std(listener) {
                Ok(listener) => serve(listener, routes).await,
                Err(fault) => tracing::error!(%fault, "nobody can watch"),
            }
        });
    };
    thread::Builder::new().name("watch".into()).spawn(listen).map(drop)
}

/// What is answered there.
pub fn routes(site: &Arc<Site>) -> Router {
    Router::new()
        .route("/healthz", get(health::alive))
        .route("/readyz", get(health::ready))
        .route("/metrics", get(metrics))
        .with_state(Arc::clone(site))
}

async fn metrics(State(site): State<Arc<Site>>) -> impl IntoResponse {
    let in_work = site.max_concurrent - site.in_flight.free();
    ([(CONTENT_TYPE, OPEN_METRICS)], site.metrics.text(in_work, site.connections.count(), site.gate.waiting()))
}

async fn serve(listener: tokio::net::TcpListener, routes: Router) {
    loop {
        let Ok((stream, _)) = listener.accept().await else {
            sleep(PAUSE).await;
            continue;
        };
        let served = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(HEAD)
            .keep_alive(false)
            .serve_connection(TokioIo::new(stream), TowerToHyperService::new(routes.clone()));
        // Who watches asks, reads and leaves.
        tokio::spawn(timeout(HEAD, served));
    }
}
