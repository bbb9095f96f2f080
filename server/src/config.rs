//! # Settings
//!
//! Every setting is an option and an environment variable; each has a default that suits a small machine.

use std::net::{Ipv4Addr, SocketAddr};
use std::time::Duration;

use clap::builder::RangedU64ValueParser;
use clap::{Parser, ValueEnum};
use sensewright_core::design::link;

use crate::client::Network;

/// Sensewright: error budgets for battery sensing, as pages and as a JSON API.
#[derive(Clone, Debug, Parser)]
#[command(name = "sensewright-server", version, about)]
pub struct Config {
    /// Address and port to listen at; port 0 takes any free one
    #[arg(long, env = "SENSEWRIGHT_LISTEN", value_name = "IP:PORT", default_value_t = LISTEN)]
    pub listen: SocketAddr,

    /// Largest accepted request body, in bytes
    #[arg(long, env = "SENSEWRIGHT_MAX_BODY_BYTES", value_name = "N", default_value_t = MAX_BODY_BYTES,
          value_parser = RangedU64ValueParser::<usize>::new().range(1_024..=64 * 1_024 * 1_024))]
    pub max_body_bytes: usize,

    /// A request that takes longer is stopped and answered with 503
    #[arg(long, env = "SENSEWRIGHT_TIMEOUT_SECONDS", value_name = "N", default_value_t = TIMEOUT_SECONDS,
          value_parser = RangedU64ValueParser::<u64>::new().range(1..=600))]
    pub timeout_seconds: u64,

    /// Requests in work at once; more are answered with 503
    #[arg(long, env = "SENSEWRIGHT_MAX_CONCURRENT", value_name = "N", default_value_t = MAX_CONCURRENT,
          value_parser = RangedU64ValueParser::<usize>::new().range(1..=100_000))]
    pub max_concurrent: usize,

    /// Open connections, at most as many as the system's limit on files allows; beyond them the longest idle one goes
    #[arg(long, env = "SENSEWRIGHT_MAX_CONNECTIONS", value_name = "N", default_value_t = MAX_CONNECTIONS,
          value_parser = RangedU64ValueParser::<usize>::new().range(1..=100_000))]
    pub max_connections: usize,

    /// What an answer may cost, in milliseconds of a processor core; a program that asks for more gets 422, a page fewer trials
    #[arg(long, env = "SENSEWRIGHT_BUDGET_MS", value_name = "N", default_value_t = BUDGET_MS,
          value_parser = RangedU64ValueParser::<u64>::new().range(100..=600_000))]
    pub budget_ms: u64,

    /// Networks of proxies, whose X-Forwarded-For says who asks
    #[arg(long, env = "SENSEWRIGHT_TRUSTED_PROXIES", value_name = "CIDR", value_delimiter = ',')]
    pub trusted_proxies: Vec<Network>,

    /// Calculations at once; by default one a processor core
    #[arg(long, env = "SENSEWRIGHT_MAX_HEAVY", value_name = "N", default_value_t = cores(),
          value_parser = RangedU64ValueParser::<usize>::new().range(1..=1_024))]
    pub max_heavy: usize,

    /// Scheme and host that links are written with, such as <https://sense.example>; by default taken from each request
    #[arg(long, env = "SENSEWRIGHT_PUBLIC_URL", value_name = "URL", value_parser = origin)]
    pub public_url: Option<String>,

    /// How the log on standard error is written
    #[arg(long, env = "SENSEWRIGHT_LOG", value_enum, default_value_t = LogStyle::Text)]
    pub log: LogStyle,

    /// What the log tells: the chosen level and all above it
    #[arg(long, env = "SENSEWRIGHT_LOG_LEVEL", value_enum, default_value_t = LogLevel::Info)]
    pub log_level: LogLevel,

    /// Address and port of the other listener, for health, readiness and metrics; by default there is none
    #[arg(long, env = "SENSEWRIGHT_WATCH_LISTEN", value_name = "IP:PORT")]
    pub watch_listen: Option<SocketAddr>,

    /// Ask the server at the listening address whether it is alive, and end with 0 or 1: for a container's health check
    #[arg(long)]
    pub check: bool,
}

/// How the log is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum LogStyle {
    /// A line for people
    #[default]
    Text,
    /// A JSON object a line
    Json,
}

/// What the log tells.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum LogLevel {
    /// Mistakes of the server
    Error,
    /// What was refused for load, too
    Warn,
    /// A line a request, too
    #[default]
    Info,
    /// What the libraries tell, too
    Debug,
}

// Loopback, so that nothing is reachable from outside before somebody asked for it.
const LISTEN: SocketAddr = SocketAddr::new(std::net::IpAddr::V4(Ipv4Addr::LOCALHOST), 8080);
// As large as a document may be; a complete design has about 10 kB.
const MAX_BODY_BYTES: usize = link::MOST_BYTES;
const TIMEOUT_SECONDS: u64 = 30;
const BUDGET_MS: u64 = 4_000;
const MAX_CONCURRENT: usize = 64;
const MAX_CONNECTIONS: usize = 1_024;

impl Default for Config {
    /// The settings without options and environment, for tests and for embedding.
    fn default() -> Self {
        Self {
            listen: LISTEN,
            max_body_bytes: MAX_BODY_BYTES,
            timeout_seconds: TIMEOUT_SECONDS,
            budget_ms: BUDGET_MS,
            trusted_proxies: Vec::new(),
            max_concurrent: MAX_CONCURRENT,
            max_connections: MAX_CONNECTIONS,
            max_heavy: cores(),
            public_url: None,
            log: LogStyle::Text,
            log_level: LogLevel::Info,
            watch_listen: None,
            check: false,
        }
    }
}

impl Config {
    /// The longest that a request may take.
    pub const fn timeout(&self) -> Duration {
        Duration::from_secs(self.timeout_seconds)
    }
}

fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, std::num::NonZero::get)
}

/// Scheme and host without a path, because every link of a page begins at the root.
fn origin(text: &str) -> Result<String, String> {
    let origin = text.trim_end_matches('/');
    let host = origin.strip_prefix("https://").or_else(|| origin.strip_prefix("http://"));
    match host {
        Some(host) if crate::host::is_host(host) => Ok(origin.into()),
        _ => Err("write http:// or https:// and a host, without a path".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_defaults_of_the_options_are_those_of_the_code() {
        // Equal texts mean equal fields; the settings need no comparison otherwise.
        let parsed = Config::try_parse_from(["sensewright-server"]).expect("no option is required");
        assert_eq!(format!("{parsed:?}"), format!("{:?}", Config::default()));
    }

    #[test]
    fn a_setting_that_makes_no_sense_is_refused() {
        for bad in [
            "--listen=8080",
            "--max-heavy=0",
            "--max-concurrent=0",
            "--timeout-seconds=0",
            "--max-body-bytes=1",
            "--budget-ms=99",
            "--trusted-proxies=10.0.0.0/33",
            "--trusted-proxies=proxy",
            "--public-url=sense.example",
            "--public-url=https://sense.example/a/path",
            "--public-url=https://",
            "--log=xml",
            "--log-level=loud",
            "--watch-listen=9090",
        ] {
            assert!(Config::try_parse_from(["sensewright-server", bad]).is_err(), "{bad}");
        }
        let config =
            Config::try_parse_from(["sensewright-server", "--public-url=https://sense.example/"]).expect("an origin");
        assert_eq!(config.public_url.as_deref(), Some("https://sense.example"));
    }
}
