//! Text in, text out, for detectors of the surroundings. A script is `phase m:ss channel=value … | m:ss … | …`; phase and values hold
//! until the next entry, `~` before a time fills the way to it with straight lines every five seconds, `-` makes a channel unknown.

use std::collections::BTreeMap;

use expect_test::Expect;
use frames::Ticker;
use model::{Channel, Phase, Span, Timestamp};

use super::Around;
use crate::findings::Verdict;
use crate::findings::testing::{shown, time};
use crate::history::History;

const STEP: Span = Span::from_secs(5);

struct Point {
    phase: Phase,
    at: Timestamp,
    values: BTreeMap<Channel, f64>,
}

fn points(script: &str) -> Vec<Point> {
    let (mut phase, mut values, mut points) = (Phase::Idle, BTreeMap::new(), Vec::<Point>::new());
    for entry in script.split('|') {
        let mut when = None;
        let before: BTreeMap<Channel, f64> = BTreeMap::clone(&values);
        for word in entry.split_whitespace() {
            if let Some((channel, value)) = word.split_once('=') {
                let channel: Channel = channel.parse().unwrap();
                match value {
                    "-" => values.remove(&channel),
                    number => values.insert(channel, number.parse().unwrap()),
                };
            } else if word.contains(':') {
                when = Some(word);
            } else {
                phase = word.parse().unwrap();
            }
        }
        let when = when.expect("an entry has a time");
        let to = time(when.trim_start_matches('~'));
        if let (Some(from), true) = (points.last().map(|point| point.at), when.starts_with('~')) {
            let steps = (to - from).as_millis() / STEP.as_millis();
            points.extend((1..=steps).map(|i| {
                let share = i as f64 / steps as f64;
                let between = |(&channel, &end): (&Channel, &f64)| {
                    let start = before.get(&channel).copied().unwrap_or(end);
                    (channel, start + share * (end - start))
                };
                Point { phase, at: from + STEP * i, values: values.iter().map(between).collect() }
            }));
        } else {
            points.push(Point { phase, at: to, values: values.clone() });
        }
    }
    points
}

/// Runs a detector over a script.
pub(crate) fn check<D>(
    detector: &mut D,
    step: impl Fn(&mut D, &Around<'_>) -> Verdict,
    script: &str,
    expected: &Expect,
) {
    let (mut history, mut told) = (History::default(), Vec::new());
    for Point { phase, at, values } in points(script) {
        let mut ticker = Ticker::new(STEP);
        for (&channel, &value) in &values {
            ticker.insert(channel, at, value);
        }
        let Some(tick) = ticker.finish() else { continue };
        history.push(tick);
        let around = Around {
            at,
            known: at + STEP,
            tick: &tick,
            history: &history,
            phase: Some(phase),
            setpoint: values.get(&Channel::Setpoint).copied(),
        };
        let known = shown(around.known);
        match step(detector, &around) {
            Verdict::Quiet => {}
            Verdict::Raise(report) => {
                assert_eq!(report.raised_at, around.known, "raised when it was known");
                told.push(format!("{known} raise {} from {}", report.kind, shown(report.from)));
            }
            Verdict::Worse { priority, .. } => told.push(format!("{known} now {}", priority.as_str())),
            Verdict::Over(at) => told.push(format!("{known} over at {}", shown(at))),
        }
    }
    expected.assert_eq(&told.join("\n"));
}
