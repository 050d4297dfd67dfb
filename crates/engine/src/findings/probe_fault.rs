//! `probe-fault`, high: chocolate readings missing, not finite, or outside −10…120 °C for 10 s by reading time and at least two
//! readings (contract, section 6).
//!
//! An open circuit or a short sends the value to the end of its range, and the controller behind the same probe may heat without end
//! (common practice, no source). Such values never reach a process detector. Over when good readings have come for 10 s.

use model::{Channel, FindingKind, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use super::{Report, Verdict, number, text};

const FOR: Span = Span::from_secs(10);
const AT_LEAST: u32 = 2;

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct ProbeFault {
    bad_since: Option<Timestamp>,
    bad_readings: u32,
    good_since: Option<Timestamp>,
    open: bool,
}

impl ProbeFault {
    /// A value that a tempering machine can have.
    #[inline]
    pub(crate) fn is_possible(value: Option<f64>) -> bool {
        value.is_some_and(|value| Channel::Chocolate.possible().contains(&value))
    }

    /// Nothing is wrong with the probe: another good reading changes nothing.
    pub(crate) fn is_calm(&self) -> bool {
        *self == ProbeFault::default()
    }

    pub(crate) fn step(&mut self, at: Timestamp, value: Option<f64>) -> Verdict {
        if ProbeFault::is_possible(value) { self.good(at) } else { self.bad(at, value) }
    }

    fn good(&mut self, at: Timestamp) -> Verdict {
        (self.bad_since, self.bad_readings) = (None, 0);
        if !self.open {
            return Verdict::Quiet;
        }
        let since = *self.good_since.get_or_insert(at);
        if at - since < FOR {
            return Verdict::Quiet;
        }
        *self = ProbeFault::default();
        Verdict::Over(since)
    }

    fn bad(&mut self, at: Timestamp, value: Option<f64>) -> Verdict {
        self.good_since = None;
        let from = *self.bad_since.get_or_insert(at);
        self.bad_readings = self.bad_readings.saturating_add(1);
        if self.open || at - from < FOR || self.bad_readings < AT_LEAST {
            return Verdict::Quiet;
        }
        self.open = true;
        Report {
            kind: FindingKind::ProbeFault,
            priority: Priority::High,
            from,
            raised_at: at,
            says: match value {
                None => "The chocolate probe gives no value.".to_owned(),
                Some(value) => format!("The chocolate probe shows {value:.0} °C, which cannot be."),
            },
            evidence: match value {
                None => vec![text("reading", "missing")],
                Some(value) => vec![number("reading_c", value)],
            },
            advice: "Turn the heat off, since the controller may be blind too; measure by hand, look at plug and cable, and leave \
                     electrical repairs to qualified people.",
        }
        .raise()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(readings: &[(i64, Option<f64>)]) -> Vec<String> {
        let mut detector = ProbeFault::default();
        let mut told = Vec::new();
        for &(second, value) in readings {
            match detector.step(Timestamp::from_millis(second * 1000), value) {
                Verdict::Raise(report) => {
                    told.push(format!("{second} raise from {}", report.from.as_millis() / 1000));
                }
                Verdict::Over(at) => told.push(format!("{second} over at {}", at.as_millis() / 1000)),
                Verdict::Quiet | Verdict::Worse { .. } => {}
            }
        }
        told
    }

    #[test]
    fn ten_seconds_and_two_readings() {
        assert_eq!(run(&[(0, Some(31.0)), (5, None), (10, None), (15, Some(850.0))]), ["15 raise from 5"]);
        assert_eq!(run(&[(0, Some(-45.0)), (60, Some(-45.0))]), ["60 raise from 0"]);
        assert!(run(&[(0, None), (5, None), (9, Some(31.0)), (15, None)]).is_empty());
    }

    #[test]
    fn over_when_good_for_ten_seconds() {
        let readings =
            [(0, None), (10, None), (12, Some(31.0)), (13, None), (20, Some(31.0)), (30, Some(31.0))];
        assert_eq!(run(&readings), ["10 raise from 0", "30 over at 20"]);
    }
}
