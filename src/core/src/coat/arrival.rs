//! Powder between the feeder's coil and the part: every switching of the coil arrives one lead
//! later.

use core::time::Duration;
use std::collections::VecDeque;

use serde::Serialize;

use crate::image::Level;

/// An edge on its way through the hose.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
struct Edge {
    due_in: Duration,
    to: Level,
}

/// What arrives, and what is on its way.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub(super) struct Arrival {
    coil: Level,
    arriving: Level,
    under_way: VecDeque<Edge>,
}

impl Arrival {
    /// Notes the coil's level at the beginning of a scan; `lead` is that of a change to it.
    pub(super) fn coil(&mut self, level: Level, lead: Duration) {
        if level == self.coil {
            return;
        }
        self.coil = level;
        // An edge that would overtake the one before it undoes it: a pulse shorter than the
        // difference of the leads never shows.
        if self.under_way.back().is_some_and(|last| last.due_in >= lead) {
            self.under_way.pop_back();
        } else {
            self.under_way.push_back(Edge { due_in: lead, to: level });
        }
    }

    /// Lets `span` pass and tells during which parts of it powder arrived, from its beginning.
    pub(super) fn pass(&mut self, span: Duration) -> Vec<(Duration, Duration)> {
        let mut parts = Vec::new();
        let mut since = Duration::ZERO;
        while let Some(edge) = self.under_way.front().copied().filter(|edge| edge.due_in <= span) {
            self.under_way.pop_front();
            if self.arriving == Level::On && edge.due_in > since {
                parts.push((since, edge.due_in));
            }
            since = edge.due_in;
            self.arriving = edge.to;
        }
        if self.arriving == Level::On && span > since {
            parts.push((since, span));
        }
        for edge in &mut self.under_way {
            edge.due_in = edge.due_in.saturating_sub(span);
        }
        parts
    }

    /// Whether powder arrives or any edge is on its way.
    pub(super) fn is_under_way(&self) -> bool {
        self.arriving.is_on() || !self.under_way.is_empty()
    }

    /// Carrier and feeder are shut together: nothing more arrives.
    pub(super) fn cut(&mut self) {
        *self = Self::default();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn ms(value: u64) -> Duration {
        Duration::from_millis(value)
    }

    #[test]
    fn powder_arrives_and_ceases_one_lead_after_the_coil() {
        let mut arrival = Arrival::default();
        arrival.coil(Level::On, ms(600));
        assert_eq!(arrival.pass(ms(500)), []);
        assert_eq!(arrival.pass(ms(500)), [(ms(100), ms(500))]);
        arrival.coil(Level::Off, ms(800));
        assert_eq!(arrival.pass(ms(1000)), [(ms(0), ms(800))]);
        assert_eq!(arrival.pass(ms(1000)), []);
    }

    #[test]
    fn a_pulse_shorter_than_the_difference_of_the_leads_never_shows() {
        let mut arrival = Arrival::default();
        arrival.coil(Level::On, ms(800));
        assert_eq!(arrival.pass(ms(100)), []);
        arrival.coil(Level::Off, ms(600));
        assert_eq!(arrival.pass(ms(5000)), []);
    }

    #[test]
    fn a_cut_carrier_lets_nothing_more_arrive() {
        let mut arrival = Arrival::default();
        arrival.coil(Level::On, ms(600));
        arrival.pass(ms(700));
        arrival.cut();
        assert_eq!(arrival.pass(ms(100)), []);
    }
}
