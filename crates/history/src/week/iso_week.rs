//! An ISO week (ISO 8601), as addresses and arguments write it: `2026-W48`.

use std::fmt;
use std::str::FromStr;

use jiff::civil::{Date, ISOWeekDate, Weekday};
use jiff::tz::TimeZone;
use model::{Span, Timestamp};
use plant::Plant;

/// A week from Monday to Sunday.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct IsoWeek {
    year: i16,
    week: i8,
}

/// The text is no ISO week.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not a week such as 2026-W48")]
pub struct IsoWeekError(String);

impl IsoWeek {
    /// The week in which `at` lies, on the plant's clock.
    pub fn of(at: Timestamp, zone: &TimeZone) -> IsoWeek {
        IsoWeek::holding(zone.to_datetime(at.to_jiff()).date())
    }

    /// The week in which a date lies.
    pub fn holding(date: Date) -> IsoWeek {
        let iso = date.iso_week_date();
        IsoWeek { year: iso.year(), week: iso.week() }
    }

    /// Its Monday.
    pub fn monday(self) -> Date {
        ISOWeekDate::new(self.year, self.week, Weekday::Monday)
            .expect("a week is made from a date or by parsing, which checks it")
            .date()
    }

    /// The week after so many more; before, if negative.
    pub fn later_by(self, weeks: i64) -> IsoWeek {
        let moved = self.monday().checked_add(jiff::Span::new().weeks(weeks));
        moved.map_or(self, IsoWeek::holding)
    }

    /// From its first moment to that of the next, on the plant's clock.
    pub fn span(self, plant: &Plant) -> (Timestamp, Timestamp) {
        let zone = plant.time_zone.rules();
        (start_of(self.monday(), zone), start_of(self.later_by(1).monday(), zone))
    }
}

/// The first moment of a local day.
fn start_of(date: Date, zone: &TimeZone) -> Timestamp {
    match date.to_zoned_datetime(zone.clone()) {
        Ok(midnight) => Timestamp::from(midnight.timestamp()),
        // Only at the ends of the calendar.
        Err(_) => Timestamp::from_millis(0) + Span::from_hours(24) * i64::from(date.day_of_year()),
    }
}

impl fmt::Display for IsoWeek {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-W{:02}", self.year, self.week)
    }
}

impl FromStr for IsoWeek {
    type Err = IsoWeekError;

    fn from_str(text: &str) -> Result<IsoWeek, IsoWeekError> {
        let wrong = || IsoWeekError(text.chars().take(20).collect());
        let (year, week) = text.split_once("-W").ok_or_else(wrong)?;
        let digits = |text: &str, n: usize| text.len() == n && text.bytes().all(|byte| byte.is_ascii_digit());
        if !digits(year, 4) || !digits(week, 2) {
            return Err(wrong());
        }
        let (year, week) = (year.parse().map_err(|_| wrong())?, week.parse().map_err(|_| wrong())?);
        ISOWeekDate::new(year, week, Weekday::Monday).map_err(|_| wrong())?;
        Ok(IsoWeek { year, week })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weeks_are_those_of_the_standard() {
        // ISO 8601: 2026-W01 holds the first Thursday of 2026; 2020 has 53 weeks; 1 January 2021 lies in 2020-W53.
        let week: IsoWeek = "2026-W01".parse().unwrap();
        assert_eq!(week.monday(), jiff::civil::date(2025, 12, 29));
        assert_eq!(IsoWeek::holding(jiff::civil::date(2021, 1, 1)).to_string(), "2020-W53");
        assert_eq!("2020-W53".parse::<IsoWeek>().unwrap().later_by(1).to_string(), "2021-W01");
        assert_eq!(week.later_by(-1).to_string(), "2025-W52");
    }

    #[test]
    fn what_is_no_week_is_told() {
        for text in ["2026-W54", "2021-W53", "2026W01", "2026-W1", "26-W01", "+026-W01", "", "2026-W00"] {
            let error = text.parse::<IsoWeek>().unwrap_err();
            assert!(error.to_string().contains("is not a week such as 2026-W48"), "{text}");
        }
    }
}
