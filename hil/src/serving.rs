//! Frames in, frames out: which device answers what and when, and what the line does to it.

use crate::agenda::{NEVER, Slot};
use crate::bench::{Bench, Burst};
use crate::device::field_io::{COILS, DISCRETE_INPUTS};
use crate::fault::{LineFault, LineIndex, Target, Word};
use crate::wire::pdu::{self, Refusal, Request, Table};
use crate::wire::{Frame, crc};

/// Pause in the middle of a torn reply, us: longer than any frame may have.
const TORN_PAUSE_US: u64 = 3_000;
/// Pause before the second of two equal replies and after a foreign frame, us.
const REPEAT_PAUSE_US: u64 = 2_000;

impl Bench {
    pub(crate) fn is_cut(&self, line: LineIndex) -> bool {
        self.line_faults.iter().any(|f| f.line == line && f.fault == LineFault::Cut)
    }

    pub(crate) fn end_of_frame(&mut self, line: LineIndex) {
        let receiver = match line {
            LineIndex::Field => &mut self.field_line,
            LineIndex::Motion => &mut self.motion_line,
        };
        let Some(frame) = receiver.end_of_frame() else { return };
        if !self.powered || !crc::holds(&frame) || self.loses_request(line) {
            return;
        }
        let (Some((&unit, rest)), length) = (frame.split_first(), frame.len()) else { return };
        let Some(pdu) = rest.get(..length.saturating_sub(3)) else { return };
        if unit == 0 {
            for device in devices(line) {
                let mut unheard = Frame::new();
                self.serve(*device, unit, pdu, &mut unheard);
            }
            return;
        }
        let Some(device) = self.device(line, unit) else { return };
        self.answer(line, device, unit, pdu);
    }

    fn loses_request(&mut self, line: LineIndex) -> bool {
        let lost = self.line_faults.iter().filter(|f| f.fault == LineFault::LostRequest);
        let dice = &mut self.dice;
        lost.filter(|f| f.line == line).any(|f| dice.f64() < f.chance)
    }

    fn device(&self, line: LineIndex, unit: u8) -> Option<Target> {
        match line {
            LineIndex::Field => (unit == self.spec.field_io.unit).then_some(Target::FieldIo),
            LineIndex::Motion if unit == self.spec.drive.unit => Some(Target::Drive),
            LineIndex::Motion if unit == self.spec.inverter.unit => Some(Target::Inverter),
            LineIndex::Motion => None,
        }
    }

    fn answer(&mut self, line: LineIndex, device: Target, unit: u8, pdu: &[u8]) {
        let turn_round_us = match device {
            Target::Drive => self.spec.drive.turn_round_us,
            Target::Inverter => self.spec.inverter.turn_round_us,
            _ => self.spec.field_io.turn_round_us,
        };
        let mut late_us = 0;
        let mut reply = Frame::new();
        let word = self.signal_faults.iter().find(|f| f.target == device).map(|f| f.word());
        match word.unwrap_or(Word::Ok) {
            Word::Off => return,
            Word::Intermittent(chance) if self.dice.f64() < chance => return,
            Word::Stuck => {
                if !self.repeat(device, unit, pdu, &mut reply) {
                    return;
                }
            }
            Word::Wrong(_) => {
                let function = pdu.first().copied().unwrap_or_default();
                pdu::refuse(&mut reply, unit, function, Refusal::Failure);
                pdu::seal(&mut reply);
            }
            other => {
                self.serve(device, unit, pdu, &mut reply);
                match other {
                    Word::Garbage => reply.iter_mut().for_each(|byte| *byte = self.dice.u8(..)),
                    Word::Slow(seconds) => late_us = crate::counts::microseconds(seconds),
                    Word::Delayed(seconds) => {
                        late_us = crate::counts::microseconds(seconds * self.dice.f64());
                    }
                    _ => {}
                }
            }
        }
        let start_us = self.now_us + turn_round_us + late_us;
        self.send(line, start_us, reply);
    }

    /// A stuck device gives its first answer to each request over and over, and acts on nothing: the
    /// first answer to a read is that of the moment when it stuck or later, once.
    fn repeat(&mut self, device: Target, unit: u8, pdu: &[u8], reply: &mut Frame) -> bool {
        let known = self.memory.iter().find(|m| m.0 == device && m.1.as_slice() == pdu);
        if let Some((_, _, old)) = known {
            reply.clone_from(old);
            return true;
        }
        let function = pdu.first().copied().unwrap_or_default();
        if matches!(function, 5 | 6 | 0x0F | 0x10) {
            pdu::begin(reply, unit, function);
            pdu::put_echo(reply, pdu);
            pdu::seal(reply);
            return true;
        }
        self.serve(device, unit, pdu, reply);
        let Ok(request) = Frame::try_from(pdu) else { return false };
        self.memory.push((device, request, reply.clone()));
        true
    }

    fn send(&mut self, line: LineIndex, start_us: u64, mut reply: Frame) {
        if self.line_faults.is_empty() {
            self.out.push_back(Burst { line, start_us, bytes: reply });
            return;
        }
        let mut start_us = start_us;
        let mut twice = false;
        let mut torn = false;
        for index in 0..self.line_faults.len() {
            let Some(&on_line) = self.line_faults.get(index) else { break };
            if on_line.line != line
                || on_line.fault == LineFault::LostRequest
                || self.dice.f64() >= on_line.chance
            {
                continue;
            }
            match on_line.fault {
                LineFault::Cut | LineFault::LostRequest | LineFault::LostReply => return,
                LineFault::BitError => self.turn_a_bit(&mut reply),
                LineFault::LateReply(seconds) => start_us += crate::counts::microseconds(seconds),
                LineFault::DuplicatedReply => twice = true,
                LineFault::Torn => torn = true,
                LineFault::ForeignFrame => {
                    let foreign = self.foreign(&reply);
                    let after = self.duration_us(foreign.len()) + REPEAT_PAUSE_US;
                    self.out.push_back(Burst { line, start_us, bytes: foreign });
                    start_us += after;
                }
            }
        }
        if torn {
            let (first, second) = reply.split_at(reply.len() / 2);
            let (Ok(first), Ok(second)) = (Frame::try_from(first), Frame::try_from(second)) else {
                return;
            };
            let pause = self.duration_us(first.len()) + TORN_PAUSE_US;
            self.out.push_back(Burst { line, start_us, bytes: first });
            self.out.push_back(Burst { line, start_us: start_us + pause, bytes: second });
            return;
        }
        if twice {
            self.out.push_back(Burst { line, start_us, bytes: reply.clone() });
            start_us += self.duration_us(reply.len()) + REPEAT_PAUSE_US;
        }
        self.out.push_back(Burst { line, start_us, bytes: reply });
    }

    fn duration_us(&self, bytes: usize) -> u64 {
        let bits = u64::try_from(bytes)
            .unwrap_or(u64::MAX)
            .saturating_mul(u64::from(self.spec.line.bits_per_character));
        bits.saturating_mul(1_000_000) / u64::from(self.spec.line.baud.max(1))
    }

    fn turn_a_bit(&mut self, reply: &mut Frame) {
        let at = self.dice.usize(..reply.len().max(1));
        let bit = self.dice.u8(..8);
        if let Some(byte) = reply.get_mut(at) {
            *byte ^= 1 << bit;
        }
    }

    /// A reply of the same form from a unit that nobody has asked.
    fn foreign(&mut self, reply: &Frame) -> Frame {
        let mut foreign = reply.clone();
        foreign.truncate(reply.len().saturating_sub(2));
        if let Some(unit) = foreign.first_mut() {
            *unit = unit.wrapping_add(1 + self.dice.u8(..100));
        }
        pdu::seal(&mut foreign);
        foreign
    }

    fn serve(&mut self, device: Target, unit: u8, pdu: &[u8], reply: &mut Frame) {
        let function = pdu.first().copied().unwrap_or_default();
        pdu::begin(reply, unit, function);
        let served = pdu::decode(pdu).and_then(|request| match device {
            Target::Drive => self.serve_drive(request, reply, pdu),
            Target::Inverter => self.serve_inverter(request, reply, pdu),
            _ => self.serve_field_io(request, reply, pdu),
        });
        match device {
            Target::Drive => {
                let at = self.drive.heard(self.now_us);
                self.agenda.set(Slot::DriveTimeout, at.unwrap_or(NEVER));
            }
            Target::Inverter => {
                let at = self.inverter.heard(self.now_us);
                self.agenda.set(Slot::InverterTimeout, at.unwrap_or(NEVER));
            }
            _ => {
                let at = self.field_io.heard(self.now_us);
                self.agenda.set(Slot::FieldTimeout, at.unwrap_or(NEVER));
            }
        }
        if let Err(refusal) = served {
            pdu::refuse(reply, unit, function, refusal);
        }
        pdu::seal(reply);
    }

    fn serve_drive(
        &mut self,
        request: Request<'_>,
        reply: &mut Frame,
        pdu: &[u8],
    ) -> Result<(), Refusal> {
        match request {
            Request::ReadRegisters { table: Table::HoldingRegisters, start, count } => {
                let put = |values: &[u16]| pdu::put_registers(reply, values);
                self.drive.read(self.now_us, &self.carriage, start, count, put)
            }
            Request::WriteRegisters { start, values } => {
                self.settle_powder();
                self.drive.write(self.now_us, &mut self.carriage, start, values)?;
                self.plan_carriage();
                pdu::put_echo(reply, pdu);
                Ok(())
            }
            _ => Err(Refusal::Function),
        }
    }

    fn serve_inverter(
        &mut self,
        request: Request<'_>,
        reply: &mut Frame,
        pdu: &[u8],
    ) -> Result<(), Refusal> {
        match request {
            Request::ReadRegisters { table: Table::HoldingRegisters, start, count } => {
                let put = |values: &[u16]| pdu::put_registers(reply, values);
                self.inverter.read(self.now_us, &self.spindle, start, count, put)
            }
            Request::WriteRegisters { start, values } => {
                self.inverter.write(self.now_us, &mut self.spindle, start, values)?;
                self.judge_chain();
                self.plan_spindle();
                pdu::put_echo(reply, pdu);
                Ok(())
            }
            _ => Err(Refusal::Function),
        }
    }

    fn serve_field_io(
        &mut self,
        request: Request<'_>,
        reply: &mut Frame,
        pdu: &[u8],
    ) -> Result<(), Refusal> {
        match request {
            Request::ReadBits { table: Table::Coils, start, count } => {
                let bits = bits_of(u32::from(self.field_io.commanded()), COILS, start, count)?;
                pdu::put_bits(reply, bits, count);
                Ok(())
            }
            Request::ReadBits { start, count, .. } => {
                if !self.signal_faults.is_empty() {
                    self.observe_faults();
                }
                let bits = bits_of(self.contacts(), DISCRETE_INPUTS, start, count)?;
                pdu::put_bits(reply, bits, count);
                Ok(())
            }
            Request::ReadRegisters { table: Table::InputRegisters, start, count } => {
                if !self.signal_faults.is_empty() {
                    self.observe_faults();
                }
                let registers = self.input_registers();
                pdu::put_registers(reply, slice(&registers, start, count)?);
                Ok(())
            }
            Request::ReadRegisters { start, count, .. } => {
                pdu::put_registers(reply, slice(self.field_io.holding(), start, count)?);
                Ok(())
            }
            Request::WriteCoil { at, level } => {
                let [_, level] = level.to_be_bytes();
                self.field_io.command(at, 1, &[level])?;
                self.coils_in_one_cycle();
                pdu::put_echo(reply, pdu);
                Ok(())
            }
            Request::WriteCoils { start, count, bits } => {
                self.field_io.command(start, count, bits)?;
                self.coils_in_one_cycle();
                pdu::put_echo(reply, pdu);
                Ok(())
            }
            Request::WriteRegisters { start, values } => {
                self.field_io.set_holding(start, values)?;
                pdu::put_echo(reply, pdu);
                Ok(())
            }
        }
    }

    fn coils_in_one_cycle(&mut self) {
        self.agenda.set(Slot::Coils, self.now_us + self.spec.field_io.module_cycle_us);
    }
}

fn devices(line: LineIndex) -> &'static [Target] {
    match line {
        LineIndex::Field => &[Target::FieldIo],
        LineIndex::Motion => &[Target::Drive, Target::Inverter],
    }
}

fn bits_of(all: u32, size: u16, start: u16, count: u16) -> Result<u32, Refusal> {
    if u32::from(start) + u32::from(count) > u32::from(size) {
        return Err(Refusal::Address);
    }
    let wide = u64::from(all) >> start & ((1_u64 << count) - 1);
    u32::try_from(wide).map_err(|_| Refusal::Address)
}

fn slice(all: &[u16], start: u16, count: u16) -> Result<&[u16], Refusal> {
    let from = usize::from(start);
    all.get(from..from + usize::from(count)).ok_or(Refusal::Address)
}
