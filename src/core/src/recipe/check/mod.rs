//! Whether the parts of a recipe agree with each other and with the catalogue.
//!
//! Each check works on what could be read, so that one wrong field does not hide what is wrong
//! elsewhere, and names the field it is about by its path.

mod heat;
mod inspection;
mod part;
mod units;
mod zone;

pub(super) use units::check as units;
pub(crate) use units::suits;
pub(crate) use zone::planned_feed;

use super::{Cool, Fuse, Inspection, Part, Preheat, Recipe, Spray, Zone};
use crate::catalogue::{Catalogue, Torch, TorchPurpose};
use crate::document::{Problem, Problems};

/// A recipe on its way to be one; what was wrong is `None`.
#[derive(Default)]
pub(super) struct Draft {
    pub(super) title: Option<String>,
    pub(super) revision: Option<u32>,
    pub(super) note: Option<Option<String>>,
    pub(super) part: Option<Part>,
    pub(super) zones: Vec<Option<Zone>>,
    pub(super) preheat: Option<Preheat>,
    pub(super) spray: Option<Spray>,
    pub(super) fuse: Option<Option<Fuse>>,
    pub(super) cool: Option<Cool>,
    pub(super) inspection: Option<Option<Inspection>>,
}

impl Draft {
    /// Of a recipe that is one already.
    pub(super) fn of(recipe: &Recipe) -> Self {
        Self {
            title: Some(recipe.title.clone()),
            revision: Some(recipe.revision),
            note: Some(recipe.note.clone()),
            part: Some(recipe.part.clone()),
            zones: recipe.zones.iter().cloned().map(Some).collect(),
            preheat: Some(recipe.preheat.clone()),
            spray: Some(recipe.spray.clone()),
            fuse: Some(recipe.fuse.clone()),
            cool: Some(recipe.cool.clone()),
            inspection: Some(recipe.inspection),
        }
    }

    /// The recipe; `None` when a part of it is missing.
    pub(super) fn finish(self) -> Option<Recipe> {
        Some(Recipe {
            title: self.title?,
            revision: self.revision?,
            note: self.note?,
            part: self.part?,
            zones: self.zones.into_iter().collect::<Option<Vec<_>>>()?,
            preheat: self.preheat?,
            spray: self.spray?,
            fuse: self.fuse?,
            cool: self.cool?,
            inspection: self.inspection?,
        })
    }

    /// The zones that could be read, each with its path.
    fn zones(&self) -> impl Iterator<Item = (String, &Zone)> {
        self.zones
            .iter()
            .enumerate()
            .filter_map(|(place, zone)| Some((format!("zone[{}]", place + 1), zone.as_ref()?)))
    }
}

/// All that can be said about what could be read.
pub(super) fn draft(draft: &Draft, catalogue: &Catalogue) -> Problems {
    let mut problems = Problems::default();
    let spray_torch = draft.spray.as_ref().and_then(|spray| {
        torch(&mut problems, "spray.torch", &spray.torch, Work::Spraying, catalogue)
    });
    let fuse_torch =
        draft.fuse.as_ref().and_then(Option::as_ref).and_then(|fuse| {
            torch(&mut problems, "fuse.torch", &fuse.torch, Work::Fusing, catalogue)
        });
    if let Some(part) = &draft.part {
        part::check(&mut problems, part);
    }
    zone::check(&mut problems, draft, spray_torch, catalogue);
    heat::check(&mut problems, draft, spray_torch, fuse_torch, catalogue);
    inspection::check(&mut problems, draft);
    problems
}

/// What a torch is asked to do.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Work {
    Spraying,
    Fusing,
}

/// The torch of that key if it can do the work; a key nobody has was refused when it was read.
fn torch<'c>(
    problems: &mut Problems,
    path: &str,
    key: &str,
    work: Work,
    catalogue: &'c Catalogue,
) -> Option<&'c Torch> {
    let able = |torch: &&Torch| match work {
        Work::Spraying => torch.purpose != TorchPurpose::Fusing,
        Work::Fusing => torch.purpose != TorchPurpose::Spraying,
    };
    let task = match work {
        Work::Spraying => "spray",
        Work::Fusing => "fuse",
    };
    let torch = catalogue.torch(key)?;
    if able(&torch) {
        return Some(torch);
    }
    let keys: Vec<&str> =
        catalogue.torches.iter().filter(able).map(|torch| torch.key.as_str()).collect();
    problems.push(
        Problem::error(path, format!("the torch \"{key}\" cannot {task}"))
            .accepted(format!("a torch of the catalogue that can {task}: {}", keys.join(", ")))
            .help("write one of these"),
    );
    None
}
