//! Shortens a schedule that fails to the events it needs for that.

use super::schedule::Schedule;

/// Leaves out what can be left out while it still fails: first halves, then ever smaller pieces.
pub(crate) fn shrink(schedule: &Schedule, fails: impl Fn(&Schedule) -> bool) -> Schedule {
    let mut best = schedule.clone();
    let mut piece = best.events.len().div_ceil(2).max(1);
    loop {
        let mut from = 0;
        let mut shorter = false;
        while from < best.events.len() {
            let mut tried = best.clone();
            let to = (from + piece).min(tried.events.len());
            tried.events.drain(from..to);
            if fails(&tried) {
                best = tried;
                shorter = true;
            } else {
                from += piece;
            }
        }
        if piece == 1 && !shorter {
            return best;
        }
        piece = piece.div_ceil(2).max(1);
        if piece == 1 && shorter {
            continue;
        }
    }
}
