//! What is needed before the next part, in words.

use std::fmt;

use evenpass_core::batch::{
    Blasting, Expected, Queued, Reach, Stock, Tip, WhyMeasured, blasting, expected, reach, tip,
    why_measured,
};
use evenpass_core::quantity::{Mass, Time, Volume};
use jiff::Timestamp;
use serde::Serialize;

use super::standing::Standing;

/// Whether something must be done first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Weight {
    /// The part may be made all the same.
    Told,
    /// The part is not begun before.
    Stops,
    /// The part is not begun before, unless an engineer says so with a reason.
    StopsUnlessOverridden,
}

/// Something that is needed before the next part.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case", tag = "need")]
pub enum Need {
    /// A part of the batch is being made.
    PartIsMade {
        /// Which.
        number: u32,
    },
    /// Nobody has said what is in the hopper.
    HopperNotTold,
    /// The powder does not reach.
    Powder {
        /// What the hopper holds.
        holds: Mass,
        /// What must stay in it.
        kept_back: Mass,
        /// What the part is expected to take.
        per_part: Mass,
    },
    /// The gas does not reach.
    Gas {
        /// Its key.
        of: String,
        /// What it is.
        title: String,
        /// What the bottles hold.
        holds: Volume,
        /// What the part is expected to take.
        per_part: Volume,
    },
    /// The part's surface is old, or soon will be.
    Blast {
        /// How it stands.
        surface: Blasting,
    },
    /// The torch's tip is to be cleaned.
    CleanTip {
        /// How it stands.
        tip: Tip,
    },
    /// The torch's tip is as clean as it can be, and does not last for the part.
    PartOutlastsTip {
        /// How it stands.
        tip: Tip,
    },
    /// Parts that were to be measured are not.
    Measure {
        /// Which.
        parts: Vec<u32>,
    },
}

impl Need {
    /// Whether it must be done first.
    #[must_use]
    pub const fn weight(&self) -> Weight {
        match self {
            Self::PartIsMade { .. }
            | Self::HopperNotTold
            | Self::Powder { .. }
            | Self::Gas { .. } => Weight::Stops,
            Self::Blast {
                surface: Blasting::TooOld { .. } | Blasting::NotTold | Blasting::NotKnown,
            } => Weight::StopsUnlessOverridden,
            Self::Blast { .. }
            | Self::CleanTip { .. }
            | Self::PartOutlastsTip { .. }
            | Self::Measure { .. } => Weight::Told,
        }
    }

    /// The verb by which it is told as done, after `evenpass batch`; `None` where there is none.
    #[must_use]
    pub fn verb(&self, batch: &str, number: u32) -> Option<String> {
        Some(match self {
            Self::PartIsMade { .. }
            | Self::PartOutlastsTip { .. }
            | Self::Measure { .. }
            | Self::Blast { surface: Blasting::Aging { .. } | Blasting::Fresh { .. } } => {
                return None;
            }
            Self::HopperNotTold | Self::Powder { .. } => {
                format!("refilled {batch} --holds \"2000 g\" --person NAME")
            }
            Self::Gas { of, .. } => {
                format!("lot {batch} {of} LOT --contents \"6000 L\" --person NAME")
            }
            Self::Blast { .. } => format!("blasted {batch} --parts {number} --person NAME"),
            Self::CleanTip { .. } => format!("tip-cleaned {batch} --person NAME"),
        })
    }
}

impl fmt::Display for Need {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::PartIsMade { number } => {
                write!(f, "part {number} is being made: wait for its end")
            }
            Self::HopperNotTold => {
                write!(f, "nobody has said what is in the hopper: look, and say so")
            }
            Self::Powder { holds, kept_back, per_part } => {
                write!(f, "refill the hopper: it holds {holds:.1}, the part takes {per_part:.1}")?;
                if *kept_back > Mass::ZERO {
                    write!(f, " and {kept_back:.0} must stay in it")?;
                }
                Ok(())
            }
            Self::Gas { title, holds, per_part, .. } => write!(
                f,
                "change the bottle of {title}: it holds {holds:.0}, the part takes {per_part:.0}"
            ),
            Self::Blast { surface } => match surface {
                Blasting::NotTold => write!(
                    f,
                    "blast the part: nobody has said when it was, since it was last in the flame"
                ),
                Blasting::NotKnown => write!(
                    f,
                    "blast the part: nobody knows how long ago it was, the clocks contradict each \
                     other"
                ),
                Blasting::TooOld { since } => {
                    write!(f, "blast the part again: it was blasted {} ago", minutes(*since))
                }
                Blasting::Aging { since, left } => write!(
                    f,
                    "begin soon: the part was blasted {} ago, in {} it is blasted again",
                    minutes(*since),
                    minutes(*left)
                ),
                Blasting::Fresh { since } => {
                    write!(f, "the part was blasted {} ago", minutes(*since))
                }
            },
            Self::PartOutlastsTip { tip } => write!(
                f,
                "one part alone burns {}, longer than the {} that the order says: the torch's tip is \
                 cleaned before each part",
                minutes(tip.in_part),
                minutes(tip.every)
            ),
            Self::CleanTip { tip } => write!(
                f,
                "clean the torch's tip: its flame has burned {} since, the order says every {}",
                minutes(tip.burned),
                minutes(tip.every)
            ),
            Self::Measure { parts } => {
                let numbers: Vec<String> = parts.iter().map(u32::to_string).collect();
                let parts = if parts.len() == 1 { "part" } else { "parts" };
                write!(f, "measure {parts} {}: nobody has yet", numbers.join(", "))
            }
        }
    }
}

/// Whole minutes.
#[must_use]
pub fn minutes(time: Time) -> String {
    format!("{:.0} min", time.s() / 60.0)
}

/// How far something reaches.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Ahead<Q> {
    /// What there is; `None` where nobody has said.
    pub holds: Option<Q>,
    /// What a part is expected to take.
    pub expected: Expected<Q>,
    /// How far it reaches; `None` where nobody has said what there is.
    pub reach: Option<Reach>,
}

/// The next part with what it needs first.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Before {
    /// Which part.
    pub part: Queued,
    /// Parts ordered.
    pub of: u32,
    /// Its serial.
    pub serial: String,
    /// Why it is to be measured; `None` when it is not.
    pub measured: Option<WhyMeasured>,
    /// The powder.
    pub powder: Ahead<Mass>,
    /// Whether a clock went back since the hopper was filled.
    pub clocks_contradict: bool,
    /// The gases, by what they are.
    pub gases: Vec<(String, Ahead<Volume>)>,
    /// What is needed, what stops the part first.
    pub needs: Vec<Need>,
}

impl Before {
    /// The next part of an order as it stands; `None` when there is none to be made.
    #[must_use]
    pub fn next(standing: &Standing, now: Timestamp) -> Option<Self> {
        let tally = standing.tally();
        let part = tally.next()?;
        let number = part.number;
        let powder_expected = expected(standing.powder_planned, &standing.powder_taken);
        let powder = Ahead {
            holds: standing.hopper,
            expected: powder_expected,
            reach: standing.hopper.map(|holds| {
                let stock = Stock { holds, kept_back: standing.kept_back };
                reach(stock, powder_expected.per_part, &tally.queue)
            }),
        };
        let mut needs: Vec<Need> =
            tally.running.map(|number| Need::PartIsMade { number }).into_iter().collect();
        needs.extend(powder_need(&powder, standing.kept_back));
        let mut gases = Vec::new();
        for bottle in &standing.bottles {
            let expected = expected(bottle.planned, &bottle.taken);
            let reach = bottle.holds.map(|holds| {
                reach(Stock { holds, kept_back: Volume::ZERO }, expected.per_part, &tally.queue)
            });
            // Nobody has to count gas: where no contents were told, none are looked after.
            if let (Some(holds), Some(0)) = (bottle.holds, reach.map(|reach| reach.whole_parts)) {
                needs.push(Need::Gas {
                    of: bottle.of.clone(),
                    title: bottle.title.clone(),
                    holds,
                    per_part: expected.per_part,
                });
            }
            gases.push((bottle.title.clone(), Ahead { holds: bottle.holds, expected, reach }));
        }
        let surface = blasting(standing.since_blasted(number, now), standing.blast_limits);
        if !matches!(surface, Blasting::Fresh { .. }) {
            needs.push(Need::Blast { surface });
        }
        let tip = standing
            .tip_every
            .map(|every| tip(standing.tip_burned, every, standing.flame_of_part()))
            .filter(|tip| tip.is_due);
        needs.extend(tip.map(tip_need));
        let unmeasured = standing.unmeasured();
        if !unmeasured.is_empty() {
            needs.push(Need::Measure { parts: unmeasured });
        }
        needs.sort_by_key(|need| need.weight() == Weight::Told);
        let place = usize::try_from(number).ok().and_then(|number| number.checked_sub(1));
        let serial = place.and_then(|place| standing.serials.get(place)).cloned();
        Some(Self {
            part,
            of: tally.of,
            serial: serial.unwrap_or_default(),
            measured: why_measured(&standing.order, number, standing.powder_lot),
            powder,
            clocks_contradict: standing.clocks_contradict,
            gases,
            needs,
        })
    }

    /// What stops the part; with `overridden` the surface does not.
    pub fn stopped_by(&self, surface: Surface) -> impl Iterator<Item = &Need> {
        self.needs.iter().filter(move |need| match need.weight() {
            Weight::Told => false,
            Weight::Stops => true,
            Weight::StopsUnlessOverridden => surface == Surface::AsTheOrderWants,
        })
    }

    /// What a part takes and how far what there is reaches, by name and in words.
    #[must_use]
    pub fn stocks(&self) -> Vec<(String, String)> {
        let powder = &self.powder;
        let taken = powder
            .expected
            .taken
            .map_or_else(String::new, |taken| format!(", the last parts took {taken:.1}"));
        let hopper = match (powder.holds, powder.reach) {
            (Some(holds), Some(reach)) => format!("{holds:.1}, {}", reaches(reach, "refill")),
            _ => "nobody has said what is in it".to_owned(),
        };
        let mut rows = vec![
            (
                "powder for a part".to_owned(),
                format!("planned {:.1}{taken}", powder.expected.planned),
            ),
            ("hopper".to_owned(), hopper),
        ];
        rows.extend(self.gases.iter().map(|(title, gas)| {
            let per_part = gas.expected.per_part;
            let words = match (gas.holds, gas.reach) {
                (Some(holds), Some(reach)) => format!(
                    "{per_part:.1} a part, {holds:.0} left, {}",
                    reaches(reach, "change it")
                ),
                _ => format!("{per_part:.1} a part; nobody has said what the bottles hold"),
            };
            (title.clone(), words)
        }));
        if self.clocks_contradict {
            let words = "the clocks contradict each other: what was used is counted in the order in \
                         which it was kept";
            rows.push(("clocks".to_owned(), words.to_owned()));
        }
        rows
    }

    /// "part 7 of 30, serial S-07, to be measured (its turn)".
    #[must_use]
    pub fn title(&self) -> String {
        let again = match self.part.scrapped_before {
            0 => String::new(),
            1 => ", made again".to_owned(),
            times => format!(", made again for the {times}. time"),
        };
        let measured = self
            .measured
            .map_or_else(String::new, |why| format!(", to be measured ({})", why.words()));
        format!("part {} of {}, serial {}{again}{measured}", self.part.number, self.of, self.serial)
    }
}

/// Whether a part whose surface is old may be sprayed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Surface {
    /// It is blasted first.
    AsTheOrderWants,
    /// An engineer has said that it may, and why.
    Overridden,
}

fn reaches(reach: Reach, what: &str) -> String {
    let parts = if reach.whole_parts == 1 {
        "1 part".to_owned()
    } else {
        format!("{} parts", reach.whole_parts)
    };
    match reach.fill_before {
        Some(number) => format!("enough for {parts}: {what} before part {number}"),
        None => "enough for all that are to be made".to_owned(),
    }
}

/// A tip that has not burned since it was cleaned is not cleaned again.
fn tip_need(tip: Tip) -> Need {
    if tip.is_outlasted() && tip.burned <= Time::ZERO {
        Need::PartOutlastsTip { tip }
    } else {
        Need::CleanTip { tip }
    }
}

fn powder_need(powder: &Ahead<Mass>, kept_back: Mass) -> Option<Need> {
    let Some(holds) = powder.holds else { return Some(Need::HopperNotTold) };
    let reaches = powder.reach.is_some_and(|reach| reach.whole_parts > 0);
    let per_part = powder.expected.per_part;
    (!reaches).then_some(Need::Powder { holds, kept_back, per_part })
}
