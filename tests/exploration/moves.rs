//! What can happen next in a situation, apart from time going by: everything that a person may ask
//! or do, and everything that can go wrong or come right again.

use std::time::Duration;

use evenpass_core::cia402::PowerState;
use evenpass_core::image::Contact;
use evenpass_core::quantity::Length;
use evenpass_core::request::{Answer, Direction, Origin, Request};
use evenpass_core::sequence::Phase;

use crate::node::Node;
use crate::world::World;

/// One thing that happens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Move {
    /// Nothing does: time goes by until something changes.
    Wait,
    /// The devices answer for the first time.
    Wake,
    /// Somebody asks.
    Ask(Request, Origin),
    /// Somebody presses a button.
    Press(Contact),
    OpenGuard,
    ShutGuard,
    KeyOn,
    KeyOff,
    /// Somebody holds a lighter to the torch.
    Light,
    /// The flame goes out; the gas could be lit again.
    BlowOut,
    /// Something breaks, by its place in the world's list.
    Break(u16),
    /// Everything is mended.
    Mend,
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

/// Everything that can be asked.
pub(crate) const REQUESTS: [Request; 25] = [
    Request::Start,
    Request::Hold,
    Request::HoldAfterPass,
    Request::Restart,
    Request::Stop,
    Request::Abort,
    Request::Acknowledge,
    Request::Reset,
    Request::Accept,
    Request::Wet,
    Request::NotWet,
    Request::BadFlame,
    Request::CoatLifting,
    Request::Inspected,
    Request::Home,
    Request::Jog(Direction::TowardChuck),
    Request::Jog(Direction::TowardTail),
    Request::JogRelease,
    Request::Nudge(Length::from_mm(2.0)),
    Request::Nudge(Length::from_mm(9.0)),
    Request::TakePoint,
    Request::EnterManual,
    Request::EnterProving,
    Request::LeaveManual,
    Request::BlastedNow,
];

/// What is asked where two things are wrong already.
const FEW_REQUESTS: [Request; 8] = [
    Request::Stop,
    Request::Hold,
    Request::Abort,
    Request::Acknowledge,
    Request::Reset,
    Request::Restart,
    Request::Accept,
    Request::Start,
];

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
const WORLD: [Move; 14] = [
    Move::Wake,
    Move::OpenGuard,
    Move::ShutGuard,
    Move::KeyOn,
    Move::KeyOff,
    Move::Light,
    Move::BlowOut,
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
/// Where nothing is wrong and nothing has tripped: all requests from the seat and from elsewhere,
/// all buttons, whatever the world does, and every fault singly. Where something is wrong or has
/// tripped, faults of one family stand for each other. Where two things are wrong, no third one
/// comes, and only what ends things is asked.
pub(crate) fn moves(node: &Node, world: &World) -> Vec<Move> {
    let wrong = node.plant.faults.iter().flatten().count();
    let tripped = matches!(node.machine.sequence.phase(), Phase::Aborting | Phase::Aborted);
    let mut moves = Vec::with_capacity(256);
    let seat = |request: &Request| Move::Ask(*request, Origin::Seat);
    let elsewhere = |request: &Request| Move::Ask(*request, Origin::Watcher);
    if wrong > 0 {
        moves.push(Move::Mend);
    }
    if wrong >= 2 {
        moves.extend(FEW_REQUESTS.iter().map(seat));
        return moves;
    }
    moves.extend(REQUESTS.iter().map(seat));
    moves.extend(REQUESTS.iter().map(elsewhere));
    moves.extend(BUTTONS.map(Move::Press));
    moves.extend(WORLD.iter().filter(|one| is_possible(**one, node)));
    let singly = wrong == 0 && !tripped;
    for (index, kind) in (0_u16..).zip(&world.kinds) {
        if singly || (kind.leads && kind.family.is_some()) {
            moves.push(Move::Break(index));
        }
    }
    moves
}

fn is_possible(one: Move, node: &Node) -> bool {
    let plant = &node.plant;
    match one {
        Move::Wake => !plant.awake,
        Move::OpenGuard => plant.guard_open_for.is_none(),
        Move::ShutGuard => plant.guard_open_for.is_some(),
        Move::KeyOn => !plant.key,
        Move::KeyOff => plant.key,
        Move::Light => plant.gas_flows() && !plant.lit,
        Move::BlowOut => plant.lit,
        Move::DropEdge => !plant.drops && plant.pending.is_some(),
        Move::DriveLosesPower => plant.referenced,
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
        Move::Wake => plant.awake = true,
        Move::Ask(request, origin) => {
            if node.ask(request, origin) != Answer::Accepted {
                return None;
            }
        }
        Move::Press(button) => plant.pressed = Some(button),
        Move::OpenGuard => plant.guard_open_for = Some(Duration::ZERO),
        Move::ShutGuard => plant.guard_open_for = None,
        Move::KeyOn => plant.key = true,
        Move::KeyOff => plant.key = false,
        Move::Light => plant.light(),
        Move::BlowOut => plant.lit = false,
        Move::Break(kind) => node.break_down(kind)?,
        Move::Mend => plant.faults = [None; 2],
        Move::Late(milliseconds) => span = Duration::from_millis(milliseconds.into()),
        Move::DropEdge => plant.drops = true,
        Move::DriveLosesPower => {
            plant.referenced = false;
            plant.attained = false;
            plant.power = PowerState::SwitchOnDisabled;
            plant.velocity = 0.0;
        }
        Move::PartCold => plant.part = 20.0,
        Move::PartTooHotForAPass => plant.part = world.spray.high.celsius() - 40.0,
        Move::PartOverItsCeiling => plant.part = world.spray.high.celsius() + 10.0,
    }
    Some(span)
}
