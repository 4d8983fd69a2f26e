//! Batches: what an order has come to, what the next part needs first, and the shift's report.
//!
//! [`evenpass_core::batch`] decides; here is where its values come from and go to.
//!
//! - [`used`]: what a run used up and how it went, from its entries.
//! - [`gas`]: gas by its kind, what a plan burns and what the bottles hold.
//! - [`midway`]: what a run used after something was told within it.
//! - [`standing`]: an order with the machine's stocks, as the records say.
//! - [`before`]: what is needed before the next part.
//! - [`job`]: the job of a batch, planned as of now.
//! - [`parts`]: every part of an order, and how it stands.
//! - [`telling`]: what people tell of one, for command line and panel alike.
//! - [`mod@line`], [`shift`]: what became of each part, and the report.
//! - [`served`]: the batch that a served machine's job belongs to.
//! - [`on_twin`]: parts made one after another on the twin in virtual time.

pub mod before;
pub mod gas;
pub mod job;
pub mod line;
pub mod midway;
pub mod on_twin;
pub mod parts;
pub mod served;
pub mod shift;
pub mod standing;
pub mod telling;
pub mod used;

#[cfg(test)]
mod tests;
