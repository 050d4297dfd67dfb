//! A value and its time in plain JSON, found by pointers (RFC 6901) from a `[[source]]` of the plant file.
//!
//! The document is walked and never built: only what the pointers name is looked at, as the text that its sender wrote,
//! so that a number too large for a float (`1e400`) is a value that is not finite, and so `missing`, as in a SenML pack.

mod pointer;

use model::{Channel, Timestamp};
use plant::{JsonTime, JsonValue, TimeFormat};

use crate::bare;
use crate::json_source::pointer::{Pointed, find};
use crate::lenient_json::with_null_for_nan;
use crate::rfc3339::parse_rfc3339;

/// A wrong value is shown as far as this.
const SHOWN_CHARS: usize = 40;

/// What the pointers found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Found {
    /// `None` is a `missing` reading.
    pub(crate) value: Option<f64>,
    /// `None` where the source names no time.
    pub(crate) at: Option<Timestamp>,
}

/// Reads `payload` as the source says.
///
/// # Errors
/// A plain sentence if it is not JSON, or nothing that we can use is where the pointers point.
pub(crate) fn read(payload: &[u8], json: &JsonValue, channel: Channel) -> Result<Found, String> {
    let text = std::str::from_utf8(payload).map_err(|_| "the payload is not text in UTF-8".to_owned())?;
    if text.trim_ascii().is_empty() {
        return Ok(Found { value: None, at: None });
    }
    let document = with_null_for_nan(text);
    let value = read_value(&document, json.value.as_str(), channel)?;
    let at = json.time.as_ref().map(|time| read_time(&document, time)).transpose()?;
    Ok(Found { value, at })
}

fn read_value(document: &str, pointer: &str, channel: Channel) -> Result<Option<f64>, String> {
    match find(document, pointer)? {
        Pointed::Null => Ok(None),
        Pointed::Boolean(on) if channel == Channel::Stirrer => Ok(Some(f64::from(u8::from(on)))),
        Pointed::Number(text) => bare::parse(text.as_bytes()),
        Pointed::Text(text) => bare::parse(text.as_bytes()),
        Pointed::Boolean(on) => Err(format!("at `{pointer}` stands {on}, not a number")),
        Pointed::Structure => Err(format!("at `{pointer}` stands a list or an object, not a number")),
    }
}

fn read_time(document: &str, time: &JsonTime) -> Result<Timestamp, String> {
    let pointer = time.pointer.as_str();
    let pointed = find(document, pointer)?;
    let text = match &pointed {
        Pointed::Number(text) => Some(*text),
        Pointed::Text(text) => Some(text.as_ref()),
        Pointed::Null | Pointed::Boolean(_) | Pointed::Structure => None,
    };
    let since_1970 = |per_second: f64| {
        let number: f64 = text?.trim().parse().ok()?;
        Timestamp::from_secs_f64(number / per_second)
    };
    let at = match time.format {
        TimeFormat::Rfc3339 => text.and_then(parse_rfc3339),
        TimeFormat::UnixSeconds => since_1970(1.0),
        TimeFormat::UnixMillis => since_1970(1000.0),
    };
    at.ok_or_else(|| {
        let shown: String = pointed.to_string().chars().take(SHOWN_CHARS).collect();
        format!("at `{pointer}` stands {shown}, which is not a time in the form {}", time.format.as_str())
    })
}

#[cfg(test)]
mod tests {
    use plant::JsonPointer;

    use super::*;

    fn found(
        payload: &str,
        value: &str,
        time: Option<(&str, TimeFormat)>,
    ) -> Result<(Option<f64>, String), String> {
        let pointer = |text| JsonPointer::parse(text).expect("a pointer");
        let time = time.map(|(text, format)| JsonTime { pointer: pointer(text), format });
        let found = read(payload.as_bytes(), &JsonValue { value: pointer(value), time }, Channel::Stirrer)?;
        Ok((found.value, found.at.map_or("-".into(), |at| at.to_string())))
    }

    #[test]
    fn pointers_find_what_rfc_6901_says() {
        // The document and results of RFC 6901, section 5, as far as they are numbers.
        let document =
            r#"{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}"#;
        let places = ["/", "/a~1b", "/c%d", "/e^f", "/g|h", "/i\\j", "/k\"l", "/ ", "/m~0n"];
        for (number, pointer) in places.into_iter().enumerate() {
            assert_eq!(found(document, pointer, None), Ok((Some(number as f64), "-".into())), "{pointer}");
        }
        assert_eq!(
            found(document, "/foo/2", None),
            Err("there is nothing at `/foo/2` in the payload".into())
        );
    }

    #[test]
    fn times_are_read_in_each_format() {
        for (time, format) in [
            (r#""2026-03-02T05:00:00Z""#, TimeFormat::Rfc3339),
            ("1772427600", TimeFormat::UnixSeconds),
            (r#""1772427600.0""#, TimeFormat::UnixSeconds),
            ("1772427600000", TimeFormat::UnixMillis),
        ] {
            let payload = format!(r#"{{"v":45.5,"t":{time}}}"#);
            let at = "2026-03-02T05:00:00Z".to_owned();
            assert_eq!(found(&payload, "/v", Some(("/t", format))), Ok((Some(45.5), at)), "{time}");
        }
    }

    #[test]
    fn values_in_other_clothes() {
        let value = |payload: &str| found(payload, "/v", None).map(|(value, _)| value);
        assert_eq!(value(r#"{"v":"45.5"}"#), Ok(Some(45.5)));
        assert_eq!(value(r#"{"v":null}"#), Ok(None));
        assert_eq!(value(r#"{"v":NaN}"#), Ok(None));
        assert_eq!(value(r#"{"v":true}"#), Ok(Some(1.0)));
        assert_eq!(value(""), Ok(None));
        assert!(value(r#"{"v":[1]}"#).unwrap_err().contains("a list or an object"));
        assert!(value("45.5 C").unwrap_err().starts_with("the payload is not JSON"));
    }

    #[test]
    fn a_time_that_is_none_is_told() {
        let told = found(r#"{"v":1,"t":"noon"}"#, "/v", Some(("/t", TimeFormat::Rfc3339))).unwrap_err();
        assert_eq!(told, "at `/t` stands \"noon\", which is not a time in the form rfc3339");
    }
}
