//! What was explored: situations, how each was come to first, and what follows what.

use crate::invariants::Broken;
use crate::moves::Move;
use crate::support::observed::Observed;

/// One explored situation: how it was come by first.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Found {
    pub(crate) parent: u32,
    /// Scans that went by before the move.
    pub(crate) waited: u32,
    pub(crate) by: Move,
    pub(crate) depth: u16,
    pub(crate) observed: u32,
    /// Whether something is not as it should be in a sound job.
    pub(crate) faulted: bool,
}

/// What was explored.
#[derive(Debug, Default)]
pub(crate) struct Graph {
    pub(crate) found: Vec<Found>,
    pub(crate) next: Vec<Vec<u32>>,
    pub(crate) observed: Vec<Observed>,
}

impl Graph {
    pub(crate) fn depth_of(&self, id: u32) -> Option<u16> {
        self.found.get(id as usize).map(|found| found.depth)
    }

    /// How a situation was come to first: scans that went by, and what happened then.
    pub(crate) fn path_to(&self, id: u32) -> Vec<(u32, Move)> {
        let mut path = Vec::new();
        let mut at = id;
        while let Some(found) = self.found.get(at as usize) {
            path.push((found.waited, found.by));
            at = found.parent;
        }
        path.reverse();
        path
    }
}

/// A path to something that must not be.
#[derive(Debug, Clone)]
pub(crate) struct Witness {
    pub(crate) broken: Broken,
    pub(crate) path: Vec<String>,
}
