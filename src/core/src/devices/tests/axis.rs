//! The carriage drive: walk to torque, set-points, speed on the fly, homing, faults, coming back.

use rmodbus::server::context::ModbusContext;

use super::machine::{DISABLED, ENABLED, FAULT, READY, STOPPED, SWITCHED_ON};
use super::{Bench, Fate, MOTION};
use crate::cia402::PowerState;
use crate::devices::{Commissioned, DeviceId};
use crate::image::{AxisDemand, DriveEnable, HomingRequest, Level, Referenced, Travel};
use crate::quantity::{Acceleration, Length, Speed};

fn travel(to_mm: f64, at_mm_per_s: f64) -> AxisDemand {
    AxisDemand::Travel(Travel {
        to: Length::from_mm(to_mm),
        at: Speed::from_mm_per_s(at_mm_per_s),
        ramp: Acceleration::from_mm_per_s2(200.0),
    })
}

/// A drive that is homed and stands under torque.
fn still() -> Bench {
    let mut bench = Bench::ready();
    bench.drive.homed = true;
    bench.outputs.axis = AxisDemand::Still;
    bench.run(300_000);
    bench
}

#[test]
fn torque_comes_step_by_step_each_confirmed_by_the_status_word() {
    let bench = still();
    assert_eq!(bench.drive.walked, [DISABLED, READY, SWITCHED_ON, ENABLED]);
    assert_eq!(bench.inputs().axis.value.power, PowerState::OperationEnabled);
    assert_eq!(bench.drive.set_points, 0);
}

#[test]
fn no_torque_before_the_drive_has_its_reaction_to_silence() {
    let mut bench = Bench::new();
    bench.decide = Box::new(|heard| match heard.frame[1] {
        0x10 => Fate::Refused(2),
        _ => Fate::Answered,
    });
    bench.run(100_000);
    bench.outputs.axis = AxisDemand::Still;
    bench.run(500_000);
    assert_eq!(bench.rack.commissioned(DeviceId::Axis), Commissioned::Refused);
    assert_eq!(bench.drive.walked, [DISABLED]);
}

/// Computed here: the drive's zero lies at -50 mm and has 400 pulses to the millimetre.
#[test]
fn a_travel_goes_to_its_absolute_target_and_arrives() {
    let mut bench = still();
    bench.outputs.axis = travel(10.0, 50.0);
    bench.run(100_000);
    assert_eq!(bench.inputs().axis.value.arrived, Level::Off);
    bench.run(1_600_000);
    assert_eq!(bench.drive.target, 24_000.0);
    assert_eq!(bench.drive.set_points, 1);
    let axis = bench.inputs().axis.value;
    assert_eq!((axis.position.mm(), axis.arrived), (10.0, Level::On));
    assert_eq!(axis.referenced, Referenced::Yes);
}

#[test]
fn a_set_point_is_offered_only_once_the_drive_was_read_behind_its_block() {
    let mut bench = still();
    let from = bench.now;
    bench.outputs.axis = travel(10.0, 50.0);
    bench.run(100_000);
    let asked = bench.asked(MOTION, 1, from);
    let block = asked.iter().position(|function| *function == 0x10).unwrap();
    assert_eq!(asked[block..block + 3], [0x10, 0x03, 0x06]);
}

#[test]
fn the_speed_changes_on_the_way_without_a_new_set_point() {
    let mut bench = still();
    bench.outputs.axis = travel(400.0, 10.0);
    bench.run(200_000);
    assert_eq!((bench.drive.set_points, bench.drive.velocity()), (1, 4_000));
    bench.outputs.axis = travel(400.0, 12.5);
    bench.run(60_000);
    assert_eq!((bench.drive.set_points, bench.drive.velocity()), (1, 5_000));
    // A change under the step is not worth a frame.
    let from = bench.now;
    bench.outputs.axis = travel(400.0, 12.54);
    bench.run(200_000);
    assert!(!bench.asked(MOTION, 1, from).contains(&0x10));
}

#[test]
fn another_target_on_the_way_is_taken_without_a_halt() {
    let mut bench = still();
    bench.outputs.axis = travel(400.0, 10.0);
    bench.run(300_000);
    let from = bench.log.len();
    bench.outputs.axis = travel(-20.0, 10.0);
    bench.run(300_000);
    assert_eq!(bench.drive.set_points, 2);
    assert_eq!(bench.drive.target, 12_000.0);
    let halted = bench.log[from..].iter().any(|heard| match heard.frame[..] {
        [1, 6, 2, 0, high, _, ..] => high & 1 == 1,
        [1, 16, 2, 0, _, _, _, high, _, ..] => high & 1 == 1,
        _ => false,
    });
    assert!(!halted);
}

#[test]
fn a_place_outside_the_travel_becomes_its_end() {
    let mut bench = still();
    bench.outputs.axis = travel(5_000.0, 50.0);
    bench.run(200_000);
    assert_eq!(bench.drive.target, (900.0 + 50.0) * 400.0);
}

#[test]
fn still_halts_under_torque_and_the_next_travel_is_a_new_set_point() {
    let mut bench = still();
    bench.outputs.axis = travel(400.0, 10.0);
    bench.run(300_000);
    bench.outputs.axis = AxisDemand::Still;
    bench.run(60_000);
    let stood = bench.drive.position;
    bench.run(200_000);
    assert_eq!((bench.drive.state, bench.drive.position), (ENABLED, stood));
    bench.outputs.axis = travel(400.0, 10.0);
    bench.run(200_000);
    assert_eq!(bench.drive.set_points, 2);
    assert!(bench.drive.position > stood);
}

#[test]
fn a_quick_stop_leaves_within_one_exchange_and_torque_returns_by_the_whole_walk() {
    let mut bench = still();
    bench.outputs.axis = travel(400.0, 10.0);
    bench.run(300_000);
    bench.outputs.axis = AxisDemand::QuickStop;
    bench.scan_at = bench.now;
    let asked = bench.now;
    bench.run(50_000);
    assert_eq!(bench.drive.state, STOPPED);
    let stop = bench
        .log
        .iter()
        .find(|heard| heard.line == MOTION && heard.frame[..6] == [1, 6, 2, 0, 0, 2])
        .unwrap();
    assert!(stop.sent - asked <= 12_000, "{} us", stop.sent - asked);
    bench.outputs.axis = AxisDemand::Still;
    bench.run(300_000);
    assert_eq!(bench.drive.walked.last(), Some(&ENABLED));
    assert!(bench.drive.walked.ends_with(&[STOPPED, DISABLED, READY, SWITCHED_ON, ENABLED]));
}

#[test]
fn torque_is_not_asked_for_from_a_state_read_before_the_stop() {
    let mut bench = still();
    bench.outputs.axis = AxisDemand::QuickStop;
    bench.scan_at = bench.now;
    while bench.drive.state != STOPPED {
        bench.run(100);
    }
    // The echo comes, and the next scan wants torque again before the drive has been read.
    bench.run(3_100);
    bench.outputs.axis = AxisDemand::Still;
    bench.scan_at = bench.now;
    let from = bench.now;
    bench.run(100_000);
    let write = bench
        .log
        .iter()
        .find(|heard| heard.line == MOTION && heard.sent >= from && heard.frame[1] == 6)
        .unwrap();
    assert_eq!(write.frame[2..6], [2, 0, 0, 0]);
}

#[test]
fn homing_is_attained_once_the_drive_says_so_after_its_start() {
    let mut bench = still();
    bench.drive.homed = false;
    bench.drive.position = 2_000.0;
    bench.outputs.axis = AxisDemand::Home(HomingRequest { at: Speed::from_mm_per_s(10.0) });
    bench.run(200_000);
    let axis = bench.inputs().axis.value;
    assert_eq!((axis.referenced, axis.homing_attained), (Referenced::No, Level::Off));
    bench.run(700_000);
    let axis = bench.inputs().axis.value;
    assert_eq!((axis.referenced, axis.homing_attained), (Referenced::Yes, Level::On));
    assert_eq!(axis.position.mm(), -50.0);
    assert_eq!(bench.drive.set_points, 0);
    // And back to profile position.
    bench.outputs.axis = travel(0.0, 50.0);
    bench.run(1_500_000);
    assert_eq!(bench.inputs().axis.value.position.mm(), 0.0);
}

#[test]
fn a_fault_stays_until_a_person_s_reset_and_the_reset_starts_nothing() {
    let mut bench = still();
    bench.outputs.axis = travel(400.0, 10.0);
    bench.run(200_000);
    bench.drive.become_(FAULT);
    bench.run(300_000);
    assert_eq!(bench.drive.state, FAULT);
    assert_eq!(bench.inputs().axis.value.fault_code, 0x8130);
    bench.outputs.drive = DriveEnable::ClearFault;
    bench.run(300_000);
    // The travel is still demanded, and is not taken up again.
    assert_eq!(bench.drive.state, DISABLED);
    bench.drive.become_(FAULT);
    bench.run(300_000);
    // One reset clears once.
    assert_eq!(bench.drive.state, FAULT);
    bench.outputs.drive = DriveEnable::KeepFault;
    bench.run(40_000);
    bench.outputs.drive = DriveEnable::ClearFault;
    bench.outputs.axis = AxisDemand::Off;
    bench.run(100_000);
    bench.outputs.axis = AxisDemand::Still;
    bench.run(300_000);
    assert_eq!(bench.drive.state, ENABLED);
}

#[test]
fn a_start_edge_whose_echo_is_lost_moves_nothing_twice() {
    let mut bench = still();
    let mut lost = 0;
    bench.decide = Box::new(move |heard| match heard.frame[..6] {
        [1, 6, 2, 0, 0, 0x3F] if lost < 2 => {
            lost += 1;
            Fate::ReplyLost
        }
        _ => Fate::Answered,
    });
    bench.outputs.axis = travel(10.0, 50.0);
    bench.run(2_000_000);
    assert_eq!(bench.drive.set_points, 1);
    assert_eq!(bench.inputs().axis.value.arrived, Level::On);
}

#[test]
fn a_lost_request_is_made_up_for() {
    // Every fifth frame to the drive is lost.
    let mut bench = still();
    let mut count = 0;
    bench.decide = Box::new(move |heard| {
        count += u32::from(heard.line == MOTION);
        if heard.line == MOTION && count % 5 == 0 { Fate::RequestLost } else { Fate::Answered }
    });
    bench.outputs.axis = travel(10.0, 50.0);
    bench.run(3_000_000);
    assert_eq!(bench.inputs().axis.value.arrived, Level::On);
}

#[test]
fn settings_of_the_drive_are_read_written_and_read_back() {
    let bench = Bench::ready();
    assert_eq!(bench.drive.storage.get_holding(0x020C).unwrap(), 200);
    assert_eq!(bench.drive.storage.get_holding(0x020D).unwrap(), 2);
    assert_eq!(bench.rack.commissioned(DeviceId::Axis), Commissioned::Agreed);
}
