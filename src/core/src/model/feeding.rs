//! Powder from the feeder's switch to the nozzle: commands, transport delay, rise and fall.

use super::travel::{Leg, Travel};

/// When the feeder is switched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Switching {
    /// On and off in every pass.
    PerPass,
    /// On in the first pass, off in the last.
    Continuous,
}

/// The feeder, its hose and its two edges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Feeding {
    /// Flow at full on, kg/s.
    pub rate: f64,
    /// Switch to first powder at the nozzle, s.
    pub delay: f64,
    /// Time constant of the rise, s; 0 is a jump.
    pub rise: f64,
    /// Time constant of the fall, s; 0 is a jump.
    pub fall: f64,
    /// When it is switched.
    pub switching: Switching,
    /// Lower and upper edge, m.
    pub edges: (f64, f64),
    /// How long before the edge it is switched on and off, s.
    pub leads: (f64, f64),
    /// Commands go out at multiples of this, s; 0 is at once.
    pub poll: f64,
}

/// The feeder is switched.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Command {
    /// When, s.
    pub at: f64,
    /// Whether it is switched on.
    pub on: bool,
}

impl Feeding {
    /// The commands of a motion, those that touch or overlap merged: sorted naively, an on that
    /// is due before the last off would leave the powder off for a whole pass.
    #[must_use]
    pub fn commands(&self, travel: &Travel) -> Vec<Command> {
        let mut wanted: Vec<(f64, f64)> = travel
            .legs()
            .iter()
            .filter_map(|leg| match leg {
                Leg::Pass { rising: true, from, .. } => {
                    Some((from + travel.time_at(self.edges.0), from + travel.time_at(self.edges.1)))
                }
                Leg::Pass { rising: false, to, .. } => {
                    Some((to - travel.time_at(self.edges.1), to - travel.time_at(self.edges.0)))
                }
                _ => None,
            })
            .map(|(on, off)| (self.due(on - self.leads.0), self.due(off - self.leads.1)))
            .collect();
        if self.switching == Switching::Continuous {
            let whole = wanted.first().zip(wanted.last()).map(|(first, last)| (first.0, last.1));
            wanted = whole.into_iter().collect();
        }
        let mut merged: Vec<(f64, f64)> = Vec::new();
        wanted.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (on, off) in wanted.into_iter().filter(|(on, off)| on < off) {
            match merged.last_mut() {
                Some(last) if on <= last.1 => last.1 = last.1.max(off),
                _ => merged.push((on, off)),
            }
        }
        merged
            .into_iter()
            .flat_map(|(on, off)| [Command { at: on, on: true }, Command { at: off, on: false }])
            .collect()
    }

    /// Not before the program, and on the next poll; a time on a poll (to a nanosecond) stays.
    fn due(&self, time: f64) -> f64 {
        let time = time.max(0.0);
        if self.poll > 0.0 { ((time - 1e-9) / self.poll).ceil().max(0.0) * self.poll } else { time }
    }

    /// The flow that these commands give at the nozzle.
    #[must_use]
    pub fn flow(&self, commands: &[Command]) -> Flow {
        let mut stretches: Vec<Stretch> = Vec::new();
        for command in commands {
            let from = command.at + self.delay;
            let (fed, flow) =
                stretches.last().map_or((0.0, 0.0), |before| (before.fed(from), before.flow(from)));
            let (target, constant) =
                if command.on { (self.rate, self.rise) } else { (0.0, self.fall) };
            stretches.push(Stretch { from, fed, flow, target, constant });
        }
        Flow { stretches }
    }
}

/// From one change of the command to the next: the exact exponential.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Stretch {
    from: f64,
    fed: f64,
    flow: f64,
    target: f64,
    constant: f64,
}

impl Stretch {
    fn gone(&self, time: f64) -> f64 {
        if self.constant > 0.0 { -(-(time - self.from) / self.constant).exp_m1() } else { 1.0 }
    }

    fn flow(&self, time: f64) -> f64 {
        self.flow + (self.target - self.flow) * self.gone(time)
    }

    fn fed(&self, time: f64) -> f64 {
        self.fed
            + self.target * (time - self.from)
            + (self.flow - self.target) * self.constant * self.gone(time)
    }
}

/// Powder at the nozzle over time.
#[derive(Debug, Clone, PartialEq)]
pub struct Flow {
    stretches: Vec<Stretch>,
}

impl Flow {
    /// Fed until this time, kg.
    #[must_use]
    pub fn fed(&self, time: f64) -> f64 {
        let next = self.stretches.partition_point(|stretch| stretch.from <= time);
        let now = next.checked_sub(1).and_then(|index| self.stretches.get(index));
        now.map_or(0.0, |stretch| stretch.fed(time))
    }

    /// Fed in all, with what the hose still gives after the last command, kg.
    #[must_use]
    pub fn total(&self) -> f64 {
        self.stretches.last().map_or(0.0, |last| last.fed + last.flow * last.constant)
    }
}
