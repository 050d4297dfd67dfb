//! The ticks of one machine that still matter, and what can be read off them: level, slope, lowest and highest.
//!
//! Ticks without chocolate are kept for their other channels. Every question names its window in time, so that the
//! answer does not depend on how often a probe reports.
//!
//! What is older than an hour is packed: it is looked at seldom, and a thousand machines have days of it. Pieces do not change once they are
//! packed, so that a saved state needs only those that came since the last one (`pieces`).

mod look_back;
mod pieces;
mod recent;

use std::collections::{VecDeque, vec_deque};
use std::ops::Range;

use frames::{PackedTicks, Tick};
use model::{Span, Timestamp};

use self::look_back::{Extremes, Mean, Sums, last};
use self::recent::Recent;

/// A week at a tick every five seconds, a day and a half at one a second (wheels and bowls). A batch that lasts longer is measured over
/// so much of its end.
const MOST_TICKS: usize = 121_000;

/// Ticks a piece: some ten minutes of a kettle, of which half wait on average to be saved with each state.
const PIECE: usize = 128;

/// Ticks as young as this lie open: what a detector looks at with every tick reaches no further back.
const OPEN: Span = Span::from_hours(1);

/// Level: mean of the chocolate over this long, so that one noisy tick does not speak for the charge.
pub(crate) const LEVEL_WINDOW: Span = Span::from_secs(20);

/// Ticks in the order of time.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct History {
    /// All that is packed; of the first one some may have been forgotten.
    pieces: VecDeque<PackedTicks>,
    /// The number of the first of them; they are counted from the machine's beginning.
    first_piece: u32,
    /// So many pieces, the newest, lie open too.
    opened: usize,
    /// The ticks of the open pieces, and those that are not packed yet.
    ticks: VecDeque<Tick>,
    unpacked: usize,
    /// Sums over the newest minutes.
    recent: Recent,
    /// What was before has been forgotten.
    kept_from: Option<Timestamp>,
    /// How many ticks are kept.
    len: usize,
    /// So many pieces have still to be brought, after a restart.
    awaited: u32,
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
        if self.len == MOST_TICKS {
            // A whole piece at once, so that nothing has to be unpacked at every tick from then on.
            let second = self.pieces.get(1).map(PackedTicks::first);
            self.forget_before(second.unwrap_or(tick.at));
        }
        if self.ticks.len() == self.ticks.capacity() {
            // A list that doubles would hold the room of 1,024 ticks for the 850 that lie open, for each of a thousand machines.
            self.ticks.reserve_exact(PIECE);
        }
        self.ticks.push_back(tick);
        self.recent.push(&tick);
        self.unpacked += 1;
        self.len += 1;
        if self.unpacked >= PIECE {
            self.pack();
        }
        self.close_before(tick.at - OPEN);
    }

    fn pack(&mut self) {
        let newest: Vec<Tick> = self.ticks.range(self.ticks.len() - self.unpacked..).copied().collect();
        if let Some(piece) = PackedTicks::pack(&newest) {
            self.pieces.push_back(piece);
            self.opened += 1;
            self.unpacked = 0;
        }
    }

    /// Open pieces that are wholly before `at` need not lie open any more.
    fn close_before(&mut self, at: Timestamp) {
        while let Some(oldest) = self.pieces.get(self.packed_only()).filter(|oldest| oldest.last() < at) {
            let last = oldest.last();
            let cut = self.ticks.partition_point(|tick| tick.at <= last);
            self.ticks.drain(..cut);
            self.opened -= 1;
        }
    }

    /// How many pieces do not lie open; the oldest ones.
    fn packed_only(&self) -> usize {
        self.pieces.len() - self.opened
    }

    /// Forgets what was before `keep_from`.
    pub(crate) fn forget_before(&mut self, keep_from: Timestamp) {
        while self.pieces.front().is_some_and(|oldest| oldest.last() < keep_from) {
            self.pieces.pop_front();
            self.first_piece += 1;
            self.opened = self.opened.min(self.pieces.len());
        }
        let cut = self.ticks.partition_point(|tick| tick.at < keep_from);
        self.ticks.drain(..cut);
        self.unpacked = self.unpacked.min(self.ticks.len());
        self.recent.forget_before(keep_from);
        self.kept_from = self.kept_from.max(Some(keep_from));
        self.count();
    }

    /// Forgets everything: what comes next may be older.
    pub(crate) fn forget_all(&mut self) {
        self.forget_before(Timestamp::from_millis(i64::MAX));
        self.kept_from = None;
    }

    /// Counts what is kept; only the first piece has to be looked into.
    fn count(&mut self) {
        let packed = self.packed_only();
        let first = self.pieces.front().filter(|_| 0 < packed).map_or(0, |piece| self.unpack(piece).count());
        let others: usize = self.pieces.range(packed.min(1)..packed).map(PackedTicks::len).sum();
        self.len = first + others + self.ticks.len();
    }

    /// The ticks from `from` on laid open: for who looks at them again and again, and at none before.
    pub(crate) fn laid_open(&self, from: Timestamp) -> History {
        let (packed, open) =
            (self.packed_between(from, Timestamp::from_millis(i64::MAX)), self.open_from(from));
        let lengths = self.pieces.range(packed.clone()).map(PackedTicks::len).sum::<usize>();
        let mut ticks = VecDeque::with_capacity(lengths + self.ticks.len() - open);
        for piece in self.pieces.range(packed) {
            ticks.extend(self.unpack(piece).skip_while(|tick| tick.at < from));
        }
        ticks.extend(self.ticks.range(open..).copied());
        History {
            len: ticks.len(),
            unpacked: ticks.len(),
            recent: Recent::of(ticks.iter()),
            kept_from: Some(from),
            ticks,
            ..History::default()
        }
    }

    /// The newest one.
    pub(crate) fn newest(&self) -> Option<&Tick> {
        self.ticks.back()
    }

    /// What is kept of a piece.
    fn unpack(&self, piece: &PackedTicks) -> impl DoubleEndedIterator<Item = Tick> + use<> {
        let kept_from = self.kept_from;
        // What cannot be read any more is not known any more.
        let ticks = piece.unpack().unwrap_or_default().into_iter();
        ticks.filter(move |tick| kept_from.is_none_or(|from| from <= tick.at))
    }

    /// All ticks that are kept.
    fn all(&self) -> impl DoubleEndedIterator<Item = Tick> {
        let old = self.pieces.range(..self.packed_only()).flat_map(|piece| self.unpack(piece));
        old.chain(self.ticks.iter().copied())
    }

    /// All ticks from `from` on and before `to`.
    #[inline]
    pub(crate) fn between(&self, from: Timestamp, to: Timestamp) -> impl DoubleEndedIterator<Item = Tick> {
        self.values(from, to, |tick| Some(*tick))
    }

    /// Which pieces have to be unpacked for that; none where the open ticks reach back so far.
    #[inline]
    fn packed_between(&self, from: Timestamp, to: Timestamp) -> Range<usize> {
        if self.ticks.front().is_some_and(|oldest| oldest.at <= from) {
            return 0..0;
        }
        let packed = self.packed_only();
        let first = self.pieces.partition_point(|piece| piece.last() < from).min(packed);
        let last = self.pieces.partition_point(|piece| piece.first() < to).min(packed);
        first..last.max(first)
    }

    /// Those that lie open, from `from` on and before `to`.
    #[inline]
    fn open_between(&self, from: Timestamp, to: Timestamp) -> vec_deque::Iter<'_, Tick> {
        let (first, last) = (self.open_from(from), self.open_from(to));
        self.ticks.range(first..last.max(first))
    }

    /// The place of the first open tick from `at` on, looked for from the end: nearly every question is about the newest.
    #[inline]
    fn open_from(&self, at: Timestamp) -> usize {
        let len = self.ticks.len();
        let mut back = 1;
        while back <= len && at <= self.ticks[len - back].at {
            back *= 2;
        }
        let (mut low, mut high) = (len.saturating_sub(back), len - back / 2);
        while low < high {
            let middle = low + (high - low) / 2;
            if self.ticks[middle].at < at { low = middle + 1 } else { high = middle }
        }
        low
    }

    /// Chocolate from `from` on and before `to`.
    #[inline]
    pub(crate) fn chocolate(
        &self,
        from: Timestamp,
        to: Timestamp,
    ) -> impl DoubleEndedIterator<Item = (Timestamp, f64)> {
        self.values(from, to, |tick| Some((tick.at, tick.chocolate()?)))
    }

    /// What `value` makes of the ticks from `from` on and before `to`.
    #[inline]
    pub(crate) fn values<T>(
        &self,
        from: Timestamp,
        to: Timestamp,
        value: impl Fn(&Tick) -> Option<T> + Copy,
    ) -> impl DoubleEndedIterator<Item = T> {
        let packed = self.pieces.range(self.packed_between(from, to)).flat_map(|piece| self.unpack(piece));
        let old = packed.filter(move |tick| from <= tick.at && tick.at < to);
        old.filter_map(move |tick| value(&tick)).chain(self.open_between(from, to).filter_map(value))
    }

    /// Mean chocolate over the last seconds, °C.
    #[inline]
    pub(crate) fn level(&self, now: Timestamp) -> Option<f64> {
        self.mean_over(now, LEVEL_WINDOW)
    }

    /// Mean chocolate of the last `back`, °C.
    #[inline]
    pub(crate) fn mean_over(&self, now: Timestamp, back: Span) -> Option<f64> {
        let (from, to) = last(now, back);
        if let Some(window) = self.recent.window(from, to) {
            return window.map(|window| window.mean());
        }
        let Mean { n, sum } = self.look_back(now, back, Mean::default());
        (n > 0).then(|| sum / n as f64)
    }

    /// Mean chocolate from `from` on and before `to`, with the first and the last moment of which it is known.
    pub(crate) fn mean_and_ends(
        &self,
        from: Timestamp,
        to: Timestamp,
    ) -> Option<(f64, Timestamp, Timestamp)> {
        if let Some(window) = self.recent.window(from, to) {
            return window.map(|window| (window.mean(), window.first, window.last));
        }
        let mut ends = None;
        let known = self.chocolate(from, to).inspect(|&(at, _)| {
            ends = Some((ends.map_or(at, |(first, _)| first), at));
        });
        let mean = mean(known.map(|(_, value)| value))?;
        ends.map(|(first, last)| (mean, first, last))
    }

    /// Straight line through the chocolate of the last `back`. `None` with fewer than three ticks or when they span
    /// less than half of it.
    pub(crate) fn line(&self, now: Timestamp, back: Span) -> Option<Line> {
        self.line_through(now, back, 3)
    }

    /// [`History::line`] with at least `fewest` ticks.
    pub(crate) fn line_through(&self, now: Timestamp, back: Span, fewest: usize) -> Option<Line> {
        let lasts_enough = |spans: Span| back.as_millis() <= spans.as_millis() * 2;
        let (from, to) = last(now, back);
        if let Some(window) = self.recent.window(from, to) {
            let window =
                window.filter(|window| fewest <= window.n && lasts_enough(window.last - window.first))?;
            let (slope, mean, spans) = (window.slope(now), window.mean(), window.last - window.first);
            return Some(Line { slope, mean, n: window.n, spans });
        }
        let sums =
            Sums { now, n: 0, sum_t: 0.0, sum_y: 0.0, sum_tt: 0.0, sum_ty: 0.0, last: None, first: now };
        let Sums { n, sum_t, sum_y, sum_tt, sum_ty, first, last, .. } = self.look_back(now, back, sums);
        let spans = last? - first;
        if n < fewest || !lasts_enough(spans) {
            return None;
        }
        let count = n as f64;
        let scatter = sum_tt - sum_t * sum_t / count;
        let slope = (sum_ty - sum_t * sum_y / count) / scatter;
        Some(Line { slope, mean: sum_y / count, n, spans })
    }

    /// Lowest and highest mean of a tick in the last `back`.
    #[inline]
    pub(crate) fn extremes(&self, now: Timestamp, back: Span) -> Option<(f64, f64)> {
        self.look_back(now, back, Extremes::default()).0
    }

    /// When the first kept tick was.
    pub(crate) fn first_at(&self) -> Option<Timestamp> {
        match self.pieces.front().filter(|_| 0 < self.packed_only()) {
            Some(piece) if self.kept_from.is_none_or(|from| from <= piece.first()) => Some(piece.first()),
            Some(_) | None => self.all().next().map(|tick| tick.at),
        }
    }
}

/// Mean; `None` of nothing.
#[inline]
pub(crate) fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (n, sum) = values.fold((0usize, 0.0), |(n, sum), value| (n + 1, sum + value));
    (n > 0).then(|| sum / n as f64)
}

/// Lowest and highest; `None` of nothing.
pub(crate) fn extremes(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.fold(None, |so_far, value| Some(further(so_far, value)))
}

pub(super) fn further(so_far: Option<(f64, f64)>, value: f64) -> (f64, f64) {
    so_far.map_or((value, value), |(low, high)| (value.min(low), value.max(high)))
}
