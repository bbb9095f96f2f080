//! # Connections
//!
//! Binds, accepts, and ends in order. Every wait has an end: a client that sends nothing, reads nothing or never
//! leaves holds its connection for a limited time.

use std::io::{self, Write};
use std::pin::pin;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use tokio::time::{sleep, timeout};
use tower_http::add_extension::AddExtension;

use crate::client::Peer;
use crate::config::{Config, LogStyle};
use crate::gate::Gate;
use crate::routes;
use crate::site::Site;

/// For the head of a request, and so for an idle connection, too.
const HEAD: Duration = Duration::from_secs(30);
/// After this a connection is asked to end with its current request; a client that reads too slowly ends with it.
const AGE: Duration = Duration::from_mins(5);
/// For requests in work when the server ends. Less than the ten seconds that a container is usually given.
const LAST: Duration = Duration::from_millis(4_500);
/// The head of a request, and what is read ahead of a body. The default of the library is 400 kB a connection.
const BUFFER_BYTES: usize = 64 * 1_024;
/// After an error of the listener, which is most often a lack of file descriptors.
const PAUSE: Duration = Duration::from_millis(50);

/// Serves until a signal ends it.
///
/// # Errors
/// The address cannot be listened at.
pub fn run(config: &Config) -> io::Result<()> {
    start_log(config.log);
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        // Nothing but calculations runs there.
        .max_blocking_threads(Gate::threads(config.max_heavy))
        .build()?;
    let served = runtime.block_on(async {
        let listener = TcpListener::bind(config.listen)
            .await
            .map_err(|fault| io::Error::new(fault.kind(), format!("cannot listen at {}: {fault}", config.listen)))?;
        let address = listener.local_addr()?;
        let leave = ending()?;
        tracing::info!(%address, version = env!("CARGO_PKG_VERSION"), "listening");
        // Standard output may be closed; the log has the address, too.
        let _ = writeln!(io::stdout(), "listening on http://{address}");
        let site = Arc::new(Site::new(config));
        until(leave, listener, &site, config.max_connections).await;
        tracing::info!("ended");
        Ok(())
    });
    // A calculation that nobody waits for any more must not hold up the end.
    runtime.shutdown_background();
    served
}

/// Accepts connections until `leave` is done, then lets the open ones end.
pub async fn until(leave: impl Future<Output = ()>, listener: TcpListener, site: &Arc<Site>, most: u32) {
    let app = routes::all(site);
    let places = Arc::new(Semaphore::new(most as usize));
    let (ending, ends) = watch::channel(false);
    let mut leave = pin!(leave);
    loop {
        let ((stream, peer), place) = tokio::select! {
            () = &mut leave => break,
            accepted = accept(&listener, &places) => accepted,
        };
        tokio::spawn(connection(stream, AddExtension::new(app.clone(), peer), place, ends.clone()));
    }
    site.leave();
    drop(listener);
    tracing::info!("ending");
    ending.send_replace(true);
    // All places are free again when the last connection has ended.
    if timeout(LAST, places.acquire_many(most)).await.is_err() {
        tracing::warn!("requests in work were cut off");
    }
}

/// A connection and its place; the place first, so that what is accepted is also served.
async fn accept(listener: &TcpListener, places: &Arc<Semaphore>) -> ((TcpStream, Peer), Option<OwnedSemaphorePermit>) {
    // The semaphore is never closed; without a place the connection would only not be counted.
    let place = Arc::clone(places).acquire_owned().await.ok();
    loop {
        match listener.accept().await {
            Ok((stream, address)) => return ((stream, Peer(address.ip())), place),
            Err(fault) => {
                tracing::warn!(%fault, "a connection could not be accepted");
                sleep(PAUSE).await;
            }
        }
    }
}

async fn connection(
    stream: TcpStream,
    app: AddExtension<Router, Peer>,
    place: Option<OwnedSemaphorePermit>,
    mut ends: watch::Receiver<bool>,
) {
    // Answers are small and complete: waiting for more to send would only delay them.
    let _ = stream.set_nodelay(true);
    let served = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .max_buf_size(BUFFER_BYTES)
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(app));
    let mut served = pin!(served);
    tokio::select! {
        // A client that breaks off is no fault of ours, and nothing that could be done about.
        _ = served.as_mut() => return drop(place),
        _ = ends.wait_for(|ends| *ends) => {}
        () = sleep(AGE) => {}
    }
    served.as_mut().graceful_shutdown();
    let _ = timeout(LAST, served).await;
    drop(place);
}

/// Done when the process is asked to end.
#[cfg(unix)]
fn ending() -> io::Result<impl Future<Output = ()>> {
    use tokio::signal::unix::{SignalKind, signal};
    let (mut terminate, mut interrupt) = (signal(SignalKind::terminate())?, signal(SignalKind::interrupt())?);
    Ok(async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
    })
}

/// Done when the process is asked to end.
#[cfg(not(unix))]
fn ending() -> io::Result<impl Future<Output = ()>> {
    Ok(async {
        let _ = tokio::signal::ctrl_c().await;
    })
}

/// The log goes to standard error. A panic is an event of it, with its place, and in its form.
fn start_log(style: LogStyle) {
    let log = tracing_subscriber::fmt().with_writer(io::stderr).with_target(false);
    // A second start in one process, as tests do, keeps the first log.
    let _ = match style {
        LogStyle::Text => log.with_ansi(false).try_init(),
        LogStyle::Json => log.json().flatten_event(true).try_init(),
    };
    std::panic::set_hook(Box::new(|panic| {
        let place = panic.location().map(ToString::to_string).unwrap_or_default();
        tracing::error!(place, "panicked: {}", panic.payload_as_str().unwrap_or_default());
    }));
}
