//! Which day it is: the one place where the service looks at the calendar.

#![allow(clippy::disallowed_types, reason = "an outer crate: the calendar is read here only")]

use std::time::{SystemTime, UNIX_EPOCH};

use deepbend_ledger::time::Date;
use prost_types::Timestamp;

/// Seconds since 1970-01-01T00:00:00Z.
pub(crate) fn unix_seconds() -> u64 {
    SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs())
}

/// The present time.
pub(crate) fn now() -> Timestamp {
    SystemTime::now().into()
}

/// The day that counts as today: the one that was configured, or else the present day in UTC.
pub(crate) fn today(configured: Option<Date>) -> Option<Date> {
    configured.or_else(|| date_of(unix_seconds() / 86_400))
}

/// The date of a day, counted from 1970-01-01. Eras of 400 years from 1 March of year 0, so that
/// the leap day ends a year (H. E. Hinnant, "chrono-Compatible Low-Level Date Algorithms", 2013).
fn date_of(day: u64) -> Option<Date> {
    let day = day + 719_468;
    let (era, day_of_era) = (day / 146_097, day % 146_097);
    let year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * month + 2) / 5 + 1;
    let (month, next) = if month < 10 { (month + 3, 0) } else { (month - 9, 1) };
    let year = i32::try_from(year_of_era + era * 400 + next).ok()?;
    Date::new(year, u8::try_from(month).ok()?, u8::try_from(day).ok()?)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: POSIX.1-2017, 4.16 "Seconds Since the Epoch"; Gregorian leap years 2000 and 2024.
    #[test]
    fn days_have_their_dates() {
        for (day, date) in [
            (0, "1970-01-01"),
            (11_016, "2000-02-29"),
            (11_017, "2000-03-01"),
            (19_782, "2024-02-29"),
            (20_453, "2025-12-31"),
            (20_454, "2026-01-01"),
        ] {
            assert_eq!(date_of(day).unwrap().to_string(), date);
        }
        assert_eq!(today(Date::new(2031, 9, 15)).unwrap().to_string(), "2031-09-15");
    }
}
