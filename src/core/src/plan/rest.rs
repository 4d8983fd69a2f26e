//! How long the carriage may rest over the part: the flame over one spot of it, powder commanded
//! or not; and whether the turns that are planned stay inside.

use super::heat::StandingFlame;
use super::job::net_into;
use super::material::{Leads, metal};
use super::motion::LegMotion;
use super::outline::Outline;
use super::powder::{TurnPowder, rest_before, turn_powder};
use super::problem::{Findings, Limit};
use super::zone::ZoneContext;
use crate::catalogue::{GasSetting, Torch};
use crate::program::{Pass, SprayStep};
use crate::quantity::{Length, Measure, Range, Temperature, TemperatureStep, Time};
use crate::recipe::{Part, Recipe};
use crate::rig::{AxisSpec, Rig};

/// How much hotter the surface under a stalled carriage may get before the gases must be shut
/// (arbitrary: half the width of a usual spraying window is 75 K).
pub const STALL_RISE: TemperatureStep = TemperatureStep::from_kelvin(50.0);

/// What an ordinary turn needs at least, beyond the rest that is planned for it: the reversal is
/// seen by a scan, its set-point goes out behind one time-out of the line, and the drive takes
/// it up, 0.1 s in all on the bench. Arbitrary, well above that.
const TURN: Time = Time::from_s(1.0);

/// The flame of a torch that may come to stand over a part.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Standing<'a> {
    pub part: &'a Part,
    pub torch: &'a Torch,
    pub gas: &'a GasSetting,
    /// As hot as the part is already.
    pub hot: Temperature,
}

impl Standing<'_> {
    /// Over the thinnest place of where the torch goes, where a section heats soonest.
    pub(crate) fn over(&self, diameter: Length) -> StandingFlame {
        let Self { part, torch, gas, hot } = *self;
        StandingFlame {
            diameter,
            bore: part.bore,
            net: net_into(diameter, torch, gas),
            flame: torch.flame,
            over: metal(part.substrate, Leads::Worst),
            from: hot,
        }
    }
}

/// The thinnest diameter of the part where torches go; `None` where none goes over it.
pub(crate) fn thinnest(part: &Part, ways: impl Iterator<Item = Range<Length>>) -> Option<Length> {
    let extent = part.extent();
    ways.map(|way| Range { low: way.low.max(extent.low), high: way.high.min(extent.high) })
        .filter(|way| way.low < way.high)
        .map(|way| Outline::of(part, way).diameters().low)
        .reduce(Length::min)
}

/// Where the torch goes in these steps.
pub(crate) fn ways<'a>(
    steps: impl Iterator<Item = &'a SprayStep>,
) -> impl Iterator<Item = Range<Length>> {
    steps
        .flat_map(|step| &step.passes)
        .map(|pass| Range { low: pass.from.min(pass.to), high: pass.from.max(pass.to) })
}

/// How long the carriage may stall under a flame until the surface is [`STALL_RISE`] hotter.
pub(crate) fn stall(standing: &Standing<'_>, thinnest: Option<Length>) -> Time {
    thinnest.map_or(Time::ZERO, |diameter| standing.over(diameter).time_to(STALL_RISE))
}

/// The longest rest of a flame over the part that still belongs to the job: what the heat rate
/// allows, and no shorter than the turns that are planned need.
pub(crate) fn longest(stall: Time, planned: Time) -> Time {
    stall.max(planned + TURN)
}

/// The longest rest before a pass of these steps, after a wait included.
pub(crate) fn planned<'a>(steps: impl Iterator<Item = &'a SprayStep>, axis: &AxisSpec) -> Time {
    steps
        .flat_map(|step| step.passes.iter().map(move |pass| (step, pass)))
        .map(|(step, pass)| {
            let motion = LegMotion::new(pass, axis.ramp);
            rest_before(pass, &motion, step.lead_on, step.dwell).max(anew(step, pass, axis).1)
        })
        .reduce(Time::max)
        .unwrap_or(Time::ZERO)
}

/// Where a pass begins with its powder off, as after a wait, and how long the carriage rests there
/// for the powder to be on its way: not at all where the travel has room for the lead.
pub(crate) fn anew(step: &SprayStep, pass: &Pass, axis: &AxisSpec) -> (Length, Time) {
    let from = pass.starts_anew_at(step.lead_on, axis.ramp, axis.travel);
    let wanted = pass.powder.first().map_or(from, |window| window.on);
    let motion = LegMotion::new(&Pass { from, ..pass.clone() }, axis.ramp);
    (from, (step.lead_on - motion.time_at(wanted)).max(Time::ZERO))
}

/// How long a flame may rest over one spot of the turning part before the interlock
/// `flame_at_rest` shuts it, where neither the plan nor the rig's file says less.
pub(crate) const FLAME_RESTS: Time = Time::from_s(3.0);
/// How long the feeder may be on over the part with the carriage at rest before the interlock
/// `powder_still` holds the job, where the rig's file does not say less.
pub(crate) const POWDER_RESTS: Time = Time::from_s(0.3);

/// The longest rests that the interlocks of a rig bear.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct RestLimits {
    /// Of a flame.
    pub flame: Time,
    /// Of the feeder.
    pub powder: Time,
    /// How much longer than planned a carriage is seen to rest at a turn: its arrival and its
    /// leaving are each seen one poll late and acted on one scan late.
    pub reversal: Time,
}

impl RestLimits {
    /// Of a rig, as its file tightens them.
    pub(crate) fn of(rig: &Rig) -> Self {
        let figures = |key: &str| rig.interlocks.iter().find(|figures| figures.key == key);
        let seconds =
            |measure: &Measure| (measure.unit == "s").then(|| Time::from_s(measure.value));
        let flame = figures("flame_at_rest").and_then(|row| row.set_point.as_ref());
        let powder = figures("powder_still").and_then(|row| row.delay);
        Self {
            flame: flame.and_then(seconds).map_or(FLAME_RESTS, |given| given.min(FLAME_RESTS)),
            powder: powder.map_or(POWDER_RESTS, |given| given.min(POWDER_RESTS)),
            reversal: (rig.axis.poll_every + rig.scan) * 2.0,
        }
    }

    /// Whether the feeder may be on so long before the carriage leaves a place over the part.
    pub(crate) fn bear_powder(&self, rest: Time) -> bool {
        rest + self.reversal <= self.powder
    }
}

/// Where a torch at rest is over the part, or near it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Over {
    part: Range<Length>,
    clear_by: Length,
    park: Length,
}

impl Over {
    /// Of a part under a torch that is clear of it by so much.
    pub(crate) fn new(recipe: &Recipe, rig: &Rig, clear_by: Length) -> Self {
        Self { part: recipe.part.extent(), clear_by, park: rig.axis.park }
    }

    /// Whether a flame at rest counts there: beyond the part it is clear on the park's side alone,
    /// on the other there is the chuck or the centre.
    pub(crate) fn flame(&self, at: Length) -> bool {
        if self.park >= self.part.high {
            at < self.part.high + self.clear_by
        } else if self.park <= self.part.low {
            at > self.part.low - self.clear_by
        } else {
            true
        }
    }

    /// Whether the feeder's being on counts there.
    pub(crate) fn powder(&self, at: Length) -> bool {
        self.part.contains(at)
    }
}

/// What a carriage that rests with powder commanded over the part would want.
const ROOM: &str = "give the carriage room for its lead: a shorter overrun, a wider travel, a \
                    slower feed";

/// A rest after a wait that the interlocks do not bear, where a job is expected to wait.
pub(crate) fn tell_anew(
    (at, rest): (Length, Time),
    over: Over,
    limits: RestLimits,
    place: &str,
    findings: &mut Findings,
) {
    if rest <= Time::ZERO || !over.powder(at) || limits.bear_powder(rest) {
        return;
    }
    findings.failing(
        place,
        format!(
            "after a wait powder would be commanded for {rest:.2}, and {:.2} until the carriage is \
             seen to move, at rest over the part at {at:.2}, where the travel ends; the interlock \
             `powder_still` holds the job after {:.2}: {ROOM}, or a part that need not wait",
            limits.reversal, limits.powder
        ),
    );
}

/// The rests of a step's turns against what torch and interlocks bear; and what a lead-in costs.
pub(crate) fn check_turns(
    context: &ZoneContext<'_>,
    step: &SprayStep,
    place: &str,
    findings: &mut Findings,
) {
    let (rig, torch) = (context.rig, context.torch);
    let over = Over::new(context.recipe, rig, context.clear_by);
    let limits = RestLimits::of(rig);
    let mut previous: Option<&Pass> = None;
    for pass in &step.passes {
        let motion = LegMotion::new(pass, rig.axis.ramp);
        let dwell = if previous.is_some() { step.dwell } else { Time::ZERO };
        let through =
            previous.is_some_and(|before| turn_powder(before, pass) == TurnPowder::Through);
        previous = Some(pass);
        let rest = rest_before(pass, &motion, step.lead_on, dwell);
        let lead = rest_before(pass, &motion, step.lead_on, Time::ZERO);
        let fed = if through { dwell } else { lead };
        let at = pass.from;
        // One turn tells of all: they repeat.
        if over.flame(at) && rest > torch.longest_dwell {
            findings.problem(
                Limit::Dwell,
                format!("{place}, overrun"),
                format!(
                    "the flame would rest for {rest:.2} over the part at the turn at {at:.2}; {} \
                     allows {}",
                    torch.title, torch.longest_dwell
                ),
                format!("shorten the dwell, or {ROOM}"),
            );
            return;
        }
        if over.flame(at) && rest + limits.reversal > limits.flame {
            findings.problem(
                Limit::Rest,
                format!("{place}, overrun"),
                format!(
                    "the flame would rest for {rest:.2}, and {:.2} until it is seen to move, over \
                     the part at the turn at {at:.2}; the interlock `flame_at_rest` shuts the gas \
                     after {:.2}",
                    limits.reversal, limits.flame
                ),
                format!("shorten the dwell, or {ROOM}"),
            );
            return;
        }
        if over.powder(at) && fed > Time::ZERO && !limits.bear_powder(fed) {
            findings.problem(
                Limit::Rest,
                format!("{place}, overrun"),
                format!(
                    "powder would be commanded for {fed:.2}, and {:.2} until the carriage is seen \
                     to move, at rest over the part at the turn at {at:.2}; the interlock \
                     `powder_still` holds the job after {:.2}",
                    limits.reversal, limits.powder
                ),
                if through {
                    "shorten the dwell, or slow the feed so that powder is switched at the turns"
                        .to_owned()
                } else {
                    ROOM.to_owned()
                },
            );
            return;
        }
        if rest > dwell {
            findings.note(
                place,
                format!(
                    "no room for the powder's lead before the turn at {at:.2}: powder is \
                     commanded at rest there, {rest:.2} before the carriage leaves"
                ),
            );
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{plan, support};
    use crate::program::Step;

    /// 3 kW net on D 50: the reference job's own stall, and a fusing flame that would have
    /// heated the surface in a fraction of a second.
    #[test]
    fn a_torch_may_rest_as_long_as_the_heat_rate_allows_and_its_turns_need() {
        let plan =
            plan(&support::recipe(), &support::rig(), &support::catalogue()).expect("a plan");
        let [spraying, fusing] = plan.program.torches.as_slice() else { panic!("two torches") };
        println!("{} spraying, {} fusing", spraying.longest_rest, fusing.longest_rest);
        assert_eq!(spraying.longest_rest, plan.forecast.stall.max(Time::from_s(1.2)));
        assert_eq!(fusing.longest_rest, TURN, "no rest is planned in fusing");
    }

    #[test]
    fn a_dwell_or_a_wait_for_powder_at_a_turn_is_no_stall() {
        let mut recipe = support::recipe();
        recipe.spray.dwell = Time::from_s(0.4);
        let plan = plan(&recipe, &support::rig(), &support::catalogue()).expect("a plan");
        let steps = plan.program.steps.iter().filter_map(|step| match step {
            Step::Spray(step) => Some(step),
            _ => None,
        });
        assert_eq!(planned(steps, &support::rig().axis), Time::from_s(0.4));
        assert_eq!(longest(Time::from_s(0.2), Time::from_s(0.4)), Time::from_s(1.4));
        assert_eq!(longest(Time::from_s(2.5), Time::from_s(0.4)), Time::from_s(2.5));
    }
}
