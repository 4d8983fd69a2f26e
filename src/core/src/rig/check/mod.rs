//! Whether the parts of a rig file agree, and are safe as they stand.

mod axis;
mod line;
mod wiring;

use super::{
    Attendance, AxisSpec, FieldSpec, FlameWatch, InterlockFigures, LineSpec, LitBy, ProofInterval,
    Rig, RigKind, SpindleSpec,
};
use crate::document::Problems;
use crate::quantity::{Length, Time};

/// A rig on its way to be one; what was wrong is `None`.
#[derive(Default)]
pub(super) struct Draft {
    pub(super) title: Option<String>,
    pub(super) kind: Option<RigKind>,
    pub(super) lit_by: Option<LitBy>,
    pub(super) flame_watch: Option<FlameWatch>,
    pub(super) scan: Option<Time>,
    pub(super) swing: Option<Length>,
    pub(super) lines: Vec<Option<LineSpec>>,
    pub(super) field: Option<FieldSpec>,
    pub(super) axis: Option<AxisSpec>,
    pub(super) spindle: Option<SpindleSpec>,
    pub(super) attendance: Option<Attendance>,
    pub(super) interlocks: Option<Vec<InterlockFigures>>,
    pub(super) proof: Option<ProofInterval>,
}

impl Draft {
    /// Of a rig that is one already.
    pub(super) fn of(rig: &Rig) -> Self {
        Self {
            title: Some(rig.title.clone()),
            kind: Some(rig.kind),
            lit_by: Some(rig.lit_by),
            flame_watch: Some(rig.flame_watch),
            scan: Some(rig.scan),
            swing: Some(rig.swing),
            lines: rig.lines.iter().cloned().map(Some).collect(),
            field: Some(rig.field.clone()),
            axis: Some(rig.axis.clone()),
            spindle: Some(rig.spindle.clone()),
            attendance: Some(rig.attendance),
            interlocks: Some(rig.interlocks.clone()),
            proof: Some(rig.proof),
        }
    }

    /// The rig; `None` when a part of it is missing.
    pub(super) fn finish(self) -> Option<Rig> {
        Some(Rig {
            title: self.title?,
            kind: self.kind?,
            lit_by: self.lit_by?,
            flame_watch: self.flame_watch?,
            scan: self.scan?,
            swing: self.swing?,
            lines: self.lines.into_iter().collect::<Option<Vec<_>>>()?,
            field: self.field?,
            axis: self.axis?,
            spindle: self.spindle?,
            attendance: self.attendance?,
            interlocks: self.interlocks?,
            proof: self.proof?,
        })
    }
}

/// A short time as people say it.
fn ms(time: Time) -> String {
    format!("{:.0} ms", (time.s() * 1e3).ceil())
}

/// All that can be said about what could be read.
pub(super) fn draft(draft: &Draft) -> Problems {
    let mut problems = Problems::default();
    if let Some(field) = &draft.field {
        wiring::check(&mut problems, field, draft.lit_by);
    }
    if let Some(axis) = &draft.axis {
        axis::check(&mut problems, axis);
    }
    line::check(&mut problems, draft);
    problems
}
