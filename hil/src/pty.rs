//! Serves a bench in wall time on two pseudo-terminals.
