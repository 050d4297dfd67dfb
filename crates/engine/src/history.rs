//! The ticks of one machine that still matter, and what can be read off them: level, slope, lowest and highest.
//!
//! Ticks without chocolate are kept for their other channels. Every question names its window in time, so that the
//! answer does not depend on how often a probe reports.

use std::collections::VecDeque;

use frames::Tick;
use model::{Span, Timestamp};
use serde::{Deserialize, Serialize};

/// A week at a tick every five seconds, a day and a half at one a second (wheels and bowls). A batch that lasts longer is measured over
/// so much of its end.
const MOST_TICKS: usize = 121_000;

/// Level: mean of the chocolate over this long, so that one noisy tick does not speak for the charge.
const LEVEL_WINDOW: Span = Span::from_secs(20);

/// Ticks in the order of time.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct History {
    ticks: VecDeque<Tick>,
}

/// A straight line through the chocolate of a window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Line {
    /// °C/min.
    pub(crate) slope: f64,
    /// Mean of the window, °C.
    pub(crate) mean: f64,
    /// Ticks with chocolate.
    pub(crate) n: usize,
    /// From the first to the last of them.
    pub(crate) spans: Span,
}

impl History {
    pub(crate) fn push(&mut self, tick: Tick) {
        if self.ticks.len() == MOST_TICKS {
            self.ticks.pop_front();
        }
        self.ticks.push_back(tick);
    }

    /// Forgets what was before `keep_from`.
    pub(crate) fn forget_before(&mut self, keep_from: Timestamp) {
        let cut = self.ticks.partition_point(|tick| tick.at < keep_from);
        self.ticks.drain(..cut);
    }

    /// All ticks from `from` on and before `to`.
    pub(crate) fn between(&self, from: Timestamp, to: Timestamp) -> impl DoubleEndedIterator<Item = &Tick> {
        let first = self.ticks.partition_point(|tick| tick.at < from);
        let last = self.ticks.partition_point(|tick| tick.at < to);
        self.ticks.range(first..last.max(first))
    }

    /// Chocolate from `from` on and before `to`.
    pub(crate) fn chocolate(
        &self,
        from: Timestamp,
        to: Timestamp,
    ) -> impl DoubleEndedIterator<Item = (Timestamp, f64)> {
        self.between(from, to).filter_map(|tick| Some((tick.at, tick.chocolate()?)))
    }

    /// Ticks from the newest backwards, as far as `back` before `now` (`now` included).
    fn newest_first(&self, now: Timestamp, back: Span) -> impl Iterator<Item = &Tick> {
        self.ticks.iter().rev().take_while(move |tick| now - tick.at < back)
    }

    /// Mean chocolate over the last seconds, °C.
    pub(crate) fn level(&self, now: Timestamp) -> Option<f64> {
        mean(self.newest_first(now, LEVEL_WINDOW).filter_map(Tick::chocolate))
    }

    /// Straight line through the chocolate of the last `back`. `None` with fewer than three ticks or when they span
    /// less than half of it.
    pub(crate) fn line(&self, now: Timestamp, back: Span) -> Option<Line> {
        self.line_through(now, back, 3)
    }

    /// [`History::line`] with at least `fewest` ticks.
    pub(crate) fn line_through(&self, now: Timestamp, back: Span, fewest: usize) -> Option<Line> {
        let (mut n, mut sum_t, mut sum_y, mut sum_tt, mut sum_ty) = (0usize, 0.0, 0.0, 0.0, 0.0);
        let (mut first, mut last) = (now, None);
        for tick in self.newest_first(now, back) {
            let Some(y) = tick.chocolate() else { continue };
            let t = (tick.at - now).as_mins_f64();
            n += 1;
            sum_t += t;
            sum_y += y;
            sum_tt += t * t;
            sum_ty += t * y;
            first = tick.at;
            last.get_or_insert(tick.at);
        }
        let spans = last? - first;
        if n < fewest || spans.as_millis() * 2 < back.as_millis() {
            return None;
        }
        let count = n as f64;
        let scatter = sum_tt - sum_t * sum_t / count;
        let slope = (sum_ty - sum_t * sum_y / count) / scatter;
        Some(Line { slope, mean: sum_y / count, n, spans })
    }

    /// Lowest and highest mean of a tick in the last `back`.
    pub(crate) fn extremes(&self, now: Timestamp, back: Span) -> Option<(f64, f64)> {
        extremes(self.newest_first(now, back).filter_map(Tick::chocolate))
    }

    /// When the first kept tick was.
    pub(crate) fn first_at(&self) -> Option<Timestamp> {
        self.ticks.front().map(|tick| tick.at)
    }
}

/// Mean; `None` of nothing.
pub(crate) fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (n, sum) = values.fold((0usize, 0.0), |(n, sum), value| (n + 1, sum + value));
    (n > 0).then(|| sum / n as f64)
}

/// Lowest and highest; `None` of nothing.
pub(crate) fn extremes(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.fold(None, |so_far, value| match so_far {
        None => Some((value, value)),
        Some((low, high)) => Some((value.min(low), value.max(high))),
    })
}
