//! Between which pressures no row speaks, by the figures in force on this rig and the pressures that
//! the torch in hand is set to: for a screen, which shows a value beside what is judged of it.

use serde::Serialize;

use super::Interlocks;
use crate::image::Analogue;
use crate::interlock::judge::threshold;
use crate::interlock::matrix::Watch;
use crate::quantity::Pressure;

/// Between which pressures no row speaks; open on the side on which none watches.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct PressureWindow {
    /// Below this a row speaks.
    pub low: Option<Pressure>,
    /// Above this a row speaks.
    pub high: Option<Pressure>,
}

/// The windows of a torch's three pressures.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct PressureWindows {
    /// Of the fuel.
    pub fuel: PressureWindow,
    /// Of the oxygen.
    pub oxygen: PressureWindow,
    /// Of the carrier.
    pub carrier: PressureWindow,
}

impl Interlocks {
    /// The windows of the step in hand; open on both sides before any torch is.
    #[must_use]
    pub fn pressure_windows(&self) -> PressureWindows {
        PressureWindows {
            fuel: self.window(Analogue::FuelPressure),
            oxygen: self.window(Analogue::OxygenPressure),
            carrier: self.window(Analogue::CarrierPressure),
        }
    }

    /// The strictest on each side, of rows that warn, hold and trip alike.
    fn window(&self, tag: Analogue) -> PressureWindow {
        let mut window = PressureWindow::default();
        if !self.plant.has_analogue(tag) {
            return window;
        }
        for (slot, fixed) in self.slots.iter().zip(self.fixed.iter()) {
            let at = |reference| {
                threshold(reference, fixed.figure.set_point, &self.scene, &self.limits)
                    .map(Pressure::from_bar)
            };
            match slot.watch {
                Watch::Below(watched, reference) if watched == tag => {
                    let stricter = |low: Pressure| window.low.map_or(low, |known| known.max(low));
                    window.low = at(reference).map(stricter).or(window.low);
                }
                Watch::Above(watched, reference) if watched == tag => {
                    let stricter =
                        |high: Pressure| window.high.map_or(high, |known| known.min(high));
                    window.high = at(reference).map(stricter).or(window.high);
                }
                _ => {}
            }
        }
        window
    }
}
