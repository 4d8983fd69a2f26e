//! `records note`: what else belongs into the record of a part, or of a gauge.

use std::io::Write;
use std::path::PathBuf;

use clap::Subcommand;
use evenpass_core::inspection::{DyeResult, Limit};
use evenpass_core::quantity::{Length, Quantity as _};
use jiff::Timestamp;
use jiff::civil::Date;

use super::adding::{Adding, Taken};
use super::reading::date;
use super::readings::judged;
use super::told::{Signs, day};
use crate::cli::refused::Refused;
use crate::cli::say;
use crate::files;
use crate::learning::Whose;
use crate::record::{Inspected, Mark, Said};

/// The largest run-out that a dial gauge shows (arbitrary: a long-travel one).
const LARGEST_RUN_OUT: Length = Length::from_mm(10.0);

/// What is noted.
#[derive(Debug, Subcommand)]
pub(in crate::cli) enum NoteVerb {
    /// The total run-out of a run's coat.
    ///
    /// Example: evenpass records note run-out latest "0.03 mm" --gauge D-4 --person "B. Inspector"
    RunOut {
        /// Which run.
        run: String,
        /// What the dial gauge showed in a turn.
        #[arg(value_parser = run_out)]
        read: Length,
        #[command(flatten)]
        taken: Taken,
        #[command(flatten)]
        signs: Signs,
    },
    /// What a dye check of a run's coat showed.
    ///
    /// Example: evenpass records note dye-check latest nothing --person "B. Inspector"
    DyeCheck {
        /// Which run.
        run: String,
        /// What showed: nothing or indications.
        #[arg(value_parser = dye_result)]
        result: DyeResult,
        /// Where and what.
        #[arg(long, value_name = "TEXT")]
        words: Option<String>,
        #[command(flatten)]
        signs: Signs,
    },
    /// Something that an inspector wants to see before the part is passed.
    ///
    /// Example: evenpass records note hold-point latest "bore after fusing" --person "B. Inspector"
    HoldPoint {
        /// Which run.
        run: String,
        /// What is to be seen.
        point: String,
        #[command(flatten)]
        signs: Signs,
    },
    /// That an inspector has seen what a hold point asked for.
    ///
    /// Example: evenpass records note release latest 12 --person "B. Inspector"
    Release {
        /// Which run.
        run: String,
        /// The hold point, by its number in `evenpass records show`.
        #[arg(allow_hyphen_values = true)]
        number: i64,
        #[command(flatten)]
        signs: Signs,
    },
    /// A coupon that was sprayed along, or what became of it.
    ///
    /// Example: evenpass records note coupon latest C-12 "bent, no crack" --person "B. Inspector"
    Coupon {
        /// Which run.
        run: String,
        /// The coupon's number.
        coupon: String,
        /// What of it.
        words: String,
        #[command(flatten)]
        signs: Signs,
    },
    /// Something that is otherwise than it should be, for which somebody signs.
    ///
    /// Example: evenpass records note deviation latest "thin at the tail" --limit thickness --from
    /// "0.30 mm" --to "0.28 mm" --reason "customer agrees, letter of 12 May" --person "B. Engineer"
    Deviation {
        /// Which run.
        run: String,
        /// What is otherwise.
        words: String,
        /// The limit that is not kept: hardness, thickness, run-out or dye-check.
        #[arg(long, value_name = "LIMIT", value_parser = limit)]
        limit: Option<Limit>,
        /// Why that is taken.
        #[arg(long, value_name = "WHY")]
        reason: String,
        /// What should be.
        #[arg(long, value_name = "TEXT")]
        from: Option<String>,
        /// What is.
        #[arg(long, value_name = "TEXT")]
        to: Option<String>,
        #[command(flatten)]
        signs: Signs,
    },
    /// What is to be known of a run's part: drawing, issue, serial, job, heat, certificate ...
    ///
    /// Example: evenpass records note particular latest drawing "4711 issue C" --person "A. Fitter"
    Particular {
        /// Which run.
        run: String,
        /// Which.
        name: String,
        /// What.
        words: String,
        #[command(flatten)]
        signs: Signs,
    },
    /// The calibration of a gauge or a sensor, by its serial number.
    ///
    /// Example: evenpass records note calibration "micrometer 50-75" M-17 --on 2026-10-01 --until
    /// 2027-10-01 --person "C. Keeper"
    Calibration {
        /// What it is.
        gauge: String,
        /// Its serial number.
        serial: String,
        /// The day it was calibrated.
        #[arg(long, value_name = "DATE", value_parser = date)]
        on: Date,
        /// The last day that is good for.
        #[arg(long, value_name = "DATE", value_parser = date)]
        until: Date,
        /// The certificate.
        #[arg(long, value_name = "TEXT")]
        certificate: Option<String>,
        /// The rig file of the machine it is used at; the bench's twin when left out.
        #[arg(long, value_name = "FILE")]
        rig: Option<PathBuf>,
        #[command(flatten)]
        signs: Signs,
    },
}

fn run_out(text: &str) -> Result<Length, String> {
    let read = Length::parse(text).map_err(|problem| problem.to_string())?;
    if (Length::ZERO..=LARGEST_RUN_OUT).contains(&read) {
        return Ok(read);
    }
    Err(format!("found `{text}`; accepted: 0 mm to {LARGEST_RUN_OUT}"))
}

fn dye_result(text: &str) -> Result<DyeResult, String> {
    match text {
        "nothing" => Ok(DyeResult::Nothing),
        "indications" => Ok(DyeResult::Indications),
        _ => Err(format!("found `{text}`; accepted: nothing, indications")),
    }
}

fn limit(text: &str) -> Result<Limit, String> {
    let word = |limit: &Limit| limit.title().replace(' ', "-");
    let words = || Limit::ALL.iter().map(word).collect::<Vec<_>>().join(", ");
    Limit::ALL
        .into_iter()
        .find(|limit| word(limit) == text)
        .ok_or_else(|| format!("found `{text}`; accepted: {}", words()))
}

fn words(place: &str, text: &str, wanted: &str) -> Result<String, Refused> {
    say::check_words(place, text, wanted).map(str::to_owned).map_err(Refused::Input)
}

fn words_if(place: &str, text: Option<&str>, wanted: &str) -> Result<Option<String>, Refused> {
    text.map(|text| words(place, text, wanted)).transpose()
}

/// Takes a note in.
pub(super) fn note(told: &NoteVerb, to: &mut impl Write) -> Result<(), Refused> {
    let (run, signs, said) = match told {
        NoteVerb::RunOut { run, read, taken, signs } => {
            let mut adding = Adding::to(signs, run)?;
            let (measured_on, gauge) = adding.taken(taken, to)?;
            adding.add(Said::RunOut { read: *read, measured_on, gauge }, to)?;
            return judged(&adding, to);
        }
        NoteVerb::DyeCheck { run, result, words, signs } => {
            let words = words_if("--words", words.as_deref(), "where and what showed")?;
            let mut adding = Adding::to(signs, run)?;
            adding.add(Said::DyeChecked { result: *result, words }, to)?;
            return judged(&adding, to);
        }
        NoteVerb::Release { run, number, signs } => return release(run, *number, signs, to),
        NoteVerb::Calibration { .. } => return calibration(told, to),
        NoteVerb::HoldPoint { run, point, signs } => {
            (run, signs, Said::HoldPoint { point: words("POINT", point, "what is to be seen")? })
        }
        NoteVerb::Coupon { run, coupon, words: of, signs } => {
            let coupon = words("COUPON", coupon, "the coupon's number")?;
            (run, signs, Said::Coupon { coupon, words: words("WORDS", of, "what of it")? })
        }
        NoteVerb::Deviation { run, words: what, limit, reason, from, to, signs } => {
            let said = Said::Deviated {
                limit: *limit,
                words: words("WORDS", what, "what is otherwise")?,
                reason: words("--reason", reason, "why that is taken")?,
                from: words_if("--from", from.as_deref(), "what should be")?,
                to: words_if("--to", to.as_deref(), "what is")?,
            };
            (run, signs, said)
        }
        NoteVerb::Particular { run, name, words: what, signs } => {
            let name = words("NAME", name, "what it is, such as \"drawing\"")?;
            let what = words("WORDS", what, "what is to be known")?;
            (run, signs, Said::Particular { name, words: what })
        }
    };
    Adding::to(signs, run)?.add(said, to)?;
    Ok(())
}

fn release(run: &str, number: i64, signs: &Signs, to: &mut impl Write) -> Result<(), Refused> {
    let mut adding = Adding::to(signs, run)?;
    let marks = adding.marks()?;
    let held: Vec<(i64, &str)> = Inspected::of(&marks)
        .held()
        .into_iter()
        .map(|(kept, point)| (kept.number, point))
        .collect();
    if !held.iter().any(|(open, _)| *open == number) {
        let open: Vec<String> =
            held.iter().map(|(number, point)| format!("{number} ({point})")).collect();
        let open = if open.is_empty() { "none is open".to_owned() } else { open.join(", ") };
        return Err(Refused::Input(format!(
            "NUMBER: found {number}, which is no open hold point of run {}\naccepted: {open}\n",
            adding.id()
        )));
    }
    adding.add(Said::HoldReleased { mark: number }, to)?;
    Ok(())
}

fn calibration(told: &NoteVerb, to: &mut impl Write) -> Result<(), Refused> {
    let NoteVerb::Calibration { gauge, serial, on, until, certificate, rig, signs } = told else {
        return Ok(());
    };
    let calibrated_on = day(Some(*on), None)?;
    if *until < calibrated_on {
        return Err(Refused::Input(format!(
            "--until: found {until}, before it was calibrated\naccepted: {calibrated_on} or later\n"
        )));
    }
    let said = Said::GaugeCalibrated {
        gauge: words("GAUGE", gauge, "what it is")?,
        serial: words("SERIAL", serial, "its serial number")?,
        calibrated_on,
        valid_until: *until,
        certificate: words_if("--certificate", certificate.as_deref(), "the certificate")?,
    };
    let (rig, _) = files::rig(rig.as_deref()).map_err(Refused::Input)?;
    let person = signs.person()?;
    let number = signs.store_or_new()?.keep_mark(&Mark {
        at: Timestamp::now(),
        person: person.to_owned(),
        kind: Whose::of(&rig).kind,
        rig: rig.title,
        run: None,
        batch: None,
        said,
    })?;
    writeln!(to, "number {number}, by {person}: {serial} is good until {until}")?;
    Ok(())
}
