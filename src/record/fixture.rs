//! What tests of the record begin with.

use std::collections::BTreeMap;
use std::path::PathBuf;

use serde_json::Value;
use tempfile::TempDir;

use super::{Mark, MarkRecord, RunHeader, RunKind, Said, Source};

/// The place of a records file that is not there yet, in a folder that goes with the test.
pub(super) fn file() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("temporary folder");
    let path = folder.path().join("records.sqlite");
    (folder, path)
}

/// The header of any run.
pub(super) fn header() -> RunHeader {
    let source = Source { name: "any".to_owned(), text: String::new() };
    RunHeader {
        started_at: "2026-11-25T09:00:00Z".parse().expect("RFC 3339"),
        kind: RunKind::Twin,
        title: "Any".to_owned(),
        recipe: source.clone(),
        rig: source,
        program: Value::Null,
        forecast: Value::Null,
        basis: None,
        software: "0".to_owned(),
        seed: None,
        particulars: BTreeMap::new(),
        first_entry: 1,
    }
}

/// Something that was said under a number and counts.
pub(super) fn said(number: i64, said: Said) -> MarkRecord {
    MarkRecord {
        number,
        mark: Mark {
            at: "2026-11-25T10:00:00Z".parse().expect("RFC 3339"),
            person: "A. Fitter".to_owned(),
            rig: "Bench".to_owned(),
            kind: RunKind::Twin,
            run: None,
            batch: None,
            said,
        },
        taken_back_by: None,
        told_after: None,
    }
}
