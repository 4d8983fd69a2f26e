//! Where the powder of a run was released, how many passes of a zone are done, and what they leave, as
//! they were planned or as people changed them.

use evenpass_core::inspection::{CoatCheck, PassesMade};
use evenpass_core::learn::{RunBasis, ZoneBasis};
use evenpass_core::quantity::Fraction;
use serde::Serialize;

use super::{Adding, NotAdded, Why};
use crate::record::{RESUMES, RunId, Sprayed, Store, ZonePasses};

/// Where the powder of a run was released, and the zones whose passes people changed.
///
/// # Errors
/// Its records do not say that, or cannot be read.
pub fn sprayed(store: &Store, run: &RunId) -> Result<(RunBasis, Vec<ZonePasses>), NotAdded> {
    let why = match store.sprayed(run)? {
        Sprayed::There { basis, changed } => return Ok((basis, changed)),
        Sprayed::NotKept => match store.particulars(run)?.get(RESUMES) {
            Some(earlier) => Why::new(
                format!(
                    "it went on with run {earlier}: its coat is of several runs, and none of them \
                     planned all of it, so it teaches nothing"
                ),
                "a run that made all of its coat",
            )
            .help(format!(
                "`evenpass records thickness {run}` and `evenpass records hardness {run}` take its \
                 readings, and `evenpass records decide {run}` says what becomes of the part"
            )),
            None => Why::new(
                "it does not say where its powder was released: it coated nothing, or was kept before \
                 that was told",
                "a later run, of a coat",
            ),
        },
        Sprayed::Untold { file } => {
            let where_to = file.map_or_else(
                || "were lost".to_owned(),
                |file| format!("were put into the file {file}"),
            );
            let told = format!(
                "its passes were trimmed or touched up, and the entries that say how {where_to}: what \
                 coat was expected, and so the efficiency and the passes that are missing, cannot be \
                 said"
            );
            Why::new(told, "a run whose entries are in these records")
                .help("thickness and hardness need no plan, and are taken")
        }
    };
    Err(NotAdded::Run(run.clone(), why))
}

/// Where people changed the passes of a zone: what all of them leave, over the plan before.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct AsChanged {
    /// At the efficiency that was expected.
    pub expected_share: f64,
    /// At the one that was measured.
    pub measured_share: f64,
}

impl AsChanged {
    /// What a check says of changed passes.
    #[must_use]
    pub fn of(changed: &ZonePasses, check: &CoatCheck) -> Self {
        let expected_share = changed.share();
        Self { expected_share, measured_share: expected_share * (1.0 + check.change()) }
    }
}

/// The passes of a zone, as the record has them, with what people changed.
pub(super) struct Passes<'a> {
    /// Those that are done, and all that are planned as changed.
    pub(super) made: PassesMade,
    /// How people changed them; `None` where nobody did.
    pub(super) changed: Option<&'a ZonePasses>,
}

impl<'a> Passes<'a> {
    pub(super) fn of(
        adding: &Adding,
        zone: &ZoneBasis,
        changed: &'a [ZonePasses],
    ) -> Result<Self, NotAdded> {
        let zone = &zone.zone;
        let of_zone = || adding.run().passes.iter().filter(|pass| pass.zone.as_ref() == Some(zone));
        let done = of_zone().filter(|pass| pass.ended.is_some()).count();
        let done = u32::try_from(done).unwrap_or(0);
        if done == 0 {
            let told = format!("no pass of \"{zone}\" is done, and there is no coat to measure");
            return adding.refuse(Why::new(told, "a place in a zone with a coat"));
        }
        if of_zone().any(|pass| pass.ended.is_none()) {
            let told = format!(
                "a pass of \"{zone}\" is begun and not ended, and what lies there is no whole number \
                 of passes"
            );
            return adding.refuse(Why::new(told, "a coat between two passes"));
        }
        let changed = changed.iter().find(|changed| changed.zone == *zone);
        let told = changed.map(ZonePasses::count).or_else(|| of_zone().find_map(|pass| pass.of));
        let planned = told.unwrap_or(done).max(done);
        Ok(Self { made: PassesMade { done, planned }, changed })
    }

    /// What of all that the passes leave lies there.
    pub(super) fn share_done(&self) -> Fraction {
        let (done, all) = match self.changed {
            Some(changed) => (changed.leave(self.made.done), changed.leave(u32::MAX)),
            None => (f64::from(self.made.done), f64::from(self.made.planned)),
        };
        Fraction::from_ratio(done / all)
    }

    /// What all of them leave, in passes of the size that one more would have.
    pub(super) fn alike(&self) -> f64 {
        self.changed.map_or_else(
            || f64::from(self.made.planned),
            |changed| changed.leave(u32::MAX) / changed.last_leaves(),
        )
    }
}
