//! How long each row takes on a rig, from the moment its condition holds to the moment the
//! valves have no current: by the line's own arithmetic, nothing measured.
//!
//! ```text
//! read            the signal's poll and its exchange: a change just after a poll is seen by the next
//! wait            the row's delay; for rows that measure a time, that time too
//! scan            the scan that judges comes at most a period later
//! rest            the longest exchange in flight on the field line, and the silence behind it
//! frame           the trip's own frame, all coils at once, and the module's latency behind it
//! ```

use core::time::Duration;

use serde::Serialize;

use crate::devices::{DeviceId, RackProblem, Read, Survey, SurveyItem};
use crate::interlock::matrix::{Row, Watch};
use crate::interlock::{FigureProblem, InForce, Origin, durations, in_force, permitted_total};
use crate::line::{Request, Timing};
use crate::rig::{Rig, SpindleSpec};

use super::RigProblem;

/// What the line's arithmetic gives for a rig, alike for every row.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Reaction {
    /// One scan.
    pub scan: Duration,
    /// The longest exchange in flight on the field line, with the silence behind it.
    pub rest: Duration,
    /// The trip's own frame on the wire.
    pub frame: Duration,
    /// From the end of the frame to the change of the coils.
    pub latency: Duration,
    /// What it comes to when the exchange in flight is never answered: its time-out and the
    /// quarantine in the place of its rest.
    pub unanswered: Duration,
    /// The watchdog relay, for a module that does not hear.
    pub relay: Duration,
}

impl Reaction {
    /// From a confirmed cause to the coils' change.
    #[must_use]
    pub fn whole(&self) -> Duration {
        self.scan + self.rest + self.frame + self.latency
    }
}

/// The times of one row.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RowTimes {
    /// The row as it is in force.
    pub row: InForce,
    /// Until a change is in an image.
    pub read: Duration,
    /// Until what is in the image counts.
    pub wait: Duration,
    /// Until the coils have changed.
    pub reaction: Duration,
    /// All of it.
    pub total: Duration,
    /// How long it may take.
    pub permitted: Duration,
    /// Why longer than a second; empty where it is not.
    pub why: &'static str,
}

impl RowTimes {
    /// Whether it takes no longer than it may.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.total <= self.permitted
    }
}

/// The reaction of a rig and the times of every row, in the matrix's order.
///
/// # Errors
/// [`RigProblem`] when the rig cannot be driven as it stands.
pub fn times(rig: &Rig) -> Result<(Reaction, Vec<RowTimes>), RigProblem> {
    let survey = Survey::new(rig).map_err(RigProblem::Devices)?;
    let reaction = reaction(rig, &survey).map_err(RigProblem::Devices)?;
    let rows = in_force(rig).map_err(|problem: FigureProblem| RigProblem::Interlock(problem))?;
    let rows = rows.into_iter().map(|row| row_times(row, rig, &survey, &reaction)).collect();
    Ok((reaction, rows))
}

fn reaction(rig: &Rig, survey: &Survey) -> Result<Reaction, RackProblem> {
    let line = rig
        .lines
        .get(rig.field.line.0)
        .ok_or(RackProblem::NoSuchLine(DeviceId::Field, rig.field.line))?;
    let timing = Timing::of(line);
    let on_it = || survey.items().iter().filter(|item| item.line == rig.field.line);
    let rest = on_it().map(|item| timing.exchange(&item.request)).max().unwrap_or_default();
    let asked = on_it().map(|item| timing.wire(item.request.request_length())).max();
    let frame = timing.wire(trip_request(rig).request_length());
    let latency = rig.field.coil_latency.to_duration();
    let scan = rig.scan.to_duration();
    let silence = timing.reply_within + timing.quarantine;
    Ok(Reaction {
        scan,
        rest,
        frame,
        latency,
        unanswered: scan + asked.unwrap_or_default() + silence + frame + latency,
        relay: rig.field.watchdog.relay.to_duration(),
    })
}

/// The frame of a trip: every coil from the first to the last.
fn trip_request(rig: &Rig) -> Request {
    let outputs = || rig.field.coils.iter().filter_map(|coil| coil.output);
    let (first, last) = (outputs().min().unwrap_or(0), outputs().max().unwrap_or(0));
    let count = last.saturating_sub(first).saturating_add(1);
    Request::WriteCoils { address: first, count, levels: 0 }
}

fn row_times(row: InForce, rig: &Rig, survey: &Survey, reaction: &Reaction) -> RowTimes {
    let read = read(&row, rig, survey);
    let wait = row.delay + measures(row.row, row.set_point, rig);
    let reaction = match row.origin {
        // The module does not hear: the beat stops with the scan that knows, and the relay drops.
        Origin::Module => reaction.scan + reaction.relay,
        _ => reaction.whole(),
    };
    let (permitted, why) = permitted_total(row.row.key);
    RowTimes { total: read + wait + reaction, read, wait, reaction, permitted, why, row }
}

/// Until a change is in an image: its poll and the exchange.
fn read(row: &InForce, rig: &Rig, survey: &Survey) -> Duration {
    let of = |device: DeviceId, read: Read| {
        let found = survey.items().iter().find(|item| item.device == device && item.read == read);
        found.map_or(Duration::ZERO, |item: &SurveyItem| {
            let timing = rig.lines.get(item.line.0).map(Timing::of);
            let exchange = timing.map(|timing| timing.exchange(&item.request));
            item.every.unwrap_or_default() + exchange.unwrap_or_default()
        })
    };
    match row.origin {
        Origin::Input(_) => of(DeviceId::Field, Read::Contacts),
        Origin::Register(_) | Origin::Tachometer => of(DeviceId::Field, Read::Registers),
        // How old a silent device's reading may become is the row's own time.
        Origin::Drive if row.row.watch == Watch::DriveSilent => Duration::ZERO,
        Origin::Drive => of(DeviceId::Axis, Read::State),
        Origin::Inverter => of(DeviceId::Spindle, Read::State),
        Origin::Module | Origin::Controller | Origin::Person | Origin::NotFitted => Duration::ZERO,
    }
}

/// The time that a row measures by itself, besides its delay.
fn measures(row: &Row, set_point: Option<f64>, rig: &Rig) -> Duration {
    let figure = set_point.unwrap_or_default();
    let seconds = |s: f64| Duration::try_from_secs_f64(s.max(0.0)).unwrap_or_default();
    match row.watch {
        Watch::FieldSilent => {
            rig.field.age_budget.to_duration().min(durations::FIELD_SILENCE).min(seconds(figure))
        }
        Watch::DriveSilent => {
            rig.axis.age_budget.to_duration().min(durations::DRIVE_SILENCE).min(seconds(figure))
        }
        Watch::FlameRemains | Watch::FlameRests | Watch::ScanGap => seconds(figure),
        Watch::TrialOver => durations::FUEL_UNLIT_AT_LIGHTING + seconds(figure),
        Watch::MissedPulses => seconds(figure * pulse_period(rig)),
        // The speed read is at most what it would be if the next pulse came now.
        Watch::SpindleSlow => seconds(pulse_period(rig) * 100.0 / figure.max(1.0)),
        _ => Duration::ZERO,
    }
}

/// Time between two pulses at the slowest speed the rig turns at, s.
fn pulse_period(rig: &Rig) -> f64 {
    let slowest = match &rig.spindle {
        SpindleSpec::Inverter(inverter) => inverter.speeds.low.rpm(),
        SpindleSpec::Gears(table) => table.speeds.first().map_or(31.5, |speed| speed.rpm()),
    };
    60.0 / (slowest.max(1.0) * f64::from(rig.field.tachometer.pulses_per_turn).max(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::interlock::Class;
    use crate::rig::support;

    fn shipped() -> Vec<Rig> {
        [
            include_str!("../../../../config/rigs/bench.toml"),
            include_str!("../../../../config/rigs/gearbox-lathe.toml"),
            include_str!("../../../../config/rigs/inverter-lathe.toml"),
        ]
        .map(|text| Rig::read(text).expect("a shipped rig is accepted"))
        .to_vec()
    }

    #[test]
    fn every_trip_of_every_shipped_rig_fits_its_permitted_total() {
        for rig in shipped() {
            let (reaction, rows) = times(&rig).expect("a shipped rig can be driven");
            let trips: Vec<&RowTimes> =
                rows.iter().filter(|times| times.row.row.class == Class::Trip).collect();
            for times in &trips {
                let key = times.row.row.key;
                assert!(times.holds(), "{}: {key} takes {:?}", rig.title, times);
                assert_eq!(
                    times.why.is_empty(),
                    times.permitted <= Duration::from_secs(1),
                    "{key}"
                );
            }
            let longest = trips.iter().filter(|t| t.why.is_empty()).max_by_key(|t| t.total);
            println!(
                "{}: {} trips, reaction {:.1} ms, longest total within a second {:?}",
                rig.title,
                trips.len(),
                reaction.whole().as_secs_f64() * 1e3,
                longest.map(|times| (times.row.row.key, times.total))
            );
        }
    }

    /// Computed here for the bench at 115,200 baud: 16 coils from 0 are written in 11 bytes,
    /// 1.051 ms; a character is 95.5 us.
    #[test]
    fn the_reaction_is_scan_rest_frame_and_latency_by_the_lines_arithmetic() {
        let rig = support::bench();
        let (reaction, _) = times(&rig).expect("the bench can be driven");
        assert_eq!(reaction.scan, Duration::from_millis(20));
        assert_eq!(reaction.frame, Duration::from_micros(1_051));
        assert_eq!(reaction.latency, Duration::from_millis(2));
        // 15 registers: 8 bytes, 3 ms, 35 bytes, 1.75 ms.
        assert_eq!(reaction.rest, Duration::from_micros(764 + 3_000 + 3_343 + 1_750));
    }

    #[test]
    fn a_rig_that_shortens_a_delay_shortens_its_total_by_as_much() {
        let mut rig = support::bench();
        let total = |rig: &Rig| {
            let (_, rows) = times(rig).expect("can be driven");
            rows.iter().find(|times| times.row.row.key == "flame_lost").map(|times| times.total)
        };
        let before = total(&rig).expect("in the matrix");
        rig.interlocks.push(crate::rig::InterlockFigures {
            key: "flame_lost".to_owned(),
            set_point: None,
            delay: Some(crate::quantity::Time::from_s(0.2)),
            delay_off: None,
            tag: None,
        });
        let after = total(&rig).expect("in the matrix");
        assert_eq!(before - after, Duration::from_millis(100));
    }
}
