//! An order with the machine's stocks, as the records say: what the next part is judged by.

mod used_up;

use std::collections::{BTreeMap, BTreeSet, HashSet};

use evenpass_core::batch::{
    Attempt, BlastLimits, Blasted, Course, Fate, Order, PowderLot, Tally, WhyMeasured, tally,
    why_measured,
};
use evenpass_core::plan::Plan;
use evenpass_core::quantity::{Mass, Time};
use evenpass_core::rig::Rig;
use jiff::Timestamp;

use super::gas::{Bottle, GasFlow, Gases, bottles};
use super::used::Gathering;
use crate::files::Job;
use crate::record::{
    Batch, BatchId, BatchPart, Inspected, MarkRecord, Of, Outcome, RecordError, RunId, RunKind,
    RunSummary, RunUsed, Said, Store, TO_BE_MEASURED, ToldAfter, Verdict,
};

/// One attempt at a part that has ended.
#[derive(Debug, Clone)]
pub struct Ended {
    /// Which part.
    pub number: u32,
    /// How it stands.
    pub fate: Fate,
    /// When it ended.
    pub ended_at: Timestamp,
    /// Powder that left the hopper.
    pub powder: Mass,
    /// What else it used, and how it went.
    pub used: Gathering,
    /// Why it is to be measured; `None` when it is not.
    pub to_be_measured: Option<WhyMeasured>,
}

/// When a part was in the flame.
#[derive(Debug, Clone, Copy)]
struct InFlame {
    at: Timestamp,
    /// The place of its run in the records; `None` of one that is not kept.
    place: Option<i64>,
}

/// When a part was blasted, as it was told.
#[derive(Debug, Clone, Copy)]
struct BlastedThen {
    at: Timestamp,
    /// When that was told and after which run, where it is kept.
    told: Option<(Timestamp, ToldAfter)>,
}

impl BlastedThen {
    /// What is known of it after the part was in the flame.
    fn after(self, flame: InFlame) -> Option<Blasted> {
        let is_older = flame.at > self.at;
        let Some(((told_at, told), place)) = self.told.zip(flame.place) else {
            return is_older.then_some(Blasted::NotTold);
        };
        // The order in which both were kept says it, whatever the clock said.
        if place > told.run || (place == told.run && !told.ended) {
            return Some(Blasted::NotTold);
        }
        let known = if told_at < flame.at { Blasted::NotKnown } else { Blasted::NotTold };
        is_older.then_some(known)
    }
}

/// An order as it stands, with what the machine has in stock.
#[derive(Debug, Clone)]
pub struct Standing {
    /// The order.
    pub order: Order,
    /// The parts' serials.
    pub serials: Vec<String>,
    /// What was tried, in its order.
    pub attempts: Vec<Attempt>,
    /// When each part was last in the flame.
    in_flame: BTreeMap<u32, InFlame>,
    /// What is in the hopper; `None` where nobody has said.
    pub hopper: Option<Mass>,
    /// What must stay in it.
    pub kept_back: Mass,
    /// Powder that a part takes by the plan.
    pub powder_planned: Mass,
    /// Powder that whole parts took.
    pub powder_taken: Vec<Mass>,
    /// The gases.
    pub bottles: Vec<Bottle>,
    flow: GasFlow,
    /// The spraying torch, by its key in the catalogue.
    pub torch: String,
    /// How long its flame has burned since its tip was cleaned.
    pub tip_burned: Time,
    /// How long it burns from one cleaning to the next.
    pub tip_every: Option<Time>,
    blasted: BTreeMap<u32, BlastedThen>,
    /// Whether a clock went back since the hopper was filled.
    pub clocks_contradict: bool,
    clock: Option<Timestamp>,
    /// From when a blasted surface is old.
    pub blast_limits: BlastLimits,
    /// The powders of the recipe, by their keys.
    powders: BTreeSet<String>,
    /// Whether a new lot of one of them was taken since the last part.
    pub powder_lot: PowderLot,
    /// The lot in use of each of its powders and gases.
    pub lots: BTreeMap<String, String>,
    /// Parts whose latest attempt is to be measured, and is not.
    unmeasured: BTreeSet<u32>,
    /// How the first good part went, its number with it.
    pub first_good: Option<(u32, Course)>,
}

impl Standing {
    /// As the records say; of the runs of one kind, so that a rehearsal makes no part of an order.
    ///
    /// # Errors
    /// The records cannot be read.
    pub fn of(
        store: &Store,
        batch: &Batch,
        kind: RunKind,
        job: &Job,
        plan: &Plan,
    ) -> Result<Self, RecordError> {
        let mut standing = Self::fresh(batch, job, plan);
        let marks = store.marks(Of::Rig(&batch.rig, kind))?;
        let said: Vec<&MarkRecord> =
            marks.iter().filter(|mark| mark.taken_back_by.is_none()).collect();
        standing.read_stocks(store, batch, kind, &said)?;
        standing.read_parts(store, batch, kind, &said)?;
        Ok(standing)
    }

    /// Before anything was made or told.
    fn fresh(batch: &Batch, job: &Job, plan: &Plan) -> Self {
        let flow = GasFlow::of(plan, &job.catalogue);
        let ordered = &batch.ordered;
        Self {
            order: order(batch),
            serials: ordered.serials.clone(),
            attempts: Vec::new(),
            in_flame: BTreeMap::new(),
            hopper: None,
            kept_back: used_up::kept_back(&job.rig),
            powder_planned: plan.forecast.powder.iter().map(|powder| powder.fed).sum(),
            powder_taken: Vec::new(),
            bottles: bottles(&job.catalogue, &job.recipe, &flow),
            flow,
            torch: job.recipe.spray.torch.clone(),
            tip_burned: Time::ZERO,
            tip_every: ordered.tip_every,
            blasted: BTreeMap::new(),
            clocks_contradict: false,
            clock: None,
            blast_limits: BlastLimits::within(plan.program.blasted_within),
            powders: job.recipe.zones.iter().map(|zone| zone.powder.clone()).collect(),
            powder_lot: PowderLot::Same,
            lots: BTreeMap::new(),
            unmeasured: BTreeSet::new(),
            first_good: None,
        }
    }

    /// What the marks and the runs after them say of hopper, bottles and tip.
    fn read_stocks(
        &mut self,
        store: &Store,
        batch: &Batch,
        kind: RunKind,
        said: &[&MarkRecord],
    ) -> Result<(), RecordError> {
        let mut runs = store.runs_used(kind)?;
        let bare = store.runs()?.into_iter().filter(|run| !has_begun(run)).map(|run| run.id);
        let bare: HashSet<RunId> = bare.collect();
        let mut titles = BTreeMap::new();
        runs.retain(|run| {
            // The twin's hopper is filled anew for every run that is of no batch.
            (kind == RunKind::Machine || run.batch.is_some())
                && !bare.contains(&run.run)
                && *titles.entry(run.rig.clone()).or_insert_with(|| is_rig(&run.rig, &batch.rig))
        });
        let mut runs = runs.into_iter().peekable();
        let mut latest = None;
        for mark in said {
            while let Some(run) = runs.next_if(|run| is_before(run, mark)) {
                self.use_up(&batch.id, &run);
                latest = Some(run);
            }
            self.look_at_clock(latest.as_ref(), mark);
            // Parts of other batches have the same numbers.
            let is_of_other = mark.mark.batch.as_ref() != Some(&batch.id);
            if !(is_of_other && matches!(mark.mark.said, Said::Blasted { .. })) {
                self.hear(&mark.mark.said);
                self.kept_after(mark);
            }
            if let Some(run) = &latest {
                self.use_on(store, run, mark)?;
            }
        }
        runs.for_each(|run| self.use_up(&batch.id, &run));
        Ok(())
    }

    /// A run whose end nobody wrote down is taken to have used what is planned.
    fn use_up(&mut self, of: &BatchId, run: &RunUsed) {
        self.clock_says(run.started_at);
        let powder = self.powder(run);
        let gases = self.gases(run);
        self.take_stock(
            run.hopper_left.or_else(|| self.hopper.map(|holds| holds - powder)),
            self.lit(run),
            &gases,
        );
        // The first part of this order that is made of the lot is the one to be measured.
        if run.batch.as_ref() == Some(of) && powder > Mass::ZERO {
            self.powder_lot = PowderLot::Same;
        }
    }

    /// Takes in what a person told.
    pub fn hear(&mut self, said: &Said) {
        match said {
            Said::Refilled { holds } => self.hopper = Some(*holds),
            Said::TipCleaned { torch, .. } if *torch == self.torch => self.tip_burned = Time::ZERO,
            Said::Lot { of, lot, contents, .. } => {
                if let Some(bottle) = self.bottles.iter_mut().find(|bottle| bottle.of == *of) {
                    bottle.holds = *contents;
                } else if self.powders.contains(of) {
                    self.powder_lot = PowderLot::New;
                } else {
                    // No part of this order is made with it.
                    return;
                }
                self.lots.insert(of.clone(), lot.clone());
            }
            Said::Blasted { parts, ended } => {
                let then = BlastedThen { at: *ended, told: None };
                self.blasted.extend(parts.iter().map(|part| (*part, then)));
            }
            _ => {}
        }
    }

    /// Keeps after which run parts were blasted.
    fn kept_after(&mut self, kept: &MarkRecord) {
        let Said::Blasted { parts, .. } = &kept.mark.said else { return };
        for part in parts {
            if let Some(blasted) = self.blasted.get_mut(part) {
                blasted.told = kept.told_after.map(|after| (kept.mark.at, after));
            }
        }
    }

    /// Whether what was told fits what the clock said before it. With a hopper filled it counts anew.
    fn look_at_clock(&mut self, latest: Option<&RunUsed>, kept: &MarkRecord) {
        if matches!(kept.mark.said, Said::Refilled { .. }) {
            (self.clocks_contradict, self.clock) = (false, None);
        }
        let ended = |run: &&RunUsed| {
            kept.told_after.is_some_and(|after| after.run == run.place && after.ended)
        };
        if let Some(ended_at) = latest.filter(ended).and_then(|run| run.ended_at) {
            self.clock_says(ended_at);
        }
        self.clock_says(kept.mark.at);
    }

    /// What is read in its order has times that go on, unless a clock went back.
    fn clock_says(&mut self, at: Timestamp) {
        self.clocks_contradict |= self.clock.is_some_and(|before| at < before);
        self.clock = self.clock.max(Some(at));
    }

    /// The parts, what became of them and what was decided and measured.
    fn read_parts(
        &mut self,
        store: &Store,
        batch: &Batch,
        kind: RunKind,
        said: &[&MarkRecord],
    ) -> Result<(), RecordError> {
        let runs = store.runs()?;
        let used = store.runs_used(kind)?;
        let measured = store.measurements()?;
        for part in store.batch_parts(&batch.id)? {
            let Some(run) = runs.iter().find(|run| run.id == part.run && run.kind == kind) else {
                continue;
            };
            let fate = fate_of(store, said, run)?;
            self.attempts.push(Attempt { number: part.number, fate });
            if has_begun(run) {
                let place = used.iter().find(|used| used.run == part.run).map(|used| used.place);
                let at = run.ended_at.unwrap_or(run.started_at);
                self.in_flame.insert(part.number, InFlame { at, place });
            }
            let by_figures = measured.iter().any(|kept| {
                kept.withdrawn.is_none() && kept.measurement.run.as_ref() == Some(&part.run)
            });
            let is_measured = by_figures || is_inspected(said, &part.run);
            let why = to_be_measured(&store.particulars(&part.run)?, &self.order, part.number);
            self.owe(part.number, fate, why.filter(|_| !is_measured));
            if run.is_whole() {
                let took = used.iter().find(|used| used.run == part.run);
                let metered = took.filter(|took| took.fuel.is_some() && took.oxygen.is_some());
                let gases = metered.map(|took| self.gases(took));
                self.whole(took.and_then(|took| took.powder), gases.as_ref());
                if self.first_good.is_none() && is_good(fate) {
                    self.first_good = Some((part.number, course(store, &part)?));
                }
            }
        }
        Ok(())
    }

    /// An attempt at a part is to be measured, or needs it no more: what was measured of another
    /// attempt says nothing of this one. One that laid nothing on the part changes nothing.
    fn owe(&mut self, number: u32, fate: Fate, why: Option<WhyMeasured>) {
        match (fate, why) {
            (Fate::Bare, _) => {}
            (_, Some(_)) => drop(self.unmeasured.insert(number)),
            (_, None) => drop(self.unmeasured.remove(&number)),
        }
    }

    /// A whole part took so much.
    fn whole(&mut self, powder: Option<Mass>, gases: Option<&Gases>) {
        self.powder_taken.extend(powder);
        let Some(gases) = gases else { return };
        for bottle in &mut self.bottles {
            bottle.taken.push(gases.of(&bottle.of));
        }
    }

    /// Takes in a part that was just made: what [`Standing::of`] would read of its record.
    pub fn take(&mut self, ended: &Ended) {
        self.attempts.push(Attempt { number: ended.number, fate: ended.fate });
        self.in_flame.insert(ended.number, InFlame { at: ended.ended_at, place: None });
        let gases = ended.used.gas(&self.flow);
        let hopper = self.hopper.map(|holds| holds - ended.powder);
        self.take_stock(hopper, ended.used.flame_lit(), &gases);
        if ended.powder > Mass::ZERO {
            self.powder_lot = PowderLot::Same;
        }
        self.owe(ended.number, ended.fate, ended.to_be_measured);
        if matches!(ended.fate, Fate::Made | Fate::Pass) {
            self.whole(Some(ended.powder), Some(&gases));
            self.first_good.get_or_insert_with(|| (ended.number, ended.used.course()));
        }
    }

    /// What of the order is made, and which part is next.
    #[must_use]
    pub fn tally(&self) -> Tally {
        tally(&self.order, &self.attempts)
    }

    /// How long ago a part was blasted; not told when it was in the flame since.
    #[must_use]
    pub fn since_blasted(&self, number: u32, now: Timestamp) -> Blasted {
        let Some(blasted) = self.blasted.get(&number).copied() else { return Blasted::NotTold };
        let flame = self.in_flame.get(&number).copied();
        match flame.and_then(|flame| blasted.after(flame)) {
            Some(known) => known,
            None if now < blasted.at => Blasted::NotKnown,
            None => {
                Blasted::Ago(Time::from_duration(now.duration_since(blasted.at).unsigned_abs()))
            }
        }
    }

    /// How many attempts there were at a part.
    #[must_use]
    pub fn tried(&self, number: u32) -> usize {
        self.attempts.iter().filter(|attempt| attempt.number == number).count()
    }

    /// When a part was blasted.
    #[must_use]
    pub fn blasted_at(&self, number: u32) -> Option<Timestamp> {
        self.blasted.get(&number).map(|blasted| blasted.at)
    }

    /// How long the torch burns in a part, by the plan.
    #[must_use]
    pub fn flame_of_part(&self) -> Time {
        self.flow.burning()
    }

    /// What of the plan burns.
    #[must_use]
    pub const fn flow(&self) -> &GasFlow {
        &self.flow
    }

    /// The parts that were made and were to be measured, and nobody has.
    #[must_use]
    pub fn unmeasured(&self) -> Vec<u32> {
        let tally = self.tally();
        let mut made: Vec<u32> = [&tally.passed, &tally.undecided, &tally.on_hold]
            .into_iter()
            .flatten()
            .copied()
            .filter(|number| self.unmeasured.contains(number))
            .collect();
        made.sort_unstable();
        made
    }
}

/// A batch as an order to count by.
#[must_use]
pub fn order(batch: &Batch) -> Order {
    let ordered = &batch.ordered;
    Order {
        parts: u32::try_from(ordered.serials.len()).unwrap_or(u32::MAX),
        measured_every: ordered.measured_every,
        scrapped: ordered.scrapped,
    }
}

/// Whether a run had begun when a mark was told: by the order in which both were kept, or where an
/// earlier version kept it, by the clock.
fn is_before(run: &RunUsed, kept: &MarkRecord) -> bool {
    kept.told_after.map_or(run.started_at < kept.mark.at, |after| run.place <= after.run)
}

fn is_rig(text: &str, title: &str) -> bool {
    Rig::read(text).is_ok_and(|rig| rig.title == title)
}

fn course(store: &Store, part: &BatchPart) -> Result<Course, RecordError> {
    Ok(Gathering::of(&store.run(&part.run)?.entries).course())
}

/// What was decided of a run last.
#[must_use]
pub fn decided<'a>(said: &[&'a MarkRecord], run: &RunId) -> Option<(Verdict, &'a MarkRecord)> {
    said.iter().rev().find_map(|kept| match &kept.mark.said {
        Said::Decided { verdict, .. } if kept.mark.run.as_ref() == Some(run) => {
            Some((*verdict, *kept))
        }
        _ => None,
    })
}

/// The same, as long as nothing came against it since: a pass that stands no more is none, and nobody
/// has decided of the part as it is now.
///
/// # Errors
/// [`RecordError`] when the file can't be read.
pub fn stands<'a>(
    store: &Store,
    said: &[&'a MarkRecord],
    run: &RunId,
) -> Result<Option<(Verdict, &'a MarkRecord)>, RecordError> {
    let found = decided(said, run);
    if found.is_none_or(|(verdict, _)| verdict != Verdict::Pass) {
        return Ok(found);
    }
    let marks = store.marks(Of::Part(run))?;
    let is_so = Inspected::of(&marks).stands(&store.wanted(run)?);
    Ok(found.filter(|_| is_so))
}

/// Whether the coat of a run's part was measured by whoever inspects it: its thickness, its hardness,
/// or a diameter against the plan.
#[must_use]
pub fn is_inspected(said: &[&MarkRecord], run: &RunId) -> bool {
    said.iter().any(|kept| {
        kept.mark.run.as_ref() == Some(run)
            && matches!(
                kept.mark.said,
                Said::Thickness { .. } | Said::Hardness { .. } | Said::CoatChecked { .. }
            )
    })
}

/// Why the part of a run is to be measured, as its record says; where that says nothing, by its number.
#[must_use]
pub fn to_be_measured(
    particulars: &BTreeMap<String, String>,
    order: &Order,
    number: u32,
) -> Option<WhyMeasured> {
    match particulars.get(TO_BE_MEASURED) {
        Some(words) => WhyMeasured::ALL.into_iter().find(|why| why.words() == words),
        None => why_measured(order, number, PowderLot::Same),
    }
}

/// How an attempt stands by the records.
///
/// # Errors
/// [`RecordError`] when the file can't be read.
pub fn fate_of(store: &Store, said: &[&MarkRecord], run: &RunSummary) -> Result<Fate, RecordError> {
    let fate = fate(run, stands(store, said, &run.id)?);
    if fate != Fate::BrokenOff {
        return Ok(fate);
    }
    let marks = store.marks(Of::Part(&run.id))?;
    Ok(if Inspected::of(&marks).is_stripped() { Fate::Stripped } else { fate })
}

/// How an attempt stands. While it is written its part is being made, whatever was decided; and one
/// that goes on with another has a part with powder on it, though it lays none.
fn fate(run: &RunSummary, decided: Option<(Verdict, &MarkRecord)>) -> Fate {
    match (decided.map(|(verdict, _)| verdict), run.outcome) {
        (_, Outcome::Open) if has_begun(run) => Fate::Running,
        (Some(Verdict::Pass), _) => Fate::Pass,
        (Some(Verdict::Hold), _) => Fate::Hold,
        (Some(Verdict::Scrap), _) => Fate::Scrap,
        (None, Outcome::Complete) => Fate::Made,
        // A pass that began tells how many are planned.
        (None, _) if run.passes_planned.is_none() && run.resumes.is_none() => Fate::Bare,
        (None, _) => Fate::BrokenOff,
    }
}

/// Whether its job has begun. A record is opened before a start is asked for; one that came to nothing
/// has used nothing up, and is no part that is being made.
fn has_begun(run: &RunSummary) -> bool {
    run.lasted > Time::ZERO
}

/// Whether a part that came to its end is one to compare others with.
#[must_use]
pub const fn is_good(fate: Fate) -> bool {
    matches!(fate, Fate::Made | Fate::Pass)
}
