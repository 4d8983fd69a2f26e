//! Every request we make, against the requests of an independent library.

use rmodbus::ModbusProto;
use rmodbus::client::ModbusRequest;

use crate::image::Level;
use crate::line::{Request, Words};

/// A small generator of pseudo-random numbers (Knuth's constants for 64 bits), seeded.
struct Draw(u64);

impl Draw {
    fn next(&mut self, under: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        (self.0 >> 33) % under
    }

    fn word(&mut self) -> u16 {
        u16::try_from(self.next(65_536)).unwrap()
    }
}

#[test]
fn twenty_thousand_requests_equal_those_of_an_independent_library() {
    let mut draw = Draw(7);
    for _ in 0..2_500 {
        let unit = u8::try_from(1 + draw.next(247)).unwrap();
        let address = draw.word();
        let count = u16::try_from(1 + draw.next(64)).unwrap();
        let value = draw.word();
        let levels = draw.next(1 << 30) << 34 ^ draw.next(1 << 30);
        let bits: Vec<u8> = (0..count).map(|bit| (levels >> bit & 1) as u8).collect();
        let values: Vec<u16> = (0..1 + draw.next(16)).map(|_| draw.word()).collect();
        let words = values.iter().fold(Words::new(), |words, word| words.with(*word));
        let mut theirs = ModbusRequest::new(unit, ModbusProto::Rtu);
        let mut frame = Vec::new();
        let same = |ours: Request, theirs: &Vec<u8>| {
            assert_eq!(ours.frame(unit).bytes(), theirs.as_slice(), "{ours:?}");
        };
        theirs.generate_get_coils(address, count, &mut frame).unwrap();
        same(Request::ReadCoils { address, count }, &frame);
        theirs.generate_get_discretes(address, count, &mut frame).unwrap();
        same(Request::ReadDiscreteInputs { address, count }, &frame);
        theirs.generate_get_holdings(address, count, &mut frame).unwrap();
        same(Request::ReadHoldingRegisters { address, count }, &frame);
        theirs.generate_get_inputs(address, count, &mut frame).unwrap();
        same(Request::ReadInputRegisters { address, count }, &frame);
        let on = value % 2 == 1;
        theirs.generate_set_coil(address, u8::from(on), &mut frame).unwrap();
        same(Request::WriteCoil { address, level: Level::from_bit(on) }, &frame);
        theirs.generate_set_holding(address, value, &mut frame).unwrap();
        same(Request::WriteRegister { address, value }, &frame);
        theirs.generate_set_coils_bulk(address, &bits, &mut frame).unwrap();
        same(Request::WriteCoils { address, count, levels }, &frame);
        theirs.generate_set_holdings_bulk(address, &values, &mut frame).unwrap();
        same(Request::WriteRegisters { address, words }, &frame);
    }
}
