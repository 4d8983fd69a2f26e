//! The image: everything one scan knows about the machine, and everything it asks of it.

mod inputs;
mod outputs;
mod signal;
mod tags;

pub use inputs::{AxisReading, Inputs, LineHealth, Referenced, SpindleReading};
pub use outputs::{
    AxisDemand, DriveEnable, HomingRequest, Outputs, PowderDemand, PowderEdge, SpindleDemand,
    Travel,
};
pub use signal::{Failure, Kind, Level, Signal};
pub use tags::{Analogue, Coil, Contact};
