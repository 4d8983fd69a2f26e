//! What a person types while a job runs: one word, one request; a trim says by how much.

use std::io::{BufRead, IsTerminal};
use std::sync::mpsc::{Receiver, channel};
use std::thread;

use evenpass_core::request::{Request, Trim};

/// The words, in the order they are explained.
const WORDS: &[(&str, Request, &str)] = &[
    ("hold", Request::Hold, "powder off, torch clear, wait"),
    ("hold after pass", Request::HoldAfterPass, "finish this pass, then hold"),
    ("restart", Request::Restart, "go on where powder was lost"),
    ("stop", Request::Stop, "end the job in order"),
    ("abort", Request::Abort, "trip now"),
    ("accept", Request::Accept, "answer what is asked"),
    ("wet", Request::Wet, "the band is wet"),
    ("not wet", Request::NotWet, "it is not wet after all"),
    ("bad flame", Request::BadFlame, "the flame pops or squeals"),
    ("coat lifting", Request::CoatLifting, "the coat lifts"),
    ("touch up", Request::TouchUp, "one more pass over the zone that is sprayed"),
    ("one pass less", Request::TakePassBack, "the pass that was added is not made, if not begun"),
    ("acknowledge", Request::Acknowledge, "the trip has been seen"),
    ("inspected", Request::Inspected, "torch, hoses and arrestors were inspected"),
    ("reset", Request::Reset, "clear a trip whose cause is gone"),
];

/// How the one request that says how much is typed, and what it does.
const TRIM: (&str, &str) =
    ("trim +2 %", "feed of the passes to come: + faster and thinner, - slower");

/// What was typed.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Typed {
    /// A request.
    Request(Request),
    /// A known word that does not say enough; with what is wanted.
    Unclear(String),
    /// Something else; the words are explained.
    Unknown(String),
}

/// Whether somebody can type: standard input is a terminal.
pub(super) fn can_type() -> bool {
    std::io::stdin().is_terminal()
}

/// Listens to a terminal on a thread of its own; the receiver ends with the input.
pub(super) fn listen() -> Receiver<Typed> {
    each_line(|word| (!word.is_empty()).then(|| understand(&word)))
}

/// Lines of standard input as they come, in small letters; the receiver ends with the input.
pub(super) fn lines() -> Receiver<String> {
    each_line(Some)
}

fn each_line<T: Send + 'static>(
    take: impl Fn(String) -> Option<T> + Send + 'static,
) -> Receiver<T> {
    let (to, taken) = channel();
    thread::spawn(move || {
        for line in std::io::stdin().lock().lines() {
            let Ok(line) = line else { break };
            let Some(line) = take(line.trim().to_lowercase()) else { continue };
            if to.send(line).is_err() {
                break;
            }
        }
    });
    taken
}

/// What a word asks for.
pub(super) fn understand(word: &str) -> Typed {
    if let Some(by) = word.strip_prefix("trim") {
        return trim(by.trim());
    }
    WORDS
        .iter()
        .find(|(known, ..)| *known == word)
        .map_or_else(|| Typed::Unknown(word.to_owned()), |(_, request, _)| Typed::Request(*request))
}

/// A whole number of percent with its sign: a trim without one could mean either way.
fn trim(by: &str) -> Typed {
    let number = by.strip_suffix('%').unwrap_or(by).trim_end();
    let percent = number.starts_with(['+', '-']).then(|| number.parse().ok()).flatten();
    match percent {
        Some(percent) => Typed::Request(Request::Trim(Trim::of_percent(percent))),
        None => Typed::Unclear(format!(
            "\"trim {by}\": accepted is a whole number of percent with its sign, up to {} either \
             way in all: `{}` is a faster feed and a thinner coat",
            Trim::MOST,
            TRIM.0
        )),
    }
}

/// The words with what they do.
pub(super) fn explained() -> String {
    let words = WORDS.iter().map(|(word, _, what)| (*word, *what)).chain([TRIM]);
    words.map(|(word, what)| format!("  {word:<16} {what}\n")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_is_its_request_and_anything_else_is_explained() {
        assert_eq!(understand("restart"), Typed::Request(Request::Restart));
        assert_eq!(understand("go"), Typed::Unknown("go".to_owned()));
        assert!(explained().contains("restart"));
    }

    #[test]
    fn a_trim_says_by_how_much_and_which_way() {
        let by = |percent| Typed::Request(Request::Trim(Trim::of_percent(percent)));
        for typed in ["trim +2", "trim +2 %", "trim +2%", "trim  +02"] {
            assert_eq!(understand(typed), by(2), "{typed}");
        }
        assert_eq!(understand("trim -5 %"), by(-5));
        assert_eq!(understand("touch up"), Typed::Request(Request::TouchUp));
        assert_eq!(understand("one pass less"), Typed::Request(Request::TakePassBack));
        for typed in ["trim", "trim 2", "trim two", "trim +2.5", "trim +2 mm", "trim +999"] {
            let Typed::Unclear(what) = understand(typed) else { panic!("understood {typed}") };
            assert!(what.contains("a whole number of percent with its sign"), "{what}");
        }
        assert!(explained().contains("trim +2 %"));
    }
}
