//! # The web service of Sensewright
//!
//! Stateless: pages and a JSON API over the catalogue of calculations. Where to look: [`routes`] lists every address,
//! [`handler`] answers them, [`question`] takes an address apart, [`error`] is the one place that knows status codes,
//! [`body`], [`media`], [`multipart`], [`upload`], [`uploads`], [`stock`], [`budget`], [`gate`] and [`queue`] keep the load bounded, [`edge`] dresses every answer, [`serve`] and
//! [`connections`], [`stream`] own the connections, [`watch`] and [`metrics`] tell how it goes.

pub mod audience;
pub mod body;
pub mod budget;
pub mod check;
pub mod client;
pub mod config;
pub mod connections;
pub mod desk;
pub mod edge;
pub mod error;
pub mod form;
pub mod gate;
pub mod handler;
pub mod host;
pub mod json;
pub mod kept;
pub mod limits;
pub mod media;
pub mod metrics;
pub mod multipart;
pub mod openapi;
pub mod packed;
pub mod question;
pub mod queue;
pub mod routes;
pub mod serve;
pub mod site;
pub mod stock;
pub mod stream;
pub mod upload;
pub mod uploads;
pub mod watch;

use std::sync::Arc;

use axum::Router;

use config::Config;
use site::Site;

/// The whole service as a router: tests drive it in memory, [`serve`] puts it on the network.
pub fn app(config: &Config) -> Router {
    routes::all(&Arc::new(Site::new(config)))
}
