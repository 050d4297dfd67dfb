//! How often the chocolate is measured: windows and gaps follow it.
//!
//! A machine reports every few seconds, a logger every minute, a person every few minutes, and some loggers only what has moved. The
//! usual spacing is the median of the newest, in the readings' own time: arrivals come in bundles and say nothing of it.

use std::collections::VecDeque;

use model::{Span, Timestamp};
use serde::{Deserialize, Serialize};

use crate::bounded::{remember, remember_newest};

/// Enough for a median that neither a burst nor a pause moves.
const REMEMBERED: usize = 15;
/// A pause of so many usual spacings, or of a minute if that is longer, leaves something unknown (contract, `silent`).
const GAP_SPACINGS: i64 = 5;
const SHORTEST_GAP: Span = Span::from_secs(60);
/// From this spacing on, a window of a few minutes holds too few readings to speak for itself.
const SPARSE: Span = Span::from_secs(45);
/// Up to here a controller's step can be told by the readings around it.
const BY_THE_MINUTE: Span = Span::from_secs(75);
/// A window over sparse readings holds two spacings and half of another, so that three readings are usually in it.
const WINDOW_HALF_SPACINGS: i64 = 5;

/// A logger that tells only what has moved never tells less of a move than this, °C (common practice 0.1 to 0.5) ...
const LEAST_MOVE: f64 = 0.09;
/// ... but for a sign of life after its longest pause, nor much less than it usually does (on a quick fall it overshoots its bound) ...
const EVEN_MOVES: f64 = 0.4;
/// ... which is less than a person would wait for ...
const MOST_USUAL_MOVE: f64 = 0.8;
/// ... and its spacings differ by this much, since the chocolate does not always move alike.
const UNEVEN_SPACINGS: i64 = 3;
/// It is sure to be one where they differ by so many times more than its moves do: of one that is read now and then the longer spacings hold the
/// larger moves.
const MORE_UNEVEN: f64 = 1.5;
/// One step of such a logger is no move yet.
const STEP_AND_A_HALF: f64 = 1.5;
/// Readings of a display with no coarser step than this, °C, show a tenth of a degree in their mean: they flicker between two steps (from
/// made-up days).
const FINE: f64 = 0.3;
/// So many readings show it.
const SHOWN_BY: usize = 5;

/// The smallest of so many moves from one reading to the next is the step of the display: among them is one of a single step.
const MOVES_FOR_GRAIN: usize = 40;
/// Fewer of them say nothing of it yet.
const GRAIN_SHOWN_BY: usize = 5;

/// A logger on change: it tells only what has moved.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct OnChange {
    /// Its usual move, °C.
    usual: f64,
    /// Its moves are alike beside its spacings.
    is_sure: bool,
}

/// The usual spacing of a machine's chocolate.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Pace {
    last: Option<Timestamp>,
    spacings: Vec<Span>,
    usual: Span,
    on_change: Option<OnChange>,
    reading: Option<(Timestamp, f64)>,
    /// The newest readings: how long after the one before each came, and by how much it differed, °C.
    readings: VecDeque<(Span, f64)>,
    /// The newest of the differences that are none of zero.
    moves: VecDeque<f64>,
    grain: f64,
}

impl Pace {
    /// Takes a tick with chocolate; says whether something is missing before it.
    pub(crate) fn step(&mut self, at: Timestamp) -> bool {
        let Some(last) = self.last.replace(at) else { return false };
        let spacing = at - last;
        // What comes only when it moves has not moved while nothing came.
        let gap = !self.spacings.is_empty() && spacing > self.longest_gap() && self.on_change.is_none();
        // Of one that is read evenly nothing new is to be remembered.
        let is_new = self.spacings.len() < REMEMBERED || self.spacings.iter().any(|known| *known != spacing);
        if is_new && remember(&mut self.spacings, spacing, REMEMBERED) != Some(spacing) {
            let mut sorted = self.spacings.clone();
            sorted.sort_unstable();
            self.usual = sorted[sorted.len() / 2];
        }
        self.on_change = self.on_change_by_readings();
        gap
    }

    /// Takes a reading as it came: what it differs by from the one before shows its smallest step, and whether it tells only what has moved.
    #[inline]
    pub(crate) fn note_reading(&mut self, at: Timestamp, value: f64) {
        let Some((last, before)) = self.reading.replace((at, value)) else { return };
        let moved = (value - before).abs();
        remember_newest(&mut self.readings, (at - last, moved), REMEMBERED);
        if moved < f64::EPSILON * 100.0 {
            return;
        }
        let forgotten = remember_newest(&mut self.moves, moved, MOVES_FOR_GRAIN);
        if self.moves.len() > GRAIN_SHOWN_BY && moved <= self.grain {
            self.grain = moved;
        } else if forgotten.is_none_or(|forgotten| forgotten <= self.grain) {
            self.grain = self.smallest_move();
        }
    }

    fn smallest_move(&self) -> f64 {
        let enough = self.moves.len() >= GRAIN_SHOWN_BY;
        if enough { self.moves.iter().copied().fold(f64::INFINITY, f64::min) } else { 0.0 }
    }

    /// The smallest move that the readings can tell, °C; 0 while it is not known.
    pub(crate) fn grain(&self) -> f64 {
        self.grain
    }

    /// What the newest readings show of a logger that tells only what has moved; `None` of any other.
    fn on_change_by_readings(&self) -> Option<OnChange> {
        let mut spacings = self.readings.iter().map(|(spacing, _)| *spacing);
        let first = spacings.next()?;
        let (longest, shortest) =
            spacings.fold((first, first), |(longest, shortest), s| (longest.max(s), shortest.min(s)));
        if longest < shortest * UNEVEN_SPACINGS {
            return None;
        }
        let is_sign_of_life = |spacing: Span| spacing * 5 >= longest * 4;
        let told = |&&(spacing, moved): &&(Span, f64)| moved >= LEAST_MOVE || !is_sign_of_life(spacing);
        let mut moves: Vec<f64> = self.readings.iter().filter(told).map(|(_, moved)| *moved).collect();
        moves.sort_unstable_by(f64::total_cmp);
        let (least, usual, most) = (*moves.first()?, moves[moves.len() / 2], *moves.last()?);
        let is_on_change = moves.len() >= SHOWN_BY
            && least >= LEAST_MOVE.max(EVEN_MOVES * usual)
            && usual <= MOST_USUAL_MOVE;
        let spacings_differ_by = longest.as_secs_f64() / shortest.as_secs_f64();
        is_on_change.then_some(OnChange { usual, is_sure: MORE_UNEVEN * most / least <= spacings_differ_by })
    }

    /// How far apart two readings may be before something is missing between them.
    pub(crate) fn longest_gap(&self) -> Span {
        SHORTEST_GAP.max(self.usual * GAP_SPACINGS)
    }

    /// Does it tell what has moved, and nothing while nothing does?
    pub(crate) fn is_on_change(&self) -> bool {
        self.on_change.is_some()
    }

    /// The same, beyond doubt.
    pub(crate) fn is_surely_on_change(&self) -> bool {
        self.on_change.is_some_and(|on_change| on_change.is_sure)
    }

    /// Are readings so far apart that what lies between them is drawn as a straight line?
    pub(crate) fn is_sparse(&self) -> bool {
        self.is_on_change() || self.usual >= SPARSE
    }

    /// Does it report by the minute at least, and not only what has moved?
    pub(crate) fn is_by_the_minute(&self) -> bool {
        !self.is_on_change() && self.usual <= BY_THE_MINUTE
    }

    /// A move that is noise to a probe that flickers by `noise`, °C: less than two steps of a logger that tells only what has moved.
    pub(crate) fn coarsened(&self, noise: f64) -> f64 {
        noise.max(STEP_AND_A_HALF * self.on_change.map_or(0.0, |on_change| on_change.usual))
    }

    /// For how long a move of at least `slowest`, °C/min, may look like none: a display may stand between two of its steps.
    pub(crate) fn stands_still(&self, slowest: f64) -> Span {
        Span::from_mins_f64(STEP_AND_A_HALF * self.grain / slowest)
    }

    /// Does the mean of its readings show a tenth of a degree?
    pub(crate) fn is_fine(&self) -> bool {
        self.grain <= FINE
    }

    /// A window that is meant to be `window` long, long enough to hold a few readings.
    pub(crate) fn widened(&self, window: Span) -> Span {
        if !self.is_sparse() {
            return window;
        }
        window.max(self.usual * WINDOW_HALF_SPACINGS / 2)
    }

    /// How long so many readings usually take.
    pub(crate) fn of_readings(&self, readings: i64) -> Span {
        self.usual * readings
    }

    /// So many readings make a slope.
    pub(crate) fn fewest(&self) -> usize {
        if self.is_sparse() { 2 } else { 3 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn paced(seconds: &[i64]) -> (Pace, Vec<bool>) {
        let mut pace = Pace::default();
        let gaps = seconds.iter().map(|&second| pace.step(Timestamp::from_millis(second * 1000))).collect();
        (pace, gaps)
    }

    #[test]
    fn a_machine_that_reports_every_five_seconds_has_a_gap_after_a_minute() {
        let (pace, gaps) = paced(&[0, 5, 10, 15, 75, 141]);
        assert_eq!(gaps, [false, false, false, false, false, true]);
        assert_eq!(pace.widened(Span::from_mins(3)), Span::from_mins(3));
        assert_eq!(pace.fewest(), 3);
    }

    #[test]
    fn the_smallest_step_of_a_display_is_seen() {
        let mut pace = Pace::default();
        for value in [31.5, 31.5, 32.0, 31.5, 31.0] {
            pace.note_reading(Timestamp::default(), value);
        }
        assert_eq!(pace.grain(), 0.0, "three moves say nothing yet");
        for value in [30.0, 29.5, 28.5, 28.0, 28.0] {
            pace.note_reading(Timestamp::default(), value);
        }
        assert_eq!(pace.grain(), 0.5);
    }

    #[test]
    fn a_person_who_looks_every_five_minutes_may_miss_four_looks() {
        let (pace, gaps) = paced(&[0, 300, 600, 900, 2_300, 4_000]);
        assert_eq!(gaps, [false, false, false, false, false, true]);
        assert_eq!(pace.widened(Span::from_mins(3)), Span::from_secs(750));
        assert_eq!(pace.fewest(), 2);
    }

    /// Takes readings `seconds apart, °C`; the usual move of a logger that tells only what has moved, if it is taken for one.
    fn on_change(readings: &[(i64, f64)]) -> Option<f64> {
        let (mut pace, mut second) = (Pace::default(), 0);
        for (apart, value) in readings {
            second += apart;
            pace.note_reading(Timestamp::from_millis(second * 1000), *value);
            pace.step(Timestamp::from_millis(second * 1000));
        }
        pace.on_change.map(|on_change| on_change.usual)
    }

    #[test]
    fn a_logger_on_change_is_one_with_a_sign_of_life_and_on_a_quick_fall() {
        let hold = [
            (0, 31.5),
            (20, 31.7),
            (90, 31.5),
            (600, 31.5),
            (40, 31.3),
            (200, 31.5),
            (600, 31.5),
            (70, 31.7),
        ];
        assert!(
            (on_change(&hold).unwrap() - 0.2).abs() < 1e-9,
            "the same after its longest pause is a sign of life"
        );
        let falls =
            [(0, 34.8), (140, 34.6), (24, 34.2), (2, 34.0), (30, 33.7), (2, 33.5), (40, 33.2), (58, 33.0)];
        assert!(on_change(&falls).is_some());
    }

    #[test]
    fn a_steady_probe_and_a_person_are_no_logger_on_change() {
        let steady: Vec<_> = (0..12).map(|i| (30, 40.0 - 0.3 * f64::from(i))).collect();
        assert_eq!(on_change(&steady), None, "its spacings are even");
        let person = [(0, 20.1), (70, 22.5), (20, 25.0), (90, 27.5), (200, 28.6), (30, 30.0), (60, 31.2)];
        assert_eq!(on_change(&person), None, "nobody waits for a degree and a half");
        let flickers = [(0, 31.5), (5, 31.5), (60, 31.6), (5, 31.5), (5, 31.5), (70, 31.4), (5, 31.4)];
        assert_eq!(on_change(&flickers), None, "it says the same twice at once");
    }
}
