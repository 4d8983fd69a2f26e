//! The second sweep: things gone wrong in pairs, and set right again one by one.

use evenpass_core::image::Contact;
use evenpass_core::request::{Origin, Request};

use crate::explore::Search;
use crate::key::key;
use crate::moves::{self, Move};
use crate::node::Node;

/// So many changes are followed after a second thing has gone wrong.
const AFTER_A_PAIR: usize = 12;
/// The same after something was set right.
const AFTER_A_MENDING: usize = 4;
/// It is waited for a change for so many scans.
const FOR_A_CHANGE: u32 = 50;

/// What shows that a trip was seen, and what ends it: asked between two scans, or read in one.
const SEEN: Move = Move::Ask(Request::Acknowledge, Origin::Seat);
const ENDING: [Move; 2] =
    [Move::Ask(Request::Reset, Origin::Seat), Move::Press(Contact::ResetButton)];

impl Search<'_> {
    /// From the nearest sound situation of each state: one thing goes wrong, and once something
    /// has come of it another, one of each family; then time goes by.
    pub(super) fn try_pairs(&mut self) {
        let bases = std::mem::take(&mut self.bases);
        for (_, (base, node)) in &bases {
            for first in moves::first_faults(self.world) {
                let Some((at, mut one)) = self.happens(*base, node, first) else { continue };
                let at = self.goes_on(at, &mut one).unwrap_or(at);
                for second in moves::second_faults(self.world).filter(|second| *second != first) {
                    self.beside(at, &one, second);
                }
            }
        }
    }

    /// Where one thing is not as it should be, whatever it is: another goes wrong, or the
    /// controller is late.
    pub(super) fn try_beside(&mut self) {
        for (at, node) in std::mem::take(&mut self.settings) {
            let late = [Move::Late(400), Move::Late(900)];
            let stands = |kind| node.plant.faults.iter().flatten().any(|known| known.kind == kind);
            let seconds = moves::second_faults(self.world)
                .filter(|second| !matches!(second, Move::Break(kind) if stands(*kind)));
            for second in seconds.chain(late) {
                self.beside(at, &node, second);
            }
        }
    }

    fn beside(&mut self, at: u32, one: &Node, second: Move) {
        self.out.pairs += 1;
        let Some((at, mut both)) = self.happens(at, one, second) else { return };
        // What was come to before has been followed before.
        if !self.followed.insert(key(&both, self.world)) {
            return;
        }
        let at = self.follow(at, &mut both, AFTER_A_PAIR);
        self.sets_right(at, &both);
    }

    /// What is wrong is mended, the first, the second or both; then the trip is acknowledged and
    /// reset. Once for each situation.
    fn sets_right(&mut self, at: u32, both: &Node) {
        if !self.set_right.insert(key(both, self.world)) {
            return;
        }
        for mending in [Move::MendOne(0), Move::MendOne(1), Move::Mend] {
            let Some((mut at, mut node)) = self.happens(at, both, mending) else { continue };
            at = self.follow(at, &mut node, AFTER_A_MENDING);
            if let Some(seen) = self.happens(at, &node, SEEN) {
                (at, node) = seen;
                at = self.follow(at, &mut node, AFTER_A_MENDING);
            }
            for ending in ENDING {
                if let Some((at, mut node)) = self.happens(at, &node, ending) {
                    self.follow(at, &mut node, AFTER_A_MENDING);
                }
            }
        }
    }

    /// Something happens.
    fn happens(&mut self, from: u32, node: &Node, what: Move) -> Option<(u32, Node)> {
        let mut node = node.clone();
        let span = moves::begin(&mut node, self.world, what)?;
        self.out.transitions += 1;
        if let Err(broken) = self.scan(&mut node, span) {
            self.broke(from, 0, what, broken);
            return None;
        }
        Some((self.note(from, 0, what, &node), node))
    }

    /// Time goes by through so many changes at most.
    fn follow(&mut self, mut at: u32, node: &mut Node, changes: usize) -> u32 {
        for _ in 0..changes {
            let Some(next) = self.goes_on(at, node) else { break };
            at = next;
        }
        at
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
