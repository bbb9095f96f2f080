//! Too much, too slow, broken: every one of them is answered.

use std::net::IpAddr;
use std::sync::Arc;
use std::sync::mpsc::{Sender, channel};
use std::time::{Duration, Instant};

use axum::Router;
use axum::body::Body;
use axum::http::{HeaderMap, Request, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::routing::get as on_get;
use sensewright_core::demo::DEMOS;
use sensewright_core::work::{Cost, Work};
use sensewright_server::client::{Client, Peer};
use sensewright_server::config::Config;
use sensewright_server::desk::Desk;
use sensewright_server::error::Fault;
use sensewright_server::gate::Job;
use sensewright_server::routes::{dressed, limited_by};
use sensewright_server::site::Site;
use tokio::task::JoinHandle;

use super::{Answer, app_of, ask, config, example, get, get_with, post, shunt};

fn site(change: impl FnOnce(&mut Config)) -> Arc<Site> {
    let mut config = config();
    change(&mut config);
    Arc::new(Site::new(&config))
}

/// A page of a design that was drawn is there for the next reader, on this host; who wishes it has it drawn anew.
#[tokio::test]
async fn a_page_is_drawn_once_and_anew_for_who_wishes_it() {
    let site = site(|_| ());
    let app = app_of(&site);
    let kept = async |count: usize| {
        let watched = get(&sensewright_server::watch::routes(&site), "/metrics").await;
        assert!(watched.text().contains(&format!("sensewright_kept_total {count}\n")), "{}", watched.text());
    };
    let path = format!("{}current.1", DEMOS[0].address);
    let first = get(&app, &path).await;
    first.page(200);
    kept(0).await;
    let again = get(&app, &path).await;
    kept(1).await;
    let anew = get_with(&app, &path, &[("cache-control", "max-age=0, No-Cache")]).await;
    kept(1).await;
    let of_the_request =
        |answer: &Answer| (answer.headers.len(), answer.header("content-type").to_owned(), answer.body.clone());
    assert_eq!(of_the_request(&again), of_the_request(&first));
    assert_eq!(of_the_request(&anew), of_the_request(&first));
    assert_ne!(again.header("x-request-id"), first.header("x-request-id"));
    // A program, a part of the page, another host, a page that says what is wrong: none of them is that page.
    for header in [("accept", "application/json"), ("x-part", "live"), ("host", "other.example")] {
        let request = Request::builder().uri(&path).header("host", "sense.example");
        let request = if header.0 == "host" { Request::builder().uri(&path) } else { request };
        let other = ask(&app, request.header(header.0, header.1).body(Body::empty()).expect("a request")).await;
        assert_eq!(other.status, StatusCode::OK, "{header:?}");
        assert!(header.0 == "x-part" || other.body != first.body, "{header:?}");
    }
    for _ in 0..2 {
        get(&app, &format!("{}current.9", DEMOS[0].address)).await.page(404);
    }
    kept(1).await;
}

/// Work that runs until it is released, for one client or another.
fn occupy(site: &Arc<Site>, client: Client, cost: Cost) -> (JoinHandle<Result<StatusCode, Fault>>, Sender<()>) {
    let (release, released) = channel();
    let site = Arc::clone(site);
    let waiting = tokio::spawn(async move {
        let work = move |_: Work| {
            released.recv().unwrap_or_default();
            Ok(StatusCode::OK.into_response())
        };
        site.gate.run(client, move || Ok(Job::new(cost, work))).await.map(|response| response.status())
    });
    (waiting, release)
}

fn client(last: u8) -> Client {
    Client::of(Some(Peer(IpAddr::from([192, 0, 2, last]))), &HeaderMap::new(), &[])
}

/// A second of a core.
const BULK: Cost = Cost { units: 300_000_000, bytes: 0 };

#[tokio::test]
async fn a_request_above_the_limit_is_told_to_come_back() {
    let site = site(|config| config.max_concurrent = 1);
    let app = app_of(&site);
    let held = site.in_flight.take(client(1), 1).expect("one is free");
    let refused = get(&app, "/shunt").await;
    refused.page(503);
    assert_eq!(refused.header("retry-after"), "1");
    let refused = post(&app, "/api/v1/shunt", "{}").await;
    refused.problem(503);
    assert_eq!(refused.header("retry-after"), "1");
    // A health check that fails under load would end the server; a page needs its style sheet.
    for address in ["/", "/api", "/api/openapi.json", "/healthz", "/readyz", "/static/icon.svg"] {
        assert_eq!(get(&app, address).await.status, 200, "{address}");
    }
    drop(held);
    get(&app, "/shunt").await.page(200);
    get(&app, "/shunt").await.page(200);
}

#[tokio::test]
async fn a_queue_that_is_full_is_not_made_longer() {
    let site = site(|config| (config.max_heavy, config.timeout_seconds) = (1, 30));
    let app = app_of(&site);
    let mut occupied = Vec::new();
    // Fills the queue: the first that is refused ends at once, all before it wait or run.
    let refused = loop {
        let (waiting, release) = occupy(&site, client(1), BULK);
        tokio::time::sleep(Duration::from_millis(20)).await;
        if waiting.is_finished() {
            break waiting.await.expect("no panic");
        }
        occupied.push((waiting, release));
        assert!(occupied.len() < 100, "the queue has no end");
    };
    assert!(matches!(refused, Err(Fault::Busy { seconds: 3..=6 })), "{refused:?}");
    assert!(occupied.len() > 1, "nothing may wait");
    // Another address has its place all the same, and nothing short waits.
    let (other, release) = occupy(&site, client(2), BULK);
    tokio::time::sleep(Duration::from_millis(20)).await;
    assert!(!other.is_finished());
    drop(release);
    assert_eq!(post(&app, "/api/v1/shunt", example(shunt()).to_string()).await.status, 200);
    let last = occupied.pop().expect("more than one").0.await.expect("no panic");
    assert!(matches!(last, Err(Fault::Busy { .. })), "who has most makes room: {last:?}");
    for (waiting, release) in occupied {
        drop(release);
        assert_eq!(waiting.await.expect("no panic"), Ok(StatusCode::OK));
    }
    assert_eq!(other.await.expect("no panic"), Ok(StatusCode::OK));
}

#[tokio::test]
async fn what_is_light_does_not_wait_behind_what_is_heavy() {
    let site = site(|config| config.max_heavy = 1);
    let app = app_of(&site);
    let heavy = Cost { units: 30_000_000, bytes: 0 };
    let occupied: Vec<_> = [heavy, heavy, BULK, BULK].into_iter().map(|cost| occupy(&site, client(1), cost)).collect();
    tokio::time::sleep(Duration::from_millis(50)).await;
    assert_eq!(post(&app, "/api/v1/shunt", example(shunt()).to_string()).await.status, 200);
    assert!(occupied.iter().all(|(waiting, _)| !waiting.is_finished()));
    // Which of them comes first is left open: all are let go before one is waited for.
    let waiting: Vec<_> = occupied.into_iter().map(|(waiting, _)| waiting).collect();
    for one in waiting {
        assert_eq!(one.await.expect("no panic"), Ok(StatusCode::OK));
    }
}

#[tokio::test]
async fn work_whose_time_is_up_is_stopped_and_keeps_its_turn_until_it_ends() {
    let mut site = Site::new(&Config { max_heavy: 1, ..config() });
    site.timeout = Duration::from_millis(50);
    let site = Arc::new(site);
    let (release, released) = channel::<()>();
    let released = Arc::new(std::sync::Mutex::new(released));
    let slow = move |desk: Desk| async move {
        let released = Arc::clone(&released);
        let work = move |_: Work| {
            drop(released.lock().map(|released| released.recv()));
            Ok(StatusCode::OK.into_response())
        };
        desk.run(|_| Ok(Job::light(work))).await
    };
    let app = dressed(limited_by(&site, Router::new().route("/api/v1/slow", on_get(slow))), &site);
    let stopped = get(&app, "/api/v1/slow").await;
    assert_eq!(stopped.problem(503)["code"], "stopped");
    assert_eq!(stopped.header("retry-after"), "1");
    // The work still runs, so the next one waits for its turn until its time is over, too.
    let quick = app_of(&site);
    post(&quick, "/api/v1/shunt", example(shunt()).to_string()).await.problem(503);
    drop(release);
    // A machine under load may miss the short time of this site more than once; the turn is free all the same.
    for _ in 0..200 {
        if post(&quick, "/api/v1/shunt", example(shunt()).to_string()).await.status == 200 {
            return;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    panic!("the turn of the work that has ended is not free again");
}

/// The work of a client that has left learns of it at its next question, and its place is free again.
#[tokio::test]
async fn work_stops_when_nobody_waits_for_it() {
    let site = site(|config| config.max_heavy = 1);
    let (say, said) = channel();
    let asking = Arc::clone(&site);
    let request = tokio::spawn(async move {
        let work = move |work: Work| {
            let began = Instant::now();
            while work.go_on().is_ok() && began.elapsed() < Duration::from_secs(5) {
                std::thread::sleep(Duration::from_millis(1));
            }
            say.send(work.go_on()).unwrap_or_default();
            Ok(StatusCode::OK.into_response())
        };
        asking.gate.run(client(1), || Ok(Job::light(work))).await
    });
    tokio::time::sleep(Duration::from_millis(30)).await;
    request.abort();
    let stopped = tokio::task::spawn_blocking(move || said.recv_timeout(Duration::from_secs(4)));
    assert_eq!(stopped.await.expect("no panic"), Ok(Err(sensewright_core::work::Halt)));
    assert_eq!(post(&app_of(&site), "/api/v1/shunt", example(shunt()).to_string()).await.status, 200);
}

/// One that is stopped before its answer is counted, and one client cannot have all places.
#[tokio::test]
async fn a_client_has_half_of_all_places_and_one_that_leaves_is_counted() {
    let site = site(|config| (config.max_concurrent, config.max_heavy) = (4, 1));
    let app = app_of(&site);
    let (waiting, release) = occupy(&site, client(9), Cost::SMALL);
    tokio::time::sleep(Duration::from_millis(50)).await;
    let asked = |last: u8| {
        let app = app.clone();
        tokio::spawn(async move {
            let mut request = Request::post("/api/v1/shunt").header("content-type", "application/json");
            request.extensions_mut().expect("a request").insert(Peer(IpAddr::from([192, 0, 2, last])));
            ask(&app, request.body(Body::from(example(shunt()).to_string())).expect("a request")).await.status
        })
    };
    let first: Vec<_> = (0..3).map(|_| asked(1)).collect();
    tokio::time::sleep(Duration::from_millis(100)).await;
    assert_eq!(first.iter().filter(|request| request.is_finished()).count(), 1, "the third is refused");
    let other = asked(2);
    tokio::time::sleep(Duration::from_millis(100)).await;
    assert!(!other.is_finished());
    other.abort();
    drop(release);
    assert_eq!(waiting.await.expect("no panic"), Ok(StatusCode::OK));
    let mut statuses = Vec::new();
    for request in first {
        statuses.push(request.await.expect("no panic").as_u16());
    }
    statuses.sort_unstable();
    assert_eq!(statuses, [200, 200, 503]);
    let watched = get(&sensewright_server::watch::routes(&site), "/metrics").await;
    let text = watched.text();
    assert!(text.contains("sensewright_left_total 1"), "{text}");
    assert!(text.contains("{method=\"POST\",route=\"/api/v1/shunt\",status=\"200\"} 2"), "{text}");
    assert!(text.contains("sensewright_in_work 0"), "{text}");
    get(&app, "/metrics").await.page(404);
}

#[tokio::test]
async fn a_panic_is_answered_without_its_words() {
    async fn here() -> &'static str {
        panic!("secret words")
    }
    async fn there(desk: Desk) -> Result<Response, Fault> {
        desk.run(|_| Ok(Job::light(|_| panic!("secret words")))).await
    }
    async fn heavy(desk: Desk) -> Result<Response, Fault> {
        desk.run(|_| Ok(Job::new(BULK, |_| panic!("secret words")))).await
    }
    let site = site(|config| config.max_heavy = 1);
    let routes = Router::new().route("/here", on_get(here)).route("/api/v1/here", on_get(here));
    let routes = routes
        .route("/api/v1/there", on_get(there))
        .route("/api/v1/heavy", on_get(heavy))
        .route("/fine", on_get(|| async { "fine" }));
    let app = dressed(limited_by(&site, routes), &site);
    for _ in 0..3 {
        let page = get(&app, "/here").await;
        assert!(!page.page(500).contains("secret"));
        assert!(page.header("content-security-policy").contains("default-src 'none'"));
        for address in ["/api/v1/here", "/api/v1/there", "/api/v1/heavy"] {
            let answer = get(&app, address).await;
            answer.problem(500);
            assert!(!answer.text().contains("secret") && !answer.text().contains(".rs"), "{answer:?}");
        }
    }
    assert_eq!(get(&app, "/fine").await.text(), "fine");
}

#[tokio::test]
async fn a_server_that_is_about_to_end_says_so() {
    let site = site(|_| ());
    let app = app_of(&site);
    assert_eq!(get(&app, "/readyz").await.status, 200);
    site.leave();
    let answer = get(&app, "/readyz").await;
    answer.problem(503);
    assert!(!answer.header("retry-after").is_empty());
    assert_eq!(get(&app, "/healthz").await.status, 200);
    get(&app, "/shunt").await.page(200);
}
