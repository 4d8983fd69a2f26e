//! Tests of the sequence in virtual time.

mod access;
mod diagram;
mod fixture;
mod gate;
mod interrupt;
mod job;
mod lighting;
mod manual;
mod pace;
mod plant;
mod powder;
mod reach;
