//! Where powder ceased, from where the carriage was found at rest: a controller that died says
//! nothing, but drive and field I/O then do what they were commissioned to do, and when.

use serde::{Deserialize, Serialize};

use super::course::{At, Course, sign};
use crate::program::Pass;
use crate::quantity::{Length, Quantity as _, Time};
use crate::rig::Rig;

/// How the carriage was found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stood {
    /// The machine had its power all the time, and the drive still has its datum: where it says that
    /// the carriage is. Of no use once anything has moved it.
    Powered(Length),
    /// The power went: where the torch stood when it was found, measured before anything moved.
    WithoutPower(Length),
}

impl Stood {
    /// A place that stands for any, for [`Stood::form`].
    pub const EXAMPLE: &'static str = "131.3 mm";

    /// What a person may type, for a message; `place` is an example in the units that they read.
    #[must_use]
    pub fn form(place: &str) -> String {
        format!(
            "\"unknown\", or a place such as \"{place}, without power\" (the power went: where the \
             torch stood when it was found, measured before anything moved) or \"{place}, powered\" \
             (the power stayed: what the drive reads)"
        )
    }

    /// Where that is.
    #[must_use]
    pub const fn place(self) -> Length {
        match self {
            Self::Powered(place) | Self::WithoutPower(place) => place,
        }
    }

    /// Whether the power stayed, by the word that is typed.
    #[must_use]
    pub const fn power(self) -> &'static str {
        match self {
            Self::Powered(_) => POWERED,
            Self::WithoutPower(_) => WITHOUT_POWER,
        }
    }

    /// What a person typed; `None` for an unknown place.
    ///
    /// # Errors
    /// What was found and what is accepted.
    pub fn typed(text: &str) -> Result<Option<Self>, String> {
        let wrong =
            |why: &str| format!("found \"{text}\"{why}\naccepted: {}\n", Self::form(Self::EXAMPLE));
        if text.trim() == "unknown" {
            return Ok(None);
        }
        let (place, power) = text.split_once(',').ok_or_else(|| wrong(""))?;
        let place =
            Length::parse(place.trim()).map_err(|problem| wrong(&format!(": {problem}")))?;
        match power.trim() {
            POWERED => Ok(Some(Self::Powered(place))),
            WITHOUT_POWER => Ok(Some(Self::WithoutPower(place))),
            _ => Err(wrong("")),
        }
    }
}

/// The power stayed.
const POWERED: &str = "powered";
/// It went.
const WITHOUT_POWER: &str = "without power";

/// How exactly a person measures where a torch stands (a steel rule, common practice, no source).
const BY_RULE: Length = Length::from_mm(0.5);
/// What any reading of a place may be off: lost motion, a drive's own step.
const BY_DRIVE: Length = Length::from_mm(0.2);

/// Where powder ceased by what was found, and how far it may be off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ceased {
    pub at: At,
    pub within: Length,
}

impl Stood {
    /// Where powder ceased, in a course that was last seen at `last`; `None` when the carriage is not
    /// where it could have come to by itself within `longest`.
    pub(super) fn ceased(
        self,
        course: &Course<'_>,
        last: At,
        longest: Time,
        rig: &Rig,
    ) -> Option<Ceased> {
        [last.pass, last.pass + 1]
            .into_iter()
            .filter_map(|pass| self.in_pass(pass, course, last, longest, rig))
            .next()
    }

    fn in_pass(
        self,
        pass: usize,
        course: &Course<'_>,
        last: At,
        longest: Time,
        rig: &Rig,
    ) -> Option<Ceased> {
        let way = course.step.passes.get(pass)?;
        let start = if pass == last.pass { last.place } else { way.from };
        let (rest, shift, within) = self.of_rest(way, rig);
        let along = |place: Length| (place - start).mm() * sign(way);
        let ceased = rest - Length::from_mm(shift.mm() * sign(way));
        let farthest = course.after(last, longest);
        let end = if farthest.pass == pass { farthest.place } else { way.to };
        let stop = self.stop_way(way, rest, rig);
        let inside = farthest.pass >= pass
            && along(ceased) >= -within.mm() - BY_DRIVE.mm()
            && along(rest) <= along(end) + stop.mm() + within.mm();
        let place = if along(ceased) < 0.0 { start } else { ceased };
        inside.then_some(Ceased { at: At { pass, place }, within })
    }

    /// Where it was found, how far before that powder ceased, and how exactly that is known.
    fn of_rest(self, way: &Pass, rig: &Rig) -> (Length, Length, Length) {
        match self {
            Self::Powered(rest) => {
                let speed = feed_near(way, rest);
                // Both fall silent together, each as long after its last frame as it is set to; the
                // frames before that came at their polls.
                let valves = rig.field.communication_loss.min(rig.field.watchdog.relay)
                    - rig.field.poll_every / 2.0;
                let carriage = rig.axis.communication_loss.after - rig.axis.poll_every / 2.0;
                let ahead = Length::from_mm(speed * (carriage - valves).s());
                let polls = rig.field.poll_every.max(rig.axis.poll_every);
                let within = Length::from_mm(speed * polls.s()) + BY_DRIVE;
                (rest, self.stop_way(way, rest, rig) + ahead, within)
            }
            // Valves shut and the motor lets go at once: friction is stronger than a quick stop.
            Self::WithoutPower(rest) => {
                let stop = self.stop_way(way, rest, rig) / 2.0;
                (rest, stop, stop + BY_RULE)
            }
        }
    }

    /// The way of a quick stop, mm.
    fn stop_way(self, way: &Pass, rest: Length, rig: &Rig) -> Length {
        let speed = feed_near(way, rest);
        let rate = rig.axis.quick_stop.mm_per_s2().max(1.0);
        Length::from_mm(speed * speed / (2.0 * rate))
    }
}

/// The feed of a pass near a place, mm/s: that of the nearest point of its profile.
fn feed_near(pass: &Pass, place: Length) -> f64 {
    let off = |point: &&crate::program::FeedPoint| (point.at - place).abs().mm();
    let nearest = pass.feed.iter().min_by(|a, b| off(a).total_cmp(&off(b)));
    nearest.map_or(0.0, |point| point.feed.mm_per_s())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_says_whether_the_power_stayed_and_has_its_unit() {
        let place = Length::from_mm(131.3);
        assert_eq!(Stood::typed("131.3 mm, powered"), Ok(Some(Stood::Powered(place))));
        assert_eq!(Stood::typed("13.13 cm,without power"), Ok(Some(Stood::WithoutPower(place))));
        assert_eq!(Stood::typed(" unknown"), Ok(None));
        for wrong in ["", "131.3 mm", "131.3, powered", "131.3 mm, off", "somewhere, powered"] {
            let told = Stood::typed(wrong).expect_err(wrong);
            assert!(told.contains("accepted: \"unknown\""), "{told}");
        }
    }
}
