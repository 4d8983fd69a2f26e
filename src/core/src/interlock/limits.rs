//! What the step in hand sets for the interlocks. It can only be compared with, never switched
//! off: a value that is absent leaves the row's own figure in force.

use serde::Serialize;

use crate::quantity::{Length, Pressure, Range, SpindleSpeed, Temperature, Time};

/// Set-points that belong to the torch and the step in hand.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Limits {
    /// Fuel pressure the torch is set to; pressure rows compare with shares of it.
    pub fuel_pressure: Option<Pressure>,
    /// Highest gauge pressure of the fuel gas.
    pub fuel_pressure_limit: Option<Pressure>,
    /// Oxygen pressure the torch is set to.
    pub oxygen_pressure: Option<Pressure>,
    /// Carrier pressure the torch is set to.
    pub carrier_pressure: Option<Pressure>,
    /// Spindle speed of the step.
    pub spindle: Option<SpindleSpeed>,
    /// Part temperature while powder is on.
    pub spray_window: Option<Range<Temperature>>,
    /// Reading of the pyrometer above which the torch is withdrawn in fusing.
    pub fuse_ceiling: Option<Temperature>,
    /// Extent of the part.
    pub part: Option<Range<Length>>,
    /// Distance beyond the part at which the torch is clear.
    pub clear_by: Length,
    /// The park.
    pub park: Length,
    /// Longest time a flame may rest over one spot of the turning part, from the heat rate; only
    /// a figure under the row's own counts.
    pub longest_rest: Option<Time>,
    /// Longest gas may flow unlit.
    pub trial: Option<Time>,
    /// The pass in hand, counted from 1; told with a cause, judged by nothing.
    pub pass: Option<usize>,
}
