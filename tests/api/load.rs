//! Too much, too slow, broken: every one of them is answered.

use std::sync::Arc;
use std::sync::mpsc::{Sender, channel};
use std::time::{Duration, Instant};

use axum::Router;
use axum::extract::State;
use axum::routing::get as on_get;
use sensewright_core::work::Work;
use sensewright_server::config::Config;
use sensewright_server::error::Fault;
use sensewright_server::routes::{dressed, limited_by};
use sensewright_server::site::Site;
use tokio::task::JoinHandle;

use super::{app_of, config, example, get, post, shunt};

fn site(change: impl FnOnce(&mut Config)) -> Arc<Site> {
    let mut config = config();
    change(&mut config);
    Arc::new(Site::new(&config))
}

/// A calculation that runs until it is released.
fn occupy(site: &Arc<Site>) -> (JoinHandle<Result<(), Fault>>, Sender<()>) {
    let (release, released) = channel();
    let site = Arc::clone(site);
    let waiting = tokio::spawn(async move {
        let work = move |_: Work| released.recv().unwrap_or_default();
        site.heavy.run(work).await
    });
    (waiting, release)
}

#[tokio::test]
async fn a_request_above_the_limit_is_told_to_come_back() {
    let site = site(|config| config.max_concurrent = 1);
    let app = app_of(&site);
    let held = site.in_flight.try_acquire().expect("one is free");
    let refused = get(&app, "/shunt").await;
    refused.page(503);
    assert_eq!(refused.header("retry-after"), "1");
    let refused = post(&app, "/api/v1/shunt", "{}").await;
    refused.problem(503);
    assert_eq!(refused.header("retry-after"), "1");
    // A health check that fails under load would end the server; a page needs its style sheet.
    for address in ["/healthz", "/readyz", "/static/icon.svg"] {
        assert_eq!(get(&app, address).await.status, 200, "{address}");
    }
    drop(held);
    get(&app, "/shunt").await.page(200);
    get(&app, "/shunt").await.page(200);
}

#[tokio::test]
async fn a_queue_that_is_full_is_not_made_longer() {
    let site = site(|config| config.max_heavy = 1);
    let app = app_of(&site);
    let mut occupied = Vec::new();
    // Fills the queue: the first that is refused ends at once, all before it wait or run.
    loop {
        let (waiting, release) = occupy(&site);
        tokio::time::sleep(Duration::from_millis(5)).await;
        if waiting.is_finished() {
            assert_eq!(waiting.await.expect("no panic"), Err(Fault::Busy));
            break;
        }
        occupied.push((waiting, release));
        assert!(occupied.len() < 100, "the queue has no end");
    }
    assert!(occupied.len() > 1, "nothing may wait");
    let refused = post(&app, "/api/v1/shunt", example(shunt()).to_string()).await;
    refused.problem(503);
    assert_eq!(refused.header("retry-after"), "1");
    for (waiting, release) in occupied {
        drop(release);
        assert_eq!(waiting.await.expect("no panic"), Ok(()));
    }
    assert_eq!(post(&app, "/api/v1/shunt", example(shunt()).to_string()).await.status, 200);
}

#[tokio::test]
async fn a_turn_that_does_not_come_is_given_up_before_the_time_is() {
    let site = site(|config| (config.max_heavy, config.timeout_seconds) = (1, 1));
    let app = app_of(&site);
    let (running, release) = occupy(&site);
    tokio::time::sleep(Duration::from_millis(20)).await;
    let began = Instant::now();
    post(&app, "/api/v1/shunt", example(shunt()).to_string()).await.problem(503);
    assert!(began.elapsed() >= Duration::from_millis(200), "it did not wait for its turn");
    drop(release);
    assert_eq!(running.await.expect("no panic"), Ok(()));
}

#[tokio::test]
async fn a_calculation_without_end_is_504_and_keeps_its_place_until_it_ends() {
    let mut site = Site::new(&Config { max_heavy: 1, ..config() });
    site.timeout = Duration::from_millis(50);
    let site = Arc::new(site);
    let (release, released) = channel::<()>();
    let released = Arc::new(std::sync::Mutex::new(released));
    let slow = move |State(site): State<Arc<Site>>| async move {
        let released = Arc::clone(&released);
        site.heavy.run(move |_| drop(released.lock().map(|released| released.recv()))).await
    };
    let app = dressed(limited_by(&site, Router::new().route("/api/v1/slow", on_get(slow))), &site);
    get(&app, "/api/v1/slow").await.problem(504);
    // The work still runs, so the next one waits for its turn until its time is over, too.
    let quick = app_of(&site);
    post(&quick, "/api/v1/shunt", example(shunt()).to_string()).await.problem(504);
    drop(release);
    // A machine under load may miss the short time of this site more than once; the place is free all the same.
    for _ in 0..200 {
        if post(&quick, "/api/v1/shunt", example(shunt()).to_string()).await.status == 200 {
            return;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    panic!("the place of the calculation that has ended is not free again");
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
        };
        asking.heavy.run(work).await
    });
    tokio::time::sleep(Duration::from_millis(30)).await;
    request.abort();
    let stopped = tokio::task::spawn_blocking(move || said.recv_timeout(Duration::from_secs(4)));
    assert_eq!(stopped.await.expect("no panic"), Ok(Err(sensewright_core::work::Halt)));
    assert_eq!(post(&app_of(&site), "/api/v1/shunt", example(shunt()).to_string()).await.status, 200);
}

#[tokio::test]
async fn a_panic_is_answered_without_its_words() {
    async fn here() -> &'static str {
        panic!("secret words")
    }
    async fn there(State(site): State<Arc<Site>>) -> Result<(), Fault> {
        site.heavy.run(|_| panic!("secret words")).await
    }
    let site = site(|config| config.max_heavy = 1);
    let routes = Router::new().route("/here", on_get(here)).route("/api/v1/here", on_get(here));
    let routes = routes.route("/api/v1/there", on_get(there)).route("/fine", on_get(|| async { "fine" }));
    let app = dressed(limited_by(&site, routes), &site);
    for _ in 0..3 {
        let page = get(&app, "/here").await;
        assert!(!page.page(500).contains("secret"));
        assert!(page.header("content-security-policy").contains("default-src 'none'"));
        for address in ["/api/v1/here", "/api/v1/there"] {
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
