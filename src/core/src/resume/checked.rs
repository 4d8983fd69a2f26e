//! What a person has found before a job goes on, what of it is lacking, and how uneven the coat may
//! become where nobody knows better.

use core::f64::consts::PI;
use core::fmt;

use serde::{Deserialize, Serialize};

use super::interruption::Interruption;
use super::offer::{Before, Task};
use crate::plan::Plan;
use crate::quantity::{Fraction, Length};

/// What a person has found.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Checked {
    /// What the carriage read with the torch over the mark of the part.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub datum: Option<Length>,
    /// How the surface looks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub surface: Option<String>,
    /// What the inspection of a part that may be spoiled has found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inspection: Option<String>,
}

/// What keeps a job from going on, as far as a person has to look.
#[derive(Debug, Clone, PartialEq)]
pub enum Lacking {
    /// Nobody has told a reading at the mark.
    Datum {
        /// The figure it is to be.
        at: Length,
        /// How far it may be off.
        within: Length,
    },
    /// The reading is another one.
    DatumOff {
        /// What was read.
        found: Length,
        /// The figure it is to be.
        at: Length,
        /// How far it may be off.
        within: Length,
    },
    /// Nobody has looked at the surface.
    Surface,
    /// Nobody has inspected the part, which may be spoiled by this.
    Inspection(String),
}

/// What is lacking of that before the rest begins; what the machine itself demands, such as its datum,
/// is not among it.
#[must_use]
pub fn lacking(before: &[Before], checked: &Checked) -> Vec<Lacking> {
    let blank = |words: &Option<String>| words.as_ref().is_none_or(|text| text.trim().is_empty());
    let of = |task: &Task| match *task {
        Task::DatumCheck { at, within } => match checked.datum {
            None => Some(Lacking::Datum { at, within }),
            // What is no figure is within nothing.
            Some(found) if (found - at).abs() <= within => None,
            Some(found) => Some(Lacking::DatumOff { found, at, within }),
        },
        Task::Surface { .. } => blank(&checked.surface).then_some(Lacking::Surface),
        Task::Inspect(ref why) => {
            blank(&checked.inspection).then(|| Lacking::Inspection(why.clone()))
        }
        Task::Home | Task::Temperature(_) | Task::FitTorch(_) => None,
    };
    before.iter().filter_map(|before| of(&before.task)).collect()
}

/// `the carriage read 85.10 mm at the mark; surface: bright`, empty where nothing was looked at.
impl fmt::Display for Checked {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut between = "";
        if let Some(datum) = self.datum {
            write!(f, "the carriage read {datum:.2} at the mark")?;
            between = "; ";
        }
        for (name, words) in [("surface", &self.surface), ("inspection", &self.inspection)] {
            if let Some(words) = words {
                write!(f, "{between}{name}: {words}")?;
                between = "; ";
            }
        }
        Ok(())
    }
}

impl fmt::Display for Lacking {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Datum { at, within } => write!(
                f,
                "the datum check: what the carriage reads with the torch over the chuck-side edge of \
                 the zone, {at:.1} within {within:.1}"
            ),
            Self::DatumOff { found, at, within } => write!(
                f,
                "the datum check: found {found:.2}, accepted is {at:.1} within {within:.1}; home again \
                 and see that the part has not moved in the chuck, or end the job"
            ),
            Self::Surface => f.write_str("the surface: how it looks, oxide and soot"),
            Self::Inspection(why) => write!(f, "the inspection of the part: {why}"),
        }
    }
}

/// How much of one pass may be too much or lack where powder begins again, for the place where it
/// ceased is known no better: `e / (sigma sqrt(2 pi))` of a pass for a place that is off by `e`.
/// `None` where no pass was under way.
#[must_use]
pub fn unevenness(found: &Interruption, plan: &Plan) -> Option<Fraction> {
    let hand = found.hand.as_ref()?;
    let layer = plan.coat.layers.iter().find(|layer| layer.step == hand.step)?;
    let off = (hand.latest - hand.ceased).abs().max((hand.ceased - hand.earliest).abs());
    Some(Fraction::from_ratio(off / (layer.plume * (2.0 * PI).sqrt())))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Time;

    fn mm(value: f64) -> Length {
        Length::from_mm(value)
    }

    fn tasks() -> Vec<Before> {
        let tasks = [
            Task::Inspect("it stood still in the flame".to_owned()),
            Task::Home,
            Task::DatumCheck { at: mm(85.0), within: mm(0.5) },
            Task::Surface { age: None, within: Time::from_s(7200.0) },
        ];
        tasks.into_iter().map(|task| Before { task, words: String::new() }).collect()
    }

    #[test]
    fn what_nobody_has_looked_at_is_lacking_and_blanks_are_no_look() {
        let nothing = lacking(&tasks(), &Checked::default());
        assert_eq!(nothing.len(), 3, "{nothing:?}");
        let blank = Checked {
            datum: Some(mm(84.5)),
            surface: Some("  ".to_owned()),
            inspection: Some("no cracks".to_owned()),
        };
        assert_eq!(lacking(&tasks(), &blank), [Lacking::Surface]);
        let all = Checked { surface: Some("bright".to_owned()), ..blank };
        assert_eq!(lacking(&tasks(), &all), []);
    }

    #[test]
    fn a_reading_beyond_the_tolerance_or_none_at_all_is_no_datum() {
        for found in [84.4, 85.6, f64::NAN] {
            let checked = Checked {
                datum: Some(mm(found)),
                surface: Some("bright".to_owned()),
                inspection: Some("no cracks".to_owned()),
            };
            let lacks = lacking(&tasks(), &checked);
            assert!(matches!(lacks[..], [Lacking::DatumOff { .. }]), "{lacks:?}");
        }
    }
}
