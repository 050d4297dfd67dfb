//! A moment and a length of time, both in whole milliseconds.
//!
//! Plain integers, so that sorting, storing and comparing are exact; `jiff` reads and writes the text form (RFC 3339).

use std::fmt;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub};
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// A moment in UTC, in milliseconds since 1970-01-01T00:00:00Z. Shown and parsed as RFC 3339.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
pub struct Timestamp(i64);

/// A signed length of time in milliseconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
pub struct Span(i64);

/// The text is not an RFC 3339 time with `Z` or a zone offset.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not a time such as 2026-03-02T05:00:00Z")]
pub struct TimeError(String);

/// 0001-01-01 and 9999-12-31: what RFC 3339 can write down.
const FIRST_MILLIS: i64 = -62_135_596_800_000;
const LAST_MILLIS: i64 = 253_402_207_200_000;

impl Timestamp {
    /// A moment from milliseconds since 1970, held inside the years that RFC 3339 can write (1 to 9999).
    #[inline]
    pub fn from_millis(millis: i64) -> Timestamp {
        Timestamp(millis.clamp(FIRST_MILLIS, LAST_MILLIS))
    }

    /// A moment from seconds since 1970, rounded to the millisecond; `None` if not finite or outside the years 1 to 9999.
    pub fn from_secs_f64(seconds: f64) -> Option<Timestamp> {
        let millis = (seconds * 1000.0).round();
        (FIRST_MILLIS as f64 <= millis && millis <= LAST_MILLIS as f64).then_some(Timestamp(millis as i64))
    }

    /// Milliseconds since 1970.
    #[inline]
    pub fn as_millis(self) -> i64 {
        self.0
    }

    /// The moment rounded down to a whole multiple of `step` since 1970.
    #[inline]
    pub fn floor(self, step: Span) -> Timestamp {
        Timestamp(self.0 - self.0.rem_euclid(step.0.max(1)))
    }

    /// The same moment for calendars and time zones.
    pub fn to_jiff(self) -> jiff::Timestamp {
        jiff::Timestamp::from_millisecond(self.0).expect("a Timestamp is kept inside the years 1 to 9999")
    }

    /// Time since `earlier`, negative if `earlier` is later.
    #[inline]
    pub fn since(self, earlier: Timestamp) -> Span {
        self - earlier
    }
}

impl From<jiff::Timestamp> for Timestamp {
    fn from(at: jiff::Timestamp) -> Timestamp {
        Timestamp::from_millis(at.as_millisecond())
    }
}

impl fmt::Display for Timestamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = if self.0 % 1000 == 0 { 0 } else { 3 };
        write!(f, "{:.digits$}", self.to_jiff())
    }
}

impl FromStr for Timestamp {
    type Err = TimeError;

    fn from_str(text: &str) -> Result<Timestamp, TimeError> {
        text.parse::<jiff::Timestamp>().map(Timestamp::from).map_err(|_| TimeError(text.to_owned()))
    }
}

impl Span {
    /// No time at all.
    pub const ZERO: Span = Span(0);

    /// From milliseconds.
    pub const fn from_millis(millis: i64) -> Span {
        Span(millis)
    }

    /// From whole seconds.
    pub const fn from_secs(seconds: i64) -> Span {
        Span(seconds * 1000)
    }

    /// From whole minutes.
    pub const fn from_mins(minutes: i64) -> Span {
        Span(minutes * 60_000)
    }

    /// From whole hours.
    pub const fn from_hours(hours: i64) -> Span {
        Span(hours * 3_600_000)
    }

    /// From minutes with a fraction, rounded to the millisecond. Not-a-number counts as zero.
    pub fn from_mins_f64(minutes: f64) -> Span {
        Span((minutes * 60_000.0).round() as i64)
    }

    /// In milliseconds.
    pub const fn as_millis(self) -> i64 {
        self.0
    }

    /// In seconds.
    #[inline]
    pub fn as_secs_f64(self) -> f64 {
        self.0 as f64 / 1000.0
    }

    /// In minutes.
    #[inline]
    pub fn as_mins_f64(self) -> f64 {
        self.0 as f64 / 60_000.0
    }
}

impl Add<Span> for Timestamp {
    type Output = Timestamp;
    #[inline]
    fn add(self, span: Span) -> Timestamp {
        Timestamp::from_millis(self.0.saturating_add(span.0))
    }
}

impl AddAssign<Span> for Timestamp {
    #[inline]
    fn add_assign(&mut self, span: Span) {
        *self = *self + span;
    }
}

impl Sub<Span> for Timestamp {
    type Output = Timestamp;
    #[inline]
    fn sub(self, span: Span) -> Timestamp {
        Timestamp::from_millis(self.0.saturating_sub(span.0))
    }
}

impl Sub for Timestamp {
    type Output = Span;
    #[inline]
    fn sub(self, earlier: Timestamp) -> Span {
        // Never goes round: both lie in the years 1 to 9999.
        Span(self.0.wrapping_sub(earlier.0))
    }
}

impl Add for Span {
    type Output = Span;
    #[inline]
    fn add(self, other: Span) -> Span {
        Span(self.0.saturating_add(other.0))
    }
}

impl Sub for Span {
    type Output = Span;
    #[inline]
    fn sub(self, other: Span) -> Span {
        Span(self.0.saturating_sub(other.0))
    }
}

impl Neg for Span {
    type Output = Span;
    #[inline]
    fn neg(self) -> Span {
        Span(-self.0)
    }
}

impl Mul<i64> for Span {
    type Output = Span;
    #[inline]
    fn mul(self, times: i64) -> Span {
        Span(self.0.saturating_mul(times))
    }
}

/// Whole milliseconds; the rest is dropped. Panics where `by` is 0.
impl Div<i64> for Span {
    type Output = Span;
    #[inline]
    fn div(self, by: i64) -> Span {
        Span(self.0 / by)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_round_trips_to_the_millisecond() {
        for text in ["2026-03-02T05:00:00Z", "2026-03-02T05:00:00.250Z", "1969-12-31T23:59:59.999Z"] {
            assert_eq!(text.parse::<Timestamp>().unwrap().to_string(), text);
        }
        let moved: Timestamp = "2026-03-02T07:00:00+02:00".parse().unwrap();
        assert_eq!(moved.to_string(), "2026-03-02T05:00:00Z");
    }

    #[test]
    fn what_is_no_time_is_told() {
        let error = "five o'clock".parse::<Timestamp>().unwrap_err();
        assert_eq!(error.to_string(), "`five o'clock` is not a time such as 2026-03-02T05:00:00Z");
    }

    #[test]
    fn floor_goes_down_before_1970_too() {
        assert_eq!(Timestamp::from_millis(-1).floor(Span::from_secs(5)).as_millis(), -5000);
    }

    #[test]
    fn extremes_stay_writable() {
        assert_eq!(Timestamp::from_millis(i64::MAX).to_string().len(), "9999-12-30T22:00:00Z".len());
        assert_eq!(Timestamp::from_secs_f64(f64::NAN), None);
        assert_eq!(Timestamp::from_secs_f64(1e30), None);
    }
}
