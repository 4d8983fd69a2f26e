//! What the plotting library draws on: SVG text whose elements have the classes of their pens.
//!
//! The library's own SVG backend writes fixed colours at whole pixels. This one writes classes,
//! for a style sheet that knows light, dark and print, and places to a hundredth of a pixel.

use std::convert::Infallible;
use std::fmt::Write;

use plotters::drawing::DrawingAreaErrorKind;
use plotters_backend::text_anchor::{HPos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind,
    FontTransform,
};

use super::pen::Pen;

/// Places of the paper in a pixel of the picture.
pub(super) const PLACES_IN_A_PIXEL: f64 = 100.0;

/// Why a picture could not be drawn: only by a mistake in the drawing, never by its data.
pub type Fault = DrawingAreaErrorKind<Infallible>;
/// Something drawn.
pub(super) type Drawn = Result<(), Fault>;
/// A call of the library answered.
type Answer = Result<(), DrawingErrorKind<Infallible>>;

/// Text of an SVG picture that grows as it is drawn.
pub(super) struct Paper<'a> {
    svg: &'a mut String,
    size: (u32, u32),
}

impl<'a> Paper<'a> {
    /// A picture of so many places.
    pub(super) const fn new(svg: &'a mut String, size: (u32, u32)) -> Self {
        Self { svg, size }
    }

    /// Writing to a `String` cannot fail.
    fn put(&mut self, element: core::fmt::Arguments<'_>) -> Answer {
        let _ = self.svg.write_fmt(element);
        self.svg.push('\n');
        Ok(())
    }
}

/// A place as SVG has it.
fn pixels(place: i32) -> f64 {
    f64::from(place) / PLACES_IN_A_PIXEL
}

fn points(path: impl IntoIterator<Item = BackendCoord>) -> String {
    let mut text = String::new();
    for (x, y) in path {
        let _ = write!(text, "{},{} ", pixels(x), pixels(y));
    }
    text.truncate(text.trim_end().len());
    text
}

impl DrawingBackend for Paper<'_> {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        self.size
    }

    fn ensure_prepared(&mut self) -> Answer {
        Ok(())
    }

    fn present(&mut self) -> Answer {
        Ok(())
    }

    fn draw_pixel(&mut self, (x, y): BackendCoord, colour: BackendColor) -> Answer {
        self.draw_rect((x, y), (x + 1, y + 1), &colour, true)
    }

    fn draw_line<S: BackendStyle>(
        &mut self,
        from: BackendCoord,
        to: BackendCoord,
        style: &S,
    ) -> Answer {
        self.draw_path([from, to], style)
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        (left, top): BackendCoord,
        (right, bottom): BackendCoord,
        style: &S,
        _fill: bool,
    ) -> Answer {
        self.put(format_args!(
            "<rect class=\"{}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
            Pen::class_of(style.color()),
            pixels(left),
            pixels(top),
            pixels(right - left),
            pixels(bottom - top)
        ))
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Answer {
        let (class, points) = (Pen::class_of(style.color()), points(path));
        self.put(format_args!("<polyline class=\"{class}\" points=\"{points}\"/>"))
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        (x, y): BackendCoord,
        radius: u32,
        style: &S,
        _fill: bool,
    ) -> Answer {
        let (class, radius) = (Pen::class_of(style.color()), f64::from(radius) / PLACES_IN_A_PIXEL);
        self.put(format_args!(
            "<circle class=\"{class}\" cx=\"{}\" cy=\"{}\" r=\"{radius}\"/>",
            pixels(x),
            pixels(y)
        ))
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        corners: I,
        style: &S,
    ) -> Answer {
        let (class, points) = (Pen::class_of(style.color()), points(corners));
        self.put(format_args!("<polygon class=\"{class}\" points=\"{points}\"/>"))
    }

    fn draw_text<T: BackendTextStyle>(
        &mut self,
        text: &str,
        style: &T,
        (x, y): BackendCoord,
    ) -> Answer {
        let anchor = match style.anchor().h_pos {
            HPos::Left => "start",
            HPos::Center => "middle",
            HPos::Right => "end",
        };
        // Of the height of a small letter, so that no font has to be measured.
        let lower = match style.anchor().v_pos {
            VPos::Top => "0.8em",
            VPos::Center => "0.33em",
            VPos::Bottom => "0",
        };
        let (x, y) = (pixels(x), pixels(y));
        let turned = match style.transform() {
            FontTransform::None => String::new(),
            FontTransform::Rotate90 => format!(" transform=\"rotate(90 {x} {y})\""),
            FontTransform::Rotate180 => format!(" transform=\"rotate(180 {x} {y})\""),
            FontTransform::Rotate270 => format!(" transform=\"rotate(270 {x} {y})\""),
        };
        let class = Pen::class_of(style.color());
        self.put(format_args!(
            "<text class=\"{class}\" x=\"{x}\" y=\"{y}\" dy=\"{lower}\" \
             text-anchor=\"{anchor}\"{turned}>{}</text>",
            super::escaped(text)
        ))
    }
}
