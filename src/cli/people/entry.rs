//! Asking for a PIN: twice at a terminal, without showing it; one line of anything else.

use std::io::{self, BufRead as _, IsTerminal as _, Read as _};
use std::os::fd::AsFd;

use rustix::termios::{
    LocalModes, OptionalActions, SpecialCodeIndex, Termios, tcgetattr, tcsetattr,
};

use crate::cli::say;
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

/// What the keys of a silent terminal send.
mod key {
    pub(super) const INTERRUPT: u8 = 0x03;
    pub(super) const END: u8 = 0x04;
    pub(super) const BACKSPACE: [u8; 2] = [0x08, 0x7f];
    pub(super) const ENTER: [u8; 2] = [b'\r', b'\n'];
}

/// One line; the cursor goes to the next one, since the terminal does not.
fn typed_line(input: &io::Stdin) -> Result<String, NoPin> {
    let line = typed(&mut input.lock());
    say::prompt("\n");
    line
}

/// One line, key by key. The terminal sends its keys as they are, so that breaking it off is seen
/// here and the terminal is put right again.
fn typed(keys: &mut impl io::BufRead) -> Result<String, NoPin> {
    let mut line = Vec::new();
    for pressed in keys.bytes() {
        match pressed? {
            key if key::ENTER.contains(&key) => {
                return String::from_utf8(line)
                    .map_err(|_| NoPin::Wrong(format!("PIN: accepted: {}\n", Pin::FORM)));
            }
            key::INTERRUPT | key::END => break,
            key if key::BACKSPACE.contains(&key) => {
                line.pop();
            }
            key => line.push(key),
        }
    }
    Err(NoPin::BrokenOff)
}

/// A terminal that shows nothing of what is typed; put right again when this is dropped.
struct Silent<'a, T: AsFd> {
    terminal: &'a T,
    before: Termios,
}

impl<'a, T: AsFd> Silent<'a, T> {
    fn begin(terminal: &'a T) -> io::Result<Self> {
        let before = tcgetattr(terminal)?;
        let mut silent = before.clone();
        silent.local_modes.remove(LocalModes::ECHO | LocalModes::ICANON | LocalModes::ISIG);
        silent.special_codes[SpecialCodeIndex::VMIN] = 1;
        silent.special_codes[SpecialCodeIndex::VTIME] = 0;
        // What was typed before the question is no answer to it.
        tcsetattr(terminal, OptionalActions::Flush, &silent)?;
        Ok(Self { terminal, before })
    }
}

impl<T: AsFd> Drop for Silent<'_, T> {
    fn drop(&mut self) {
        // The shell sets its terminal anew anyway.
        let _ = tcsetattr(self.terminal, OptionalActions::Flush, &self.before);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(keys: &[u8]) -> Result<String, NoPin> {
        typed(&mut io::Cursor::new(keys))
    }

    #[test]
    fn a_line_is_what_was_typed_and_not_taken_back() {
        assert!(matches!(line(b"2590\x7f\x7f80\r"), Ok(pin) if pin == "2580"));
        assert!(matches!(line(b"\x082580\n7"), Ok(pin) if pin == "2580"));
    }

    #[test]
    fn breaking_off_is_no_pin() {
        for keys in [&b"25\x03"[..], b"25\x04", b"25"] {
            assert!(matches!(line(keys), Err(NoPin::BrokenOff)), "{keys:?}");
        }
        assert!(matches!(line(b"25\xff\n"), Err(NoPin::Wrong(_))));
    }
}
