//! The survey of a rig.

use std::collections::VecDeque;

use super::machine::{Drive, Inverter, Module};
use super::{FIELD, MOTION, SILENCE, TURN_ROUND, wire};
use crate::devices::{DeviceId, Finding, Survey, bench};
use crate::line::{Link, Miss};
use crate::moment::Moment;

/// Runs a survey; `mute` does not answer.
fn surveyed(mute: Option<DeviceId>) -> Survey {
    let mut survey = Survey::new(&bench::rig()).unwrap();
    let (mut module, mut drive, mut inverter) = (Module::new(), Drive::new(), Inverter::new());
    let mut arriving: VecDeque<(u64, _, Vec<u8>)> = VecDeque::new();
    for line in [FIELD, MOTION] {
        survey.handle_link(Moment::START, line, Link::Up);
    }
    let mut now = 0;
    while !survey.is_finished() {
        let bytes = arriving.front().map_or(u64::MAX, |arrival| arrival.0);
        now = survey.next_wake().as_micros().min(bytes).max(now);
        assert!(now < 10_000_000, "the survey does not end");
        let at = Moment::from_micros(now);
        while arriving.front().is_some_and(|arrival| arrival.0 <= now) {
            let (_, line, bytes) = arriving.pop_front().unwrap();
            survey.handle_bytes(at, line, &bytes);
        }
        survey.handle_time(at);
        while let Some(transmit) = survey.poll_transmit(at) {
            let frame = transmit.frame.bytes();
            let complete = now + wire(frame.len()) + SILENCE;
            let (device, reply) = match (transmit.line, frame[0]) {
                (FIELD, _) => (DeviceId::Field, module.answer(complete, frame)),
                (_, 1) => (DeviceId::Axis, drive.answer(complete, frame)),
                _ => (DeviceId::Spindle, inverter.answer(complete, frame)),
            };
            if mute != Some(device) {
                let reply = reply.unwrap();
                let heard = complete + TURN_ROUND + wire(reply.len());
                arriving.push_back((heard, transmit.line, reply));
                arriving.make_contiguous().sort_by_key(|arrival| arrival.0);
            }
        }
    }
    survey
}

#[test]
fn every_read_of_the_rig_is_answered_within_its_budget_and_the_polls_fit_on_their_lines() {
    let survey = surveyed(None);
    for item in survey.items() {
        assert!(item.is_within_budget(), "{item:?}");
        println!("{:?} {:?}: {:?} of {:?}", item.device, item.read, item.finding, item.budget);
    }
    assert_eq!(survey.items().len(), 8);
    let loads = [FIELD, MOTION].map(|line| survey.load(line).unwrap());
    println!("load of the lines by reads alone: {loads:?}");
    assert!(loads.iter().all(|load| (0.3..0.6).contains(load)), "{loads:?}");
    // 12 mA in the first current input of the module.
    assert_eq!(survey.items()[1].values[0], 12_000);
    // 31 contacts, all closed.
    assert_eq!(survey.items()[0].values[..2], [0xFFFF, 0x7FFF]);
}

#[test]
fn a_mute_device_is_found_and_does_not_keep_the_survey_from_ending() {
    let survey = surveyed(Some(DeviceId::Axis));
    for item in survey.items() {
        match item.device {
            DeviceId::Axis => assert_eq!(item.finding, Finding::Missed(Miss::TimedOut)),
            _ => assert!(matches!(item.finding, Finding::Answered { .. })),
        }
    }
    assert_eq!(survey.load(MOTION), None);
}
