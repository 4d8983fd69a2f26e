//! The plan of what is left of an interrupted job: the pass in hand from where its powder ceased, the
//! passes after it made even with what lies on the part, later zones, fusing and cooling.

use core::fmt;

use serde::Serialize;

use super::course::{farther, nearer, sign};
use super::even::Wanted;
use super::interruption::{Interruption, PassInHand};
use crate::catalogue::Catalogue;
use crate::coat::{Coat, CoatBasis};
use crate::image::Level;
use crate::plan::left::{Left, plan_left};
use crate::plan::powder::Timeline;
use crate::plan::{Plan, PlanProblems};
use crate::program::{Parts, Pass, PowderWindow, Program, SprayStep, Step};
use crate::quantity::{Length, Mass};
use crate::recipe::Recipe;
use crate::rig::Rig;

/// How far before the earliest place the torch sets out, in standard deviations of the plume.
const RUN_UP_IN_PLUMES: f64 = 2.0;

/// Why a job cannot go on.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Refusal {
    /// Nothing of it is left.
    Done,
    /// What a person changed in it cannot be followed.
    Unclear(String),
    /// More was done than its journal tells.
    Unseen(String),
    /// The coat would be thicker than its powder bears.
    TooThick {
        /// The zone.
        zone: String,
        /// What it would come to, as sprayed.
        coat: Length,
        /// What the powder bears.
        bears: Length,
    },
    /// The rest cannot be planned.
    Plan(PlanProblems),
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Done => f.write_str("nothing of the job is left; end it"),
            Self::Unclear(why) => write!(
                f,
                "{why}: what the coat was to become is not known; measure it, and end the job or \
                 strip the part"
            ),
            Self::Unseen(why) => write!(
                f,
                "{why}: what lies on the part is known to nobody; measure it, end the job here or \
                 strip it"
            ),
            Self::TooThick { zone, coat, bears } => write!(
                f,
                "the coat of {zone} would come to {coat:.3} as sprayed, its powder bears {bears:.3}: \
                 measure it, and end the job or strip the part"
            ),
            Self::Plan(problems) => problems.fmt(f),
        }
    }
}

impl core::error::Error for Refusal {}

/// Plans the rest of an interrupted job. Recipe, rig and catalogue are those that the job was planned
/// from, `plan` is that plan, before people changed anything in it.
///
/// # Errors
/// [`Refusal`]: why it cannot go on, and what to do.
pub fn go_on(
    recipe: &Recipe,
    rig: &Rig,
    catalogue: &Catalogue,
    plan: &Plan,
    found: &Interruption,
) -> Result<Plan, Refusal> {
    if let Some(why) = &found.unclear {
        return Err(Refusal::Unclear(why.clone()));
    }
    let whole = whole_coat(plan, &found.program);
    let (program, origin) = program_left(plan, found, &whole).ok_or(Refusal::Done)?;
    let basis = basis_left(plan, found, &program, &origin);
    for step in program.steps.iter().filter_map(sprayed) {
        let middle = (step.edges.low + step.edges.high) / 2.0;
        let coat = whole.thickness_at(middle).max(found.coat.thickness_at(middle));
        let bears = step.bounds.thickest;
        if coat > bears {
            return Err(Refusal::TooThick { zone: step.zone.clone(), coat, bears });
        }
    }
    let seams = found.hand.iter().filter_map(|hand| seam(hand, found, &whole, plan)).collect();
    plan_left(recipe, rig, catalogue, Left { program, coat: basis, notes: seams })
        .map_err(Refusal::Plan)
}

fn sprayed(step: &Step) -> Option<&SprayStep> {
    match step {
        Step::Spray(step) => Some(step),
        _ => None,
    }
}

/// What the whole job was to leave, people's changes included.
fn whole_coat(plan: &Plan, program: &Program) -> Coat {
    let mut coat = Coat::new(&plan.coat);
    for (index, step) in program.steps.iter().enumerate() {
        if let Step::Spray(step) = step {
            coat.select(index);
            crate::plan::forecast::drive(step, program, &mut coat);
        }
    }
    coat
}

/// The steps that are left, and of each which one of the old program it was.
fn program_left(plan: &Plan, found: &Interruption, whole: &Coat) -> Option<(Program, Vec<usize>)> {
    let old = &found.program;
    let mut left: Vec<(usize, Step)> = Vec::new();
    let mut so_far = Coat::new(&CoatBasis { lies: found.coat.lying(), ..plan.coat.clone() });
    for (index, step) in old.steps.iter().enumerate() {
        if let Step::Spray(step) = step
            && found.hand.as_ref().is_some_and(|hand| index > hand.step)
        {
            so_far.select(index);
            crate::plan::forecast::drive(step, old, &mut so_far);
        }
    }
    let fused =
        |index: usize| found.fused.iter().any(|fused| fused.step == index && fused.is_done());
    for (index, step) in old.steps.iter().enumerate() {
        match step {
            Step::Spray(step) => match &found.hand {
                Some(hand) if hand.step == index => {
                    let step = step_left(step, hand, old, plan, (whole, &so_far), index);
                    left.push((index, Step::Spray(step)));
                }
                Some(hand) if hand.step < index => left.push((index, Step::Spray(step.clone()))),
                _ => {}
            },
            Step::Fuse(_) if fused(index) => {}
            Step::Preheat(_) => {}
            Step::ChangeTorch(_) if found.torch_changed.is_on() && found.hand.is_none() => {}
            step => left.push((index, step.clone())),
        }
    }
    let is_fused = left.iter().any(|(_, step)| matches!(step, Step::Fuse(_)));
    if !is_fused {
        left.retain(|(_, step)| !matches!(step, Step::ChangeTorch(_)));
    }
    preheat(old, &mut left, found.torch_changed);
    if left.is_empty() {
        return None;
    }
    let (origin, steps): (Vec<usize>, Vec<Step>) = left.into_iter().unzip();
    let parts = Parts::TheOneInTheChuck;
    Some((with_torches(Program { steps, parts, ..old.clone() }), origin))
}

/// The part is cold, or cools: it is warmed as planned, by the torch that is in.
fn preheat(old: &Program, left: &mut Vec<(usize, Step)>, torch_changed: Level) {
    let first = left.iter().find_map(|(_, step)| match step {
        Step::Spray(step) => Some((step.torch, step.spindle)),
        Step::Fuse(step) => Some((step.torch, step.spindle)),
        _ => None,
    });
    let warmed = old.steps.iter().enumerate().find_map(|(index, step)| match step {
        Step::Preheat(step) => Some((index, step)),
        _ => None,
    });
    let (Some((torch, spindle)), Some((index, warmed))) = (first, warmed) else { return };
    let sprays = left.iter().any(|(_, step)| matches!(step, Step::Spray(_)));
    let torch = if sprays || !torch_changed.is_on() { warmed.torch } else { torch };
    let mut warmed = warmed.clone();
    (warmed.torch, warmed.spindle) = (torch, spindle);
    left.insert(0, (index, Step::Preheat(warmed)));
}

/// Only the torches that are still used, in their order.
fn with_torches(mut program: Program) -> Program {
    let used = |step: &Step| match step {
        Step::Preheat(step) => Some(step.torch),
        Step::Spray(step) => Some(step.torch),
        Step::Fuse(step) => Some(step.torch),
        Step::ChangeTorch(torch) => Some(*torch),
        Step::Cool(_) => None,
    };
    let mut order: Vec<usize> = Vec::new();
    for torch in program.steps.iter().filter_map(used) {
        if !order.contains(&torch) {
            order.push(torch);
        }
    }
    if order.is_empty() {
        return program;
    }
    let place = |torch: &mut usize| {
        *torch = order.iter().position(|known| known == torch).unwrap_or(0);
    };
    for step in &mut program.steps {
        match step {
            Step::Preheat(step) => place(&mut step.torch),
            Step::Spray(step) => place(&mut step.torch),
            Step::Fuse(step) => place(&mut step.torch),
            Step::ChangeTorch(torch) => place(torch),
            Step::Cool(_) => {}
        }
    }
    program.torches =
        order.iter().filter_map(|torch| program.torches.get(*torch).cloned()).collect();
    program
}

/// What is left of the zone in hand.
fn step_left(
    step: &SprayStep,
    hand: &PassInHand,
    program: &Program,
    plan: &Plan,
    (whole, so_far): (&Coat, &Coat),
    index: usize,
) -> SprayStep {
    let mut passes: Vec<Pass> =
        step.passes.iter().skip(hand.pass.saturating_sub(1)).cloned().collect();
    if let (Some(first), Some(layer)) =
        (passes.first_mut(), plan.coat.layers.iter().find(|layer| layer.step == index))
    {
        *first = from_where_it_ceased(first, hand, layer.plume);
        first.from = first.starts_anew_at(step.lead_on, program.ramp, step.bounds.travel);
        let wanted = Wanted { step, layer, whole, so_far, ramp: program.ramp };
        passes = wanted.corrected(&passes);
    }
    let touch_ups = step.touch_ups.min(passes.len());
    let mut left = SprayStep { passes, touch_ups, ..step.clone() };
    let arriving = Timeline::of(&left, program.ramp).arriving;
    left.powder = Mass::from_g(step.powder_rate.g_per_min() * arriving.s() / 60.0);
    // Counted by whole passes and what lies there, it comes to what the zone was to have.
    let planned = crate::plan::change::planned_coat_of(step);
    let own =
        crate::plan::change::planned_coat_of(&SprayStep { lies: Length::ZERO, ..left.clone() });
    left.lies = crate::coat::deposit::build_of(
        step.bounds.diameter,
        (crate::coat::deposit::area_of(step.bounds.diameter, planned)
            - crate::coat::deposit::area_of(step.bounds.diameter, own))
        .max(0.0),
    );
    left
}

/// The pass in hand without what it has sprayed already.
fn from_where_it_ceased(pass: &Pass, hand: &PassInHand, plume: Length) -> Pass {
    let first = pass.powder.first().map_or(pass.from, |window| window.on);
    let begun = ((hand.ceased - first) * sign(pass)).mm() > 0.0;
    if !begun {
        return pass.clone();
    }
    let powder = pass
        .powder
        .iter()
        .filter(|window| ((window.off - hand.ceased) * sign(pass)).mm() > 0.0)
        .map(|window| PowderWindow { on: farther(pass, window.on, hand.ceased), off: window.off })
        .collect();
    let out = plume * (RUN_UP_IN_PLUMES * sign(pass));
    let earliest = nearer(pass, hand.earliest, hand.ceased);
    Pass { from: farther(pass, pass.from, earliest - out), powder, ..pass.clone() }
}

/// What the running estimate begins with: all that lies there, and the steps at their new places.
fn basis_left(plan: &Plan, found: &Interruption, program: &Program, origin: &[usize]) -> CoatBasis {
    let layers = program
        .steps
        .iter()
        .enumerate()
        .zip(origin)
        .filter_map(|((index, step), origin)| {
            let step = sprayed(step)?;
            let mut layer = plan.coat.layers.iter().find(|layer| layer.step == *origin)?.clone();
            let ends = || step.passes.iter().flat_map(|pass| [pass.from, pass.to]);
            layer.step = index;
            layer.travel.low = ends().fold(layer.travel.low, Length::min);
            layer.travel.high = ends().fold(layer.travel.high, Length::max);
            Some(layer)
        })
        .collect();
    CoatBasis { part: plan.coat.part.clone(), layers, lies: found.coat.lying() }
}

/// What the seam may be off by, where that is worth a look: a lump or a lack.
fn seam(
    hand: &PassInHand,
    found: &Interruption,
    whole: &Coat,
    plan: &Plan,
) -> Option<(String, String)> {
    let layer = plan.coat.layers.iter().find(|layer| layer.step == hand.step)?;
    let step = found.program.steps.get(hand.step).and_then(sprayed)?;
    let off = (hand.latest - hand.ceased).abs().max((hand.ceased - hand.earliest).abs());
    let share = (off / layer.plume / (2.0 * core::f64::consts::PI).sqrt()).min(1.0);
    let coat = whole.thickness_at(hand.ceased);
    let percent = 100.0 * share * (step.thickness_per_pass / coat);
    (percent.is_finite() && percent > 1.0 && coat > Length::ZERO).then(|| {
        (
            format!("zone \"{}\"", hand.zone),
            format!(
                "where powder ceased, at {:.1}, is known to {off:.1}: the coat there may be off by \
                 {percent:.0} % at worst; measure it there",
                hand.ceased
            ),
        )
    })
}
