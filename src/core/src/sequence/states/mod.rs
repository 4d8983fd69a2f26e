//! The states' own behaviour, one file for each group of the chart.

pub(super) mod aborting;
pub(super) mod access;
pub(super) mod cooling;
pub(super) mod fusing;
pub(super) mod holding;
pub(super) mod idle;
pub(super) mod lighting;
pub(super) mod manual;
pub(super) mod preheating;
pub(super) mod spraying;
pub(super) mod starting;
pub(super) mod stopping;
