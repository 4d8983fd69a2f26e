//! How long each unsafe combination may last, by the one table of permitted durations, judged by
//! what the plant does and not by what is believed of it.

use std::time::Duration;

use evenpass_core::image::{AxisDemand, Coil};
use evenpass_core::interlock::durations;
use evenpass_core::interlock::{CarriageEffect, Class, Veto};

use super::{Finding, Invariant, at_most, invariant, must};

/// Low extraction may last so long before the hold (three seconds, the row's delay) and so long
/// after it.
const WITHOUT_EXTRACTION: Duration =
    Duration::from_secs(3 + durations::FLAME_WITHOUT_EXTRACTION.as_secs());
/// The longest spark: common practice for spark igniters, no source.
const LONGEST_SPARK: Duration = Duration::from_secs(5);

pub(super) const INVARIANTS: &[Invariant] = &[
    invariant(
        "powder without flame",
        "the feeder does not run without a flame longer than permitted",
        |look| at_most(look.node.monitor.powder_unlit, durations::POWDER_WITHOUT_FLAME, look),
    ),
    invariant(
        "powder with the carriage at rest",
        "the feeder does not run over one spot of the part longer than permitted",
        |look| at_most(look.node.monitor.powder_still, durations::POWDER_WITHOUT_MOTION, look),
    ),
    invariant(
        "fuel after the flame is lost",
        "fuel is shut in time after a proved flame went out",
        |look| at_most(look.node.monitor.fuel_after_loss, durations::FUEL_AFTER_FLAME_LOSS, look),
    ),
    invariant(
        "fuel unlit at lighting",
        "gas does not flow unlit longer than the trial and its margin",
        |look| {
            let trial = look.world.program.torches[0].lighting.trial.to_duration();
            at_most(look.node.monitor.fuel_unlit, trial + durations::TRIAL_MARGIN, look)
        },
    ),
    invariant("flame on a still part", "no flame stays over a part that does not turn", |look| {
        at_most(look.node.monitor.flame_on_still_part, durations::FLAME_ON_STILL_PART, look)
    }),
    invariant(
        "flame at rest over one spot",
        "no flame rests over one spot of the turning part longer than permitted",
        |look| at_most(look.node.monitor.flame_rests, durations::FLAME_AT_REST, look),
    ),
    invariant(
        "flame without extraction",
        "fuel is shut in time when the extraction stays away",
        |look| at_most(look.node.monitor.without_extraction, WITHOUT_EXTRACTION, look),
    ),
    invariant("spark", "the igniter is not energised for longer than a spark", |look| {
        at_most(look.node.monitor.sparks_for, LONGEST_SPARK, look)
    }),
    invariant(
        "field I/O not known",
        "nothing burns, flows or is fed once the field I/O has been silent or frozen",
        |look| {
            let blind = look.node.monitor.blind_for;
            let longest = durations::FIELD_SILENCE.max(durations::DEAD_CONTROLLER);
            if blind <= longest + look.span {
                return Finding::Idle;
            }
            let plant = &look.node.plant;
            must(!plant.fuel && !plant.oxygen && !plant.feeder.is_on(), || {
                format!("energy {:.2} s after the field I/O was lost", blind.as_secs_f64())
            })
        },
    ),
    invariant(
        "the watchdog beats only on what is fresh",
        "no beat while the field I/O is silent or frozen, nor in a late scan",
        |look| {
            let blind = look.node.monitor.blind_for > durations::FIELD_SILENCE + look.span;
            if !blind {
                return Finding::Idle;
            }
            must(!look.node.machine.outputs.watchdog.is_on(), || "it beats".to_owned())
        },
    ),
    invariant(
        "a trip cuts at once",
        "in the scan of a trip fuel, oxygen and powder are off, and no ON is on its way",
        |look| {
            if !look.node.machine.verdict().tripped() {
                return Finding::Idle;
            }
            let outputs = &look.node.machine.outputs;
            let flows = outputs.coil(Coil::Fuel).is_on() || outputs.coil(Coil::Oxygen).is_on();
            let fed = outputs.powder.now.is_on()
                || outputs.powder.next.is_some_and(|edge| edge.to.is_on());
            must(!flows && !fed, || format!("{outputs:?}"))
        },
    ),
    invariant(
        "a hold takes the powder",
        "while a hold or a stop is in force no powder is fed",
        |look| {
            let class = look.node.machine.verdict().class;
            if !class.is_some_and(|class| class == Class::Hold || class == Class::Stop) {
                return Finding::Idle;
            }
            let powder = look.node.machine.outputs.powder;
            let comes = powder.next.is_some_and(|edge| edge.to.is_on());
            must(!powder.now.is_on() && !comes, || format!("{powder:?}"))
        },
    ),
    invariant(
        "enforcement only takes away",
        "nothing is written that the sequence did not propose",
        |look| {
            let (proposed, written) = (&look.node.machine.proposed, &look.node.machine.outputs);
            let effects = &look.node.machine.verdict().effects;
            if proposed == written && look.node.machine.verdict().class.is_none() {
                return Finding::Idle;
            }
            let added = Coil::ALL
                .iter()
                .find(|coil| written.coil(**coil).is_on() && !proposed.coil(**coil).is_on());
            let strength = |axis: AxisDemand| match axis {
                AxisDemand::Off => 0,
                AxisDemand::QuickStop => 1,
                AxisDemand::Still => 2,
                AxisDemand::Travel(_) | AxisDemand::Home(_) => 3,
            };
            let moved = strength(written.axis) > strength(proposed.axis)
                || (effects.carriage == CarriageEffect::Cut && written.axis != AxisDemand::Off);
            let kept = effects.watchdog_off == Veto::Imposed && written.watchdog.is_on();
            let fed = written.powder.now.is_on() && !proposed.powder.now.is_on();
            must(added.is_none() && !moved && !kept && !fed, || {
                format!("added {added:?}; proposed {proposed:?}, written {written:?}")
            })
        },
    ),
    invariant(
        "a stop ends without torque",
        "a carriage that a trip stops loses its torque after its quick stop",
        |look| at_most(look.node.monitor.stopping_for, durations::QUICK_STOP, look),
    ),
];
