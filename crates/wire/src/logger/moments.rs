//! From what stands in a time column to a moment.
//!
//! A time without an offset is what the clock on the wall showed. When clocks go forward an hour is missing, and a time in it is a mistake;
//! when they go back an hour comes twice, and only whoever knows the logger can say which one is meant.

use std::str::FromStr;

use jiff::civil::DateTime;
use jiff::fmt::strtime::BrokenDownTime;
use jiff::tz::AmbiguousOffset;
use model::{Span, Timestamp};
use plant::TimeZone;

use super::{LoggerTimes, excerpt};

/// 2001-01-01T00:00:00Z. A clock that has lost its battery begins anew at 1970 or 2000 (common practice, no source).
const FIRST_MS: i64 = 978_307_200_000;
/// A time this far ahead of now comes from a wrong clock or a wrong zone (the contract's limit for `clock-off`).
const AHEAD: Span = Span::from_secs(60);

/// How times are written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TimeLayout {
    /// ISO 8601: date, `T` or a blank, time with or without seconds, with or without an offset.
    Iso,
    /// Seconds since 1970.
    UnixSeconds,
    /// Milliseconds since 1970.
    UnixMillis,
    /// As `strptime` has it, such as `%d.%m.%Y %H:%M:%S`.
    Pattern(String),
}

impl FromStr for TimeLayout {
    type Err = String;

    fn from_str(text: &str) -> Result<TimeLayout, String> {
        match text {
            "iso" => Ok(TimeLayout::Iso),
            "unix-s" => Ok(TimeLayout::UnixSeconds),
            "unix-ms" => Ok(TimeLayout::UnixMillis),
            pattern if pattern.contains('%') => Ok(TimeLayout::Pattern(pattern.to_owned())),
            _ => Err("write iso, unix-s, unix-ms, or a pattern such as \"%d.%m.%Y %H:%M:%S\"".to_owned()),
        }
    }
}

/// Which one is meant where an hour comes twice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HourTwice {
    /// The one before the clocks went back.
    First,
    /// The one after.
    Second,
    /// The first until the file's times step back within that hour, then the second: for a logger that went on writing.
    AsTheyCome,
}

/// Reads one time after the other, in the order of the file.
#[derive(Debug, Clone)]
pub struct Moments {
    layout: TimeLayout,
    zone: TimeZone,
    hour_twice: Option<HourTwice>,
    now: Timestamp,
    latest_in_hour: Option<DateTime>,
    stepped_back: bool,
}

impl Moments {
    /// Before the first line.
    pub fn new(times: &LoggerTimes) -> Moments {
        let LoggerTimes { layout, zone, hour_twice, now } = times.clone();
        Moments { layout, zone, hour_twice, now, latest_in_hour: None, stepped_back: false }
    }

    /// The moment of one line; `None` if it lies in an hour that comes twice and nobody has said which is meant.
    ///
    /// # Errors
    /// A sentence, if it is no time, one that never was, or one at which no logger can have measured.
    pub fn read(&mut self, text: &str) -> Result<Option<Timestamp>, String> {
        match self.understood(text)? {
            Some(at) if at.as_millis() < FIRST_MS => {
                Err(format!("{at} is before 2001, and no reading of a logger whose clock is right"))
            }
            Some(at) if self.now + AHEAD < at => {
                Err(format!("{at} lies in the future; see to the logger's clock and to the time zone"))
            }
            at => Ok(at),
        }
    }

    fn understood(&mut self, text: &str) -> Result<Option<Timestamp>, String> {
        let no_time = |example: &str| format!("`{}` is not a time {example}", excerpt(text));
        match &self.layout {
            TimeLayout::UnixSeconds | TimeLayout::UnixMillis => {
                let number: f64 = text.parse().map_err(|_| no_time("in numbers since 1970"))?;
                let scale = if self.layout == TimeLayout::UnixSeconds { 1.0 } else { 1000.0 };
                Timestamp::from_secs_f64(number / scale)
                    .map(Some)
                    .ok_or_else(|| no_time("that a calendar has"))
            }
            TimeLayout::Iso => {
                if let Ok(at) = text.replacen(' ', "T", 1).parse::<jiff::Timestamp>() {
                    return Ok(Some(Timestamp::from(at)));
                }
                let local = text.parse::<DateTime>().map_err(|_| no_time("such as 2026-03-02 05:00:10"))?;
                // A date alone is read as midnight, which no logger means.
                if !text.contains(':') {
                    return Err(no_time("such as 2026-03-02 05:00:10"));
                }
                self.on_the_wall(local)
            }
            TimeLayout::Pattern(pattern) => {
                let told = format!("as the pattern `{pattern}` has it");
                let read = BrokenDownTime::parse(pattern, text).map_err(|_| no_time(&told))?;
                if let Ok(at) = read.to_timestamp() {
                    return Ok(Some(Timestamp::from(at)));
                }
                let local = read.to_datetime().map_err(|_| {
                    format!("the pattern `{pattern}` tells no whole date and time; two columns can be named: --time-column Date --time-column Time")
                })?;
                self.on_the_wall(local)
            }
        }
    }

    fn on_the_wall(&mut self, local: DateTime) -> Result<Option<Timestamp>, String> {
        let possible = self.zone.rules().to_ambiguous_timestamp(local);
        let chosen = match possible.offset() {
            AmbiguousOffset::Unambiguous { .. } => possible.compatible(),
            AmbiguousOffset::Gap { .. } => {
                return Err(format!(
                    "{local} never was in {}: the clocks went forward over it; the logger may keep winter time or UTC all year (`--time-zone Etc/UTC`)",
                    self.zone.name()
                ));
            }
            AmbiguousOffset::Fold { .. } => match self.hour_twice {
                None => return Ok(None),
                Some(HourTwice::First) => possible.earlier(),
                Some(HourTwice::Second) => possible.later(),
                Some(HourTwice::AsTheyCome) => {
                    let same_night = self.latest_in_hour.is_some_and(|latest| latest.date() == local.date());
                    self.stepped_back &= same_night;
                    if same_night && self.latest_in_hour.is_some_and(|latest| local < latest) {
                        self.stepped_back = true;
                    }
                    self.latest_in_hour = Some(local);
                    if self.stepped_back { possible.later() } else { possible.earlier() }
                }
            },
        };
        chosen
            .map(|at| Some(Timestamp::from(at)))
            .map_err(|_| format!("{local} is no date that a calendar has"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(layout: &str, hour_twice: Option<HourTwice>, times: &[&str]) -> Vec<String> {
        let zone = TimeZone::named("Europe/Lisbon").unwrap();
        let (layout, now) = (layout.parse().unwrap(), "2026-11-29T12:00:00Z".parse().unwrap());
        let mut moments = Moments::new(&LoggerTimes { layout, zone, hour_twice, now });
        let told = |text: &&str| match moments.read(text) {
            Ok(Some(at)) => at.to_string(),
            Ok(None) => "undecided".to_owned(),
            Err(why) => why,
        };
        times.iter().map(told).collect()
    }

    #[test]
    fn every_layout_gives_the_same_moment() {
        for (layout, text) in [
            ("iso", "2026-07-01 06:30:05"),
            ("iso", "2026-07-01T06:30:05"),
            ("iso", "2026-07-01T05:30:05Z"),
            ("iso", "2026-07-01 07:30:05+02:00"),
            ("%d.%m.%Y %H:%M:%S", "1.7.2026 06:30:05"),
            ("%m/%d/%Y %I:%M:%S %p", "07/01/2026 06:30:05 AM"),
            ("%Y-%m-%d %H:%M:%S %z", "2026-07-01 05:30:05 +0000"),
            ("unix-s", "1782883805"),
            ("unix-ms", "1782883805000"),
        ] {
            assert_eq!(read(layout, None, &[text]), ["2026-07-01T05:30:05Z"], "{layout} {text}");
        }
        assert_eq!(read("iso", None, &["2026-07-01 06:30"]), ["2026-07-01T05:30:00Z"]);
    }

    /// Clocks in Portugal go forward on 29 March 2026 at 01:00 and back on 25 October at 02:00, to 01:00 (IANA time zone database).
    #[test]
    fn an_hour_that_is_missing_and_one_that_comes_twice() {
        assert!(
            read("iso", None, &["2026-03-29 01:30:00"])[0]
                .starts_with("2026-03-29T01:30:00 never was in Europe/Lisbon")
        );
        let night = [
            "2026-10-25 00:59",
            "2026-10-25 01:30",
            "2026-10-25 01:59",
            "2026-10-25 01:00",
            "2026-10-25 01:59",
            "2026-10-25 02:00",
        ];
        assert_eq!(read("iso", None, &night)[1], "undecided");
        let at = |hour_twice| read("iso", Some(hour_twice), &night);
        assert_eq!(at(HourTwice::First)[1], "2026-10-25T00:30:00Z");
        assert_eq!(at(HourTwice::Second)[1], "2026-10-25T01:30:00Z");
        assert_eq!(
            at(HourTwice::AsTheyCome),
            [
                "2026-10-24T23:59:00Z",
                "2026-10-25T00:30:00Z",
                "2026-10-25T00:59:00Z",
                "2026-10-25T01:00:00Z",
                "2026-10-25T01:59:00Z",
                "2026-10-25T02:00:00Z"
            ]
        );
    }

    #[test]
    fn what_is_no_time_is_told() {
        assert_eq!(
            read("iso", None, &["2026-03-02"]),
            ["`2026-03-02` is not a time such as 2026-03-02 05:00:10"]
        );
        assert_eq!(
            read("%d.%m.%Y %H:%M", None, &["2/3/26"]),
            ["`2/3/26` is not a time as the pattern `%d.%m.%Y %H:%M` has it"]
        );
        assert!(read("%H:%M", None, &["05:00"])[0].contains("tells no whole date and time"));
        assert!("soon".parse::<TimeLayout>().unwrap_err().starts_with("write iso"));
    }
}
