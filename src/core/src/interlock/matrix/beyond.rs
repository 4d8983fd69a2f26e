//! Causes that no row can judge, and who answers them. They stand beside the matrix so that
//! nobody looks for them in vain.

use serde::Serialize;

/// A cause answered elsewhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Beyond {
    /// Its name for programs.
    pub key: &'static str,
    /// Its name for people.
    pub title: &'static str,
    /// Who answers it, and how.
    pub answered: &'static str,
    /// Why it is no row.
    pub why: &'static str,
}

/// All of them.
pub const BEYOND: &[Beyond] = &[
    Beyond {
        key: "hold_to_run_released",
        title: "Hold-to-run let go, or its lease run out",
        answered: "the sequence stops the carriage, at once and within 0.25 s on the wire; \
                   spindle as it was",
        why: "nothing but the carriage moves then, and letting go is how a jog ends",
    },
    Beyond {
        key: "mains_lost",
        title: "Mains lost",
        answered: "springs shut powder and gas, the drive has no torque, the spindle coasts; \
                   after power-up nothing starts and the run is told as interrupted",
        why: "without mains no program runs",
    },
    Beyond {
        key: "controller_dead",
        title: "Controller dead",
        answered: "the watchdog relay shuts fuel, oxygen and powder; field I/O and drive act on \
                   their own time-outs; the spindle rides on",
        why: "a dead program judges nothing",
    },
    Beyond {
        key: "waits",
        title: "Hold or stop asked from a seat or by the sequence itself",
        answered: "the sequence withdraws the torch, as for the rows of the same names",
        why: "it is the sequence's own doing; the rows stand for buttons and for what is raised",
    },
    Beyond {
        key: "flame_above_70_kw",
        title: "Net flame above 70 kW, or a flame nobody watches",
        answered: "a recipe with such a torch is refused on a rig without automatic burner control; attendance is asked for while a flame burns",
        why: "it is known before any gas flows (EN 746-2, a guide here)",
    },
];
