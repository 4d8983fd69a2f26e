//! Whether the file of the loaded recipe is still what was loaded. A job keeps what it was planned
//! from, whatever is saved meanwhile; who stands before it is told.

use std::sync::Arc;

use evenpass_core::recipe::Recipe;

use super::texts;
use crate::files;
use crate::station::Loaded;

/// What became of a loaded recipe's file.
pub(super) struct Newer {
    loaded: Arc<Loaded>,
    words: Option<String>,
}

impl Newer {
    /// Reads the file and compares.
    pub(super) fn look(loaded: Arc<Loaded>) -> Self {
        let words = match files::read(&loaded.path) {
            Err(_) => Some(texts::FILE_GONE.to_owned()),
            Ok(now) if now.text == loaded.job.recipe_source.text => None,
            Ok(now) => Some(changed(&loaded, &now.text)),
        };
        Self { loaded, words }
    }

    /// Of this loading, in words; nothing while the file is the same, or was not looked at yet.
    pub(super) fn of(&self, loaded: &Arc<Loaded>) -> Option<String> {
        self.words.clone().filter(|_| Arc::ptr_eq(&self.loaded, loaded))
    }
}

/// A text that is no recipe has no revision either.
fn changed(loaded: &Loaded, text: &str) -> String {
    let recipe = &loaded.job.recipe;
    match Recipe::read(text, &loaded.job.catalogue) {
        Ok(now) if now.revision != recipe.revision => {
            format!(
                "r{} {}: {} r{} {}",
                recipe.revision,
                texts::IS_LOADED,
                texts::FILE_HAS,
                now.revision,
                texts::FILE_SINCE
            )
        }
        _ => texts::FILE_CHANGED.to_owned(),
    }
}
