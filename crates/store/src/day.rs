//! Days in UTC, as the store cuts time.

use std::fmt;
use std::str::FromStr;

use model::{Span, Timestamp};

const DAY: Span = Span::from_hours(24);

/// A day in UTC: the floor of a moment. Days of people, in the plant's time zone, are made from moments elsewhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct UtcDay(Timestamp);

impl UtcDay {
    /// The day that `at` lies in.
    pub fn of(at: Timestamp) -> UtcDay {
        UtcDay(at.floor(DAY))
    }

    /// Its first moment.
    pub fn start(self) -> Timestamp {
        self.0
    }

    /// The first moment of the next day.
    pub fn end(self) -> Timestamp {
        self.0 + DAY
    }
}

/// As in folder names: `2026-03-01`.
impl fmt::Display for UtcDay {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0.to_jiff().strftime("%Y-%m-%d"))
    }
}

impl FromStr for UtcDay {
    type Err = model::TimeError;

    fn from_str(text: &str) -> Result<UtcDay, model::TimeError> {
        format!("{text}T00:00:00Z").parse().map(UtcDay::of)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_is_the_floor_in_utc() {
        let day = |text: &str| UtcDay::of(text.parse().unwrap());
        assert_eq!(day("2026-03-01T23:59:59.999Z").to_string(), "2026-03-01");
        assert_eq!(day("2026-03-02T00:30:00+01:00").to_string(), "2026-03-01");
        assert_eq!(day("1969-12-31T12:00:00Z").to_string(), "1969-12-31");
        assert_eq!("2026-03-01".parse(), Ok(day("2026-03-01T10:00:00Z")));
        assert_eq!(day("2026-03-01T10:00:00Z").end(), day("2026-03-02T10:00:00Z").start());
    }
}
