//! The sequence: a hierarchical state machine that turns inputs, the interlocks' verdict and
//! people's requests into one proposed output image a scan. It does no I/O and has no clock.
//!
//! | file | what |
//! | --- | --- |
//! | `calls` | what the scan layer calls |
//! | `chart` | the diagram, super-states and which of them answers what |
//! | `state`, `leaf`, `states/` | the states: data, names, behaviour |
//! | `gate`, `conditions` | which request is let through where |
//! | `steps` | from one step of the program to the next |
//! | `motion`, `powder` | the carriage along a leg, and the powder edges on it |
//! | `propose` | what every proposal ends with: air, extraction, prompt, lamps |
//! | `buttons`, `attendance` | people at the machine |
//! | `cause`, `prompt`, `event` | its words |
//! | `in_hand` | the zone in hand with what people have changed in it |
//! | `situation` | what tells two of its states apart, times left out |

mod attendance;
mod buttons;
mod calls;
mod cause;
mod chart;
mod conditions;
mod context;
mod event;
mod gate;
mod in_hand;
mod leaf;
mod machine;
mod motion;
mod outbox;
mod powder;
mod prompt;
mod propose;
mod situation;
mod state;
mod states;
mod status;
mod steps;
#[cfg(test)]
mod tests;

pub use calls::Sequence;
pub use cause::{Cause, Unproved};
pub use event::{Event, Happening, PurgeHindrance, Wish};
pub use in_hand::{NextPass, ZoneInHand};
pub use leaf::{Leaf, Phase};
pub use machine::Suspect;
pub use prompt::{Ask, Prompt};
pub use situation::{JobStands, Situation};
pub use status::{Progress, Status, TimeLeft, crossing_time};
