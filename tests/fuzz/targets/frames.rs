//! Frames of the serial lines, both ends.
#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| evenpass_fuzz::frames(data));
