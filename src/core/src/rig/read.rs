//! From the text of a rig file to checked values.

mod devices;
mod wiring;

use super::bounds;
use super::check::{self, Draft};
use super::{
    Attendance, FlameWatch, InterlockFigures, LineId, LineSpec, LitBy, Parity, ProofInterval, Rig,
    RigKind, StopBits,
};
use crate::document::{Document, Problem, Problems, Table};
use crate::quantity::Time;

/// The lines, in the order of their ids.
pub(super) const LINES: &[(&str, LineId)] = &[("field", LineId(0)), ("motion", LineId(1))];

const KINDS: &[(&str, RigKind)] = &[("twin", RigKind::Twin), ("machine", RigKind::Machine)];
const LIT_BY: &[(&str, LitBy)] = &[("hand", LitBy::Hand), ("igniter", LitBy::Igniter)];
const FLAME_WATCH: &[(&str, FlameWatch)] =
    &[("operator", FlameWatch::Operator), ("burner_control", FlameWatch::BurnerControl)];
const PARITIES: &[(&str, Parity)] =
    &[("even", Parity::Even), ("odd", Parity::Odd), ("none", Parity::None)];

impl Rig {
    /// Reads a rig file and checks that it is safe as it stands.
    ///
    /// # Errors
    /// [`Problems`] has all that is wrong with it, warnings included, each with its place in
    /// `text`.
    pub fn read(text: &str) -> Result<Self, Problems> {
        let (draft, mut problems) = Document::read(text, "a rig: lines, devices and wiring", draft);
        let draft = draft.unwrap_or_default();
        problems.append(check::draft(&draft).placed(text));
        if problems.forbid() {
            return Err(problems.placed(text));
        }
        draft.finish().ok_or(problems)
    }

    /// What a person should look at in this rig, by path; [`Problems::render`] finds the lines.
    #[must_use]
    pub fn warnings(&self) -> Problems {
        check::draft(&Draft::of(self)).into_warnings()
    }
}

fn draft(root: &mut Table<'_>) -> Option<Draft> {
    Some(Draft {
        title: root.text("title"),
        kind: root.choice("kind", KINDS),
        lit_by: root.choice("lit_by", LIT_BY),
        flame_watch: root
            .optional_choice("flame_watch", FLAME_WATCH)
            .map(|given| given.unwrap_or(FlameWatch::Operator)),
        scan: root.quantity("scan", &bounds::SCAN),
        swing: root.quantity("swing", &bounds::SWING),
        lines: root.table("line", lines).unwrap_or_default(),
        field: root.table("field", wiring::field),
        axis: root.table("axis", devices::axis),
        spindle: root.table("spindle", devices::spindle),
        attendance: root.table("attendance", attendance),
        interlocks: root.optional_table("interlock", interlocks).map(Option::unwrap_or_default),
        proof: root
            .optional_table("proof", proof)
            .map(|given| given.unwrap_or(ProofInterval::LONGEST)),
    })
}

fn lines(table: &mut Table<'_>) -> Option<Vec<Option<LineSpec>>> {
    Some(LINES.iter().map(|(name, _)| table.table(name, |table| line(name, table))).collect())
}

fn line(name: &str, table: &mut Table<'_>) -> Option<LineSpec> {
    let port = table.optional_text("port");
    let baud = table.count("baud", 1..=1_000_000, "RS-485");
    let baud = baud.filter(|baud| {
        let known = bounds::BAUDS.contains(baud);
        if !known {
            let all: Vec<String> = bounds::BAUDS.iter().map(ToString::to_string).collect();
            let nearest = bounds::BAUDS.iter().min_by_key(|known| known.abs_diff(*baud));
            let hint = nearest.map(|nearest| format!("did you mean {nearest}?"));
            table.report_at(
                "baud",
                Problem::error(table.path_of("baud"), format!("{baud} is no speed devices have"))
                    .accepted(format!("one of {}", all.join(", ")))
                    .hint(hint),
            );
        }
        known
    });
    let parity = table.choice("parity", PARITIES);
    let stop_bits = table.count("stop_bits", 1..=2, "Modbus serial line");
    let reply_within = table.quantity("reply_within", &bounds::LINE_TIME);
    let quarantine = table.quantity("quarantine", &bounds::LINE_TIME);
    let turn_round = table.quantity("turn_round", &bounds::LINE_TIME);
    let misses = table.count("misses", bounds::MISSES, "misses in a row");
    let probe_every = table.quantity("probe_every", &bounds::PROBE);
    Some(LineSpec {
        name: name.to_owned(),
        port: port?,
        baud: baud?,
        parity: parity?,
        stop_bits: if stop_bits? == 1 { StopBits::One } else { StopBits::Two },
        reply_within: reply_within?,
        quarantine: quarantine?,
        turn_round: turn_round?,
        misses: misses?,
        probe_every: probe_every?,
    })
}

fn attendance(table: &mut Table<'_>) -> Option<Attendance> {
    let every = table.quantity("every", &bounds::ATTENDANCE);
    let answer_within = table.quantity("answer_within", &bounds::ANSWER);
    Some(Attendance { every: every?, answer_within: answer_within? })
}

/// `[proof]`: whole days; what is left out is as long as it may be.
fn proof(table: &mut Table<'_>) -> Option<ProofInterval> {
    let ProofInterval { days, grace } = ProofInterval::LONGEST;
    let interval = table.optional_quantity("interval", &bounds::PROOF_INTERVAL);
    let late = table.optional_quantity("grace", &bounds::PROOF_GRACE);
    let whole = |given: Option<Time>, else_days: u32| {
        given.map_or(else_days, |given| {
            let days = given.to_duration().as_secs() / bounds::DAY;
            u32::try_from(days).unwrap_or(else_days)
        })
    };
    Some(ProofInterval::within(whole(interval?, days), whole(late?, grace)))
}

/// `[interlock.<key>]` tables; whether there is such a row, and whether its figures tighten it,
/// is for the matrix to say.
fn interlocks(table: &mut Table<'_>) -> Option<Vec<InterlockFigures>> {
    let read = table.each("a table [interlock.<row>]", |key, table| {
        let plain =
            |letter: char| letter.is_ascii_lowercase() || letter.is_ascii_digit() || letter == '_';
        if !key.chars().all(plain) || key.is_empty() {
            table.report(
                Problem::error(table.path(), format!("\"{key}\" is no name of a row"))
                    .accepted("lower-case letters a to z, digits and `_`")
                    .help("`evenpass rig matrix --keys` lists the rows"),
            );
        }
        let set_point = table.optional_measure("set_point");
        let delay = table.optional_quantity("delay", &bounds::DELAY);
        let delay_off = table.optional_quantity("delay_off", &bounds::DELAY);
        let tag = table.optional_text("tag");
        Some(InterlockFigures {
            key: key.to_owned(),
            set_point: set_point?,
            delay: delay?,
            delay_off: delay_off?,
            tag: tag?,
        })
    });
    read.into_iter().collect()
}
