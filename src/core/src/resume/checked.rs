//! What a person has found before a job goes on, what of it is lacking, and how uneven the coat may
//! become where nobody knows better.

use core::f64::consts::PI;
use core::fmt;

use serde::{Deserialize, Serialize};

use super::interruption::Interruption;
use super::offer::{Before, Task};
use crate::plan::Plan;
use crate::quantity::{Fraction, Length, Time};

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
    /// Why, as the engineer has it, a surface is sprayed on that was blasted longer ago than is
    /// allowed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unblasted: Option<String>,
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
    /// The surface was blasted longer ago than is allowed, and no engineer has said why it is sprayed
    /// on all the same.
    OldSurface {
        /// How long ago.
        age: Time,
        /// How long is allowed.
        within: Time,
    },
    /// Nobody has inspected the part, which may be spoiled by this.
    Inspection(String),
}

/// What is lacking of that before the rest begins; what the machine itself demands, such as its datum,
/// is not among it.
#[must_use]
pub fn lacking(before: &[Before], checked: &Checked) -> Vec<Lacking> {
    let blank = |words: &Option<String>| words.as_ref().is_none_or(|text| text.trim().is_empty());
    let one = |task: &Task| match *task {
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
    let old = |task: &Task| match *task {
        Task::Surface { age: Some(age), within }
            if task.is_overdue() && blank(&checked.unblasted) =>
        {
            Some(Lacking::OldSurface { age, within })
        }
        _ => None,
    };
    before
        .iter()
        .flat_map(|before| one(&before.task).into_iter().chain(old(&before.task)))
        .collect()
}

/// `the carriage read 85.10 mm at the mark; surface: bright`, empty where nothing was looked at.
impl fmt::Display for Checked {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut between = "";
        if let Some(datum) = self.datum {
            write!(f, "the carriage read {datum:.2} at the mark")?;
            between = "; ";
        }
        let told = [
            ("surface", &self.surface),
            ("inspection", &self.inspection),
            ("sprayed on an old surface", &self.unblasted),
        ];
        for (name, words) in told {
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
            Self::OldSurface { age, within } => {
                let min = |time: &Time| time.s() / 60.0;
                f.write_str("the old surface: ")?;
                write!(f, "it was blasted {:.0} min ago or more", min(age))?;
                write!(
                    f,
                    ", and {:.0} min are allowed; strip and blast the part, or have the engineer say \
                     why it is sprayed on all the same",
                    min(within)
                )
            }
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

    fn mm(value: f64) -> Length {
        Length::from_mm(value)
    }

    const WITHIN: Time = Time::from_s(7200.0);

    fn tasks() -> Vec<Before> {
        let tasks = [
            Task::Inspect("it stood still in the flame".to_owned()),
            Task::Home,
            Task::DatumCheck { at: mm(85.0), within: mm(0.5) },
            Task::Surface { age: Some(Time::from_s(600.0)), within: WITHIN },
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
            unblasted: None,
        };
        assert_eq!(lacking(&tasks(), &blank), [Lacking::Surface]);
        let all = Checked { surface: Some("bright".to_owned()), ..blank };
        assert_eq!(lacking(&tasks(), &all), []);
    }

    #[test]
    fn an_old_surface_wants_the_engineers_reason() {
        let seen = Checked { surface: Some("bright".to_owned()), ..Checked::default() };
        let lacks = |age: Option<Time>, unblasted: Option<&str>| {
            let task = Task::Surface { age, within: WITHIN };
            let checked = Checked { unblasted: unblasted.map(str::to_owned), ..seen.clone() };
            lacking(&[Before { task, words: String::new() }], &checked)
        };
        assert_eq!(lacks(Some(WITHIN), None), []);
        assert_eq!(lacks(None, None), [], "a look decides where nobody knows");
        for age in [Some(Time::from_s(7260.0)), Some(Time::from_s(f64::NAN))] {
            let told = lacks(age, Some(" "));
            assert!(matches!(told[..], [Lacking::OldSurface { .. }]), "{age:?}: {told:?}");
            assert_eq!(lacks(age, Some("kept dry and warm")), [], "{age:?}");
        }
        let told = lacks(Some(Time::from_s(7260.0)), None)[0].to_string();
        assert!(told.contains("121 min ago or more, and 120 min are allowed"), "{told}");
    }

    #[test]
    fn a_reading_beyond_the_tolerance_or_none_at_all_is_no_datum() {
        for found in [84.4, 85.6, f64::NAN] {
            let checked = Checked {
                datum: Some(mm(found)),
                surface: Some("bright".to_owned()),
                inspection: Some("no cracks".to_owned()),
                unblasted: None,
            };
            let lacks = lacking(&tasks(), &checked);
            assert!(matches!(lacks[..], [Lacking::DatumOff { .. }]), "{lacks:?}");
        }
    }
}
