//! A JSON pointer (RFC 6901) followed into a document, one level at a time.
//!
//! Each level keeps the text of the one value that the pointer goes through, so a document of any depth and size costs no
//! more than its own bytes. The whole document is checked to be JSON on the way. Of a name that is there twice the last
//! one counts.

use std::borrow::Cow;
use std::fmt;

use serde::de::{Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor};
use serde_json::value::RawValue;

/// What stands where the pointer points.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Pointed<'d> {
    Null,
    Boolean(bool),
    /// As it was written.
    Number(&'d str),
    Text(Cow<'d, str>),
    /// A list or an object.
    Structure,
}

impl fmt::Display for Pointed<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Pointed::Null => f.write_str("null"),
            Pointed::Boolean(on) => write!(f, "{on}"),
            Pointed::Number(text) => f.write_str(text),
            Pointed::Text(text) => write!(f, "\"{text}\""),
            Pointed::Structure => f.write_str("a list or an object"),
        }
    }
}

/// Follows `pointer` into `document`.
///
/// # Errors
/// A plain sentence if the document is not JSON, or has nothing there.
pub(crate) fn find<'d>(document: &'d str, pointer: &str) -> Result<Pointed<'d>, String> {
    let whole: &RawValue = serde_json::from_str(document).map_err(|error| not_json(&error))?;
    let mut raw = whole;
    // A pointer is empty or begins with a slash (section 3): what stands before the first one is nothing.
    for token in pointer.split('/').skip(1) {
        // The order matters: `~01` is `~1` and no slash (section 4).
        let token = token.replace("~1", "/").replace("~0", "~");
        raw = step(raw, &token)?.ok_or_else(|| format!("there is nothing at `{pointer}` in the payload"))?;
    }
    pointed(raw)
}

fn not_json(error: &serde_json::Error) -> String {
    format!("the payload is not JSON ({error})")
}

/// One level down; `None` if there is nothing.
fn step<'d>(raw: &'d RawValue, token: &str) -> Result<Option<&'d RawValue>, String> {
    let mut deserializer = serde_json::Deserializer::from_str(raw.get());
    let child = match raw.get().as_bytes().first() {
        Some(b'{') => deserializer.deserialize_map(Member(token)),
        Some(b'[') => match index(token) {
            Some(index) => deserializer.deserialize_seq(Element(index)),
            None => return Ok(None),
        },
        _ => return Ok(None),
    };
    child.map_err(|error| not_json(&error))
}

/// A place in a list: digits without a leading zero (section 4). `-`, the place after the last, is always empty.
fn index(token: &str) -> Option<usize> {
    let is_plain =
        token.bytes().all(|byte| byte.is_ascii_digit()) && (token == "0" || !token.starts_with('0'));
    is_plain.then(|| token.parse().ok()).flatten()
}

fn pointed(raw: &RawValue) -> Result<Pointed<'_>, String> {
    let text = raw.get();
    Ok(match text.as_bytes().first() {
        Some(b'n') => Pointed::Null,
        Some(b't') => Pointed::Boolean(true),
        Some(b'f') => Pointed::Boolean(false),
        Some(b'"') => match serde_json::from_str::<&str>(text) {
            Ok(borrowed) => Pointed::Text(borrowed.into()),
            Err(_) => {
                Pointed::Text(serde_json::from_str::<String>(text).map_err(|error| not_json(&error))?.into())
            }
        },
        Some(b'{' | b'[') => Pointed::Structure,
        _ => Pointed::Number(text),
    })
}

/// Takes one member of an object.
struct Member<'t>(&'t str);

impl<'de> Visitor<'de> for Member<'_> {
    type Value = Option<&'de RawValue>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an object")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
        let mut found = None;
        while let Some(name) = map.next_key::<String>()? {
            let value: &'de RawValue = map.next_value()?;
            if name == self.0 {
                found = Some(value);
            }
        }
        Ok(found)
    }
}

/// Takes one element of a list.
struct Element(usize);

impl<'de> Visitor<'de> for Element {
    type Value = Option<&'de RawValue>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a list")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Self::Value, A::Error> {
        for _ in 0..self.0 {
            if list.next_element::<IgnoredAny>()?.is_none() {
                return Ok(None);
            }
        }
        let found = list.next_element()?;
        while list.next_element::<IgnoredAny>()?.is_some() {}
        Ok(found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The document of RFC 6901, section 5.
    const RFC: &str =
        r#"{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}"#;

    fn found(document: &str, pointer: &str) -> String {
        find(document, pointer).map_or_else(|says| says, |pointed| pointed.to_string())
    }

    #[test]
    fn pointers_find_what_rfc_6901_prints() {
        let places = [
            ("", "a list or an object"),
            ("/foo", "a list or an object"),
            ("/foo/0", "\"bar\""),
            ("/", "0"),
            ("/a~1b", "1"),
            ("/c%d", "2"),
            ("/e^f", "3"),
            ("/g|h", "4"),
            ("/i\\j", "5"),
            ("/k\"l", "6"),
            ("/ ", "7"),
            ("/m~0n", "8"),
        ];
        for (pointer, expected) in places {
            assert_eq!(found(RFC, pointer), expected, "{pointer}");
        }
    }

    #[test]
    fn what_is_not_there_is_told() {
        for pointer in [
            "/foo/2",
            "/foo/-",
            "/foo/01",
            "/foo/+1",
            "/foo/99999999999999999999",
            "/bar",
            "/a~1b/0",
            "/foo/0/0",
        ] {
            assert_eq!(found(RFC, pointer), format!("there is nothing at `{pointer}` in the payload"));
        }
        assert_eq!(found(r#"{"~1":5,"/":6}"#, "/~01"), "5", "section 4: first ~1, then ~0");
        assert_eq!(found(r#"{"a":1,"a":2}"#, "/a"), "2", "the last one counts");
        assert_eq!(found("31.25", ""), "31.25", "the whole document");
        assert!(found("{", "/a").starts_with("the payload is not JSON"));
        assert!(found(r#"{"a":1} x"#, "/a").starts_with("the payload is not JSON"));
        assert!(found(r#"{"a":"\ud800"}"#, "/a").starts_with("the payload is not JSON"));
    }

    #[test]
    fn a_deep_document_is_walked_and_not_built() {
        let deep = format!("{}1{}", "[".repeat(200_000), "]".repeat(200_000));
        assert_eq!(found(&deep, "/0/0"), "a list or an object");
    }
}
