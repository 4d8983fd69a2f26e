//! The devices on the two lines, each with its own register map.

pub(crate) mod drive;
pub(crate) mod field_io;
pub(crate) mod inverter;
pub(crate) mod power_state;
