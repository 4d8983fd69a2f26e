//! The record: one SQLite file with every run, its recipe, plan and forecast, and what happened.
//!
//! ```text
//! Ledger --> Recorder::send --> bounded channel --> writer thread --> Store --> SQLite file
//!            (never waits)      (full: counted)     (batches)                     ^
//!            committed(), lost(), trouble() <-- observations        list, show ---+
//! ```
//!
//! - [`Store`] is the file: opened, checked, brought to the present schema, read.
//! - [`Recorder`] writes one run from a thread of its own. Trouble with the disk is an observation
//!   of the run, never its end.
//! - [`ProofRecord`] is one proof test of an interlock; the last of each says when it is due.
//! - [`MeasurementRecord`] is what a person measured of a run's part, of a feeder or of a stripe;
//!   it is withdrawn by another row, never changed.
//! - [`Batch`] is an order for parts alike, [`Mark`] what people add to a run, a batch or a rig.
//! - [`Inspected`] is what the marks of a run say of its part, and what still stands between it and
//!   whoever ordered it.
//! - Every row carries a digest of itself and of the row before it: see `chain`. [`Store::verify`]
//!   looks whether anything was changed since.
//! - [`ActRecord`] is one thing that somebody asked for, with what was answered.
//! - [`changes`] are what people changed in a run's passes; [`Store::sprayed`] is where its powder was
//!   released with them.
//! - [`facts`] and [`response`] are what the record understands of an entry's data: the table of
//!   passes, and what holds, stops and trips did and when; [`figures`] is what was sampled in each
//!   pass, and [`planned`] what its program and forecast wanted.
//!
//! A run whose program died without ending it reads as interrupted: while a run is written its
//! process holds a lock on a file beside the store, which the system lets go with the process. Where
//! the disk refuses, how far the run is goes into that file: see [`Unseen`].

mod acceptance;
mod act;
mod alive;
mod backup;
mod batch;
mod chain;
pub mod changes;
mod exported;
pub mod facts;
mod fault;
pub mod figures;
#[cfg(test)]
mod fixture;
mod flaw;
mod fused;
mod gauge;
mod inspected;
mod last;
mod location;
mod mark;
mod measurement;
mod once;
mod part;
pub mod planned;
mod proof;
mod pruned;
mod reading;
mod recorder;
pub mod response;
mod run;
mod said;
mod schema;
mod sprayed;
mod store;
mod stored;
mod undone;
mod unseen;
mod used;
mod verify;
mod wanted;
mod watch;
mod words;
mod writer;

pub use acceptance::AcceptanceRecord;
pub use act::{ActAnswer, ActRecord};
pub use batch::{Batch, BatchId, BatchPart, Ordered, PartToMake};
pub use exported::{Exported, NotExported, verify_export};
pub use fault::RecordError;
pub use flaw::Flaw;
pub use inspected::{Inspected, Open};
pub use last::{Held, LastLinks, NoLinks};
pub use location::records_file;
pub use mark::{Mark, MarkRecord, Of, ToldAfter};
pub use measurement::{Measurement, MeasurementRecord, Origin, Withdrawal};
pub use proof::{ProofOutcome, ProofRecord};
pub use pruned::Pruned;
pub use reading::{Gap, RunRecord, RunSummary};
pub use recorder::{Leaving, Recorder};
pub use run::{Beginning, Deviation, Ending, Outcome, RunEnd, RunHeader, RunId, RunKind, Source};
pub use said::{CoatStage, GaugeUsed, HardnessReading, Said, Verdict};
pub use sprayed::{Sprayed, ZonePasses};
pub use store::Store;
pub use stored::{RowLink, StoredRow};
pub use undone::RESUMES;
pub use unseen::{Unseen, total_in_words};
pub use used::{FUEL_OF, RunUsed};
pub use verify::{Seal, Verification};
pub use wanted::{NOT_MEASURED, TO_BE_MEASURED, Wanted};
pub use writer::Closed;
