//! A bare number as text.

/// What a bare payload says: a finite value, or `None` for a `missing` reading.
///
/// # Errors
/// A plain sentence if it is any other text.
pub(crate) fn parse(payload: &[u8]) -> Result<Option<f64>, String> {
    let text =
        std::str::from_utf8(payload).map_err(|_| "the payload is neither a number nor text".to_owned())?;
    let text = text.trim_ascii();
    if text.is_empty() || text == "null" {
        return Ok(None);
    }
    // Rust's own grammar takes what we want and no more: a decimal number, or nan, inf and infinity in any case.
    match text.parse::<f64>() {
        Ok(value) => Ok(Some(value).filter(|value| value.is_finite())),
        Err(_) => Err(other_text(text)),
    }
}

fn other_text(text: &str) -> String {
    if text.starts_with('{') {
        return "a JSON object is neither a bare number nor a SenML pack, which is a list; a [[source]] in the plant \
                file can point to the value in it"
            .to_owned();
    }
    let shown: String = text.chars().take(40).collect();
    if shown.replace(',', ".").parse::<f64>().is_ok() {
        return format!("`{shown}` has a decimal comma; send it with a point");
    }
    format!("`{shown}` is not a number; send a bare number such as 31.24, or a SenML pack")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read() {
        for (text, value) in
            [("31.24", 31.24), (" 31.24\r\n", 31.24), ("-0.5", -0.5), ("+3e1", 30.0), ("0", 0.0)]
        {
            assert_eq!(parse(text.as_bytes()), Ok(Some(value)), "{text}");
        }
    }

    #[test]
    fn what_the_contract_calls_missing_is_missing() {
        for text in ["nan", "NaN", "-nan", "inf", "-Inf", "INFINITY", "null", "", "  ", "1e400"] {
            assert_eq!(parse(text.as_bytes()), Ok(None), "{text}");
        }
    }

    #[test]
    fn any_other_text_is_told() {
        assert_eq!(parse(b"31,24"), Err("`31,24` has a decimal comma; send it with a point".into()));
        assert_eq!(
            parse(b"warm"),
            Err("`warm` is not a number; send a bare number such as 31.24, or a SenML pack".into())
        );
        assert!(parse(b"{\"value\":31}").unwrap_err().contains("[[source]]"));
        assert!(parse(b"\xff\xfe").unwrap_err().contains("neither a number nor text"));
        for text in ["NULL", "31.24 C", "0x1f", "1_000", "true", "--1", "31 24"] {
            assert!(parse(text.as_bytes()).is_err(), "{text}");
        }
    }
}
