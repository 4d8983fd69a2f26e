//! The file that a calibration writes: which one it is, whether the program runs by it, and how it is
//! replaced.

use std::path::{Path, PathBuf};

use evenpass_core::calibrate::{Calibrated, Holder};
use evenpass_core::catalogue::Torch;
use jiff::civil::DateTime;

use crate::editing::{self, Backup, Kind, Replaced, TextFile};
use crate::files;
use crate::panel::app::App;
use crate::panel::texts;

/// Old texts that are named; more are there.
const MOST_BACKUPS: usize = 3;

/// The file of a holder.
///
/// # Errors
/// Why there is none to write.
pub(super) fn path_of(app: &App, holder: Holder) -> Result<PathBuf, &'static str> {
    let options = &app.inside.options;
    match holder {
        Holder::Rig => options.rig.clone().ok_or(texts::BUILT_IN_RIG),
        Holder::Torches => {
            let folder =
                files::catalogue_folder(options.catalogue.as_deref(), Some(&options.recipes));
            let [_, torches] = files::names(&folder.ok_or(texts::BUILT_IN_CATALOGUE)?);
            Ok(torches)
        }
    }
}

/// The file as it is now.
///
/// # Errors
/// Why there is none, or why it cannot be read.
pub(super) fn present(app: &App, holder: Holder) -> Result<(PathBuf, TextFile), String> {
    let path = path_of(app, holder)?;
    let file = editing::open(&path)?;
    Ok((path, file))
}

/// The torches as a plan would read them now.
///
/// # Errors
/// What is wrong with the catalogue.
pub(super) fn torches(app: &App) -> Result<Vec<Torch>, String> {
    let options = &app.inside.options;
    let folder = files::catalogue_folder(options.catalogue.as_deref(), Some(&options.recipes));
    Ok(files::catalogue(folder.as_deref(), None)?.torches)
}

/// Writes what was found into its file, where that is still the one it was worked out for.
///
/// # Errors
/// One message; the file is as it was then.
pub(super) fn write(
    app: &App,
    holder: Holder,
    found: &Calibrated,
    worked_on: &str,
    now: DateTime,
) -> Result<(PathBuf, Replaced), String> {
    let (path, file) = present(app, holder)?;
    let replaced = replace(&path, &file, holder, found, worked_on, now)?;
    Ok((path, replaced))
}

fn replace(
    path: &Path,
    file: &TextFile,
    holder: Holder,
    found: &Calibrated,
    worked_on: &str,
    now: DateTime,
) -> Result<Replaced, String> {
    if found.writes.is_empty() {
        return Err(texts::NOTHING_TO_WRITE.to_owned());
    }
    if file.digest.as_str() != worked_on {
        return Err(texts::WORKED_ON_OTHER.to_owned());
    }
    let told = |problems: evenpass_core::document::Problems| problems.to_string();
    let text = match holder {
        Holder::Rig => editing::edit(&file.text, &found.writes, Kind::Rig).map_err(told)?,
        Holder::Torches => {
            let folder = path.parent().unwrap_or(Path::new(""));
            let [powders, _] = files::names(folder);
            let powders = files::read(&powders)?.text;
            let kind = Kind::Torches { powders: &powders };
            editing::edit(&file.text, &found.writes, kind).map_err(told)?
        }
    };
    editing::replace(path, &text, &file.digest, Backup::Dated(now))
}

/// Names of the old texts beside a file, the newest first.
pub(super) fn backups(path: &Path) -> Vec<String> {
    let name = path.file_name().map(|name| name.to_string_lossy().into_owned());
    let Some(name) = name else { return Vec::new() };
    let begins = format!("{name}.");
    let mut names: Vec<String> = std::fs::read_dir(files::folder_of(path))
        .into_iter()
        .flatten()
        .filter_map(Result::ok)
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|other| other.starts_with(&begins) && other.ends_with(".bak"))
        .collect();
    names.sort_by(|one, other| other.cmp(one));
    names.truncate(MOST_BACKUPS);
    names
}

#[cfg(test)]
mod tests {
    use evenpass_core::calibrate::{ScaleMeasured, axis_scale};
    use evenpass_core::quantity::Length;
    use jiff::civil::date;

    use super::*;

    const BENCH: &str = include_str!("../../../../../config/rigs/bench.toml");

    fn found() -> Calibrated {
        let (rig, _) = files::rig(None).expect("the bench");
        let mm = Length::from_mm;
        let measured =
            ScaleMeasured { commanded: mm(500.0), measured: mm(505.0), reading: mm(0.2) };
        axis_scale(&rig.axis, &measured).expect("a calibration")
    }

    #[test]
    fn what_was_found_is_written_with_the_old_text_beside_it_and_named() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("bench.toml");
        std::fs::write(&path, BENCH).expect("written");
        assert_eq!(backups(&path), Vec::<String>::new());
        let file = editing::open(&path).expect("read");
        let at = date(2026, 11, 29).at(14, 3, 12, 0);
        let digest = file.digest.as_str().to_owned();
        replace(&path, &file, Holder::Rig, &found(), &digest, at).expect("replaced");
        let (rig, _) = files::rig(Some(&path)).expect("a rig");
        assert!((rig.axis.pulses_per_mm - 396.0396).abs() < 1e-3, "{}", rig.axis.pulses_per_mm);
        assert_eq!(backups(&path), ["bench.toml.2026-11-29T14-03-12.bak"]);
    }

    #[test]
    fn what_was_worked_out_for_another_text_and_what_needs_no_writing_is_not_written() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("bench.toml");
        std::fs::write(&path, BENCH).expect("written");
        let file = editing::open(&path).expect("read");
        let at = date(2026, 11, 29).at(14, 3, 12, 0);
        let told = replace(&path, &file, Holder::Rig, &found(), "other", at).expect_err("other");
        assert_eq!(told, texts::WORKED_ON_OTHER);
        let mut nothing = found();
        nothing.writes.clear();
        let digest = file.digest.as_str().to_owned();
        let told = replace(&path, &file, Holder::Rig, &nothing, &digest, at).expect_err("nothing");
        assert_eq!(told, texts::NOTHING_TO_WRITE);
        assert_eq!(std::fs::read_to_string(&path).expect("there"), BENCH);
        assert!(backups(&path).is_empty());
    }
}
