//! What became of a run that did not come to its end: what people decided, what went on with it, or
//! that it waits.

use std::io::Write;

use evenpass_core::rig::Rig;
use jiff::tz::TimeZone;

use super::{RecordsError, pairs, section, wall};
use crate::record::{Of, RESUMES, RunId, RunRecord, Said, Store};

/// That a run waits for somebody to decide, and how that is done.
pub(in crate::cli) fn undone(id: &RunId) -> String {
    format!(
        "run {id} did not come to its end, and nobody has decided about its part: `evenpass run \
         --resume {id}` shows what lies on it and what may be done"
    )
}

/// Prints it; nothing of a run that nobody was asked about.
pub(super) fn print(
    store: &Store,
    record: &RunRecord,
    zone: &TimeZone,
    to: &mut impl Write,
) -> Result<(), RecordsError> {
    let id = &record.summary.id;
    let mut sheet = pairs();
    if let Some(earlier) = record.particulars.get(RESUMES) {
        sheet.row(["goes on with".to_owned(), format!("run {earlier}")]);
    }
    for kept in store.marks(Of::Run(id))? {
        let Said::Settled { choice, reason, checked } = &kept.mark.said else { continue };
        let mut words = format!("{}, by {}: {reason}", choice.words(), kept.mark.person);
        let found = checked.to_string();
        if !found.is_empty() {
            words = format!("{words}; {found}");
        }
        if let Some(by) = kept.taken_back_by {
            words = format!("{words}; taken back by {by}");
        }
        sheet.row([wall(kept.mark.at, zone, "%m-%d %H:%M"), words]);
    }
    for next in store.goes_on_with(id)? {
        sheet.row(["went on as".to_owned(), format!("run {next}")]);
    }
    section("Taken up", &sheet, to)?;
    let rig = Rig::read(&record.rig.text).ok();
    let open = rig.map(|rig| store.left_undone(&rig.title, record.summary.kind)).transpose()?;
    if open.flatten().as_ref() == Some(id) {
        writeln!(to, "\nwarning: {}", undone(id))?;
    }
    Ok(())
}
