//! The field I/O module: coils with a communication time-out, and the hardware watchdog relay that
//! stands between its coils and the valves.

use crate::spec::FieldIoSpec;
use crate::wire::pdu::Refusal;

/// Coils of the module.
pub(crate) const COILS: u16 = 16;
/// Discrete inputs of the module.
pub(crate) const DISCRETE_INPUTS: u16 = 32;
/// Input registers of the module.
pub(crate) const INPUT_REGISTERS: usize = 15;

/// The module's own state.
#[derive(Clone, Debug)]
pub(crate) struct FieldIo {
    spec: FieldIoSpec,
    /// What the coils were last told.
    commanded: u16,
    /// What the outputs do.
    acting: u16,
    holding: [u16; 2],
    /// The level that the relay last saw at its beat input.
    beat: u16,
    relay_up: bool,
}

/// Whether the beat coil changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Beat {
    /// It did: the relay is retriggered.
    Edge,
    /// It did not.
    Quiet,
}

impl FieldIo {
    pub(crate) fn new(spec: &FieldIoSpec) -> Self {
        let mut module = Self {
            spec: spec.clone(),
            commanded: 0,
            acting: 0,
            holding: [0; 2],
            beat: 0,
            relay_up: false,
        };
        module.power_up();
        module
    }

    /// All outputs off, parameters back to what they are after power-up.
    pub(crate) fn power_up(&mut self) {
        self.commanded = 0;
        self.acting = 0;
        self.holding = [self.spec.communication_timeout_ms, self.spec.communication_reaction];
        self.beat = 0;
        self.relay_up = false;
    }

    pub(crate) fn commanded(&self) -> u16 {
        self.commanded
    }

    pub(crate) fn acting(&self) -> u16 {
        self.acting
    }

    pub(crate) fn relay_up(&self) -> bool {
        self.relay_up
    }

    pub(crate) fn holding(&self) -> &[u16] {
        &self.holding
    }

    /// When the communication time-out will have run out after a request at `now_us`.
    pub(crate) fn heard(&self, now_us: u64) -> Option<u64> {
        let [limit_ms, reaction] = self.holding;
        let armed = limit_ms > 0 && reaction > 0;
        armed.then(|| now_us.saturating_add(u64::from(limit_ms) * 1_000))
    }

    /// Nothing has been heard for the communication time-out: all outputs off.
    pub(crate) fn communication_lost(&mut self) {
        self.commanded = 0;
    }

    /// Takes `count` coil levels, lowest bit first; they act one module cycle later.
    pub(crate) fn command(&mut self, start: u16, count: u16, bits: &[u8]) -> Result<(), Refusal> {
        if count == 0 || u32::from(start) + u32::from(count) > u32::from(COILS) {
            return Err(Refusal::Address);
        }
        let low = u16::from(bits.first().copied().unwrap_or_default());
        let high = u16::from(bits.get(1).copied().unwrap_or_default());
        let mask = u16::MAX >> (COILS - count);
        let levels = (low | high << 8) & mask;
        self.commanded = self.commanded & !(mask << start) | levels << start;
        Ok(())
    }

    /// Takes holding registers.
    pub(crate) fn set_holding(&mut self, start: u16, values: &[[u8; 2]]) -> Result<(), Refusal> {
        let from = usize::from(start);
        let places = self.holding.get_mut(from..from + values.len()).ok_or(Refusal::Address)?;
        if start <= 1 && start as usize + values.len() > 1 {
            let reaction = values.last().map(|v| u16::from_be_bytes(*v)).unwrap_or_default();
            if reaction > 1 {
                return Err(Refusal::Value);
            }
        }
        for (place, value) in places.iter_mut().zip(values) {
            *place = u16::from_be_bytes(*value);
        }
        Ok(())
    }

    /// The outputs take up what the coils were told.
    pub(crate) fn act(&mut self) {
        self.acting = self.commanded;
    }

    /// The level at the relay's beat input, as its wire brings it.
    pub(crate) fn beat(&mut self, level: u16) -> Beat {
        if std::mem::replace(&mut self.beat, level) == level {
            return Beat::Quiet;
        }
        self.relay_up = true;
        Beat::Edge
    }

    /// The relay has seen no edge for its hold time.
    pub(crate) fn drop_relay(&mut self) {
        self.relay_up = false;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::BenchSpec;

    fn module() -> FieldIo {
        FieldIo::new(&BenchSpec::default_bench().unwrap().field_io)
    }

    #[test]
    fn coils_act_only_when_the_module_cycle_takes_them_up() {
        let mut module = module();
        module.command(2, 2, &[0b11]).unwrap();
        assert_eq!((module.commanded(), module.acting()), (0b1100, 0));
        module.act();
        assert_eq!(module.acting(), 0b1100);
    }

    #[test]
    fn both_edges_of_the_beat_pick_the_relay_up() {
        let mut module = module();
        assert_eq!(module.beat(1), Beat::Edge);
        module.drop_relay();
        assert_eq!(module.beat(1), Beat::Quiet);
        assert!(!module.relay_up());
        assert_eq!(module.beat(0), Beat::Edge);
        assert!(module.relay_up());
    }

    #[test]
    fn a_range_beyond_the_last_coil_is_refused_and_changes_nothing() {
        let mut module = module();
        assert_eq!(module.command(10, 7, &[0xFF]), Err(Refusal::Address));
        assert_eq!(module.commanded(), 0);
        module.command(0, 16, &[0xFF, 0xFF]).unwrap();
        assert_eq!(module.commanded(), 0xFFFF);
    }
}
