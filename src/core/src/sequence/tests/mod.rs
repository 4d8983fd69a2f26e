//! Tests of the sequence in virtual time.

mod access;
mod change;
mod chaos;
mod diagram;
mod fixture;
mod gate;
mod interrupt;
mod job;
mod lighting;
mod manual;
mod person;
mod plant;
mod powder;
mod reach;
mod situation;
mod warmth;
