//! Text in, text out, for detectors. A script is `phase m:ss °C | m:ss °C | …`; a phase holds until the next one.

use expect_test::Expect;
use frames::Ticker;
use model::{Channel, Phase, Span, Timestamp};
use plant::{Family, Limits};

use super::{Moment, Tests, Verdict};
use crate::history::History;
use crate::timeline::Timeline;

pub(crate) fn time(text: &str) -> Timestamp {
    let (minutes, seconds) = text.split_once(':').expect("a time is m:ss");
    Timestamp::from_millis((minutes.parse::<i64>().unwrap() * 60 + seconds.parse::<i64>().unwrap()) * 1000)
}

pub(crate) fn shown(at: Timestamp) -> String {
    format!("{}:{:02}", at.as_millis() / 60_000, at.as_millis() / 1000 % 60)
}

/// One tick every five seconds from `script`, where `~` before a time fills the way to it with a straight line.
pub(crate) fn points(script: &str) -> Vec<(Phase, Timestamp, f64)> {
    let (mut phase, mut points): (Phase, Vec<(Phase, Timestamp, f64)>) = (Phase::Idle, Vec::new());
    for entry in script.split('|') {
        let words: Vec<&str> = entry.split_whitespace().collect();
        let [named @ .., when, value] = words.as_slice() else {
            panic!("an entry is [phase] m:ss °C: {entry}")
        };
        if let [name] = named {
            phase = name.parse().unwrap();
        }
        let value: f64 = value.parse().unwrap();
        if let (Some(when), Some(&(_, from, start))) = (when.strip_prefix('~'), points.last()) {
            let to = time(when);
            let steps = (to - from).as_millis() / 5_000;
            points.extend((1..=steps).map(|i| {
                let share = i as f64 / steps as f64;
                (phase, from + Span::from_secs(5 * i), start + share * (value - start))
            }));
        } else {
            points.push((phase, time(when.trim_start_matches('~')), value));
        }
    }
    points
}

/// A moment of dark couverture without anything but chocolate.
pub(crate) fn moment<'a>(
    phase: Phase,
    at: Timestamp,
    chocolate: f64,
    history: &'a History,
    timeline: &'a Timeline,
    limits: &'a Limits,
) -> Moment<'a> {
    Moment {
        at,
        known: at + Span::from_secs(5),
        chocolate,
        level: history.level(at).unwrap_or(chocolate),
        history,
        limits,
        phase,
        charge_is: phase,
        phase_since: timeline.last_of(phase).map_or(at, |span| span.from),
        gap: false,
        rise_held: false,
        cold_held: false,
        setpoint: None,
        disturbed_at: None,
        usual_cooling_min: None,
        cooling_seen_whole: true,
        seeded: false,
        has_way_down: true,
        seeded_at: None,
        topped_up_at: None,
        tests: Tests::default(),
        stirrer: None,
        motor: None,
        timeline,
        longest_gap: Span::from_secs(60),
        spacing: Span::from_secs(5),
        grain: 0.0,
        on_change: false,
    }
}

/// Runs a detector of dark couverture over a script.
pub(crate) fn check<D>(
    detector: &mut D,
    step: impl Fn(&mut D, &Moment<'_>) -> Verdict,
    script: &str,
    expected: &Expect,
) {
    check_with(detector, step, script, |_| {}, expected);
}

/// The same with the moment changed by `change`.
pub(crate) fn check_with<D>(
    detector: &mut D,
    step: impl Fn(&mut D, &Moment<'_>) -> Verdict,
    script: &str,
    change: impl Fn(&mut Moment<'_>),
    expected: &Expect,
) {
    let limits: Limits = Family::Dark.default_limits();
    let (mut history, mut told, mut timeline) = (History::default(), Vec::new(), Timeline::default());
    for (phase, at, value) in points(script) {
        let mut ticker = Ticker::new(Span::from_secs(5));
        ticker.insert(Channel::Chocolate, at, value);
        history.push(ticker.finish().expect("one reading makes a tick"));
        if timeline.spans().last().is_none_or(|span| span.phase != phase) {
            timeline.change(phase, at);
        }
        let mut moment = moment(phase, at, value, &history, &timeline, &limits);
        change(&mut moment);
        let known = shown(moment.known);
        match step(detector, &moment) {
            Verdict::Quiet => {}
            Verdict::Raise(report) => {
                assert_eq!(report.raised_at, moment.known, "raised when it was known");
                told.push(format!("{known} raise {} from {}", report.kind, shown(report.from)));
            }
            Verdict::Worse { priority, .. } => told.push(format!("{known} now {}", priority.as_str())),
            Verdict::Over(at) => told.push(format!("{known} over at {}", shown(at))),
        }
    }
    expected.assert_eq(&told.join("\n"));
}
