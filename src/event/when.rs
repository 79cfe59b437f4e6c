//! Dates and the doors time, on the hall's own clock (no time zone).
//!
//! Source: the Gregorian calendar as ISO 8601 writes it, `2027-03-12`, `18:30`. Edge cases: 30 February,
//! 24:00 and 18:60 are no times; seconds and fractions are read and dropped.

use std::fmt;

use chrono::{Datelike, Days, Local, NaiveDate, NaiveDateTime, SecondsFormat};

/// A day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Date {
    year: u16,
    month: u8,
    day: u8,
}

impl Date {
    /// `None` where the calendar has no such day.
    pub fn new(year: u16, month: u8, day: u8) -> Option<Self> {
        let leap = year.is_multiple_of(4) && !year.is_multiple_of(100) || year.is_multiple_of(400);
        let days = match month {
            4 | 6 | 9 | 11 => 30,
            2 if leap => 29,
            2 => 28,
            1..=12 => 31,
            _ => return None,
        };
        ((1..=days).contains(&day) && (1..=9999).contains(&year)).then_some(Self { year, month, day })
    }

    pub const fn year(self) -> u16 {
        self.year
    }

    pub const fn month(self) -> u8 {
        self.month
    }

    pub const fn day(self) -> u8 {
        self.day
    }

    /// Today, on the hall's own clock.
    pub fn today() -> Option<Self> {
        Self::of(Local::now().date_naive())
    }

    /// So many days later.
    pub fn after(self, days: u16) -> Option<Self> {
        let day = NaiveDate::from_ymd_opt(self.year.into(), self.month.into(), self.day.into())?;
        Self::of(day.checked_add_days(Days::new(days.into()))?)
    }

    fn of(day: NaiveDate) -> Option<Self> {
        Self::new(u16::try_from(day.year()).ok()?, day.month() as u8, day.day() as u8)
    }

    /// From `2027-03-12`.
    pub fn parse(text: &str) -> Option<Self> {
        let mut parts = text.trim().splitn(3, '-');
        let mut part = |digits| number(parts.next()?, digits);
        Self::new(part(4)?, part(2)? as u8, part(2)? as u8)
    }
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

/// Minutes: so long before the doors they are counted down to, and so long after they are the show's.
const DAY: f64 = 600.0;
const SHOW: f64 = 300.0;

/// The hall's clock: "19:42".
pub fn clock() -> String {
    Local::now().format("%H:%M").to_string()
}

/// As TOML writes it, without a zone.
pub(super) fn now_date_time() -> String {
    Local::now().format("%Y-%m-%dT%H:%M:%S").to_string()
}

pub(super) fn now_text() -> String {
    Local::now().to_rfc3339_opts(SecondsFormat::Secs, false)
}

/// When the doors open.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Doors {
    date: Option<Date>,
    hour: u8,
    minute: u8,
}

impl Doors {
    /// `None` where the clock shows no such time.
    pub fn new(date: Option<Date>, hour: u8, minute: u8) -> Option<Self> {
        (hour < 24 && minute < 60).then_some(Self { date, hour, minute })
    }

    pub const fn date(self) -> Option<Date> {
        self.date
    }

    pub const fn hour(self) -> u8 {
        self.hour
    }

    pub const fn minute(self) -> u8 {
        self.minute
    }

    /// How long until then, in minutes; `None` on another day, or hours after.
    pub fn minutes_left(self) -> Option<f64> {
        self.minutes_from(Local::now().naive_local())
    }

    fn minutes_from(self, now: NaiveDateTime) -> Option<f64> {
        let day = match self.date {
            Some(date) => NaiveDate::from_ymd_opt(date.year.into(), date.month.into(), date.day.into())?,
            None => now.date(),
        };
        let then = day.and_hms_opt(self.hour.into(), self.minute.into(), 0)?;
        let minutes = (then - now).num_seconds() as f64 / 60.0;
        (-SHOW..=DAY).contains(&minutes).then_some(minutes)
    }

    /// From `18:30`, `2027-03-12 18:30` or `2027-03-12T18:30:00`.
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        let (date, time) = match text.split_once(['T', 't', ' ']) {
            Some((date, time)) => (Some(Date::parse(date)?), time),
            None => (None, text),
        };
        let mut parts = time.splitn(3, ':');
        let (hour, minute) = (number(parts.next()?, 2)?, number(parts.next()?, 2)?);
        if let Some(seconds) = parts.next() {
            let (whole, fraction) = seconds.split_once('.').unwrap_or((seconds, "0"));
            if number(whole, 2)? > 59 || !fraction.bytes().all(|byte| byte.is_ascii_digit()) {
                return None;
            }
        }
        Self::new(date, hour as u8, minute as u8)
    }
}

impl fmt::Display for Doors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(date) = self.date {
            write!(f, "{date}T")?;
        }
        write!(f, "{:02}:{:02}", self.hour, self.minute)?;
        if self.date.is_some() { f.write_str(":00") } else { Ok(()) }
    }
}

/// One to `digits` plain digits.
fn number(text: &str, digits: usize) -> Option<u16> {
    let plain = (1..=digits).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit());
    if plain { text.parse().ok() } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_calendar_has_its_days() {
        for day in ["2027-03-12", "2028-02-29", "2000-02-29", "2027-12-31"] {
            assert_eq!(Date::parse(day).map(|date| date.to_string()).as_deref(), Some(day));
        }
        for no_day in
            ["2027-02-29", "1900-02-29", "2027-13-01", "2027-04-31", "2027-00-10", "0000-01-01", "12.3.2027", ""]
        {
            assert_eq!(Date::parse(no_day), None, "{no_day}");
        }
    }

    #[test]
    fn minutes_are_counted_down_on_the_day_itself() {
        let now = NaiveDate::from_ymd_opt(2027, 3, 12).unwrap().and_hms_opt(17, 50, 30).unwrap();
        let left = |text: &str| Doors::parse(text).unwrap().minutes_from(now);
        assert_eq!(left("18:30"), Some(39.5));
        assert_eq!(left("2027-03-12 18:30"), Some(39.5));
        assert_eq!(left("17:30"), Some(-20.5));
        assert_eq!(left("2027-03-13 18:30"), None);
        assert_eq!(left("06:00"), None);
    }

    #[test]
    fn the_clock_has_its_times() {
        for (written, read) in [
            ("18:30", "18:30"),
            ("9:05", "09:05"),
            ("00:00", "00:00"),
            ("18:30:59.5", "18:30"),
            ("2027-03-12 18:30", "2027-03-12T18:30:00"),
            ("2027-03-12T18:30:00", "2027-03-12T18:30:00"),
        ] {
            assert_eq!(Doors::parse(written).map(|doors| doors.to_string()).as_deref(), Some(read), "{written}");
        }
        for no_time in
            ["24:00", "18:60", "18", "18:30:60", "6.30 pm", "18:30Z", "+1:30", "2027-02-30 18:30", "", "é:30"]
        {
            assert_eq!(Doors::parse(no_time), None, "{no_time}");
        }
    }
}
