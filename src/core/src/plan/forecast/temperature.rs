//! Temperatures and times of the steps: what the sequence will do, done to the part in the model.

use super::course::{Course, Places};
use super::fusing::{FusingForecast, fuse};
use super::zone::{GrownEdges, GrownWhen};
use super::{Basis, Certainty, StepForecast, TemperaturePoint, counted};
use crate::model::{Bar, Loss, Metal, Shape, Source};
use crate::plan::heat::{ROOM, bar, source};
use crate::plan::motion::LegMotion;
use crate::plan::powder::Timeline;
use crate::plan::problem::{Findings, Limit};
use crate::plan::rest::{Over, RestLimits, anew, tell_anew};
use crate::program::{CoolStep, PreheatStep, Program, Rises, SprayStep, Step};
use crate::quantity::{Length, Range, Temperature, TemperatureStep, Time};

/// Longest wait for the part that is followed: the sequence asks a person after an hour.
const LONGEST_WAIT: Time = Time::from_s(3600.0);
/// How often a soak that got too cold is begun again before that is told as a fault of the recipe.
const SOAKS: u32 = 3;

/// What heat does to a job.
#[derive(Debug)]
pub(super) struct HeatForecast {
    pub steps: Vec<StepForecast>,
    pub temperatures: Vec<TemperaturePoint>,
    pub fusing: Vec<FusingForecast>,
    /// Edges on the hot part, by the zone's place in the recipe.
    pub grown: Vec<(usize, GrownEdges)>,
    /// How long the part turns after fusing at the least.
    pub after_fusing: Time,
}

/// What comes of one step.
pub(super) struct Outcome {
    pub what: String,
    pub certainty: Certainty,
    /// The torch that burns in it.
    pub torch: Option<usize>,
    pub leaves_at: Temperature,
    pub waits: usize,
    pub waiting: Time,
}

/// The state that goes from step to step.
struct Run<'a> {
    basis: &'a Basis<'a>,
    program: &'a Program,
    course: Course,
    spraying: Source,
    grown: Vec<(usize, GrownEdges)>,
    after_fusing: Time,
}

/// Every step with its time and the temperature it leaves.
pub(super) fn forecast(
    basis: &Basis<'_>,
    program: &Program,
    findings: &mut Findings,
) -> HeatForecast {
    let torches = basis.torches;
    let flame = torches.fuse.map_or(torches.spray.flame, |(torch, _)| torch.flame);
    let bar = bar(&basis.recipe.part, flame.min(torches.spray.flame)).unwrap_or_else(|| {
        findings.problem(
            Limit::Positive,
            "part, profile",
            "the part has no length, or no wall around its bore",
            "correct it",
        );
        nothing()
    });
    let sensor = basis
        .recipe
        .zones
        .first()
        .map_or(basis.recipe.part.extent().low, |zone| (zone.from + zone.to) / 2.0);
    let (park, positioning, ramp) = (program.park, program.positioning, program.ramp);
    let mut run = Run {
        basis,
        program,
        course: Course::new(bar, Places { park, positioning, ramp, sensor }),
        spraying: source(torches.spray, &torches.spray.spraying),
        grown: Vec::new(),
        after_fusing: Time::ZERO,
    };
    let mut fusing = Vec::new();
    let mut steps = Vec::new();
    let zone_of = |name: &str| basis.recipe.zones.iter().position(|zone| zone.name == name);
    for (index, step) in program.steps.iter().enumerate() {
        let began = run.course.now();
        run.follow_spindle(index);
        let outcome = match step {
            Step::Preheat(preheat) => run.preheat(preheat, findings),
            Step::Spray(spray) => run.spray(zone_of(&spray.zone).unwrap_or(0), spray, findings),
            Step::ChangeTorch(place) => run.change(*place),
            Step::Fuse(step) => {
                let (outcome, told) = fuse(basis, program, step, &mut run.course, findings);
                fusing.extend(told);
                run.note_edges(zone_of(&step.zone).unwrap_or(0), GrownWhen::Fused);
                outcome
            }
            Step::Cool(cool) => run.cool(cool, findings),
        };
        let now = run.course.now();
        let takes = now - began;
        steps.push(StepForecast {
            what: outcome.what,
            takes,
            done_at: now,
            certainty: outcome.certainty,
            leaves_at: outcome.leaves_at,
            waits: outcome.waits,
            waiting: outcome.waiting,
            flame: outcome.torch.map(|torch| (torch, takes)),
        });
    }
    HeatForecast {
        steps,
        temperatures: run.course.told(),
        fusing,
        grown: run.grown,
        after_fusing: run.after_fusing,
    }
}

/// A stand-in for a part that is none.
fn nothing() -> Bar {
    let metal = Metal::constant(40.0, 4e6);
    let shape = Shape::new(vec![(0.0, 1.0), (1.0, 1.0)]);
    let loss = Loss::NONE;
    shape.map_or_else(
        || Bar::across((0.0, 1.0), 0.1, metal.clone(), loss, ROOM.celsius()),
        |shape| Bar::new(&shape, 0.0, (40.0, 4e6), loss, ROOM.celsius()),
    )
}

impl Run<'_> {
    /// Another spindle speed is proved with the torch at the park before the step begins.
    fn follow_spindle(&mut self, index: usize) {
        let before = self.program.steps.iter().take(index).rev().find_map(Step::spindle);
        let step = self.program.steps.get(index);
        if let Some(Step::Spray(step)) = step
            && before.is_some_and(|before| before != step.spindle)
        {
            self.course.park(Some(&self.spraying));
        }
    }

    /// The flame of a torch of the program: what is left of a job may be warmed by that for fusing.
    fn flame_of(&self, torch: usize) -> Source {
        let torches = self.basis.torches;
        let key = self.program.torches.get(torch).map_or("", |torch| torch.key.as_str());
        let fuse = torches.fuse.filter(|(fuse, _)| fuse.key == key && key != torches.spray.key);
        fuse.map_or(self.spraying, |(torch, _)| source(torch, &torch.fusing))
    }

    /// Passes from end to end until the part sensor sees the aim at one of them, then the soak at
    /// the park; as the sequence does it.
    fn preheat(&mut self, step: &PreheatStep, findings: &mut Findings) -> Outcome {
        let flame = self.flame_of(step.torch);
        let (mut passes, mut soaks) = (0, 0);
        let mut reached = true;
        while reached && soaks < SOAKS {
            soaks += 1;
            passes += self.warm(step, &flame, &mut reached);
            self.course.park(Some(&flame));
            if !reached || self.soak(step) {
                break;
            }
        }
        if !reached {
            findings.problem(
                Limit::Preheat,
                "preheat, longest",
                format!(
                    "in {} the part sensor gets to see {:.0}, {} is wanted",
                    step.longest,
                    self.course.seen(),
                    step.aim
                ),
                "allow more time, or use a larger flame",
            );
        }
        Outcome {
            what: format!("preheat to {}, {}, soak", step.aim, counted(passes, "pass")),
            certainty: Certainty::Estimated,
            torch: Some(step.torch),
            leaves_at: self.course.seen(),
            waits: 0,
            waiting: Time::ZERO,
        }
    }

    /// The number of warming passes.
    fn warm(&mut self, step: &PreheatStep, flame: &Source, reached: &mut bool) -> usize {
        let span = step.span;
        let ends = (self.course.now() + step.longest).s();
        let middle = (span.low + span.high) / 2.0;
        let (mut to, mut other) = (span.low, span.high);
        if self.course.torch() > middle {
            (to, other) = (other, to);
        }
        self.course.approach(to, Some(flame));
        let mut passes = 0;
        while self.course.seen() < step.aim {
            // A leg of no length, or a flame that heats nothing, ends with the time allowed.
            if self.course.now().s() >= ends || span.high <= span.low {
                *reached = false;
                return passes;
            }
            (to, other) = (other, to);
            self.course.go(to, step.feed, Some(flame), |_| false);
            passes += 1;
        }
        passes
    }

    /// Whether the part stays in its window for the soak.
    fn soak(&mut self, step: &PreheatStep) -> bool {
        let low = step.window.low;
        let warm_enough = |course: &Course| course.seen() >= low;
        // Heat that still spreads may have it above the window at first.
        let high = step.window.high;
        self.course.cool_until(|course| course.seen() <= high, LONGEST_WAIT);
        let cold = self.course.cool_until(|course| !warm_enough(course), step.soak);
        !cold
    }

    /// Passes heat, waits cool: as [`SprayStep::is_too_hot`] says, which the sequence asks too.
    fn spray(&mut self, zone: usize, step: &SprayStep, findings: &mut Findings) -> Outcome {
        let line = Timeline::of(step, self.program.ramp);
        let mut rises = Rises::default();
        let (mut waits, mut waiting) = (0, Time::ZERO);
        let mut longest = (Length::ZERO, Time::ZERO);
        let mut highest = self.course.seen();
        let mut steepest = TemperatureStep::ZERO;
        let mut before = Time::ZERO;
        for (index, (pass, (start, end))) in step.passes.iter().zip(&line.passes).enumerate() {
            if step.is_too_hot(self.course.seen(), rises) {
                let began = self.course.now();
                self.course.park(Some(&self.spraying));
                let below = step.resumes_below(rises);
                if !self.course.cool_until(|course| course.seen() < below, LONGEST_WAIT) {
                    self.never_cool_enough(step, below, findings);
                }
                waits += 1;
                let (from, rest) = anew(step, pass, &self.basis.rig.axis);
                self.course.approach(from, Some(&self.spraying));
                self.course.rest(rest, Some(&self.spraying));
                if rest > longest.1 {
                    longest = (from, rest);
                }
                waiting += self.course.now() - began;
            } else if index == 0 {
                self.course.approach(pass.from, Some(&self.spraying));
            }
            if index == 0 {
                self.note_edges(zone, GrownWhen::Spraying);
            }
            self.course.rest(*start - before, Some(&self.spraying));
            before = *end;
            let begin = self.course.seen();
            let mut peak = begin;
            let motion = LegMotion::new(pass, self.program.ramp);
            self.course.cross(&motion, Some(&self.spraying), |course| {
                peak = peak.max(course.seen());
                false
            });
            highest = highest.max(peak);
            rises.add(Some(peak.above(begin)));
            steepest = if peak.above(begin) > steepest { peak.above(begin) } else { steepest };
        }
        self.note_edges(zone, GrownWhen::Sprayed);
        let (recipe, rig) = (self.basis.recipe, self.basis.rig);
        let over = Over::new(recipe, rig, self.program.clear_by);
        let place = format!("zone \"{}\"", step.zone);
        tell_anew(longest, over, RestLimits::of(rig), &place, findings);
        tell_heat(step, (waits, waiting), highest, steepest, findings);
        let passes = counted(step.passes.len(), "pass");
        let waited =
            if waits > 0 { format!(", {}", counted(waits, "wait")) } else { String::new() };
        Outcome {
            what: format!("spray \"{}\", {passes}{waited}", step.zone),
            certainty: if waits > 0 { Certainty::Estimated } else { Certainty::Planned },
            torch: Some(step.torch),
            leaves_at: self.course.seen(),
            waits,
            waiting,
        }
    }

    fn never_cool_enough(&self, step: &SprayStep, below: Temperature, findings: &mut Findings) {
        findings.note(
            format!("zone \"{}\"", step.zone),
            format!(
                "after {LONGEST_WAIT} of waiting the part is still at {:.0}, to go on below {below}",
                self.course.seen()
            ),
        );
    }

    /// A person's work: the part cools meanwhile, nobody knows how long.
    fn change(&self, torch: usize) -> Outcome {
        let title = self.program.torches.get(torch).map_or("", |torch| torch.title.as_str());
        Outcome {
            what: format!("change to {title}"),
            certainty: Certainty::ByPerson,
            torch: None,
            leaves_at: self.course.seen(),
            waits: 0,
            waiting: Time::ZERO,
        }
    }

    /// The torch leaves, the gases are shut, and the part turns until its sensor sees it cool.
    fn cool(&mut self, step: &CoolStep, findings: &mut Findings) -> Outcome {
        // The flame burns until it is clear of the part, as the fusing or spraying one did.
        let fuse = self.basis.torches.fuse.map(|(torch, _)| source(torch, &torch.fusing));
        let burning = fuse.unwrap_or(self.spraying);
        self.course.park(Some(&burning));
        if self.program.steps.iter().any(|step| matches!(step, Step::Fuse(_))) {
            self.after_fusing = self.hottest_place_cools_in(step, findings);
        }
        let at_least = step.at_least.max(self.after_fusing);
        let least = (self.course.now() + at_least).s();
        let is_cool =
            |course: &Course| course.now().s() >= least && course.seen() < step.turn_until;
        let longest = step.longest.max(at_least);
        let certainty = if self.course.cool_until(is_cool, longest) {
            Certainty::Estimated
        } else {
            Certainty::AtLeast
        };
        Outcome {
            what: format!("cool to {}", step.turn_until),
            certainty,
            torch: None,
            leaves_at: self.course.seen(),
            waits: 0,
            waiting: Time::ZERO,
        }
    }

    /// How long the part turns at the least: its sensor sees one place, and another one may have
    /// been fused long after it.
    fn hottest_place_cools_in(&self, step: &CoolStep, findings: &mut Findings) -> Time {
        let mut ahead = self.course.ahead();
        let began = ahead.now();
        let is_cool = |course: &Course| course.hottest() < step.turn_until;
        if ahead.cool_until(is_cool, step.longest) {
            return (ahead.now() - began) * MORE_TIME;
        }
        findings.note(
            "cool, longest",
            format!(
                "a person is asked after {}, when the hottest place is expected to be {:.0} still",
                step.longest,
                ahead.hottest()
            ),
        );
        step.longest
    }

    fn note_edges(&mut self, zone: usize, when: GrownWhen) {
        let Some(recipe) = self.basis.recipe.zones.get(zone) else { return };
        let at = |cold: Length| self.course.grown(cold, self.basis.recipe.part.substrate);
        let edges = Range { low: at(recipe.from), high: at(recipe.to) };
        self.grown.push((zone, GrownEdges { when, edges }));
    }
}

/// The hottest place is given this much more time than the model needs: how long a band is held
/// before a person calls it wet is not known, and it leaves that much more heat; arbitrary.
const MORE_TIME: f64 = 1.25;

/// A part expected this near the high end of its window may well be held there: what is known of
/// a flame's heat is no better than that (arbitrary).
const NEAR_THE_HIGH_END: TemperatureStep = TemperatureStep::from_kelvin(5.0);

/// What a zone's spraying does to the part, where a person may want to change it.
fn tell_heat(
    step: &SprayStep,
    (waits, waiting): (usize, Time),
    highest: Temperature,
    steepest: TemperatureStep,
    findings: &mut Findings,
) {
    let place = format!("zone \"{}\"", step.zone);
    if waits > 0 {
        findings.note(
            place.clone(),
            format!(
                "a pass adds up to {:.0} at the part sensor, so the part is expected to wait {}, \
                 {waiting:.0} in all, to stay under {}",
                steepest,
                counted(waits, "time"),
                step.window.high
            ),
        );
    }
    if highest > step.window.high {
        findings.failing(
            place,
            format!(
                "the part sensor is expected to see up to {highest:.0}, over the {} of the window: \
                 a faster feed or a smaller flame heats less in a pass",
                step.window.high
            ),
        );
    } else if step.window.high.above(highest) < NEAR_THE_HIGH_END {
        findings.note(
            place,
            format!(
                "the part sensor is expected to see up to {highest:.0}, so near the {} at which the job \
                 is held that it may be held: lower the preheat's window, use a faster feed or a smaller \
                 flame, or raise the spraying window's high end where the powder bears it",
                step.window.high
            ),
        );
    }
}
