//! The shell of Evenpass: everything that touches the world around the pure core.
//!
//! - [`files`] reads what a user has written, [`editing`] changes a field of it, [`revisions`] keeps
//!   every revision of a recipe; `durable` writes for them; [`log`] says what happens inside.
//! - [`picture`] draws a plan; [`shown`] makes text from outside safe to show.
//! - [`people`] says who may do what, and who somebody is.
//! - [`record`] keeps what happened in every run, durably, without ever holding the run up.
//! - [`adding`] takes in what people add to a run's record: readings, notes, what becomes of its part.
//! - [`report`] makes a page of one run, or of two held against each other, and [`export`] gives a
//!   run to other programs.
//! - [`particulars`] are what a person says of a part before it is made.
//! - [`resuming`] takes a run that was cut off up again from its record.
//! - [`learning`] gives what was measured to the next plan, [`followed`] charts it.
//! - [`batch`] is many parts alike: what the next one needs, and the shift's report.
//! - [`station`] is the machine as it is served: one controller, its seat, jobs and records.
//! - [`panel`] puts the station before people, in pages.
//! - [`cli`] puts it before a person or a program.

pub mod adding;
pub mod attendant;
pub mod batch;
pub mod cli;
pub mod clock;
pub mod comparison;
mod durable;
pub mod editing;
pub mod embed;
pub mod export;
pub mod files;
pub mod followed;
pub mod keeping;
pub mod learning;
pub mod log;
pub mod margins;
pub mod panel;
pub mod particulars;
pub mod people;
pub mod picture;
pub mod port;
pub mod proving;
pub mod record;
pub mod report;
pub mod resuming;
pub mod revisions;
pub mod rig_check;
pub mod shown;
pub mod station;
pub mod twin_job;
