//! Whether the carriage can be moved by hand from this page, and why not: the person, the place and
//! the seat first, then the machine as its own gate judges it.

use evenpass_core::image::{AxisReading, Kind, Referenced, Signal};
use evenpass_core::quantity::{Length, Range};
use evenpass_core::request::{Denial, Direction, NUDGES_IN, NUDGES_MM};

use crate::panel::app::{App, place};
use crate::panel::texts;
use crate::panel::visitor::{Visitor, seat_key};
use crate::people::{LengthUnit, Right, Role};
use crate::station::{NotSeated, Place, Refused};

/// This near its bound the carriage goes no further that way: what a place is shown to.
const AT_BOUND: Length = Length::from_mm(0.01);

/// The nudges offered, shortest first.
pub(super) fn nudges(unit: LengthUnit) -> [String; 4] {
    let steps = match unit {
        LengthUnit::Millimetre => NUDGES_MM,
        LengthUnit::Inch => NUDGES_IN,
    };
    steps.map(|step| format!("{step} {}", unit.symbol()))
}

/// Who looks at the page.
#[derive(Debug)]
pub(in crate::panel::page) struct Hand {
    /// What they are.
    pub(super) role: Role,
    /// Where they are.
    pub(super) place: Place,
    /// Whether they command.
    pub(super) seat: Result<(), NotSeated>,
}

impl Hand {
    /// Whoever looks.
    pub(in crate::panel::page) fn of(app: &App, visitor: &Visitor) -> Self {
        let seat =
            app.station().seat(|seat, _| seat.may_command(&seat_key(visitor.number), seat.turn()));
        Self { role: visitor.role, place: place(visitor.whence), seat }
    }

    /// Why what the machine itself would deny or take cannot be asked by them; `None` when it can.
    pub(in crate::panel::page) fn why_not(
        &self,
        right: Right,
        denial: Option<&Denial>,
    ) -> Option<String> {
        if !self.role.allows(right) {
            return Some(format!("{} {}", texts::THIS_NEEDS, right.needs()));
        }
        if self.place == Place::Elsewhere {
            return Some(Refused::Elsewhere.to_string());
        }
        if let Err(why) = &self.seat {
            return Some(why.to_string());
        }
        denial.map(|denial| format!("{}; {}", denial.why, denial.help))
    }
}

/// Whether the carriage stands at its bound that way. Without a datum nobody knows.
pub(super) fn is_at_bound(
    axis: &Signal<AxisReading>,
    travel: Range<Length>,
    way: Direction,
) -> bool {
    let known = axis.kind == Kind::Measured && axis.value.referenced == Referenced::Yes;
    let at = axis.value.position;
    known
        && match way {
            Direction::TowardChuck => at <= travel.low + AT_BOUND,
            Direction::TowardTail => at >= travel.high - AT_BOUND,
        }
}

#[cfg(test)]
mod tests {
    use evenpass_core::moment::Moment;
    use evenpass_core::quantity::Quantity as _;
    use evenpass_core::request::LONGEST_NUDGE;

    use super::*;

    fn hand() -> Hand {
        Hand { role: Role::Maintenance, place: Place::AtMachine, seat: Ok(()) }
    }

    fn denial(why: &str) -> Denial {
        Denial { why: why.to_owned(), help: "turn the enabling key on".to_owned() }
    }

    fn told(hand: &Hand, denial: Option<&Denial>) -> String {
        hand.why_not(Right::Maintain, denial).unwrap_or_default()
    }

    #[test]
    fn whoever_has_right_place_and_seat_is_told_what_the_machine_says() {
        let key = denial("the enabling key at the machine is off");
        let words = "the enabling key at the machine is off; turn the enabling key on";
        assert_eq!(told(&hand(), Some(&key)), words);
        assert_eq!(hand().why_not(Right::Maintain, None), None);
    }

    #[test]
    fn an_operator_someone_elsewhere_and_who_does_not_command_are_each_told_that_first() {
        let key = denial("the key is off");
        let operator = Hand { role: Role::Operator, ..hand() };
        assert_eq!(told(&operator, Some(&key)), "this needs maintenance or an engineer");
        assert_eq!(operator.why_not(Right::Run, None), None);
        let elsewhere = Hand { place: Place::Elsewhere, ..hand() };
        assert!(told(&elsewhere, None).starts_with("only somebody at the machine"));
        let empty = Hand { seat: Err(NotSeated::Empty), ..hand() };
        assert_eq!(told(&empty, Some(&key)), "nobody has the seat; take it first");
        let others = Hand { seat: Err(NotSeated::Others("Ann".into())), ..hand() };
        assert_eq!(told(&others, None), "the seat is Ann's; ask for it first");
    }

    #[test]
    fn every_nudge_offered_is_one_that_the_gate_takes_and_the_shortest_come_first() {
        for unit in LengthUnit::ALL {
            let lengths = nudges(unit).map(|text| Length::parse(&text).expect(&text));
            assert!(lengths.is_sorted(), "{lengths:?}");
            assert!(lengths.iter().all(|by| *by <= LONGEST_NUDGE), "{lengths:?}");
            assert!(nudges(unit).iter().all(|text| text.ends_with(unit.symbol())));
        }
    }

    #[test]
    fn a_carriage_is_at_its_bound_on_one_side_only_and_never_without_a_datum() {
        let travel = Range { low: Length::from_mm(-40.0), high: Length::from_mm(880.0) };
        let at = |mm: f64, referenced| {
            let position = Length::from_mm(mm);
            let reading = AxisReading { position, referenced, ..AxisReading::default() };
            Signal::measured(reading, Moment::START)
        };
        let ways = [Direction::TowardChuck, Direction::TowardTail];
        for (mm, wanted) in
            [(-40.0, [true, false]), (880.0, [false, true]), (100.0, [false, false])]
        {
            let axis = at(mm, Referenced::Yes);
            assert_eq!(ways.map(|way| is_at_bound(&axis, travel, way)), wanted, "{mm} mm");
            let unknown = at(mm, Referenced::No);
            assert_eq!(ways.map(|way| is_at_bound(&unknown, travel, way)), [false, false]);
        }
    }
}
