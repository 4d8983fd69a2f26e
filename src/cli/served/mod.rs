//! Verbs through a running `serve`: found by the records they share, spoken to over HTTP on this
//! computer, as somebody who signs in and takes the seat like everybody else.
//!
//! ```text
//! Mark <-- serve          a locked file beside the records
//!   |
//! look --> Line --> Visit --> a verb      address, session, seat
//! ```

mod line;
mod mark;
mod news;
pub(super) mod prove;
pub(super) mod run;
mod trouble;
mod visit;

use std::path::{Path, PathBuf};

use clap::Args;

pub(super) use self::line::{Line, Reply};
use self::mark::{Found, look};
pub(super) use self::mark::{Mark, NoMark, Served, reachable};
pub(super) use self::news::News;
pub(super) use self::trouble::Trouble;
pub(super) use self::visit::{Interrupted, LOOK_EVERY, Visit};
use super::ports::Ports;
use super::say;
use crate::files;
use crate::record::records_file;

/// How often a running serve is asked whether it is there; each time for some seconds, so that one
/// that has much to do is not taken for a broken one.
const ALIVE_TRIES: u32 = 3;

/// How a verb deals with a running `serve`.
#[derive(Debug, Clone, Args)]
pub(super) struct ServedArguments {
    /// Do not ask a running serve; own the line, or an embedded twin, alone.
    #[arg(long)]
    alone: bool,
    /// Where a running serve has its seat taken by somebody else: ask them for it, and wait.
    #[arg(long, conflicts_with = "alone")]
    take: bool,
}

/// Where a verb is carried out.
#[derive(Debug)]
pub(super) enum Where {
    /// Through this `serve`.
    Served(Served),
    /// By the verb itself.
    Alone,
}

/// What a verb was told that says where it is carried out.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wanted<'a> {
    /// The rig file that was named.
    pub(super) rig: Option<&'a Path>,
    /// The ports that were named.
    pub(super) ports: &'a Ports,
    /// The records that were named.
    pub(super) records: Option<&'a Path>,
}

impl ServedArguments {
    /// Where to carry a verb out: through the `serve` of the same records when one runs. What one
    /// left behind that has ended is told and ignored.
    ///
    /// # Errors
    /// A `serve` runs and does not answer, or something was named that it cannot follow.
    pub(super) fn find(&self, wanted: Wanted<'_>) -> Result<Where, Trouble> {
        if self.alone {
            return Ok(Where::Alone);
        }
        let records =
            records_file(wanted.records).map_err(|problem| Trouble::Failed(problem.whole()))?;
        let served = match look(&records) {
            Found::Running(served) => served,
            Found::Nothing => return self.nobody(),
            Found::Left(why) => {
                say::complain(&format!("note: {why}"));
                return self.nobody();
            }
            Found::Unreadable(why) => return Err(silent(&format!("a serve runs, and {why}"))),
        };
        let line = Line::to(served.address);
        if !(0..ALIVE_TRIES).any(|_| line.alive().is_some()) {
            return Err(silent(&format!(
                "the serve at {} (process {}) runs and does not answer",
                served.address, served.process
            )));
        }
        let runs = |option: &str| {
            Err(Trouble::Input(format!(
                "{option}: a serve with these records runs at {} and has \"{}\"\nhelp: leave \
                 {option} out to ask it, or say --alone\n",
                served.address, served.rig
            )))
        };
        if wanted.ports.are_given() {
            return runs("--port");
        }
        if let Some(rig) = wanted.rig {
            let (rig, _) = files::rig(Some(rig)).map_err(Trouble::Input)?;
            if rig.title != served.rig {
                return runs("--rig");
            }
        }
        Ok(Where::Served(served))
    }

    fn nobody(&self) -> Result<Where, Trouble> {
        if self.take {
            return Err(Trouble::Failed(
                "--take: no serve runs with these records, so there is no seat to be taken\nhelp: \
                 leave --take out, or name the records of the serve with --records\n"
                    .to_owned(),
            ));
        }
        Ok(Where::Alone)
    }

    /// Whether the seat is asked for.
    pub(super) const fn takes(&self) -> bool {
        self.take
    }
}

/// A `serve` that runs has the machine, whether it answers or not.
fn silent(what: &str) -> Trouble {
    Trouble::Failed(format!(
        "{what}\nhelp: ask again; if it goes on, look at the machine, then end that process. \
         --alone asks no serve\n"
    ))
}

/// The name of a recipe as a `serve` offers it.
///
/// # Errors
/// It offers none of that name, or another file of that name.
pub(super) fn offered(served: &Served, recipe: &Path) -> Result<String, Trouble> {
    let name = recipe.file_name().and_then(|name| name.to_str()).unwrap_or_default();
    let theirs: PathBuf = served.recipes.join(name);
    // A name alone is one of theirs; a path has to be that file.
    let bare = recipe.parent().is_none_or(|folder| folder == Path::new("")) && !recipe.exists();
    let same = match (recipe.canonicalize(), theirs.canonicalize()) {
        (Ok(ours), Ok(theirs)) => ours == theirs,
        _ => bare && theirs.exists(),
    };
    if same && !name.is_empty() {
        return Ok(name.to_owned());
    }
    Err(Trouble::Input(format!(
        "{}: is not among the recipes that the serve at {} offers\naccepted: a recipe in {}\nhelp: \
         put it there, or say --alone\n",
        recipe.display(),
        served.address,
        served.recipes.display()
    )))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_recipe_is_asked_for_by_its_name_only_when_it_is_the_file_that_is_offered() {
        let theirs = tempfile::tempdir().unwrap();
        let ours = tempfile::tempdir().unwrap();
        let served = Served {
            address: "127.0.0.1:1".parse().unwrap(),
            process: 1,
            rig: String::new(),
            rig_file: None,
            records: PathBuf::new(),
            recipes: theirs.path().to_owned(),
        };
        for folder in [&theirs, &ours] {
            std::fs::write(folder.path().join("shaft.toml"), "").unwrap();
        }
        let told = |path: &Path| offered(&served, path);
        assert_eq!(told(&theirs.path().join("shaft.toml")), Ok("shaft.toml".to_owned()));
        assert_eq!(told(Path::new("shaft.toml")), Ok("shaft.toml".to_owned()));
        for other in [ours.path().join("shaft.toml"), theirs.path().join("sleeve.toml")] {
            assert!(matches!(told(&other), Err(Trouble::Input(_))), "{other:?}");
        }
    }
}
