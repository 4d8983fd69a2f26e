//! What the bench has to do next: one slot for each kind of event, so that looking for the earliest
//! is a scan over a few numbers and two events at one instant always come in the same order.

/// Kinds of events, in the order in which they are handled when they fall on one microsecond.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Slot {
    /// Silence of t3.5 ends a frame on the field line.
    FieldFrame,
    /// Silence of t3.5 ends a frame on the motion line.
    MotionFrame,
    /// A coil write takes effect in the field I/O module.
    Coils,
    /// The watchdog relay drops.
    WatchdogRelay,
    /// The field I/O module has heard nothing for its communication time-out.
    FieldTimeout,
    /// The drive has heard nothing for its communication time-out.
    DriveTimeout,
    /// The inverter has heard nothing for its communication time-out, or its ride-on ends.
    InverterTimeout,
    /// The drive finishes its start-up after power came on.
    DriveStart,
    /// The carriage ends a stretch of its profile or passes a switch.
    Carriage,
    /// The spindle reaches the end of a ramp.
    Spindle,
    /// Powder starts or ceases to arrive at the nozzle.
    Powder,
    /// Fuel or oxygen is missing long enough for the flame to be out.
    Flame,
    /// The controlled part of a category 1 stop is over: torque off.
    TorqueOff,
    /// A person's next movement.
    Hands,
    /// The regular step of the slow physics.
    Tick,
}

const ORDER: [Slot; 15] = [
    Slot::FieldFrame,
    Slot::MotionFrame,
    Slot::Coils,
    Slot::WatchdogRelay,
    Slot::FieldTimeout,
    Slot::DriveTimeout,
    Slot::InverterTimeout,
    Slot::DriveStart,
    Slot::Carriage,
    Slot::Spindle,
    Slot::Powder,
    Slot::Flame,
    Slot::TorqueOff,
    Slot::Hands,
    Slot::Tick,
];

/// Never.
pub(crate) const NEVER: u64 = u64::MAX;

/// The next instant of each kind of event, in microseconds.
#[derive(Clone, Debug)]
pub(crate) struct Agenda {
    at_us: [u64; ORDER.len()],
    earliest_us: u64,
}

impl Agenda {
    /// An empty agenda.
    pub(crate) fn new() -> Self {
        Self { at_us: [NEVER; ORDER.len()], earliest_us: NEVER }
    }

    /// Puts the next event of a kind at `at_us`, in place of the one that stood there.
    pub(crate) fn set(&mut self, slot: Slot, at_us: u64) {
        if let Some(place) = self.at_us.get_mut(slot as usize) {
            let was = *place;
            *place = at_us;
            if at_us <= self.earliest_us {
                self.earliest_us = at_us;
            } else if was == self.earliest_us {
                self.earliest_us = self.at_us.iter().copied().fold(NEVER, u64::min);
            }
        }
    }

    /// Takes an event of this kind off the agenda.
    pub(crate) fn clear(&mut self, slot: Slot) {
        self.set(slot, NEVER);
    }

    /// The instant of the earliest event.
    pub(crate) fn earliest_us(&self) -> u64 {
        self.earliest_us
    }

    /// Takes the earliest event off the agenda if it is due at `now_us`.
    pub(crate) fn take_due(&mut self, now_us: u64) -> Option<(Slot, u64)> {
        if self.earliest_us > now_us {
            return None;
        }
        let at_us = self.earliest_us;
        let index = self.at_us.iter().position(|&t| t == at_us)?;
        let slot = *ORDER.get(index)?;
        self.clear(slot);
        Some((slot, at_us))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_slot_stands_at_its_own_place() {
        for (index, slot) in ORDER.iter().enumerate() {
            assert_eq!(*slot as usize, index);
        }
    }

    #[test]
    fn events_come_in_order_of_time_and_then_of_kind() {
        let mut agenda = Agenda::new();
        agenda.set(Slot::Tick, 10);
        agenda.set(Slot::Coils, 10);
        agenda.set(Slot::Hands, 5);
        assert_eq!(agenda.take_due(4), None);
        assert_eq!(agenda.take_due(20), Some((Slot::Hands, 5)));
        assert_eq!(agenda.take_due(20), Some((Slot::Coils, 10)));
        agenda.set(Slot::Tick, 30);
        assert_eq!(agenda.take_due(20), None);
        assert_eq!(agenda.earliest_us(), 30);
    }
}
