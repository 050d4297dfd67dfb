//! JSON in which `NaN` and `Infinity` may stand for a value.
//!
//! JSON has no such words, yet common libraries write them when a probe gives nothing. They become `null`, so that the
//! record is a `missing` reading and not a payload that nobody can read: a broken probe has to be seen as one.

use std::borrow::Cow;

const WORDS: [&str; 3] = ["-Infinity", "Infinity", "NaN"];

/// `text` with `null` for each such word outside strings.
pub(crate) fn with_null_for_nan(text: &str) -> Cow<'_, str> {
    if !WORDS.iter().any(|word| text.contains(word)) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let taken = if first == '"' {
            string_length(rest)
        } else if let Some(word) = WORDS.iter().find(|word| rest.starts_with(**word)) {
            out.push_str("null");
            rest = &rest[word.len()..];
            continue;
        } else {
            first.len_utf8()
        };
        out.push_str(&rest[..taken]);
        rest = &rest[taken..];
    }
    Cow::Owned(out)
}

/// The bytes of the string literal at the start of `text`, quotes included; all of them if it has no end.
fn string_length(text: &str) -> usize {
    let mut is_escaped = false;
    for (place, byte) in text.bytes().enumerate().skip(1) {
        match byte {
            _ if is_escaped => is_escaped = false,
            b'\\' => is_escaped = true,
            b'"' => return place + 1,
            _ => {}
        }
    }
    text.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_become_null_outside_strings_only() {
        assert_eq!(with_null_for_nan(r#"[{"v":NaN},{"v":-Infinity}]"#), r#"[{"v":null},{"v":null}]"#);
        assert_eq!(with_null_for_nan(r#"{"n":"NaN\"NaN","v":NaN}"#), r#"{"n":"NaN\"NaN","v":null}"#);
        assert_eq!(with_null_for_nan(r#"["NaN é"#), r#"["NaN é"#);
        assert!(matches!(with_null_for_nan(r#"[{"v":1}]"#), Cow::Borrowed(_)));
    }
}
