//! Goes through what a journal tells: which pass is in hand, what people changed, what is wet, and how
//! much powder has arrived where; at its end ([`cut_off`]), how far that has got by the plan.

mod cut_off;

use super::journal::{Fact, Told};
use crate::coat::Coat;
use crate::image::Level;
use crate::moment::Moment;
use crate::plan::Plan;
use crate::plan::change::{Ahead, taken_back, touched_up, trimmed};
use crate::program::{FuseStep, Program, SprayStep, Step};
use crate::quantity::{Length, Speed};
use crate::request::Trim;
use crate::sequence::{Leaf, Phase};

/// What was last seen of the carriage.
#[derive(Debug, Clone, Copy)]
struct Seen {
    at: Moment,
    place: Length,
}

/// When a pass was left before its end, with what had been seen of the carriage in it until then.
#[derive(Debug, Clone, Copy)]
struct Left {
    at: Moment,
    seen: Option<Seen>,
}

/// Goes through the facts of a run, one after the other; its end is where the run was cut off.
pub(super) struct Reader {
    program: Program,
    coat: Coat,
    leaf: Leaf,
    began: Moment,
    clock: Moment,
    last: Moment,
    /// Since when a stop or a trip has ended the job; `None` while it goes on.
    ceased: Option<Moment>,
    seen: Option<Seen>,
    coil: Level,
    step: usize,
    /// The pass in hand of the step, counted from 0.
    pass: usize,
    /// Since when it goes on; `None` while it has not begun.
    pass_began: Option<Moment>,
    /// Since when it stands; `None` while the torch goes along it.
    left: Option<Left>,
    lost: Option<Length>,
    done: Vec<usize>,
    fused: Vec<(usize, Vec<usize>)>,
    torch_changed: Level,
    suspect: Option<String>,
    unclear: Option<String>,
}

impl Reader {
    pub(super) fn new(plan: &Plan, began: Moment) -> Self {
        let first = |step: &Step| matches!(step, Step::Spray(_));
        Self {
            program: plan.program.clone(),
            coat: Coat::new(&plan.coat),
            leaf: Leaf::Checking,
            began,
            clock: began,
            last: began,
            ceased: None,
            seen: None,
            coil: Level::Off,
            step: plan.program.steps.iter().position(first).unwrap_or(0),
            pass: 0,
            pass_began: None,
            left: None,
            lost: None,
            done: vec![0; plan.program.steps.len()],
            fused: Vec::new(),
            torch_changed: Level::Off,
            suspect: None,
            unclear: None,
        }
    }

    fn spray(&self, step: usize) -> Option<&SprayStep> {
        match self.program.steps.get(step) {
            Some(Step::Spray(spray)) => Some(spray),
            _ => None,
        }
    }

    pub(super) fn take(&mut self, told: &Told) {
        self.last = self.last.max(told.at);
        match &told.fact {
            Fact::Moved { from, to } => self.moved(told.at, *from, *to),
            Fact::PassBegan { step, pass } => self.pass_began(told.at, *step, *pass),
            Fact::PassEnded { step, pass } => self.pass_ended(*step, *pass),
            Fact::Powder { level, place } => {
                self.advance(told.at, *place);
                self.coil = *level;
            }
            Fact::Lost(place) => self.lost = Some(*place),
            Fact::Sample { place, powder } => {
                self.advance(told.at, *place);
                self.coil = powder.unwrap_or(self.coil);
            }
            Fact::Coat { step, bins } => {
                self.coat.miss(told.at.since(self.clock), self.coil);
                self.clock = self.clock.max(told.at);
                self.coat.set(*step, bins);
            }
            Fact::Changed { zone, from, trim, touch_ups } => {
                self.change(zone, *from, *trim, *touch_ups);
            }
            Fact::Wet { step, band } => self.bands(*step, |bands| bands.push(band + 1)),
            Fact::NotWet => {
                if let Some((_, bands)) = self.fused.last_mut() {
                    bands.pop();
                }
            }
            // A zone left in its middle is heated again from its first band on.
            Fact::Restarted => {
                if self.phase_before_hold() == Phase::Fusing
                    && let Some((_, bands)) = self.fused.last_mut()
                {
                    bands.clear();
                }
            }
            Fact::Spoiled { how, place } => self.suspect = Some(format!("{how} at {place:.1}")),
        }
    }

    fn moved(&mut self, at: Moment, from: Leaf, to: Leaf) {
        self.leaf = to;
        self.left = match (is_along(from), is_along(to)) {
            (_, true) => None,
            (true, false) => Some(Left { at, seen: self.seen }),
            (false, false) => self.left,
        };
        self.ceased = match to.phase() {
            Phase::Aborting | Phase::Aborted | Phase::Stopping | Phase::Stopped => {
                self.ceased.or(Some(at))
            }
            _ => None,
        };
        if to.phase() == Phase::Aborting {
            self.coat.cut();
        }
        if from == Leaf::Inside && to == Leaf::ClosingUp {
            self.torch_changed = Level::On;
        }
        if to.phase() == Phase::Fusing && from.phase() != Phase::Fusing {
            let done = |step: usize| {
                self.fused.iter().any(|(known, wet)| {
                    *known == step && bands_of(&self.program, step) <= wet.len()
                })
            };
            let mut steps = self.program.steps.iter().enumerate();
            let next = steps.find(|(step, of)| matches!(of, Step::Fuse(_)) && !done(*step));
            if let Some((step, _)) = next {
                self.bands(step, |_| ());
            }
        }
    }

    /// A fusing that has begun and is not done was what any hold interrupted.
    fn phase_before_hold(&self) -> Phase {
        if self.fuses().is_some() { Phase::Fusing } else { Phase::Spraying }
    }

    /// The step whose fusing has begun and is not done.
    fn fuses(&self) -> Option<&FuseStep> {
        let open = |(step, wet): &&(usize, Vec<usize>)| wet.len() < bands_of(&self.program, *step);
        let (step, _) = self.fused.last().filter(open)?;
        match self.program.steps.get(*step) {
            Some(Step::Fuse(fuse)) => Some(fuse),
            _ => None,
        }
    }

    /// The bands of a step called wet, changed; begun with this where it was not.
    fn bands(&mut self, step: usize, change: impl FnOnce(&mut Vec<usize>)) {
        if !self.fused.iter().any(|(known, _)| *known == step) {
            self.fused.push((step, Vec::new()));
        }
        if let Some((_, bands)) = self.fused.iter_mut().find(|(known, _)| *known == step) {
            change(bands);
        }
    }

    fn pass_began(&mut self, at: Moment, step: usize, pass: usize) {
        if self.spray(step).is_none_or(|spray| pass >= spray.passes.len()) {
            return;
        }
        if (step, pass) != (self.step, self.pass) {
            self.lost = None;
        }
        // What comes after it was begun after all that was before it.
        for earlier in self.done.iter_mut().take(step) {
            *earlier = usize::MAX;
        }
        (self.step, self.pass, self.pass_began, self.left) = (step, pass, Some(at), None);
        if let Some(done) = self.done.get_mut(step) {
            *done = (*done).max(pass);
        }
        self.coat.select(step);
    }

    fn pass_ended(&mut self, step: usize, pass: usize) {
        if self.spray(step).is_none() {
            return;
        }
        (self.step, self.pass, self.pass_began, self.lost) = (step, pass + 1, None, None);
        if let Some(done) = self.done.get_mut(step) {
            *done = (*done).max(pass + 1);
        }
    }

    /// Time goes by to an entry that may tell the carriage's place.
    fn advance(&mut self, at: Moment, place: Option<Length>) {
        let span = at.since(self.clock);
        self.clock = self.clock.max(at);
        let Some(place) = place else {
            self.coat.miss(span, self.coil);
            return;
        };
        match self.seen.filter(|seen| at > seen.at) {
            Some(seen) => {
                let speed = (place - seen.place).mm() / at.since(seen.at).as_secs_f64();
                self.coat.step(span, place, Speed::from_mm_per_s(speed), self.coil);
            }
            None => self.coat.miss(span, self.coil),
        }
        if self.seen.is_none_or(|seen| at >= seen.at) {
            self.seen = Some(Seen { at, place });
        }
    }

    fn change(&mut self, zone: &str, from: Option<usize>, trim: Option<Trim>, touch_ups: usize) {
        let found = self
            .program
            .steps
            .iter()
            .position(|step| matches!(step, Step::Spray(spray) if spray.zone == zone));
        let Some(step) = found else {
            self.unclear =
                Some(format!("passes of zone {zone} were changed, which is not planned"));
            return;
        };
        if let Some(told) = self.changed(step, from, trim, touch_ups) {
            self.unclear = Some(told);
        }
    }

    /// Takes the program to the state that was told; answers with what stands against it.
    fn changed(
        &mut self,
        step: usize,
        from: Option<usize>,
        trim: Option<Trim>,
        touch_ups: usize,
    ) -> Option<String> {
        const MOST: usize = 16;
        for _ in 0..MOST {
            let spray = self.spray(step)?;
            let last = spray.passes.len().saturating_sub(1);
            let has = spray.touch_ups;
            let next = from.unwrap_or(spray.passes.len());
            let now = spray.passes.get(next).map(|pass| pass.trim);
            let made = match (has.cmp(&touch_ups), trim, now) {
                (core::cmp::Ordering::Less, ..) => {
                    touched_up(&self.program, Ahead { step, pass: next })
                }
                (core::cmp::Ordering::Greater, ..) => {
                    taken_back(&self.program, Ahead { step, pass: last })
                }
                (core::cmp::Ordering::Equal, Some(told), Some(now)) if told != now => {
                    let by = Trim::of_percent(told.percent().saturating_sub(now.percent()));
                    trimmed(&self.program, Ahead { step, pass: next }, by)
                }
                _ => return None,
            };
            match made {
                Ok(program) => self.program = program,
                Err(denial) => return Some(format!("a person's change of passes: {}", denial.why)),
            }
        }
        Some("a person's changes of passes contradict each other".to_owned())
    }
}

/// Whether the torch goes along a pass, or turns to the next one.
const fn is_along(leaf: Leaf) -> bool {
    matches!(leaf, Leaf::Crossing | Leaf::SprayTurning)
}

fn bands_of(program: &Program, step: usize) -> usize {
    match program.steps.get(step) {
        Some(Step::Fuse(fuse)) => fuse.bands.len().max(1),
        _ => usize::MAX,
    }
}
