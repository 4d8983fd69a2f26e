//! The way of the carriage to scale: its bounds, the park, the chuck's face, the loaded part and the
//! torch.

use std::fmt::Write as _;

use evenpass_core::quantity::{Length, fixed};
use evenpass_core::recipe::Part;
use evenpass_core::rig::AxisSpec;
use maud::{Markup, html};

use crate::panel::texts;
use crate::people::Units;

/// Width of the drawing, in which a text of 14 is read at arm's length on a small panel too.
const WIDTH: f64 = 560.0;
/// Its height.
const HEIGHT: f64 = 124.0;
/// Free at both sides.
const SIDE: f64 = 14.0;
/// Where the part's axis lies.
const CENTRE: f64 = 72.0;
/// Half of the highest part drawn.
const PART: f64 = 26.0;
/// Where the bed lies.
const BED: f64 = 102.0;
/// Where the torch's tip is.
const TIP: f64 = 44.0;

/// What of the way does not change while the program runs, besides the loaded part.
pub(super) struct Way<'a> {
    axis: &'a AxisSpec,
    part: Option<&'a Part>,
    low: f64,
    high: f64,
}

impl<'a> Way<'a> {
    pub(super) fn of(axis: &'a AxisSpec, part: Option<&'a Part>) -> Self {
        let ends = part.map(Part::extent);
        let all = [axis.travel.low, axis.travel.high, axis.park, Length::ZERO];
        let all = all.into_iter().chain(ends.into_iter().flat_map(|ends| [ends.low, ends.high]));
        let (low, high) = all
            .map(Length::mm)
            .fold((0.0_f64, 1.0_f64), |(low, high), at| (low.min(at), high.max(at)));
        Self { axis, part, low, high }
    }

    /// Units of the drawing in a millimetre.
    fn scale(&self) -> f64 {
        (WIDTH - 2.0 * SIDE) / (self.high - self.low).max(1.0)
    }

    fn x(&self, at: Length) -> f64 {
        SIDE + (at.mm() - self.low) * self.scale()
    }

    /// The part seen from the side; as high as there is room where it is thick for its length.
    fn outline(&self, part: &Part) -> String {
        let thickest = part.profile.iter().map(|point| point.diameter.mm()).fold(1.0, f64::max);
        let scale = self.scale().min(2.0 * PART / thickest);
        let mut path = String::new();
        for (side, word) in [(-0.5, 'M'), (0.5, 'L')] {
            let there = part.profile.iter();
            let points: Vec<_> = if side < 0.0 { there.collect() } else { there.rev().collect() };
            for (count, point) in points.into_iter().enumerate() {
                let word = if count == 0 { word } else { 'L' };
                let y = CENTRE + point.diameter.mm() * scale * side;
                let _ = write!(path, "{word}{:.1} {y:.1} ", self.x(point.at));
            }
        }
        path + "Z"
    }

    /// All that stands still.
    pub(super) fn still(&self, units: Units) -> Markup {
        let travel = self.axis.travel;
        let (low, high, park) = (self.x(travel.low), self.x(travel.high), self.x(self.axis.park));
        let chuck = self.x(Length::ZERO);
        html! {
            svg.travel viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img"
                aria-label=(texts::TRAVEL_PICTURE) {
                line.bed x1="0" x2=(WIDTH) y1=(BED) y2=(BED) {}
                rect.chuck x=(fixed((chuck - 12.0).max(0.0), 1)) y=(CENTRE - PART - 4.0)
                    width=(fixed(chuck.min(12.0), 1)) height=(2.0 * PART + 8.0) {}
                line.centre x1=(fixed(chuck, 1)) x2=(WIDTH) y1=(CENTRE) y2=(CENTRE) {}
                @if let Some(part) = self.part { path.part d=(self.outline(part)) {} }
                @for end in [low, high] {
                    line.bound x1=(fixed(end, 1)) x2=(fixed(end, 1)) y1=(BED - 14.0) y2=(BED + 4.0) {}
                }
                line.way x1=(fixed(low, 1)) x2=(fixed(high, 1)) y1=(BED) y2=(BED) {}
                text.note x=(fixed(low, 1)) y=(HEIGHT - 5.0) { (units.length(travel.low)) }
                text.note x=(fixed(high, 1)) y=(HEIGHT - 5.0) text-anchor="end" {
                    (units.length(travel.high))
                }
                line.park x1=(fixed(park, 1)) x2=(fixed(park, 1)) y1="18" y2=(BED) {}
                text.note x=(fixed(park, 1)) y="13" text-anchor="middle" {
                    (texts::PARK) " " (units.length(self.axis.park))
                }
                g data-live="travel.torch" {}
            }
        }
    }

    /// The torch where it is.
    pub(super) fn torch(&self, at: Length) -> Markup {
        let x = self.x(at).clamp(7.0, WIDTH - 7.0);
        html! {
            path.torch d=(format!("M{:.1} 22 h14 v12 l-4 10 h-6 l-4 -10 Z", x - 7.0)) {}
            line.beam x1=(fixed(x, 1)) x2=(fixed(x, 1)) y1=(TIP) y2=(BED) {}
        }
    }
}

#[cfg(test)]
mod tests {
    use evenpass_core::catalogue::Catalogue;
    use evenpass_core::recipe::Recipe;

    use super::*;

    fn recipe() -> Recipe {
        let files = [
            ("powders.toml", include_str!("../../../../config/powders.toml")),
            ("torches.toml", include_str!("../../../../config/torches.toml")),
        ];
        let catalogue = Catalogue::read(&files).expect("the shipped catalogue");
        let text = include_str!("../../../../config/recipes/stepped-shaft.toml");
        Recipe::read(text, &catalogue).expect("a shipped recipe")
    }

    #[test]
    fn bounds_park_part_and_torch_are_drawn_to_one_scale_and_inside_the_paper() {
        let (rig, _) = crate::files::rig(None).expect("the bench");
        let recipe = recipe();
        let way = Way::of(&rig.axis, Some(&recipe.part));
        let ends = recipe.part.extent();
        let places =
            [rig.axis.travel.low, ends.low, ends.high, rig.axis.park, rig.axis.travel.high];
        let drawn = places.map(|at| way.x(at));
        assert!(drawn.iter().all(|x| (0.0..=WIDTH).contains(x)), "{drawn:?}");
        let scale = (drawn[4] - drawn[0]) / (places[4] - places[0]).mm();
        for (at, x) in places.into_iter().zip(drawn) {
            assert!((x - drawn[0] - (at - places[0]).mm() * scale).abs() < 1e-9, "{at}");
        }
        let torch = way.torch(rig.axis.park).into_string();
        assert!(torch.contains(&format!("x1=\"{}\"", fixed(way.x(rig.axis.park), 1))), "{torch}");
        assert!(way.still(Units::default()).into_string().contains("720.00 mm"));
    }
}
