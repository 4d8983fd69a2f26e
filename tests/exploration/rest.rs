//! Dead waits and dead ends, looked for by running on from every situation: with nobody there
//! until everything rests, and with everything mended and a person who does what is asked until
//! the job is done. A run ends early where it meets a situation from which an earlier one ended
//! well.

use std::collections::HashSet;
use std::time::Duration;

use evenpass_core::image::Contact;
use evenpass_core::interlock::Acknowledged;
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::sequence::{Ask, Leaf, Phase};

use crate::explore::span_of;
use crate::key::key;
use crate::node::Node;
use crate::world::World;

/// Nothing may take longer than two of the longest waits there are, an hour each.
const ALONE_WITHIN: Duration = Duration::from_secs(2 * 3700);
/// The job, its start anew and every wait for a person's act on the way.
const HELPED_WITHIN: Duration = Duration::from_secs(1500);
/// A person acts every so many scans.
const ACTS_EVERY: u32 = 15;
/// So many restarts that come to nothing, and a person ends the job and begins anew.
const RESTARTS: u32 = 3;

/// Situations from which it went well.
#[derive(Debug, Default)]
pub(crate) struct Rest {
    alone: HashSet<u64>,
    helped: HashSet<u64>,
    pub(crate) scans: u64,
}

impl Rest {
    /// Runs on from a node in both ways; says what was found where it does not end well.
    pub(crate) fn both(
        &mut self,
        node: &Node,
        world: &World,
    ) -> (Result<(), String>, Result<(), String>) {
        (self.alone(node.clone(), world), self.helped(node.clone(), world))
    }

    fn alone(&mut self, mut node: Node, world: &World) -> Result<(), String> {
        let end = node.plant.now + ALONE_WITHIN;
        let (mut scans, mut last) = (0, 0);
        let mut passed = Vec::new();
        while node.plant.now < end {
            let key = key(&node, world);
            if node.rests() || self.alone.contains(&key) {
                self.alone.extend(passed);
                self.alone.insert(key);
                return Ok(());
            }
            if key != last {
                (last, scans) = (key, 0);
                passed.push(key);
            }
            let span = span_of(&node, world, scans);
            node.scan(world, span);
            scans += 1;
            self.scans += 1;
        }
        Err(format!("never at rest; in {:?} at last", node.machine.sequence.leaf()))
    }

    fn helped(&mut self, mut node: Node, world: &World) -> Result<(), String> {
        node.plant.faults = [None; 2];
        node.plant.drops = false;
        node.plant.awake = true;
        node.plant.key = true;
        let end = node.plant.now + HELPED_WITHIN;
        let mut person = Person::default();
        let mut passed = HashSet::new();
        let mut scans = 0_u32;
        while node.plant.now < end {
            let key = key(&node, world);
            let done = node.machine.sequence.leaf() == Leaf::Complete && node.is_at_rest();
            if done || (scans > 0 && self.helped.contains(&key)) {
                self.helped.extend(passed);
                self.helped.insert(key);
                return Ok(());
            }
            passed.insert(key);
            if scans % ACTS_EVERY == ACTS_EVERY - 1 {
                person.act(&mut node);
            }
            node.scan(world, world.scan);
            scans += 1;
            self.scans += 1;
        }
        let machine = &node.machine;
        Err(format!(
            "never done; in {:?} at last, first cause {:?}, needs {:?}, missing {:?}, setback {:?}",
            machine.sequence.leaf(),
            machine.verdict().first.as_ref().map(|first| first.key),
            machine.verdict().reset_needs,
            machine.missing,
            machine.sequence.status().setback,
        ))
    }
}

/// Somebody at the machine who wants the job done.
#[derive(Debug, Default)]
struct Person {
    restarts: u32,
}

impl Person {
    /// Does the next thing that the machine asks for or waits for.
    fn act(&mut self, node: &mut Node) {
        let asked = node.machine.sequence.prompt().map(|prompt| prompt.ask);
        match asked {
            Some(Ask::OpenGuard) => open(node),
            Some(Ask::Light) if node.plant.gas_flows() => node.plant.light(),
            Some(Ask::Light) => {}
            _ => node.plant.guard_open_for = None,
        }
        match (node.machine.sequence.phase(), asked) {
            (_, Some(Ask::Start | Ask::BeginHoming)) => {
                node.plant.pressed = Some(Contact::StartButton);
            }
            (_, Some(Ask::CallWet)) if node.plant.coat > 1040.0 => {
                node.plant.pressed = Some(Contact::WetButton);
            }
            (_, Some(ask)) if ask.is_answered_by_accept() => {
                node.plant.pressed = Some(Contact::AcceptButton);
            }
            (Phase::Idle, _) if node.plant.in_fault => ask(node, Request::Reset),
            (Phase::Idle, _) if !node.plant.referenced => ask(node, Request::Home),
            (Phase::Manual, None) => {
                let homing = node.machine.sequence.leaf() == Leaf::Homing;
                if !homing {
                    ask(node, Request::LeaveManual);
                }
            }
            (Phase::Held, _) if self.restarts >= RESTARTS || !node.plant.referenced => {
                self.restarts = 0;
                ask(node, Request::Stop);
            }
            (Phase::Held, _) => {
                let origin = Origin::Machine;
                if node.ask(Request::Restart, origin) == Answer::Accepted {
                    self.restarts += 1;
                }
            }
            (Phase::Aborted, _) => reset(node),
            (Phase::Stopped, _) => ask(node, Request::Reset),
            _ => {}
        }
    }
}

fn open(node: &mut Node) {
    node.plant.guard_open_for.get_or_insert(Duration::ZERO);
}

fn ask(node: &mut Node, request: Request) {
    node.ask(request, Origin::Machine);
}

fn reset(node: &mut Node) {
    ask(node, Request::Inspected);
    if node.machine.verdict().acknowledged == Acknowledged::No {
        ask(node, Request::Acknowledge);
    } else {
        ask(node, Request::Reset);
    }
}
