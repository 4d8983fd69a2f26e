//! What measured parts, weighed powder and sprayed stripes teach of a torch with a powder.
//!
//! Five figures decide how thick a coat comes: deposition efficiency, powder given for powder
//! set, footprint, and the two densities. The catalogue says them with a stated uncertainty; what
//! was measured corrects them, and every answer carries the uncertainty that is left.
//!
//! ```text
//! Program ──> RunBasis ──┐
//!    PartMeasured        ├─> rows ──> fit ──> Knowledge ──> Lesson ──> Figures ──> the next plan
//!    FeederMeasured      │                        └───────> Band
//!    StripeMeasured  ────┘
//! ```
//!
//! - [`RunBasis`] is kept with a run: where its powder was released, which the measured part is
//!   held against. The coat of it is that of [`model`](crate::model).
//! - [`learn`] is the fit: in the logarithms of the figures, so that a product is a sum.
//! - [`Lesson`] says which figures the next plan stands on. A change of more than
//!   [`LARGEST_CHANGE`] waits for the engineer.
//! - [`Band`] is how far off a forecast may be.
//!
//! Diameters alone teach the build factor, efficiency times rate over density, and no more. Only
//! a part that was weighed tells efficiency and density apart.

mod band;
mod basis;
mod coats;
mod contradiction;
mod evidence;
mod figures;
mod fit;
mod iso17836;
mod knowledge;
mod lesson;
mod response;
mod rows;

pub use band::{Band, Cause};
pub use basis::{Finish, RunBasis, ZoneBasis};
pub use coats::CoatsMeasured;
pub use contradiction::{Contradiction, contradiction, is_same_place};
pub use evidence::{
    Catch, DiameterReading, Evidence, Fed, FeederMeasured, Measured, PartMeasured,
    PowderDelayMeasured, StripeMeasured, ThicknessReading, Weights, Witness,
};
pub use figures::{Figure, Figures, Pair};
pub use iso17836::{deposition_efficiency, rate_caught};
pub use knowledge::{Knowledge, Known, learn};
pub use lesson::{Accepted, HeldBack, LARGEST_CHANGE, Lesson, apply};
pub use rows::AS_DRAWN;

#[cfg(test)]
mod tests;
