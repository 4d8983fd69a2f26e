//! Logs through tracing, to standard error, away from what a verb prints.

use std::io::IsTerminal;

use tracing_subscriber::EnvFilter;

/// Starts logging once; `EVENPASS_LOG` overrides how much is said.
pub fn start(verbose: u8) {
    let level = match verbose {
        0 => "warn",
        1 => "info",
        2 => "debug",
        _ => "trace",
    };
    let filter = EnvFilter::try_from_env("EVENPASS_LOG").unwrap_or_else(|_| EnvFilter::new(level));
    // A second start (in tests) keeps the first subscriber; that is no failure.
    let _ = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal())
        .with_target(false)
        .try_init();
}
