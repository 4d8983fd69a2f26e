//! Tests of the sequence in virtual time.

mod fixture;
mod interrupt;
mod job;
mod plant;
mod powder;
mod reach;
