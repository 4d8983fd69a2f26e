//! The people at the machine: who they are, what each may do, how they prove who they are.
//!
//! ```text
//! people.toml <--> PeopleFile --> People --> Person { name, role, units, PIN hash }
//!                                   |
//! name + PIN --> Throttle::begin ---+--> People::verify --> Sessions::begin --> two tokens
//!                (wait: no hash)         (slow on purpose)
//! ```
//!
//! - [`Role`] and [`Right`] are one table; [`Units`] are what a person reads figures in, those within
//!   the core's sentences too ([`Units::restate`]).
//! - [`People`] is the roll as a value; [`PeopleFile`] keeps it in a file that only its user may
//!   read.
//! - [`Pin`] is what a PIN has to be, [`PinHash`] what is kept of it.
//! - [`Throttle`] and [`Sessions`] decide with time and randomness as arguments.
//!
//! Stop is taken from anyone and asks nothing of this.

mod file;
mod pin;
mod random;
mod restate;
mod rewrite;
mod role;
mod roll;
mod sessions;
mod text;
mod throttle;
mod units;
mod whence;

pub use file::{PeopleError, PeopleFile};
pub use pin::{Pin, PinHash};
pub use random::random;
pub use role::{Right, Role};
pub use roll::{LONGEST_NAME, NOT_SIGNED_IN, People, Person, RollError, check_name};
pub use sessions::{Activity, Once, Session, Sessions, Tokens};
pub use throttle::{Throttle, Wait};
pub use units::{LengthUnit, PressureUnit, Scale, TemperatureUnit, Units};
pub use whence::Whence;
