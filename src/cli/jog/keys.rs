//! Keys that nudge, one at a time.

use std::io::{self, Read as _, Write as _};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};

use evenpass_core::quantity::Length;
use evenpass_core::request::{NUDGES_IN, NUDGES_MM};

use super::nudge;
use crate::cli::commands::{Commands, stop_if_asked};
use crate::cli::interrupts::{Bell, Interrupts};
use crate::cli::served::Trouble;
use crate::cli::terminal::{Silent, key};
use crate::people::{LengthUnit, Units};

/// A key counts only when none came for so long before it: longer than keyboards wait until a key
/// that is held down repeats by itself (0.25 s to 0.66 s, from memory).
const QUIET: Duration = Duration::from_millis(700);
/// How often the machine is looked at while no key comes.
const LOOK_EVERY: Duration = Duration::from_millis(500);

/// What a key asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Key {
    /// A nudge toward the chuck.
    Chuck,
    /// A nudge toward the tail.
    Tail,
    /// Another step, counted from 1.
    Step(usize),
    /// A stop. It waits for nothing: it is told of as it is pressed.
    Stop,
    /// The end.
    Quit,
}

/// Keys out of the bytes that they send.
#[derive(Debug, Default)]
struct Keys {
    escape: u8,
}

impl Keys {
    fn take(&mut self, byte: u8) -> Option<Key> {
        // An arrow sends three bytes: escape, [ or O, a letter.
        match (self.escape, byte) {
            (_, key::ESCAPE) => {
                self.escape = 1;
                return None;
            }
            (1, b'[' | b'O') => {
                self.escape = 2;
                return None;
            }
            _ => {}
        }
        let arrow = std::mem::take(&mut self.escape) == 2;
        match (arrow, byte) {
            (true, b'D') | (false, b'a') => Some(Key::Chuck),
            (true, b'C') | (false, b'd') => Some(Key::Tail),
            (false, b'1'..=b'9') => Some(Key::Step(usize::from(byte - b'0'))),
            (_, key::INTERRUPT) | (false, b' ' | b's') => Some(Key::Stop),
            (false, b'q' | key::END) => Some(Key::Quit),
            _ => None,
        }
    }
}

/// Tells a key that was pressed from one that repeats because it is held down.
#[derive(Debug, Default)]
struct Presses {
    last: Option<Instant>,
}

impl Presses {
    /// Whether a key that nudges counts.
    fn counts(&mut self, now: Instant) -> bool {
        let before = self.last.replace(now);
        before.is_none_or(|before| now.duration_since(before) >= QUIET)
    }
}

/// The steps that figures choose, in a person's units.
fn steps(units: Units) -> [Length; 4] {
    match units.length {
        LengthUnit::Millimetre => NUDGES_MM.map(Length::from_mm),
        LengthUnit::Inch => NUDGES_IN.map(|inch| Length::from_mm(inch * 25.4)),
    }
}

/// Nudges by keys until somebody ends it.
pub(super) fn interactive(
    commands: &mut dyn Commands,
    interrupts: &mut Interrupts,
) -> Result<(), Trouble> {
    let input = io::stdin();
    let _silent = Silent::begin(&input)
        .map_err(|trouble| Trouble::Failed(format!("the terminal: {trouble}\n")))?;
    let units = commands.units();
    let steps = steps(units);
    let shown: Vec<String> =
        (1..).zip(steps).map(|(at, step)| format!("{at} = {}", units.length(step))).collect();
    show(&format!(
        "a or left: toward the chuck; d or right: toward the tail; {}\r\n\
         space, s or Ctrl-C: stop; q: end\r\n\
         A key held down is one nudge.\r\n",
        shown.join(", ")
    ));
    let keys = listen(interrupts.bell());
    let mut presses = Presses::default();
    let mut step = Length::from_mm(1.0);
    if let Some(third) = steps.get(2) {
        step = *third;
    }
    tell(commands, units, step)?;
    let mut rested: Option<Instant> = None;
    loop {
        let pressed = keys.recv_timeout(LOOK_EVERY);
        stop_if_asked(commands, interrupts)?;
        let (key, at) = match pressed {
            Ok(pressed) => pressed,
            Err(RecvTimeoutError::Timeout) => {
                commands.look()?;
                continue;
            }
            Err(RecvTimeoutError::Disconnected) => return Ok(()),
        };
        match key {
            Key::Quit => return Ok(()),
            // Its bell was heard above.
            Key::Stop => {}
            Key::Step(at) => {
                if let Some(chosen) = at.checked_sub(1).and_then(|at| steps.get(at)) {
                    step = *chosen;
                    tell(commands, units, step)?;
                }
            }
            way @ (Key::Chuck | Key::Tail) => {
                // What was pressed while the carriage still moved asks for no more.
                let early = rested.is_some_and(|rested| at < rested);
                if !presses.counts(at) || early {
                    continue;
                }
                let by = if way == Key::Tail { step } else { step * -1.0 };
                match nudge(commands, interrupts, by) {
                    Ok(moved) => show(&format!("\r\x1b[K{}", moved.told(units))),
                    // What is denied is told; the next key may be better.
                    Err(Trouble::Failed(why)) => show(&format!("\r\x1b[K{}\r\n", why.trim_end())),
                    Err(other) => return Err(other),
                }
                rested = Some(Instant::now());
            }
        }
    }
}

fn tell(commands: &mut dyn Commands, units: Units, step: Length) -> Result<(), Trouble> {
    let place = commands.look()?.place;
    let place = place.map_or_else(|| "no datum".to_owned(), |place| units.length(place));
    show(&format!("\r\x1b[Ktorch at {place}; step {}", units.length(step)));
    Ok(())
}

fn show(text: &str) {
    let mut to = io::stdout().lock();
    // A reader who has gone does not matter.
    let _ = write!(to, "{text}").and_then(|()| to.flush());
}

/// Every key with the time it came: while a nudge is under way others wait here, and are too close
/// to it to count. A stop rings at once.
fn listen(bell: Bell) -> Receiver<(Key, Instant)> {
    let (to, keys) = channel();
    thread::spawn(move || {
        let mut read = Keys::default();
        for byte in io::stdin().lock().bytes() {
            let Ok(byte) = byte else { break };
            let Some(key) = read.take(byte) else { continue };
            if key == Key::Stop {
                bell.ring();
            }
            if to.send((key, Instant::now())).is_err() {
                break;
            }
        }
    });
    keys
}

#[cfg(test)]
mod tests {
    use super::*;

    fn keys(bytes: &[u8]) -> Vec<Key> {
        let mut keys = Keys::default();
        bytes.iter().filter_map(|byte| keys.take(*byte)).collect()
    }

    #[test]
    fn letters_and_arrows_nudge_and_figures_choose_the_step() {
        assert_eq!(keys(b"ad"), [Key::Chuck, Key::Tail]);
        assert_eq!(keys(b"\x1b[D\x1b[C\x1bOC"), [Key::Chuck, Key::Tail, Key::Tail]);
        assert_eq!(keys(b"3 q\x03"), [Key::Step(3), Key::Stop, Key::Quit, Key::Stop]);
        assert_eq!(keys(b"\x1b[A\x1b[BD0x"), [], "other keys are none of ours");
        assert_eq!(keys(b"\x1b[\x03"), [Key::Stop], "a torn arrow keeps no stop back");
    }

    #[test]
    fn a_key_held_down_is_one_nudge_however_long_it_repeats() {
        let start = Instant::now();
        let mut presses = Presses::default();
        let repeats = (0..100).map(|at| if at == 0 { 0 } else { 660 + at * 33 });
        let counted = repeats.filter(|ms| presses.counts(start + Duration::from_millis(*ms)));
        assert_eq!(counted.count(), 1);
        assert!(presses.counts(start + Duration::from_secs(5)), "pressed again");
    }
}
