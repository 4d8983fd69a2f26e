//! The order of effects that the matrix prints, against what the interlocks take away.

use super::bench::Bench;
use super::provoke::provoke;
use crate::cia402::PowerState;
use crate::image::{Coil, Level, Outputs, SpindleDemand};
use crate::interlock::matrix::{Act, Actor, Column, OrderedEffect, ResetRule, When, rows};
use crate::interlock::{CarriageEffect, Class, SpindleEffect, enforce};

fn at_once(effect: &OrderedEffect) -> bool {
    effect.when == When::AtOnce && effect.actor == Actor::Interlocks
}

fn order(course: &[OrderedEffect], act: Act) -> Option<u8> {
    course.iter().find(|effect| effect.act == act).map(|effect| effect.order)
}

#[test]
fn what_a_trip_is_printed_to_take_at_once_is_what_the_interlocks_take_from_a_machine_at_work() {
    for row in rows().filter(|row| row.class == Class::Trip) {
        let bench = provoke(row);
        let own = bench.verdict().first.as_ref().is_some_and(|first| first.key == row.key);
        let others = bench.verdict().consequent.iter().chain(&bench.verdict().holds).count();
        if !own || others > 0 {
            // Others came with it: their effects are in force too.
            continue;
        }
        let proposed = Outputs { powder: Bench::spraying().outputs.powder, ..bench.outputs };
        let written = enforce(bench.verdict(), &bench.inputs, proposed);
        let course = row.course();
        let printed = |act: Act| course.iter().any(|effect| effect.act == act && at_once(effect));
        let taken = |coil: Coil| !written.coil(coil).is_on() && proposed.coil(coil).is_on();
        assert_eq!(written.powder.now == Level::Off, printed(Act::PowderOff), "{}", row.key);
        for (coil, act) in [
            (Coil::Fuel, Act::FuelShut),
            (Coil::Oxygen, Act::OxygenShut),
            (Coil::Supply, Act::SupplyShut),
        ] {
            if proposed.coil(coil).is_on() {
                assert_eq!(taken(coil), printed(act), "{} {coil:?}", row.key);
            }
        }
        let effects = bench.verdict().effects;
        // A spindle that was not asked to turn is not asked to by a trip.
        let stops = printed(Act::SpindleStops) || bench.outputs.spindle == SpindleDemand::Stop;
        let expected = if stops { SpindleEffect::Stop } else { SpindleEffect::Turn };
        assert_eq!(effects.spindle, expected, "{}", row.key);
        // A retreat is for a drive that has torque; one without is not given any by a trip.
        if printed(Act::Retreat) {
            let torque = bench.inputs.axis.value.power == PowerState::OperationEnabled;
            let retreats = effects.carriage == CarriageEffect::Retreat;
            assert_eq!(retreats, torque, "{}: {:?}", row.key, effects.carriage);
            assert_ne!(effects.carriage, CarriageEffect::Free, "{}", row.key);
        }
    }
}

#[test]
fn feeder_and_carrier_go_first_then_gas_then_the_carriage_and_after_a_flashback_oxygen_before_all()
{
    for row in rows().filter(|row| row.class == Class::Trip) {
        let course = row.course();
        let orders: Vec<u8> = course.iter().map(|effect| effect.order).collect();
        assert!(orders.windows(2).all(|pair| pair[0] <= pair[1]), "{}: {orders:?}", row.key);
        assert_eq!(orders.first(), Some(&1), "{}", row.key);
        let [powder, fuel, oxygen] =
            [Act::PowderOff, Act::FuelShut, Act::OxygenShut].map(|act| order(&course, act));
        if row.reset == ResetRule::Inspected {
            assert!(oxygen < fuel && fuel < powder, "{}", row.key);
            assert_eq!(order(&course, Act::Purge), None, "{}: no air into a flashback", row.key);
        } else {
            assert!(powder < fuel && fuel == oxygen, "{}", row.key);
        }
        let carriage = [Act::Retreat, Act::CarriageStops, Act::TorqueOff];
        let carriage = carriage.into_iter().filter_map(|act| order(&course, act)).min();
        assert!(carriage > fuel.max(oxygen), "{}", row.key);
        let purge = order(&course, Act::Purge);
        assert!(purge.is_none_or(|purge| course.iter().all(|effect| effect.order <= purge)));
    }
}

#[test]
fn a_hold_withdraws_before_the_gas_and_a_stop_turns_on_last_and_a_warning_does_nothing() {
    for row in rows() {
        let course = row.course();
        let [powder, clear, gas] =
            [Act::PowderOff, Act::TorchClear, Act::GasShut].map(|act| order(&course, act));
        match row.class {
            Class::Warn => assert_eq!(course, [], "{}", row.key),
            Class::Hold | Class::Stop => {
                assert!(powder < clear && clear < gas, "{}", row.key);
                let last = course.last().map(|effect| effect.act);
                let turns = row.class == Class::Stop;
                assert_eq!(last == Some(Act::TurnsUntilCool), turns, "{}", row.key);
            }
            Class::Trip => {}
        }
        let found: usize = Column::ALL.iter().map(|column| row.effects_on(*column).len()).sum();
        let gases = course.iter().filter(|effect| effect.act == Act::GasShut).count();
        assert_eq!(found, course.len() + gases, "{}: every effect stands in a column", row.key);
    }
}
