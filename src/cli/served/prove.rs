//! Proof tests through a running `serve`: it leads them and keeps their results; here they are read
//! and answered.

use std::io;
use std::sync::mpsc::{Receiver, TryRecvError};
use std::thread;

use evenpass_core::interlock::matrix::row;
use serde_json::{Value, json};

use super::visit::LOOK_EVERY;
use super::{Interrupted, Reply, Served, ServedArguments, Trouble, Visit};
use crate::cli::interrupts::Interrupts;
use crate::cli::{Exit, say, words};
use crate::station::{ProofEnd, ProofShown};

/// What became of one of the proofs asked for.
struct Made {
    key: &'static str,
    end: ProofEnd,
    found: String,
}

/// Proves one after another, or why not.
pub(in crate::cli) fn prove(
    served: &Served,
    keys: &[&'static str],
    person: &str,
    arguments: &ServedArguments,
    as_json: bool,
) -> Exit {
    let quits = Interrupted::QuitsProof;
    let made = Visit::with(served, Some(person), arguments, quits, |visit, interrupts| {
        let typed = words::lines();
        let mut made = Vec::new();
        for (at, key) in keys.iter().enumerate() {
            let title = row(key).map_or("", |row| row.title);
            say::complain(&format!("[{}/{}] {key}: {title}", at + 1, keys.len()));
            let one = Proof { visit, interrupts, typed: &typed, told: ProofShown::default() };
            let (end, found) = one.lead(key)?;
            say::complain(&format!("    {found}"));
            made.push(Made { key, end, found });
            if end == ProofEnd::Quit {
                break;
            }
        }
        Ok(made)
    });
    let made = match made {
        Ok(made) => made,
        Err(trouble) => return trouble.told(),
    };
    match say::printed(print(&made, as_json)) {
        Exit::Done => exit(&made),
        other => other,
    }
}

fn print(made: &[Made], as_json: bool) -> io::Result<()> {
    use std::io::Write as _;
    if as_json {
        let of =
            |made: &Made| json!({ "interlock": made.key, "end": made.end, "found": made.found });
        return say::json(&json!({ "served": made.iter().map(of).collect::<Vec<Value>>() }));
    }
    let to = &mut io::stdout().lock();
    for made in made {
        writeln!(to, "{}: {}", made.key, say::one_line(&made.found))?;
    }
    Ok(())
}

/// A person's end goes before a foreign trip, and that before a proof that failed.
fn exit(made: &[Made]) -> Exit {
    let any = |end: ProofEnd| made.iter().any(|made| made.end == end);
    if any(ProofEnd::Quit) {
        Exit::Stopped
    } else if any(ProofEnd::OtherFirst) {
        Exit::Tripped
    } else if any(ProofEnd::Failed) || any(ProofEnd::NotMade) {
        Exit::Failed
    } else {
        Exit::Done
    }
}

/// One proof that is read and answered.
struct Proof<'a> {
    visit: &'a mut Visit,
    interrupts: &'a mut Interrupts,
    typed: &'a Receiver<String>,
    told: ProofShown,
}

impl Proof<'_> {
    fn lead(mut self, key: &str) -> Result<(ProofEnd, String), Trouble> {
        let begun = self.visit.prove(key)?;
        if !begun.is_taken() {
            return Ok((ProofEnd::NotMade, format!("not made: {}", begun.told())));
        }
        let mut quits = false;
        loop {
            let state = self.visit.look()?;
            let Some(shown) = state.proof.filter(|shown| shown.key == key) else {
                return Err(Trouble::Failed("the serve leads another proof test\n".to_owned()));
            };
            self.tell(&shown, state.twin);
            if let (Some(end), Some(found), false) = (shown.end, &shown.outcome, state.proves) {
                return Ok((end, found.clone()));
            }
            if self.interrupts.asked().is_some() && !quits {
                quits = true;
                self.visit.prove("quit")?;
            }
            quits |= self.typed(shown.asks, state.twin, quits)?;
            thread::sleep(LOOK_EVERY);
        }
    }

    fn tell(&mut self, shown: &ProofShown, twin: bool) {
        if shown.missing != self.told.missing && !shown.missing.is_empty() {
            say::complain(&format!("    waits    {}", shown.missing));
        }
        if shown.instruction != self.told.instruction && !shown.instruction.is_empty() {
            say::complain(&format!("    to do    {}", shown.instruction));
            if shown.asks {
                let act = if twin { ", act = the twin's technician does it" } else { "" };
                say::complain(&format!(
                    "             Enter = done, s = leave this one out, q = quit{act}"
                ));
            }
        }
        self.told = shown.clone();
    }

    /// Takes what was typed; whether it was the end.
    fn typed(&mut self, asks: bool, twin: bool, quits: bool) -> Result<bool, Trouble> {
        loop {
            let word = match self.typed.try_recv() {
                Ok(word) => word,
                Err(TryRecvError::Empty) => return Ok(false),
                Err(TryRecvError::Disconnected) if quits => return Ok(true),
                // Nobody is there any more.
                Err(TryRecvError::Disconnected) => "q".to_owned(),
            };
            let reply: Reply = match word.as_str() {
                "" if asks => self.visit.prove("done")?,
                "" => continue,
                "s" | "skip" => self.visit.prove("skip")?,
                "q" | "quit" => {
                    self.visit.prove("quit")?;
                    return Ok(true);
                }
                "act" if twin => self.visit.prove("act")?,
                "acknowledge" | "reset" | "inspected" => self.visit.ask(&word, "")?,
                _ => {
                    say::complain(
                        "    Enter = done, s = leave this one out, q = quit, acknowledge, reset",
                    );
                    continue;
                }
            };
            if !reply.is_taken() {
                say::complain(&format!("    {}", reply.told()));
            }
        }
    }
}
