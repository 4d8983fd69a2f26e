//! The drive on a carriage of its own.

use super::*;
use crate::spec::BenchSpec;
use crate::wire::pdu::Refusal;

struct Axis {
    drive: Drive,
    carriage: Carriage,
    now_us: u64,
}

impl Axis {
    fn new() -> Self {
        let mut spec = BenchSpec::default_bench().unwrap();
        spec.carriage.start_mm = 0.0;
        let carriage = Carriage::new(&spec.carriage, &spec.drive);
        let mut drive = Drive::new(&spec.drive, &carriage);
        drive.started();
        Self { drive, carriage, now_us: 0 }
    }

    fn write(&mut self, start: u16, values: &[u16]) -> Result<(), Refusal> {
        let bytes: Vec<[u8; 2]> = values.iter().map(|v| v.to_be_bytes()).collect();
        self.drive.write(self.now_us, &mut self.carriage, start, &bytes)
    }

    fn control(&mut self, word: u16) {
        self.write(0x0200, &[word]).unwrap();
    }

    fn block(&self) -> [u16; 12] {
        self.drive.read_block(self.now_us, &self.carriage)
    }

    fn status(&self) -> u16 {
        self.block()[0]
    }

    fn run(&mut self, seconds: f64) {
        let end = self.now_us + crate::counts::microseconds(seconds);
        while let Some(next) = self.carriage.next_us(self.now_us).filter(|&t| t <= end) {
            self.now_us = next;
            self.carriage.pass(next);
            self.drive.carriage_moved(next, &mut self.carriage);
        }
        self.now_us = end;
    }

    fn enable(&mut self) {
        for word in [0x0006, 0x0007, 0x000F] {
            self.control(word);
        }
    }

    fn target(&mut self, pulses: i32) {
        let [high, low] = words(pulses.cast_unsigned());
        self.write(0x0202, &[high, low]).unwrap();
        self.control(0x003F);
    }
}

#[test]
fn the_start_sequence_of_the_drive_manuals_ends_in_0237() {
    let mut axis = Axis::new();
    assert_eq!(axis.status(), 0x0250);
    axis.control(0x0006);
    assert_eq!(axis.status(), 0x0231);
    axis.control(0x0007);
    assert_eq!(axis.status(), 0x0233);
    axis.control(0x000F);
    assert_eq!(axis.status(), 0x0237);
}

#[test]
fn homing_ends_at_the_switch_edge_and_counts_from_there() {
    let mut axis = Axis::new();
    axis.enable();
    axis.write(0x0201, &[6]).unwrap();
    axis.control(0x001F);
    axis.run(30.0);
    assert_eq!(axis.status() & 0x3400, 0x1400);
    assert_eq!(axis.block()[11], 1);
    let counted =
        f64::from((u32::from(axis.block()[2]) << 16 | u32::from(axis.block()[3])).cast_signed());
    let z = axis.carriage.torch_mm(axis.now_us);
    assert!((z + 50.0 - counted / 400.0).abs() < 0.01, "{z} {counted}");
}

#[test]
fn a_set_point_is_taken_on_the_edge_acknowledged_and_reached() {
    let mut axis = Axis::new();
    axis.enable();
    axis.target(4_000);
    assert_eq!(axis.status() & 0x1400, 0x1000);
    axis.control(0x002F);
    assert_eq!(axis.status() & 0x1000, 0);
    axis.run(5.0);
    assert_eq!(axis.status() & 0x0400, 0x0400);
    assert!((axis.carriage.screw(axis.now_us).0 - 10.0).abs() < 1e-9);
}

#[test]
fn a_speed_written_on_the_way_is_taken_up_without_a_new_edge() {
    let mut axis = Axis::new();
    axis.enable();
    axis.target(40_000);
    axis.run(2.0);
    axis.write(0x0204, &[0, 8_000]).unwrap();
    axis.run(1.0);
    assert!((axis.carriage.screw(axis.now_us).1 - 20.0).abs() < 1e-9);
}

#[test]
fn a_lost_controller_ends_in_fault_8130_after_a_quick_stop_and_stays_referenced() {
    let mut axis = Axis::new();
    axis.enable();
    axis.target(40_000);
    axis.run(2.0);
    axis.drive.communication_lost(axis.now_us, &mut axis.carriage);
    assert_eq!(axis.status() & 0x004F, 0x000F);
    axis.run(1.0);
    assert_eq!(axis.status() & 0x004F, 0x0008);
    assert_eq!(axis.block()[6], 0x8130);
    axis.control(0x0080);
    assert_eq!(axis.status() & 0x004F, 0x0040);
}

#[test]
fn without_torque_allowed_the_drive_stays_disabled() {
    let mut axis = Axis::new();
    axis.drive.set_torque_allowed(0, &mut axis.carriage, false);
    axis.enable();
    assert_eq!(axis.status(), 0x0240);
}

#[test]
fn halt_stops_and_its_end_resumes_the_move() {
    let mut axis = Axis::new();
    axis.enable();
    axis.target(40_000);
    axis.run(2.0);
    axis.control(0x013F);
    axis.run(1.0);
    let z = axis.carriage.screw(axis.now_us);
    assert_eq!(z.1, 0.0);
    assert_eq!(axis.status() & 0x0400, 0x0400);
    axis.control(0x003F);
    axis.run(20.0);
    assert!((axis.carriage.screw(axis.now_us).0 - 100.0).abs() < 1e-9);
}

#[test]
fn a_hard_limit_stops_motion_toward_it_and_lets_motion_away() {
    let mut axis = Axis::new();
    axis.enable();
    axis.target(-40_000);
    axis.run(20.0);
    assert!(axis.carriage.torch_mm(axis.now_us) > -62.0);
    assert_eq!(axis.status() & 0x0800, 0x0800);
    axis.control(0x000F);
    axis.target(0);
    axis.run(20.0);
    assert!((axis.carriage.screw(axis.now_us).0).abs() < 1e-9);
}

#[test]
fn addresses_outside_the_map_and_unknown_modes_are_refused() {
    let mut axis = Axis::new();
    assert_eq!(axis.write(0x0210, &[0]), Err(Refusal::Address));
    assert_eq!(axis.write(0x0201, &[3]), Err(Refusal::Value));
    let refused = axis.drive.read(0, &axis.carriage, 0x010C, 1, |_| {});
    assert_eq!(refused, Err(Refusal::Address));
}
