//! The part as it lies in the chuck, to one scale in length and thickness; only its coat is
//! drawn so many times too thick.

use super::frame::{
    About, At, Frame, Span, UNDER, curve, face, legend, line, picture, rows, text, trimmed, width,
};
use super::paper::{Drawn, Fault};
use super::pen::Pen;
use super::{Coated, Scene};

/// The thickest coat is drawn at most this thick, pixels (arbitrary: seen well, and still less
/// than the part).
const THICK: f64 = 22.0;
/// How many times too thick a coat may be drawn: round figures.
const TIMES: [f64; 9] = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0];

/// How many times too thick the coat is drawn, so that it is seen.
pub(super) fn exaggeration(scene: &Scene<'_>) -> f64 {
    let true_to_scale = scene.thickest() * scene.pixels_in_a_mm();
    TIMES.into_iter().rev().find(|times| times * true_to_scale <= THICK).unwrap_or(1.0)
}

/// Draws it.
pub(super) fn draw(scene: &Scene<'_>, times: f64) -> Result<String, Fault> {
    /// Between the coat and the rim of the field, and between rows of names, pixels.
    const ROOM: f64 = 10.0;
    const ROW: f64 = 17.0;
    let scale = scene.pixels_in_a_mm();
    let names: Vec<String> = scene.zones.iter().map(name).collect();
    let half = scene.largest_radius() + scene.thickest() * times + ROOM / scale;
    let placed = |frame: &Frame| {
        let words = scene.zones.iter().zip(&names);
        let middle = |zone: &Coated<'_>| f64::midpoint(zone.edges().low, zone.edges().high);
        rows(&words.map(|(zone, name)| (frame.x(middle(zone)), width(name))).collect::<Vec<_>>())
    };
    let up = Span::new(-half, half);
    let at = |top: f64| Frame { top, bottom: top + 2.0 * half * scale, across: scene.along, up };
    let rows = placed(&at(0.0));
    let lowest = rows.iter().max().map_or(0.0, |row| f64::from(u32::try_from(*row).unwrap_or(0)));
    let frame = at(ROW * (lowest + 1.0) + 4.0);
    let about = About {
        key: "outline",
        title: "The part and its coat",
        says: format!(
            "{}, drawn to scale; the coat is drawn {} times too thick. {}.",
            scene.recipe.part.name,
            trimmed(times),
            names.join("; ")
        ),
    };
    picture(&about, frame.bottom + UNDER + 26.0, |whole| {
        frame.axes(whole, "from the chuck face, mm", "radius, mm", |mm| trimmed(mm.abs()))?;
        let field = frame.field(whole);
        for zone in &scene.zones {
            for side in [1.0, -1.0] {
                coat(scene, zone, &field, times, side)?;
            }
        }
        part(scene, &field)?;
        let centre = [scene.along.low, scene.along.high].map(|z| (frame.x(z), frame.y(0.0)));
        line(whole, &centre, Pen::Centre)?;
        chuck(&frame, whole)?;
        for ((zone, name), row) in scene.zones.iter().zip(&names).zip(rows) {
            let edges = zone.edges();
            let y = frame.top - 5.0 - ROW * f64::from(u32::try_from(row).unwrap_or(0));
            for edge in [edges.low, edges.high] {
                line(
                    whole,
                    &[(frame.x(edge), y + 3.0), (frame.x(edge), frame.bottom)],
                    Pen::ZoneEdge,
                )?;
            }
            let middle = frame.x(f64::midpoint(edges.low, edges.high));
            text(whole, name, (middle, y), At::BottomMiddle, Pen::NameText)?;
        }
        diameters(scene, &frame, whole)?;
        let drawn = format!("coat as sprayed, drawn ×{}", trimmed(times));
        let mut entries = vec![(Pen::Part, "part"), (Pen::Coat, drawn.as_str())];
        if scene.recipe.fuse.is_some() {
            entries.push((Pen::Fused, "after fusing, as exaggerated"));
        }
        entries.push((Pen::Finish, "finished, as exaggerated"));
        if frame.across.contains(0.0) {
            entries.push((Pen::Chuck, "chuck face"));
        }
        legend(whole, frame.bottom + UNDER + 14.0, &entries)
    })
}

fn name(zone: &Coated<'_>) -> String {
    let edges = zone.edges();
    format!("{}: {} to {} mm", zone.zone.name, trimmed(edges.low), trimmed(edges.high))
}

/// The coat of a zone on one side of the axis.
fn coat(
    scene: &Scene<'_>,
    zone: &Coated<'_>,
    field: &super::frame::Field<'_>,
    times: f64,
    side: f64,
) -> Drawn {
    let part = &scene.recipe.part;
    let surface = |share: f64| -> Vec<(f64, f64)> {
        let pairs = zone.coat.places.iter().zip(zone.coat.last());
        pairs
            .map(|(at, thickness)| {
                let radius = part.diameter_at(*at).mm() / 2.0;
                (at.mm(), side * (radius + times * share * thickness.mm()))
            })
            .collect()
    };
    let sprayed = surface(1.0);
    let corners = sprayed.iter().copied().chain(surface(0.0).into_iter().rev()).collect();
    face(field, corners, Pen::Coat)?;
    curve(field, sprayed, Pen::CoatEdge)?;
    if let Some(fused) = &zone.forecast.fused {
        curve(field, surface(fused.build / zone.forecast.sprayed), Pen::Fused)?;
    }
    let edges = zone.edges();
    let finish = zone.coat.places.iter().filter(|at| edges.contains(at.mm()));
    let finish = finish.map(|at| {
        let radius = part.diameter_at(*at).mm() / 2.0;
        (at.mm(), side * (radius + times * zone.zone.finish.mm()))
    });
    curve(field, finish.collect(), Pen::Finish)
}

/// The section of the part, and its bore.
fn part(scene: &Scene<'_>, field: &super::frame::Field<'_>) -> Drawn {
    let part = &scene.recipe.part;
    let upper = part.profile.iter().map(|point| (point.at.mm(), point.diameter.mm() / 2.0));
    let lower = part.profile.iter().rev().map(|point| (point.at.mm(), -point.diameter.mm() / 2.0));
    let mut corners: Vec<(f64, f64)> = upper.chain(lower).collect();
    face(field, corners.clone(), Pen::Part)?;
    corners.extend(corners.first().copied());
    curve(field, corners, Pen::PartEdge)?;
    let (extent, bore) = (part.extent(), part.bore.mm() / 2.0);
    if bore > 0.0 {
        for radius in [bore, -bore] {
            let ends = vec![(extent.low.mm(), radius), (extent.high.mm(), radius)];
            curve(field, ends, Pen::Bore)?;
        }
    }
    Ok(())
}

/// The chuck face, where it is in the picture.
fn chuck(frame: &Frame, whole: &super::frame::Whole<'_>) -> Drawn {
    if !frame.across.contains(0.0) {
        return Ok(());
    }
    let x = frame.x(0.0);
    line(whole, &[(x, frame.top), (x, frame.bottom)], Pen::Chuck)
}

/// The diameter of every stretch that has one.
fn diameters(scene: &Scene<'_>, frame: &Frame, whole: &super::frame::Whole<'_>) -> Drawn {
    let profile = &scene.recipe.part.profile;
    for (a, b) in profile.iter().zip(profile.iter().skip(1)) {
        let words = format!("⌀ {} mm", trimmed(a.diameter.mm()));
        let (from, to) = (frame.x(a.at.mm()), frame.x(b.at.mm()));
        if a.diameter == b.diameter && to - from > width(&words) {
            let place = (f64::midpoint(from, to), frame.y(a.diameter.mm() / 2.0) + 13.0);
            text(whole, &words, place, At::Middle, Pen::NoteText)?;
        }
    }
    Ok(())
}
