//! The deciding core.
