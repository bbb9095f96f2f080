//! # Where a request is taken in
//!
//! What every handler needs that works something out: who asks, what that may cost, and where it waits its turn.

use std::convert::Infallible;
use std::sync::Arc;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::response::Response;

use crate::budget::Budget;
use crate::client::Client;
use crate::error::Fault;
use crate::gate::Job;
use crate::site::Site;

/// Where a request is taken in.
#[derive(Debug)]
pub struct Desk {
    /// What all requests share.
    pub site: Arc<Site>,
    client: Client,
}

impl Desk {
    /// Plans the work with what it may cost, and does it when its turn comes.
    ///
    /// # Errors
    /// Load, and those of plan and work.
    pub async fn run<P>(&self, plan: P) -> Result<Response, Fault>
    where
        P: FnOnce(Budget) -> Result<Job, Fault> + Send + 'static,
    {
        self.site.gate.run(self.client, self.told(plan)).await
    }

    /// The same of what a whole design is read for.
    ///
    /// # Errors
    /// Those of [`Desk::run`].
    pub async fn run_design<P>(&self, plan: P) -> Result<Response, Fault>
    where
        P: FnOnce(Budget) -> Result<Job, Fault> + Send + 'static,
    {
        self.site.gate.run_design(self.client, self.told(plan)).await
    }

    fn told<P>(&self, plan: P) -> impl FnOnce() -> Result<Job, Fault> + Send + use<P>
    where
        P: FnOnce(Budget) -> Result<Job, Fault> + Send + 'static,
    {
        let site = Arc::clone(&self.site);
        move || plan(site.budget).inspect(|job| site.metrics.told(job.cost))
    }
}

impl FromRequestParts<Arc<Site>> for Desk {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, site: &Arc<Site>) -> Result<Self, Infallible> {
        Ok(Self { site: Arc::clone(site), client: Client::in_extensions(&parts.extensions) })
    }
}
