//! What an abort can still do, circumstance by circumstance.

use super::bench::{Bench, rig};
use crate::cia402::PowerState;
use crate::image::{Contact, Failure, Kind, Level, Referenced};
use crate::interlock::matrix::Act;
use crate::interlock::{Abilities, Means, Remaining};

fn remaining(bench: &Bench) -> Vec<Remaining> {
    Abilities::of(&rig()).remaining(&bench.inputs)
}

fn means(all: &[Remaining], act: Act) -> (Means, &'static str) {
    let one = all.iter().find(|one| one.act == act).expect("every effect is told");
    (one.means, one.why)
}

#[test]
fn with_everything_in_order_all_is_by_command_and_takes_no_time_of_its_own() {
    let all = remaining(&Bench::spraying());
    assert_eq!(all.len(), 8);
    assert!(all.iter().all(|one| one.means == Means::Command && one.within.is_none()), "{all:?}");
}

#[test]
fn with_the_field_line_dead_the_watchdog_relay_is_what_is_left() {
    let mut bench = Bench::spraying();
    bench.stale_contacts = Contact::ALL.to_vec();
    bench.run(0.5);
    let all = remaining(&bench);
    for act in [Act::PowderOff, Act::FuelShut, Act::OxygenShut] {
        assert_eq!(means(&all, act), (Means::WatchdogRelay, "the field I/O does not answer"));
    }
    assert_eq!(means(&all, Act::SupplyShut).0, Means::ModuleTimeOut);
    assert_eq!(means(&all, Act::Purge).0, Means::Nothing);
    assert_eq!(means(&all, Act::CarriageStops).0, Means::Command);
    // Where the guard stands is not known, so nothing moves toward the park.
    assert_eq!(means(&all, Act::Retreat), (Means::Nothing, "the guard is not known shut"));
    let fuel = all.iter().find(|one| one.act == Act::FuelShut).expect("told");
    assert_eq!(
        fuel.words(),
        "fuel shut by the watchdog relay within 0.30 s (the field I/O does not answer)"
    );
}

#[test]
fn a_frozen_module_leaves_the_relay_and_for_the_supply_a_person() {
    let mut bench = Bench::spraying();
    for tag in Contact::ALL {
        bench.fail_contact(*tag, Failure::Frozen);
    }
    let all = remaining(&bench);
    assert_eq!(means(&all, Act::OxygenShut).0, Means::WatchdogRelay);
    assert_eq!(means(&all, Act::SupplyShut).0, Means::ByHand);
}

#[test]
fn with_the_motion_line_dead_the_drive_stops_itself_and_nothing_retreats() {
    let mut bench = Bench::spraying();
    bench.stale_axis = true;
    bench.stale_inverter = true;
    bench.run(1.0);
    let all = remaining(&bench);
    assert_eq!(means(&all, Act::Retreat), (Means::Nothing, "the drive does not answer"));
    let stop = all.iter().find(|one| one.act == Act::CarriageStops).expect("told");
    assert_eq!(stop.means, Means::DriveTimeOut);
    // Computed here: 0.2 s of silence, then 60 mm/s at 250 mm/s2.
    assert_eq!(stop.within.map(|within| within.as_millis()), Some(440));
    assert_eq!(means(&all, Act::SpindleStops).0, Means::InverterTimeOut);
    assert_eq!(means(&all, Act::FuelShut).0, Means::Command);
}

#[test]
fn an_emergency_stop_has_the_carriage_and_a_dropped_relay_has_the_gas() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::EmergencyStop, Level::Off);
    bench.contact(Contact::WatchdogRelay, Level::Off);
    let all = remaining(&bench);
    assert_eq!(means(&all, Act::CarriageStops).0, Means::WiredCircuit);
    assert_eq!(means(&all, Act::FuelShut), (Means::WatchdogRelay, "the relay has dropped already"));
}

#[test]
fn a_retreat_says_what_hinders_it() {
    let hindered = |change: fn(&mut Bench)| {
        let mut bench = Bench::spraying();
        change(&mut bench);
        means(&remaining(&bench), Act::Retreat).1
    };
    assert_eq!(
        hindered(|bench| bench.contact(Contact::Guard, Level::Off)),
        "the guard is not known shut"
    );
    assert_eq!(
        hindered(|bench| bench.contact(Contact::LimitPlus, Level::Off)),
        "the limit on its way is not known free"
    );
    assert_eq!(
        hindered(|bench| bench.axis(|axis| axis.referenced = Referenced::No)),
        "its position is not known"
    );
    assert_eq!(
        hindered(|bench| bench.axis(|axis| axis.power = PowerState::Fault)),
        "the drive is in fault"
    );
    assert_eq!(
        hindered(|bench| bench.inputs.axis.kind = Kind::Failed(Failure::Refused)),
        "the drive does not answer"
    );
}
