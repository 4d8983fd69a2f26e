//! What the field module said last, as it was on the wire: for whoever looks for a broken wire or a
//! wrong address. Nothing is decided by it.

use super::coils::CoilBelief;
use crate::image::Coil;

/// What the field module said last. Its addresses are those of the rig file.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct RawField {
    /// The first discrete input that is read.
    pub first_input: u16,
    /// The inputs from there on, the first in the lowest bit; `None` before they were read.
    pub inputs: Option<u64>,
    /// The first input register that is read.
    pub first_register: u16,
    /// The registers from there on; empty before they were read.
    pub registers: Vec<u16>,
    /// The coils that are fitted.
    pub coils: Vec<(Coil, CoilBelief)>,
}

impl RawField {
    /// The bit of a discrete input, 0 or 1; `None` for one that was never read.
    #[must_use]
    pub fn input(&self, address: u16) -> Option<u8> {
        let place = u32::from(address.checked_sub(self.first_input)?);
        let shifted = self.inputs?.checked_shr(place)?;
        Some(u8::from(shifted & 1 == 1))
    }

    /// An input register; `None` for one that was never read.
    #[must_use]
    pub fn register(&self, address: u16) -> Option<u16> {
        let place = usize::from(address.checked_sub(self.first_register)?);
        self.registers.get(place).copied()
    }

    /// A coil; `None` for one that is not fitted.
    #[must_use]
    pub fn coil(&self, coil: Coil) -> Option<CoilBelief> {
        self.coils.iter().find(|(tag, _)| *tag == coil).map(|(_, belief)| *belief)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inputs_and_registers_are_found_by_the_addresses_of_the_rig_file_and_unread_ones_are_not() {
        let raw = RawField {
            first_input: 4,
            inputs: Some(0b101),
            first_register: 10,
            registers: vec![7, 12_000],
            coils: Vec::new(),
        };
        let inputs = [3, 4, 5, 6, 4 + 64].map(|address| raw.input(address));
        assert_eq!(inputs, [None, Some(1), Some(0), Some(1), None]);
        let registers = [9, 10, 11, 12].map(|address| raw.register(address));
        assert_eq!(registers, [None, Some(7), Some(12_000), None]);
        assert_eq!(RawField::default().input(0), None);
        assert_eq!(raw.coil(Coil::Fuel), None);
    }
}
