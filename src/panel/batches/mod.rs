//! Orders at the panel: what somebody tells of one, for which the next part is made, and how the one
//! in hand stands. Nothing moves by any of it: what is told stands in the records, a choice loads a
//! recipe at the most.

mod choosing;
mod looking;
mod telling;

use std::path::PathBuf;
use std::sync::Arc;

pub(super) use self::choosing::choose;
pub(super) use self::looking::Looked;
pub(super) use self::telling::{blasted_now, told};
use super::app::App;
use super::texts::batches as texts;
use crate::batch::job::{BatchJob, find};
use crate::batch::standing::Standing;
use crate::batch::telling::lots_of;
use crate::files::Places;
use crate::learning::Lessons;
use crate::record::{Batch, RecordError, RunKind, Store, records_file};
use crate::station::Loaded;

/// Where orders are looked up, and what is loaded.
pub(super) struct Shop {
    records: Option<PathBuf>,
    catalogue: Option<PathBuf>,
    rig_file: Option<PathBuf>,
    rig: String,
    kind: RunKind,
    loaded: Option<Arc<Loaded>>,
}

/// An order with how it stands on this machine.
pub(super) struct Stands {
    /// How it stands.
    pub(super) standing: Standing,
    /// What a lot of it may be of: key and words.
    pub(super) kinds: Vec<(String, String)>,
}

impl Shop {
    pub(super) fn of(app: &App) -> Self {
        let (station, options) = (app.station(), &app.inside.options);
        Self {
            records: station.records().map(PathBuf::from),
            catalogue: options.catalogue.clone(),
            rig_file: options.rig.clone(),
            rig: station.rig().title.clone(),
            kind: station.kind(),
            loaded: station.loaded(),
        }
    }

    pub(super) fn store(&self) -> Result<Store, RecordError> {
        Store::open_existing(&records_file(self.records.as_deref())?)
    }

    /// Whether parts of an order are made on this machine.
    pub(super) fn makes(&self, batch: &Batch) -> bool {
        batch.kind == self.kind && batch.rig == self.rig
    }

    /// An order of this machine.
    fn own(&self, store: &Store, id: &str) -> Result<Batch, String> {
        let batch = find(store, id).map_err(|problem| problem.whole())?;
        if self.makes(&batch) {
            return Ok(batch);
        }
        Err(format!("{} {}, {}", texts::ORDERED_ELSEWHERE, batch.rig, batch.kind.word()))
    }

    /// The loaded job, where it is what was ordered.
    fn loaded_for(&self, batch: &Batch) -> Option<&Arc<Loaded>> {
        self.loaded.as_ref().filter(|loaded| {
            loaded.goes_on.is_none() && loaded.job.recipe_source.text == batch.recipe.text
        })
    }

    /// How an order stands. Its recipe is planned anew where it is not the loaded one.
    pub(super) fn stands(&self, store: &Store, batch: &Batch) -> Result<Stands, String> {
        if let Some(loaded) = self.loaded_for(batch) {
            let standing = Standing::of(store, batch, self.kind, &loaded.job, &loaded.plan);
            let standing = standing.map_err(|problem| problem.whole())?;
            return Ok(Stands { kinds: lots_of(&loaded.job, &loaded.plan), standing });
        }
        let places = Places { rig: self.rig_file.as_deref(), catalogue: self.catalogue.as_deref() };
        let records = self.records.as_deref();
        let of = BatchJob::of(batch.id.as_str(), records, places, Lessons::Kept(records));
        let of = of.map_err(|why| why.to_string())?;
        Ok(Stands { kinds: lots_of(&of.job, &of.plan), standing: of.standing })
    }
}

/// What stands on several lines at a terminal.
pub(super) fn in_one_line(words: &str) -> String {
    words.trim_end().replace('\n', "; ")
}
