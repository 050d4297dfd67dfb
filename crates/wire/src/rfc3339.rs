//! Times as text, by the grammar of RFC 3339, section 5.6.
//!
//! Read here digit by digit, because general date parsers take more than the RFC does (times without seconds, names of
//! zones) and a time that was guessed would put a reading in the wrong place. What we add: a space for `T`, which the
//! note in 5.6 leaves to applications. A leap second counts as the second after it, as POSIX time has no other place.

use jiff::civil::{Date, DateTime, Time};
use model::{Span, Timestamp};

/// Reads a time such as `2026-03-02T05:00:00.25Z` or `2026-03-02T06:00:00+01:00`; `None` if it is not one.
pub fn parse_rfc3339(text: &str) -> Option<Timestamp> {
    parse(text, parse_offset)
}

/// The arrival time of a recorded stream: `Z`, an offset with or without its colon, or `Z` and an offset. The last is
/// what the stock subscriber prints (`…Z+0100`): local time, in which the `Z` means nothing and the offset counts.
pub(crate) fn parse_recorded(text: &str) -> Option<Timestamp> {
    parse(text, |offset| {
        let offset = offset.strip_prefix('Z').filter(|rest| !rest.is_empty()).unwrap_or(offset);
        match offset.len() {
            5 => parse_offset(&format!("{}:{}", offset.get(..3)?, offset.get(3..)?)),
            _ => parse_offset(offset),
        }
    })
}

fn parse(text: &str, offset: impl Fn(&str) -> Option<Span>) -> Option<Timestamp> {
    let (date, rest) = (text.get(..10)?, text.get(10..)?);
    let rest = rest.strip_prefix(['T', 't', ' '])?;
    let (clock, rest) = (rest.get(..8)?, rest.get(8..)?);
    let (fraction, rest) = split_fraction(rest)?;
    let offset = offset(rest)?;

    let date = Date::new(digits(date, 0..4)?, digits(date, 5..7)?, digits(date, 8..10)?).ok()?;
    let second: i8 = digits(clock, 6..8)?;
    let time = Time::new(digits(clock, 0..2)?, digits(clock, 3..5)?, second.min(59), 0).ok()?;
    if !has_at(text, '-', [4, 7]) || !has_at(clock, ':', [2, 5]) || 60 < second {
        return None;
    }
    let utc = whole_second(DateTime::from_parts(date, time))? - offset;
    match second {
        60 if !is_before_leap_second(utc) => None,
        60 => Some(utc + Span::from_secs(1)),
        _ => Some(utc + fraction),
    }
}

/// Leap seconds come at the end of June or December (ITU-R TF.460 as applied since 1972).
fn is_before_leap_second(utc: Timestamp) -> bool {
    let shown = utc.to_string();
    shown.ends_with("-06-30T23:59:59Z") || shown.ends_with("-12-31T23:59:59Z")
}

fn whole_second(at: DateTime) -> Option<Timestamp> {
    jiff::tz::TimeZone::UTC.to_timestamp(at).ok().map(Timestamp::from)
}

fn has_at(text: &str, sign: char, places: [usize; 2]) -> bool {
    places.iter().all(|place| text.as_bytes().get(*place) == Some(&(sign as u8)))
}

fn digits<T: std::str::FromStr>(text: &str, range: std::ops::Range<usize>) -> Option<T> {
    let part = text.get(range)?;
    part.bytes().all(|byte| byte.is_ascii_digit()).then(|| part.parse().ok())?
}

/// `.25Z` is a quarter of a second and `Z`. Digits beyond the millisecond are cut off.
fn split_fraction(text: &str) -> Option<(Span, &str)> {
    let Some(rest) = text.strip_prefix('.') else { return Some((Span::ZERO, text)) };
    let length = rest.bytes().take_while(u8::is_ascii_digit).count();
    if length == 0 {
        return None;
    }
    let (fraction, rest) = rest.split_at(length);
    let millis: i64 = format!("{fraction:0<3}").get(..3)?.parse().ok()?;
    Some((Span::from_millis(millis), rest))
}

/// `Z` or `+01:00`, as the time that local clocks are ahead of UTC.
fn parse_offset(text: &str) -> Option<Span> {
    if text == "Z" || text == "z" {
        return Some(Span::ZERO);
    }
    let sign = match text.chars().next()? {
        '+' => 1,
        '-' => -1,
        _ => return None,
    };
    let hours: i64 = digits(text, 1..3)?;
    let minutes: i64 = digits(text, 4..6)?;
    let is_offset = text.len() == 6 && text.as_bytes()[3] == b':' && hours < 24 && minutes < 60;
    is_offset.then_some(Span::from_mins(sign * (60 * hours + minutes)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str) -> String {
        parse_rfc3339(text).map_or("no time".into(), |at| at.to_string())
    }

    #[test]
    fn offsets_and_fractions() {
        assert_eq!(shown("2026-03-02T05:00:00.250000Z"), "2026-03-02T05:00:00.250Z");
        assert_eq!(shown("2026-03-02T06:00:00.2+01:00"), "2026-03-02T05:00:00.200Z");
        assert_eq!(shown("2026-03-02 05:00:00Z"), "2026-03-02T05:00:00Z");
        assert_eq!(shown("1969-12-31T23:59:59.9999Z"), "1969-12-31T23:59:59.999Z");
    }

    #[test]
    fn the_times_of_the_rfc_are_read_and_nothing_else() {
        let cases: toml::Table = toml::from_str(include_str!("../tests/fixtures/rfc3339.toml")).unwrap();
        let of = |kind: &str| cases[kind].as_array().unwrap().iter().map(|case| case.as_table().unwrap());
        for case in of("valid") {
            let text = case["text"].as_str().unwrap();
            // Times before 1970 are cut off towards the past, as all are; these have no digits beyond the millisecond.
            let seconds: f64 = case["unix_seconds"].as_str().unwrap().parse().unwrap();
            let expected = Timestamp::from_secs_f64((seconds * 1000.0).round() / 1000.0);
            assert_eq!(parse_rfc3339(text), expected, "{text}");
        }
        for case in of("invalid") {
            let text = case["text"].as_str().unwrap();
            assert_eq!(parse_rfc3339(text), None, "{text}: {:?}", case["why"]);
        }
    }

    #[test]
    fn an_offset_without_colon_is_for_recordings_alone() {
        let text = "2026-03-02T06:00:00.250000+0100";
        assert_eq!(shown(text), "no time");
        assert_eq!(parse_recorded(text), parse_rfc3339("2026-03-02T05:00:00.250Z"));
        assert_eq!(parse_recorded("2026-03-02T05:00:00Z"), parse_rfc3339("2026-03-02T05:00:00Z"));
        assert_eq!(parse_recorded("2026-03-02T05:00:00"), None);
    }

    #[test]
    fn letters_of_several_bytes_do_no_harm() {
        assert_eq!(shown("2026-03-02T05:00:0é"), "no time");
        assert_eq!(parse_recorded("2026-03-02T05:00:00+é00"), None);
    }
}
