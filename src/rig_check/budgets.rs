//! The times a rig must keep, worked out from its file and from what was measured.

use std::time::Duration;

use evenpass_core::devices::{DeviceId, Finding, SurveyItem};
use evenpass_core::interlock::durations::{
    DEAD_CONTROLLER, DRIVE_SILENCE, FIELD_SILENCE, JOG_AFTER_RELEASE, JOG_LEASE,
};
use evenpass_core::line::Timing;
use evenpass_core::quantity::Time;
use evenpass_core::rig::{LineId, Rig};
use serde::Serialize;

use super::Checked;

/// One time that must be kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Budget {
    /// What takes so long.
    pub what: String,
    /// How long it takes at worst.
    pub found: Duration,
    /// How long it may take.
    pub allowed: Duration,
}

impl Budget {
    /// Whether it is kept.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.found <= self.allowed
    }
}

/// All budgets of a rig.
#[must_use]
pub fn budgets(rig: &Rig, checked: &Checked) -> Vec<Budget> {
    let mut budgets = Vec::new();
    for (place, line) in rig.lines.iter().enumerate() {
        let timing = Timing::of(line);
        let on_it: Vec<&SurveyItem> =
            checked.survey.items().iter().filter(|item| item.line == LineId(place)).collect();
        budgets.push(Budget {
            what: format!("{}: a stop is on the wire, a device silent just then", line.name),
            found: stop_on_the_wire(rig, &timing, &on_it),
            // What the lease of a jog leaves of it.
            allowed: JOG_AFTER_RELEASE.saturating_sub(JOG_LEASE),
        });
        let allowed = if rig.field.line == LineId(place) { FIELD_SILENCE } else { DRIVE_SILENCE };
        budgets.push(Budget {
            what: format!("{}: a silent device is known, {} misses", line.name, line.misses),
            found: (timing.reply_within + timing.quarantine) * line.misses,
            allowed,
        });
        for item in on_it {
            budgets.extend(oldest_value(rig, &timing, item));
        }
    }
    let field = &rig.field;
    let module = field.communication_loss.to_duration() + field.coil_latency.to_duration();
    budgets.push(Budget {
        what: "controller dead: powder, fuel and oxygen off".to_owned(),
        found: module.max(field.watchdog.relay.to_duration()),
        allowed: DEAD_CONTROLLER,
    });
    let axis = &rig.axis;
    budgets.push(Budget {
        what: "controller dead: carriage at rest from its positioning speed".to_owned(),
        found: axis.communication_loss.after.to_duration()
            + Time::from_s(axis.positioning.mm_per_s() / axis.quick_stop.mm_per_s2()).to_duration(),
        allowed: DEAD_CONTROLLER,
    });
    budgets
}

/// A stop is wanted just after a scan, while a read is in flight that nobody answers: the rest of
/// the scan, the read to its deadline, the quarantine, and the first byte leaves.
fn stop_on_the_wire(rig: &Rig, timing: &Timing, on_it: &[&SurveyItem]) -> Duration {
    let longest = on_it
        .iter()
        .map(|item| {
            timing.wire(item.request.request_length()) + timing.wire(item.request.reply_length())
        })
        .max()
        .unwrap_or_default();
    rig.scan.to_duration() + longest + timing.reply_within + timing.quarantine
}

/// The age a cyclic value comes to when one read in between is lost: a period, the time-out and
/// its quarantine, and the exchange as measured.
fn oldest_value(rig: &Rig, timing: &Timing, item: &SurveyItem) -> Option<Budget> {
    let every = item.every?;
    let Finding::Answered { longest, .. } = item.finding else { return None };
    let allowed = match item.device {
        DeviceId::Field => rig.field.age_budget,
        DeviceId::Axis => rig.axis.age_budget,
        DeviceId::Spindle => rig.spindle.motor().age_budget,
    };
    Some(Budget {
        what: format!("{}: {} at their oldest, one read lost", item.device, item.read),
        found: every + timing.reply_within + timing.quarantine + longest,
        allowed: allowed.to_duration(),
    })
}
