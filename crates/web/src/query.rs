//! The part of an address behind the `?`, read with a sentence for each mistake.
//!
//! A parameter that is not known, stands twice, is missing or cannot be read is refused: a typing error that is
//! silently passed over gives a wrong answer that looks right.

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use std::convert::Infallible;
use std::fmt::Display;
use std::str::FromStr;

use model::Timestamp;

use crate::problem::Problem;

const A_TIME: &str = "a time such as 2026-03-02T05:00:00Z";

/// The parameters of a request, or the fields of a form, not yet looked at.
#[derive(Debug, Default)]
pub(crate) struct Params(Vec<(String, String)>);

impl<S: Sync> FromRequestParts<S> for Params {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _state: &S) -> Result<Params, Infallible> {
        Ok(Params::parse(parts.uri.query().unwrap_or_default()))
    }
}

impl Params {
    /// Reads `a=1&b=2`, as queries and forms write it.
    pub(crate) fn parse(text: &str) -> Params {
        Params(form_urlencoded::parse(text.as_bytes()).into_owned().collect())
    }

    /// The fields of a form that has been taken apart already.
    pub(crate) fn of(fields: Vec<(String, String)>) -> Params {
        Params(fields)
    }

    /// Refuses every name that is not in `known`, and every name that stands twice.
    pub(crate) fn only(&self, known: &[&str]) -> Result<(), Problem> {
        for (place, (name, _)) in self.0.iter().enumerate() {
            if !known.contains(&name.as_str()) {
                let list = if known.is_empty() { "none".to_owned() } else { known.join(", ") };
                let sentence =
                    format!("The parameter `{name}` is not known here; this address takes {list}.");
                return Err(Problem::bad_request("unknown-parameter", sentence));
            }
            if self.0[..place].iter().any(|(earlier, _)| earlier == name) {
                let sentence = format!("The parameter `{name}` stands twice; give it once.");
                return Err(Problem::bad_request("repeated-parameter", sentence));
            }
        }
        Ok(())
    }

    /// Every name with its text, those without one left out.
    pub(crate) fn pairs(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0
            .iter()
            .map(|(name, value)| (name.as_str(), value.trim()))
            .filter(|(_, value)| !value.is_empty())
    }

    /// The text of `name`, without blanks around it; an empty one counts as not given.
    pub(crate) fn text(&self, name: &str) -> Option<&str> {
        let (_, value) = self.0.iter().find(|(given, _)| given == name)?;
        Some(value.trim()).filter(|value| !value.is_empty())
    }

    /// The text of `name` to the last blank, as a password is typed.
    pub(crate) fn exact(&self, name: &str) -> Option<&str> {
        self.0.iter().find(|(given, _)| given == name).map(|(_, value)| value.as_str())
    }

    /// The value of `name`, if it is given.
    pub(crate) fn optional<T: FromStr>(
        &self,
        name: &str,
        should_be: impl Display,
    ) -> Result<Option<T>, Problem> {
        self.text(name).map(|text| text.parse().map_err(|_| wrong(name, text, should_be))).transpose()
    }

    /// The value of `name`, which must be given.
    pub(crate) fn required<T: FromStr>(&self, name: &str, should_be: impl Display) -> Result<T, Problem> {
        match self.text(name) {
            Some(text) => text.parse().map_err(|_| wrong(name, text, should_be)),
            None => {
                let sentence = format!("The parameter `{name}` is missing; it should be {should_be}.");
                Err(Problem::bad_request("missing-parameter", sentence))
            }
        }
    }

    /// The moment `name`, if it is given. The `+` of a zone offset arrives as a blank and is put back.
    pub(crate) fn moment(&self, name: &str) -> Result<Option<Timestamp>, Problem> {
        let Some(text) = self.text(name) else { return Ok(None) };
        let at = text.replace(' ', "+").parse().map_err(|_| wrong(name, text, A_TIME))?;
        Ok(Some(at))
    }

    /// A whole number from `least` to `most`, or `otherwise` if it is not given.
    pub(crate) fn count(
        &self,
        name: &str,
        least: usize,
        most: usize,
        otherwise: usize,
    ) -> Result<usize, Problem> {
        let should_be = format!("a whole number from {least} to {most}");
        match self.optional::<usize>(name, &should_be)? {
            None => Ok(otherwise),
            Some(n) if (least..=most).contains(&n) => Ok(n),
            Some(n) => Err(wrong(name, &n.to_string(), should_be)),
        }
    }
}

/// `name` holds `text`, but it should be something else.
pub(crate) fn wrong(name: &str, text: &str, should_be: impl Display) -> Problem {
    /// Enough to recognise what was typed, short enough for a line.
    const SHOWN: usize = 60;
    let shown: String = text.chars().take(SHOWN).collect();
    Problem::bad_request(
        "bad-parameter",
        format!("The parameter `{name}` is `{shown}`; it should be {should_be}."),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sentence<T: std::fmt::Debug>(result: Result<T, Problem>) -> String {
        result.unwrap_err().sentence
    }

    #[test]
    fn each_mistake_has_its_sentence() {
        let params = Params::parse("from=yesterday&points=0&colour=red&from=today");
        assert_eq!(
            sentence(params.only(&["from", "points"])),
            "The parameter `colour` is not known here; this address takes from, points."
        );
        assert_eq!(
            sentence(params.only(&["from", "points", "colour"])),
            "The parameter `from` stands twice; give it once."
        );
        assert_eq!(
            sentence(params.moment("from")),
            "The parameter `from` is `yesterday`; it should be a time such as 2026-03-02T05:00:00Z."
        );
        assert_eq!(
            sentence(params.count("points", 2, 10_000, 2_000)),
            "The parameter `points` is `0`; it should be a whole number from 2 to 10000."
        );
        assert_eq!(
            sentence(params.required::<String>("machine", "the id of a machine")),
            "The parameter `machine` is missing; it should be the id of a machine."
        );
    }

    #[test]
    fn a_zone_offset_may_be_written_with_a_plain_plus() {
        let at = Params::parse("from=2026-03-02T07:00:00+02:00").moment("from").unwrap().unwrap();
        assert_eq!(at.to_string(), "2026-03-02T05:00:00Z");
    }

    #[test]
    fn blanks_and_escapes_are_taken_off() {
        let params = Params::parse("by=%20ana+m%20&lot=");
        assert_eq!(params.text("by"), Some("ana m"));
        assert_eq!(params.text("lot"), None);
    }
}
