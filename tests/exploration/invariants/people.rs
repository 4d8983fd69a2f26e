//! Acts of people: what needs one, what nobody may be denied, and what is kept for them to read.

use std::time::Duration;

use evenpass_core::image::{AxisDemand, Coil, SpindleDemand};
use evenpass_core::interlock::durations;
use evenpass_core::sequence::{Leaf, Phase};

use super::{Finding, Invariant, at_most, invariant, must};
use crate::node::COARSEST;

pub(super) const INVARIANTS: &[Invariant] = &[
    invariant(
        "nothing starts without an act",
        "gas, powder, motion and turning begin only after an act at the machine since the last rest",
        |look| {
            let (before, now) = (&look.before.outputs, &look.node.machine.outputs);
            let coil = [Coil::Fuel, Coil::Oxygen, Coil::Supply, Coil::Igniter]
                .iter()
                .any(|coil| now.coil(*coil).is_on() && !before.coil(*coil).is_on());
            let powder = now.powder.now.is_on() && !before.powder.now.is_on();
            let moves = |axis| matches!(axis, AxisDemand::Travel(_) | AxisDemand::Home(_));
            let travel = moves(now.axis) && !moves(before.axis);
            let turns = now.spindle != SpindleDemand::Stop && before.spindle == SpindleDemand::Stop;
            if !(coil || powder || travel || turns) {
                return Finding::Idle;
            }
            must(look.node.monitor.act, || {
                format!(
                    "gas {coil}, powder {powder}, travel {travel}, turning {turns} in {:?}",
                    look.node.machine.sequence.leaf()
                )
            })
        },
    ),
    invariant(
        "no motion in an open guard",
        "with the guard open the carriage comes to rest and is asked nothing",
        |look| {
            let monitor = &look.node.monitor;
            match at_most(monitor.asked_in_open_guard, look.world.scan, look) {
                Finding::Idle => at_most(monitor.moves_in_open_guard, durations::QUICK_STOP, look),
                found => found,
            }
        },
    ),
    invariant(
        "stop, hold and abort are obeyed",
        "in the scan after a stop, a hold or an abort no powder is fed and none is on its way",
        |look| {
            if !look.node.monitor.stop_taken {
                return Finding::Idle;
            }
            let powder = look.node.machine.outputs.powder;
            let comes = powder.next.is_some_and(|edge| edge.to.is_on());
            must(!powder.now.is_on() && !comes, || format!("{powder:?}"))
        },
    ),
    invariant(
        "the first cause stays first",
        "the first cause of a trip never changes until the reset",
        |look| {
            let monitor = &look.node.monitor;
            match (monitor.before_first, monitor.first) {
                (Some(before), Some(now)) => {
                    must(before == now, || format!("{before} became {now}"))
                }
                _ => Finding::Idle,
            }
        },
    ),
    invariant(
        "a reset is a person's",
        "a trip ends only by a reset that was asked for, acknowledged, inspected and purged for",
        |look| {
            let Some(reset) = look.node.monitor.reset else { return Finding::Idle };
            let so = reset.asked && reset.acknowledged && reset.inspected && reset.purged;
            must(so, || format!("{reset:?}"))
        },
    ),
    invariant(
        "a reset needs its cause gone",
        "a trip does not end while what caused it and is judged by its health is still so",
        |look| {
            if look.node.monitor.reset.is_none() {
                return Finding::Idle;
            }
            let first = look.node.monitor.before_first;
            let read = crate::reading::read(&look.node.plant, look.world);
            let standing = look.node.plant.faults.iter().flatten();
            let lasting = standing
                .filter_map(|standing| {
                    first.and_then(|first| look.world.kind(standing.kind).health_judged_by(first))
                })
                .find(|tag| !read.is_on(*tag, durations::FIELD_SILENCE));
            must(lasting.is_none(), || format!("{first:?} reset with {lasting:?}"))
        },
    ),
    invariant("a flame is attended", "a flame that nobody has answered for is withdrawn", |look| {
        let rig = &look.world.rig;
        let longest =
            rig.attendance.every.to_duration() + rig.attendance.answer_within.to_duration();
        if !look.node.machine.sequence.phase().is_running() {
            return Finding::Idle;
        }
        // Counted from the scan after the first with a flame, and asked in a scan of its own; where
        // nothing moves, asking and noticing that nobody answered may each come a coarse step late.
        let steps = look.world.scan * 2 + COARSEST * 2;
        at_most(look.node.monitor.unattended_for, longest + steps, look)
    }),
    invariant(
        "manual work is isolated",
        "in manual work no gas valve is asked open, and jogging is slow",
        |look| {
            let machine = &look.node.machine;
            if machine.sequence.phase() != Phase::Manual {
                return Finding::Idle;
            }
            let gas = [Coil::Fuel, Coil::Oxygen, Coil::Supply, Coil::Igniter]
                .iter()
                .any(|coil| machine.outputs.coil(*coil).is_on());
            let fast = match machine.outputs.axis {
                AxisDemand::Travel(travel) if machine.sequence.leaf() == Leaf::Jogging => {
                    travel.at > look.world.rig.axis.jog
                }
                _ => false,
            };
            must(!gas && !fast, || format!("{:?}", machine.outputs))
        },
    ),
    invariant(
        "a jog lasts as long as its lease",
        "a jogging carriage is stopped once the lease runs out",
        |look| {
            let machine = &look.node.machine;
            let jogs = matches!(machine.outputs.axis, AxisDemand::Travel(_))
                && machine.sequence.leaf() == Leaf::Jogging;
            if !jogs || look.node.monitor.nudges {
                return Finding::Idle;
            }
            let longest = durations::JOG_LEASE + look.span;
            let since = look
                .node
                .monitor
                .jog_until
                .map_or(Duration::MAX, |asked| look.node.plant.now.since(asked));
            must(since <= longest, || format!("{:.2} s after it", since.as_secs_f64()))
        },
    ),
];
