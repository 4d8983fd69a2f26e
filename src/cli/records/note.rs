//! `records note`: what else belongs into the record of a part, or of a gauge.

use std::io::Write;
use std::path::PathBuf;

use clap::Subcommand;
use evenpass_core::inspection::{DyeResult, Limit};
use evenpass_core::quantity::Length;
use jiff::Timestamp;
use jiff::civil::Date;

use super::adding::{Adding, Taken};
use super::readings::judged;
use super::told::Signs;
use crate::adding::typed::{date, dye_result, limit, run_out};
use crate::adding::{self, Deviation};
use crate::cli::refused::Refused;
use crate::cli::say;
use crate::files;
use crate::learning::Whose;
use crate::people::Right;
use crate::record::{Mark, Said};

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

/// Takes a note in.
pub(super) fn note(told: &NoteVerb, to: &mut impl Write) -> Result<(), Refused> {
    let (run, signs, said) = match told {
        NoteVerb::RunOut { run, read, taken, signs } => {
            let mut adding = Adding::to(signs, run)?;
            let said = adding::run_out(&adding.of, *read, taken.as_told())?;
            adding.add(said, to)?;
            return judged(&adding, to);
        }
        NoteVerb::DyeCheck { run, result, words, signs } => {
            let mut adding = Adding::to(signs, run)?;
            let said = adding::dye_check(&adding.of, *result, words.as_deref())?;
            adding.add(said, to)?;
            return judged(&adding, to);
        }
        NoteVerb::Release { run, number, signs } => {
            let mut adding = Adding::to(signs, run)?;
            let said = adding::release(&adding.of, *number)?;
            adding.add(said, to)?;
            return Ok(());
        }
        NoteVerb::Calibration { .. } => return calibration(told, to),
        NoteVerb::HoldPoint { run, point, signs } => (run, signs, adding::hold_point(point)?),
        NoteVerb::Coupon { run, coupon, words, signs } => {
            (run, signs, adding::coupon(coupon, words)?)
        }
        NoteVerb::Deviation { run, words, limit, reason, from, to, signs } => {
            let (from, to) = (from.as_deref(), to.as_deref());
            signs.person_with(Right::Engineer)?;
            let told = Deviation { limit: *limit, words, reason, from, to };
            (run, signs, adding::deviation(&told)?)
        }
        NoteVerb::Particular { run, name, words, signs } => {
            (run, signs, adding::particular(name, words)?)
        }
    };
    Adding::to(signs, run)?.add(said, to)?;
    Ok(())
}

/// A text of a calibration, given in a place or with an option.
fn text(place: &str, text: &str, wanted: &str) -> Result<String, Refused> {
    say::check_words(place, text, wanted).map(str::to_owned).map_err(Refused::Input)
}

fn calibration(told: &NoteVerb, to: &mut impl Write) -> Result<(), Refused> {
    let NoteVerb::Calibration { gauge, serial, on, until, certificate, rig, signs } = told else {
        return Ok(());
    };
    // Its day is given by an option of its own.
    let calibrated_on = adding::day(Some(*on), None)
        .map_err(|wrong| Refused::Input(format!("--on: {}", wrong.why)))?;
    if *until < calibrated_on {
        return Err(Refused::Input(format!(
            "--until: found {until}, before it was calibrated\naccepted: {calibrated_on} or later\n"
        )));
    }
    let said = Said::GaugeCalibrated {
        gauge: text("GAUGE", gauge, "what it is")?,
        serial: text("SERIAL", serial, "its serial number")?,
        calibrated_on,
        valid_until: *until,
        certificate: certificate
            .as_deref()
            .map(|words| text("--certificate", words, "the certificate"))
            .transpose()?,
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
