//! What runs use up of powder, of gas and of the tip's time.

use evenpass_core::interlock::in_force;
use evenpass_core::quantity::{Mass, Time};
use evenpass_core::rig::Rig;

use super::Standing;
use crate::batch::gas::Gases;
use crate::batch::midway::After;
use crate::record::{MarkRecord, RecordError, RunUsed, Said, Store};

impl Standing {
    /// What was filled, changed or cleaned while a run was under way was used on by the rest of it.
    pub(super) fn use_on(
        &mut self,
        store: &Store,
        run: &RunUsed,
        kept: &MarkRecord,
    ) -> Result<(), RecordError> {
        let Some(after) = After::of(store, run, kept)? else { return Ok(()) };
        match &kept.mark.said {
            Said::Refilled { holds } => {
                // What the scale says at its end knows of both.
                self.hopper =
                    Some(run.hopper_left.unwrap_or_else(|| {
                        (*holds - self.powder(run) * after.powder).max(Mass::ZERO)
                    }));
            }
            Said::Lot { of, .. } => {
                let used = self.gases(run).of(of);
                if let Some(bottle) = self.bottles.iter_mut().find(|bottle| bottle.of == *of) {
                    bottle.take(used * after.flame);
                }
            }
            Said::TipCleaned { torch, .. } if *torch == self.torch => {
                self.tip_burned = self.lit(run) * after.flame;
            }
            _ => {}
        }
        Ok(())
    }

    pub(super) fn powder(&self, run: &RunUsed) -> Mass {
        run.powder.or(run.powder_planned).unwrap_or(self.powder_planned)
    }

    pub(super) fn lit(&self, run: &RunUsed) -> Time {
        run.flame_lit.unwrap_or_else(|| self.flow.burning())
    }

    /// What a run burned.
    pub(super) fn gases(&self, run: &RunUsed) -> Gases {
        let planned = self.flow.planned();
        let fuels = match run.fuel {
            None => planned.fuels,
            // One that does not tell its fuel by name burned that of the spraying torch.
            Some(fuel) if run.fuels.is_empty() => {
                self.bottles.first().map(|bottle| (bottle.of.clone(), fuel)).into_iter().collect()
            }
            Some(_) => run.fuels.clone(),
        };
        Gases { fuels, oxygen: run.oxygen.unwrap_or(planned.oxygen) }
    }

    pub(super) fn take_stock(&mut self, hopper: Option<Mass>, lit: Time, gases: &Gases) {
        self.hopper = hopper.map(|left| left.max(Mass::ZERO));
        self.tip_burned += lit;
        for bottle in &mut self.bottles {
            bottle.take(gases.of(&bottle.of));
        }
    }
}

/// What stays in the hopper: where its scale holds the job, on this rig; nothing without a scale.
pub(super) fn kept_back(rig: &Rig) -> Mass {
    let rows = in_force(rig).unwrap_or_default();
    let scale = rows.iter().find(|row| row.row.key == "hopper_empty");
    let fitted = scale.filter(|row| row.origin.words() != "not fitted");
    Mass::from_g(fitted.and_then(|row| row.set_point).unwrap_or_default())
}
