//! How long a flame may rest over one spot of the turning part.

use super::heat::StandingFlame;
use super::job::net_into;
use super::material::{Leads, metal};
use super::motion::LegMotion;
use super::powder::rest_before;
use super::zone::ZonePlan;
use crate::catalogue::{GasSetting, Torch};
use crate::program::SprayStep;
use crate::quantity::{Acceleration, Temperature, TemperatureStep, Time};
use crate::recipe::Part;

/// How much hotter the surface under a stalled carriage may get before the gases must be shut
/// (arbitrary: half the width of a usual spraying window is 75 K).
pub const STALL_RISE: TemperatureStep = TemperatureStep::from_kelvin(50.0);

/// What an ordinary turn needs at least, beyond the rest that is planned for it: the reversal is
/// seen by a scan, its set-point goes out behind one time-out of the line, and the drive takes
/// it up, 0.1 s in all on the bench. Arbitrary, well above that.
const TURN: Time = Time::from_s(1.0);

/// How long the carriage may stall under a flame until the surface is [`STALL_RISE`] hotter, at
/// the zone where that is shortest, on a part that is as hot as this already.
pub(crate) fn stall(
    part: &Part,
    zones: &[ZonePlan<'_>],
    torch: &Torch,
    gas: &GasSetting,
    hot: Temperature,
) -> Time {
    let metal = metal(part.substrate, Leads::Worst);
    zones
        .iter()
        .map(|zone| {
            let diameter = zone.diameters.low;
            let net = net_into(diameter, torch, gas);
            let (bore, flame, over) = (part.bore, torch.flame, metal.clone());
            StandingFlame { diameter, bore, net, flame, over, from: hot }.time_to(STALL_RISE)
        })
        .reduce(Time::min)
        .unwrap_or(Time::ZERO)
}

/// The longest rest of a flame over the part that still belongs to the job: what the heat rate
/// allows, and no shorter than the turns that are planned need.
pub(crate) fn longest(stall: Time, planned: Time) -> Time {
    stall.max(planned + TURN)
}

/// The longest rest that is planned at a turn of these steps.
pub(crate) fn planned<'a>(steps: impl Iterator<Item = &'a SprayStep>, ramp: Acceleration) -> Time {
    steps
        .flat_map(|step| step.passes.iter().map(move |pass| (step, pass)))
        .map(|(step, pass)| {
            rest_before(pass, &LegMotion::new(pass, ramp), step.lead_on, step.dwell)
        })
        .reduce(Time::max)
        .unwrap_or(Time::ZERO)
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
        let ramp = plan.program.ramp;
        assert_eq!(planned(steps, ramp), Time::from_s(0.4));
        assert_eq!(longest(Time::from_s(0.2), Time::from_s(0.4)), Time::from_s(1.4));
        assert_eq!(longest(Time::from_s(2.5), Time::from_s(0.4)), Time::from_s(2.5));
    }
}
