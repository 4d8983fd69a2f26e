//! The buttons wired to the machine: a press is a change seen after the button was seen at rest.
//! A button that is stuck, or whose wire is broken in the pressed sense, never starts anything;
//! one that stops needs no such proof.

use crate::image::{Contact, Inputs, Level};
use crate::request::Request;

use core::time::Duration;

/// How a button reads and what it needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// Normally open; acts only after it was seen at rest.
    Acts,
    /// Normally closed: off is pressed or a broken wire; acts without having been seen at rest.
    Stops,
}

/// The buttons, each with what it asks. The start button restarts a held job and the reset
/// button first acknowledges: see [`super::Sequence`].
const BUTTONS: [(Contact, Kind, Request); 10] = [
    (Contact::AbortButtonRest, Kind::Stops, Request::Abort),
    (Contact::StopButtonRest, Kind::Stops, Request::Stop),
    (Contact::HoldButtonRest, Kind::Stops, Request::Hold),
    (Contact::StartButton, Kind::Acts, Request::Start),
    (Contact::ResetButton, Kind::Acts, Request::Reset),
    (Contact::AcceptButton, Kind::Acts, Request::Accept),
    (Contact::WetButton, Kind::Acts, Request::Wet),
    (Contact::BadFlameButton, Kind::Acts, Request::BadFlame),
    (Contact::CoatLiftingButton, Kind::Acts, Request::CoatLifting),
    (Contact::HoldToRun, Kind::Acts, Request::JogRelease),
];

/// What is known of one button.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Seen {
    /// Not seen at rest since the controller was made, or since it stood still.
    Unknown,
    /// At rest.
    Released,
    /// Pressed, and told.
    Pressed,
}

/// All buttons.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Buttons {
    seen: [Seen; BUTTONS.len()],
}

impl Buttons {
    pub(super) const fn new() -> Self {
        Self { seen: [Seen::Unknown; BUTTONS.len()] }
    }

    /// Forgets what was seen: whatever is pressed now must be let go first.
    pub(super) const fn forget(&mut self) {
        *self = Self::new();
    }

    /// The requests of the buttons newly pressed, stops first; `None` for the others.
    pub(super) fn pressed(
        &mut self,
        inputs: &Inputs,
        budget: Duration,
    ) -> [Option<Request>; BUTTONS.len()] {
        let mut requests = [None; BUTTONS.len()];
        for (((contact, kind, request), seen), slot) in
            BUTTONS.iter().zip(&mut self.seen).zip(&mut requests)
        {
            let Some(level) = inputs.contact(*contact).trusted(inputs.now, budget) else {
                // Unknown: an acting button must be seen at rest anew.
                if *kind == Kind::Acts {
                    *seen = Seen::Unknown;
                }
                continue;
            };
            let pressed = match kind {
                Kind::Acts => level == Level::On,
                Kind::Stops => level == Level::Off,
            };
            let tells = match (kind, *seen) {
                (_, Seen::Released) | (Kind::Stops, Seen::Unknown) => pressed,
                (Kind::Acts, Seen::Unknown) | (_, Seen::Pressed) => false,
            };
            *seen = match (pressed, tells, *seen) {
                (false, ..) => Seen::Released,
                (true, true, _) => Seen::Pressed,
                (true, false, seen) => seen,
            };
            // The hold-to-run button asks nothing by itself: it only keeps a jog going.
            if tells && *contact != Contact::HoldToRun {
                *slot = Some(*request);
            }
        }
        requests
    }
}

/// The first of the stopping buttons that is not seen at rest, by its name.
pub(super) fn stop_not_at_rest(inputs: &Inputs, budget: Duration) -> Option<&'static str> {
    BUTTONS
        .iter()
        .filter(|(_, kind, _)| *kind == Kind::Stops)
        .find(|(contact, ..)| !inputs.is_on(*contact, budget))
        .map(|(contact, ..)| contact.title())
}
