//! What a measured part is held against: where its powder was released.

use serde::{Deserialize, Serialize};

use crate::catalogue::{Catalogue, Torch};
use crate::coat::index_of;
use crate::model::{Command, Feeding, Flow, Switching};
use crate::plan::LegMotion;
use crate::plan::powder::Timeline;
use crate::program::{Program, SprayStep, Step};
use crate::quantity::{Acceleration, Length, MassFlow};
use crate::recipe::{Part, Recipe};

/// Places at which releases are kept are this far apart. Powder is split between the two
/// nearest, which adds 0.1 % to the variance of a plume of 6 mm.
const SPACING: Length = Length::from_mm(0.5);
/// Pieces a pass is cut into, mm: half of the spacing.
const PIECE: f64 = 0.25;

/// What a coat was when it was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Finish {
    /// With its pores.
    AsSprayed,
    /// After fusing.
    Fused,
}

/// Where the powder of one zone was released.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ZoneBasis {
    /// Its name.
    pub zone: String,
    /// Chuck-side edge.
    pub from: Length,
    /// Tail-side edge.
    pub to: Length,
    /// The powder, by its key in the catalogue.
    pub powder: String,
    /// Powder set at the feeder, as the recipe says.
    pub set: MassFlow,
    /// The first place of `full_flow_s`.
    pub first: Length,
    /// Distance from one place to the next.
    pub spacing: Length,
    /// Seconds of full flow that arrived with the carriage at each place.
    pub full_flow_s: Vec<f64>,
}

impl ZoneBasis {
    /// Powder that the setting stands for, kg: all that left the nozzle, and so all that left the
    /// hopper. The time that the coil is on is another: off takes longer to arrive than on.
    #[must_use]
    pub fn set_mass(&self) -> f64 {
        self.rate() * self.full_flow_s.iter().sum::<f64>()
    }

    /// What was set, kg/s.
    pub(super) fn rate(&self) -> f64 {
        self.set.g_per_min() * 1e-3 / 60.0
    }
}

/// Where the powder of a job was released, as planned; a run that completed did just that. Where
/// people changed passes of a zone while it ran, [`RunBasis::times`] says what they came to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RunBasis {
    /// The part before coating.
    pub part: Part,
    /// The spraying torch, by its key in the catalogue.
    pub torch: String,
    /// Nozzle to surface.
    pub standoff: Length,
    /// What the job leaves.
    pub finish: Finish,
    /// The zones, in the order they were sprayed.
    pub zones: Vec<ZoneBasis>,
}

impl RunBasis {
    /// Of a planned job; the recipe and the catalogue as they were written, before anything
    /// learned was put in. `None` when they do not belong to the program.
    #[must_use]
    pub fn of(recipe: &Recipe, catalogue: &Catalogue, program: &Program) -> Option<Self> {
        let torch = catalogue.torch(&recipe.spray.torch)?;
        let sprayed = program.steps.iter().filter_map(|step| match step {
            Step::Spray(spray) => Some(spray),
            Step::Preheat(_) | Step::ChangeTorch(_) | Step::Fuse(_) | Step::Cool(_) => None,
        });
        let zones = sprayed.map(|step| zone_basis(recipe, torch, step, program.ramp));
        Some(Self {
            part: recipe.part.clone(),
            torch: torch.key.clone(),
            standoff: recipe.spray.standoff,
            finish: if recipe.fuse.is_some() { Finish::Fused } else { Finish::AsSprayed },
            zones: zones.collect::<Option<_>>()?,
        })
    }

    /// With so many times the powder in one zone, as its passes were changed: of another feed, or more
    /// of them. Each pass leaves its share of the whole; a pass that turns elsewhere for its feed, and
    /// powder that stays on at a turn, are not told apart.
    #[must_use]
    pub fn times(mut self, zone: &str, share: f64) -> Self {
        for of_zone in self.zones.iter_mut().filter(|of_zone| of_zone.zone == zone) {
            of_zone.full_flow_s.iter_mut().for_each(|seconds| *seconds *= share);
        }
        self
    }

    /// The zone that a place lies in, edges included.
    #[must_use]
    pub fn zone_at(&self, at: Length) -> Option<&ZoneBasis> {
        self.zones.iter().find(|zone| zone.from <= at && at <= zone.to)
    }

    /// Powder that the settings stand for, all zones together, kg.
    #[must_use]
    pub fn set_mass(&self) -> f64 {
        self.zones.iter().map(ZoneBasis::set_mass).sum()
    }

    /// The powders, each once.
    #[must_use]
    pub fn powders(&self) -> Vec<&str> {
        let mut all: Vec<&str> = self.zones.iter().map(|zone| zone.powder.as_str()).collect();
        all.sort_unstable();
        all.dedup();
        all
    }
}

fn zone_basis(
    recipe: &Recipe,
    torch: &Torch,
    step: &SprayStep,
    ramp: Acceleration,
) -> Option<ZoneBasis> {
    let zone = recipe.zones.iter().find(|zone| zone.name == step.zone)?;
    let line = Timeline::of(step, ramp);
    let flow = arriving(&line, torch);
    let releases = released(step, ramp, &line, &flow);
    Some(ZoneBasis {
        zone: zone.name.clone(),
        from: zone.from,
        to: zone.to,
        powder: zone.powder.clone(),
        set: zone.powder_rate,
        first: releases.first,
        spacing: SPACING,
        full_flow_s: releases.seconds,
    })
}

/// The flow on the part over the step's time, 1 at full: the coil's edges late by the torch's
/// delays, each with its exponential.
fn arriving(line: &Timeline, torch: &Torch) -> Flow {
    let mut spells: Vec<(f64, f64)> = Vec::new();
    for coil in &line.coil {
        let on = (coil.on + torch.powder_delay_on).s();
        let off = (coil.off + torch.powder_delay_off).s();
        match spells.last_mut() {
            // What the hose still gives meets what comes next.
            Some(last) if on <= last.1 => last.1 = last.1.max(off),
            _ => spells.push((on, off)),
        }
    }
    let commands: Vec<Command> = spells
        .into_iter()
        .flat_map(|(on, off)| [Command { at: on, on: true }, Command { at: off, on: false }])
        .collect();
    let feeding = Feeding {
        rate: 1.0,
        delay: 0.0,
        rise: torch.powder_rise.s(),
        fall: torch.powder_rise.s(),
        switching: Switching::PerPass,
        edges: (0.0, 0.0),
        leads: (0.0, 0.0),
        poll: 0.0,
    };
    feeding.flow(&commands)
}

/// Seconds of full flow by place.
struct Releases {
    first: Length,
    seconds: Vec<f64>,
}

impl Releases {
    fn over(step: &SprayStep) -> Self {
        let ends = || step.passes.iter().flat_map(|pass| [pass.from, pass.to]);
        let low = ends().reduce(Length::min).unwrap_or(Length::ZERO);
        let high = ends().reduce(Length::max).unwrap_or(Length::ZERO);
        let (mut seconds, mut place) = (vec![0.0; 2], low);
        while place < high {
            seconds.push(0.0);
            place += SPACING;
        }
        Self { first: low, seconds }
    }

    /// Splits what arrived at a place between the two nearest that are kept.
    fn put(&mut self, at: Length, seconds: f64) {
        let place = ((at - self.first) / SPACING).max(0.0);
        let Some(before) = index_of(place, self.seconds.len()) else { return };
        let upper = place.fract();
        for (index, share) in [(before, 1.0 - upper), (before + 1, upper)] {
            if let Some(kept) = self.seconds.get_mut(index) {
                *kept += seconds * share;
            }
        }
    }
}

fn released(step: &SprayStep, ramp: Acceleration, line: &Timeline, flow: &Flow) -> Releases {
    let mut releases = Releases::over(step);
    let mut until = 0.0;
    for (pass, (begins, ends)) in step.passes.iter().zip(&line.passes) {
        let motion = LegMotion::new(pass, ramp);
        // At rest before the pass.
        releases.put(pass.from, flow.fed(begins.s()) - flow.fed(until));
        let way = pass.to - pass.from;
        let pieces = (way.abs().mm() / PIECE).ceil().max(1.0);
        let when = |place: f64| (*begins + motion.time_at(pass.from + way * place)).s();
        let mut done = 0.0;
        while done < pieces {
            let (from, to) = (done / pieces, (done + 1.0) / pieces);
            let fed = flow.fed(when(to)) - flow.fed(when(from));
            releases.put(pass.from + way * f64::midpoint(from, to), fed);
            done += 1.0;
        }
        until = ends.s();
    }
    if let Some(last) = step.passes.last() {
        releases.put(last.to, flow.total() - flow.fed(until));
    }
    releases
}
