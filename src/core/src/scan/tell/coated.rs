//! The coat so far as an entry: powder that arrived, by place, for whoever takes the job up again.

use serde_json::json;

use crate::coat::{Bins, Coat};
use crate::ledger::{EntryKind, Ledger};
use crate::moment::Moment;
use crate::program::{Program, Step};
use crate::quantity::Length;

/// What a spraying step has put on the part.
pub(in crate::scan) struct CoatSoFar {
    /// The step, by its place in the program.
    step: usize,
    /// The zone, and the coat in its middle.
    zone: Option<(String, Length)>,
    bins: Bins,
}

impl CoatSoFar {
    /// Of the step that sprays; `None` while none does.
    pub(in crate::scan) fn of(coat: &Coat, program: Option<&Program>) -> Option<Self> {
        let step = coat.sprays()?;
        let zone = match program.and_then(|program| program.steps.get(step)) {
            Some(Step::Spray(spray)) => {
                let middle = (spray.edges.low + spray.edges.high) / 2.0;
                Some((spray.zone.clone(), coat.thickness_at(middle)))
            }
            _ => None,
        };
        Some(Self { step, zone, bins: coat.bins(step)? })
    }

    /// Writes it down; the step is counted from 1, as everywhere in the ledger.
    pub(in crate::scan) fn write(self, at: Moment, ledger: &mut Ledger) {
        let Self { step, zone, bins } = self;
        let text = zone.as_ref().map_or_else(String::new, |(zone, coat)| {
            format!("coat of {zone} so far: {coat:.3} in its middle")
        });
        let zone = zone.map(|(zone, _)| zone);
        let data = json!({ "step": step + 1, "zone": zone, "arrived": bins });
        ledger.write(at, EntryKind::Coat, text, String::new(), data);
    }
}
