//! Bowls from one line of text: `0:00 20 | 1:30 24.5`, minutes and seconds since it was filled.

use super::*;

pub(crate) fn at(clock: &str) -> Timestamp {
    let (minutes, seconds) = clock.split_once(':').unwrap();
    Timestamp::from_millis((minutes.parse::<i64>().unwrap() * 60 + seconds.parse::<i64>().unwrap()) * 1000)
}

pub(crate) fn readings(text: &str) -> Vec<(Timestamp, f64)> {
    let reading = |part: &str| {
        let (clock, celsius) = part.trim().split_once(' ').unwrap();
        (at(clock), celsius.parse().unwrap())
    };
    text.split('|').filter(|part| !part.trim().is_empty()).map(reading).collect()
}

/// What is said of a bowl with these readings, half a minute after the last.
pub(crate) fn says(
    family: Family,
    method: Method,
    text: &str,
    seeded: Option<&str>,
    judged: Option<Judged>,
) -> String {
    let readings = readings(text);
    let limits = family.default_limits();
    let now = readings.last().map_or(Timestamp::default(), |(at, _)| *at) + Span::from_secs(30);
    let bowl =
        Bowl { family, limits: &limits, method, readings: &readings, seeded_at: seeded.map(at), judged, now };
    let step = next_step(&bowl);
    format!("{}: {}", step.deed.word(), step.says)
}
