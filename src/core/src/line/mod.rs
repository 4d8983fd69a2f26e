//! A serial line: frames, one transaction at a time, who speaks next. Modbus RTU, without I/O.
//!
//! A late reply is never taken for the next one, noise is never taken for a reply, and every
//! transaction has one bound. Nothing here reads a clock: the caller says when bytes came.

mod connection;
mod counters;
mod frame;
mod listening;
mod presence;
mod reply;
mod request;
mod schedule;
#[cfg(test)]
mod tests;
mod timing;

pub use connection::{Answer, Line, Link, Miss, Outcome};
pub use counters::LineCounters;
pub use frame::{FRAME_MAX, Frame};
pub use presence::{Answering, Change, Presence};
pub use reply::{Bits, ExceptionCode, Registers, Reply};
pub(crate) use request::mask;
pub use request::{BITS_MAX, COILS_MAX, REGISTERS_MAX, Request, WORDS_MAX, Words};
pub use schedule::{Offer, Rank, Schedule};
pub use timing::Timing;
