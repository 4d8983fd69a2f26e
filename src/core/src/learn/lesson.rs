//! What a plan stands on, and what it says of it.

use std::borrow::Cow;

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

/// Why what was learned is not in force.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum HeldBack {
    /// A figure changes by this share, and so much waits for the engineer.
    Change(Figure, f64),
    /// No coat has such a figure: something was measured wrong, and nobody can accept it.
    Impossible(Figure),
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
    /// Why what was learned is not in force; `None` when it is.
    pub held_back: Option<HeldBack>,
    /// What the plan stands on meanwhile, where it was learned before a figure changed too much.
    pub meanwhile: Option<Box<Knowledge>>,
    /// What stands in the records and teaches nothing, a phrase each: which, and why.
    pub left_out: Vec<String>,
}

impl Lesson {
    /// From what is known, and from what an engineer last confirmed.
    #[must_use]
    pub fn of(pair: Pair, knowledge: Knowledge, accepted: Option<Accepted>) -> Self {
        let accepted = accepted.filter(|accepted| {
            accepted.catalogue == knowledge.catalogue && accepted.figures.impossible().is_none()
        });
        let before = accepted.as_ref().map_or(knowledge.catalogue, |accepted| accepted.figures);
        let learned = if knowledge.is_learned() { knowledge.for_the_plan() } else { before };
        let held_back = match learned.impossible() {
            Some(figure) if knowledge.is_learned() => Some(HeldBack::Impossible(figure)),
            _ => largest_change(&learned, &before)
                .filter(|(_, share)| share.abs() > LARGEST_CHANGE)
                .map(|(figure, share)| HeldBack::Change(figure, share)),
        };
        let in_force = if held_back.is_some() { before } else { learned };
        let left_out = Vec::new();
        let meanwhile = None;
        Self { pair, knowledge, learned, in_force, accepted, held_back, meanwhile, left_out }
    }

    /// The same, standing meanwhile on an earlier lesson that was in force: what is held back takes
    /// nothing back that was learned before it.
    #[must_use]
    pub fn meanwhile(self, earlier: Self) -> Self {
        let in_force = earlier.in_force;
        Self { in_force, meanwhile: Some(Box::new(earlier.knowledge)), ..self }
    }

    /// What the figures in force are known by.
    fn known_by(&self) -> Cow<'_, Knowledge> {
        match (&self.held_back, &self.meanwhile) {
            (None, _) => Cow::Borrowed(&self.knowledge),
            (Some(_), Some(earlier)) => Cow::Borrowed(earlier),
            (Some(_), None) => Cow::Owned(learn(&self.pair, &self.knowledge.catalogue, &[])),
        }
    }

    /// How far off a coat of the plan may be in the middle of a zone of this diameter. What is
    /// held back narrows nothing.
    #[must_use]
    pub fn band(&self, diameter: Length, finish: Finish) -> Band {
        Band::of(&self.known_by(), diameter, finish)
    }

    /// What changed, one sentence each; empty when the plan stands on the catalogue and nothing
    /// was measured.
    #[must_use]
    pub fn sentences(&self) -> Vec<String> {
        let mut told = Vec::new();
        let catalogue = &self.knowledge.catalogue;
        match self.held_back {
            Some(HeldBack::Impossible(figure)) => told.push(self.impossible(figure)),
            Some(HeldBack::Change(figure, share)) => {
                told.push(format!(
                    "{}: held back, {} would change by {:+.1} %, and more than {:.0} % waits for \
                     the engineer: `evenpass records accept {} {} --person NAME`, with the --rig \
                     and the --catalogue of this plan",
                    self.pair,
                    figure.title(),
                    share * 100.0,
                    LARGEST_CHANGE * 100.0,
                    self.pair.torch,
                    self.pair.powder
                ));
                told.extend(self.changes(catalogue, &self.learned, "  would be: "));
            }
            None => {
                let changes = self.changes(catalogue, &self.in_force, "");
                let head = format!("{}: ", self.pair);
                told.extend(changes.into_iter().map(|change| format!("{head}{change}")));
            }
        }
        match (self.held_back, &self.meanwhile, &self.accepted) {
            (Some(_), Some(earlier), _) => told.push(format!(
                "  planned with what was learned before, {}",
                from_sources(&earlier.sources)
            )),
            (Some(_), None, Some(accepted)) => told
                .push(format!("  planned with what {} accepted on {}", accepted.by, accepted.on)),
            _ => {}
        }
        told.extend(self.unknown());
        let doubts = self.knowledge.doubts.iter();
        told.extend(doubts.map(|doubt| format!("{}: {doubt}", self.pair)));
        told.extend(self.left_out.iter().map(|words| format!("{}: {words}", self.pair)));
        told
    }

    /// That what was measured cannot be, and what to do.
    fn impossible(&self, figure: Figure) -> String {
        format!(
            "{}: nothing of it is used, {} would be {}, {}, and it can only be {}: something was \
             measured wrong; look for it with `evenpass records learned` and withdraw it",
            self.pair,
            figure.title(),
            self.learned.told(figure),
            self.sources(),
            figure.can_be()
        )
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
        from_sources(&self.knowledge.sources)
    }
}

fn from_sources(sources: &[String]) -> String {
    match sources {
        [] => "from nothing measured".to_owned(),
        all => format!("from {}", all.join(", ")),
    }
}

/// The figure that changes most, and by which share.
fn largest_change(learned: &Figures, before: &Figures) -> Option<(Figure, f64)> {
    let change = |figure: &Figure| (*figure, learned.change_from(before, *figure));
    Figure::ALL.iter().map(change).reduce(|a, b| if b.1.abs() > a.1.abs() { b } else { a })
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
        let weight = lesson.known_by().within(Figure::Footprint).powi(-2);
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
