//! What a person types while a job runs: one word, one request.

use std::io::{BufRead, IsTerminal};
use std::sync::mpsc::{Receiver, channel};
use std::thread;

use evenpass_core::request::Request;

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
    ("acknowledge", Request::Acknowledge, "the trip has been seen"),
    ("inspected", Request::Inspected, "torch, hoses and arrestors were inspected"),
    ("reset", Request::Reset, "clear a trip whose cause is gone"),
];

/// What was typed.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Typed {
    /// A request.
    Request(Request),
    /// Something else; the words are explained.
    Unknown(String),
}

/// Whether somebody can type: standard input is a terminal.
pub(super) fn can_type() -> bool {
    std::io::stdin().is_terminal()
}

/// Listens to a terminal on a thread of its own; the receiver ends with the input.
pub(super) fn listen() -> Receiver<Typed> {
    let (to, typed) = channel();
    thread::spawn(move || {
        for line in std::io::stdin().lock().lines() {
            let Ok(line) = line else { break };
            let word = line.trim().to_lowercase();
            if !word.is_empty() && to.send(understand(&word)).is_err() {
                break;
            }
        }
    });
    typed
}

fn understand(word: &str) -> Typed {
    WORDS
        .iter()
        .find(|(known, ..)| *known == word)
        .map_or_else(|| Typed::Unknown(word.to_owned()), |(_, request, _)| Typed::Request(*request))
}

/// The words with what they do.
pub(super) fn explained() -> String {
    WORDS.iter().map(|(word, _, what)| format!("  {word:<16} {what}\n")).collect()
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
}
