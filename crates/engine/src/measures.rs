//! The figures of a batch, from its ticks and phases (contract, section 7). What cannot be computed is `None`.
//!
//! Extremes are of the level (mean of 20 s), so that one noisy reading is no record; means and deviations are of the raw good readings.

mod time_constant;
mod way_down;

use frames::Tick;
use maths::exposure::{Band, Exposure, Meter};
use model::{Measures, Phase, PhaseSpan, Span, Timestamp};
use plant::Limits;

use self::time_constant::time_constant;
use self::way_down::WayDown;
use crate::history::{History, extremes, mean};

/// What a batch is measured with.
pub(crate) struct Measured<'a> {
    pub(crate) history: &'a History,
    pub(crate) phases: &'a [PhaseSpan],
    pub(crate) limits: &'a Limits,
    /// When somebody reported seed.
    pub(crate) seeded_at: Option<Timestamp>,
    /// How far is known; open phases are measured up to here.
    pub(crate) now: Timestamp,
    /// Readings further apart than this leave something unknown between them.
    pub(crate) longest_gap: Span,
}

/// Level: mean of so many neighbouring ticks before and after.
const LEVEL_REACH: Span = Span::from_secs(10);
/// ... and to see a dip, which is a matter of minutes, this far.
const DIP_REACH: Span = Span::from_secs(30);
/// The settled level is the mean of these minutes of working (contract, section 6, `hold-drift`).
pub(crate) const SETTLED: (Span, Span) = (Span::from_mins(10), Span::from_mins(30));
/// Independent enough for a slope (contract: block means).
const BLOCK: Span = Span::from_mins(5);
/// A slope looks at every pair of blocks; longer holds are cut into longer blocks.
const MOST_BLOCKS: i64 = 120;
/// Of the slope's interval, which is not shown yet.
const DRIFT_COVERAGE: f64 = 0.95;
/// Newton holds above the crystals; they form below about this far above the working range.
const ABOVE_CRYSTALS: f64 = 1.0;
/// A person reports seed so much too early or too late.
const REPORTED_WITHIN: Span = Span::from_mins(10);
/// A cooling whose begin or end nobody saw has no length, unless it is known to so much of itself (start value).
const KNOWN_TO_PER_CENT: i64 = 5;
/// What moves less while nothing is heard of it has not left its level meanwhile, °C: a logger on change says nothing then (start value).
const STANDS_WITHIN: f64 = 0.8;
const LONGEST_UNSEEN: Span = Span::from_hours(12);

pub(crate) fn measure(batch: &Measured<'_>) -> Measures {
    let cooling = batch.span(Phase::Cooling);
    let working = batch.span(Phase::Working);
    let until_working = working.or(batch.span(Phase::Settling).map(|(_, to)| (to, to)));
    let way_down = cooling.zip(until_working).map(|((from, _), (to, _))| (from, to));
    let seen_whole = batch.span(Phase::Soak).is_some();
    let dip = way_down.and_then(|(from, to)| batch.way_down(from, to).dip());
    let (tau, against) = cooling
        .and_then(|(from, to)| {
            let crystals = batch.limits.working.high() + ABOVE_CRYSTALS;
            time_constant(batch.history, from, dip.map_or(to, |dip| dip.from.min(to)), crystals)
        })
        .unzip();
    let (above, unknown) = batch.above_loss().unzip();
    let raw = working.map(|(from, to)| raw_moments(batch.history.between(from, to)));
    Measures {
        soak_max_c: batch
            .span(Phase::Soak)
            .and_then(|(from, to)| extremes(batch.levels(from, to).into_iter().map(|(_, v)| v)))
            .map(|(_, high)| high),
        cooling_minutes: cooling
            .filter(|_| seen_whole && batch.phases.iter().any(|span| span.phase == Phase::Settling))
            .filter(|&(from, to)| {
                let apart = batch.longest_gap.max((to - from) * KNOWN_TO_PER_CENT / 100);
                batch.is_seen(from, apart) && batch.is_seen(to, apart)
            })
            .map(|(from, to)| (to - from).as_mins_f64()),
        cooling_tau_min: tau,
        cooling_tau_against: against,
        lowest_c: way_down
            .and_then(|(from, to)| extremes(batch.levels(from, to).into_iter().map(|(_, v)| v)))
            .map(|(low, _)| low),
        seed_dip_c: dip.map(|dip| dip.depth),
        settled_c: working.filter(|(from, to)| *to - *from >= SETTLED.1).and_then(|(from, _)| {
            raw_moments(batch.history.between(from + SETTLED.0, from + SETTLED.1)).mean()
        }),
        working_minutes: working.map(|(from, to)| (to - from).as_mins_f64()),
        working_mean_c: raw.and_then(|raw| raw.mean()),
        working_sd_c: raw.and_then(|raw| raw.deviation()),
        drift_c_per_h: working.and_then(|(from, to)| batch.drift(from, to)),
        above_loss_c_min: above,
        unknown_minutes: unknown,
    }
}

impl Measured<'_> {
    /// From the first moment of a phase to its last, over all its spans.
    pub(crate) fn span(&self, phase: Phase) -> Option<(Timestamp, Timestamp)> {
        let first = self.phases.iter().find(|span| span.phase == phase)?;
        let last = self.phases.iter().rfind(|span| span.phase == phase)?;
        Some((first.from, last.to.unwrap_or(self.now)))
    }

    /// Was the chocolate seen all around `at`, never `apart` without a reading while it moved? What lies at the edge of a gap may have been in it.
    fn is_seen(&self, at: Timestamp, apart: Span) -> bool {
        let (from, to) = (at - apart * 2, at + apart * 2);
        let before = self.history.chocolate(from - LONGEST_UNSEEN, from).next_back();
        let after = self.history.chocolate(to, to + LONGEST_UNSEEN).next();
        let around = before.into_iter().chain(self.history.chocolate(from, to)).chain(after);
        let around: Vec<(Timestamp, f64)> = around.collect();
        let is_known = |pair: &[(Timestamp, f64)]| {
            pair[1].0 - pair[0].0 <= apart || (pair[1].1 - pair[0].1).abs() <= STANDS_WITHIN
        };
        around.windows(2).all(is_known)
    }

    /// The chocolate between two moments, each tick averaged with its neighbours, and dated by their middle: where one is missing the others lean to one
    /// side.
    fn levels(&self, from: Timestamp, to: Timestamp) -> Vec<(Timestamp, f64)> {
        self.levels_over(from, to, LEVEL_REACH)
    }

    /// The same with the neighbours of so long before and behind it.
    fn levels_over(&self, from: Timestamp, to: Timestamp, reach: Span) -> Vec<(Timestamp, f64)> {
        let ticks: Vec<_> = self.history.chocolate(from, to).collect();
        let near = |i: usize| {
            let (at, _) = ticks[i];
            let before = ticks[..i].iter().rev().take_while(|(t, _)| at - *t <= reach);
            let after = ticks[i..].iter().take_while(|(t, _)| *t - at <= reach);
            let near = || before.clone().chain(after.clone());
            let aside =
                near().map(|&(t, _)| (t - at).as_millis()).sum::<i64>() / near().count().max(1) as i64;
            mean(near().map(|&(_, value)| value)).map(|level| (at + Span::from_millis(aside), level))
        };
        (0..ticks.len()).filter_map(near).collect()
    }

    /// The way down, with what seed may have done on it; near a reported seeding if there is one.
    pub(crate) fn way_down(&self, from: Timestamp, to: Timestamp) -> WayDown {
        let is_near = |at: Timestamp| {
            self.seeded_at
                .is_none_or(|seeded| at >= seeded - REPORTED_WITHIN && at <= seeded + REPORTED_WITHIN)
        };
        WayDown::new(self.levels_over(from, to + WayDown::looks_beyond(), DIP_REACH), to, is_near)
    }

    fn drift(&self, from: Timestamp, to: Timestamp) -> Option<f64> {
        let length = BLOCK.max(Span::from_millis((to - from).as_millis() / MOST_BLOCKS));
        let blocks = (to - from).as_millis() / length.as_millis();
        let (mut hours, mut means) = (Vec::new(), Vec::new());
        for i in 0..blocks {
            let block_from = from + length * i;
            if let Some(block) = raw_moments(self.history.between(block_from, block_from + length)).mean() {
                hours.push((block_from - from).as_mins_f64() / 60.0);
                means.push(block);
            }
        }
        maths::trend::theil_sen(&hours, &means, DRIFT_COVERAGE).ok().map(|line| line.slope)
    }

    /// Area above the temper-loss limit, and the minutes of which nothing is known.
    fn above_loss(&self) -> Option<(f64, f64)> {
        let band =
            Band::new(f64::NEG_INFINITY, self.limits.temper_loss, self.longest_gap.as_secs_f64()).ok()?;
        let mut sum = Exposure::default();
        for span in self.phases.iter().filter(|span| matches!(span.phase, Phase::Settling | Phase::Working)) {
            let mut meter = Meter::new(band);
            for (at, value) in self.history.chocolate(span.from, span.to.unwrap_or(self.now)) {
                meter.insert((at - span.from).as_secs_f64(), Some(value));
            }
            sum = sum.combine(meter.total());
        }
        self.span(Phase::Settling).or(self.span(Phase::Working))?;
        Some((sum.above_c_min, sum.unknown_s / 60.0))
    }
}

/// Count, mean and sum of squares, put together tick by tick (Chan, Golub and LeVeque 1979).
#[derive(Debug, Clone, Copy, Default)]
struct RawMoments {
    n: f64,
    mean: f64,
    m2: f64,
}

impl RawMoments {
    fn mean(self) -> Option<f64> {
        (self.n > 0.0).then_some(self.mean)
    }

    fn deviation(self) -> Option<f64> {
        (self.n > 1.0).then(|| (self.m2 / (self.n - 1.0)).sqrt())
    }
}

fn raw_moments(ticks: impl Iterator<Item = Tick>) -> RawMoments {
    ticks.fold(RawMoments::default(), |sum, tick| {
        let Some(mean) = tick.chocolate() else { return sum };
        let (count, distance) = (f64::from(tick.n), mean - sum.mean);
        let n = sum.n + count;
        RawMoments {
            n,
            mean: sum.mean + distance * count / n,
            m2: sum.m2 + tick.m2() + distance * distance * sum.n * count / n,
        }
    })
}
