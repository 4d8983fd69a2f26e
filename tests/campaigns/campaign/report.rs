//! What a campaign has generated and what came of it.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::time::Duration;

use evenpass::files::Job;
use evenpass_core::interlock::Class;
use evenpass_core::interlock::matrix::rows;
use evenpass_core::sequence::Phase;

use super::check::Violation;
use super::check::excuse::{Excuse, TABLE};
use super::kinds::{Name, WORDS, name, nothing_yet};
use super::schedule::Schedule;
use super::world::Outcome;

/// From so many seeds on every kind of request has to have come.
const EVERY_REQUEST_FROM: u64 = 1_000;
/// From so many seeds on every pair of word and target has to have come.
const EVERY_PAIR_FROM: u64 = 10_000;

/// One measured permitted duration.
#[derive(Debug, Clone, Default)]
struct Measured {
    longest_us: u64,
    worst_us: u64,
    times: u64,
    excused: u64,
}

/// A run with a violation.
#[derive(Debug, Clone)]
pub(crate) struct Failure {
    pub(crate) schedule: Schedule,
    pub(crate) violations: Vec<Violation>,
}

/// The report.
pub(crate) struct Report {
    pub(crate) took: Duration,
    pub(crate) seeds: u64,
    pub(crate) generated: BTreeMap<Name, u64>,
    in_phase: BTreeMap<Phase, u64>,
    pub(crate) ends: BTreeMap<Phase, u64>,
    pub(crate) tripped: u64,
    pub(crate) held: u64,
    completed_without_trouble: u64,
    pub(crate) first_out: BTreeMap<String, u64>,
    tripping_rows: Vec<String>,
    measured: BTreeMap<&'static str, Measured>,
    excuses: BTreeMap<Excuse, u64>,
    rests: u64,
    begun: u64,
    longest_s: f64,
    pub(crate) failures: Vec<Failure>,
}

impl Report {
    pub(crate) fn new(_: &Job) -> Self {
        Self {
            took: Duration::ZERO,
            seeds: 0,
            generated: nothing_yet(),
            in_phase: BTreeMap::new(),
            ends: BTreeMap::new(),
            tripped: 0,
            held: 0,
            completed_without_trouble: 0,
            first_out: BTreeMap::new(),
            tripping_rows: rows()
                .filter(|row| row.class == Class::Trip)
                .map(|row| row.key.to_owned())
                .collect(),
            measured: BTreeMap::new(),
            excuses: BTreeMap::new(),
            rests: 0,
            begun: 0,
            longest_s: 0.0,
            failures: Vec::new(),
        }
    }

    /// Adds one run.
    pub(crate) fn add(&mut self, schedule: Schedule, outcome: &Outcome) {
        self.seeds += 1;
        for (event, phase) in &outcome.happened {
            *self.generated.entry(name(event)).or_default() += 1;
            *self.in_phase.entry(*phase).or_default() += 1;
        }
        *self.ends.entry(outcome.end).or_default() += 1;
        self.tripped += u64::from(!outcome.first_out.is_empty());
        self.held += u64::from(outcome.holds > 0);
        let undisturbed = outcome.first_out.is_empty() && outcome.holds + outcome.stops == 0;
        self.completed_without_trouble += u64::from(undisturbed && outcome.end == Phase::Complete);
        for key in &outcome.first_out {
            *self.first_out.entry(key.clone()).or_default() += 1;
        }
        for clock in &outcome.checker.clocks {
            let measured = self.measured.entry(clock.key).or_default();
            measured.longest_us = clock.longest_us;
            measured.worst_us = measured.worst_us.max(clock.worst_us);
            measured.times += clock.times;
            measured.excused += clock.excuses.len() as u64;
            for excuse in &clock.excuses {
                *self.excuses.entry(*excuse).or_default() += 1;
            }
        }
        let unbidden = &outcome.checker.unbidden;
        for excuse in &unbidden.excuses {
            *self.excuses.entry(*excuse).or_default() += 1;
        }
        self.rests += unbidden.rests;
        self.begun += unbidden.begun;
        self.longest_s = self.longest_s.max(outcome.ended_s);
        if !outcome.violations().is_empty() {
            let violations = outcome.violations().to_vec();
            self.failures.push(Failure { schedule, violations });
            self.failures.sort_by_key(|failure| failure.schedule.seed);
        }
    }

    /// What never came although it can. Of a few seeds every word, every target and every kind is
    /// asked for, each by itself, and of the requests only that there were any; of many seeds every
    /// kind of request too, and of very many every word at every target.
    pub(crate) fn never_came(&self) -> Vec<String> {
        let mut sums: BTreeMap<(&str, String), u64> = BTreeMap::new();
        for ((group, kind, target), count) in &self.generated {
            let mut add = |of: String| *sums.entry((group, of)).or_default() += count;
            if self.seeds >= EVERY_PAIR_FROM || *group == "program" {
                add(format!("{kind} {target}"));
            } else if *group == "request" && self.seeds < EVERY_REQUEST_FROM {
                add("any".to_owned());
            } else {
                add(kind.clone());
                add(target.clone());
            }
        }
        sums.into_iter()
            .filter(|((_, of), count)| *count == 0 && !of.is_empty())
            .map(|((group, of), _)| format!("{group}: {of}"))
            .collect()
    }

    /// How many ended so.
    pub(crate) fn ended(&self, phase: Phase) -> u64 {
        self.ends.get(&phase).copied().unwrap_or_default()
    }

    fn share(&self, of: u64) -> f64 {
        100.0 * of as f64 / self.seeds.max(1) as f64
    }

    /// In words.
    pub(crate) fn print(&self) -> String {
        let mut text = String::new();
        let _ = self.write(&mut text);
        text
    }

    fn write(&self, to: &mut String) -> std::fmt::Result {
        let took = self.took.as_secs_f64();
        writeln!(
            to,
            "{} seeds in {took:.1} s, {:.1} seeds/s; longest job {:.0} s",
            self.seeds,
            self.seeds as f64 / took.max(1e-9),
            self.longest_s
        )?;
        self.write_generated(to)?;
        write!(to, "ended:")?;
        for (phase, count) in &self.ends {
            write!(to, " {phase:?} {count} ({:.1} %)", self.share(*count))?;
        }
        writeln!(
            to,
            "\non the way: tripped {} ({:.1} %), held {} ({:.1} %), completed without either {} \
             ({:.1} %)",
            self.tripped,
            self.share(self.tripped),
            self.held,
            self.share(self.held),
            self.completed_without_trouble,
            self.share(self.completed_without_trouble)
        )?;
        writeln!(to, "came to rest {} times, begun again {} times", self.rests, self.begun)?;
        let mut first: Vec<(&String, &u64)> = self.first_out.iter().collect();
        first.sort_by_key(|(_, count)| std::cmp::Reverse(**count));
        writeln!(to, "first out:")?;
        for (key, count) in first {
            writeln!(to, "  {count:6} {key}")?;
        }
        let never: Vec<&str> = self
            .tripping_rows
            .iter()
            .filter(|key| !self.first_out.contains_key(*key))
            .map(String::as_str)
            .collect();
        writeln!(to, "rows never first out: {}", never.join(", "))?;
        writeln!(to, "permitted durations: permitted, worst without an excuse, times, excused")?;
        for (key, measured) in &self.measured {
            writeln!(
                to,
                "  {key:32} {:7.3} s {:7.3} s {:7} {:5}",
                measured.longest_us as f64 * 1e-6,
                measured.worst_us as f64 * 1e-6,
                measured.times,
                measured.excused
            )?;
        }
        writeln!(to, "excuses that were needed:")?;
        for row in &TABLE {
            let count = self.excuses.get(&row.excuse).copied().unwrap_or_default();
            writeln!(
                to,
                "  {count:6} {:?}: while {}; demanded instead: {}; why: {}",
                row.excuse, row.while_, row.instead, row.why
            )?;
        }
        writeln!(to, "violations: {}", self.failures.len())?;
        for failure in self.failures.iter().take(20) {
            for violation in &failure.violations {
                writeln!(
                    to,
                    "  seed {}: {} at {:.3} s: {}",
                    failure.schedule.seed,
                    violation.what,
                    violation.at_us as f64 * 1e-6,
                    violation.words
                )?;
            }
        }
        Ok(())
    }

    fn write_generated(&self, to: &mut String) -> std::fmt::Result {
        writeln!(to, "generated: signal faults, by target and word ({})", WORDS.join(", "))?;
        let mut targets: BTreeMap<&str, [u64; 8]> = BTreeMap::new();
        let mut others: BTreeMap<(&str, &str), u64> = BTreeMap::new();
        for ((group, kind, target), count) in &self.generated {
            match WORDS.iter().position(|word| *group == "signal" && word == kind) {
                Some(place) => targets.entry(target).or_default()[place] += count,
                None => *others.entry((group, kind)).or_default() += count,
            }
        }
        for (target, counts) in &targets {
            write!(to, "  {target:28}")?;
            for count in counts {
                write!(to, " {count:5}")?;
            }
            writeln!(to)?;
        }
        let mut group_now = "";
        for ((group, kind), count) in &others {
            if *group != group_now {
                write!(to, "{}{group}:", if group_now.is_empty() { "" } else { "\n" })?;
                group_now = group;
            }
            write!(to, " {kind} {count};")?;
        }
        write!(to, "\nthings that happened, by phase:")?;
        for (phase, count) in &self.in_phase {
            write!(to, " {phase:?} {count};")?;
        }
        writeln!(to)
    }
}
