//! The gauges that readings are taken with, and whether their calibration was good that day.

use jiff::civil::Date;

use super::{GaugeUsed, MarkRecord, Said};

impl GaugeUsed {
    /// A gauge by its serial number, as the marks of a rig know it on the day of a reading. The last
    /// calibration that was made by that day speaks for it: one that was made later says nothing of
    /// it, and one that was made before another does not come back by being told later.
    #[must_use]
    pub fn of(serial: &str, marks: &[MarkRecord], measured_on: Date) -> Self {
        let counting = marks.iter().filter(|kept| kept.taken_back_by.is_none());
        let made = counting.filter_map(|kept| match &kept.mark.said {
            Said::GaugeCalibrated { serial: known, calibrated_on, valid_until, .. }
                if known == serial && *calibrated_on <= measured_on =>
            {
                Some((*calibrated_on, *valid_until))
            }
            _ => None,
        });
        // Of two of one day the one that was told last.
        let last = made.max_by_key(|(calibrated_on, _)| *calibrated_on);
        Self { serial: serial.to_owned(), valid_until: last.map(|(_, valid_until)| valid_until) }
    }

    /// What is to be said of a reading taken on a day with it; `None` where its calibration was
    /// good.
    #[must_use]
    pub fn caution(&self, measured_on: Date) -> Option<String> {
        match self.valid_until {
            Some(until) if measured_on <= until => None,
            Some(until) => Some(format!(
                "gauge {} is past its date: its calibration was good until {until}",
                self.serial
            )),
            None => Some(format!(
                "gauge {}: nobody has told when it was calibrated before {measured_on}",
                self.serial
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixture::said;
    use super::*;

    fn day(text: &str) -> Date {
        text.parse().expect("a day")
    }

    fn calibrated(number: i64, on: &str, until: &str) -> MarkRecord {
        let calibration = Said::GaugeCalibrated {
            gauge: "micrometer 50-75".to_owned(),
            serial: "M-17".to_owned(),
            calibrated_on: day(on),
            valid_until: day(until),
            certificate: None,
        };
        said(number, calibration)
    }

    fn caution(marks: &[MarkRecord], measured_on: &str) -> Option<String> {
        let measured_on = day(measured_on);
        GaugeUsed::of("M-17", marks, measured_on).caution(measured_on)
    }

    #[test]
    fn a_gauge_past_its_date_is_told_by_its_serial() {
        let marks = [calibrated(1, "2025-10-01", "2026-10-01")];
        let told = caution(&marks, "2026-11-25").expect("past");
        assert_eq!(told, "gauge M-17 is past its date: its calibration was good until 2026-10-01");
        assert_eq!(caution(&marks, "2026-10-01"), None, "its last day is good");
        let nobody = GaugeUsed::of("M-99", &marks, day("2026-11-25")).caution(day("2026-11-25"));
        assert!(nobody.is_some_and(|told| told.contains("nobody has told")));
    }

    #[test]
    fn a_calibration_made_after_a_reading_says_nothing_of_it() {
        let marks =
            [calibrated(1, "2025-08-31", "2026-08-31"), calibrated(2, "2026-10-01", "2027-10-01")];
        assert_eq!(caution(&marks, "2026-11-25"), None, "calibrated anew");
        // Read between the two, and entered after the second.
        let told = caution(&marks, "2026-09-12").expect("past");
        assert!(told.ends_with("good until 2026-08-31"), "{told}");
        let before = caution(&marks, "2025-08-30").expect("not known");
        assert!(before.contains("nobody has told when it was calibrated"), "{before}");
    }

    #[test]
    fn an_old_calibration_that_is_told_late_does_not_come_before_a_newer_one() {
        let mut marks = vec![
            calibrated(1, "2026-10-01", "2027-10-01"),
            calibrated(2, "2025-08-31", "2026-08-31"),
        ];
        assert_eq!(caution(&marks, "2026-11-25"), None);
        marks[0].taken_back_by = Some(3);
        assert!(caution(&marks, "2026-11-25").is_some(), "the newer one was taken back");
    }
}
