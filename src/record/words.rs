//! What people said, in words.

use std::fmt;

use evenpass_core::inspection::DyeResult;
use evenpass_core::plan::forecast::counted;
use evenpass_core::quantity::Length;
use jiff::civil::Date;

use super::{GaugeUsed, Said};

/// What was said, in a line.
impl fmt::Display for Said {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&words(self))
    }
}

/// A thin reading as it was read: with a decimal more where it has one.
fn read(thin: Length) -> String {
    let usual = thin.to_string();
    let is_all = usual.parse::<Length>().is_ok_and(|shown| (shown - thin).abs().mm() < 1e-6);
    if is_all { usual } else { format!("{thin:.5}") }
}

fn words(said: &Said) -> String {
    match said {
        Said::Decided { verdict, reason } => because(verdict.word(), reason),
        Said::Lot { of, lot, certificate, contents } => {
            let head = with(format!("{of}: lot {lot}"), "certificate", certificate.as_deref());
            let contents = contents.map(|contents| contents.to_string());
            with(head, "it holds", contents.as_deref())
        }
        Said::Refilled { holds } => format!("hopper filled: it holds {holds}"),
        Said::TipCleaned { torch, burned } => {
            let burned = burned.map(|burned| burned.to_string());
            with(format!("tip of {torch} cleaned"), "after", burned.as_deref())
        }
        Said::Blasted { parts, ended } if parts.is_empty() => format!("blasted, until {ended}"),
        Said::Blasted { parts, ended } => {
            let parts: Vec<String> = parts.iter().map(u32::to_string).collect();
            format!("parts {} blasted, until {ended}", parts.join(", "))
        }
        Said::Settled { choice, reason, checked } => {
            let found = checked.to_string();
            let found = if found.is_empty() { found } else { format!(" ({found})") };
            because(&format!("cut off, then decided: {}{found}", choice.words()), reason)
        }
        Said::TakenBack { mark, reason } => because(&format!("takes back number {mark}"), reason),
        Said::Hardness { readings, coat, measured_on, gauge } => {
            let readings: Vec<String> =
                readings.iter().map(|one| format!("{} at {}", one.read, one.at)).collect();
            let head = format!("hardness {}; coat of {coat}", readings.join(", "));
            by_gauge(format!("{head}; {measured_on}"), gauge.as_ref(), *measured_on)
        }
        Said::Thickness { stage, readings, temperature, measured_on, gauge } => {
            let readings: Vec<String> = readings
                .iter()
                .map(|one| format!("{} at {}", read(one.thickness), one.at))
                .collect();
            let hot = temperature.map(|hot| hot.to_string());
            let head = with(
                format!("thickness {}: {}", stage.words(), readings.join(", ")),
                "at",
                hot.as_deref(),
            );
            by_gauge(format!("{head}; {measured_on}"), gauge.as_ref(), *measured_on)
        }
        Said::RunOut { read: found, measured_on, gauge } => by_gauge(
            format!("run-out {}; {measured_on}", read(*found)),
            gauge.as_ref(),
            *measured_on,
        ),
        Said::DyeChecked { result, words } => {
            let showed = match result {
                DyeResult::Nothing => "nothing shows",
                DyeResult::Indications => "indications",
            };
            because(&format!("dye check: {showed}"), words.as_deref().unwrap_or_default())
        }
        Said::CoatChecked { zone, diameters, temperature, check, measured_on, gauge } => {
            let hot = temperature.map_or_else(|| "cold".to_owned(), |hot| format!("at {hot}"));
            by_gauge(
                format!(
                    "coat checked in {zone} after {} of {} passes, {} {hot}: {:.3} of {:.3}, \
                     efficiency {:.1} %",
                    check.passes.done,
                    check.passes.planned,
                    counted(diameters.len(), "diameter"),
                    check.measured,
                    check.expected,
                    check.efficiency_found.percent()
                ),
                gauge.as_ref(),
                *measured_on,
            )
        }
        Said::Coupon { coupon, words } => format!("coupon {coupon}: {words}"),
        Said::HoldPoint { point } => format!("hold point: {point}"),
        Said::HoldReleased { mark } => format!("hold point {mark} released"),
        Said::GaugeCalibrated { gauge, serial, calibrated_on, valid_until, certificate } => with(
            format!("{gauge} {serial} calibrated on {calibrated_on}, good until {valid_until}"),
            "certificate",
            certificate.as_deref(),
        ),
        Said::Deviated { limit, words, reason, from, to } => {
            let limit = limit.map_or_else(String::new, |limit| format!(" of {}", limit.title()));
            let change = match (from, to) {
                (None, None) => String::new(),
                (from, to) => format!(
                    ", {} instead of {}",
                    to.as_deref().unwrap_or("-"),
                    from.as_deref().unwrap_or("-")
                ),
            };
            because(&format!("deviation{limit}: {words}{change}"), reason)
        }
        Said::Particular { name, words } => format!("{name}: {words}"),
    }
}

fn because(what: &str, why: &str) -> String {
    if why.is_empty() { what.to_owned() } else { format!("{what}: {why}") }
}

fn with(what: String, name: &str, words: Option<&str>) -> String {
    words.map_or(what.clone(), |words| format!("{what}, {name} {words}"))
}

/// With the gauge, and what is to be said of it.
fn by_gauge(what: String, gauge: Option<&GaugeUsed>, measured_on: Date) -> String {
    let Some(gauge) = gauge else { return what };
    match gauge.caution(measured_on) {
        Some(caution) => format!("{what}; {caution}"),
        None => format!("{what}; gauge {}", gauge.serial),
    }
}
