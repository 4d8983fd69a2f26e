//! What a person is asked to do at the machine. A prompt lights the blue lamp (IEC 60073:
//! mandatory action).

use core::fmt;

use crate::moment::Moment;
use crate::quantity::SpindleSpeed;

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Ask {
    /// Press start: the job is ready.
    Start,
    /// Press start: the homing begins.
    BeginHoming,
    /// Set the gear lever and accept.
    SetLever(SpindleSpeed),
    /// Open the guard, have the lighter ready, accept.
    OpenGuard,
    /// Light the torch now.
    Light,
    /// Set a neutral flame, shut the guard, accept.
    SetFlame,
    /// Look at the surface, accept or stop.
    Surface,
    /// Change the torch, shut the guard, accept.
    ChangeTorch,
    /// Shut the guard.
    ShutGuard,
    /// Look why the extraction is not seen to run.
    ProveExtraction,
    /// Call the band wet.
    CallWet,
    /// The part is still hot: accept to end the cooling all the same.
    StillHot,
    /// Show that somebody is there.
    Attendance,
}

impl Ask {
    /// Whether accept answers it; the others have a button of their own or an act that is seen.
    #[must_use]
    pub const fn is_answered_by_accept(&self) -> bool {
        matches!(
            self,
            Self::SetLever(_)
                | Self::OpenGuard
                | Self::SetFlame
                | Self::Surface
                | Self::ChangeTorch
                | Self::StillHot
                | Self::Attendance
        )
    }
}

impl fmt::Display for Ask {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Start => "everything is ready: press start at the machine",
            Self::BeginHoming => {
                "the carriage will move to find its datum, then to the park: press start"
            }
            Self::SetLever(speed) => {
                return write!(f, "set the gear lever to {:.1}, then press accept", speed.rpm());
            }
            Self::OpenGuard => "open the guard, lighter ready, then press accept: gas will flow",
            Self::Light => "gas flows: light the torch now",
            Self::SetFlame => "set a neutral flame, shut the guard, press accept",
            Self::Surface => {
                "too long since blasting: look at the surface; accept if it is clean, else stop"
            }
            Self::ChangeTorch => {
                "gas isolated, spindle at rest, axis without torque: change the torch, shut the \
                 guard, press accept"
            }
            Self::ShutGuard => "shut the guard",
            Self::ProveExtraction => {
                "the extraction is not seen to run: look at the fan, its duct and its switch"
            }
            Self::CallWet => "watch the band: press wet when its coat is wet all along",
            Self::StillHot => "the part is still hot: accept to end the cooling, or wait",
            Self::Attendance => "the flame burns: press accept to show that you are there",
        })
    }
}

/// A prompt as a screen shows it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prompt {
    /// What is asked.
    pub ask: Ask,
    /// Since when.
    pub since: Moment,
    /// Until when it can be answered; `None` when it waits for as long as it takes.
    pub until: Option<Moment>,
}
