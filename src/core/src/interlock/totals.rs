//! How long a trip may take in all, from the moment its condition holds to the moment its valves
//! have no current: a second, unless a row says otherwise with its reason.

use core::time::Duration;

use serde::Serialize;

/// The total of a trip whose row says nothing else: detection within 1 s (EN 298, from memory),
/// here with the valves in it.
pub const TRIP_TOTAL: Duration = Duration::from_millis(1_000);

/// A total of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Total {
    /// The row.
    pub key: &'static str,
    /// The longest time.
    pub longest: Duration,
    /// Why longer than a second.
    pub why: &'static str,
}

/// The rows that may take longer, each with its reason.
#[rustfmt::skip]
pub const LONGER: &[Total] = &[
    total("flame_remains", 5_500, "both valves are shut already; a glowing edge or sparks are gone by then"),
    total("no_ignition", 5_500, "the trial for ignition itself is 5 s; the sequence has shut before"),
    total("fuel_not_shut", 1_500, "the valve has its own second to prove shut; the other valve is shut"),
    total("oxygen_not_shut", 1_500, "the valve has its own second to prove shut; the other valve is shut"),
    total("carrier_low", 1_500, "the pressure dips for a moment when powder begins; the tip stands it"),
    total("extraction_flow_trip", 14_000, "the hold after 3 s has taken the powder; ten seconds to withdraw"),
    total("extraction_lost_trip", 14_000, "the hold after 3 s has taken the powder; ten seconds to withdraw"),
    total("extraction_transmitter_trip", 11_000, "the hold has taken the powder; ten seconds to withdraw"),
    total("oxygen_rich_air", 2_500, "air mixes slowly, a breath at the sensor does not count"),
    total("oxygen_poor_air", 2_500, "air mixes slowly, a breath at the sensor does not count"),
    total("flame_at_rest", 3_500, "the part turns: its ring gains 39 K in the first second; the plan may be shorter"),
    total("spindle_stopped", 1_500, "three pulses at the slowest speed; below 31.5 rpm a slow spindle is seen first"),
];

const fn total(key: &'static str, longest_ms: u64, why: &'static str) -> Total {
    Total { key, longest: Duration::from_millis(longest_ms), why }
}

/// The longest total of a row's effects, and the reason where it is longer than a second.
#[must_use]
pub fn permitted_total(key: &str) -> (Duration, &'static str) {
    LONGER
        .iter()
        .find(|total| total.key == key)
        .map_or((TRIP_TOTAL, ""), |total| (total.longest, total.why))
}
