//! Sentences from elsewhere, in the reader's degrees.
//!
//! Findings and statements are written in °C, once, when they are made, and kept that way. A reader of °F gets the
//! same sentence with its temperatures turned. A number before `°C` is a temperature, unless the words say that it is a
//! difference: `by 0.4 °C`, `a dip of 3.1 °C`, `0.1 °C/min`. Of a range both numbers are turned.
//!
//! Never touches a figure without `°C` behind it, and never used for days and weeks: `(+1.2 °C)` and `4.1 °C above its
//! usual course` are differences that no word marks as one.

use charts::Degrees;

use crate::words::tied;

const UNIT: &str = "°C";

/// Words before a small number that make it a difference.
const OF_A_DIFFERENCE: [&str; 6] = ["of", "than", "least", "within", "about", "another"];

/// No chocolate and no room of a works is colder, so that a smaller number behind such a word is a difference.
const SMALLEST_TEMPERATURE: f64 = 12.0;

/// The sentence in `degrees`, with its numbers tied to their units.
pub(crate) fn in_degrees(sentence: &str, degrees: Degrees) -> String {
    match degrees {
        Degrees::Celsius => tied(sentence),
        Degrees::Fahrenheit => tied(&turned(sentence, degrees)),
    }
}

fn turned(sentence: &str, degrees: Degrees) -> String {
    let mut out = String::with_capacity(sentence.len() + 8);
    let mut rest = sentence;
    while let Some(place) = rest.find(UNIT) {
        let (before, behind) = (&rest[..place], &rest[place + UNIT.len()..]);
        out.push_str(&turned_before(before, behind, degrees));
        out.push_str(degrees.unit());
        rest = behind;
    }
    out + rest
}

/// `before` with the number at its end turned, and the first one of a range.
fn turned_before(before: &str, behind: &str, degrees: Degrees) -> String {
    let Some(number) = Number::at_end_of(before) else { return before.to_owned() };
    let word = number.before.split_whitespace().next_back().unwrap_or_default();
    let is_small = number.value.abs() < SMALLEST_TEMPERATURE;
    let is_difference = behind.starts_with(['/', '·'])
        || word == "by"
        || (is_small && OF_A_DIFFERENCE.contains(&word.trim_start_matches('(')));
    if is_difference {
        return number.replaced(degrees.of_difference(number.value));
    }
    let turned = number.replaced(degrees.of(number.value));
    let joint = ["–", "…", " to ", " and "].into_iter().find(|joint| number.before.ends_with(joint));
    let Some((joint, first)) = joint.and_then(|joint| {
        let first = Number::at_end_of(number.before.strip_suffix(joint)?)?;
        // `at 05:10 and 31.4 °C` is no range.
        (!first.before.ends_with(':')).then_some((joint, first))
    }) else {
        return turned;
    };
    let second = &turned[number.before.len()..];
    format!("{}{joint}{second}", first.replaced(degrees.of(first.value)))
}

/// A number at the end of a text.
struct Number<'t> {
    before: &'t str,
    value: f64,
    decimals: usize,
    /// Blanks between it and the end.
    gap: &'t str,
}

impl<'t> Number<'t> {
    fn at_end_of(text: &'t str) -> Option<Number<'t>> {
        let digits = text.trim_end_matches([' ', '\u{a0}']);
        let bare = digits.trim_end_matches(|c: char| c.is_ascii_digit() || c == '.');
        let unsigned = &digits[bare.len()..];
        let before = bare
            .strip_suffix(['-', '−'])
            .filter(|left| left.is_empty() || left.ends_with([' ', '(']))
            .unwrap_or(bare);
        let sign = if before.len() < bare.len() { -1.0 } else { 1.0 };
        let value: f64 = unsigned.parse().ok()?;
        let decimals = unsigned.split_once('.').map_or(0, |(_, digits)| digits.len());
        Some(Number { before, value: sign * value, decimals, gap: &text[digits.len()..] })
    }

    fn replaced(&self, value: f64) -> String {
        format!("{}{value:.*}{}", self.before, self.decimals, self.gap)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(sentence: &str) -> String {
        in_degrees(sentence, Degrees::Fahrenheit).replace('\u{a0}', " ")
    }

    #[test]
    fn temperatures_are_turned_and_differences_keep_their_zero() {
        for (written, read_as) in [
            (
                "The chocolate stands at 32.8 °C, half a degree above its working range (31.0–32.0 °C).",
                "The chocolate stands at 91.0 °F, half a degree above its working range (87.8–89.6 °F).",
            ),
            (
                "The hold has moved up by 0.4 °C, from 31.4 to 31.8 °C.",
                "The hold has moved up by 0.7 °F, from 88.5 to 89.2 °F.",
            ),
            ("a dip of 3.1 °C with a scatter of 0.08 °C", "a dip of 5.6 °F with a scatter of 0.14 °F"),
            ("above its scorch limit of 55.0 °C", "above its scorch limit of 131.0 °F"),
            ("It went 0.10 °C/min, 1.4 °C·min in all.", "It went 0.18 °F/min, 2.5 °F·min in all."),
            (
                "The jacket is at 9.5 °C. The probe shows −12 °C.",
                "The jacket is at 49.1 °F. The probe shows 10 °F.",
            ),
            ("No °C stands here alone, and 25 min stay.", "No °F stands here alone, and 25 min stay."),
        ] {
            assert_eq!(read(written), read_as);
        }
    }

    #[test]
    fn a_reader_of_celsius_gets_the_sentence_as_it_was_written() {
        assert_eq!(in_degrees("by 0.4 °C", Degrees::Celsius), "by 0.4\u{a0}°C");
    }
}
