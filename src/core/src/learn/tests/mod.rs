//! Synthetic parts with a known truth, and figures worked out elsewhere.

mod lessons;
mod synthetic;
mod truth;
mod worked_figures;
