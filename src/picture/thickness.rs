//! The coat along the part after each pass.

use super::frame::{About, At, Frame, Span, UNDER, curve, legend, line, picture, text, trimmed};
use super::paper::{Drawn, Fault};
use super::pen::Pen;
use super::{Coated, Scene};

/// Draws it.
pub(super) fn draw(scene: &Scene<'_>) -> Result<String, Fault> {
    /// Left free above the thickest coat, as a share.
    const FREE: f64 = 1.1;
    let needed = scene.zones.iter().map(|zone| zone.forecast.passes.required.mm());
    let highest = needed.fold(scene.thickest(), f64::max);
    let frame =
        Frame { top: 10.0, bottom: 250.0, across: scene.along, up: Span::new(0.0, highest * FREE) };
    let says: Vec<String> = scene.zones.iter().map(said).collect();
    let about = About {
        key: "thickness",
        title: "Thickness after each pass",
        says: format!("{}.", says.join("; ")),
    };
    picture(&about, frame.bottom + UNDER + 26.0, |whole| {
        let up = "thickness as sprayed, mm";
        frame.axes(whole, "from the chuck face, mm", up, trimmed)?;
        let field = frame.field(whole);
        for zone in &scene.zones {
            let edges = zone.edges();
            for edge in [edges.low, edges.high] {
                let x = frame.x(edge);
                line(whole, &[(x, frame.top), (x, frame.bottom)], Pen::ZoneEdge)?;
            }
            let last = zone.coat.thickness.len().saturating_sub(1);
            // What lay there before the first pass is the zone before.
            for (pass, layer) in zone.coat.thickness.iter().enumerate().skip(1) {
                let places = zone.coat.places.iter().map(|at| at.mm());
                let through = places.zip(layer.iter().map(|thickness| thickness.mm())).collect();
                curve(&field, through, if pass == last { Pen::LastLayer } else { Pen::Layer })?;
            }
            let needed = zone.forecast.passes.required.mm();
            curve(&field, vec![(edges.low, needed), (edges.high, needed)], Pen::Needed)?;
            numbers(zone, &frame, whole)?;
        }
        let entries = [
            (Pen::Layer, "after a pass, by its number"),
            (Pen::LastLayer, "after the last pass"),
            (Pen::Needed, "needed as sprayed"),
            (Pen::ZoneEdge, "edge of a zone"),
        ];
        legend(whole, frame.bottom + UNDER + 14.0, &entries)
    })
}

fn said(zone: &Coated<'_>) -> String {
    let forecast = zone.forecast;
    format!(
        "{}: {:.3} mm as sprayed after {} passes, {:.3} mm needed",
        forecast.zone,
        forecast.sprayed.mm(),
        forecast.passes.planned,
        forecast.passes.required.mm()
    )
}

/// The number of each pass in the middle of its line, as far as there is room.
fn numbers(zone: &Coated<'_>, frame: &Frame, whole: &super::frame::Whole<'_>) -> Drawn {
    /// Pixels between two numbers.
    const APART: f64 = 13.0;
    let edges = zone.edges();
    let middle = f64::midpoint(edges.low, edges.high);
    let place = zone.coat.places.iter().position(|at| at.mm() >= middle).unwrap_or(0);
    let last = zone.coat.thickness.len().saturating_sub(1);
    let heights: Vec<(usize, f64)> = zone
        .coat
        .thickness
        .iter()
        .enumerate()
        .skip(1)
        .filter_map(|(pass, layer)| Some((pass, frame.y(layer.get(place)?.mm()))))
        .collect();
    // The last one is told whatever lies under it.
    let top = heights.last().map_or(0.0, |(_, y)| *y);
    let mut below = f64::INFINITY;
    for (pass, y) in heights {
        if pass == last || (below - y >= APART && y - top >= APART) {
            below = y;
            text(whole, &pass.to_string(), (frame.x(middle), y), At::Middle, Pen::NoteText)?;
        }
    }
    Ok(())
}
