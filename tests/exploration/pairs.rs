//! The second sweep: things gone wrong in pairs.

use crate::explore::Search;
use crate::key::key;
use crate::moves::{self, Move};
use crate::node::Node;

/// So many changes are followed after a second thing has gone wrong.
const AFTER_A_PAIR: usize = 12;
/// It is waited for a change for so many scans.
const FOR_A_CHANGE: u32 = 50;

impl Search<'_> {
    /// From the nearest sound situation of each state: one thing goes wrong, and once something
    /// has come of it another, one of each family; then time goes by.
    pub(super) fn try_pairs(&mut self) {
        let bases = std::mem::take(&mut self.bases);
        for (_, (base, node)) in &bases {
            for first in moves::first_faults(self.world) {
                let Some((one, at)) = self.goes_wrong(*base, node, first) else { continue };
                for second in moves::second_faults(self.world).filter(|second| *second != first) {
                    self.out.pairs += 1;
                    if let Some((mut both, mut at)) = self.goes_wrong(at, &one, second) {
                        for _ in 0..AFTER_A_PAIR {
                            let Some(next) = self.goes_on(at, &mut both) else { break };
                            at = next;
                        }
                    }
                }
            }
        }
    }

    /// Something goes wrong, and time goes by until something comes of it.
    fn goes_wrong(&mut self, from: u32, node: &Node, fault: Move) -> Option<(Node, u32)> {
        let mut node = node.clone();
        let span = moves::begin(&mut node, self.world, fault)?;
        self.out.transitions += 1;
        if let Err(broken) = self.scan(&mut node, span) {
            self.broke(from, 0, fault, broken);
            return None;
        }
        let at = self.note(from, 0, fault, &node);
        let then = self.goes_on(at, &mut node).unwrap_or(at);
        Some((node, then))
    }

    /// Time goes by until the situation is another one, a second at most; it is noted.
    fn goes_on(&mut self, at: u32, node: &mut Node) -> Option<u32> {
        self.out.transitions += 1;
        let before = key(node, self.world);
        for scan in 0..FOR_A_CHANGE {
            if let Err(broken) = self.scan(node, self.world.scan) {
                self.broke(at, scan, Move::Wait, broken);
                return None;
            }
            if key(node, self.world) != before {
                return Some(self.note(at, scan, Move::Wait, node));
            }
        }
        None
    }
}
