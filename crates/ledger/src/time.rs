//! Dates and claims of time. Nothing here reads a clock: "today" is always an argument.

use serde::{Deserialize, Serialize};

/// A day of the Gregorian calendar, years 1 to 9999.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Date {
    year: i32,
    month: u8,
    day: u8,
}

/// A text that is no date or no time.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{text:?} is no {wanted}")]
pub struct BadTime {
    /// What was given, cut after 40 characters.
    pub text: String,
    /// What would be right.
    pub wanted: &'static str,
}

const DATE_WANTED: &str = "date as YYYY-MM-DD";
const TIME_WANTED: &str = "RFC 3339 time as 2031-09-15T17:00:00Z";

fn bad(text: &str, wanted: &'static str) -> BadTime {
    BadTime { text: text.chars().take(40).collect(), wanted }
}

impl Date {
    /// A date from its parts; `None` if there is no such day.
    #[must_use]
    pub fn new(year: i32, month: u8, day: u8) -> Option<Self> {
        let there = (1..=9999).contains(&year)
            && (1..=12).contains(&month)
            && (1..=days_in_month(year, month)).contains(&day);
        there.then_some(Self { year, month, day })
    }

    /// Reads `YYYY-MM-DD`.
    ///
    /// # Errors
    /// [`BadTime`] if the text has another form or there is no such day.
    pub fn read(text: &str) -> Result<Self, BadTime> {
        let b = text.as_bytes();
        if b.len() != 10 || b[4] != b'-' || b[7] != b'-' {
            return Err(bad(text, DATE_WANTED));
        }
        let parts = (digits(&b[..4]), digits(&b[5..7]), digits(&b[8..]));
        let (Some(year), Some(month), Some(day)) = parts else {
            return Err(bad(text, DATE_WANTED));
        };
        // Four and two digits fit their types.
        Self::new(year as i32, month as u8, day as u8).ok_or_else(|| bad(text, DATE_WANTED))
    }

    /// Whole months from `earlier` to this day; negative if `earlier` is later.
    #[must_use]
    pub fn months_since(self, earlier: Self) -> i32 {
        if self < earlier {
            return -earlier.months_since(self);
        }
        let months =
            (self.year - earlier.year) * 12 + i32::from(self.month) - i32::from(earlier.month);
        months - i32::from(self.day < earlier.day)
    }
}

impl std::fmt::Display for Date {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

impl TryFrom<String> for Date {
    type Error = BadTime;

    fn try_from(text: String) -> Result<Self, BadTime> {
        Self::read(&text)
    }
}

impl From<Date> for String {
    fn from(date: Date) -> Self {
        date.to_string()
    }
}

fn days_in_month(year: i32, month: u8) -> u8 {
    match month {
        4 | 6 | 9 | 11 => 30,
        2 if year % 4 == 0 && (year % 100 != 0 || year % 400 == 0) => 29,
        2 => 28,
        _ => 31,
    }
}

fn digits(bytes: &[u8]) -> Option<u32> {
    bytes.iter().try_fold(0, |n: u32, b| b.is_ascii_digit().then(|| n * 10 + u32::from(b - b'0')))
}

/// When something was observed, as its device claims it: an RFC 3339 time, kept as written.
/// Device clocks drift, so it is a hint for people; nothing is ordered by it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct ObservedTime(String);

impl ObservedTime {
    /// Checks an RFC 3339 time with its offset (`2031-09-15T17:00:00Z`, fractions allowed).
    ///
    /// # Errors
    /// [`BadTime`] if it has another form.
    pub fn new(text: impl Into<String>) -> Result<Self, BadTime> {
        let text = text.into();
        if is_rfc3339(&text) { Ok(Self(text)) } else { Err(bad(&text, TIME_WANTED)) }
    }

    /// The day, as it was written: in the offset that stands beside the time.
    #[must_use]
    pub fn date(&self) -> Date {
        // The form was checked when it was made, so there always is a day.
        let day = self.0.get(..10).map(Date::read);
        day.and_then(Result::ok).unwrap_or(Date { year: 1, month: 1, day: 1 })
    }

    /// The time as it was written.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl std::fmt::Display for ObservedTime {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(&self.0)
    }
}

impl TryFrom<String> for ObservedTime {
    type Error = BadTime;

    fn try_from(text: String) -> Result<Self, BadTime> {
        Self::new(text)
    }
}

impl From<ObservedTime> for String {
    fn from(time: ObservedTime) -> Self {
        time.0
    }
}

/// The grammar of RFC 3339, section 5.6, with at most nine digits of a second's fraction.
fn is_rfc3339(text: &str) -> bool {
    if !text.is_ascii() || text.len() < 20 || text.len() > 35 {
        return false;
    }
    let (date, rest) = text.split_at(10);
    let b = rest.as_bytes();
    let clock = (b[0] == b'T' || b[0] == b't') && b[3] == b':' && b[6] == b':';
    let within = |part: &[u8], most: u32| digits(part).is_some_and(|n| n <= most);
    if !clock || Date::read(date).is_err() {
        return false;
    }
    if !within(&b[1..3], 23) || !within(&b[4..6], 59) || !within(&b[7..9], 60) {
        return false;
    }
    let mut zone = &b[9..];
    if zone.first() == Some(&b'.') {
        let count = zone[1..].iter().take_while(|c| c.is_ascii_digit()).count();
        if !(1..=9).contains(&count) {
            return false;
        }
        zone = &zone[1 + count..];
    }
    match zone {
        [b'Z' | b'z'] => true,
        [b'+' | b'-', h1, h2, b':', m1, m2] => within(&[*h1, *h2], 23) && within(&[*m1, *m2], 59),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: RFC 3339, section 5.8, examples; the rest is its grammar of section 5.6.
    #[test]
    fn reads_times_as_rfc_3339_writes_them() {
        for good in [
            "1985-04-12T23:20:50.52Z",
            "1996-12-19T16:39:57-08:00",
            "1990-12-31T23:59:60Z",
            "1937-01-01T12:00:27.87+00:20",
        ] {
            assert_eq!(ObservedTime::new(good).unwrap().as_str(), good);
        }
        for wrong in [
            "",
            "2031-09-15",
            "2031-09-15 17:00:00Z",
            "2031-09-15T17:00:00",
            "2031-02-30T17:00:00Z",
            "2031-09-15T24:00:00Z",
            "2031-09-15T17:00:00.Z",
            "2031-09-15T17:00:00+1:00",
            "2031-09-15T17:00:00Zz",
            "2031-09-15T17:00:0\u{e9}Z",
        ] {
            assert!(ObservedTime::new(wrong).is_err(), "{wrong:?}");
        }
    }

    // Source: Gregorian leap rule (every 4, not every 100, but every 400 years).
    #[test]
    fn knows_leap_days() {
        for there in ["2000-02-29", "2032-02-29", "9999-12-31", "0001-01-01"] {
            assert_eq!(Date::read(there).unwrap().to_string(), there);
        }
        for not in ["1900-02-29", "2031-02-29", "2031-04-31", "2031-13-01", "0000-01-01", "x"] {
            assert!(Date::read(not).is_err(), "{not}");
        }
        assert!(Date::read("2031-1-011").is_err());
    }

    // Source: counting by hand on a calendar.
    #[test]
    fn counts_whole_months() {
        let date = |t| Date::read(t).unwrap();
        let months = |a, b| date(b).months_since(date(a));
        assert_eq!(months("2030-08-11", "2031-09-15"), 13);
        assert_eq!(months("2030-09-15", "2031-09-15"), 12);
        assert_eq!(months("2030-09-16", "2031-09-15"), 11);
        assert_eq!(months("2031-09-15", "2030-09-16"), -11);
    }
}
