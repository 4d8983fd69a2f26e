//! A terminal whose keys are read as they are pressed, without being shown: for a PIN, and for
//! keys that nudge.

use std::io::{self, BufRead as _, IsTerminal as _, Read as _};
use std::os::fd::AsFd;

use rustix::termios::{
    LocalModes, OptionalActions, SpecialCodeIndex, Termios, tcgetattr, tcsetattr,
};

use super::say;

/// Why there is no line.
#[derive(Debug)]
pub(super) enum NoLine {
    /// A person broke it off.
    BrokenOff,
    /// The input has ended.
    Ended,
    /// Nothing can be read.
    Unreadable(io::Error),
}

impl From<io::Error> for NoLine {
    fn from(trouble: io::Error) -> Self {
        Self::Unreadable(trouble)
    }
}

/// What keys send.
pub(super) mod key {
    /// Ctrl-C.
    pub(in crate::cli) const INTERRUPT: u8 = 0x03;
    /// Ctrl-D.
    pub(in crate::cli) const END: u8 = 0x04;
    /// The first byte of an arrow key.
    pub(in crate::cli) const ESCAPE: u8 = 0x1b;
    /// Delete the last sign.
    pub(super) const BACKSPACE: [u8; 2] = [0x08, 0x7f];
    /// Enter.
    pub(super) const ENTER: [u8; 2] = [b'\r', b'\n'];
}

/// Longest line that is read, bytes: far beyond any PIN.
const LONGEST_LINE: usize = 1024;

/// One line that nobody sees: typed at a terminal after a question, or the next one of anything
/// else.
///
/// # Errors
/// Why there is none.
pub(super) fn hidden_line(question: &str) -> Result<String, NoLine> {
    let input = io::stdin();
    if !input.is_terminal() {
        let mut line = String::new();
        // Taken byte by byte out of the shared buffer: later lines are for later.
        if input.lock().read_line(&mut line)? == 0 {
            return Err(NoLine::Ended);
        }
        return Ok(line.trim_end_matches(['\r', '\n']).to_owned());
    }
    let _silent = Silent::begin(&input)?;
    say::prompt(question);
    typed_line(&input)
}

/// One line of a silent terminal; the cursor goes to the next one, since the terminal does not.
///
/// # Errors
/// A person broke it off, or the terminal cannot be read.
pub(super) fn typed_line(input: &io::Stdin) -> Result<String, NoLine> {
    let line = typed(&mut input.lock());
    say::prompt("\n");
    line
}

/// One line, key by key: breaking it off is seen here, so that the terminal is put right again.
fn typed(keys: &mut impl io::BufRead) -> Result<String, NoLine> {
    let mut line = Vec::new();
    for pressed in keys.bytes() {
        match pressed? {
            key if key::ENTER.contains(&key) => {
                return Ok(String::from_utf8_lossy(&line).into_owned());
            }
            key::INTERRUPT | key::END => break,
            key if key::BACKSPACE.contains(&key) => {
                line.pop();
            }
            key if line.len() < LONGEST_LINE => line.push(key),
            _ => {}
        }
    }
    Err(NoLine::BrokenOff)
}

/// A terminal that shows nothing of what is typed and hands over every key; put right again when
/// this is dropped.
#[derive(Debug)]
pub(super) struct Silent<'a, T: AsFd> {
    terminal: &'a T,
    before: Termios,
}

impl<'a, T: AsFd> Silent<'a, T> {
    /// Begins; what was typed before is thrown away.
    ///
    /// # Errors
    /// It is no terminal, or the system does not let it be changed.
    pub(super) fn begin(terminal: &'a T) -> io::Result<Self> {
        let before = tcgetattr(terminal)?;
        let mut silent = before.clone();
        silent.local_modes.remove(LocalModes::ECHO | LocalModes::ICANON | LocalModes::ISIG);
        silent.special_codes[SpecialCodeIndex::VMIN] = 1;
        silent.special_codes[SpecialCodeIndex::VTIME] = 0;
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

    fn line(keys: &[u8]) -> Result<String, NoLine> {
        typed(&mut io::Cursor::new(keys))
    }

    #[test]
    fn a_line_is_what_was_typed_and_not_taken_back() {
        assert!(matches!(line(b"2590\x7f\x7f80\r"), Ok(pin) if pin == "2580"));
        assert!(matches!(line(b"\x082580\n7"), Ok(pin) if pin == "2580"));
    }

    #[test]
    fn breaking_off_is_no_line() {
        for keys in [&b"25\x03"[..], b"25\x04", b"25"] {
            assert!(matches!(line(keys), Err(NoLine::BrokenOff)), "{keys:?}");
        }
    }
}
