//! How much speaks for each phase of a batch: taken from everything that is known of it, as its figures are.
//!
//! | confidence | when |
//! | --- | --- |
//! | low | readings are sparse, much of the phase or its beginning lies in a gap, the history begins with it, or it was taken back and forth |
//! | high | otherwise, where another channel or an event says so too (see [`Evidence::agrees`]) |
//! | medium | otherwise |
//!
//! A pure figure of ticks, phases and events: where a stream is cut changes nothing. Says nothing about temper.

use frames::Tick;
use model::{Channel, Confidence, Measures, Phase, PhaseSpan, Span, Timestamp};

use crate::measures::Measured;
use crate::phases::{IDLE_BELOW, WORKING_MARGIN, soak_from};

/// Readings that are further apart than this on average leave the corners of a curve to guessing.
const SPARSE: Span = Span::from_secs(45);
/// A phase of which so much is unknown was not seen.
const UNKNOWN_SHARE: f64 = 0.05;
/// A channel agrees when it does so in this share of the ticks that know it.
const MOSTLY: f64 = 0.7;
/// A set-point for working stands within so much of the working range, °C: it is trimmed by hand.
const SETPOINT_MARGIN: f64 = 2.0 * WORKING_MARGIN;
/// A jacket this much warmer or colder than the chocolate heats or cools it, °C.
const JACKET_BEYOND: f64 = 1.0;
/// A phase that begins so soon after the history began before it.
const AT_THE_BEGINNING: Span = Span::from_mins(1);

/// The phases of a batch, each with its confidence. What is low already stays so: it was taken back and forth.
pub(crate) fn weighed(
    batch: &Measured<'_>,
    measures: &Measures,
    tested_at: Option<Timestamp>,
) -> Vec<PhaseSpan> {
    let evidence = Evidence { batch, measures, tested_at };
    batch.phases.iter().map(|span| PhaseSpan { confidence: evidence.weigh(span), ..*span }).collect()
}

struct Evidence<'a> {
    batch: &'a Measured<'a>,
    measures: &'a Measures,
    tested_at: Option<Timestamp>,
}

impl Evidence<'_> {
    fn weigh(&self, span: &PhaseSpan) -> Confidence {
        let to = span.to.unwrap_or(self.batch.now);
        let begins_history =
            self.batch.history.first_at().is_none_or(|first| span.from <= first + AT_THE_BEGINNING);
        if span.confidence == Confidence::Low || begins_history || !self.is_seen(span.from, to) {
            return Confidence::Low;
        }
        if self.agrees(span.phase, span.from, to) { Confidence::High } else { Confidence::Medium }
    }

    /// Was the chocolate measured often enough between two moments, the first of them in particular?
    fn is_seen(&self, from: Timestamp, to: Timestamp) -> bool {
        let reach = self.batch.longest_gap;
        let (mut before, mut unknown_s, mut readings) = (from - reach, 0.0, 0_u32);
        let mut is_blind_start = false;
        for (at, _) in self.batch.history.chocolate(from - reach, to) {
            if at > from && at - before > reach {
                unknown_s += (at - before.max(from)).as_secs_f64();
                is_blind_start |= before <= from;
            }
            readings += u32::from(at >= from);
            before = at;
        }
        if to - before > reach {
            unknown_s += (to - before.max(from)).as_secs_f64();
        }
        let length = (to - from).as_secs_f64();
        let is_sparse = length - unknown_s > f64::from(readings + 1) * SPARSE.as_secs_f64();
        !(is_blind_start || is_sparse || unknown_s > UNKNOWN_SHARE * length)
    }

    /// Does something besides the chocolate say so?
    fn agrees(&self, phase: Phase, from: Timestamp, to: Timestamp) -> bool {
        let limits = self.batch.limits;
        let soak = soak_from(limits);
        let setpoint = |says: &dyn Fn(f64) -> bool| {
            self.mostly(from, to, |tick| tick.other(Channel::Setpoint).map(says))
        };
        let jacket = |says: &dyn Fn(f64) -> bool| {
            self.mostly(from, to, |tick| Some(says(tick.other(Channel::Jacket)? - tick.chocolate()?)))
        };
        let in_range = |value: f64| limits.working.holds(value, SETPOINT_MARGIN);
        let within = |at: Option<Timestamp>| at.is_some_and(|at| from <= at && at < to);
        match phase {
            Phase::Idle => setpoint(&|value| value < IDLE_BELOW),
            Phase::Melting => setpoint(&|value| value >= soak) || jacket(&|beyond| beyond > JACKET_BEYOND),
            Phase::Soak => setpoint(&|value| value >= soak),
            Phase::Cooling => {
                setpoint(&|value| value < soak)
                    || jacket(&|beyond| beyond < -JACKET_BEYOND)
                    || within(self.batch.seeded_at)
            }
            Phase::Settling => setpoint(&in_range) || self.is_seeded(),
            Phase::Working => setpoint(&in_range) || within(self.tested_at) || self.is_seeded(),
            Phase::Rewarming => setpoint(&in_range) || jacket(&|beyond| beyond > JACKET_BEYOND),
        }
    }

    fn is_seeded(&self) -> bool {
        self.batch.seeded_at.is_some() || self.measures.seed_dip_c.is_some()
    }

    fn mostly(&self, from: Timestamp, to: Timestamp, says: impl Fn(&Tick) -> Option<bool>) -> bool {
        let (mut asked, mut agreed) = (0u32, 0u32);
        for agrees in self.batch.history.between(from, to).filter_map(|tick| says(&tick)) {
            asked += 1;
            agreed += u32::from(agrees);
        }
        asked > 0 && f64::from(agreed) >= MOSTLY * f64::from(asked)
    }
}

#[cfg(test)]
mod tests {
    use frames::Ticker;
    use plant::Family;

    use super::*;
    use crate::history::History;

    /// An hour of soak from minute 10 on, told every `every` seconds but for the minutes of `gap`, with a set-point if there is one.
    fn soak(every: usize, gap: std::ops::Range<i64>, setpoint: Option<f64>) -> Confidence {
        let (mut history, mut ticker) = (History::default(), Ticker::new(Span::from_secs(5)));
        for second in (0..70 * 60).step_by(every).filter(|second| !gap.contains(&(second / 60))) {
            let at = Timestamp::from_millis(second * 1000);
            for (channel, value) in [(Channel::Setpoint, setpoint), (Channel::Chocolate, Some(46.0))] {
                let Some(value) = value else { continue };
                if let Some(tick) = ticker.insert(channel, at, value) {
                    history.push(tick);
                }
            }
        }
        let minute = |minute: i64| Timestamp::from_millis(minute * 60_000);
        let phases =
            [PhaseSpan { phase: Phase::Soak, from: minute(10), to: None, confidence: Confidence::Medium }];
        let batch = Measured {
            history: &history,
            phases: &phases,
            limits: &Family::Dark.default_limits(),
            seeded_at: None,
            now: minute(70),
            longest_gap: Span::from_secs(60.max(5 * every as i64)),
        };
        weighed(&batch, &Measures::default(), None)[0].confidence
    }

    #[test]
    fn temperature_alone_is_medium_and_a_set_point_that_agrees_makes_it_high() {
        assert_eq!(soak(5, 0..0, None), Confidence::Medium);
        assert_eq!(soak(5, 0..0, Some(46.0)), Confidence::High);
        assert_eq!(
            soak(5, 0..0, Some(31.5)),
            Confidence::Medium,
            "a set-point that does not agree says nothing"
        );
    }

    #[test]
    fn what_was_hardly_seen_is_low_whatever_agrees() {
        assert_eq!(soak(60, 0..0, Some(46.0)), Confidence::Low, "a reading a minute");
        assert_eq!(soak(5, 30..36, Some(46.0)), Confidence::Low, "a tenth of it is not known");
        assert_eq!(soak(5, 30..32, Some(46.0)), Confidence::High, "two minutes of an hour");
        assert_eq!(soak(5, 8..12, Some(46.0)), Confidence::Low, "it began in a gap");
        assert_eq!(soak(5, 0..10, Some(46.0)), Confidence::Low, "the history begins with it");
    }
}
