//! How a spray torch that goes along a turning part coats it and heats it.
//!
//! The numeric kernel of the plan: plain SI numbers inside (metre, second, kilogram, watt, degree
//! Celsius), each field saying its own; the typed quantities stay at the door. Thickness is the
//! mean around the part; the radius is not changed by the growing coat.

mod conduction;
mod deposit;
pub mod even;
mod feeding;
mod helix;
mod metal;
mod shape;
mod spray;
mod travel;

pub use conduction::{Bar, Body, EndFaces, Flame, Heated, Loss, Source};
pub use deposit::{Coat, Coverage, Masses, Release, coat};
pub use feeding::{Command, Feeding, Flow, Switching};
pub use helix::ripple;
pub use metal::Metal;
pub use shape::Shape;
pub use spray::{Caught, Plume, Ring};
pub use travel::{Feed, Leg, Travel};
