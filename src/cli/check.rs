//! `rig check`: talks to every device, reads every register block, says whether the budgets hold.

mod values;

use std::io::{self, Write};
use std::path::PathBuf;
use std::time::Duration;

use clap::{Args, Subcommand};
use evenpass_core::devices::{Finding, SurveyItem};
use evenpass_core::line::Miss;
use evenpass_core::rig::{LINE_LOAD, LineId, Rig, RigKind};
use serde_json::{Value, json};

use super::matrix::{self, MatrixArguments};
use super::ports::Ports;
use super::sheet::{Layout, Sheet};
use super::{Exit, say};
use crate::files;
use crate::port::Medium;
use crate::rig_check::{self, Budget, Checked, Verdict, budgets};

/// What is done with a rig.
#[derive(Debug, Subcommand)]
pub(super) enum RigVerb {
    /// Read every register of every device and say whether the rig file's budgets hold.
    ///
    /// Nothing moves: it only reads. A twin without ports is checked embedded, in virtual time.
    ///
    /// Example: evenpass rig check --rig config/rigs/inverter-lathe.toml --port field=/dev/ttyUSB0
    /// --port motion=/dev/ttyUSB1
    Check(CheckArguments),
    /// Print the rig's interlocks: causes, effects in their order, delays; for the wall as HTML.
    ///
    /// Example: evenpass rig matrix config/rigs/inverter-lathe.toml --what-if flame=off
    Matrix(MatrixArguments),
}

/// What `rig check` is asked.
#[derive(Debug, Args)]
pub(super) struct CheckArguments {
    /// The rig file; the bench's twin when left out.
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,
    #[command(flatten)]
    ports: Ports,
    /// Print one JSON value for programs.
    #[arg(long)]
    json: bool,
}

pub(super) fn answer(verb: &RigVerb) -> Exit {
    let arguments = match verb {
        RigVerb::Check(arguments) => arguments,
        RigVerb::Matrix(arguments) => return matrix::answer(arguments),
    };
    let rig = match files::rig(arguments.rig.as_deref()) {
        Ok((rig, _)) => rig,
        Err(problem) => return say::bad_input(&problem),
    };
    let embedded = rig.kind == RigKind::Twin && !arguments.ports.are_given();
    let checked = if embedded {
        rig_check::on_the_bench(&rig)
    } else {
        match arguments.ports.resolve(&rig) {
            Ok(ports) => rig_check::over_ports(&rig, ports),
            Err(problem) => return say::bad_input(&problem),
        }
    };
    let checked = match checked {
        Ok(checked) => checked,
        Err(problem) => return say::failed(&problem),
    };
    let printed =
        if arguments.json { say::json(&as_json(&rig, &checked)) } else { print(&rig, &checked) };
    match say::printed(printed) {
        Exit::Done if !checked.is_good(&rig) => Exit::Failed,
        other => other,
    }
}

fn print(rig: &Rig, checked: &Checked) -> io::Result<()> {
    let to = &mut io::stdout().lock();
    let how = if checked.media.is_empty() {
        "the embedded twin, in virtual time"
    } else {
        "its serial ports"
    };
    writeln!(to, "{}, over {how}\n", rig.title)?;
    let mut sheet = Sheet::new(
        0,
        &[
            ("device", Layout::Word),
            ("line", Layout::Word),
            ("unit", Layout::Figure),
            ("asked", Layout::Word),
            ("answer", Layout::Prose),
            ("shortest", Layout::Figure),
            ("longest", Layout::Figure),
            ("planned", Layout::Figure),
        ],
    );
    for item in checked.survey.items() {
        let (shortest, longest) = match item.finding {
            Finding::Answered { shortest, longest } => (ms(shortest), ms(longest)),
            _ => Default::default(),
        };
        sheet.row([
            item.device.to_string(),
            line_name(rig, item.line),
            item.unit.to_string(),
            item.read.to_string(),
            verdict_in_words(item, checked.verdict(item)),
            shortest,
            longest,
            ms(checked.planned(item)),
        ]);
    }
    sheet.print(to)?;
    if checked.survey.items().iter().any(|item| checked.verdict(item) == Verdict::Noise) {
        writeln!(
            to,
            "noise: the device answered in time at least once; on a pseudo-terminal the longer \
             times are\n       the scheduling of the process behind it, and count for nothing"
        )?;
    }
    writeln!(to)?;
    values::sheet(rig, &checked.survey).print(to)?;
    writeln!(to)?;
    let mut sheet = Sheet::new(
        0,
        &[
            ("budget", Layout::Prose),
            ("at worst", Layout::Figure),
            ("allowed", Layout::Figure),
            ("", Layout::Word),
        ],
    );
    for (index, line) in rig.lines.iter().enumerate() {
        let (found, holds) = match checked.load(LineId(index)) {
            Some((load, holds)) => (share(load), holds),
            None => ("not known".to_owned(), false),
        };
        let what = format!("{}: time taken by cyclic reads", line.name);
        sheet.row([what, found, share(LINE_LOAD), held(holds)]);
    }
    for budget in budgets(rig, checked) {
        let holds = held(budget.holds());
        sheet.row([budget.what, ms(budget.found), ms(budget.allowed), holds]);
    }
    sheet.print(to)?;
    writeln!(to)?;
    if checked.is_good(rig) {
        writeln!(to, "everything answers, every budget holds")
    } else {
        writeln!(to, "NOT READY: see what is silent, slow, different or over its budget above")?;
        for item in checked.survey.items().iter().filter(|item| item.differs()) {
            writeln!(to, "{}", how_to_commission(item))?;
        }
        Ok(())
    }
}

fn verdict_in_words(item: &SurveyItem, verdict: Verdict) -> String {
    match (item.finding, verdict) {
        (Finding::Answered { .. }, Verdict::Holds) => "answers".to_owned(),
        (Finding::Answered { .. }, Verdict::Noise) => "answers (noise)".to_owned(),
        (Finding::Answered { .. }, Verdict::Differs) => {
            "DIFFERS from the rig file when the controller is silent".to_owned()
        }
        (Finding::Answered { .. }, _) => "SLOW".to_owned(),
        (Finding::Refused(code), _) => format!("REFUSES, {code}"),
        (Finding::Missed(miss), _) => format!("SILENT, {}", miss_in_words(miss)),
        (Finding::Pending, _) => "NOT READ, the port went away".to_owned(),
    }
}

/// What to do about a device that reacts to silence in another way than the rig file says.
fn how_to_commission(item: &SurveyItem) -> String {
    format!(
        "{}: reads {:?}, the rig file wants {:?} (time-out, reaction). A run writes and reads it \
         back\n       before it gives the device any energy, but after a power cut the device \
         begins with its own:\n       set it in the device, check again, and prove it by pulling \
         the plug",
        item.device, item.values, item.wanted
    )
}

const fn miss_in_words(miss: Miss) -> &'static str {
    match miss {
        Miss::TimedOut => "no answer in time",
        Miss::Torn => "a reply that broke off",
        Miss::Corrupt => "a reply with a wrong checksum",
        Miss::Foreign => "bytes that were no reply",
        Miss::LinkLost => "the port went away",
    }
}

fn line_name(rig: &Rig, line: LineId) -> String {
    rig.lines.get(line.0).map(|line| line.name.clone()).unwrap_or_default()
}

fn held(holds: bool) -> String {
    if holds { "holds" } else { "EXCEEDED" }.to_owned()
}

fn share(of: f64) -> String {
    format!("{:.0} %", of * 100.0)
}

fn ms(time: Duration) -> String {
    format!("{:.1} ms", time.as_secs_f64() * 1e3)
}

fn as_json(rig: &Rig, checked: &Checked) -> Value {
    let reads = checked.survey.items().iter().map(|item| {
        let (shortest, longest) = match item.finding {
            Finding::Answered { shortest, longest } => (Some(shortest), Some(longest)),
            _ => (None, None),
        };
        json!({
            "device": item.device,
            "line": line_name(rig, item.line),
            "unit": item.unit,
            "read": item.read,
            "verdict": checked.verdict(item),
            "answer": verdict_in_words(item, checked.verdict(item)),
            "shortest_s": shortest.map(|time| time.as_secs_f64()),
            "longest_s": longest.map(|time| time.as_secs_f64()),
            "planned_s": checked.planned(item).as_secs_f64(),
            "registers": item.values,
        })
    });
    let values = values::values(rig, &checked.survey);
    let values = values
        .into_iter()
        .map(|value| json!({ "device": value.device, "name": value.name, "value": value.text }));
    let lines = rig.lines.iter().enumerate().map(|(index, line)| {
        let load = checked.load(LineId(index));
        json!({
            "line": line.name,
            "pseudo_terminal": checked.media.get(index) == Some(&Medium::PseudoTerminal),
            "load": load.map(|(load, _)| load),
            "holds": load.is_some_and(|(_, holds)| holds),
        })
    });
    let budgets = budgets(rig, checked);
    let budgets = budgets.iter().map(|budget: &Budget| {
        json!({
            "budget": budget.what,
            "found_s": budget.found.as_secs_f64(),
            "allowed_s": budget.allowed.as_secs_f64(),
            "holds": budget.holds(),
        })
    });
    json!({
        "rig": rig.title,
        "embedded": checked.media.is_empty(),
        "good": checked.is_good(rig),
        "reads": reads.collect::<Vec<_>>(),
        "values": values.collect::<Vec<_>>(),
        "lines": lines.collect::<Vec<_>>(),
        "budgets": budgets.collect::<Vec<_>>(),
    })
}
