//! What a person is asked at a terminal before a job is taken up, and what they type.

use std::io::{self, BufRead as _};

use evenpass_core::quantity::{Length, Quantity as _};
use evenpass_core::resume::{Checked, Choice, Task};
use jiff::Timestamp;

use super::Refused;
use crate::cli::say;
use crate::resuming::CutOff;

/// Longest of what somebody says in words, characters; a few lines.
const LONGEST_LINE: u64 = 1024;

pub(super) fn choice_of(text: &str) -> Result<Choice, String> {
    let text = text.trim();
    Choice::ALL.into_iter().find(|choice| choice.word() == text).ok_or_else(|| {
        let words = Choice::ALL.map(Choice::word).join(", ");
        format!("--choose: found \"{}\"\naccepted: {words}\n", say::one_line(text))
    })
}

pub(super) fn datum_of(text: &str) -> Result<Length, String> {
    Length::parse(text.trim()).map_err(|problem| format!("--datum: {problem}\n"))
}

/// What lacks, with the option that gives it.
pub(super) fn option_of(lacks: &str) -> String {
    let options = [
        ("the datum check", "--datum LENGTH: "),
        ("the surface", "--surface WORDS: "),
        ("the old surface", "--unblasted WHY: "),
        ("where the torch was found", "--stood PLACE: "),
        ("the inspection", "--inspection WORDS: "),
    ];
    let option = options.iter().find(|(begins, _)| lacks.starts_with(begins));
    format!("{}{lacks}", option.map_or("", |(_, option)| option))
}

/// Asks until it is understood; only a person's own word is an answer.
pub(super) fn ask<T>(
    question: &str,
    understand: impl Fn(&str) -> Result<T, String>,
) -> Result<T, Refused> {
    use std::io::Read as _;
    loop {
        say::prompt(question);
        let mut line = String::new();
        let read = io::stdin().lock().take(LONGEST_LINE).read_line(&mut line);
        if read.map_err(|trouble| Refused::Failed(trouble.to_string()))? == 0 {
            return Err(Refused::Input("nothing was decided and nothing moves\n".to_owned()));
        }
        match line.trim() {
            "" => {}
            text => match understand(text) {
                Ok(answer) => return Ok(answer),
                Err(problem) => say::complain(&problem),
            },
        }
    }
}

/// Asks for what is to be looked at and was not told.
pub(super) fn ask_checks(cut: &CutOff, checked: &mut Checked) -> Result<(), Refused> {
    for before in cut.before(Timestamp::now()) {
        let words = |text: &str| Ok(text.to_owned());
        match before.task {
            Task::DatumCheck { at, within } if checked.datum.is_none() => {
                let question = format!("reading at the mark ({at:.1} within {within:.1}): ");
                checked.datum = Some(ask(&question, datum_of)?);
            }
            Task::Surface { .. } if checked.surface.is_none() => {
                checked.surface = Some(ask("how the surface looks: ", words)?);
            }
            Task::Inspect(why) if checked.inspection.is_none() => {
                checked.inspection = Some(ask(&format!("inspection ({why}): "), words)?);
            }
            _ => {}
        }
    }
    if cut.is_overdue(Timestamp::now()) && checked.unblasted.is_none() {
        let question = "it was blasted longer ago than is allowed; why it is sprayed on all the same, \
                        as the engineer: ";
        checked.unblasted = Some(ask(question, |text| Ok(text.to_owned()))?);
    }
    Ok(())
}
