//! A plant in each state of the chart.

use std::sync::Arc;

use super::fixture::{self, rig, s};
use super::plant::Plant;
use crate::image::{Contact, Level};
use crate::interlock::CarriageEffect;
use crate::request::{Answer, Direction, Request};
use crate::sequence::Leaf;

fn started() -> Plant {
    let mut plant = Plant::ready(&rig(), fixture::whole_job());
    plant.press(Contact::StartButton);
    plant
}

fn manual(request: Request) -> Plant {
    let mut plant = Plant::ready(&rig(), fixture::whole_job());
    assert_eq!(plant.ask(request), Answer::Accepted);
    plant.scan();
    plant
}

/// Brings a new plant to a state, as a person would.
pub(super) fn reach(leaf: Leaf) -> Plant {
    let mut plant = match leaf {
        Leaf::NotReady => return Plant::new(&rig()),
        Leaf::Ready => return Plant::ready(&rig(), fixture::whole_job()),
        Leaf::Homing => return manual(Request::Home),
        Leaf::Jogging => {
            let mut plant = manual(Request::EnterManual);
            assert_eq!(plant.ask(Request::Jog(Direction::TowardChuck)), Answer::Accepted);
            plant.scan();
            return plant;
        }
        Leaf::Teaching => {
            let mut plant = manual(Request::EnterManual);
            assert_eq!(plant.ask(Request::TakePoint), Answer::Accepted);
            plant
        }
        Leaf::Proving => return manual(Request::EnterProving),
        Leaf::Checking => {
            let mut plant = Plant::ready(&rig(), fixture::whole_job());
            plant.set(Contact::Extraction, Level::Off);
            plant.press(Contact::StartButton);
            plant
        }
        Leaf::Parking => {
            let mut plant = Plant::ready(&rig(), fixture::whole_job());
            plant.position = 250.0;
            plant.press(Contact::StartButton);
            plant
        }
        Leaf::WaitingForTemperature => {
            let mut plant = started();
            plant.until(Leaf::Crossing, 200.0);
            plant.part = 399.0;
            plant
        }
        Leaf::Holding => {
            let mut plant = started();
            plant.until(Leaf::Crossing, 200.0);
            plant.run(8.0);
            assert_eq!(plant.ask(Request::Hold), Answer::Accepted);
            plant
        }
        Leaf::HeldLit | Leaf::HeldUnlit => reach(Leaf::Holding),
        Leaf::Restarting => {
            let mut program = fixture::whole_job();
            Arc::make_mut(&mut program).blasted_within = s(10.0);
            let mut plant = Plant::ready(&rig(), program);
            plant.press(Contact::StartButton);
            plant.until(Leaf::Crossing, 200.0);
            plant.ask(Request::Hold);
            plant.until(Leaf::HeldLit, 30.0);
            assert_eq!(plant.ask(Request::Restart), Answer::Accepted);
            plant
        }
        Leaf::Stopping | Leaf::Stopped => {
            let mut plant = started();
            plant.until(Leaf::Crossing, 200.0);
            plant.run(8.0);
            assert_eq!(plant.ask(Request::Stop), Answer::Accepted);
            plant
        }
        Leaf::Aborting | Leaf::Aborted => {
            let mut plant = started();
            plant.until(Leaf::Crossing, 200.0);
            plant.run(8.0);
            plant.trip(CarriageEffect::Retreat);
            plant
        }
        _ => started(),
    };
    plant.until(leaf, 600.0);
    plant
}

#[test]
fn every_state_of_the_chart_is_reached() {
    for leaf in Leaf::ALL {
        let plant = reach(*leaf);
        assert_eq!(plant.leaf(), *leaf);
        let status = plant.sequence.status();
        assert!(status.text.starts_with(plant.phase().word()), "{}", status.text);
    }
}
