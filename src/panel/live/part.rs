//! The part to scale with torch, powder and coat as they are now, and the coat along the zones,
//! predicted beside estimated.

use std::fmt::Write as _;

use evenpass_core::coat::Coat;
use evenpass_core::image::{AxisReading, Contact, Kind, Referenced};
use evenpass_core::quantity::{Length, fixed};
use evenpass_core::scan::Snapshot;
use maud::{Markup, PreEscaped, html};

use super::super::texts;
use crate::people::Units;
use crate::station::Loaded;

/// Width of the drawing.
const WIDTH: f64 = 1000.0;
/// Free at both sides.
const SIDE: f64 = 20.0;
/// Height of the part's half.
const PART: f64 = 110.0;
/// Room above it for the torch and the coat.
const ABOVE: f64 = 90.0;
/// Height of the picture of thickness.
const CHART: f64 = 130.0;
/// Below both, for the figures along the axis.
const FEET: f64 = 24.0;
/// Highest coat drawn on the part.
const COAT: f64 = 34.0;
/// Foot of the park's label: above all that the torch is drawn with.
const PARK_LABEL: f64 = 12.0;
/// Where the torch begins and ends, below the park's label.
const TORCH: (f64, f64) = (22.0, 48.0);
/// Half the torch's width, and what its label keeps away from its middle.
const BESIDE: (f64, f64) = (10.0, 15.0);
/// Width of the longest label.
const LABEL: f64 = 88.0;
/// Places along a zone at which its coat is drawn.
const PLACES: u32 = 61;

/// What of a loaded job does not change: scales, part and prediction.
pub(in crate::panel) struct Sheet<'a> {
    loaded: &'a Loaded,
    low: f64,
    high: f64,
    radius: f64,
    thickest: f64,
}

impl<'a> Sheet<'a> {
    pub(in crate::panel) fn of(loaded: &'a Loaded) -> Self {
        let part = loaded.job.recipe.part.extent();
        let park = loaded.plan.program.park.mm();
        let low = part.low.mm().min(park);
        let high = part.high.mm().max(park);
        let profile = &loaded.job.recipe.part.profile;
        let radius = profile.iter().map(|point| point.diameter.mm() / 2.0).fold(1.0, f64::max);
        let zones = &loaded.plan.forecast.zones;
        let all = zones.iter().flat_map(|zone| &zone.along);
        let thickest = all.map(|station| station.sprayed.mm()).fold(0.01, f64::max);
        Self { loaded, low, high, radius, thickest }
    }

    fn x(&self, mm: f64) -> f64 {
        let span = (self.high - self.low).max(1.0);
        SIDE + (mm - self.low) / span * (WIDTH - 2.0 * SIDE)
    }

    /// Where the surface is drawn: the part's half stands on its axis.
    fn surface(&self, mm: f64) -> f64 {
        let diameter = self.loaded.job.recipe.part.diameter_at(Length::from_mm(mm)).mm();
        // To one scale in both directions where the part is long, else as high as there is room.
        let along = (WIDTH - 2.0 * SIDE) / (self.high - self.low).max(1.0);
        let scale = along.min(PART / self.radius);
        ABOVE + PART - diameter / 2.0 * scale
    }

    /// Where a thickness is drawn in the lower picture.
    fn level(&self, mm: f64) -> f64 {
        let foot = ABOVE + PART + FEET + CHART;
        foot - (mm / (self.thickest * 1.15)).clamp(0.0, 1.0) * (CHART - 14.0)
    }

    fn places(&self) -> Vec<Vec<f64>> {
        let edges = self.loaded.job.recipe.zones.iter();
        let share = |index: u32| f64::from(index) / f64::from(PLACES - 1);
        edges
            .map(|zone| {
                let (from, to) = (zone.from.mm(), zone.to.mm());
                (0..PLACES).map(|index| from + (to - from) * share(index)).collect()
            })
            .collect()
    }

    /// All that stands still.
    pub(in crate::panel) fn still(&self, units: Units) -> Markup {
        let floor = ABOVE + PART;
        let mut outline =
            format!("M{:.1} {floor}", self.x(self.loaded.job.recipe.part.extent().low.mm()));
        for point in &self.loaded.job.recipe.part.profile {
            let _ = write!(
                outline,
                " L{:.1} {:.1}",
                self.x(point.at.mm()),
                self.surface_of(point.diameter.mm())
            );
        }
        let end = self.loaded.job.recipe.part.extent().high.mm();
        let _ = write!(outline, " L{:.1} {floor} Z", self.x(end));
        let height = ABOVE + PART + FEET + CHART + 4.0;
        let park = self.x(self.loaded.plan.program.park.mm());
        html! {
            svg.part-now viewBox=(format!("0 0 {WIDTH} {height}")) role="img"
                aria-label=(texts::PART_PICTURE) {
                path.part d=(outline) {}
                line.centre x1="0" x2=(WIDTH) y1=(floor) y2=(floor) {}
                line.park x1=(park) x2=(park) y1=(PARK_LABEL + 4.0) y2=(floor) {}
                @let (at, anchor) = within(park);
                text.note x=(fixed(at, 1)) y=(PARK_LABEL) text-anchor=(anchor) { (texts::PARK) }
                @for zone in &self.loaded.job.recipe.zones {
                    @for edge in [zone.from, zone.to] {
                        line.zone-edge x1=(self.x(edge.mm())) x2=(self.x(edge.mm())) y1=(ABOVE - 30.0)
                            y2=(floor + FEET + CHART) {}
                        text.note x=(self.x(edge.mm())) y=(floor + 16.0) text-anchor="middle" {
                            (units.length(edge))
                        }
                    }
                }
                line.axis x1=(SIDE) x2=(WIDTH - SIDE) y1=(self.level(0.0)) y2=(self.level(0.0)) {}
                g data-live="part.predicted" {}
                g data-live="part.coat" {}
                g data-live="part.torch" {}
                text.note x=(WIDTH - SIDE) y=(floor + FEET + 8.0) text-anchor="end" {
                    (texts::COAT_KEY)
                }
            }
        }
    }

    fn surface_of(&self, diameter: f64) -> f64 {
        let along = (WIDTH - 2.0 * SIDE) / (self.high - self.low).max(1.0);
        ABOVE + PART - diameter / 2.0 * along.min(PART / self.radius)
    }

    /// What is predicted: after the passes done so far of the zone in hand, and in the end.
    pub(super) fn predicted(&self, zone: Option<&str>, done: usize) -> Markup {
        let mut paths = String::new();
        for coat in &self.loaded.coats {
            let places: Vec<f64> = coat.places.iter().map(|at| at.mm()).collect();
            paths.push_str(&self.line(&places, coat.last(), "planned"));
            let here = zone == Some(coat.zone.as_str());
            if let Some(after) = coat.thickness.get(done).filter(|_| here) {
                paths.push_str(&self.line(&places, after, "predicted"));
            }
        }
        PreEscaped(paths)
    }

    /// The coat as it is estimated to be: on the part, many times too thick, and below to scale.
    pub(super) fn coat(&self, coat: &Coat) -> Markup {
        let mut paths = String::new();
        for places in self.places() {
            let found: Vec<Length> =
                places.iter().map(|at| coat.thickness_at(Length::from_mm(*at))).collect();
            let mut shape = String::new();
            for (at, mm) in places.iter().zip(&found) {
                let lift = mm.mm() / self.thickest * COAT;
                let word = if shape.is_empty() { 'M' } else { 'L' };
                let _ = write!(shape, "{word}{:.1} {:.1} ", self.x(*at), self.surface(*at) - lift);
            }
            for at in places.iter().rev() {
                let _ = write!(shape, "L{:.1} {:.1} ", self.x(*at), self.surface(*at));
            }
            let _ = write!(paths, "<path class=\"coat\" d=\"{shape}Z\"/>");
            paths.push_str(&self.line(&places, &found, "found"));
        }
        PreEscaped(paths)
    }

    fn line(&self, places: &[f64], coat: &[Length], class: &str) -> String {
        let mut points = String::new();
        for (at, thick) in places.iter().zip(coat) {
            let _ = write!(points, "{:.1},{:.1} ", self.x(*at), self.level(thick.mm()));
        }
        format!("<polyline class=\"{class}\" points=\"{points}\"/>")
    }

    /// Torch and powder where they are now; nothing where nobody knows.
    pub(super) fn torch(&self, snapshot: &Snapshot, units: Units) -> Markup {
        let AxisReading { position, referenced, .. } = snapshot.inputs.axis.value;
        if referenced != Referenced::Yes || snapshot.inputs.axis.kind != Kind::Measured {
            return html! {};
        }
        let x = self.x(position.mm()).clamp(8.0, WIDTH - 8.0);
        let lit = snapshot.inputs.contact(Contact::Flame).value.is_on();
        let powder = snapshot.outputs.powder.now.is_on();
        let surface = self.surface(position.mm());
        let label = units.length(position);
        let (top, tip) = TORCH;
        let (half, _) = BESIDE;
        let (at, anchor) = beside(x);
        html! {
            g {
                @if lit {
                    path.flame d=(format!("M{:.1} {tip} L{:.1} {:.1} L{:.1} {tip} Z", x - 7.0, x, surface, x + 7.0)) {}
                }
                @if powder {
                    line.powder x1=(fixed(x, 1)) x2=(fixed(x, 1)) y1=(tip) y2=(fixed(surface, 1)) {}
                }
                path.torch d=(format!("M{:.1} {top} h20 v16 l-6 10 h-8 l-6 -10 Z", x - half)) {}
                text.note x=(fixed(at, 1)) y="36" text-anchor=(anchor) { (label) }
            }
        }
    }
}

/// Where a label on a line across the drawing stands, and which of its ends is there: in its middle
/// where it has room, else inside the edge.
fn within(x: f64) -> (f64, &'static str) {
    if x < LABEL / 2.0 {
        (0.0, "start")
    } else if x > WIDTH - LABEL / 2.0 {
        (WIDTH, "end")
    } else {
        (x, "middle")
    }
}

/// Where the torch's own label stands, beside it: right where it has room, else left.
fn beside(x: f64) -> (f64, &'static str) {
    let (_, away) = BESIDE;
    if x + away + LABEL <= WIDTH { (x + away, "start") } else { (x - away, "end") }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// From where to where a label goes.
    fn span((at, anchor): (f64, &str)) -> (f64, f64) {
        match anchor {
            "start" => (at, at + LABEL),
            "end" => (at - LABEL, at),
            _ => (at - LABEL / 2.0, at + LABEL / 2.0),
        }
    }

    #[test]
    fn no_label_of_torch_or_park_leaves_the_drawing_and_none_lies_on_the_torch() {
        for x in (8..=992).map(f64::from) {
            for label in [within(x), beside(x)] {
                let (from, to) = span(label);
                assert!(from >= 0.0 && to <= WIDTH, "{x}: {from} to {to}");
            }
            let (from, to) = span(beside(x));
            assert!(to < x - BESIDE.0 || from > x + BESIDE.0, "{x}: {from} to {to}");
        }
    }

    #[test]
    fn the_labels_of_torch_and_park_have_heights_of_their_own() {
        // The style sheet writes them 13 units high.
        const { assert!(36.0 - 13.0 > PARK_LABEL && TORCH.0 > PARK_LABEL) };
    }
}
