//! What happens to a controller, and when: drawn from a seed, spread over the whole job.

use std::fmt;
use std::time::Duration;

/// From a run's start until the short job's end, in wall time.
pub(crate) const JOB: Duration = Duration::from_secs(108);
/// Every so many fates the job is first stopped by a person, so that the way to a stop (torch
/// leaving, gas shut, purge, cooling) is hit as often as its share of a shift would make it rare.
const STOPPED_FIRST: u64 = 5;

/// What happens to the controller's process.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fate {
    /// It dies.
    Kill,
    /// It stands still for so long.
    Stop {
        /// For how long.
        still: Duration,
    },
}

/// One machine's day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Day {
    pub(crate) fate: Fate,
    /// After the run's start.
    pub(crate) at: Duration,
    /// So long before it a person asks the job to stop.
    pub(crate) asked_to_stop: Option<Duration>,
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let at = self.at.as_secs_f64();
        match self.fate {
            Fate::Kill => write!(f, "killed at {at:.2} s")?,
            Fate::Stop { still } => {
                write!(f, "stopped at {at:.2} s for {:.2} s", still.as_secs_f64())?;
            }
        }
        match self.asked_to_stop {
            Some(before) => write!(f, ", {:.2} s into a stop", before.as_secs_f64()),
            None => Ok(()),
        }
    }
}

/// Numbers from a seed (xorshift64, Marsaglia 2003).
struct Dice(u64);

impl Dice {
    /// From 0 up to, not including, 1.
    fn share(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> Duration {
        Duration::from_secs_f64(low + self.share() * (high - low))
    }
}

/// So many of each. The job is cut into as many spans as there are fates of a kind, and each span
/// gets one instant, so that a few cover the job as well as many do.
pub(crate) fn draw(seed: u64, kills: u64, stops: u64) -> Vec<Day> {
    let mut dice = Dice(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15).max(1));
    let mut days = Vec::new();
    for (count, kill) in [(kills, true), (stops, false)] {
        for index in 0..count {
            let span = JOB.as_secs_f64() / count as f64;
            let at = dice.between(span * index as f64, span * (index + 1) as f64);
            // Half of the stalls are short ones: around what a watchdog and a scan gap take.
            let still = match index % 2 {
                0 => dice.between(0.2, 0.6),
                _ => dice.between(0.6, 5.0),
            };
            let into = dice.between(0.05, 8.0);
            let asked_to_stop =
                (index % STOPPED_FIRST == STOPPED_FIRST - 1 && at > into).then_some(into);
            let fate = if kill { Fate::Kill } else { Fate::Stop { still } };
            days.push(Day { fate, at, asked_to_stop });
        }
    }
    // The longest first: no machine is left over at the end.
    days.sort_by_key(|day| std::cmp::Reverse(day.at));
    days
}
