//! What is gathered over the newest ticks, from the newest backwards: sums are added up in that order wherever they are asked for.

use frames::Tick;
use model::{Span, Timestamp};

use super::{History, further};

/// Takes tick after tick.
pub(super) trait Gathers {
    fn add(&mut self, tick: &Tick);
}

impl History {
    /// Gathers the chocolate of the last `back`, from the newest backwards. Detectors ask at every tick, so those that lie open, nearly always all
    /// of them, have a loop of their own.
    #[inline]
    pub(super) fn look_back<G: Gathers>(&self, now: Timestamp, back: Span, mut gathered: G) -> G {
        let (from, to) = last(now, back);
        for tick in self.open_between(from, to).rev() {
            gathered.add(tick);
        }
        let packed = self.packed_between(from, to);
        if !packed.is_empty() {
            let old = self.pieces.range(packed).rev().flat_map(|piece| self.unpack(piece).rev());
            old.filter(|tick| from <= tick.at && tick.at < to).for_each(|tick| gathered.add(&tick));
        }
        gathered
    }
}

/// The last `back` before `now`, `now` included.
pub(super) fn last(now: Timestamp, back: Span) -> (Timestamp, Timestamp) {
    let instant = Span::from_millis(1);
    (now - back + instant, now + instant)
}

/// Of a mean.
#[derive(Debug, Default)]
pub(super) struct Mean {
    pub(super) n: usize,
    pub(super) sum: f64,
}

impl Gathers for Mean {
    #[inline(always)]
    fn add(&mut self, tick: &Tick) {
        if let Some(chocolate) = tick.chocolate() {
            self.n += 1;
            self.sum += chocolate;
        }
    }
}

/// Lowest and highest.
#[derive(Debug, Default)]
pub(super) struct Extremes(pub(super) Option<(f64, f64)>);

impl Gathers for Extremes {
    #[inline(always)]
    fn add(&mut self, tick: &Tick) {
        if let Some(chocolate) = tick.chocolate() {
            self.0 = Some(further(self.0, chocolate));
        }
    }
}

/// Of a straight line; minutes from `now`.
#[derive(Debug)]
pub(super) struct Sums {
    pub(super) now: Timestamp,
    pub(super) n: usize,
    pub(super) sum_t: f64,
    pub(super) sum_y: f64,
    pub(super) sum_tt: f64,
    pub(super) sum_ty: f64,
    /// The newest.
    pub(super) last: Option<Timestamp>,
    /// The oldest.
    pub(super) first: Timestamp,
}

impl Gathers for Sums {
    #[inline(always)]
    fn add(&mut self, tick: &Tick) {
        let Some(y) = tick.chocolate() else { return };
        let t = (tick.at - self.now).as_mins_f64();
        self.n += 1;
        self.sum_t += t;
        self.sum_y += y;
        self.sum_tt += t * t;
        self.sum_ty += t * y;
        self.first = tick.at;
        self.last.get_or_insert(tick.at);
    }
}
