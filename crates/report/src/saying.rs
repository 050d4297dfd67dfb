//! Moments, lengths and lists as people say them, on the plant's own clock.

use jiff::tz::TimeZone;
use model::{Span, Timestamp};

/// `Mon 2 March 07:05`.
pub(crate) fn day_and_hour(at: Timestamp, zone: &TimeZone) -> String {
    zone.to_datetime(at.to_jiff()).strftime("%a %-d %B %H:%M").to_string()
}

/// `07:05`.
pub(crate) fn hour(at: Timestamp, zone: &TimeZone) -> String {
    zone.to_datetime(at.to_jiff()).strftime("%H:%M").to_string()
}

/// `07:05`, with the day where it is not the day of `beside`.
pub(crate) fn hour_beside(at: Timestamp, beside: Timestamp, zone: &TimeZone) -> String {
    let day = |at: Timestamp| zone.to_datetime(at.to_jiff()).date();
    if day(at) == day(beside) { hour(at, zone) } else { day_and_hour(at, zone) }
}

/// `45 s`, `25 min`, `2 h 10 min`; to the nearest minute from a minute on.
pub(crate) fn length(span: Span) -> String {
    let minutes = span.as_mins_f64().max(0.0);
    if minutes < 1.0 {
        return format!("{:.0} s", span.as_secs_f64().max(0.0));
    }
    let minutes = minutes.round() as i64;
    match (minutes / 60, minutes % 60) {
        (0, minutes) => format!("{minutes} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}

/// `temper loss` for `temper-loss`.
pub(crate) fn plain(word: &str) -> String {
    word.replace('-', " ")
}

/// `a`, `a and b`, `a, b and c`.
pub(crate) fn list(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [rest @ .., last] => format!("{} and {last}", rest.join(", ")),
    }
}

/// `one` to `ten`, digits from there on.
pub(crate) fn count(number: usize) -> String {
    const WORDS: [&str; 11] =
        ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"];
    WORDS.get(number).map_or_else(|| number.to_string(), |word| (*word).to_owned())
}

/// `1 silence`, `2 silences`.
pub(crate) fn counted(number: usize, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}

/// `83 %` for 82.5: half a per cent counts up, where formatting alone would go to the even one.
pub(crate) fn percent(value: f64) -> String {
    format!("{:.0} %", value.round())
}

/// `once`, `twice`, `three times`.
pub(crate) fn times(number: usize) -> String {
    match number {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        more => format!("{} times", count(more)),
    }
}

/// The same with a capital, for the start of a sentence.
pub(crate) fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_said_in_words() {
        let said = [20, 60, 1500, 7200, 7830].map(|seconds| length(Span::from_secs(seconds)));
        assert_eq!(said, ["20 s", "1 min", "25 min", "2 h", "2 h 11 min"]);
    }

    #[test]
    fn half_a_per_cent_counts_up() {
        assert_eq!([82.5, 87.5, 82.4].map(percent), ["83 %", "88 %", "82 %"]);
    }

    #[test]
    fn one_is_no_plural() {
        assert_eq!(
            [0, 1, 2].map(|n| counted(n, "silence", "silences")),
            ["0 silences", "1 silence", "2 silences"]
        );
    }

    #[test]
    fn a_moment_of_another_day_carries_its_day() {
        let zone = TimeZone::get("Europe/Lisbon").unwrap();
        let [late, early] = ["2026-03-01T23:59:00Z", "2026-03-02T05:10:00Z"].map(|at| at.parse().unwrap());
        assert_eq!(hour_beside(early, early, &zone), "05:10");
        assert_eq!(hour_beside(early, late, &zone), "Mon 2 March 05:10");
    }
}
