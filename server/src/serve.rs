//! # Connections
//!
//! Binds, accepts, and ends in order. Every wait has an end: a client that sends nothing, reads nothing or never
//! leaves holds its connection for a limited time.

use std::io::{self, Write};
use std::net::SocketAddr;
use std::pin::pin;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::http::HeaderMap;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::net::{TcpListener, TcpSocket, TcpStream};
use tokio::sync::watch;
use tokio::time::{sleep, timeout};
use tower::Service;

use crate::body::BrokenOff;
use crate::client::{Client, Peer};
use crate::config::{Config, LogLevel, LogStyle};
use crate::connections::{Line, Paced, Place, TO_READ};
use crate::gate::Gate;
use crate::limits::{HEAD, PAUSE};
use crate::routes;
use crate::site::Site;
use crate::stream::Shared;

/// After this a connection is asked to end with its current request; a client that reads too slowly ends with it.
const AGE: Duration = Duration::from_mins(5);
/// For the answer of a request that has taken all of its time.
const GRACE: Duration = Duration::from_secs(1);
/// Connections that wait to be taken. Whoever comes beyond them comes again after a second.
const BACKLOG: u32 = 4_096;
/// Files that are no connections: what the process itself has open, and what is just being closed.
const SPARE: usize = 64;
/// The head of a request, and what is read ahead of a body. The default of the library is 400 kB a connection.
const BUFFER_BYTES: usize = 64 * 1_024;

/// Serves until a signal ends it.
///
/// # Errors
/// An address cannot be listened at.
pub fn run(config: &Config) -> io::Result<()> {
    start_log(config);
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        // Nothing but calculations runs there.
        .max_blocking_threads(Gate::threads(config.max_heavy))
        .build()?;
    let config =
        Config { max_connections: config.max_connections.min(files().saturating_sub(SPARE)), ..config.clone() };
    let served = runtime.block_on(async {
        let listener = listen(config.listen)
            .map_err(|fault| io::Error::new(fault.kind(), format!("cannot listen at {}: {fault}", config.listen)))?;
        let address = listener.local_addr()?;
        let leave = ending()?;
        let site = Arc::new(Site::new(&config));
        if let Some(address) = config.watch_listen {
            crate::watch::start(address, &site)?;
        }
        tracing::info!(%address, version = env!("CARGO_PKG_VERSION"), "listening");
        // Standard output may be closed; the log has the address, too.
        let _ = writeln!(io::stdout(), "listening on http://{address}");
        until(leave, listener, &site).await;
        tracing::info!("ended");
        Ok(())
    });
    // A calculation that nobody waits for any more must not hold up the end.
    runtime.shutdown_background();
    served
}

/// Listens where it is told to.
fn listen(address: SocketAddr) -> io::Result<TcpListener> {
    let socket = if address.is_ipv4() { TcpSocket::new_v4() } else { TcpSocket::new_v6() }?;
    // The address of a server that has just ended is free.
    #[cfg(unix)]
    socket.set_reuseaddr(true)?;
    socket.bind(address)?;
    socket.listen(BACKLOG)
}

/// How many files the process may have open.
fn files() -> usize {
    #[cfg(target_os = "linux")]
    let most = rustix::process::getrlimit(rustix::process::Resource::Nofile).current;
    #[cfg(not(target_os = "linux"))]
    let most = None::<u64>;
    most.and_then(|most| usize::try_from(most).ok()).unwrap_or(usize::MAX)
}

/// Accepts connections until `leave` is done, then lets the open ones end.
pub async fn until(leave: impl Future<Output = ()>, listener: TcpListener, site: &Arc<Site>) {
    let app = routes::all(site);
    let (ending, ends) = watch::channel(false);
    let mut leave = pin!(leave);
    loop {
        let (stream, peer) = tokio::select! {
            () = &mut leave => break,
            accepted = accept(&listener) => accepted,
        };
        let client = Client::of(Some(peer), &HeaderMap::new(), &[]);
        // Without a place it is closed at once.
        if let Some(place) = site.connections.admit(client, peer.is_in(&site.trusted)) {
            let last = site.timeout + GRACE;
            tokio::spawn(connection(stream, app.clone(), peer, place, ends.clone(), last));
        }
    }
    site.leave();
    drop(listener);
    tracing::info!("ending");
    ending.send_replace(true);
    // As long as a request may take: what is in work is finished.
    if timeout(site.timeout + GRACE, site.connections.gone()).await.is_err() {
        tracing::warn!("requests in work were cut off");
    }
}

async fn accept(listener: &TcpListener) -> (TcpStream, Peer) {
    loop {
        match listener.accept().await {
            Ok((stream, address)) => return (stream, Peer(address.ip())),
            Err(fault) => {
                tracing::warn!(%fault, "a connection could not be accepted");
                sleep(PAUSE).await;
            }
        }
    }
}

/// Serves a connection until its client leaves, it has to make room, it is old, or the server ends. What is worked on is
/// finished within `last`.
async fn connection(
    stream: TcpStream,
    app: Router,
    peer: Peer,
    place: Place,
    mut ends: watch::Receiver<bool>,
    last: Duration,
) {
    // Answers are small and complete: waiting for more to send would only delay them.
    let _ = stream.set_nodelay(true);
    let stream = Shared::new(stream);
    let line = Arc::clone(&place.line);
    let service = {
        let line = Arc::clone(&line);
        service_fn(move |mut request: hyper::Request<Incoming>| {
            request.extensions_mut().insert(peer);
            request.extensions_mut().insert(Arc::clone(&line));
            let (answered, line) = (app.clone().call(request), Arc::clone(&line));
            async move {
                let Ok(response) = answered.await;
                if response.extensions().get::<BrokenOff>().is_some() {
                    return Err(io::Error::from(io::ErrorKind::UnexpectedEof));
                }
                line.answer();
                Ok(response)
            }
        })
    };
    let served = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .max_buf_size(BUFFER_BYTES)
        .serve_connection(TokioIo::new(Paced::new(stream.clone(), Arc::clone(&line), TO_READ)), service);
    let mut served = pin!(served);
    let last = tokio::select! {
        // A client that breaks off is no fault of ours, and nothing that could be done about.
        _ = served.as_mut() => return,
        () = stream.left(&line) => return,
        () = line.closed() => if line.is_working() { last } else { PAUSE },
        _ = ends.wait_for(|ends| *ends) => last,
        () = aged(&line) => last,
    };
    served.as_mut().graceful_shutdown();
    let _ = timeout(last, served).await;
}

/// Done when a connection is old, and no file of any length comes on it any more.
async fn aged(line: &Line) {
    loop {
        sleep(AGE).await;
        if !line.is_uploading() {
            return;
        }
    }
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
fn start_log(config: &Config) {
    let level = match config.log_level {
        LogLevel::Error => tracing::Level::ERROR,
        LogLevel::Warn => tracing::Level::WARN,
        LogLevel::Info => tracing::Level::INFO,
        LogLevel::Debug => tracing::Level::DEBUG,
    };
    let log = tracing_subscriber::fmt().with_writer(io::stderr).with_target(false).with_max_level(level);
    // A second start in one process, as tests do, keeps the first log.
    let _ = match config.log {
        LogStyle::Text => log.with_ansi(false).try_init(),
        LogStyle::Json => log.json().flatten_event(true).try_init(),
    };
    std::panic::set_hook(Box::new(|panic| {
        let place = panic.location().map(ToString::to_string).unwrap_or_default();
        tracing::error!(place, "panicked: {}", panic.payload_as_str().unwrap_or_default());
    }));
}
