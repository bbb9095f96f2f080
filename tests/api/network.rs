//! On a real connection: what only the network shows.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::time::{Duration, Instant};

use sensewright_server::config::Config;
use sensewright_server::serve::until;
use sensewright_server::site::Site;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpSocket};
use tokio::sync::oneshot;
use tokio::task::{JoinHandle, spawn_blocking};

const SHORT: Duration = Duration::from_secs(5);

struct Server {
    address: SocketAddr,
    site: Arc<Site>,
    leave: oneshot::Sender<()>,
    ended: JoinHandle<()>,
}

async fn server(connections: usize) -> Server {
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
    let address = listener.local_addr().expect("bound");
    let site = Arc::new(Site::new(&Config { max_connections: connections, ..super::config() }));
    let (leave, left) = oneshot::channel::<()>();
    let shared = Arc::clone(&site);
    let ended = tokio::spawn(async move { until(async { left.await.unwrap_or_default() }, listener, &shared).await });
    Server { address, site, leave, ended }
}

fn connect(address: SocketAddr) -> TcpStream {
    let stream = TcpStream::connect(address).expect("the server listens");
    stream.set_read_timeout(Some(SHORT)).expect("a timeout");
    stream
}

/// One request on an open connection; the head and whatever of the body came with it.
fn ask(stream: &mut TcpStream, request: &str) -> String {
    stream.write_all(request.as_bytes()).expect("the server reads");
    let mut answer = vec![0; 64 * 1_024];
    let length = stream.read(&mut answer).expect("the server answers");
    String::from_utf8_lossy(&answer[..length]).into_owned()
}

const ALIVE: &str = "GET /healthz HTTP/1.1\r\nHost: a\r\n\r\n";

#[tokio::test(flavor = "multi_thread")]
async fn it_ends_at_once_although_a_connection_is_kept_open() {
    let server = server(10).await;
    let address = server.address;
    let stream = spawn_blocking(move || {
        let mut stream = connect(address);
        assert!(ask(&mut stream, ALIVE).starts_with("HTTP/1.1 200 OK\r\n"));
        stream
    });
    let _open = stream.await.expect("no panic");
    let began = Instant::now();
    server.leave.send(()).expect("it runs");
    server.ended.await.expect("no panic");
    assert!(server.site.is_leaving());
    assert!(began.elapsed() < Duration::from_secs(2), "{:?}", began.elapsed());
    assert!(TcpStream::connect(address).is_err(), "nothing listens any more");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_in_work_is_finished() {
    let server = server(10).await;
    let address = server.address;
    let body = super::example(super::shunt()).to_string();
    let asked = spawn_blocking(move || {
        let mut stream = connect(address);
        let head = "POST /api/v1/shunt HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\n";
        let (first, rest) = body.split_at(10);
        write!(stream, "{head}Content-Length: {}\r\n\r\n{first}", body.len()).expect("the server reads");
        std::thread::sleep(Duration::from_millis(300));
        ask(&mut stream, rest)
    });
    tokio::time::sleep(Duration::from_millis(100)).await;
    server.leave.send(()).expect("it runs");
    let answer = asked.await.expect("no panic");
    assert!(answer.starts_with("HTTP/1.1 200 OK\r\n"), "{answer}");
    server.ended.await.expect("no panic");
}

#[tokio::test(flavor = "multi_thread")]
async fn idle_connections_keep_nobody_out() {
    let server = server(8).await;
    let address = server.address;
    let asked = spawn_blocking(move || {
        let mut idle: Vec<TcpStream> = (0..20).map(|_| connect(address)).collect();
        idle.iter_mut().step_by(2).for_each(|stream| stream.write_all(b"GET /shunt HT").unwrap_or_default());
        let mut kept = connect(address);
        assert!(ask(&mut kept, ALIVE).starts_with("HTTP/1.1 200 OK\r\n"));
        // The first ones have made room.
        assert!(matches!(idle[0].read(&mut [0; 100]), Ok(0) | Err(_)));
        assert!(ask(&mut kept, ALIVE).starts_with("HTTP/1.1 200 OK\r\n"), "what is in use stays");
    });
    asked.await.expect("no panic");
    assert!(server.site.connections.count() <= 4, "one client has half");
    server.leave.send(()).expect("it runs");
    server.ended.await.expect("no panic");
}

#[tokio::test(flavor = "multi_thread")]
async fn heads_without_bodies_take_no_place_and_are_told_so() {
    let server = server(400).await;
    let address = server.address;
    let head = "POST /api/v1/shunt HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\n";
    let head = format!("{head}Content-Length: 500000\r\n\r\n{{");
    let asked = spawn_blocking(move || {
        let mut heads: Vec<TcpStream> = (0..150).map(|_| connect(address)).collect();
        for stream in &mut heads {
            stream.write_all(head.as_bytes()).expect("the server reads");
        }
        std::thread::sleep(Duration::from_millis(300));
        let body = super::example(super::shunt()).to_string();
        let began = Instant::now();
        assert!(ask(&mut connect(address), &posted("/api/v1/shunt", &body)).starts_with("HTTP/1.1 200 OK\r\n"));
        assert!(began.elapsed() < Duration::from_secs(3), "{:?}", began.elapsed());
        let mut answer = String::new();
        heads[0].set_read_timeout(Some(2 * SHORT)).expect("a timeout");
        heads[0].read_to_string(&mut answer).expect("the server answers, and closes");
        assert!(answer.starts_with("HTTP/1.1 408 ") && answer.contains("\"code\":\"body-too-slow\""), "{answer}");
    });
    asked.await.expect("no panic");
    server.leave.send(()).expect("it runs");
    server.ended.await.expect("no panic");
}

/// Who ends a body before it is whole has left, and reads no answer; what is no body is refused.
#[tokio::test(flavor = "multi_thread")]
async fn a_body_that_breaks_off_is_not_answered() {
    let server = server(100).await;
    let address = server.address;
    let asked = spawn_blocking(move || {
        let sent = |rest: &str| {
            let mut stream = connect(address);
            let head = "POST /api/v1/shunt HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\n";
            stream.write_all(format!("{head}{rest}").as_bytes()).expect("the server reads");
            stream.shutdown(std::net::Shutdown::Write).expect("one way");
            let mut answer = String::new();
            stream.read_to_string(&mut answer).expect("the server closes");
            answer
        };
        assert_eq!(sent("Content-Length: 500\r\n\r\n{"), "");
        let refused = sent("Transfer-Encoding: chunked\r\n\r\nno size\r\n");
        assert!(refused.starts_with("HTTP/1.1 400 ") && refused.contains("\"code\":\"body-broken\""), "{refused}");
    });
    asked.await.expect("no panic");
    server.leave.send(()).expect("it runs");
    server.ended.await.expect("no panic");
}

/// Whoever asks for more before the first answer is there, and leaves, is worked for no longer.
#[cfg(target_os = "linux")]
#[tokio::test(flavor = "multi_thread")]
async fn who_asks_twice_at_once_and_leaves_is_gone() {
    let server = server(100).await;
    let address = server.address;
    let asked = spawn_blocking(move || {
        let twice = "GET /current-channel HTTP/1.1\r\nHost: a\r\nAccept: text/html\r\n\r\n".repeat(2);
        for _ in 0..30 {
            connect(address).write_all(twice.as_bytes()).expect("the server reads");
        }
    });
    asked.await.expect("no panic");
    // To work for all of them would take many times as long.
    tokio::time::sleep(Duration::from_millis(1_500)).await;
    assert_eq!(server.site.connections.count(), 0);
    server.leave.send(()).expect("it runs");
    server.ended.await.expect("no panic");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_no_http_is_refused() {
    let server = server(10).await;
    let address = server.address;
    let asked = spawn_blocking(move || {
        for (request, statuses) in [
            ("no such thing\r\n\r\n".into(), [" 400 ", " 400 "]),
            (format!("GET /{} HTTP/1.1\r\nHost: a\r\n\r\n", "a".repeat(70_000)), [" 414 ", " 431 "]),
            (format!("GET / HTTP/1.1\r\nHost: a\r\nX: {}\r\n\r\n", "a".repeat(200_000)), [" 431 ", " 431 "]),
        ] {
            let answer = ask(&mut connect(address), &request);
            assert!(statuses.iter().any(|status| answer.starts_with(&format!("HTTP/1.1{status}"))), "{answer}");
        }
    });
    asked.await.expect("no panic");
    server.leave.send(()).expect("it runs");
    server.ended.await.expect("no panic");
}

/// One request from an address of one's own: its status, and how long it took.
async fn timed(address: SocketAddr, from: [u8; 4], request: String) -> (String, Duration) {
    let began = Instant::now();
    let socket = TcpSocket::new_v4().expect("a socket");
    socket.bind(SocketAddr::from((from, 0))).expect("an address of the loopback");
    let mut stream = socket.connect(address).await.expect("the server listens");
    stream.write_all(request.as_bytes()).await.expect("the server reads");
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).await.expect("the server answers");
    (String::from_utf8_lossy(&answer).split(' ').nth(1).unwrap_or_default().into(), began.elapsed())
}

fn posted(path: &str, body: &str) -> String {
    let length = body.len();
    let head = "Host: a\r\nConnection: close\r\nContent-Type: application/json";
    format!("POST {path} HTTP/1.1\r\n{head}\r\nContent-Length: {length}\r\n\r\n{body}")
}

/// The long version is `tests/load/load.py`.
#[cfg(target_os = "linux")]
#[tokio::test(flavor = "multi_thread")]
async fn who_asks_for_much_does_not_keep_another_waiting() {
    let server = server(100).await;
    let address = server.address;
    let mut document = serde_json::Value::Object(sensewright_core::demo::DEMOS[0].design.document());
    for part in document["current"].as_array_mut().into_iter().flatten() {
        part["experiment"] = serde_json::json!({"trials": 10_000_000, "seed": 1});
    }
    let design = sensewright_core::design::Design::read(&document).expect("a design");
    let link = sensewright_core::design::link::address(&design).expect("it has an address");
    let page = format!("GET {link} HTTP/1.1\r\nHost: a\r\nConnection: close\r\nAccept: text/html\r\n\r\n");
    let json = posted("/api/v1/design/assess?include=levers", &document.to_string());
    let until = Instant::now() + Duration::from_secs(3);
    let attackers: Vec<_> = (0..8_u8)
        .map(|index| {
            let requests = [page.clone(), json.clone()];
            tokio::spawn(async move {
                let mut asked = 0;
                while Instant::now() < until {
                    timed(address, [127, 0, 0, 2 + index % 4], requests[asked % 2].clone()).await;
                    asked += 1;
                }
                asked
            })
        })
        .collect();
    tokio::time::sleep(Duration::from_millis(200)).await;
    let question = posted("/api/v1/shunt", &super::example(super::shunt()).to_string());
    let mut times = Vec::new();
    while Instant::now() < until {
        let (status, took) = timed(address, [127, 0, 0, 1], question.clone()).await;
        assert_eq!(status, "200");
        times.push(took);
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    times.sort();
    // Alone it takes a few milliseconds; behind one of the others it would take seconds.
    let middle = times[times.len() / 2];
    assert!(middle < Duration::from_millis(250), "{middle:?} of {} requests", times.len());
    let mut asked = 0;
    for attacker in attackers {
        asked += attacker.await.expect("no panic");
    }
    assert!(asked >= 8, "nobody asked for much");
    server.leave.send(()).expect("it runs");
    server.ended.await.expect("no panic");
}
