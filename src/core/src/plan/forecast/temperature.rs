//! Temperatures and times of the steps, the heated stretch as one lump.

use super::{Basis, Certainty, StepForecast, counted, heated, net_into, thinnest, title_of};
use crate::plan::heat::{Lump, ROOM};
use crate::plan::powder::Timeline;
use crate::plan::problem::Findings;
use crate::plan::zone::ZonePlan;
use crate::program::{CoolStep, FuseStep, PreheatStep, Program, SprayStep, Step};
use crate::quantity::{Length, Power, Range, Temperature, Time};

/// The state that goes from step to step.
struct Run<'a> {
    basis: &'a Basis<'a>,
    lump: Lump,
    /// Of the heated stretch.
    at: Temperature,
    /// Of the zone fused last; the other zones do not get hot with it.
    fused_at: Option<Temperature>,
}

/// Every step with its time and the temperature it leaves.
pub(super) fn steps(
    basis: &Basis<'_>,
    program: &Program,
    planned: &[ZonePlan<'_>],
    findings: &mut Findings,
) -> Vec<StepForecast> {
    let lump = Lump::of(&basis.recipe.part, heated(basis.recipe, basis.torches.spray.plume));
    let mut run = Run { basis, lump, at: ROOM, fused_at: None };
    let mut now = Time::ZERO;
    let mut done = Vec::new();
    for step in &program.steps {
        let (takes, certainty, flame) = match step {
            Step::Preheat(preheat) => run.preheat(preheat, planned),
            Step::Spray(spray) => run.spray(spray, program, planned, findings),
            Step::ChangeTorch(_) => (Time::ZERO, Certainty::ByPerson, None),
            Step::Fuse(fuse) => run.fuse(fuse, planned, findings),
            Step::Cool(cool) => run.cool(cool),
        };
        now += takes;
        done.push(StepForecast {
            what: title_of(step, program),
            takes,
            done_at: now,
            certainty,
            leaves_at: run.fused_at.unwrap_or(run.at),
            flame,
        });
    }
    done
}

type Outcome = (Time, Certainty, Option<(usize, Time)>);

impl Run<'_> {
    fn preheat(&mut self, step: &PreheatStep, planned: &[ZonePlan<'_>]) -> Outcome {
        let torch = self.basis.torches.spray;
        let net = net_into(thinnest(planned), torch, &torch.spraying);
        let heating = self.lump.time(self.at, step.aim, net).unwrap_or(step.longest);
        // The soak is spent clear of the part, where the flame heats nothing.
        self.at = self.lump.after(step.aim, Power::ZERO, step.soak);
        let takes = heating + step.soak;
        (takes, Certainty::Estimated, Some((step.torch, takes)))
    }

    /// Passes heat, waits cool: a pass that would start above the window waits, clear of the
    /// part, until it is below the place to resume.
    fn spray(
        &mut self,
        step: &SprayStep,
        program: &Program,
        planned: &[ZonePlan<'_>],
        findings: &mut Findings,
    ) -> Outcome {
        let torch = self.basis.torches.spray;
        let net = net_into(thinnest(planned), torch, &torch.spraying);
        let line = Timeline::of(step, program.ramp);
        let mut waits = Time::ZERO;
        let mut waited = 0;
        let mut before = Time::ZERO;
        for (_, end) in &line.passes {
            if self.at > step.window.high
                && let Some(wait) = self.lump.time(self.at, step.resume_below, Power::ZERO)
            {
                waits += wait;
                waited += 1;
                self.at = step.resume_below;
            }
            self.at = self.lump.after(self.at, net, *end - before);
            before = *end;
        }
        if waited > 0 {
            findings.note(
                format!("zone \"{}\"", step.zone),
                format!(
                    "the part is expected to get above {} and to wait {}, {:.0} in all, until it is \
                     below {}",
                    step.window.high,
                    counted(waited, "time"),
                    waits,
                    step.resume_below
                ),
            );
        }
        let takes = line.total() + waits;
        let certainty = if waited > 0 { Certainty::Estimated } else { Certainty::Planned };
        (takes, certainty, Some((step.torch, takes)))
    }

    /// Each band by itself, without what it loses by conduction: a lower bound.
    fn fuse(
        &mut self,
        step: &FuseStep,
        planned: &[ZonePlan<'_>],
        findings: &mut Findings,
    ) -> Outcome {
        let Some((torch, _)) = self.basis.torches.fuse else {
            return (Time::ZERO, Certainty::AtLeast, None);
        };
        let part = &self.basis.recipe.part;
        let diameter = planned
            .iter()
            .find(|zone| zone.zone.name == step.zone)
            .map_or_else(|| thinnest(planned), |zone| zone.mean);
        let net = net_into(diameter, torch, &torch.fusing);
        let mut takes = Time::ZERO;
        let mut reached: Option<Length> = None;
        let mut cold = 0;
        for band in &step.bands {
            let fresh = fresh_part(*band, reached, step);
            reached = Some(match step.starts {
                crate::recipe::End::ChuckSide => band.high,
                crate::recipe::End::TailSide => band.low,
            });
            let lump = Lump::of(part, fresh);
            match lump.time(self.at, step.window.low, net) {
                Some(time) => takes += time,
                None => cold += 1,
            }
            takes += Time::from_s((fresh.high - fresh.low).mm() / step.feed.mm_per_s());
        }
        let hottest = self.lump.hottest(net);
        if cold > 0 {
            findings.note(
                format!("fuse, zone \"{}\"", step.zone),
                format!(
                    "{net} of net heat can't bring {cold} of its bands to {}: use a larger flame",
                    step.window.low
                ),
            );
        } else if hottest < step.window.low {
            findings.note(
                format!("fuse, zone \"{}\"", step.zone),
                format!(
                    "{net} of net heat hold the heated stretch at {hottest:.0} at most, so each \
                     band is heated against what flows away; a larger flame is quicker"
                ),
            );
        }
        self.fused_at = Some(self.at.max(step.window.low));
        (takes, Certainty::AtLeast, Some((step.torch, takes)))
    }

    fn cool(&mut self, step: &CoolStep) -> Outcome {
        // As if all of the stretch were as hot as the zone fused last: the longest it can take.
        let hot = self.fused_at.take().unwrap_or(self.at);
        let natural = if hot > step.turn_until {
            self.lump.time(hot, step.turn_until, Power::ZERO).unwrap_or(step.longest)
        } else {
            Time::ZERO
        };
        self.at = hot.min(step.turn_until);
        (natural.max(step.at_least).max(step.after_fusing), Certainty::Estimated, None)
    }
}

/// The part of a band that the bands before it have not fused.
fn fresh_part(band: Range<Length>, reached: Option<Length>, step: &FuseStep) -> Range<Length> {
    match (reached, step.starts) {
        (None, _) => band,
        (Some(edge), crate::recipe::End::ChuckSide) => {
            Range { low: band.low.max(edge), high: band.high }
        }
        (Some(edge), crate::recipe::End::TailSide) => {
            Range { low: band.low, high: band.high.min(edge) }
        }
    }
}
