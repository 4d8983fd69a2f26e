//! What the field module's inputs say, with the time each was true.

use core::time::Duration;

use super::current::CurrentInput;
use super::raw::RawField;
use super::tachometer;
use crate::image::{Analogue, Contact, Failure, Inputs, Kind, Level, Signal, SpindleReading};
use crate::line::{BITS_MAX, REGISTERS_MAX, Registers, Request};
use crate::moment::Moment;
use crate::rig::{FieldSpec, Sense};

/// How long the module's cycle counter may stand still. Chosen: between two and three reads of
/// the registers at 40 ms, and within the 0.2 s in which a transmitter fault must be recognised.
const FROZEN_AFTER: Duration = Duration::from_millis(100);

/// Where a contact's level comes from.
#[derive(Debug, Clone, Copy)]
enum Wire {
    /// This bit of the inputs read.
    Input { bit: u64, sense: Sense },
    /// There is no such device: this level holds.
    Absent(Level),
}

/// A block of inputs or registers that one request reads.
#[derive(Debug, Clone, Copy)]
struct Block {
    address: u16,
    count: u16,
}

impl Block {
    fn spanning(places: impl Iterator<Item = u16> + Clone, most: u16) -> Option<Self> {
        let (address, last) = (places.clone().min()?, places.max()?);
        let count = last.checked_sub(address)?.checked_add(1)?;
        (count <= most).then_some(Self { address, count })
    }

    fn place(&self, address: u16) -> usize {
        usize::from(address.saturating_sub(self.address))
    }
}

/// Places of the tachometer's and the module's own registers in the block.
#[derive(Debug, Clone, Copy)]
struct Places {
    period: usize,
    since: usize,
    cycle: usize,
}

/// The module's inputs as last read.
#[derive(Debug, Clone)]
pub(super) struct FieldImage {
    inputs: Block,
    registers: Block,
    wires: Vec<(Contact, Wire)>,
    currents: Vec<(Analogue, usize, CurrentInput)>,
    places: Places,
    pulses_per_turn: u32,
    bits: Signal<u64>,
    words: Vec<u16>,
    spindle: Signal<SpindleReading>,
    cycle: Option<u16>,
    moved: Moment,
}

impl FieldImage {
    pub(super) fn new(spec: &FieldSpec) -> Option<Self> {
        let inputs =
            Block::spanning(spec.contacts.iter().filter_map(|contact| contact.input), BITS_MAX)?;
        let tachometer = &spec.tachometer;
        let own = [
            tachometer.period_register,
            tachometer.period_register.checked_add(1)?,
            tachometer.count_register,
            tachometer.since_register,
            spec.cycle_register,
        ];
        let places = spec.analogues.iter().filter_map(|analogue| analogue.register).chain(own);
        let registers = Block::spanning(places, REGISTERS_MAX)?;
        let wire = |input: Option<u16>, absent, sense| match input {
            Some(input) => Wire::Input { bit: 1 << inputs.place(input).min(63), sense },
            None => Wire::Absent(absent),
        };
        Some(Self {
            inputs,
            registers,
            wires: spec
                .contacts
                .iter()
                .map(|contact| (contact.tag, wire(contact.input, contact.absent, contact.sense)))
                .collect(),
            currents: spec
                .analogues
                .iter()
                .filter_map(|analogue| {
                    let place = registers.place(analogue.register?);
                    Some((analogue.tag, place, CurrentInput::new(analogue)))
                })
                .collect(),
            places: Places {
                period: registers.place(tachometer.period_register),
                since: registers.place(tachometer.since_register),
                cycle: registers.place(spec.cycle_register),
            },
            pulses_per_turn: tachometer.pulses_per_turn,
            bits: Signal::default(),
            words: Vec::new(),
            spindle: Signal::default(),
            cycle: None,
            moved: Moment::START,
        })
    }

    pub(super) const fn contacts_request(&self) -> Request {
        Request::ReadDiscreteInputs { address: self.inputs.address, count: self.inputs.count }
    }

    pub(super) const fn registers_request(&self) -> Request {
        Request::ReadInputRegisters { address: self.registers.address, count: self.registers.count }
    }

    pub(super) fn handle_contacts(&mut self, bits: u64, at: Moment) {
        self.bits = match self.bits.kind {
            // A module that stands still is believed again when its registers show it moving.
            Kind::Failed(Failure::Frozen) => Signal::failed(bits, at, Failure::Frozen),
            _ => Signal::measured(bits, at),
        };
    }

    pub(super) fn refuse_contacts(&mut self, at: Moment) {
        self.bits = Signal::failed(self.bits.value, at, Failure::Refused);
    }

    pub(super) fn refuse_registers(&mut self, at: Moment) {
        self.fail_registers(at, Failure::Refused);
    }

    pub(super) fn handle_registers(&mut self, registers: &Registers<'_>, at: Moment) {
        self.words.clear();
        self.words.extend(registers.iter());
        let cycle = registers.word(self.places.cycle);
        if cycle != self.cycle {
            self.cycle = cycle;
            self.moved = at;
            if self.bits.kind == Kind::Failed(Failure::Frozen) {
                // The next read of the contacts, not the last one, is the first to be believed.
                self.bits = Signal::failed(self.bits.value, self.bits.at, Failure::NeverRead);
            }
        }
        if at.since(self.moved) >= FROZEN_AFTER {
            self.fail_registers(at, Failure::Frozen);
            self.bits = Signal::failed(self.bits.value, self.bits.at, Failure::Frozen);
            return;
        }
        for (_, place, current) in &mut self.currents {
            if let Some(count) = registers.word(*place) {
                current.handle_count(count, at);
            }
        }
        // The tachometer's registers are the module's own: high word first, whatever the drive.
        let period = registers.long(self.places.period, crate::rig::WordOrder::HighFirst);
        let since = registers.word(self.places.since);
        if let (Some(period), Some(since)) = (period, since) {
            self.spindle = match tachometer::reading(self.pulses_per_turn, period, since) {
                Ok(reading) => Signal::measured(reading, at),
                Err(why) => Signal::failed(self.spindle.value, at, why),
            };
        }
    }

    fn fail_registers(&mut self, at: Moment, why: Failure) {
        for (_, _, current) in &mut self.currents {
            current.fail(at, why);
        }
        self.spindle = Signal::failed(self.spindle.value, at, why);
    }

    /// What was read last, as it was on the wire.
    pub(super) fn raw(&self) -> RawField {
        let read = self.bits.kind != Kind::Failed(Failure::NeverRead);
        RawField {
            first_input: self.inputs.address,
            inputs: read.then_some(self.bits.value),
            first_register: self.registers.address,
            registers: self.words.clone(),
            coils: Vec::new(),
        }
    }

    /// Writes what is known into a scan's image.
    pub(super) fn fill(&self, inputs: &mut Inputs) {
        let now = inputs.now;
        for (tag, wire) in &self.wires {
            let Some(slot) = inputs.contacts.get_mut(tag.index()) else { continue };
            *slot = match *wire {
                Wire::Absent(level) => Signal::measured(level, now),
                Wire::Input { bit, sense } => {
                    let set = self.bits.value & bit != 0;
                    let value = match sense {
                        Sense::Straight => Level::from_bit(set),
                        Sense::Inverted => Level::from_bit(!set),
                    };
                    Signal { value, at: self.bits.at, kind: self.bits.kind }
                }
            };
        }
        for (tag, _, current) in &self.currents {
            if let Some(slot) = inputs.analogues.get_mut(tag.index()) {
                *slot = current.signal();
            }
        }
        inputs.spindle = self.spindle;
    }
}
