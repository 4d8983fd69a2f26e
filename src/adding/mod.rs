//! What people add to the record of a run: their readings of its part, notes, what becomes of it.
//!
//! The command line and the panel read what was typed, each in its own way ([`typed`]), and have it
//! checked here: the same words are taken or refused by both. What was taken is a [`Said`], which
//! [`Adding::keep`] writes down with the person's name. Nothing of this touches the machine: the
//! records are opened here for themselves, whether a run is written meanwhile or not.

mod coat;
mod noted;
mod passes;
mod readings;
mod refused;
pub mod typed;
mod verdict;

pub use self::coat::{
    CoatRead, Diameter, MEASURED_AT, MOST_BUILD, ZoneChecked, as_cold, check, told,
};
pub use self::noted::{Deviation, coupon, deviation, dye_check, hold_point, particular, release};
pub use self::passes::{AsChanged, sprayed};
pub use self::readings::{ThicknessRead, hardness, run_out, thickness};
pub use self::refused::{Field, NotAdded, Why, Wrong, line, person, words};
pub use self::verdict::{decide, take_back};

use evenpass_core::catalogue::Catalogue;
use evenpass_core::inspection::Judged;
use evenpass_core::learn::{Figures, Pair};
use evenpass_core::quantity::{Length, Temperature};
use evenpass_core::recipe::Inspection;
use evenpass_core::rig::Rig;
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::record::{
    GaugeUsed, Inspected, Mark, MarkRecord, Of, Outcome, RunId, RunKind, RunRecord, Said, Store,
};
use crate::shown::one_line;

/// A run that something is added to, with the records it is in.
#[derive(Debug)]
pub struct Adding {
    store: Store,
    run: RunRecord,
    rig: String,
}

/// When a reading was taken, and with what.
#[derive(Debug, Clone, Copy, Default)]
pub struct Taken<'a> {
    /// The day; today when `None`.
    pub on: Option<Date>,
    /// The gauge, by its serial number.
    pub gauge: Option<&'a str>,
}

impl Adding {
    /// The run that a person means: by its id, the beginning of its id, or `latest`.
    ///
    /// # Errors
    /// There is none, it was rehearsed, or its record cannot be read.
    pub fn to(store: Store, asked: &str) -> Result<Self, NotAdded> {
        let run = store.run(&store.find(asked)?)?;
        if run.summary.kind == RunKind::Rehearsed {
            return Err(NotAdded::Rehearsed(run.summary.id));
        }
        match Rig::read(&run.rig.text) {
            Ok(rig) => Ok(Self { store, run, rig: rig.title }),
            Err(_) => Err(NotAdded::UnknownRig(run.summary.id)),
        }
    }

    /// The records.
    #[must_use]
    pub const fn store(&self) -> &Store {
        &self.store
    }

    /// The run as it is written so far.
    #[must_use]
    pub const fn run(&self) -> &RunRecord {
        &self.run
    }

    /// Its id.
    #[must_use]
    pub const fn id(&self) -> &RunId {
        &self.run.summary.id
    }

    /// The title of its rig.
    #[must_use]
    pub fn rig(&self) -> &str {
        &self.rig
    }

    /// Everything that was added to its part, in this run and in those it went on with.
    ///
    /// # Errors
    /// The records cannot be read.
    pub fn marks(&self) -> Result<Vec<MarkRecord>, NotAdded> {
        Ok(self.store.marks(Of::Part(self.id()))?)
    }

    /// The limits of its recipe, if it has any.
    #[must_use]
    pub fn limits(&self) -> Option<Inspection> {
        Inspection::of_text(&self.run.recipe.text)
    }

    /// Those limits with everything that was read so far.
    ///
    /// # Errors
    /// The records cannot be read.
    pub fn judged(&self) -> Result<Vec<Judged>, NotAdded> {
        Ok(Inspected::of(&self.marks()?).judged(self.limits().as_ref()))
    }

    /// Writes down what somebody said of it, durable on return, and gives its number.
    ///
    /// # Errors
    /// The records refuse.
    pub fn keep(&mut self, person: &str, said: Said) -> Result<i64, NotAdded> {
        let mark = Mark {
            at: Timestamp::now(),
            person: person.to_owned(),
            rig: self.rig.clone(),
            kind: self.run.summary.kind,
            run: Some(self.id().clone()),
            batch: None,
            said,
        };
        Ok(self.store.keep_mark(&mark)?)
    }

    /// The day of a reading and its gauge, with what was known of that then. One that is past its
    /// date is no reason to refuse a reading: it stands with that.
    fn taken(&self, taken: Taken<'_>) -> Result<(Date, Option<GaugeUsed>), NotAdded> {
        let measured_on = day(taken.on, Some(self.run.summary.started_at))?;
        let Some(serial) = taken.gauge else { return Ok((measured_on, None)) };
        let serial = words(Field::Gauge, serial, "the serial number of the gauge")?;
        let marks = self.store.marks(Of::Rig(&self.rig, self.run.summary.kind))?;
        Ok((measured_on, Some(GaugeUsed::of(&serial, &marks, measured_on))))
    }

    /// Refuses what is read of a finished part while its part is still being made, or where another run
    /// went on with it.
    fn must_be_finished(&self) -> Result<(), NotAdded> {
        if self.run.summary.outcome == Outcome::Open {
            let help = "end the run, and read then; what is read of its coat meanwhile is a thickness \
                        as sprayed, or fused";
            return self
                .refuse(Why::new("its part is still being made", "a run that is over").help(help));
        }
        self.must_be_last("say it of")
    }

    /// Refuses what is said of a run that another went on with; `of` leads to that one.
    fn must_be_last(&self, of: &str) -> Result<(), NotAdded> {
        let Some(next) = self.store.taken_up_by(self.id())? else { return Ok(()) };
        let told = format!("run {next} went on with its part");
        self.refuse(Why::new(told, "the last run of a part").help(format!("{of} run {next}")))
    }

    /// Refuses a place where no coat was planned.
    fn must_be_coated(&self, field: Field, row: usize, at: Length) -> Result<(), NotAdded> {
        let Some(basis) = self.store.basis(self.id())? else { return Ok(()) };
        if basis.zone_at(at).is_some() {
            return Ok(());
        }
        let zones: Vec<String> = basis
            .zones
            .iter()
            .map(|zone| format!("{} to {} (\"{}\")", zone.from, zone.to, zone.zone))
            .collect();
        let told = format!("found a place of {at}, where no coat was planned");
        Err(Wrong::at(field, row, Why::new(told, zones.join(", "))).into())
    }

    fn refuse<T>(&self, why: Why) -> Result<T, NotAdded> {
        Err(NotAdded::Run(self.id().clone(), why))
    }
}

/// A part that is measured is no colder and no hotter than [`MEASURED_AT`].
///
/// # Errors
/// It was.
pub fn measured_at(hot: Option<Temperature>) -> Result<(), Wrong> {
    let (coldest, hottest) = MEASURED_AT;
    match hot.filter(|hot| *hot < coldest || *hot > hottest) {
        None => Ok(()),
        Some(hot) => {
            let why = Why::new(format!("found {hot}"), format!("{coldest} to {hottest}"));
            Err(Wrong::of(Field::Temperature, why))
        }
    }
}

/// The day of measuring: today, or the one given, which is not to come yet nor before `begun`.
///
/// # Errors
/// It is.
pub fn day(given: Option<Date>, begun: Option<Timestamp>) -> Result<Date, Wrong> {
    let date = |at: Timestamp| at.to_zoned_datetime(TimeZone::system()).date();
    let today = date(Timestamp::now());
    let day = given.unwrap_or(today);
    let first = begun.map(date);
    if day > today || first.is_some_and(|first| day < first) {
        let from =
            first.map_or_else(String::new, |first| format!("{first}, the day of the run, to "));
        let why = Why::new(format!("found {day}"), format!("{from}{today}, which is today"));
        return Err(Wrong::of(Field::Date, why));
    }
    Ok(day)
}

/// What the catalogue says of a pair.
///
/// # Errors
/// It has none such: those it has.
pub fn figures(catalogue: &Catalogue, pair: &Pair) -> Result<Figures, Why> {
    let sprays = catalogue.torches.iter().filter(|torch| torch.powder_rate.is_some());
    let torches: Vec<&str> = sprays.map(|torch| torch.key.as_str()).collect();
    let powders: Vec<&str> = catalogue.powders.iter().map(|p| p.key.as_str()).collect();
    let unknown = |what: &str, found: &str, known: &[&str]| {
        let told = format!("{what}: found \"{}\", which is none in the catalogue", one_line(found));
        Why::new(told, known.join(", "))
            .help("name the folder of another catalogue with --catalogue FOLDER")
    };
    if !torches.contains(&pair.torch.as_str()) {
        return Err(unknown("torch that sprays powder", &pair.torch, &torches));
    }
    Figures::of(catalogue, pair).ok_or_else(|| unknown("powder", &pair.powder, &powders))
}
