//! How far a set-point may be tightened before it would trip a machine on which all is well.

use super::matrix::{Reference, Row, SetPoint, Tighter, Watch};
use crate::image::Analogue;

/// Oxygen in fresh air, % by volume (dry standard atmosphere, ISO 2533: 20.95).
const FRESH_AIR: f64 = 20.9;
/// The whole of what a share is a share of, %.
const WHOLE: f64 = 100.0;
/// Common practice, no source: no temperature window of a job is wider.
const WIDEST_WINDOW: f64 = 200.0;
/// A figure so many times stricter than the program's is a slip of a unit or a digit; arbitrary.
const SLIP: f64 = 10.0;

/// The strictest set-point that makes sense for a row, in the row's unit. What lies beyond it could
/// only stop a healthy machine, and would be found out at the machine.
pub(super) fn strictest(row: &Row, own: SetPoint) -> f64 {
    let air = matches!(
        row.watch,
        Watch::Below(Analogue::OxygenInAir, Reference::Own)
            | Watch::Above(Analogue::OxygenInAir, Reference::Own)
    );
    match (own.unit, own.tighter) {
        ("%", _) if air => FRESH_AIR,
        ("%", Tighter::Higher) => WHOLE,
        ("%", Tighter::Lower) if own.value >= WHOLE => WHOLE,
        ("K", Tighter::Higher) => own.value + WIDEST_WINDOW,
        ("K", Tighter::Lower) => own.value - WIDEST_WINDOW,
        (_, Tighter::Higher) => own.value * SLIP * SLIP,
        (_, Tighter::Lower) => own.value / SLIP,
    }
}

#[cfg(test)]
mod tests {
    use super::strictest;
    use crate::interlock::matrix::{Tighter, rows};

    #[test]
    fn every_row_leaves_room_to_tighten_it() {
        for row in rows() {
            let Some(own) = row.set_point else { continue };
            let strictest = strictest(row, own);
            let room = match own.tighter {
                Tighter::Higher => strictest > own.value,
                Tighter::Lower => strictest < own.value,
            };
            assert!(room, "{}: {} to {strictest}", row.key, own.value);
        }
    }
}
