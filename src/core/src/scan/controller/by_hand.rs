//! Why the carriage cannot be moved by hand, or no job be loaded, said before anybody tries: by the
//! gate itself.

use super::Controller;
use crate::request::{Answer, Denial, Direction, Origin, Request};

/// Why what is done from the seat while no job runs would be denied now; `None` where it would be
/// taken.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ByHand {
    /// Entering manual work.
    pub manual: Option<Denial>,
    /// Jogging and nudging.
    pub jog: Option<Denial>,
    /// Looking for the datum.
    pub home: Option<Denial>,
    /// Loading a job.
    pub load: Option<Denial>,
}

impl Controller {
    pub(super) fn by_hand(&self) -> ByHand {
        let verdict = self.interlocks.verdict();
        let denied =
            |request| match self.sequence.judge(request, Origin::Seat, &self.inputs, verdict) {
                Answer::Denied(denial) => Some(denial),
                Answer::Accepted | Answer::AlreadySo => None,
            };
        ByHand {
            manual: denied(Request::EnterManual),
            jog: denied(Request::Jog(Direction::TowardTail)),
            home: denied(Request::Home),
            load: self.sequence.why_no_load(),
        }
    }
}
