//! A job that is loaded: everything that was read, planned and drawn of it, and how it takes the
//! place of the one before.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use evenpass_core::document::{Difference, differences};
use evenpass_core::plan::forecast::{PassByPass, pass_by_pass};
use evenpass_core::plan::{self, Plan};
use evenpass_core::request::Answer;
use evenpass_core::resume::Stood;
use evenpass_hil::{Bench, HandScript, Presence};
use tokio::sync::oneshot;

use super::keeper::Told;
use super::{Station, locked};
use crate::batch::served::Chosen;
use crate::clock::orders::Order;
use crate::clock::paced::Gone;
use crate::embed;
use crate::files::{self, Job, Places, Source};
use crate::learning::Lessons;
use crate::picture::Pictures;
use crate::record::{RunId, Store, records_file};
use crate::resuming::{CutOff, GoesOn};

/// A loaded job.
#[derive(Debug)]
pub struct Loaded {
    /// Where its recipe came from.
    pub path: PathBuf,
    /// What was read.
    pub job: Job,
    /// What was planned.
    pub plan: Plan,
    /// What was drawn.
    pub pictures: Pictures,
    /// The coat of each zone after each of its passes.
    pub coats: Vec<PassByPass>,
    /// What is otherwise than in the recipe of the last run; `None` before the first.
    pub since_last: Option<SinceLast>,
    /// The run that it goes on with, where it is the rest of one.
    pub goes_on: Option<GoesOn>,
}

/// A recipe beside that of the last run.
#[derive(Debug, Clone, PartialEq)]
pub struct SinceLast {
    /// The last run.
    pub run: RunId,
    /// Its title.
    pub title: String,
    /// What differs; empty for another part of the same recipe.
    pub differences: Vec<Difference>,
}

impl SinceLast {
    /// Of a text that is to be run now. Records that cannot be read tell nothing: they are no
    /// reason against loading.
    fn of(text: &str, from: Lessons<'_>) -> Option<Self> {
        let records = match from {
            Lessons::Ignored => return None,
            Lessons::Kept(records) => records,
            Lessons::From(records) | Lessons::AsOf(records, _) => Some(records),
        };
        let store = records_file(records).and_then(|file| Store::open_existing(&file)).ok()?;
        let last = store.runs().ok()?.pop()?;
        let record = store.run(&last.id).ok()?;
        let differences = differences(&record.recipe.text, text).ok()?;
        Some(Self { run: last.id, title: last.title, differences })
    }
}

/// Places along a zone at which its coat is told: finer than a screen shows.
const PLACES: u32 = 121;

impl Loaded {
    /// Reads, checks, plans and draws a job; nothing moves. Takes up to seconds for a large part.
    ///
    /// # Errors
    /// Every problem, as a person is to read it.
    pub fn read(path: &Path, places: Places<'_>, from: Lessons<'_>) -> Result<Self, String> {
        Self::of(files::read(path)?, path, places, from)
    }

    /// The same of a text that is not, or not yet, what stands in the recipe's file.
    ///
    /// # Errors
    /// As [`Self::read`].
    pub fn of(
        source: Source,
        path: &Path,
        places: Places<'_>,
        from: Lessons<'_>,
    ) -> Result<Self, String> {
        let job = files::job_of(source, path, places, from)?;
        let plan = plan::plan(&job.recipe, &job.rig, &job.catalogue)
            .map_err(|problems| format!("{}: {problems}\n", job.recipe_source.name))?;
        let since_last = SinceLast::of(&job.recipe_source.text, from);
        Ok(Self { since_last, ..Self::drawn(path.to_owned(), job, plan)? })
    }

    /// What is left of a job that was cut off; `stood` is how the carriage was found then.
    ///
    /// # Errors
    /// It cannot go on, as a person is to read it.
    pub fn rest(cut: CutOff, stood: Option<Stood>) -> Result<Self, String> {
        let plan = cut.rest.map_err(|refusal| refusal.to_string())?;
        let path = PathBuf::from(&cut.job.recipe_source.name);
        let goes_on = Some(GoesOn { run: cut.run, stood });
        Ok(Self { goes_on, ..Self::drawn(path, cut.job, plan)? })
    }

    /// The whole of its job, where this is the rest of one.
    fn whole(&self) -> Result<Self, String> {
        let job = self.job.clone();
        let plan = plan::plan(&job.recipe, &job.rig, &job.catalogue)
            .map_err(|problems| format!("{}: {problems}\n", job.recipe_source.name))?;
        Self::drawn(self.path.clone(), job, plan)
    }

    fn drawn(path: PathBuf, job: Job, plan: Plan) -> Result<Self, String> {
        let pictures = Pictures::of(&job.recipe, &plan)
            .map_err(|fault| format!("the plan cannot be drawn: {fault}\n"))?;
        let coats = pass_by_pass(&plan, PLACES);
        Ok(Self { path, job, plan, pictures, coats, since_last: None, goes_on: None })
    }
}

impl Station {
    /// Another part comes into the chuck. What a run has left is left of its own part alone: the whole
    /// job is loaded in its place.
    ///
    /// # Errors
    /// As [`Self::load`].
    pub async fn next_part(&self) -> Result<(), String> {
        let Some(rest) = self.loaded().filter(|loaded| loaded.goes_on.is_some()) else {
            return Ok(());
        };
        let whole = tokio::task::spawn_blocking(move || rest.whole());
        let whole = whole.await.map_err(|broken| broken.to_string())??;
        match self.load(whole).await? {
            Answer::Denied(denial) => Err(denial.why),
            Answer::Accepted | Answer::AlreadySo => Ok(()),
        }
    }

    /// Somebody decides otherwise about the part of a run: its rest can be started no more.
    ///
    /// # Errors
    /// It is under way, or the scan has ended: why.
    pub async fn drop_rest_of(&self, run: &RunId) -> Result<(), String> {
        let _turn = self.inside.turns.lock().await;
        let is_its_rest = |loaded: &Arc<Loaded>| {
            loaded.goes_on.as_ref().is_some_and(|goes_on| goes_on.run == *run)
        };
        if !self.loaded().as_ref().is_some_and(is_its_rest) {
            return Ok(());
        }
        let (reply, answer) = oneshot::channel();
        self.order(Order::DropRest(reply)).map_err(|gone| gone.to_string())?;
        match answer.await.map_err(|_| Gone.to_string())? {
            Answer::Denied(denial) => Err(denial.why),
            Answer::Accepted | Answer::AlreadySo => {
                self.inside.loaded.send_replace(None);
                Ok(())
            }
        }
    }

    /// Loads a job; the twin is set up for it anew, as if it had been switched off and on. Where two
    /// are loaded at once, one is after the other in everything. Of the recipe that was loaded before
    /// it is made for the same order, of another one for that which was ordered last.
    ///
    /// # Errors
    /// The scan has ended, or the bench cannot take the part: why.
    pub async fn load(&self, loaded: Loaded) -> Result<Answer, String> {
        let text = &loaded.job.recipe_source.text;
        let is_same = self.loaded().is_some_and(|before| before.job.recipe_source.text == *text);
        let chosen = if is_same { self.chosen() } else { Chosen::Latest };
        self.load_for(loaded, chosen).await
    }

    /// The same, made for that order.
    ///
    /// # Errors
    /// As [`Self::load`].
    pub async fn load_for(&self, loaded: Loaded, chosen: Chosen) -> Result<Answer, String> {
        let gone = |gone: Gone| gone.to_string();
        let bench = |seed| embed::bench(&loaded.job, &loaded.plan, seed);
        let bench = self
            .inside
            .seed
            .map(bench)
            .transpose()
            .map_err(|problem| format!("twin: {problem}"))?;
        let _turn = self.inside.turns.lock().await;
        let (reply, answer) = oneshot::channel();
        self.order(Order::Load(Box::new(loaded.plan.clone()), reply)).map_err(gone)?;
        let answer = answer.await.map_err(|_| Gone.to_string())?;
        if answer != Answer::Accepted {
            return Ok(answer);
        }
        if let Some(bench) = bench {
            self.at_bench(Box::new(move |old| take_over(old, bench))).map_err(gone)?;
        }
        let loaded = Arc::new(loaded);
        locked(&self.inside.chosen).clone_from(&chosen);
        if let Some(keeper) = &*locked(&self.inside.keeper) {
            keeper.tell(Told::Loaded(loaded.clone(), chosen));
        }
        self.inside.loaded.send_replace(Some(loaded));
        Ok(answer)
    }

    /// From the next start on the loaded job is made for that order. A part under way stays what it is.
    pub async fn choose(&self, chosen: Chosen) {
        let _turn = self.inside.turns.lock().await;
        *locked(&self.inside.chosen) = chosen;
        self.tell_order();
    }

    /// Something was told of an order: what the next start's record says of it is looked up anew.
    pub async fn told_of_order(&self) {
        let _turn = self.inside.turns.lock().await;
        self.tell_order();
    }

    fn tell_order(&self) {
        if let Some(keeper) = &*locked(&self.inside.keeper) {
            keeper.tell(Told::Order(self.chosen()));
        }
    }
}

/// Another bench in the place of the old one, at the same time, its key as it stood.
fn take_over(old: &mut Bench, mut bench: Bench) {
    let hands = HandScript { presence: Presence::Assisting, presses: Vec::new() };
    bench.follow_script(&hands);
    if old.truth().key_on {
        bench.turn_key_on();
    }
    bench.advance(old.now_us());
    *old = bench;
}
