//! Tests of the interlocks.
