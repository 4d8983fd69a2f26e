//! The day at the rim of a page that is printed.

/// The day asked for, today by the wall clock when none is.
///
/// # Errors
/// It is no day of the calendar, written as ISO 8601 has it: what was found and what is accepted.
pub(super) fn day(asked: Option<&str>) -> Result<String, String> {
    asked.map_or_else(|| Ok(today()), calendar_date)
}

fn calendar_date(text: &str) -> Result<String, String> {
    // Jiff alone would take week dates, times and ordinals too.
    let written = text.len() == "YYYY-MM-DD".len();
    match text.parse::<jiff::civil::Date>() {
        Ok(date) if written => Ok(date.to_string()),
        _ => Err(format!(
            "--date: `{text}` is no day of the calendar\naccepted: YYYY-MM-DD, such as 2026-11-28\n"
        )),
    }
}

fn today() -> String {
    let zone = jiff::tz::TimeZone::system();
    jiff::Timestamp::now().to_zoned_datetime(zone).strftime("%Y-%m-%d").to_string()
}
