//! A disk for tests of the records.
//!
//! Every database file that this process opens is reached through a shim over the platform's own
//! files. A [`Disk`] watches one of them, with the journals beside it: it writes down every write,
//! truncation, sync, making and removal in their order, and refuses them when told to. From what
//! it wrote down, [`Remains`] tells what the disk holds after its power was cut at any operation.
//!
//! Whoever opens the database knows nothing of it. The shared memory beside a write-ahead log is
//! the platform's own: it is memory, and gone with the power.

mod dice;
mod disk;
mod remains;
mod shim;

pub use dice::Dice;
pub use disk::{Disk, Operation, Part, Refusal, Syncs};
pub use remains::{Left, Remains, Trust};
