//! What can happen next in a situation, apart from time going by: everything that a person may ask
//! or do, and everything that can go wrong or come right again.

use std::time::Duration;

use evenpass_core::cia402::PowerState;
use evenpass_core::image::Contact;
use evenpass_core::quantity::Length;
use evenpass_core::request::{Answer, Direction, Origin, Request, Trim};
use evenpass_core::sequence::Phase;

use crate::key::works_with_heat;
use crate::node::Node;
use crate::world::World;

/// One thing that happens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Move {
    /// Nothing does: time goes by until something changes.
    Wait,
    /// The devices answer for the first time, and somebody turns the key.
    Wake,
    /// Somebody asks.
    Ask(Request, Origin),
    /// Somebody presses a button.
    Press(Contact),
    OpenGuard,
    ShutGuard,
    /// Somebody holds a lighter to the torch.
    Light,
    /// The flame goes out; the gas could be lit again.
    BlowOut,
    /// Something breaks, by its place in the world's list.
    Break(u16),
    /// Everything is mended.
    Mend,
    /// One of two things that are wrong is mended.
    MendOne(u8),
    /// The controller stood still for so many milliseconds.
    Late(u16),
    /// The line will be busy when the next ON edge is due.
    DropEdge,
    /// The drive loses its supply for a moment, and with it its datum.
    DriveLosesPower,
    /// The part is cold now, too hot for the next pass, or over its ceiling.
    PartCold,
    PartTooHotForAPass,
    PartOverItsCeiling,
}

/// Everything that can be asked, once.
const REQUESTS: [Request; 26] =
    Request::each(Direction::TowardChuck, Length::from_mm(2.0), Trim::of_percent(2));

/// What is asked in another way too: the other way along, by too much, back again.
const OTHERWISE: [Request; 3] = [
    Request::Jog(Direction::TowardTail),
    Request::Nudge(Length::from_mm(9.0)),
    Request::Trim(Trim::of_percent(-2)),
];

/// What is asked where something is wrong.
const ENDING_REQUESTS: [Request; 5] =
    [Request::Stop, Request::Hold, Request::Abort, Request::Acknowledge, Request::Reset];

/// The same, from the first node of each shape.
const GOING_ON: [Request; 3] = [Request::Restart, Request::Accept, Request::Start];

/// The buttons at the machine.
const BUTTONS: [Contact; 9] = [
    Contact::StartButton,
    Contact::ResetButton,
    Contact::AcceptButton,
    Contact::WetButton,
    Contact::BadFlameButton,
    Contact::CoatLiftingButton,
    Contact::HoldButtonRest,
    Contact::StopButtonRest,
    Contact::AbortButtonRest,
];

/// What the world may do by itself.
const WORLD: [Move; 10] = [
    Move::OpenGuard,
    Move::BlowOut,
    Move::Late(290),
    Move::Late(400),
    Move::Late(900),
    Move::DropEdge,
    Move::DriveLosesPower,
    Move::PartCold,
    Move::PartTooHotForAPass,
    Move::PartOverItsCeiling,
];

/// Everything tried from a node, time going by apart.
///
/// All requests from the seat; from the first node of each shape all from elsewhere and all buttons
/// too, and where all is as it should be there whatever the world does, and every fault singly. Where one thing is not, everything that can be
/// asked is, and it can be mended; a second thing goes wrong in the second sweep only.
pub(crate) fn moves(node: &Node, world: &World, fresh: bool) -> Vec<Move> {
    let mut moves = Vec::with_capacity(256);
    // What one touch-up pass leads to, three do: while one is added, none is asked for.
    let added = node.situation().touch_ups > 0;
    let ask = |origin: Origin| {
        let all = REQUESTS.iter().chain(&OTHERWISE);
        let asked = all.filter(move |request| !(added && **request == Request::TouchUp));
        asked.map(move |request| Move::Ask(*request, origin))
    };
    if node.plant.faults != [None; 2] {
        moves.push(Move::Mend);
        let ask = |request: &Request| Move::Ask(*request, Origin::Seat);
        moves.extend(ENDING_REQUESTS.iter().map(ask));
        if fresh {
            moves.extend(GOING_ON.iter().map(ask));
            moves.push(Move::Ask(Request::Stop, Origin::Watcher));
            moves.push(Move::Press(Contact::ResetButton));
        }
        return moves;
    }
    moves.extend(ask(Origin::Seat));
    if fresh {
        moves.extend(ask(Origin::Watcher));
        moves.extend(BUTTONS.map(Move::Press));
    }
    let tidies = [Move::Wake, Move::ShutGuard, Move::Light];
    moves.extend(tidies.iter().filter(|one| is_possible(**one, node)));
    if fresh && deviations(node) == 0 {
        moves.extend(WORLD.iter().filter(|one| is_possible(**one, node)));
        moves.extend((0_u16..).zip(&world.kinds).map(|(index, _)| Move::Break(index)));
    }
    moves
}

/// The first of two things that go wrong: one of each family.
pub(crate) fn first_faults(world: &World) -> impl Iterator<Item = Move> + '_ {
    let leads = (0_u16..).zip(&world.kinds).filter(|(_, kind)| kind.leads);
    leads.map(|(index, _)| Move::Break(index))
}

/// A second thing that goes wrong beside a first: one of each family.
pub(crate) fn second_faults(world: &World) -> impl Iterator<Item = Move> + '_ {
    let leads = (0_u16..).zip(&world.kinds).filter(|(_, kind)| kind.leads_trips);
    leads.map(|(index, _)| Move::Break(index))
}

/// How many things are not as they should be in a sound job: faults, a guard open where nobody
/// lights or reaches in, a datum lost in a job, a hold or trip in force, a drive in fault, a part
/// over its ceiling, an edge about to be dropped.
pub(crate) fn deviations(node: &Node) -> usize {
    let (plant, machine) = (&node.plant, &node.machine);
    let phase = machine.sequence.phase();
    let opens = matches!(phase, Phase::Lighting | Phase::Access);
    let at_ease = matches!(phase, Phase::Idle | Phase::Manual | Phase::Starting);
    let verdict = machine.verdict();
    let others = [
        plant.guard_open_for.is_some() && !opens,
        !plant.referenced && !at_ease,
        verdict.tripped() || !verdict.holds.is_empty(),
        plant.in_fault,
        plant.drops,
        is_overheated(node),
    ];
    plant.faults.iter().flatten().count() + others.iter().filter(|so| **so).count()
}

fn is_overheated(node: &Node) -> bool {
    let limits = node.machine.sequence.limits();
    works_with_heat(node)
        && limits.spray_window.is_some_and(|window| node.plant.part > window.high.celsius())
}

fn is_possible(one: Move, node: &Node) -> bool {
    let plant = &node.plant;
    match one {
        Move::Wake => !plant.awake,
        Move::OpenGuard => plant.guard_open_for.is_none(),
        Move::ShutGuard => plant.guard_open_for.is_some(),
        Move::Light => plant.gas_flows() && !plant.lit,
        Move::BlowOut => plant.lit,
        Move::DropEdge => !plant.drops && plant.pending.is_some(),
        Move::DriveLosesPower => plant.referenced,
        Move::PartCold | Move::PartTooHotForAPass | Move::PartOverItsCeiling => {
            works_with_heat(node)
        }
        _ => true,
    }
}

/// Whether a move needs a machine that is awake.
fn acts_on_the_world(node: &Node) -> bool {
    node.plant.awake
}

/// Makes a move happen, up to and with the scan that reads it. `None` when nothing comes of it;
/// the answer of what was asked, otherwise, and what was so before the scan.
pub(crate) fn begin(node: &mut Node, world: &World, one: Move) -> Option<Duration> {
    let mut span = world.scan;
    if !acts_on_the_world(node) && !matches!(one, Move::Wake | Move::Ask(..) | Move::Break(_)) {
        return None;
    }
    let plant = &mut node.plant;
    match one {
        Move::Wait => return None,
        Move::Wake => (plant.awake, plant.key) = (true, true),
        Move::Ask(request, origin) => {
            if node.ask(request, origin) != Answer::Accepted {
                return None;
            }
        }
        Move::Press(button) => plant.pressed = Some(button),
        Move::OpenGuard => plant.guard_open_for = Some(Duration::ZERO),
        Move::ShutGuard => plant.guard_open_for = None,
        Move::Light => plant.light(),
        Move::BlowOut => plant.lit = false,
        Move::Break(kind) => node.break_down(kind)?,
        Move::Mend => plant.faults = [None; 2],
        Move::MendOne(slot) => plant.faults[usize::from(slot)] = None,
        Move::Late(milliseconds) => span = Duration::from_millis(milliseconds.into()),
        Move::DropEdge => plant.drops = true,
        Move::DriveLosesPower => {
            plant.referenced = false;
            plant.attained = false;
            plant.power = PowerState::SwitchOnDisabled;
            plant.velocity = 0.0;
        }
        Move::PartCold => plant.part = 20.0,
        Move::PartTooHotForAPass => plant.part = world.spray.high.celsius() - 15.0,
        Move::PartOverItsCeiling => plant.part = world.spray.high.celsius() + 10.0,
    }
    Some(span)
}
