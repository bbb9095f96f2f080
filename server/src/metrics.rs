//! # What is counted
//!
//! In the text form of OpenMetrics, for a program that watches the service. No label is taken from a client: a route is the
//! pattern of its address, a method one of a few.

use std::fmt;
use std::sync::atomic::AtomicU64;
use std::time::Duration;

use axum::http::{Method, StatusCode};
use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::encoding::text::encode;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::registry::Registry;
use sensewright_core::work::Cost;

use crate::gate::{Size, Waiting};
use crate::queue::seconds_of;

/// Upper ends of the classes of times, in seconds.
const SECONDS: [f64; 10] = [0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0];
/// The same of refusals, which come at once or at the end of a request's time.
const REFUSED: [f64; 6] = [0.001, 0.01, 0.05, 0.3, 3.0, 30.0];

#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Request {
    method: &'static str,
    route: String,
    status: u16,
}

#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Route {
    route: String,
}

#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Why {
    code: &'static str,
}

#[derive(Clone, Debug, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Lane {
    lane: &'static str,
}

impl From<Size> for Lane {
    fn from(size: Size) -> Self {
        let lane = match size {
            Size::Light => "light",
            Size::Heavy => "heavy",
            Size::Bulk => "bulk",
        };
        Self { lane }
    }
}

/// All counts.
pub struct Metrics {
    registry: Registry,
    requests: Family<Request, Counter>,
    times: Family<Route, Histogram>,
    refused: Family<Why, Histogram>,
    costs: Family<Lane, Histogram>,
    left: Counter,
    kept: Counter,
    waiting: Family<Lane, Gauge>,
    waiting_seconds: Family<Lane, Gauge<f64, AtomicU64>>,
    in_work: Gauge,
    connections: Gauge,
}

impl fmt::Debug for Metrics {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Metrics")
    }
}

impl Metrics {
    /// Nothing counted yet.
    pub fn new() -> Self {
        let mut registry = Registry::with_prefix("sensewright");
        let requests = Family::default();
        registry.register("requests", "Answered requests", requests.clone());
        let times = Family::new_with_constructor(by_time as fn() -> Histogram);
        registry.register("request_seconds", "From the head of a request to the head of its answer", times.clone());
        let refused = Family::new_with_constructor(by_refusal as fn() -> Histogram);
        registry.register("refused_seconds", "From the head of a request to that of its 503", refused.clone());
        let costs = Family::new_with_constructor(by_time as fn() -> Histogram);
        registry.register("cost_seconds", "Seconds of a core that answers were said to cost", costs.clone());
        let left = Counter::default();
        registry.register("left", "Requests whose client left before the answer", left.clone());
        let kept = Counter::default();
        registry.register("kept", "Pages that were drawn already for an earlier request", kept.clone());
        let (waiting, waiting_seconds) = (Family::default(), Family::default());
        registry.register("waiting", "Requests that wait for their turn", waiting.clone());
        registry.register("waiting_seconds", "Seconds of a core that they cost", waiting_seconds.clone());
        let in_work = Gauge::default();
        registry.register("in_work", "Requests in work", in_work.clone());
        let connections = Gauge::default();
        registry.register("connections", "Open connections", connections.clone());
        Self { registry, requests, times, refused, costs, left, kept, waiting, waiting_seconds, in_work, connections }
    }

    /// Counts an answer.
    pub fn answered(&self, method: &Method, route: &str, status: StatusCode, took: Duration) {
        let route = route.to_owned();
        let request = Request { method: method_of(method), route: route.clone(), status: status.as_u16() };
        self.requests.get_or_create(&request).inc();
        self.times.get_or_create(&Route { route }).observe(took.as_secs_f64());
    }

    /// Counts an answer that was refused for load, by the word for its kind.
    pub fn refused(&self, code: &'static str, took: Duration) {
        self.refused.get_or_create(&Why { code }).observe(took.as_secs_f64());
    }

    /// Counts what work was said to cost.
    pub fn told(&self, cost: Cost) {
        self.costs.get_or_create(&Size::of(cost).into()).observe(seconds_of(cost.units));
    }

    /// Counts a request whose client has left.
    pub fn left(&self) {
        self.left.inc();
    }

    /// Counts a page that was drawn already.
    pub fn kept(&self) {
        self.kept.inc();
    }

    /// All counts as text, with those that are only known now.
    pub fn text(&self, in_work: usize, connections: usize, waiting: [Waiting; 3]) -> String {
        for Waiting { size, requests, seconds } in waiting {
            self.waiting.get_or_create(&size.into()).set(i64::try_from(requests).unwrap_or(i64::MAX));
            self.waiting_seconds.get_or_create(&size.into()).set(seconds);
        }
        self.in_work.set(i64::try_from(in_work).unwrap_or(i64::MAX));
        self.connections.set(i64::try_from(connections).unwrap_or(i64::MAX));
        let mut text = String::new();
        // Writing into a text does not fail.
        encode(&mut text, &self.registry).unwrap_or_default();
        text
    }
}

impl Default for Metrics {
    fn default() -> Self {
        Self::new()
    }
}

fn by_time() -> Histogram {
    Histogram::new(SECONDS)
}

fn by_refusal() -> Histogram {
    Histogram::new(REFUSED)
}

fn method_of(method: &Method) -> &'static str {
    match *method {
        Method::GET => "GET",
        Method::HEAD => "HEAD",
        Method::POST => "POST",
        _ => "other",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_client_writes_is_no_label() {
        let metrics = Metrics::new();
        let odd = Method::from_bytes(b"HARM").expect("a method");
        metrics.answered(&odd, "/shunt", StatusCode::OK, Duration::from_millis(2));
        metrics.answered(&Method::GET, "/shunt", StatusCode::OK, Duration::from_millis(2));
        metrics.refused("busy", Duration::from_millis(20));
        metrics.told(Cost::SMALL);
        let waiting = |size, requests| Waiting { size, requests, seconds: 0.5 };
        let text = metrics.text(3, 4, [waiting(Size::Light, 0), waiting(Size::Heavy, 7), waiting(Size::Bulk, 1)]);
        for line in [
            "sensewright_requests_total{method=\"other\",route=\"/shunt\",status=\"200\"} 1",
            "sensewright_requests_total{method=\"GET\",route=\"/shunt\",status=\"200\"} 1",
            "sensewright_request_seconds_count{route=\"/shunt\"} 2",
            "sensewright_refused_seconds_bucket{le=\"0.05\",code=\"busy\"} 1",
            "sensewright_refused_seconds_bucket{le=\"0.01\",code=\"busy\"} 0",
            "sensewright_cost_seconds_count{lane=\"light\"} 1",
            "sensewright_waiting{lane=\"heavy\"} 7",
            "sensewright_waiting_seconds{lane=\"bulk\"} 0.5",
            "sensewright_in_work 3",
            "sensewright_connections 4",
        ] {
            assert!(text.contains(line), "{line}\n{text}");
        }
        assert!(!text.contains("HARM"));
        assert!(text.ends_with("# EOF\n"), "{text}");
    }
}
