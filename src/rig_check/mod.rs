//! Whether a rig answers: every register block read a few times, over its serial ports in wall
//! time or over the embedded bench in virtual time, and judged against the rig file's budgets.
//! It only reads; nothing moves.

mod budgets;

use std::time::Duration;

use evenpass_core::devices::{Finding, Survey, SurveyItem};
use evenpass_core::line::{Link, Timing};
use evenpass_core::moment::Moment;
use evenpass_core::rig::{LINE_LOAD, LineId, LineSpec, Rig};
use evenpass_hil::{Bench, BenchSpec, PartInChuck};
use serde::Serialize;

pub use budgets::{Budget, budgets};

use crate::clock::timer::Timer;
use crate::clock::virtual_time::{Unwitnessed, VirtualTime};
use crate::clock::wires::Wires;
use crate::port::{Medium, Port};

/// A survey that has not ended by then has lost a port. Arbitrary: a silent rig of eight reads
/// takes a second at the longest budgets a rig file may have.
const LONGEST: Duration = Duration::from_secs(20);
/// How far the bench is brought at once in virtual time.
const STEP: Duration = Duration::from_millis(100);

/// What was found of one read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Answered, never later than the rig file plans with.
    Holds,
    /// Answered, now and then later than planned, on a pseudo-terminal: another process's
    /// scheduling, which says nothing of a device.
    Noise,
    /// Answered, later than the rig file plans with.
    Slow,
    /// Answered, and does something else than the rig file says when the controller falls silent.
    Differs,
    /// Not answered, or refused.
    Silent,
}

impl Verdict {
    /// Whether a run may rely on it.
    #[must_use]
    pub const fn is_good(self) -> bool {
        matches!(self, Self::Holds | Self::Noise)
    }
}

/// A rig that was read.
#[derive(Debug)]
pub struct Checked {
    /// What was read.
    pub survey: Survey,
    /// What is behind each line; empty for the embedded bench.
    pub media: Vec<Medium>,
    lines: Vec<LineSpec>,
}

impl Checked {
    /// The exchange that plans count with, as the rig file's own line makes it: request,
    /// turn-round, reply, without the silence behind it.
    #[must_use]
    pub fn planned(&self, item: &SurveyItem) -> Duration {
        let timing = self.lines.get(item.line.0).map(Timing::of);
        timing.map_or(Duration::ZERO, |timing| {
            timing.exchange(&item.request).saturating_sub(timing.silence)
        })
    }

    /// What is to be thought of a read.
    #[must_use]
    pub fn verdict(&self, item: &SurveyItem) -> Verdict {
        let planned = self.planned(item);
        if matches!(item.finding, Finding::Answered { .. }) && item.differs() {
            return Verdict::Differs;
        }
        let shared = self.media.get(item.line.0) == Some(&Medium::PseudoTerminal);
        match item.finding {
            Finding::Answered { longest, .. } if longest <= planned => Verdict::Holds,
            Finding::Answered { shortest, .. } if shared && shortest <= planned => Verdict::Noise,
            Finding::Answered { .. } => Verdict::Slow,
            Finding::Pending | Finding::Refused(_) | Finding::Missed(_) => Verdict::Silent,
        }
    }

    /// The share of a line's time that the cyclic reads take, and whether it leaves room for
    /// trips and powder edges; `None` while a read is unanswered.
    #[must_use]
    pub fn load(&self, line: LineId) -> Option<(f64, bool)> {
        self.survey.load(line).map(|load| (load, load <= LINE_LOAD))
    }

    /// Whether everything answers and every budget holds.
    #[must_use]
    pub fn is_good(&self, rig: &Rig) -> bool {
        self.survey.items().iter().all(|item| self.verdict(item).is_good())
            && (0..self.lines.len())
                .all(|line| self.load(LineId(line)).is_some_and(|(_, fits)| fits))
            && budgets(rig, self).iter().all(Budget::holds)
    }
}

/// Reads a rig over its serial ports.
///
/// # Errors
/// A port that cannot be opened, or the operating system has no timer: what and why.
pub fn over_ports(rig: &Rig, mut ports: Vec<Port>) -> Result<Checked, String> {
    for port in &ports {
        port.is_there()?;
    }
    let media = ports.iter().map(Port::medium).collect();
    let mut carried = rig.clone();
    carried.lines = ports.iter().map(Port::carried).collect();
    let mut survey = Survey::new(&carried).map_err(|problem| problem.to_string())?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_io()
        .build()
        .map_err(|trouble| format!("the survey cannot be started: {trouble}"))?;
    runtime.block_on(async {
        for (index, port) in ports.iter_mut().enumerate() {
            port.open().map_err(|trouble| {
                format!(
                    "{}: cannot be opened: {trouble}\nhelp: check the name, the plug and the \
                     right to use it\n",
                    port.path()
                )
            })?;
            survey.handle_link(Moment::START, LineId(index), Link::Up);
        }
        drive(&mut survey, Wires::new(ports))
            .await
            .map_err(|trouble| format!("the survey broke down: {trouble}\n"))
    })?;
    Ok(Checked { survey, media, lines: rig.lines.clone() })
}

/// Drives a survey to its end.
async fn drive(survey: &mut Survey, mut wires: Wires) -> std::io::Result<()> {
    let timer = Timer::new()?;
    while !survey.is_finished() && timer.now() < Moment::START + LONGEST {
        let now = timer.now();
        survey.handle_time(now);
        wires.transmit(now, survey);
        timer.wake_at(survey.next_wake().min(Moment::START + LONGEST))?;
        tokio::select! {
            biased;
            woken = timer.wait() => woken?,
            arrived = wires.receive() => wires.deliver(timer.now(), arrived, survey),
        }
    }
    Ok(())
}

/// Reads the embedded bench in virtual time.
///
/// # Errors
/// The bench or the rig cannot be used: what and why.
pub fn on_the_bench(rig: &Rig) -> Result<Checked, String> {
    let spec = BenchSpec::default_bench().map_err(|problem| format!("twin: {problem}"))?;
    on_this_bench(rig, &spec)
}

/// Reads a bench of that make in virtual time.
///
/// # Errors
/// The bench or the rig cannot be used: what and why.
pub fn on_this_bench(rig: &Rig, spec: &BenchSpec) -> Result<Checked, String> {
    let survey = Survey::new(rig).map_err(|problem| problem.to_string())?;
    let bench = Bench::new(spec, &PartInChuck::plain_shaft(), 1)
        .map_err(|problem| format!("twin: {problem}"))?;
    let mut time = VirtualTime::new(rig, survey, bench, Unwitnessed);
    while !time.controller().is_finished() && time.now() < Moment::START + LONGEST {
        time.run_until(time.now() + STEP);
    }
    Ok(Checked { survey: time.into_controller(), media: Vec::new(), lines: rig.lines.clone() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files;

    #[test]
    fn the_embedded_bench_answers_within_the_budgets_of_its_own_rig_file() {
        let (rig, _) = files::rig(None).unwrap();
        let checked = on_the_bench(&rig).unwrap();
        assert_eq!(checked.survey.items().len(), 8);
        for item in checked.survey.items() {
            assert_eq!(checked.verdict(item), Verdict::Holds, "{item:?}");
        }
        for budget in budgets(&rig, &checked) {
            assert!(budget.holds(), "{budget:?}");
        }
        assert!(checked.is_good(&rig));
    }

    #[test]
    fn a_rig_file_that_plans_with_quicker_devices_than_there_are_is_not_met() {
        let (mut rig, _) = files::rig(None).unwrap();
        for line in &mut rig.lines {
            line.turn_round = evenpass_core::quantity::Time::from_s(0.000_5);
        }
        let checked = on_the_bench(&rig).unwrap();
        assert!(!checked.is_good(&rig));
        assert!(checked.survey.items().iter().all(|i| checked.verdict(i) == Verdict::Slow));
    }
}
