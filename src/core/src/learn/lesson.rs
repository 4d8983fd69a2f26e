//! What a plan stands on, and what it says of it.

use serde::{Deserialize, Serialize};

use super::band::Band;
use super::basis::Finish;
use super::figures::{Figure, Figures, Pair};
use super::knowledge::{Knowledge, Known, learn};
use crate::catalogue::Catalogue;
use crate::quantity::{Length, Quantity};
use crate::recipe::Recipe;

/// A figure that changes by more than this share waits for the engineer: it is rather a mistake
/// of measuring, a worn nozzle or another powder than news (arbitrary).
pub const LARGEST_CHANGE: f64 = 0.10;
/// A change below this share is not told: a plan rounds coarser.
const TOLD: f64 = 5e-4;

/// Figures that an engineer has confirmed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Accepted {
    /// What the catalogue said then: when it says something else, this counts no more.
    pub catalogue: Figures,
    /// What was confirmed.
    pub figures: Figures,
    /// By whom.
    pub by: String,
    /// When, as it is told.
    pub on: String,
}

/// What a plan does with what is known of a torch with a powder.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lesson {
    /// The torch with the powder.
    pub pair: Pair,
    /// What is known.
    pub knowledge: Knowledge,
    /// What was learned, for a plan.
    pub learned: Figures,
    /// What the plan stands on.
    pub in_force: Figures,
    /// What was confirmed by a person and still counts.
    pub accepted: Option<Accepted>,
    /// The figure that changes too much to be used unconfirmed, and by which share.
    pub held_back: Option<(Figure, f64)>,
}

impl Lesson {
    /// From what is known, and from what an engineer last confirmed.
    #[must_use]
    pub fn of(pair: Pair, knowledge: Knowledge, accepted: Option<Accepted>) -> Self {
        let accepted = accepted.filter(|accepted| accepted.catalogue == knowledge.catalogue);
        let before = accepted.as_ref().map_or(knowledge.catalogue, |accepted| accepted.figures);
        let learned = if knowledge.is_learned() { knowledge.for_the_plan() } else { before };
        let change = |figure: &Figure| (*figure, learned.change_from(&before, *figure));
        let largest =
            Figure::ALL.iter().map(change).reduce(|a, b| if b.1.abs() > a.1.abs() { b } else { a });
        let held_back =
            largest.filter(|(_, share)| share.abs() > LARGEST_CHANGE || !learned.are_possible());
        let in_force = if held_back.is_some() { before } else { learned };
        Self { pair, knowledge, learned, in_force, accepted, held_back }
    }

    /// How far off a coat of the plan may be in the middle of a zone of this diameter. What is
    /// held back narrows nothing.
    #[must_use]
    pub fn band(&self, diameter: Length, finish: Finish) -> Band {
        if self.held_back.is_some() {
            let unlearned = learn(&self.pair, &self.knowledge.catalogue, &[]);
            return Band::of(&unlearned, diameter, finish);
        }
        Band::of(&self.knowledge, diameter, finish)
    }

    /// What changed, one sentence each; empty when the plan stands on the catalogue and nothing
    /// was measured.
    #[must_use]
    pub fn sentences(&self) -> Vec<String> {
        let mut told = Vec::new();
        let catalogue = &self.knowledge.catalogue;
        if let Some((figure, share)) = self.held_back {
            told.push(format!(
                "{}: held back, {} would change by {:+.1} %, and more than {:.0} % waits for the \
                 engineer: `evenpass records accept {} {} --person NAME`, with the --rig and the \
                 --catalogue of this plan",
                self.pair,
                figure.title(),
                share * 100.0,
                LARGEST_CHANGE * 100.0,
                self.pair.torch,
                self.pair.powder
            ));
            told.extend(self.changes(catalogue, &self.learned, "  would be: "));
            if let Some(accepted) = &self.accepted {
                told.push(format!(
                    "  planned with what {} accepted on {}",
                    accepted.by, accepted.on
                ));
            }
        } else {
            let changes = self.changes(catalogue, &self.in_force, "");
            let head = format!("{}: ", self.pair);
            told.extend(changes.into_iter().map(|change| format!("{head}{change}")));
        }
        told.extend(self.unknown());
        let doubts = self.knowledge.doubts.iter();
        told.extend(doubts.map(|doubt| format!("{}: {doubt}", self.pair)));
        told
    }

    fn changes(&self, from: &Figures, to: &Figures, head: &str) -> Vec<String> {
        let changed = |figure: &&Figure| to.change_from(from, **figure).abs() > TOLD;
        Figure::ALL
            .iter()
            .filter(changed)
            .map(|figure| format!("{head}{}", self.change(*figure, from, to)))
            .collect()
    }

    fn change(&self, figure: Figure, from: &Figures, to: &Figures) -> String {
        let within = self.knowledge.within(figure);
        let sources = self.sources();
        let title = figure.title();
        match figure {
            Figure::Efficiency if self.knowledge.weighed == Known::No => {
                let finish = self.knowledge.finish.unwrap_or(Finish::AsSprayed);
                format!(
                    "build factor (efficiency x rate / density) x {:.4} ± {:.1} %, {sources}; \
                     taken up by the efficiency, {:.1} % → {:.1} %",
                    self.knowledge.build_factor(finish),
                    self.knowledge.build_factor_within(finish) * 100.0,
                    from.efficiency.percent(),
                    to.efficiency.percent()
                )
            }
            Figure::Efficiency => {
                let efficiency = to.efficiency.percent();
                let within = if self.knowledge.powder_weighed == Known::Yes {
                    within
                } else {
                    self.knowledge.within_of([1.0, 1.0, 0.0, 0.0, 0.0])
                };
                format!(
                    "{title} {:.1} % → {efficiency:.1} % ± {:.1} %, {sources}",
                    from.efficiency.percent(),
                    efficiency * within
                )
            }
            Figure::PowderRate => format!(
                "{title}: the feeder gives {:.1} % ± {:.1} % of what is set, {sources}",
                to.powder_rate.percent(),
                to.powder_rate.percent() * within
            ),
            Figure::Footprint => format!(
                "{title} {:.2} → {:.2} mm ± {:.2} mm, {sources}",
                from.footprint.mm(),
                to.footprint.mm(),
                to.footprint.mm() * within
            ),
            Figure::DensityAsSprayed | Figure::DensityFused => format!(
                "{title} {:.2} → {:.2} g/cm3 ± {:.2} g/cm3, {sources}",
                from.value(figure),
                to.value(figure),
                to.value(figure) * within
            ),
        }
    }

    /// What the measurements leave open.
    fn unknown(&self) -> Option<String> {
        let knowledge = &self.knowledge;
        let words = match (knowledge.coat_measured, knowledge.weighed, knowledge.powder_weighed) {
            (Known::Yes, Known::No, Known::Yes) => {
                "no part was weighed: only the build factor is known, how much of it is efficiency \
                 and how much density is not"
            }
            (Known::Yes, Known::No, Known::No) => {
                "no part was weighed: only the build factor is known, how much of it is \
                 efficiency, powder rate and density is not"
            }
            (Known::Yes, Known::Yes, Known::No) => {
                "the powder was not weighed: the efficiency is that of the powder set, not of the \
                 powder fed"
            }
            (Known::No, _, _) | (Known::Yes, Known::Yes, Known::Yes) => return None,
        };
        Some(format!("{}: {words}", self.pair))
    }

    fn sources(&self) -> String {
        match self.knowledge.sources.as_slice() {
            [] => "from nothing measured".to_owned(),
            [only] => format!("from {only}"),
            all => format!("from {}", all.join(", ")),
        }
    }
}

/// Puts what the lessons have in force into a recipe and a catalogue, before a plan is made of
/// them. A torch that sprays several powders gets the footprint that its pairs agree on, each
/// counted by how well it is known.
pub fn apply(lessons: &[Lesson], recipe: &mut Recipe, catalogue: &mut Catalogue) {
    let (mut sum, mut weights) = (0.0, 0.0);
    for lesson in lessons {
        let figures = &lesson.in_force;
        if let Some(powder) =
            catalogue.powders.iter_mut().find(|powder| powder.key == lesson.pair.powder)
        {
            powder.efficiency = figures.efficiency;
            powder.density_as_sprayed = figures.density_as_sprayed;
            powder.density_fused = figures.density_fused;
        }
        let fed = recipe.zones.iter_mut().filter(|zone| zone.powder == lesson.pair.powder);
        for zone in fed {
            zone.powder_rate = zone.powder_rate * figures.powder_rate.ratio();
        }
        let weight = lesson.knowledge.within(Figure::Footprint).powi(-2);
        sum += weight * figures.footprint.mm().ln();
        weights += weight;
    }
    let torch = &recipe.spray.torch;
    if weights > 0.0
        && let Some(torch) = catalogue.torches.iter_mut().find(|known| known.key == *torch)
    {
        // A lone pair keeps its figure to the last digit.
        torch.plume = match lessons {
            [only] => only.in_force.footprint,
            _ => Length::from_base((sum / weights).exp()),
        };
    }
}
