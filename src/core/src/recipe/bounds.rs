//! The ranges the figures of a recipe may lie in, whatever its powder and torch.

use crate::document::Bounds;
use crate::quantity::{Length, Pitch, Temperature, Time};

const PRACTICE: &str = "common practice, no source";

/// A position on the part. Wide enough for any lathe; the rig's travel is checked with the rig.
pub(super) const POSITION: Bounds<Length> = Bounds::new(
    Length::from_mm(0.0),
    Length::from_mm(10_000.0),
    "from the chuck face, positive toward the tail",
);
/// A diameter.
pub(crate) const DIAMETER: Bounds<Length> =
    Bounds::new(Length::from_mm(3.0), Length::from_mm(2000.0), PRACTICE);
/// A bore; zero is solid.
pub(super) const BORE: Bounds<Length> =
    Bounds::new(Length::from_mm(0.0), Length::from_mm(1990.0), PRACTICE);
/// Radial thickness on the finished part.
pub(super) const FINISH: Bounds<Length> =
    Bounds::new(Length::from_mm(0.02), Length::from_mm(4.0), PRACTICE);
/// Radial allowance for machining; 0.2 to 0.4 mm is usual.
pub(super) const ALLOWANCE: Bounds<Length> =
    Bounds::new(Length::from_mm(0.0), Length::from_mm(1.5), PRACTICE);
/// How far powder stays on past an edge.
pub(super) const OVERRUN: Bounds<Length> =
    Bounds::new(Length::from_mm(0.0), Length::from_mm(100.0), PRACTICE);
/// Travel for each turn.
pub(super) const PITCH: Bounds<Pitch> =
    Bounds::new(Pitch::from_mm_per_turn(0.2), Pitch::from_mm_per_turn(50.0), PRACTICE);
/// Radial thickness of one pass; 0.075 to 0.150 mm is usual for metals.
pub(super) const THICKNESS_PER_PASS: Bounds<Length> =
    Bounds::new(Length::from_mm(0.01), Length::from_mm(0.5), PRACTICE);
/// Temperature of the part before spraying.
pub(super) const PREHEAT: Bounds<Temperature> =
    Bounds::new(Temperature::from_celsius(40.0), Temperature::from_celsius(600.0), PRACTICE);
/// Soak after preheating.
pub(super) const SOAK: Bounds<Time> =
    Bounds::new(Time::from_s(0.0), Time::from_s(7200.0), PRACTICE);
/// The longest a step may last.
pub(super) const LONGEST: Bounds<Time> =
    Bounds::new(Time::from_s(5.0), Time::from_s(86_400.0), PRACTICE);
/// Time since blasting: a blasted surface is prepared again after 2 h.
pub(super) const BLASTED: Bounds<Time> =
    Bounds::new(Time::from_s(600.0), Time::from_s(7200.0), "AWS C2.19: prepared again after 2 h");
/// Rest at a turn.
pub(super) const DWELL: Bounds<Time> = Bounds::new(Time::from_s(0.0), Time::from_s(10.0), PRACTICE);
/// Length heated at a time while fusing.
pub(super) const BAND: Bounds<Length> =
    Bounds::new(Length::from_mm(5.0), Length::from_mm(300.0), PRACTICE);
/// Reading above which the fusing torch is withdrawn.
pub(super) const CEILING: Bounds<Temperature> = Bounds::new(
    Temperature::from_celsius(1040.0),
    Temperature::from_celsius(1250.0),
    "above 1204 degC (2200 degF) self-fluxing coats run and drop; 46 K for the pyrometer",
);
/// Temperature below which the spindle may stop.
pub(super) const TURN_UNTIL: Bounds<Temperature> =
    Bounds::new(Temperature::from_celsius(30.0), Temperature::from_celsius(950.0), PRACTICE);
/// Shortest time of turning while cooling.
pub(super) const AT_LEAST: Bounds<Time> =
    Bounds::new(Time::from_s(0.0), Time::from_s(86_400.0), PRACTICE);
/// Total run-out of a finished part, from what a dial gauge shows to a part that is bent.
pub(super) const RUN_OUT: Bounds<Length> =
    Bounds::new(Length::from_mm(0.001), Length::from_mm(2.0), PRACTICE);
/// The most zones of a recipe and points of an outline.
pub(super) const MOST: usize = 100;
/// The most passes of a zone.
pub(super) const PASSES: u32 = 500;
/// Solid metal turns until this far below the solidus: a molten coat sags on a still part.
pub(super) const BELOW_SOLIDUS: f64 = 50.0;
/// Overrun, in standard deviations of the plume, below which the edges come out thin:
/// 0.977 of the full thickness at 2 (the normal distribution's integral).
pub(super) const EDGE_DEVIATIONS: f64 = 2.0;
/// Pitch, in standard deviations of the plume, above which ripple passes 3 % peak to peak
/// (computed from the sum of Gaussian bands: 2.9 % at 2).
pub(super) const PITCH_DEVIATIONS: f64 = 2.0;
/// Shortest zone, in standard deviations of the plume: below it both fall-offs overlap.
pub(super) const ZONE_DEVIATIONS: f64 = 2.0;
/// Steepest surface against the axis, degrees: spray should meet a surface at 45 degrees or
/// more (common practice, no source).
pub(super) const STEEPEST: f64 = 45.0;
/// A part more times longer than thick than this was probably typed in two units (arbitrary).
pub(super) const SLENDER: f64 = 60.0;
/// So was one more times thicker than long than this (arbitrary).
pub(super) const FLAT: f64 = 8.0;
/// Spindle stop above this is only for coupons: shafts turn until black (common practice).
pub(super) const STOPPED_HOT: Temperature = Temperature::from_celsius(600.0);
