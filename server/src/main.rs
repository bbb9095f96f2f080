//! The command line: reads the settings, then serves, or asks a running server whether it is alive.

use std::process::ExitCode;

use clap::Parser;
use sensewright_server::config::Config;
use sensewright_server::{check, serve};

fn main() -> ExitCode {
    let config = Config::parse();
    let done = if config.check { check::ask(config.listen) } else { serve::run(&config) };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(fault) => {
            eprintln!("sensewright-server: {fault}");
            ExitCode::FAILURE
        }
    }
}
