//! Catalogue files.
#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| evenpass_fuzz::catalogue(data));
