//! What may happen only after something else, and what must go with what.

use evenpass_core::cia402::PowerState;
use evenpass_core::image::{AxisDemand, Coil, Contact, Level, Outputs, SpindleDemand};
use evenpass_core::interlock::{SpindleEffect, durations};
use evenpass_core::rig::LitBy;
use evenpass_core::sequence::{Leaf, Phase};

use super::{Finding, Invariant, Look, invariant, must};
use crate::node::{SPINDLE_RESTS, stands};

/// As near to what is set as a spindle is proved, and what is read around it.
const AT_SPEED: f64 = 0.06;

fn newly(coil: Coil, look: &Look<'_>) -> bool {
    look.node.machine.outputs.coil(coil).is_on() && !look.before.outputs.coil(coil).is_on()
}

fn comes_on(outputs: &Outputs) -> bool {
    outputs.powder.now.is_on() || outputs.powder.next.is_some_and(|edge| edge.to.is_on())
}

pub(super) const INVARIANTS: &[Invariant] = &[
    invariant(
        "powder belongs to a pass",
        "an ON edge is void with any trip, hold or stop: outside a pass none is on its way",
        |look| {
            let leaf = look.node.machine.sequence.leaf();
            let passes = matches!(leaf, Leaf::Crossing | Leaf::SprayTurning);
            let was = matches!(look.before.situation.leaf, Leaf::Crossing | Leaf::SprayTurning);
            if passes || !was {
                let fed = comes_on(&look.node.machine.outputs) || look.node.plant.feeder.is_on();
                return if passes { Finding::Idle } else { must(!fed, || format!("in {leaf:?}")) };
            }
            let waits = look.node.plant.pending.is_some_and(|edge| edge.to == Level::On);
            must(!comes_on(&look.node.machine.outputs) && !waits, || {
                format!("{leaf:?}: {:?}", look.node.machine.outputs.powder)
            })
        },
    ),
    invariant(
        "gas only after a purge",
        "gas is opened only after air has cleared the torch for as long as its handbook asks",
        |look| {
            if !newly(Coil::Fuel, look) {
                return Finding::Idle;
            }
            let purge = look.world.program.torches[0].lighting.purge.to_duration();
            let air = look.node.monitor.air_before_gas;
            must(air + look.span >= purge, || format!("air for {:.2} s", air.as_secs_f64()))
        },
    ),
    invariant(
        "gas only where it may be lit",
        "by hand at the park, spindle at rest, guard open; by an igniter behind a shut guard",
        |look| {
            if !newly(Coil::Fuel, look) {
                return Finding::Idle;
            }
            let plant = &look.node.plant;
            // As it is read: a contact that lies cannot be known.
            let read = crate::reading::read(plant, look.world);
            let open = !read.is_on(Contact::Guard, durations::FIELD_SILENCE);
            let so = match look.world.rig.lit_by {
                LitBy::Hand => {
                    open && plant.rpm < SPINDLE_RESTS
                        && plant.velocity == 0.0
                        && plant.is_parked(look.world)
                }
                LitBy::Igniter => !open && plant.is_parked(look.world),
            };
            must(so, || format!("guard open: {open}, {} rpm, at {:.1}", plant.rpm, plant.position))
        },
    ),
    invariant(
        "the flame leaves the park only proved",
        "with a flame the carriage leaves the park only with a proved spindle and a shut guard",
        |look| {
            let plant = &look.node.plant;
            let outputs = &look.node.machine.outputs;
            let park = look.world.rig.axis.park;
            let leaves = matches!(outputs.axis, AxisDemand::Travel(travel) if travel.to != park);
            let stood = !matches!(look.before.outputs.axis, AxisDemand::Travel(_));
            // What goes wrong in this very scan could not be seen before it.
            let just_now = plant
                .faults
                .iter()
                .flatten()
                .any(|standing| plant.now.since(standing.since) <= look.span);
            if !(leaves && stood && plant.lit && plant.is_parked(look.world)) || just_now {
                return Finding::Idle;
            }
            let SpindleDemand::Turn(set) = outputs.spindle else {
                return Finding::Broken("the spindle is not asked to turn".to_owned());
            };
            let proved = (plant.rpm - set.rpm()).abs() <= set.rpm() * AT_SPEED;
            must(proved && plant.guard_open_for.is_none(), || {
                format!("{:.1} rpm of {:.1}", plant.rpm, set.rpm())
            })
        },
    ),
    invariant(
        "access needs isolation",
        "hands are let inside only with gas vented, spindle at rest and the axis without torque",
        |look| {
            if look.node.machine.sequence.leaf() != Leaf::Inside {
                return Finding::Idle;
            }
            let (plant, outputs) = (&look.node.plant, &look.node.machine.outputs);
            let entered = look.before.situation.leaf != Leaf::Inside;
            let asked = [Coil::Fuel, Coil::Oxygen, Coil::Supply, Coil::Igniter]
                .iter()
                .any(|coil| outputs.coil(*coil).is_on())
                || outputs.axis != AxisDemand::Off
                || outputs.spindle != SpindleDemand::Stop;
            let so = plant.pressure < 0.1
                && plant.rpm < SPINDLE_RESTS
                && plant.power != PowerState::OperationEnabled
                && !plant.lit;
            must(!asked && (so || !entered), || {
                format!("pressure {:.2}, {:.1} rpm, {:?}", plant.pressure, plant.rpm, plant.power)
            })
        },
    ),
    invariant(
        "retreat only trusted",
        "a retreat is made only inside the same uninterrupted enable, with a trusted position",
        |look| {
            let moves = matches!(
                look.node.machine.outputs.axis,
                AxisDemand::Travel(_) | AxisDemand::Home(_)
            );
            if !look.node.machine.verdict().tripped() || !moves {
                return Finding::Idle;
            }
            let inputs = &look.node.machine.inputs;
            let read = inputs.axis.trusted(inputs.now, durations::DRIVE_SILENCE);
            let same = look.node.monitor.trusted;
            must(same && read.is_some(), || {
                format!("enabled without a break: {same}; read: {read:?}")
            })
        },
    ),
    invariant(
        "no air into a flashback",
        "after a flashback no carrier air flows until somebody has inspected",
        |look| {
            let monitor = &look.node.monitor;
            let first = look.node.machine.verdict().first.as_ref();
            let is_one = first.is_some_and(|first| matches!(first.key, "flashback" | "bad_flame"));
            if !is_one || !look.node.monitor.inspection_waits() {
                return Finding::Idle;
            }
            let air = look.node.machine.outputs.coil(Coil::CarrierAir).is_on();
            must(!air, || format!("air after {:?}", monitor.first))
        },
    ),
    invariant(
        "a trip is followed",
        "whatever the state, a trip leads to removing energy, in the next scan at the latest",
        |look| {
            // A cause raised by the sequence itself is latched after its step.
            let raised_now = look.node.monitor.before_first.is_none();
            if !look.node.machine.verdict().tripped() || raised_now {
                return Finding::Idle;
            }
            let phase = look.node.machine.sequence.phase();
            must(matches!(phase, Phase::Aborting | Phase::Aborted), || {
                format!("tripped, and {phase:?}")
            })
        },
    ),
    invariant(
        "a wet coat keeps turning",
        "what turns when the torch withdraws, or may turn in a trip, is kept turning",
        |look| {
            let situation = look.node.situation();
            let waits = matches!(
                situation.leaf,
                Leaf::Holding | Leaf::HeldLit | Leaf::HeldUnlit | Leaf::Stopping
            );
            let trips = matches!(situation.leaf, Leaf::Aborting | Leaf::Aborted);
            let verdict = look.node.machine.verdict();
            let may = verdict.effects.spindle != SpindleEffect::Stop;
            // What is seen to stand, now or when somebody asked, is not turned later.
            let stood = look.before.stands || stands(&look.node.machine.inputs);
            let turned = look.before.outputs.spindle != SpindleDemand::Stop && !stood;
            if !turned || !may || !(waits || trips) {
                return Finding::Idle;
            }
            must(look.node.machine.outputs.spindle != SpindleDemand::Stop, || {
                format!("it is stopped in {:?}", situation.leaf)
            })
        },
    ),
    invariant(
        "at rest nothing is asked",
        "idle, teaching, proving, stopped and complete ask for no gas, powder, motion or turning",
        |look| {
            let leaf = look.node.machine.sequence.leaf();
            let rests = matches!(
                leaf,
                Leaf::NotReady
                    | Leaf::Ready
                    | Leaf::Teaching
                    | Leaf::Proving
                    | Leaf::Stopped
                    | Leaf::Complete
            );
            if !rests {
                return Finding::Idle;
            }
            let outputs = &look.node.machine.outputs;
            let coils = [Coil::Fuel, Coil::Oxygen, Coil::Supply, Coil::Igniter, Coil::CarrierAir];
            let asks = coils.iter().any(|coil| outputs.coil(*coil).is_on())
                || comes_on(outputs)
                || !matches!(outputs.axis, AxisDemand::Off | AxisDemand::QuickStop)
                || outputs.spindle != SpindleDemand::Stop;
            must(!asks, || format!("{leaf:?}: {outputs:?}"))
        },
    ),
    invariant(
        "proving is isolated",
        "interlocks are proved only with the gas vented, and it ends when it is not",
        |look| {
            if look.node.machine.sequence.leaf() != Leaf::Proving {
                return Finding::Idle;
            }
            must(look.node.plant.pressure < 0.1, || {
                format!("pressure {:.2}", look.node.plant.pressure)
            })
        },
    ),
    invariant(
        "energy goes with its air",
        "gas and powder are asked only with extraction and supply, and powder with carrier air",
        |look| {
            let outputs = &look.node.machine.outputs;
            let on = |coil| outputs.coil(coil).is_on();
            let gas = on(Coil::Fuel) || on(Coil::Oxygen);
            if !gas && !outputs.powder.now.is_on() {
                return Finding::Idle;
            }
            let air = on(Coil::CarrierAir) || !outputs.powder.now.is_on();
            must(on(Coil::Extraction) && (on(Coil::Supply) || !gas) && air, || {
                format!("{outputs:?}")
            })
        },
    ),
    invariant(
        "a stalled controller trips",
        "after a scan that was later than permitted energy is off",
        |look| {
            let asked = look.before.outputs.coil(Coil::Fuel).is_on();
            if look.span <= durations::SCAN_GAP || !asked {
                return Finding::Idle;
            }
            must(look.node.machine.verdict().tripped(), || {
                format!("a gap of {:.2} s", look.span.as_secs_f64())
            })
        },
    ),
    invariant(
        "what guards people is believed only when known",
        "gas is off once emergency stop, clamp or fire detection is open, failed or not heard of",
        |look| {
            let inputs = &look.node.machine.inputs;
            if !look.node.plant.awake || !look.node.plant.fuel {
                return Finding::Idle;
            }
            let plain = crate::reading::read(&look.node.plant, look.world);
            let unknown = [
                Contact::EmergencyStop,
                Contact::Clamp,
                Contact::FireDetection,
                Contact::GasDetector,
                Contact::OxygenMonitor,
                Contact::Arrestor,
            ]
            .into_iter()
            .find(|tag| !plain.is_on(*tag, durations::FIELD_SILENCE));
            let asked = look.node.machine.outputs.coil(Coil::Fuel).is_on();
            must(unknown.is_none() || !asked, || {
                format!("{unknown:?} is not known to be healthy at {}", inputs.now)
            })
        },
    ),
];
