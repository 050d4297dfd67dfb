//! Sums over the newest minutes, kept as ticks come: a mean or a line over any of these minutes is the difference of two of them, however many ticks lie
//! between.
//!
//! They are whole numbers that may go round: of a window the sums fit, and then their difference is exact, wherever the sums began. So a restart
//! changes nothing.

use std::collections::VecDeque;

use frames::Tick;
use model::{Span, Timestamp};

/// What is asked often reaches no further back.
const KEPT: Span = Span::from_mins(22);
/// Chocolate is counted in steps of 1 / 2^20 °C, the last place of what a tick holds at 8 to 16 °C.
const STEPS_A_DEGREE: f64 = 1_048_576.0;
const MILLIS_A_MINUTE: f64 = 60_000.0;
/// It grows by so many.
const ROOM: usize = 64;

/// The newest ticks with chocolate, each with the sums of all before it.
#[derive(Debug, Clone, Default)]
pub(super) struct Recent {
    before: VecDeque<(Timestamp, Running)>,
    total: Running,
}

/// What it adds up lies beside it in the ticks, and where the sums began changes no answer.
impl PartialEq for Recent {
    fn eq(&self, other: &Recent) -> bool {
        let times = |recent: &Recent| recent.before.iter().map(|(at, _)| *at).collect::<Vec<_>>();
        times(self) == times(other)
    }
}

/// Moments in milliseconds, chocolate in steps; by wrapping arithmetic.
#[derive(Debug, Clone, Copy, Default)]
struct Running {
    t: i64,
    y: i64,
    tt: i64,
    ty: i64,
}

impl Running {
    fn with(self, t: i64, y: i64) -> Running {
        Running {
            t: self.t.wrapping_add(t),
            y: self.y.wrapping_add(y),
            tt: self.tt.wrapping_add(t.wrapping_mul(t)),
            ty: self.ty.wrapping_add(t.wrapping_mul(y)),
        }
    }

    fn less(self, before: Running) -> Running {
        Running {
            t: self.t.wrapping_sub(before.t),
            y: self.y.wrapping_sub(before.y),
            tt: self.tt.wrapping_sub(before.tt),
            ty: self.ty.wrapping_sub(before.ty),
        }
    }

    /// The same, moments counted from `now`.
    fn counted_from(self, now: i64, n: i64) -> Running {
        let nows = n.wrapping_mul(now);
        let twice = self.t.wrapping_mul(2).wrapping_sub(nows);
        Running {
            t: self.t.wrapping_sub(nows),
            y: self.y,
            tt: self.tt.wrapping_sub(twice.wrapping_mul(now)),
            ty: self.ty.wrapping_sub(self.y.wrapping_mul(now)),
        }
    }
}

/// What is asked of a window.
#[derive(Debug, Clone, Copy)]
pub(super) struct Window {
    pub(super) first: Timestamp,
    pub(super) last: Timestamp,
    pub(super) n: usize,
    sums: Running,
}

impl Window {
    pub(super) fn mean(&self) -> f64 {
        self.sums.y as f64 / STEPS_A_DEGREE / self.n as f64
    }

    /// Of the straight line through it, °C/min.
    pub(super) fn slope(&self, now: Timestamp) -> f64 {
        let n = self.n as f64;
        let from_now = self.sums.counted_from(now.as_millis(), self.n as i64);
        let (t, tt) = (from_now.t as f64, from_now.tt as f64);
        let (y, ty) = (from_now.y as f64, from_now.ty as f64);
        (ty - t * y / n) / (tt - t * t / n) * (MILLIS_A_MINUTE / STEPS_A_DEGREE)
    }
}

impl Recent {
    pub(super) fn of<'a>(ticks: impl Iterator<Item = &'a Tick>) -> Recent {
        let mut recent = Recent::default();
        ticks.for_each(|tick| recent.push(tick));
        recent
    }

    #[inline]
    pub(super) fn push(&mut self, tick: &Tick) {
        let Some(chocolate) = tick.chocolate() else { return };
        let oldest = tick.at - KEPT;
        while self.before.front().is_some_and(|(at, _)| *at < oldest) {
            self.before.pop_front();
        }
        if self.before.len() == self.before.capacity() {
            // A list that doubles would hold the room of twice as many, for each of a thousand machines.
            self.before.reserve_exact(ROOM);
        }
        self.before.push_back((tick.at, self.total));
        self.total = self.total.with(tick.at.as_millis(), (chocolate * STEPS_A_DEGREE).round() as i64);
    }

    /// Forgets what was before `keep_from`.
    pub(super) fn forget_before(&mut self, keep_from: Timestamp) {
        let cut = self.before.partition_point(|(at, _)| *at < keep_from);
        self.before.drain(..cut);
    }

    /// The chocolate from `from` on and before `to`, if all of it is known here; `Some(None)` where there was none.
    #[inline]
    pub(super) fn window(&self, from: Timestamp, to: Timestamp) -> Option<Option<Window>> {
        let (newest, _) = self.before.back()?;
        if from < *newest - KEPT {
            return None;
        }
        let (start, end) = (self.place(from), self.place(to));
        if end <= start {
            return Some(None);
        }
        let (first, before) = self.before[start];
        let upto = self.before.get(end).map_or(self.total, |(_, upto)| *upto);
        let n = end - start;
        Some(Some(Window { first, last: self.before[end - 1].0, n, sums: upto.less(before) }))
    }

    /// The first from `at` on: looked for where it lies if ticks are as far apart as the newest two.
    #[inline]
    fn place(&self, at: Timestamp) -> usize {
        let known = &self.before;
        let Some((newest, _)) = known.back().filter(|(newest, _)| at <= *newest) else { return known.len() };
        let apart = known.len().checked_sub(2).map_or(KEPT, |place| *newest - known[place].0);
        let (back, apart) = ((*newest - at).as_millis() as u32, (apart.as_millis() as u32).max(1));
        let mut place = (known.len() - 1).saturating_sub((back / apart) as usize);
        while known[place].0 < at {
            place += 1;
        }
        while 0 < place && at <= known[place - 1].0 {
            place -= 1;
        }
        place
    }
}

#[cfg(test)]
mod tests {
    use frames::Ticker;
    use maths::statistics::straight_line;
    use model::Channel;
    use proptest::prelude::*;

    use super::*;

    fn at(second: i64) -> Timestamp {
        Timestamp::from_millis(1_772_427_600_000 + second * 1000)
    }

    /// Ticks of a second, so many apart; chocolate in thousandths, some without it.
    fn ticks(readings: &[(i64, Option<i32>)]) -> Vec<Tick> {
        let (mut ticker, mut second, mut ticks) = (Ticker::new(Span::from_secs(1)), 0, Vec::new());
        for (apart, thousandths) in readings {
            second += apart;
            let (channel, value) = match thousandths {
                Some(thousandths) => (Channel::Chocolate, f64::from(*thousandths) / 1000.0),
                None => (Channel::Room, 21.0),
            };
            ticks.extend(ticker.insert(channel, at(second), value));
        }
        ticks.extend(ticker.finish());
        ticks
    }

    proptest! {
        #[test]
        fn a_window_is_that_of_a_plain_list(
            readings in proptest::collection::vec(
                (prop_oneof![8 => Just(1i64), 1 => 2i64..900], proptest::option::weighted(0.9, -10_000i32..120_000)),
                1..900,
            ),
            forgotten in 0i64..2_000,
            asked in proptest::collection::vec((0i64..3_000, 0i64..700), 1..10),
        ) {
            let ticks = ticks(&readings);
            let mut recent = Recent::of(ticks.iter());
            recent.forget_before(at(forgotten));
            let plain: Vec<(Timestamp, f64)> = ticks.iter().filter_map(|t| Some((t.at, t.chocolate()?))).collect();
            let newest = plain.last().map_or(0, |(newest, _)| (*newest - at(0)).as_millis() / 1000);
            for (from, length) in asked {
                // From the newest backwards, some of it beyond.
                let from = at((newest - from).max(forgotten));
                let to = from + Span::from_secs(length);
                let inside: Vec<_> = plain.iter().filter(|(t, _)| from <= *t && *t < to).copied().collect();
                let Some(window) = recent.window(from, to) else {
                    prop_assert!(plain.is_empty() || at(newest) < at(forgotten) || from < at(newest) - KEPT);
                    continue;
                };
                prop_assert_eq!(window.map_or(0, |window| window.n), inside.len());
                let Some(window) = window else { continue };
                let mean = inside.iter().map(|(_, y)| y).sum::<f64>() / inside.len() as f64;
                prop_assert!((window.mean() - mean).abs() < 1e-6, "{} {mean}", window.mean());
                prop_assert_eq!((window.first, window.last), (inside[0].0, inside[inside.len() - 1].0));
                let (t, y): (Vec<_>, Vec<_>) =
                    inside.iter().map(|(t, y)| ((*t - to).as_mins_f64(), *y)).unzip();
                if let Ok(line) = straight_line(&t, &y) {
                    // Two readings of a second may be a hundred degrees apart here.
                    let slope = window.slope(to);
                    prop_assert!((slope - line.slope).abs() < 1e-4 + 1e-8 * line.slope.abs(), "{slope} {}", line.slope);
                }
            }
        }
    }
}
