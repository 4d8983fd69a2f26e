//! Reading TOML files a person wrote, and saying well what is wrong with them.
//!
//! A file is parsed once into the spanned table of the `toml` crate and walked field by
//! field. A derived deserializer would stop at the first error and would forget where
//! the values stood; somebody who has typed forty figures wants all that is wrong in one go,
//! each with its line, and the checks between values need the lines as well. `serde` is used
//! the other way round, to write values out.
//!
//! Every problem is a value ([`Problem`]) that names its field by a path such as
//! `zone[1].finish` (places in a list are counted from 1). Checks that run on values after
//! reading name the path only; the place in the text is found from it when it is shown.

mod bounds;
mod change;
mod differences;
mod edits;
mod fields;
mod index;
mod leaves;
mod literal;
mod path;
mod problem;
mod set;
mod show;
mod syntax;
mod table;
mod tables;
mod value;

pub use bounds::Bounds;
pub(crate) use bounds::inches;
pub use change::Changed;
pub use differences::{Difference, differences};
pub(crate) use index::Written;
pub use leaves::{Leaf, leaves};
pub use problem::{Place, Problem, Problems, ProblemsByFile, Severity};
pub use set::{FieldValue, set};
pub(crate) use table::{Document, Table};
pub(crate) use tables::with_tables;
pub use value::nearest;
