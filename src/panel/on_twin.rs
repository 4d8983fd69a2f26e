//! A panel before the twin, for tests of what only the inside shows.

use super::{App, Options};
use crate::people::PeopleFile;
use crate::station::{Setup, Station};

/// A panel before a twin that goes so many times faster than life, and the folder that is kept for
/// its records.
pub(super) fn panel(pace: f64) -> (App, tempfile::TempDir) {
    let folder = tempfile::tempdir().unwrap();
    let records = folder.path().join("runs.sqlite");
    let people = PeopleFile::of(None, &records).unwrap();
    let (rig, rig_source) = crate::files::rig(None).unwrap();
    let setup = Setup { rig, rig_source, records: Some(records) };
    let options = Options {
        people,
        recipes: folder.path().to_owned(),
        catalogue: None,
        rig: None,
        panels: Vec::new(),
        names: Vec::new(),
    };
    let station = Station::on_twin(setup, 1, pace).unwrap();
    (App::new(station, options).unwrap(), folder)
}
