//! The program: reads the command line and answers with one of its exit codes.

use std::process::ExitCode;

use clap::Parser;

use evenpass::cli::{CommandLine, answer};

fn main() -> ExitCode {
    answer(CommandLine::parse()).into()
}
