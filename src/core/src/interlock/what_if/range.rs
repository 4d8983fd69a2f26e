//! What a value assumed of a signal can be on a rig: nothing outside the signal's range can be
//! read, and an answer to it would be an answer to nothing.

use super::asked::{Assumed, Assumption, AssumptionError, Reading, Target};
use crate::rig::Rig;

/// A tachometer and a drive read up to this many times what the rig asks of them; arbitrary, well
/// above where overspeed counts.
const BEYOND_ASKED: f64 = 2.0;

/// Refuses the first value that its signal can't have on this rig.
///
/// # Errors
/// The value, and the range of its signal.
pub fn within_ranges(rig: &Rig, assumed: &[Assumption]) -> Result<(), AssumptionError> {
    assumed.iter().try_for_each(|one| {
        let Assumed::Value(value) = one.assumed else { return Ok(()) };
        let Some(range) = range(rig, one.target) else { return Ok(()) };
        if (range.low..=range.high).contains(&value) {
            return Ok(());
        }
        let unit = range.unit;
        Err(AssumptionError {
            found: format!("{}={value} {unit}", one.target.name()),
            what: format!("{value} {unit} is outside what \"{}\" can read of it", rig.title),
            accepted: format!("{} {unit} to {} {unit}, {}", range.low, range.high, range.source),
            hint: None,
        })
    })
}

struct SignalRange {
    low: f64,
    high: f64,
    unit: &'static str,
    source: &'static str,
}

/// `None` for what has no value, or is not fitted.
fn range(rig: &Rig, target: Target) -> Option<SignalRange> {
    match target {
        Target::Analogue(tag) => {
            let spec = rig.field.analogues.iter().find(|spec| spec.tag == tag)?;
            spec.register?;
            Some(SignalRange {
                low: spec.at_4_ma.min(spec.at_20_ma),
                high: spec.at_4_ma.max(spec.at_20_ma),
                unit: tag.unit(),
                source: "its scale from 4 mA to 20 mA in the rig file",
            })
        }
        Target::Reading(reading) => {
            let (low, high, source) = match reading {
                Reading::Spindle => {
                    let most = rig.spindle.motor().speeds.high.rpm() * BEYOND_ASKED;
                    (0.0, most, "up to twice the spindle's highest speed in the rig file")
                }
                Reading::Carriage => {
                    let most = rig.axis.positioning.mm_per_s() * BEYOND_ASKED;
                    (-most, most, "up to twice the positioning speed in the rig file")
                }
                Reading::FollowingError => {
                    let most = (rig.axis.travel.high - rig.axis.travel.low).mm();
                    (0.0, most, "up to the whole travel in the rig file")
                }
            };
            Some(SignalRange { low, high, unit: reading.unit(), source })
        }
        Target::Contact(_) | Target::Device(_) | Target::Request => None,
    }
}

#[cfg(test)]
mod tests {
    use super::within_ranges;
    use crate::interlock::what_if::assumptions;
    use crate::rig::support::bench;

    #[test]
    fn a_value_that_its_signal_cannot_have_is_refused_with_the_range_it_has() {
        for (text, accepted) in [
            ("fuel_pressure=-5 bar", Some("0 bar to 2.5 bar")),
            ("fuel_pressure=99999 bar", Some("0 bar to 2.5 bar")),
            ("fuse_temperature=20 degC", Some("250 degC to 1300 degC")),
            ("oxygen_in_air=30 %", Some("0 % to 25 %")),
            ("spindle=-10 rpm", Some("0 rpm to 3000 rpm")),
            ("carriage=500 mm/s", Some("-120 mm/s to 120 mm/s")),
            ("fuel_pressure=0 bar", None),
            ("fuel_pressure=2.5 bar", None),
            ("spindle=1800 rpm", None),
            ("flame=off,request=abort", None),
        ] {
            let assumed = assumptions(text).expect(text);
            match (within_ranges(&bench(), &assumed), accepted) {
                (Ok(()), None) => {}
                (Err(refused), Some(accepted)) => {
                    assert!(refused.to_string().contains(accepted), "{refused}");
                }
                (found, _) => panic!("{text}: {found:?}"),
            }
        }
    }
}
