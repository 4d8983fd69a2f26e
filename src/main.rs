//! Evenpass.
fn main() {}
