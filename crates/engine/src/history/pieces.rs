//! A history on disk: what is not packed stands in the saved state, the pieces beside it, each written once.

use std::ops::Range;

use frames::{PackedTicks, Tick};
use model::Timestamp;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::{History, OPEN, Recent};

/// What stands in the saved state.
#[derive(Serialize, Deserialize)]
struct Bare {
    first_piece: u32,
    pieces: u32,
    kept_from: Option<Timestamp>,
    unpacked: Vec<Tick>,
}

impl Serialize for History {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Range { start, end } = self.numbers();
        let unpacked = self.ticks.range(self.ticks.len() - self.unpacked..).copied().collect();
        Bare { first_piece: start, pieces: end - start, kept_from: self.kept_from, unpacked }
            .serialize(serializer)
    }
}

/// Without its pieces, which [`History::take_up`] brings.
impl<'de> Deserialize<'de> for History {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<History, D::Error> {
        let Bare { first_piece, pieces, kept_from, unpacked } = Bare::deserialize(deserializer)?;
        Ok(History {
            first_piece,
            unpacked: unpacked.len(),
            len: unpacked.len(),
            recent: Recent::of(unpacked.iter()),
            ticks: unpacked.into(),
            kept_from,
            awaited: pieces,
            ..History::default()
        })
    }
}

impl History {
    /// The numbers of the pieces that it consists of, besides what stands in the state.
    pub(crate) fn numbers(&self) -> Range<u32> {
        let pieces = u32::try_from(self.pieces.len()).expect("a week of ticks is some thousand pieces");
        self.first_piece..self.first_piece + pieces
    }

    /// A piece of it, as it is to be kept.
    pub(crate) fn piece(&self, number: u32) -> Option<&[u8]> {
        let place = number.checked_sub(self.first_piece)? as usize;
        self.pieces.get(place).map(PackedTicks::as_bytes)
    }

    /// The numbers of the pieces that a history out of a saved state has to be given.
    pub(crate) fn awaited(&self) -> Range<u32> {
        self.first_piece..self.first_piece.saturating_add(self.awaited)
    }

    /// Takes up its pieces, all that it awaits and in their order.
    pub(crate) fn take_up(&mut self, pieces: Vec<PackedTicks>) {
        self.awaited = 0;
        self.pieces = pieces.into();
        self.open_again();
        self.recent = Recent::of(self.ticks.iter());
        self.count();
    }

    /// Opens the pieces that lay open when the state was saved.
    fn open_again(&mut self) {
        let newest = self.ticks.back().map(|tick| tick.at).or(self.pieces.back().map(PackedTicks::last));
        let Some(newest) = newest else { return };
        let open = self.pieces.iter().rev().take_while(|piece| newest - OPEN <= piece.last()).count();
        let opened: Vec<Tick> =
            self.pieces.range(self.pieces.len() - open..).flat_map(|piece| self.unpack(piece)).collect();
        opened.into_iter().rev().for_each(|tick| self.ticks.push_front(tick));
        self.opened = open;
    }
}

#[cfg(test)]
mod tests {
    use frames::Ticker;
    use model::{Channel, Span};
    use proptest::prelude::*;

    use super::*;
    use crate::history::{MOST_TICKS, PIECE, mean};

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_millis(1_772_427_600_000 + seconds * 1000)
    }

    fn ticks(steps: &[i64]) -> Vec<Tick> {
        let (mut ticker, mut now) = (Ticker::new(Span::from_secs(5)), 0);
        let tick = |(n, step): (usize, &i64)| {
            now += step * 5;
            ticker.insert(Channel::Chocolate, at(now), 31.0 + (n * 7 % 23) as f64 / 100.0)
        };
        steps.iter().enumerate().filter_map(tick).collect()
    }

    fn of(ticks: impl Iterator<Item = Tick>) -> Vec<(Timestamp, Option<f64>)> {
        ticks.map(|tick| (tick.at, tick.chocolate())).collect()
    }

    /// Saved and taken up again, its pieces beside it.
    fn through_disk(history: &History) -> History {
        let mut again: History = postcard::from_bytes(&postcard::to_stdvec(history).unwrap()).unwrap();
        let piece = |number| PackedTicks::from_bytes(history.piece(number).unwrap().to_vec()).unwrap();
        again.take_up(again.awaited().map(piece).collect());
        again
    }

    proptest! {
        /// Packing, forgetting and restarting change no answer: the same questions to a plain list.
        #[test]
        fn answers_as_a_plain_list_does(
            steps in proptest::collection::vec(prop_oneof![9 => Just(1i64), 1 => 1i64..400], 1..2_000),
            forgotten in proptest::collection::vec((0usize..2_000, 0i64..20_000), 0..4),
            restarts in proptest::collection::vec(0usize..2_000, 0..4),
            asked in proptest::collection::vec((0i64..30_000, 0i64..30_000), 1..8),
        ) {
            let (mut history, mut plain) = (History::default(), Vec::new());
            for (n, tick) in ticks(&steps).into_iter().enumerate() {
                history.push(tick);
                plain.push(tick);
                for (_, from) in forgotten.iter().filter(|(when, _)| *when == n) {
                    // Never what is still to come.
                    let from = at(*from).min(tick.at);
                    history.forget_before(from);
                    plain.retain(|tick| from <= tick.at);
                }
                if restarts.contains(&n) {
                    history = through_disk(&history);
                }
            }
            prop_assert_eq!(history.len, plain.len());
            prop_assert_eq!(history.first_at(), plain.first().map(|tick| tick.at));
            prop_assert_eq!(of(history.all()), of(plain.iter().copied()));
            for (from, to) in asked {
                let (from, to) = (at(from), at(to));
                let inside = |tick: &&Tick| from <= tick.at && tick.at < to;
                prop_assert_eq!(of(history.between(from, to)), of(plain.iter().filter(inside).copied()));
                prop_assert_eq!(of(history.between(from, to).rev()), of(plain.iter().rev().filter(inside).copied()));
                let back = to - from;
                let young = |tick: &&Tick| tick.at <= to && to - tick.at < back;
                let newest: Vec<f64> = plain.iter().rev().filter(young).filter_map(Tick::chocolate).collect();
                let lowest = newest.iter().copied().min_by(f64::total_cmp);
                let (found, plainly) = (history.mean_over(to, back), mean(newest.iter().copied()));
                prop_assert_eq!(found.is_some(), plainly.is_some());
                prop_assert!(found.zip(plainly).is_none_or(|(a, b)| (a - b).abs() < 1e-6), "{found:?} {plainly:?}");
                prop_assert_eq!(history.extremes(to, back).map(|(low, _)| low), lowest);
                let line = history.line_through(to, back, 1);
                prop_assert!(line.is_none_or(|line| line.n == newest.len()), "{line:?}");
                prop_assert_eq!(of(history.laid_open(from).between(from, to)), of(history.between(from, to)));
            }
            let again = through_disk(&history);
            prop_assert_eq!(of(again.ticks.iter().copied()), of(history.ticks.iter().copied()));
            prop_assert_eq!((again.len, again.opened, again.numbers()), (history.len, history.opened, history.numbers()));
        }
    }

    #[test]
    fn what_lies_open_takes_little_more_room_than_it_needs() {
        let mut history = History::default();
        for tick in ticks(&[1; 2_000]) {
            history.push(tick);
            assert!(history.ticks.capacity() < history.ticks.len() + 2 * PIECE, "{}", history.ticks.len());
        }
        let an_hour = 720;
        assert!(history.ticks.capacity() <= an_hour + 2 * PIECE, "{}", history.ticks.capacity());
    }

    #[test]
    fn a_full_history_forgets_its_oldest_piece() {
        let most = i64::try_from(MOST_TICKS).unwrap();
        let mut history = History::default();
        ticks(&vec![1; MOST_TICKS + 2]).into_iter().for_each(|tick| history.push(tick));
        assert_eq!(history.len, MOST_TICKS + 1 - PIECE);
        let first = at(5) + Span::from_secs(5 * i64::try_from(PIECE).unwrap());
        assert_eq!(history.first_at(), Some(first));
        assert_eq!(history.ticks.back().map(|tick| tick.at), Some(at(5 * (most + 1))));
    }
}
