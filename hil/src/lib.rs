//! The bench of Evenpass: a physical twin of a spray lathe behind Modbus RTU devices.
//!
//! Layers, each using only those above it:
//!
//! - `spec`, `wiring`: the bench file, and which terminal is what.
//! - `plant`: motion, spindle, gas, flame, powder, deposit and heat, all in closed form between events.
//! - `wire`: frames as a device sees them.
//! - `device`: field I/O module, carriage drive, spindle inverter, each with its register map.
//! - `fault`, `hands`, `at_device`: what goes wrong, the person at the machine, and the technician.
//! - `bench`: all of it together, without clock, thread or operating system; bytes and time in, bytes
//!   out. `signals` and `outputs` are its terminals, `serving` its lines, `people` and `fate` what is
//!   done to it, `looking` its windows.
//! - `pty`: the only file that touches the operating system; serves a bench in wall time.

mod agenda;
mod at_device;
mod bench;
mod counts;
mod device;
mod fate;
mod fault;
mod hands;
mod looking;
mod outputs;
mod part;
mod people;
mod plant;
pub mod pty;
mod serving;
mod signals;
pub mod spec;
mod truth;
mod watching;
mod wire;
mod wiring;

pub use at_device::{AtContact, InLoop};
pub use bench::{Bench, Burst};
pub use fault::{Fault, LineFault, LineIndex, PlantFault, Target, Word};
pub use hands::{Act, HandScript, Presence, ScriptedPress};
pub use part::PartInChuck;
pub use spec::{BenchSpec, SpecError};
pub use truth::{Switched, Truth};
pub use wire::{FRAME_LIMIT, Frame};
pub use wiring::{Analogue, Button, Coil, Discrete};
