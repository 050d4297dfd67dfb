//! One line of a recorded stream.
//!
//! The payload stands there as JSON (`%J`) or as a string (`%j`). A number keeps the text that its sender wrote (`31.240`,
//! `1e400`), so that a replay sends the same bytes.

use std::borrow::Cow;

use model::Timestamp;
use serde::Deserialize;
use serde_json::value::RawValue;

use crate::Message;
use crate::rfc3339::parse_recorded;

/// The fields that we use; a recorder may write more.
#[derive(Deserialize)]
struct Fields<'l> {
    #[serde(borrow)]
    tst: Option<Cow<'l, str>>,
    #[serde(borrow)]
    topic: Option<Cow<'l, str>>,
    #[serde(borrow)]
    retain: Option<&'l RawValue>,
    payloadlen: Option<usize>,
    #[serde(borrow)]
    payload: Option<&'l RawValue>,
}

/// When the message of a line arrived; `None` if the line does not say. Of a line that begins with its time, as those of the
/// stock subscriber do, nothing else is looked at.
pub(crate) fn arrival(line: &[u8]) -> Option<Timestamp> {
    const FIRST: &[u8] = br#"{"tst":""#;
    let tst = line.strip_prefix(FIRST).and_then(|rest| rest.split(|byte| *byte == b'"').next());
    let first = tst.and_then(|tst| parse_recorded(std::str::from_utf8(tst).ok()?));
    first.or_else(|| parse(line).ok().map(|message| message.arrived))
}

/// Reads a line.
///
/// # Errors
/// A plain sentence that says what is wrong with it.
pub(crate) fn parse(line: &[u8]) -> Result<Message, String> {
    let line = line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line);
    let text = std::str::from_utf8(line).map_err(|_| "this is not text in UTF-8".to_owned())?;
    let fields: Fields<'_> =
        serde_json::from_str(text).map_err(|error| format!("this is not a recorded message ({error})"))?;
    let tst = fields.tst.ok_or("the arrival time `tst` is missing")?;
    let arrived = parse_recorded(&tst).ok_or_else(|| {
        format!("`tst` is `{tst}`, which is not a time such as 2026-03-02T05:00:00.250000Z")
    })?;
    let topic = fields.topic.filter(|topic| !topic.is_empty()).ok_or("the `topic` is missing")?;
    Ok(Message {
        topic: topic.into_owned(),
        payload: payload_bytes(fields.payload.map_or("null", RawValue::get), fields.payloadlen),
        arrived,
        retained: matches!(fields.retain.map(RawValue::get), Some("1" | "true")),
    })
}

/// The bytes that were sent. A string is the payload itself, unless the length says that its quotes were sent too; a
/// `null` is the word, unless the length says that nothing was sent.
fn payload_bytes(raw: &str, length: Option<usize>) -> Vec<u8> {
    if raw == "null" && matches!(length, None | Some(0)) {
        return Vec::new();
    }
    match serde_json::from_str::<String>(raw) {
        Ok(text) if length == Some(raw.len()) && length != Some(text.len()) => raw.as_bytes().to_vec(),
        Ok(text) => text.into_bytes(),
        Err(_) => raw.as_bytes().to_vec(),
    }
}

/// Writes a message as one line, without its end, as `%J` does: the payload as JSON where it is JSON, and as a string
/// where it is not. Bytes that are not UTF-8 cannot be written and become replacement characters.
pub fn line(message: &Message) -> String {
    let text = String::from_utf8_lossy(&message.payload);
    let payload = match text.as_ref() {
        "" => "null".to_owned(),
        text if is_json_on_one_line(text) => text.to_owned(),
        text => json_string(text),
    };
    format!(
        r#"{{"tst":"{:.6}","topic":{},"qos":1,"retain":{},"payloadlen":{},"payload":{payload}}}"#,
        message.arrived.to_jiff(),
        json_string(&message.topic),
        u8::from(message.retained),
        text.len(),
    )
}

/// Can `text` stand in the line as it is, and be found there again byte for byte?
fn is_json_on_one_line(text: &str) -> bool {
    text.trim_ascii().len() == text.len()
        && !text.contains(['\n', '\r'])
        && serde_json::from_str::<&RawValue>(text).is_ok()
}

fn json_string(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn payload(fields: &str) -> String {
        let text = format!(r#"{{"tst":"2026-03-02T05:00:00Z","topic":"works/alder/chocolate",{fields}}}"#);
        let message = parse(text.as_bytes()).expect("a good line");
        String::from_utf8(message.payload).expect("text")
    }

    #[test]
    fn the_contracts_line_is_read() {
        let text = r#"{"tst":"2026-03-02T05:00:00.250000Z","topic":"works/alder/chocolate","qos":1,"retain":0,"payloadlen":5,"payload":45.02}"#;
        let message = parse(text.as_bytes()).unwrap();
        assert_eq!(message.arrived.to_string(), "2026-03-02T05:00:00.250Z");
        assert_eq!((message.topic.as_str(), message.retained), ("works/alder/chocolate", false));
        assert_eq!(message.payload, b"45.02");
        assert_eq!(line(&message), text);
    }

    #[test]
    fn payloads_of_each_kind_keep_their_text() {
        assert_eq!(payload(r#""payload":31.240,"payloadlen":6"#), "31.240");
        assert_eq!(payload(r#""payload":1e400"#), "1e400");
        assert_eq!(
            payload(r#""payload":[{"n":"a/chocolate","v":3.10}]"#),
            r#"[{"n":"a/chocolate","v":3.10}]"#
        );
        assert_eq!(payload(r#""payload":{"event":"end"}"#), r#"{"event":"end"}"#);
        assert_eq!(payload(r#""payload":"31.24","payloadlen":5"#), "31.24");
        assert_eq!(payload(r#""payload":"{\"event\":\"end\"}""#), r#"{"event":"end"}"#);
        assert_eq!(payload(r#""payload":"warm","payloadlen":6"#), "\"warm\"");
        assert_eq!(payload(r#""payload":null,"payloadlen":4"#), "null");
    }

    #[test]
    fn lines_as_the_stock_subscriber_prints_them() {
        // Printed by mosquitto_sub 2.0.11 with %J and %j, one minute apart at most, in the time zones that they show.
        for (text, at, payload) in [
            (
                r#"{"tst":"2026-11-25T10:57:50.303665Z+0000","topic":"works/alder/chocolate","qos":0,"retain":0,"payloadlen":2,"payload":31}"#,
                "2026-11-25T10:57:50.303Z",
                "31",
            ),
            (
                r#"{"tst":"2026-11-25T05:27:50.303580Z-0530","topic":"works/alder/chocolate","qos":0,"retain":0,"payloadlen":2,"payload":31}"#,
                "2026-11-25T10:57:50.303Z",
                "31",
            ),
            (
                r#"{"tst":"2026-11-25T11:57:50.303223Z+0100","topic":"works/alder/chocolate","qos":0,"retain":0,"payloadlen":2,"payload":31}"#,
                "2026-11-25T10:57:50.303Z",
                "31",
            ),
            (
                r#"{"tst":"2026-11-25T10:57:07.938740Z+0000","topic":"works/alder/chocolate","qos":0,"retain":0,"payloadlen":4,"payload":"31"}"#,
                "2026-11-25T10:57:07.938Z",
                "\"31\"",
            ),
            (
                r#"{"tst":"2026-11-25T10:57:07.938526Z+0000","topic":"works/alder/chocolate","qos":0,"retain":0,"payloadlen":4,"payload":"\"31\""}"#,
                "2026-11-25T10:57:07.938Z",
                "\"31\"",
            ),
            (
                r#"{"tst":"2026-11-25T10:57:07.964579Z+0000","topic":"works/alder/chocolate","qos":0,"retain":0,"payloadlen":3,"payload":" 5 "}"#,
                "2026-11-25T10:57:07.964Z",
                " 5 ",
            ),
            (
                r#"{"tst":"2026-11-25T10:57:07.980671Z+0000","topic":"works/alder/chocolate","qos":0,"retain":0,"payloadlen":0,"payload":null}"#,
                "2026-11-25T10:57:07.980Z",
                "",
            ),
            // A number that is too large for it (1e400) is printed as null, and stays without value.
            (
                r#"{"tst":"2026-11-25T10:57:07.920554Z+0000","topic":"works/alder/chocolate","qos":0,"retain":0,"payloadlen":5,"payload":null}"#,
                "2026-11-25T10:57:07.920Z",
                "null",
            ),
        ] {
            let message = parse(text.as_bytes()).expect(text);
            assert_eq!(message.arrived.to_string(), at, "{text}");
            assert_eq!(String::from_utf8(message.payload).unwrap(), payload, "{text}");
        }
    }

    #[test]
    fn no_payload_is_an_empty_one() {
        assert_eq!(payload(r#""payload":null,"payloadlen":0"#), "");
        assert_eq!(payload(r#""payloadlen":0"#), "");
        assert_eq!(payload(r#""payload":"""#), "");
    }

    #[test]
    fn times_with_an_offset_and_the_retain_mark() {
        for (tst, shown) in [
            ("2026-03-02T05:00:00.250000+0000", "2026-03-02T05:00:00.250Z"),
            ("2026-03-02T06:00:00+0100", "2026-03-02T05:00:00Z"),
            ("2026-03-02T06:00:00+01:00", "2026-03-02T05:00:00Z"),
        ] {
            let text = format!(r#"{{"tst":"{tst}","topic":"a","retain":1,"payload":1}}"#);
            let message = parse(text.as_bytes()).unwrap();
            assert_eq!((message.arrived.to_string().as_str(), message.retained), (shown, true));
        }
    }

    #[test]
    fn what_is_wrong_with_a_line_is_told() {
        let told = |text: &str| parse(text.as_bytes()).unwrap_err();
        assert!(told("hello").starts_with("this is not a recorded message ("));
        assert!(told(r#"{"tst":5,"topic":"a"}"#).starts_with("this is not a recorded message ("));
        assert_eq!(told(r#"{"topic":"a"}"#), "the arrival time `tst` is missing");
        assert_eq!(told(r#"{"tst":"2026-03-02T05:00:00Z"}"#), "the `topic` is missing");
        assert_eq!(
            told(r#"{"tst":"2026-03-02T05:00:00","topic":"a"}"#),
            "`tst` is `2026-03-02T05:00:00`, which is not a time such as 2026-03-02T05:00:00.250000Z"
        );
        assert_eq!(parse(b"\xff").unwrap_err(), "this is not text in UTF-8");
    }

    proptest! {
        #[test]
        fn a_line_that_we_wrote_gives_the_same_message(
            topic in ".{1,20}",
            payload in prop_oneof![".{0,20}", "[ \n\"\\\\]{0,6}", "-?[0-9]{1,4}(\\.[0-9]{1,4})?", Just("null".to_owned()), Just("[1,\n2]".to_owned())],
            millis in 0i64..4_000_000_000_000,
            retained: bool,
        ) {
            let message =
                Message { topic, payload: payload.into_bytes(), arrived: Timestamp::from_millis(millis), retained };
            let written = line(&message);
            prop_assert!(!written.contains('\n'));
            prop_assert_eq!(parse(written.as_bytes()), Ok(message));
        }

        #[test]
        fn any_bytes_are_read_or_told(bytes: Vec<u8>, text in r#"\{("tst"|"topic"|"payload"|:|,|"a"|1|null|\[|\]|\}| ){0,20}"#) {
            let _ = parse(&bytes);
            let _ = parse(text.as_bytes());
        }
    }
}
