//! Tests of the interlocks. All machines, jobs and readings here are invented.

mod arming;
pub(super) mod bench;
mod chaos;
mod course;
mod dice;
mod enforcement;
mod figures;
mod job;
mod latching;
mod provoke;
mod purging;
mod remaining;
mod table;
mod trade;
mod what_if;
