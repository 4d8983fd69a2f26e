//! What the verbs of the command line print.

pub mod records;
mod sheet;
