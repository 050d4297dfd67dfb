//! What a failed temper test puts in question: everything that was worked since the last good test of the batch, or since it began to be
//! worked, and everything after it until a test passes (domain brief 5.4: hold product back to the last good one).
//!
//! A test that is only fair neither begins nor ends it.

use model::{Batch, Event, EventKind, Grade, Phase, Timestamp};

/// A time span of product that is in question.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Concerned {
    /// The last good test, or where working began; the failed test itself where nothing had been worked before it.
    pub from: Timestamp,
    /// The next good test, or the end of the batch; `None` while it goes on.
    pub to: Option<Timestamp>,
    /// The first test that failed in it.
    pub failed_at: Timestamp,
    /// The good test before it.
    pub last_good_at: Option<Timestamp>,
}

/// The spans of `batch` that failed tests put in question, the oldest first.
pub fn concerned(batch: &Batch, events: &[Event]) -> Vec<Concerned> {
    let mut tests: Vec<(Timestamp, Grade)> =
        events.iter().filter_map(|event| test_of(batch, event)).collect();
    tests.sort_by_key(|(at, _)| *at);
    let working = batch.first(Phase::Working).map(|span| span.from);
    let (mut spans, mut open, mut last_good_at) = (Vec::new(), None::<Concerned>, None);
    for (at, worst) in tests {
        match worst {
            Grade::Good => {
                spans.extend(open.take().map(|open| Concerned { to: Some(at), ..open }));
                last_good_at = Some(at);
            }
            Grade::Fair => {}
            Grade::Poor => {
                let from = last_good_at.or(working.filter(|from| *from < at)).unwrap_or(at);
                open.get_or_insert(Concerned { from, to: None, failed_at: at, last_good_at });
            }
        }
    }
    spans.extend(open.map(|open| Concerned { to: batch.end, ..open }));
    spans
}

fn test_of(batch: &Batch, event: &Event) -> Option<(Timestamp, Grade)> {
    let during = batch.start <= event.at && batch.end.is_none_or(|end| event.at <= end);
    let of_this = event.machine == batch.machine && during;
    match &event.kind {
        EventKind::TemperTest(test) if of_this => Some((event.at, test.worst())),
        EventKind::TemperTest(_)
        | EventKind::Charge { .. }
        | EventKind::Seed { .. }
        | EventKind::TopUp { .. }
        | EventKind::Reference { .. }
        | EventKind::Note { .. }
        | EventKind::End => None,
    }
}

#[cfg(test)]
mod tests {
    use model::{PhaseSpan, Span, TemperTest};

    use super::*;
    use crate::usual::tests::batch;

    /// Worked from minute 100 to 400 of its own; tests are `(minute, grade)`.
    fn spans(tests: &[(i64, Grade)]) -> Vec<(i64, Option<i64>, i64)> {
        let mut batch = batch(1, 70.0);
        let minute = |minute: i64| batch.start + Span::from_mins(minute);
        let working = PhaseSpan {
            phase: Phase::Working,
            from: minute(100),
            to: None,
            confidence: model::Confidence::High,
        };
        let (start, machine) = (batch.start, batch.machine.clone());
        let test = |&(at, snap): &(i64, Grade)| Event {
            machine: machine.clone(),
            at: minute(at),
            by: None,
            kind: EventKind::TemperTest(TemperTest {
                gloss: Grade::Good,
                contraction: Grade::Good,
                snap,
                minutes: None,
            }),
            raw: "{}".to_owned(),
        };
        let events: Vec<Event> = tests.iter().map(test).collect();
        let end = minute(400);
        batch.phases = vec![working];
        batch.end = Some(end);
        let minutes = |at: Timestamp| (at - start).as_millis() / 60_000;
        concerned(&batch, &events)
            .iter()
            .map(|span| (minutes(span.from), span.to.map(minutes), minutes(span.failed_at)))
            .collect()
    }

    #[test]
    fn a_failed_test_reaches_back_to_the_last_good_one_and_on_to_the_next() {
        use Grade::{Fair, Good, Poor};
        assert!(spans(&[(120, Good), (180, Good)]).is_empty());
        assert_eq!(
            spans(&[(120, Good), (180, Poor), (190, Fair), (200, Poor), (220, Good)]),
            [(120, Some(220), 180)]
        );
        assert_eq!(spans(&[(120, Poor)]), [(100, Some(400), 120)], "back to where working began");
        assert_eq!(spans(&[(90, Poor), (110, Good)]), [(90, Some(110), 90)], "nothing had been worked");
        assert_eq!(
            spans(&[(300, Poor), (120, Good), (150, Poor), (160, Good)]),
            [(120, Some(160), 150), (160, Some(400), 300)],
            "in the order of time, however they came"
        );
        assert!(spans(&[(500, Poor)]).is_empty(), "another batch's");
    }
}
