//! Tests of the sequence in virtual time.
