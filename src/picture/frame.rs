//! The frame of a picture: its scales and axes, and how words and lines get onto it.

use std::fmt::Write;

use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::element::{PathElement, Polygon, Rectangle, Text};
use plotters::prelude::{
    Cartesian2d, DrawingArea, FontTransform, IntoDrawingArea, IntoFont, Ranged,
};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, TextStyle};

use super::escaped;
use super::paper::{Drawn, Fault, PLACES_IN_A_PIXEL, Paper};
use super::pen::Pen;

/// Width of every picture, pixels (arbitrary: what a page of a screen and of paper both carry).
pub(super) const WIDTH: f64 = 900.0;
/// Room for the figures beside the left axis, pixels.
pub(super) const LEFT: f64 = 62.0;
/// Room right of the scale, pixels.
pub(super) const RIGHT: f64 = 18.0;
/// Room under the lower axis for its figures and its words, pixels.
pub(super) const UNDER: f64 = 42.0;
/// Mean width of a letter of a remark, pixels: only to keep words apart.
const LETTER: f64 = 6.0;

/// The whole picture, by places of the paper.
pub(super) type Whole<'a> = DrawingArea<Paper<'a>, Shift>;
/// A field with two scales.
pub(super) type Field<'a> = DrawingArea<Paper<'a>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

/// Pixels as places of the paper; what is no number or lies far outside is put at the rim.
pub(super) fn places(pixels: f64) -> i32 {
    /// Farther out than any picture, and inside what the paper counts.
    const RIM: f64 = 1e7;
    let place = (pixels * PLACES_IN_A_PIXEL).round();
    let place = if place.is_nan() { 0.0 } else { place.clamp(-RIM, RIM) };
    #[expect(clippy::cast_possible_truncation, reason = "a whole number inside the rim")]
    let place = place as i32;
    place
}

/// A range of figures, low end first; never empty, so that every scale has a direction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Span {
    pub(super) low: f64,
    pub(super) high: f64,
}

impl Span {
    /// From one figure to another; an empty or impossible one becomes one unit.
    pub(super) fn new(low: f64, high: f64) -> Self {
        let low = if low.is_finite() { low } else { 0.0 };
        let high = if high.is_finite() && high > low { high } else { low + 1.0 };
        Self { low, high }
    }

    /// What lies in it.
    pub(super) fn size(self) -> f64 {
        self.high - self.low
    }

    pub(super) fn contains(self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// At most `most` round figures in it, the library's choice.
    fn ticks(self, most: usize) -> Vec<f64> {
        let scale: RangedCoordf64 = (self.low..self.high).into();
        let mut ticks: Vec<f64> = scale.key_points(most);
        ticks.retain(|tick| tick.is_finite());
        ticks
    }
}

/// What a picture is called and what it shows, for those who cannot see it.
pub(super) struct About<'a> {
    pub(super) key: &'a str,
    pub(super) title: &'a str,
    pub(super) says: String,
}

/// Draws a picture of the usual width and of this height.
pub(super) fn picture(
    about: &About<'_>,
    height: f64,
    draw: impl FnOnce(&Whole<'_>) -> Drawn,
) -> Result<String, Fault> {
    let mut svg = String::new();
    let (key, title, says) = (about.key, escaped(about.title), escaped(&about.says));
    // Writing to a `String` cannot fail.
    let _ = writeln!(
        svg,
        "<svg id=\"picture-{key}\" viewBox=\"0 0 {WIDTH} {height}\" role=\"img\" \
         aria-labelledby=\"title-{key} says-{key}\">\n<title id=\"title-{key}\">{title}</title>\n\
         <desc id=\"says-{key}\">{says}</desc>"
    );
    let size = [WIDTH, height].map(|side| places(side).unsigned_abs());
    {
        let whole = Paper::new(&mut svg, size.into()).into_drawing_area();
        draw(&whole)?;
        whole.present()?;
    }
    svg.push_str("</svg>\n");
    Ok(svg)
}

/// Where a field lies in its picture, pixels, and what its two scales run over.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Frame {
    pub(super) top: f64,
    pub(super) bottom: f64,
    pub(super) across: Span,
    pub(super) up: Span,
}

impl Frame {
    /// The field with its scales.
    pub(super) fn field<'a>(&self, whole: &Whole<'a>) -> Field<'a> {
        let across = places(LEFT)..places(WIDTH - RIGHT);
        // The scale runs upward, the paper downward.
        let up = places(self.bottom)..places(self.top);
        whole.apply_coord_spec(Cartesian2d::<RangedCoordf64, RangedCoordf64>::new(
            self.across.low..self.across.high,
            self.up.low..self.up.high,
            (across, up),
        ))
    }

    /// Pixels from the left of a figure of the scale across.
    pub(super) fn x(&self, value: f64) -> f64 {
        LEFT + (value - self.across.low) / self.across.size() * (WIDTH - RIGHT - LEFT)
    }

    /// Pixels from the top of a figure of the scale upward.
    pub(super) fn y(&self, value: f64) -> f64 {
        self.bottom - (value - self.up.low) / self.up.size() * (self.bottom - self.top)
    }

    /// Axes at the left and below, with round figures, thin lines across and what they show;
    /// `shown` writes a figure of the scale upward.
    pub(super) fn axes(
        &self,
        whole: &Whole<'_>,
        across: &str,
        up: &str,
        shown: impl Fn(f64) -> String,
    ) -> Drawn {
        /// Pixels for a tick, so that their figures stay apart.
        const APART: (f64, f64) = (70.0, 24.0);
        let (left, right) = (LEFT, WIDTH - RIGHT);
        for tick in self.up.ticks(count((self.bottom - self.top) / APART.1)) {
            let y = self.y(tick);
            line(whole, &[(left, y), (right, y)], Pen::Grid)?;
            line(whole, &[(left - 4.0, y), (left, y)], Pen::Axis)?;
            text(whole, &shown(tick), (left - 7.0, y), At::MiddleRight, Pen::TickText)?;
        }
        for tick in self.across.ticks(count((right - left) / APART.0)) {
            let x = self.x(tick);
            line(whole, &[(x, self.top), (x, self.bottom)], Pen::Grid)?;
            line(whole, &[(x, self.bottom), (x, self.bottom + 4.0)], Pen::Axis)?;
            text(whole, &trimmed(tick), (x, self.bottom + 7.0), At::TopMiddle, Pen::TickText)?;
        }
        let corner = [(left, self.top), (left, self.bottom), (right, self.bottom)];
        line(whole, &corner, Pen::Axis)?;
        let middle = f64::midpoint(left, right);
        text(whole, across, (middle, self.bottom + 24.0), At::TopMiddle, Pen::AxisText)?;
        let height = f64::midpoint(self.top, self.bottom);
        upright(whole, up, (13.0, height))
    }
}

/// A small count of ticks, two at the least.
fn count(fits: f64) -> usize {
    (2..16_u32).rev().find(|count| f64::from(*count) <= fits).map_or(2, |count| count as usize)
}

/// A figure with the decimals it needs, four at the most.
pub(super) fn trimmed(value: f64) -> String {
    let text = format!("{value:.4}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// Where a text stands to its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum At {
    TopMiddle,
    Middle,
    MiddleLeft,
    MiddleRight,
    BottomMiddle,
}

impl At {
    fn pos(self) -> Pos {
        let (across, down) = match self {
            Self::TopMiddle => (HPos::Center, VPos::Top),
            Self::Middle => (HPos::Center, VPos::Center),
            Self::MiddleLeft => (HPos::Left, VPos::Center),
            Self::MiddleRight => (HPos::Right, VPos::Center),
            Self::BottomMiddle => (HPos::Center, VPos::Bottom),
        };
        Pos::new(across, down)
    }
}

fn style(pen: Pen, at: At) -> TextStyle<'static> {
    // The style sheet has the size; the library wants one.
    let style: TextStyle<'static> = ("sans-serif", 12.0).into_font().into();
    TextStyle { color: pen.colour().to_backend_color(), pos: at.pos(), ..style }
}

fn place((x, y): (f64, f64)) -> (i32, i32) {
    (places(x), places(y))
}

/// A text at a place in pixels.
pub(super) fn text(whole: &Whole<'_>, words: &str, at: (f64, f64), side: At, pen: Pen) -> Drawn {
    whole.draw(&Text::new(words.to_owned(), place(at), style(pen, side)))
}

/// What an axis shows, written upward.
fn upright(whole: &Whole<'_>, words: &str, at: (f64, f64)) -> Drawn {
    let style = style(Pen::AxisText, At::Middle).transform(FontTransform::Rotate270);
    whole.draw(&Text::new(words.to_owned(), place(at), style))
}

/// A line through places in pixels.
pub(super) fn line(whole: &Whole<'_>, through: &[(f64, f64)], pen: Pen) -> Drawn {
    let points: Vec<(i32, i32)> = through.iter().copied().map(place).collect();
    whole.draw(&PathElement::new(points, pen.colour().stroke_width(1)))
}

/// A box between two corners in pixels.
pub(super) fn area(whole: &Whole<'_>, corners: [(f64, f64); 2], pen: Pen) -> Drawn {
    whole.draw(&Rectangle::new(corners.map(place), pen.colour().filled()))
}

/// A line through figures of the scales.
pub(super) fn curve(field: &Field<'_>, through: Vec<(f64, f64)>, pen: Pen) -> Drawn {
    field.draw(&PathElement::new(through, pen.colour().stroke_width(1)))
}

/// A face between figures of the scales.
pub(super) fn face(field: &Field<'_>, corners: Vec<(f64, f64)>, pen: Pen) -> Drawn {
    field.draw(&Polygon::new(corners, pen.colour().filled()))
}

/// Pens with what they mean, in one row from the left at this height.
pub(super) fn legend(whole: &Whole<'_>, y: f64, entries: &[(Pen, &str)]) -> Drawn {
    /// Length of a sample and space around it, pixels.
    const SAMPLE: (f64, f64, f64) = (26.0, 6.0, 18.0);
    let (sample, gap, between) = SAMPLE;
    let mut x = LEFT;
    for (pen, words) in entries {
        match pen {
            Pen::Part | Pen::Coat | Pen::Arrives | Pen::Coil | Pen::Window => {
                area(whole, [(x, y - 4.0), (x + sample, y + 4.0)], *pen)?;
            }
            // A mark stands across what it marks.
            Pen::Command | Pen::Chuck => {
                let middle = x + sample / 2.0;
                line(whole, &[(middle, y - 7.0), (middle, y + 7.0)], *pen)?;
            }
            _ => line(whole, &[(x, y), (x + sample, y)], *pen)?,
        }
        text(whole, words, (x + sample + gap, y), At::MiddleLeft, Pen::NoteText)?;
        x += sample + gap + width(words) + between;
    }
    Ok(())
}

/// About how wide a remark is, pixels.
pub(super) fn width(words: &str) -> f64 {
    words.chars().map(|_| LETTER).sum()
}

/// In which of so many rows each of some words goes, so that none stands on another: words by
/// their middle and their width, from the left.
pub(super) fn rows(words: &[(f64, f64)]) -> Vec<usize> {
    let mut ends: Vec<f64> = Vec::new();
    let mut rows = Vec::new();
    for (middle, wide) in words {
        let (from, to) = (middle - wide / 2.0, middle + wide / 2.0);
        let row = ends.iter().position(|end| *end + LETTER < from).unwrap_or(ends.len());
        match ends.get_mut(row) {
            Some(end) => *end = to,
            None => ends.push(to),
        }
        rows.push(row);
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_has_a_direction_whatever_its_ends_are() {
        for (low, high) in [(1.0, 1.0), (2.0, 1.0), (f64::NAN, 1.0), (0.0, f64::INFINITY)] {
            let span = Span::new(low, high);
            assert!(span.size() > 0.0 && span.size().is_finite(), "{low} {high}");
        }
        assert_eq!(Span::new(0.0, 1.0).ticks(3), [0.0, 0.5, 1.0]);
    }

    #[test]
    fn words_that_would_stand_on_each_other_go_to_rows_of_their_own() {
        assert_eq!(
            rows(&[(50.0, 60.0), (100.0, 60.0), (140.0, 60.0), (180.0, 60.0)]),
            [0, 1, 0, 1]
        );
    }

    #[test]
    fn a_place_that_is_no_number_stays_on_the_paper() {
        assert_eq!((places(f64::NAN), places(1.5)), (0, 150));
        assert!(places(f64::INFINITY) > 0 && places(f64::NEG_INFINITY) < 0);
    }
}
