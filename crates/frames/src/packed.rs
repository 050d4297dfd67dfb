//! Ticks packed, without a bit lost: what a machine did hours ago is looked at seldom and must not fill the memory.
//!
//! Column by column: values that are thousandths, as probes send them, as steps from one to the next; all others by the bits in which they
//! differ from the one before. Each column's bytes lie plane by plane, and zstd takes them from there. A day of a kettle takes about a fifth
//! of what it takes as [`Tick`]s.

use std::cell::RefCell;
use std::sync::Arc;

use model::{Channel, Timestamp};
use zstd::bulk::Decompressor;

use crate::tick::Tick;

/// Quick, and nearly as small as the higher ones.
const LEVEL: i32 = 1;
/// The decimal place of what a probe sends.
const THOUSANDTHS: f64 = 1000.0;
/// No value, among thousandths.
const NOTHING: i32 = i32::MIN;
/// Ticks in one piece; bytes that tell of more were not written by us.
const MOST: u32 = 1 << 16;

thread_local! {
    /// Made once a thread: a new one costs as much as a piece.
    static UNPACKER: RefCell<Option<Decompressor<'static>>> = RefCell::new(Decompressor::new().ok());
}

/// Some ticks in a row, which do not change any more.
#[derive(Debug, Clone, PartialEq)]
pub struct PackedTicks {
    first: Timestamp,
    last: Timestamp,
    len: u32,
    /// All of it, with the head.
    bytes: Arc<[u8]>,
}

/// How many, and when the first and the last began.
const HEAD: usize = 4 + 8 + 8;

impl PackedTicks {
    /// Packs ticks; `None` of none, or of more than go into one piece.
    pub fn pack(ticks: &[Tick]) -> Option<PackedTicks> {
        let (first, last) = (ticks.first()?.at, ticks.last()?.at);
        let len = u32::try_from(ticks.len()).ok().filter(|len| *len <= MOST)?;
        let mut plain = Vec::with_capacity(ticks.len() * 32);
        let mut before = first;
        let steps = ticks.iter().map(|tick| {
            let step = (tick.at - before).as_millis();
            before = tick.at;
            step.to_le_bytes()
        });
        put_planes(&mut plain, steps);
        put_planes(&mut plain, ticks.iter().map(|tick| tick.n.to_le_bytes()));
        for column in 0..COLUMNS {
            put_column(&mut plain, ticks.iter().map(|tick| tick.column(column)));
        }
        let mut bytes = len.to_le_bytes().to_vec();
        bytes.extend(first.as_millis().to_le_bytes());
        bytes.extend(last.as_millis().to_le_bytes());
        bytes.extend(zstd::bulk::compress(&plain, LEVEL).ok()?);
        Some(PackedTicks { first, last, len, bytes: bytes.into() })
    }

    /// The ticks, as they were; `None` if the bytes are not those of packed ticks.
    pub fn unpack(&self) -> Option<Vec<Tick>> {
        let len = self.len as usize;
        let room = len * (8 + 2 + 4 * COLUMNS) + COLUMNS;
        let plain = UNPACKER.with(|unpacker| {
            let mut unpacker = unpacker.borrow_mut();
            unpacker.as_mut()?.decompress(self.bytes.get(HEAD..)?, room).ok()
        })?;
        let mut rest = plain.as_slice();
        let steps: Vec<i64> = planes(&mut rest, len)?.map(i64::from_le_bytes).collect();
        let counts = planes(&mut rest, len)?.map(u16::from_le_bytes);
        let mut at = self.first.as_millis();
        let bare = |(step, n): (&i64, u16)| {
            at = at.wrapping_add(*step);
            Tick::bare(Timestamp::from_millis(at), n)
        };
        let mut ticks: Vec<Tick> = steps.iter().zip(counts).map(bare).collect();
        for column in 0..COLUMNS {
            let values = take_column(&mut rest, len)?;
            ticks.iter_mut().zip(values).for_each(|(tick, value)| tick.set_column(column, value));
        }
        rest.is_empty().then_some(ticks)
    }

    /// What is to be kept on disk.
    pub fn as_bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// From such bytes; `None` if they have no head like that. The rest is looked at when it is unpacked.
    pub fn from_bytes(bytes: Vec<u8>) -> Option<PackedTicks> {
        let (len, rest) = bytes.split_first_chunk::<4>()?;
        let (first, rest) = rest.split_first_chunk::<8>()?;
        let (last, _) = rest.split_first_chunk::<8>()?;
        let at = |bytes: &[u8; 8]| Timestamp::from_millis(i64::from_le_bytes(*bytes));
        let (len, first, last) = (u32::from_le_bytes(*len), at(first), at(last));
        (len <= MOST).then(|| PackedTicks { first, last, len, bytes: bytes.into() })
    }

    /// When the first of them began.
    pub fn first(&self) -> Timestamp {
        self.first
    }

    /// When the last of them began.
    pub fn last(&self) -> Timestamp {
        self.last
    }

    /// How many they are; never none.
    #[allow(clippy::len_without_is_empty, reason = "there is always one")]
    pub fn len(&self) -> usize {
        self.len as usize
    }
}

/// Mean, sum of squares, lowest and highest, and the other channels.
const COLUMNS: usize = 4 + Channel::ALL.len();

/// How the values of a column are written.
const AS_THOUSANDTHS: u8 = 1;
const AS_BITS: u8 = 0;

fn put_column(plain: &mut Vec<u8>, values: impl Iterator<Item = f32> + Clone) {
    let thousandths: Option<Vec<i32>> = values.clone().map(in_thousandths).collect();
    if let Some(thousandths) = thousandths {
        plain.push(AS_THOUSANDTHS);
        let mut before = 0i32;
        put_planes(
            plain,
            thousandths.iter().map(|&value| {
                let step = value.wrapping_sub(before);
                before = value;
                // Small steps in either direction are small numbers.
                ((step << 1) ^ (step >> 31)).to_le_bytes()
            }),
        );
    } else {
        plain.push(AS_BITS);
        let mut before = 0u32;
        put_planes(
            plain,
            values.map(|value| {
                let differs = value.to_bits() ^ before;
                before = value.to_bits();
                differs.to_le_bytes()
            }),
        );
    }
}

fn take_column(rest: &mut &[u8], len: usize) -> Option<Vec<f32>> {
    let (&how, after) = rest.split_first()?;
    *rest = after;
    let words = planes::<4>(rest, len)?;
    match how {
        AS_THOUSANDTHS => {
            let mut before = 0i32;
            let value = |word: [u8; 4]| {
                let folded = u32::from_le_bytes(word);
                let step = (folded >> 1) as i32 ^ -((folded & 1) as i32);
                before = before.wrapping_add(step);
                from_thousandths(before)
            };
            Some(words.map(value).collect())
        }
        AS_BITS => {
            let mut before = 0u32;
            let value = |word: [u8; 4]| {
                before ^= u32::from_le_bytes(word);
                f32::from_bits(before)
            };
            Some(words.map(value).collect())
        }
        _ => None,
    }
}

/// A value in thousandths, if it comes back from there to the last bit.
fn in_thousandths(value: f32) -> Option<i32> {
    if value.to_bits() == f32::NAN.to_bits() {
        return Some(NOTHING);
    }
    let thousandths = (f64::from(value) * THOUSANDTHS).round() as i32;
    (thousandths != NOTHING && from_thousandths(thousandths).to_bits() == value.to_bits())
        .then_some(thousandths)
}

fn from_thousandths(thousandths: i32) -> f32 {
    if thousandths == NOTHING { f32::NAN } else { (f64::from(thousandths) / THOUSANDTHS) as f32 }
}

/// First the lowest byte of each, then the next.
fn put_planes<const N: usize>(plain: &mut Vec<u8>, words: impl Iterator<Item = [u8; N]>) {
    let words: Vec<[u8; N]> = words.collect();
    for place in 0..N {
        plain.extend(words.iter().map(|word| word[place]));
    }
}

fn planes<'a, const N: usize>(
    rest: &mut &'a [u8],
    len: usize,
) -> Option<impl Iterator<Item = [u8; N]> + use<'a, N>> {
    let (here, after) = rest.split_at_checked(N * len)?;
    *rest = after;
    Some((0..len).map(move |i| std::array::from_fn(|place| here[place * len + i])))
}

#[cfg(test)]
mod tests {
    use model::Span;
    use proptest::prelude::*;

    use super::*;
    use crate::Ticker;

    fn packed_and_back(ticks: &[Tick]) -> Vec<Tick> {
        PackedTicks::pack(ticks).unwrap().unpack().unwrap()
    }

    /// Not by `==`, by which nothing that is not known is equal.
    fn same(a: &[Tick], b: &[Tick]) -> bool {
        format!("{a:?}") == format!("{b:?}")
    }

    #[test]
    fn nothing_is_not_packed_and_torn_bytes_are_refused() {
        assert_eq!(PackedTicks::pack(&[]), None);
        assert_eq!(
            PackedTicks::pack(&vec![Tick::bare(Timestamp::from_millis(0), 1); MOST as usize + 1]),
            None
        );
        let packed = PackedTicks::pack(&[Tick::bare(Timestamp::from_millis(0), 1)]).unwrap();
        let mut torn = packed.as_bytes().to_vec();
        torn[0] = 2;
        assert!(PackedTicks::from_bytes(torn.clone()).unwrap().unpack().is_none(), "of another length");
        torn.truncate(HEAD + 3);
        assert!(PackedTicks::from_bytes(torn.clone()).unwrap().unpack().is_none(), "cut off");
        torn.truncate(HEAD - 1);
        assert_eq!(PackedTicks::from_bytes(torn), None, "no head");
    }

    proptest! {
        #[test]
        fn ticks_come_back_to_the_last_bit(
            readings in proptest::collection::vec((0u8..7, 0i64..20_000, prop_oneof![
                (-50_000i32..150_000).prop_map(|thousandths| f64::from(thousandths) / 1000.0),
                -1e9f64..1e9,
            ]), 1..400),
        ) {
            let (mut ticker, mut at, mut ticks) = (Ticker::new(Span::from_secs(5)), 1_772_427_600_000, Vec::new());
            for (channel, step, value) in readings {
                at += step;
                ticks.extend(ticker.insert(Channel::ALL[usize::from(channel)], Timestamp::from_millis(at), value));
            }
            ticks.extend(ticker.finish());
            prop_assert!(same(&packed_and_back(&ticks), &ticks));
            let packed = PackedTicks::pack(&ticks).unwrap();
            prop_assert_eq!(PackedTicks::from_bytes(packed.as_bytes().to_vec()), Some(packed));
        }
    }

    #[test]
    fn a_day_of_a_kettle_is_small() {
        let mut ticker = Ticker::new(Span::from_secs(5));
        let mut ticks = Vec::new();
        for second in 0..86_400i64 {
            let at = Timestamp::from_millis(1_772_427_600_000 + second * 1000);
            ticks.extend(ticker.insert(Channel::Chocolate, at, (3_150 + noise(second)) as f64 / 100.0));
            ticks.extend(ticker.insert(Channel::Jacket, at, (3_300 + noise(!second)) as f64 / 100.0));
        }
        let packed: usize =
            ticks.chunks(128).map(|piece| PackedTicks::pack(piece).unwrap().bytes.len()).sum();
        let each = packed as f64 / ticks.len() as f64;
        assert!(each < 10.0, "{each} bytes a tick");
    }

    /// Hundredths from -6 to 6, the same each time, and without a rhythm that a packer would find.
    fn noise(n: i64) -> i64 {
        let mixed = (n as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        let mixed = (mixed ^ mixed >> 29).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        (mixed >> 40) as i64 % 13 - 6
    }
}
