//! Whether the coat of a run was fused, whatever became of the run after that.

use evenpass_core::ledger::EntryKind;
use serde_json::Value;

use super::planned::Planned;
use super::{Outcome, RunRecord};

impl RunRecord {
    /// Whether its whole coat is as its steps leave it: the run is complete, or a person called every
    /// band of its fusing wet, as in a run that was stopped while its part cooled down. A run that
    /// fuses nothing leaves its coat so once it is complete.
    #[must_use]
    pub fn was_fused(&self) -> bool {
        if self.summary.outcome == Outcome::Complete {
            return true;
        }
        let fusing = Planned::of(self).fusing;
        let is_wet = |step: u64, band: u64| {
            self.entries.iter().filter(|entry| entry.kind == EntryKind::Pass).any(|entry| {
                let is = |name: &str, wanted| {
                    entry.data.get(name).and_then(Value::as_u64) == Some(wanted)
                };
                is("step", step) && is("band", band)
            })
        };
        !fusing.is_empty()
            && fusing
                .iter()
                .all(|step| (1_u64..).zip(&step.bands).all(|(band, _)| is_wet(step.number, band)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture::record;

    #[test]
    fn a_coat_whose_bands_were_all_called_wet_is_fused_though_its_run_was_stopped_in_cooling() {
        let mut run = record();
        assert!(run.was_fused());
        run.summary.outcome = Outcome::Stopped;
        assert!(run.was_fused(), "its one band was called wet");
        run.entries.retain(|entry| entry.data.get("band").is_none());
        assert!(!run.was_fused());
        // A zone without its word is a coat that is not all fused.
        let mut two = record();
        two.summary.outcome = Outcome::Tripped;
        let steps = two.program["steps"].as_array_mut().expect("steps");
        let fuse = steps[3].clone();
        steps.push(fuse);
        assert!(!two.was_fused());
        two.program = Value::Null;
        assert!(!two.was_fused(), "nobody knows what was to be fused");
    }
}
