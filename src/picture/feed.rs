//! The feed along the part, and where powder is commanded and where it arrives.

use evenpass_core::plan::powder::{EdgePlaces, PassEdges};
use evenpass_core::plan::{Direction, LegMotion};
use evenpass_core::program::Pass;
use evenpass_core::quantity::{Acceleration, Length};

use super::frame::{
    About, At, Frame, Span, UNDER, Whole, area, curve, legend, line, picture, text, trimmed,
};
use super::paper::{Drawn, Fault};
use super::pen::Pen;
use super::{Coated, Scene};

/// Height of a row of powder, pixels.
const ROW: f64 = 54.0;
/// Height of the bar of arriving powder, and of the coil's under it, pixels.
const BARS: (f64, f64) = (9.0, 4.0);

/// Draws it.
pub(super) fn draw(scene: &Scene<'_>) -> Result<String, Fault> {
    /// Left free above the fastest feed, as a share.
    const FREE: f64 = 1.15;
    let alike: Vec<Vec<Alike<'_>>> = scene.zones.iter().map(alike).collect();
    let most = alike.iter().map(Vec::len).max().unwrap_or(0);
    let rows = f64::from(u32::try_from(most).unwrap_or(0));
    let fastest = scene.zones.iter().map(|zone| zone.forecast.feed.high.mm_per_s());
    let frame = Frame {
        top: 14.0 + rows * ROW,
        bottom: 14.0 + rows * ROW + 180.0,
        across: scene.along,
        up: Span::new(0.0, fastest.fold(0.0, f64::max) * FREE),
    };
    let says: Vec<String> = scene.zones.iter().map(said).collect();
    let about = About {
        key: "feed",
        title: "Feed along the part, and its powder",
        says: format!("{}.", says.join("; ")),
    };
    picture(&about, frame.bottom + UNDER + 26.0, |whole| {
        frame.axes(whole, "from the chuck face, mm", "feed, mm/s", trimmed)?;
        let field = frame.field(whole);
        let ramp = scene.plan.program.ramp;
        for (zone, alike) in scene.zones.iter().zip(&alike) {
            let edges = zone.edges();
            for edge in [edges.low, edges.high] {
                let x = frame.x(edge);
                line(whole, &[(x, 4.0), (x, frame.bottom)], Pen::ZoneEdge)?;
            }
            let mut passes = zone.step.passes.iter();
            if let Some(first) = passes.next() {
                curve(&field, driven(first, ramp), Pen::Feed)?;
            }
            if let Some(second) = passes.next() {
                curve(&field, driven(second, ramp), Pen::FeedBack)?;
            }
            let mut top = 8.0;
            for alike in alike {
                powder(zone, alike, &frame, whole, top)?;
                top += ROW;
            }
        }
        let entries = [
            (Pen::Feed, "feed of pass 1"),
            (Pen::FeedBack, "of pass 2"),
            (Pen::Arrives, "powder arrives"),
            (Pen::Coil, "its coil is on"),
            (Pen::Command, "where it is switched, by the torch's place"),
        ];
        legend(whole, frame.bottom + UNDER + 14.0, &entries)
    })
}

fn said(zone: &Coated<'_>) -> String {
    let feed = zone.forecast.feed;
    format!(
        "{}: feed {:.3} to {:.3} mm/s, powder switched on {} times",
        zone.forecast.zone,
        feed.low.mm_per_s(),
        feed.high.mm_per_s(),
        zone.forecast.switched_on
    )
}

/// The feed of a pass as it is driven, ramps included.
fn driven(pass: &Pass, ramp: Acceleration) -> Vec<(f64, f64)> {
    /// Widest piece, mm: ramps are shorter than a few millimetres.
    const PIECE: f64 = 0.25;
    let motion = LegMotion::new(pass, ramp);
    let way = pass.to - pass.from;
    let pieces = (way.abs().mm() / PIECE).ceil().clamp(1.0, 20_000.0);
    let mut through = Vec::new();
    let mut done = 0.0;
    while done <= pieces {
        let at = pass.from + way * (done / pieces);
        through.push((at.mm(), motion.speed_at(at).mm_per_s()));
        done += 1.0;
    }
    thinned(through)
}

/// Without points that lie on the line between their neighbours.
fn thinned(points: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    /// Farthest from that line, mm/s.
    const OFF: f64 = 1e-3;
    let mut kept: Vec<(f64, f64)> = Vec::new();
    let after = points.iter().skip(1).map(Some).chain([None]);
    for (point, next) in points.iter().zip(after) {
        let on_the_line = kept.last().zip(next).is_some_and(|(before, next)| {
            let share = (point.0 - before.0) / (next.0 - before.0);
            (before.1 + share * (next.1 - before.1) - point.1).abs() < OFF
        });
        if !on_the_line {
            kept.push(*point);
        }
    }
    kept
}

/// Passes whose powder is switched at the same places.
struct Alike<'a> {
    edges: &'a PassEdges,
    pass: &'a Pass,
    numbers: Vec<usize>,
}

fn alike<'a>(zone: &Coated<'a>) -> Vec<Alike<'a>> {
    let mut all: Vec<Alike<'a>> = Vec::new();
    for (edges, pass) in zone.forecast.commands.iter().zip(&zone.step.passes) {
        let same = |known: &&mut Alike<'_>| {
            (known.edges.on, known.edges.off, known.edges.direction)
                == (edges.on, edges.off, edges.direction)
        };
        match all.iter_mut().find(same) {
            Some(known) => known.numbers.push(edges.pass),
            None => all.push(Alike { edges, pass, numbers: vec![edges.pass] }),
        }
    }
    all
}

/// "pass 1", "passes 2, 4", "passes 1, 3 … 11".
fn numbered(numbers: &[usize]) -> String {
    match numbers {
        [one] => format!("pass {one}"),
        [first, second, .., last] if numbers.len() > 3 => {
            format!("passes {first}, {second} … {last}")
        }
        few => {
            let few: Vec<String> = few.iter().map(usize::to_string).collect();
            format!("passes {}", few.join(", "))
        }
    }
}

/// One row: where powder arrives in these passes, and where it is switched for that.
fn powder(
    zone: &Coated<'_>,
    alike: &Alike<'_>,
    frame: &Frame,
    whole: &Whole<'_>,
    top: f64,
) -> Drawn {
    let (edges, pass) = (alike.edges, alike.pass);
    let place = |edge: Option<EdgePlaces>, end: Length, of: fn(EdgePlaces) -> Length| {
        frame.x(edge.map_or(end, of).mm())
    };
    let arrives = |edge, end| place(edge, end, |edge| edge.arrives);
    let commanded = |edge, end| place(edge, end, |edge| edge.commanded);
    let (bar, coil) = (top + 17.0, top + 17.0 + BARS.0 + 2.0);
    let across = |a: f64, b: f64| (a.min(b), a.max(b));
    let (from, to) = across(arrives(edges.on, pass.from), arrives(edges.off, pass.to));
    area(whole, [(from, bar), (to, bar + BARS.0)], Pen::Arrives)?;
    let (on, off) = (commanded(edges.on, pass.from), commanded(edges.off, pass.to));
    let (left, right) = across(on, off);
    area(whole, [(left, coil), (right, coil + BARS.1)], Pen::Coil)?;
    let below = coil + BARS.1 + 3.0;
    for (edge, x, word) in [(edges.on, on, "on"), (edges.off, off, "off")] {
        let words = match edge {
            Some(edge) => {
                line(whole, &[(x, bar - 3.0), (x, coil + BARS.1 + 2.0)], Pen::Command)?;
                format!("{word} {:.1}", edge.commanded.mm())
            }
            None => "stays on".to_owned(),
        };
        text(whole, &words, (x, below), At::TopMiddle, Pen::NoteText)?;
    }
    let numbers = numbered(&alike.numbers);
    let words = match edges.direction {
        Direction::TowardTail => format!("{numbers} toward tail →"),
        Direction::TowardChuck => format!("← {numbers} toward chuck"),
    };
    let middle = f64::midpoint(zone.edges().low, zone.edges().high);
    text(whole, &words, (frame.x(middle), top + 12.0), At::BottomMiddle, Pen::NoteText)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn passes_are_told_by_their_numbers_in_few_words() {
        let told = |numbers: &[usize]| numbered(numbers);
        assert_eq!(told(&[1]), "pass 1");
        assert_eq!(told(&[2, 4, 6]), "passes 2, 4, 6");
        assert_eq!(told(&[1, 3, 5, 7, 9]), "passes 1, 3 … 9");
    }

    #[test]
    fn points_on_a_line_are_left_out_and_corners_stay() {
        let points = vec![(0.0, 0.0), (1.0, 1.0), (2.0, 2.0), (3.0, 2.0), (4.0, 2.0)];
        assert_eq!(thinned(points), [(0.0, 0.0), (2.0, 2.0), (4.0, 2.0)]);
    }
}
