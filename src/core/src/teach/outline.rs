//! The outline of a part from its faces, shoulders and diameters.

use super::TeachNote;
use super::judge::Numbered;
use crate::document::{Problem, Problems};
use crate::quantity::{Length, Range};
use crate::recipe::ProfilePoint;

/// Points nearer than this are the same place: nobody sets a torch by eye to less (arbitrary).
const SAME_PLACE: Length = Length::from_mm(0.1);

/// What the points make of the part's surface.
#[derive(Debug, Default)]
pub(super) struct Outline {
    pub(super) profile: Vec<ProfilePoint>,
    /// Where the last diameter of a taper is held to the end of its stretch, and that diameter
    /// with its place.
    pub(super) held: Vec<(Range<Length>, ProfilePoint)>,
}

/// A length between faces and shoulders.
struct Stretch {
    extent: Range<Length>,
    /// Diameters in it.
    diameters: Vec<ProfilePoint>,
}

impl Stretch {
    /// Adds its points: a cylinder's two ends, a taper's every diameter and both ends, to which
    /// its outermost diameters are held.
    fn draw(&self, to: &mut Outline) {
        let (Some(first), Some(last)) = (self.diameters.first(), self.diameters.last()) else {
            return;
        };
        let Range { low, high } = self.extent;
        let is_taper = self.diameters.iter().any(|other| other.diameter != first.diameter);
        let inner = self.diameters.iter().copied().filter(|_| is_taper);
        let start = ProfilePoint { at: low, diameter: first.diameter };
        let end = ProfilePoint { at: high, diameter: last.diameter };
        for point in [start].into_iter().chain(inner).chain([end]) {
            if to.profile.last() != Some(&point) {
                to.profile.push(point);
            }
        }
        let slopes = |pair: Option<&[ProfilePoint]>| {
            pair.is_some_and(|pair| matches!(pair, [a, b] if a.diameter != b.diameter))
        };
        if slopes(self.diameters.windows(2).next()) && first.at > low {
            to.held.push((Range { low, high: first.at }, *first));
        }
        if slopes(self.diameters.windows(2).next_back()) && last.at < high {
            to.held.push((Range { low: last.at, high }, *last));
        }
    }
}

/// The outline, with notes; what is wrong goes to `problems`.
pub(super) fn outline(
    part: Range<Length>,
    shoulders: &[Numbered],
    diameters: &[(Numbered, Length)],
    problems: &mut Problems,
    notes: &mut Vec<TeachNote>,
) -> Outline {
    let mut places: Vec<Length> = Vec::new();
    for shoulder in shoulders {
        let at = shoulder.at;
        if at <= part.low + SAME_PLACE || at >= part.high - SAME_PLACE {
            let found = format!("a shoulder at {at} is not between the faces of the part");
            problems.push(
                Problem::error(shoulder.path("at"), found)
                    .accepted(format!("between {} and {}", part.low, part.high))
                    .help("take the shoulder again, or the face"),
            );
        } else if places.iter().any(|known| (*known - at).abs() < SAME_PLACE) {
            let found = format!("the shoulder at {at} was taken twice");
            problems.push(Problem::error(shoulder.path("at"), found).help("take one of them back"));
        } else {
            places.push(at);
        }
    }
    places.sort_by(|a, b| a.mm().total_cmp(&b.mm()));
    let mut stretches = stretches(part, &places);
    for (point, diameter) in diameters {
        place(&mut stretches, part, point, *diameter, problems);
    }
    let mut outline = Outline::default();
    for stretch in &mut stretches {
        stretch.diameters.sort_by(|a, b| a.at.mm().total_cmp(&b.at.mm()));
        if stretch.diameters.is_empty() {
            let Range { low, high } = stretch.extent;
            problems.push(
                Problem::error("point", format!("no diameter was typed between {low} and {high}"))
                    .accepted("one for a cylinder, several for a taper")
                    .help("jog there, take a point and type the diameter"),
            );
        }
        stretch.draw(&mut outline);
    }
    notes.extend(places.iter().filter_map(|at| {
        let sides = stretches.windows(2).find_map(|pair| match pair {
            [a, b] if b.extent.low == *at => {
                Some((a.diameters.last()?.diameter, b.diameters.first()?.diameter))
            }
            _ => None,
        });
        sides.filter(|(a, b)| a == b).map(|_| TeachNote::NoStep { at: *at })
    }));
    outline
}

fn stretches(part: Range<Length>, shoulders: &[Length]) -> Vec<Stretch> {
    let ends = shoulders.iter().copied().chain([part.high]);
    let starts = [part.low].into_iter().chain(shoulders.iter().copied());
    starts
        .zip(ends)
        .map(|(low, high)| Stretch { extent: Range { low, high }, diameters: Vec::new() })
        .collect()
}

/// Puts a diameter where it belongs; at a shoulder, on the tail side.
fn place(
    stretches: &mut [Stretch],
    part: Range<Length>,
    point: &Numbered,
    diameter: Length,
    problems: &mut Problems,
) {
    let at = point.at;
    if at < part.low - SAME_PLACE || at > part.high + SAME_PLACE {
        let found = format!("the diameter at {at} is not on the part");
        problems.push(
            Problem::error(point.path("at"), found)
                .accepted(format!("{} to {}, between its faces", part.low, part.high))
                .help("take it again on the part, or take the faces again"),
        );
        return;
    }
    let at = at.max(part.low).min(part.high);
    let index = stretches.iter().rposition(|stretch| at >= stretch.extent.low).unwrap_or(0);
    let Some(stretch) = stretches.get_mut(index) else { return };
    match stretch.diameters.iter().find(|known| (known.at - at).abs() < SAME_PLACE) {
        Some(known) if known.diameter != diameter => {
            let found = format!("{diameter} at {at}, where {} was typed before", known.diameter);
            problems.push(
                Problem::error(point.path("diameter"), found)
                    .help("take one of them back; a step wants a shoulder between two diameters"),
            );
        }
        Some(_) => {}
        None => stretch.diameters.push(ProfilePoint { at, diameter }),
    }
}
