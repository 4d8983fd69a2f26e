//! `records list --proofs`: every proof test that was made.

use std::io::Write;

use jiff::tz::TimeZone;

use super::{Reader, RecordsError, or_nothing, print_json, wall};
use crate::cli::sheet::{Layout, Sheet};
use crate::record::{ProofOutcome, ProofRecord, Store};

/// Prints all proof tests, the latest last.
///
/// # Errors
/// As [`super::list`].
pub fn list_proofs(
    store: &Store,
    reader: Reader,
    zone: &TimeZone,
    to: &mut impl Write,
) -> Result<(), RecordsError> {
    let proofs = store.proofs()?;
    match reader {
        Reader::Program => print_json(&proofs, to)?,
        Reader::Person if proofs.is_empty() => {
            writeln!(to, "no proof tests in {}", store.file().display())?;
        }
        Reader::Person => proofs_sheet(&proofs, zone).print(to)?,
    }
    Ok(())
}

fn proofs_sheet(proofs: &[ProofRecord], zone: &TimeZone) -> Sheet {
    let mut sheet = Sheet::new(
        0,
        &[
            ("made", Layout::Word),
            ("interlock", Layout::Word),
            ("rig", Layout::Prose),
            ("where", Layout::Word),
            ("by", Layout::Prose),
            ("ms", Layout::Figure),
            ("outcome", Layout::Prose),
        ],
    );
    for proof in proofs {
        let outcome = proof.outcome.word();
        sheet.row([
            wall(proof.made_at, zone, "%Y-%m-%d %H:%M"),
            proof.interlock.clone(),
            proof.rig.clone(),
            proof.kind.word().to_owned(),
            proof.person.clone(),
            or_nothing(proof.response.map(|response| response.as_millis().to_string())),
            match proof.outcome {
                ProofOutcome::Passed => outcome.to_owned(),
                ProofOutcome::Failed => format!("{outcome}: {}", proof.found),
            },
        ]);
    }
    sheet
}
