//! What taught points are held against: the rig, and the torch that a new recipe would spray with. The
//! catalogue is the one by which the recipe is planned later; it is read again once its files have
//! changed, and never where others wait for their pages.

use std::fs;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::{Duration, SystemTime};

use evenpass_core::catalogue::Catalogue;
use evenpass_core::moment::Moment;
use evenpass_core::rig::Rig;
use evenpass_core::teach::{Limits, blank_torch};

use crate::files;
use crate::panel::app::{App, locked};
use crate::panel::aside::aside;
use crate::panel::texts;

/// How long what was read is believed before its files are looked at again.
const LOOK_EVERY: Duration = Duration::from_secs(2);

/// What was read, or what is wrong with it.
type Known = Arc<Result<Limits, String>>;

/// What is known, with the files it was read of.
#[derive(Default)]
pub(in crate::panel) struct TaughtAgainst(Mutex<Option<Read>>);

#[derive(Debug, Clone)]
struct Read {
    looked: Moment,
    files: Files,
    known: Known,
}

/// Length and last change of the files of a catalogue, where they can be seen.
type Files = Vec<Option<(u64, SystemTime)>>;

impl TaughtAgainst {
    /// As it is now.
    pub(super) async fn of(app: &App) -> Known {
        let now = app.now();
        let before = locked(&app.inside.against.0).clone();
        if let Some(read) = &before
            && now.since(read.looked) < LOOK_EVERY
        {
            return read.known.clone();
        }
        let reading = app.clone();
        match aside(move || Ok(look(&reading, now, before))).await {
            Ok(read) => {
                let known = read.known.clone();
                *locked(&app.inside.against.0) = Some(read);
                known
            }
            Err(broken) => Arc::new(Err(broken)),
        }
    }
}

/// Looks at the files, and reads them if they are others than before.
fn look(app: &App, now: Moment, before: Option<Read>) -> Read {
    let options = &app.inside.options;
    let folder = files::catalogue_folder(options.catalogue.as_deref(), Some(&options.recipes));
    let files =
        folder.map_or_else(Vec::new, |folder| files::names(&folder).map(|f| stamp(&f)).to_vec());
    let known = match before {
        Some(read) if read.files == files => read.known,
        _ => Arc::new(catalogue(app).and_then(|catalogue| limits(app.station().rig(), &catalogue))),
    };
    Read { looked: now, files, known }
}

fn stamp(file: &Path) -> Option<(u64, SystemTime)> {
    let about = fs::metadata(file).ok()?;
    Some((about.len(), about.modified().ok()?))
}

/// The catalogue by which a recipe of the panel's folder is read.
///
/// # Errors
/// What is wrong with it, as a person is to read it.
pub(super) fn catalogue(app: &App) -> Result<Catalogue, String> {
    let options = &app.inside.options;
    // Any recipe of the folder: what counts is where it lies.
    let recipe = options.recipes.join("recipe.toml");
    files::catalogue(options.catalogue.as_deref(), Some(&recipe))
}

/// What points are held against by this catalogue.
///
/// # Errors
/// It has no torch that can spray.
pub(super) fn limits(rig: &Rig, catalogue: &Catalogue) -> Result<Limits, String> {
    let torch = blank_torch(catalogue).ok_or(texts::NO_TORCH)?;
    Ok(Limits::of(rig, torch, None))
}
