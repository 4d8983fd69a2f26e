//! What is drawn, by its meaning: a style sheet says how that looks on a light screen, on a dark
//! one and on paper, in widths and dashes too, so that nothing is told by colour alone.

use plotters::style::RGBColor;
use plotters_backend::BackendColor;

/// A meaning of a line, a face or a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pen {
    /// The line of an axis and its tick marks.
    Axis,
    /// A thin line across at a tick.
    Grid,
    /// Figures at the ticks.
    TickText,
    /// What an axis shows, with its unit.
    AxisText,
    /// A name.
    NameText,
    /// A remark.
    NoteText,
    /// The part's section.
    Part,
    /// Its outline.
    PartEdge,
    /// Hidden edges: the bore.
    Bore,
    /// The axis of rotation.
    Centre,
    /// The chuck face.
    Chuck,
    /// The coat's section.
    Coat,
    /// The surface as sprayed.
    CoatEdge,
    /// The surface after fusing.
    Fused,
    /// The finished surface.
    Finish,
    /// The edge of a zone.
    ZoneEdge,
    /// The coat after a pass.
    Layer,
    /// The coat after the last pass.
    LastLayer,
    /// The thickness wanted.
    Needed,
    /// The feed of the first pass toward one side.
    Feed,
    /// The feed of the first pass toward the other.
    FeedBack,
    /// Where powder arrives.
    Arrives,
    /// Where the powder's coil is on.
    Coil,
    /// Where it is switched.
    Command,
    /// A window of temperature.
    Window,
    /// Its edges.
    WindowEdge,
    /// A temperature not to be passed.
    Ceiling,
    /// Temperature over time.
    Temperature,
    /// The hottest place over time.
    Hottest,
    /// Where a step ends.
    StepMark,
    /// Figures that are followed.
    Followed,
    /// Their mean.
    Mean,
    /// What lies beyond is no chance.
    ControlLimit,
}

/// Every pen with its class in the style sheet, in the order of their numbers.
#[rustfmt::skip]
const CLASSES: [(Pen, &str); 33] = [
    (Pen::Axis, "axis"), (Pen::Grid, "grid"), (Pen::TickText, "tick"), (Pen::AxisText, "quantity"),
    (Pen::NameText, "name"), (Pen::NoteText, "note"), (Pen::Part, "part"),
    (Pen::PartEdge, "part-edge"), (Pen::Bore, "bore"), (Pen::Centre, "centre"),
    (Pen::Chuck, "chuck"), (Pen::Coat, "coat"), (Pen::CoatEdge, "coat-edge"),
    (Pen::Fused, "fused"), (Pen::Finish, "finish"), (Pen::ZoneEdge, "zone-edge"),
    (Pen::Layer, "layer"), (Pen::LastLayer, "last-layer"), (Pen::Needed, "needed"),
    (Pen::Feed, "feed"), (Pen::FeedBack, "feed-back"), (Pen::Arrives, "arrives"),
    (Pen::Coil, "coil"), (Pen::Command, "command"), (Pen::Window, "window"),
    (Pen::WindowEdge, "window-edge"), (Pen::Ceiling, "ceiling"),
    (Pen::Temperature, "temperature"), (Pen::Hottest, "hottest"), (Pen::StepMark, "step-mark"),
    (Pen::Followed, "followed"), (Pen::Mean, "mean"), (Pen::ControlLimit, "control-limit"),
];

impl Pen {
    /// The pen as the colour that carries it through the plotting library to the paper.
    pub(super) fn colour(self) -> RGBColor {
        let place = CLASSES.iter().position(|(pen, _)| *pen == self);
        RGBColor(0, 0, place.and_then(|place| u8::try_from(place).ok()).unwrap_or(u8::MAX))
    }

    /// The class of a colour that carries a pen.
    pub(super) fn class_of(colour: BackendColor) -> &'static str {
        let (_, _, place) = colour.rgb;
        CLASSES.get(usize::from(place)).map_or("", |(_, class)| class)
    }
}

#[cfg(test)]
mod tests {
    use plotters::style::Color;

    use super::*;

    #[test]
    fn every_pen_is_carried_to_its_own_class_and_the_style_sheet_knows_it() {
        for (pen, class) in CLASSES {
            let RGBColor(red, green, blue) = pen.colour();
            let carried = pen.colour().to_backend_color();
            assert_eq!((carried.rgb, Pen::class_of(carried)), ((red, green, blue), class));
            assert!(super::super::STYLE.contains(&format!("svg .{class} ")), "{class}");
        }
    }
}
