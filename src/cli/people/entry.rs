//! Asking for a PIN: twice at a terminal, without showing it; one line of anything else.

use std::io::{self, BufRead as _, IsTerminal as _, Read as _};

use crate::cli::say;
use crate::cli::terminal::{NoLine, Silent, typed_line};
use crate::people::Pin;

/// Why there is no PIN.
#[derive(Debug)]
pub(super) enum NoPin {
    /// What was typed is none.
    Wrong(String),
    /// A person broke it off.
    BrokenOff,
    /// Nothing can be read.
    Unreadable(io::Error),
}

impl From<io::Error> for NoPin {
    fn from(trouble: io::Error) -> Self {
        Self::Unreadable(trouble)
    }
}

impl From<NoLine> for NoPin {
    fn from(none: NoLine) -> Self {
        match none {
            NoLine::BrokenOff | NoLine::Ended => Self::BrokenOff,
            NoLine::Unreadable(trouble) => Self::Unreadable(trouble),
        }
    }
}

/// Longest line that is read, bytes: far beyond any PIN.
const LONGEST_LINE: u64 = 1024;

/// Asks for the PIN of somebody.
pub(super) fn ask(name: &str) -> Result<Pin, NoPin> {
    let input = io::stdin();
    if !input.is_terminal() {
        let mut line = String::new();
        input.lock().take(LONGEST_LINE).read_line(&mut line)?;
        return checked(line.trim_end_matches(['\r', '\n']));
    }
    let silent = Silent::begin(&input)?;
    say::prompt(&format!("PIN of \"{}\" ({}): ", say::one_line(name), Pin::FORM));
    let first = typed_line(&input)?;
    let pin = checked(&first)?;
    say::prompt("the same again: ");
    let again = typed_line(&input)?;
    drop(silent);
    if again == first {
        Ok(pin)
    } else {
        Err(NoPin::Wrong("PIN: the two are not the same; nothing was changed\n".to_owned()))
    }
}

fn checked(text: &str) -> Result<Pin, NoPin> {
    let found = if text.is_empty() { Err("there is none") } else { Pin::new(text) };
    found.map_err(|wrong| NoPin::Wrong(format!("PIN: {wrong}\naccepted: {}\n", Pin::FORM)))
}
