//! What a plan stands on besides its files, and how far off its coat may be: printed by every
//! verb that plans.

use std::io::{self, Write};
use std::path::Path;

use clap::Args;
use evenpass_core::learn::{Band, Finish, Lesson};
use evenpass_core::plan::Plan;
use serde::Serialize;

use super::records::{pairs, section};
use super::say::one_line;
use super::sheet::{Layout, Sheet};
use crate::files::Job;
use crate::learning::Lessons;

/// Whether a plan learns.
#[derive(Debug, Args)]
pub(super) struct Learning {
    /// Plan by the catalogue alone, whatever measured parts, stripes and the feeder have taught.
    #[arg(long)]
    unlearned: bool,
}

impl Learning {
    /// Whether it plans by the catalogue alone.
    pub(super) const fn is_unlearned(&self) -> bool {
        self.unlearned
    }

    /// Where lessons come from, unless none are wanted: from the user's own records, or from those
    /// that `--records` names.
    ///
    /// # Errors
    /// Both options are given, and the records are for nothing else.
    pub(super) fn or<'a>(
        &self,
        records: Option<&'a Path>,
        are: RecordsAre,
    ) -> Result<Lessons<'a>, String> {
        match (self.unlearned, records, are) {
            (true, Some(_), RecordsAre::Read) => Err(
                "--records and --unlearned: found both; the one learns from these records, the \
                 other from none\nhelp: leave one of the two out\n"
                    .to_owned(),
            ),
            (true, ..) => Ok(Lessons::Ignored),
            (false, Some(file), RecordsAre::Read) => Ok(Lessons::From(file)),
            (false, ..) => Ok(Lessons::Kept(records)),
        }
    }
}

/// What a verb does with the records besides learning from them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum RecordsAre {
    /// Nothing: they have to be there.
    Read,
    /// It keeps its job in them, and makes them when there are none.
    Written,
}

/// How far off the coat of a zone may be.
#[derive(Debug, Clone, Serialize)]
pub(super) struct ZoneBand {
    /// The zone.
    pub(super) zone: String,
    /// As sprayed, and fused where it is fused.
    bands: Vec<(Finish, Band)>,
}

impl ZoneBand {
    /// That of a coat in one state.
    pub(super) fn of(&self, finish: Finish) -> Option<Band> {
        self.bands.iter().find(|(of, _)| *of == finish).map(|(_, band)| *band)
    }
}

/// The bands of a plan's zones.
pub(super) fn bands(job: &Job, plan: &Plan) -> Vec<ZoneBand> {
    let mut all = Vec::new();
    for forecast in &plan.forecast.zones {
        let zone = job.recipe.zones.iter().find(|zone| zone.name == forecast.zone);
        let lesson = zone.and_then(|zone| {
            job.learned.lessons.iter().find(|lesson| lesson.pair.powder == zone.powder)
        });
        let Some(lesson) = lesson else { continue };
        let mean = (forecast.diameters.low + forecast.diameters.high) / 2.0;
        let band = |finish| (finish, lesson.band(mean, finish));
        let mut bands = vec![band(Finish::AsSprayed)];
        if forecast.fused.is_some() {
            bands.push(band(Finish::Fused));
        }
        all.push(ZoneBand { zone: forecast.zone.clone(), bands });
    }
    all
}

/// Over what tells how far off a coat may be.
pub(super) const HOW_WELL: &str = "How well the thickness is known";

/// Over what changed since the catalogue.
pub(super) const LEARNED: &str = "Learned from what was measured";

/// Each zone as sprayed and fused, and how far off its coat may be.
pub(super) fn how_well(job: &Job, plan: &Plan) -> Vec<(String, String)> {
    let told = |zone: ZoneBand| {
        zone.bands.into_iter().map(move |(finish, band)| {
            let of = match finish {
                Finish::AsSprayed => "as sprayed",
                Finish::Fused => "fused",
            };
            (format!("\"{}\" {of}", zone.zone), band.to_string())
        })
    };
    bands(job, plan).into_iter().flat_map(told).collect()
}

/// Prints how far off the coat may be, and what changed since the catalogue.
pub(super) fn print(job: &Job, plan: &Plan, to: &mut impl Write) -> io::Result<()> {
    let mut sheet = pairs();
    for (of, band) in how_well(job, plan) {
        sheet.row([of, band]);
    }
    section(HOW_WELL, &sheet, to)?;
    section(LEARNED, &self::sheet(job), to)
}

/// What changed since the catalogue.
pub(super) fn sheet(job: &Job) -> Sheet {
    let mut sheet = Sheet::new(2, &[("", Layout::Prose)]);
    for sentence in sentences(job) {
        sheet.row([sentence]);
    }
    sheet
}

/// The same, a line each: what names a person or a rig in it begins none of its own.
pub(super) fn lines(job: &Job) -> String {
    sentences(job).map(|sentence| sentence + "\n").collect()
}

fn sentences(job: &Job) -> impl Iterator<Item = String> {
    job.learned.lessons.iter().flat_map(Lesson::sentences).map(|told| one_line(&told))
}
