//! Points into geometry, or everything that is wrong with them.

use super::note::{Question, TeachNote};
use super::outline::{Outline, outline};
use super::units::{against, against_drawing, place_meant};
use super::{Limits, PointKind, Taught, TaughtPoint, Teaching, ZonePlaces};
use crate::document::{Problem, Problems};
use crate::plan::setup::{LENGTH_TOLERANCE, TeachOrder, taught_zone};
use crate::quantity::{Length, Range};
use crate::recipe::End;
use crate::request::Direction;

/// A point with its number, counted from 1.
#[derive(Debug, Clone, Copy)]
pub(super) struct Numbered {
    number: usize,
    /// Where it is.
    pub(super) at: Length,
    approached: Option<Direction>,
}

impl Numbered {
    /// How a problem with it is named.
    pub(super) fn path(&self, field: &str) -> String {
        format!("point[{}].{field}", self.number)
    }

    /// What was probably meant, where the place was typed: a jogged carriage knows no units.
    fn meant(&self, right: impl Fn(Length) -> bool) -> Option<String> {
        if self.approached.is_some() { None } else { place_meant(self.at, right) }
    }
}

/// What the points taken say of the part.
///
/// # Errors
/// Everything that is wrong with them, by point (`point[3].at`, counted from 1 in the order they
/// were taken); `point` alone where one is missing.
pub fn judge(teaching: &Teaching, limits: &Limits) -> Result<Taught, Problems> {
    let mut problems = Problems::default();
    let mut notes = Vec::new();
    let of = |what: PointKind| -> Vec<Numbered> {
        numbered(teaching).filter(|(_, point)| point.what == what).map(|(at, _)| at).collect()
    };
    for (number, point) in numbered(teaching) {
        inside_the_travel(&mut problems, &number, limits);
        if point.approached == Some(Direction::TowardChuck) && limits.backlash > Length::ZERO {
            notes.push(TeachNote::FromTheTail { point: number.number, backlash: limits.backlash });
        }
    }
    let part = faces(&of(PointKind::PartFace), &mut problems, &mut notes);
    let length = part.map(|part| part.high - part.low);
    if let (Some(taught), Some(drawn)) = (length, teaching.drawn_length) {
        match against_drawing(taught, drawn) {
            Some(problem) => problems.push(problem),
            None if (taught - drawn).abs() > LENGTH_TOLERANCE => {
                notes.push(TeachNote::NotAsDrawn { taught, drawn });
            }
            None => {}
        }
    }
    let diameters = diameters(teaching, length, limits, &mut problems);
    let Outline { profile, held } = part.map_or_else(Outline::default, |part| {
        outline(part, &of(PointKind::Shoulder), &diameters, &mut problems, &mut notes)
    });
    let zones = zones(&of(PointKind::ZoneEdge), part, limits, &mut problems, &mut notes);
    if problems.forbid() {
        return Err(problems);
    }
    for (place, zone) in zones.iter().enumerate() {
        let on_it = held
            .iter()
            .filter(|(range, _)| zone.edges.low < range.high && range.low < zone.edges.high);
        notes.extend(on_it.map(|(_, last)| TeachNote::DiameterHeld {
            zone: place + 1,
            at: last.at,
            diameter: last.diameter,
        }));
    }
    let swapped = zones.iter().any(|zone| zone.order == TeachOrder::Swapped);
    let question = (swapped && teaching.starts.is_none())
        .then_some(Question::FirstPass { taken_from: End::TailSide });
    Ok(Taught { profile, zones, starts: teaching.starts, question, notes })
}

fn numbered(teaching: &Teaching) -> impl Iterator<Item = (Numbered, &TaughtPoint)> {
    let points = teaching.points.iter().enumerate();
    points.map(|(place, point)| {
        let approached = point.approached;
        (Numbered { number: place + 1, at: point.at, approached }, point)
    })
}

fn inside_the_travel(problems: &mut Problems, point: &Numbered, limits: &Limits) {
    let Range { low, high } = limits.travel;
    if limits.travel.contains(point.at) {
        return;
    }
    problems.push(
        Problem::error(point.path("at"), format!("{} is outside the travel", point.at))
            .accepted(format!("{low} to {high}, where the torch of this rig may go"))
            .hint(point.meant(|meant| limits.travel.contains(meant)))
            .help_if_none("take it again, or clamp the part elsewhere"),
    );
}

/// Where the part begins and ends.
fn faces(
    taken: &[Numbered],
    problems: &mut Problems,
    notes: &mut Vec<TeachNote>,
) -> Option<Range<Length>> {
    let missing = |found: &str| {
        Problem::error("point", found)
            .accepted("one face of the part, that of the tail side, or both")
            .help("jog to the face and take it")
    };
    let part = match taken {
        [] => {
            problems.push(missing("no face of the part was taken"));
            return None;
        }
        [face] => {
            notes.push(TeachNote::FromTheChuckFace { to: face.at });
            Range { low: face.at.min(Length::ZERO), high: face.at.max(Length::ZERO) }
        }
        [one, other] => Range { low: one.at.min(other.at), high: one.at.max(other.at) },
        [.., last] => {
            let found = format!("{} faces of the part were taken", taken.len());
            problems.push(
                Problem::error(last.path("at"), found)
                    .accepted("one or two")
                    .help("take the others back, or take them as shoulders"),
            );
            return None;
        }
    };
    let face = taken.last()?;
    if part.low < Length::ZERO {
        let found = format!("the face at {} lies behind the chuck face", part.low);
        problems.push(
            Problem::error(face.path("at"), found)
                .accepted("0 mm, the chuck face, or more")
                .help("take it again; if it really is there, the datum of the rig is wrong"),
        );
        return None;
    }
    if part.high > part.low {
        return Some(part);
    }
    problems.push(
        Problem::error(
            face.path("at"),
            format!("the part has no length: both ends at {}", face.at),
        )
        .help("take its other face"),
    );
    None
}

/// The diameters that were typed, each judged by itself and beside the others.
fn diameters(
    teaching: &Teaching,
    length: Option<Length>,
    limits: &Limits,
    problems: &mut Problems,
) -> Vec<(Numbered, Length)> {
    let typed: Vec<(Numbered, Length)> =
        numbered(teaching).filter_map(|(number, point)| Some((number, point.diameter?))).collect();
    for (place, (point, diameter)) in typed.iter().enumerate() {
        let others: Vec<Length> = typed
            .iter()
            .enumerate()
            .filter(|(other, _)| *other != place)
            .map(|(_, (_, diameter))| *diameter)
            .collect();
        if let Some(problem) = against(&point.path("diameter"), *diameter, &others, length, limits)
        {
            problems.push(problem);
        }
    }
    for (number, _) in numbered(teaching)
        .filter(|(_, point)| point.what == PointKind::Diameter && point.diameter.is_none())
    {
        problems.push(
            Problem::error(number.path("diameter"), "no diameter was typed here")
                .help("type the diameter, or take the point back"),
        );
    }
    typed
}

fn zones(
    edges: &[Numbered],
    part: Option<Range<Length>>,
    limits: &Limits,
    problems: &mut Problems,
    notes: &mut Vec<TeachNote>,
) -> Vec<ZonePlaces> {
    if edges.is_empty() || edges.len() % 2 == 1 {
        let found = match edges.len() {
            0 => "no edge of a zone was taken".to_owned(),
            1 => "one edge of a zone was taken".to_owned(),
            count => format!("{count} edges of zones were taken"),
        };
        problems.push(
            Problem::error("point", found)
                .accepted("two edges for each zone")
                .help("jog to the edge that is missing and take it, or take one back"),
        );
    }
    let mut zones: Vec<(ZonePlaces, Numbered, Numbered)> = Vec::new();
    for pair in edges.chunks_exact(2) {
        let [first, second] = pair else { continue };
        match taught_zone(first.at, second.at, limits.plume) {
            Ok(zone) => {
                let Range { low, high } = zone.edges;
                let powder_on = Range { low: low - limits.overrun, high: high + limits.overrun };
                let zone = ZonePlaces { edges: zone.edges, order: zone.order, powder_on };
                zones.push((zone, *first, *second));
            }
            Err(short) => {
                problems.push(Problem::error(second.path("at"), short.to_string()).accepted(
                    format!("{} or more, two standard deviations of the plume", short.shortest),
                ));
            }
        }
    }
    zones.sort_by(|a, b| a.0.edges.low.mm().total_cmp(&b.0.edges.low.mm()));
    for (place, (zone, first, second)) in zones.iter().enumerate() {
        if zone.order == TeachOrder::Swapped {
            notes.push(TeachNote::Swapped { zone: place + 1, first: first.at, second: second.at });
        }
        for edge in [first, second] {
            lies_right(problems, edge, zone, part, limits);
        }
    }
    for pair in zones.windows(2) {
        let [(before, ..), (after, first, _)] = pair else { continue };
        if after.edges.low < before.edges.high {
            let found = format!(
                "the zone from {} to {} overlaps the one from {} to {}",
                after.edges.low, after.edges.high, before.edges.low, before.edges.high
            );
            problems.push(
                Problem::error(first.path("at"), found)
                    .accepted("each two edges, as they are taken, make a zone of their own")
                    .help("take the edges of one zone and then those of the next"),
            );
        }
    }
    zones.into_iter().map(|(zone, ..)| zone).collect()
}

/// An edge on the part, with its overrun inside the travel.
fn lies_right(
    problems: &mut Problems,
    edge: &Numbered,
    zone: &ZonePlaces,
    part: Option<Range<Length>>,
    limits: &Limits,
) {
    if let Some(part) = part.filter(|part| !part.contains(edge.at)) {
        problems.push(
            Problem::error(edge.path("at"), format!("the edge at {} is not on the part", edge.at))
                .accepted(format!("{} to {}, between its faces", part.low, part.high))
                .hint(edge.meant(|meant| part.contains(meant)))
                .help_if_none("take the edge again, or the face"),
        );
    }
    let end = if edge.at == zone.edges.low { zone.powder_on.low } else { zone.powder_on.high };
    let Range { low, high } = limits.travel;
    if limits.travel.contains(edge.at) && !limits.travel.contains(end) {
        let found = format!("with an overrun of {} the torch would go to {end}", limits.overrun);
        problems.push(
            Problem::error(edge.path("at"), found)
                .accepted(format!("{low} to {high}, where the torch of this rig may go"))
                .help("clamp the part elsewhere, or shorten the overrun"),
        );
    }
}
