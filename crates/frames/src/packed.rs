//! Ticks packed, without a bit lost: what a machine did hours ago is looked at seldom and must not fill the memory.
//!
//! Column by column, each number in as many bits as the farthest of its column from the least one needs. Values that are thousandths, as probes
//! send them, are numbers by their steps from one to the next (lowest and highest by their distance from mean and lowest); all others by the
//! steps of their bits, which are small where the values lie near one another. A day of a kettle takes about a sixth of what it takes as
//! [`Tick`]s, and packing and unpacking some tens of nanoseconds a tick: every tick of a week that is analysed goes through it.

mod bits;

use std::sync::Arc;

use model::{Channel, Timestamp};

use self::bits::{put_numbers, take_numbers};
use crate::tick::Tick;

/// The decimal place of what a probe sends.
const THOUSANDTHS: f64 = 1000.0;
/// Ticks in one piece; bytes that tell of more were not written by us.
const MOST: u32 = 1 << 16;

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
        let mut bytes = Vec::with_capacity(HEAD + ticks.len() * 16);
        bytes.extend(len.to_le_bytes());
        bytes.extend(first.as_millis().to_le_bytes());
        bytes.extend(last.as_millis().to_le_bytes());
        put_times(&mut bytes, ticks);
        put_numbers(&mut bytes, &ticks.iter().map(|tick| u32::from(tick.n)).collect::<Vec<_>>());
        let mut columns: [Option<Thousandths>; COLUMNS] = Default::default();
        for place in 0..COLUMNS {
            let column: Vec<f32> = ticks.iter().map(|tick| tick.column(place)).collect();
            let other = beside(place).and_then(|other| columns[other].as_ref());
            columns[place] = put_column(&mut bytes, &column, other);
        }
        Some(PackedTicks { first, last, len, bytes: bytes.into() })
    }

    /// The ticks, as they were; `None` if the bytes are not those of packed ticks.
    pub fn unpack(&self) -> Option<Vec<Tick>> {
        let len = self.len as usize;
        let mut rest = self.bytes.get(HEAD..)?;
        let mut ticks = take_times(&mut rest, self.first, len)?;
        for (tick, n) in ticks.iter_mut().zip(take_numbers(&mut rest, len)?) {
            tick.n = u16::try_from(n).ok()?;
        }
        let mut columns: [Option<Thousandths>; COLUMNS] = Default::default();
        for place in 0..COLUMNS {
            let other = beside(place).and_then(|other| columns[other].as_ref());
            columns[place] = take_column(&mut rest, &mut ticks, place, other)?;
        }
        (rest.is_empty() && ticks.last()?.at == self.last).then_some(ticks)
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
const AS_BITS: u8 = 0;
/// Which of them are known (a bit each), and their steps.
const AS_STEPS: u8 = 1;
/// The distances from another column, where the same are known.
const BESIDE: u8 = 2;

/// What is known of a column of thousandths, in their order, and which they are.
#[derive(Debug, Default, PartialEq)]
struct Thousandths {
    values: Vec<i32>,
    known: Vec<u32>,
}

/// Beside which column one stands: the lowest beside the mean, with which it agrees where a step has one reading, the highest beside the lowest.
fn beside(place: usize) -> Option<usize> {
    match place {
        2 => Some(0),
        3 => Some(2),
        _ => None,
    }
}

/// The moments by their steps, in two halves, of which the upper is nothing as a rule.
fn put_times(bytes: &mut Vec<u8>, ticks: &[Tick]) {
    let steps = || ticks.windows(2).map(|pair| (pair[1].at - pair[0].at).as_millis() as u64);
    put_numbers(bytes, &steps().map(|step| step as u32).collect::<Vec<_>>());
    put_numbers(bytes, &steps().map(|step| (step >> 32) as u32).collect::<Vec<_>>());
}

/// Ticks of which nothing is known yet but their moments.
fn take_times(rest: &mut &[u8], first: Timestamp, len: usize) -> Option<Vec<Tick>> {
    let steps = len.checked_sub(1)?;
    let (low, high) = (take_numbers(rest, steps)?, take_numbers(rest, steps)?);
    let mut at = first.as_millis();
    let bare = |at| Tick::bare(Timestamp::from_millis(at), 0);
    let later = low.into_iter().zip(high).map(|(low, high)| {
        at = at.wrapping_add((u64::from(high) << 32 | u64::from(low)) as i64);
        bare(at)
    });
    Some(std::iter::once(bare(first.as_millis())).chain(later).collect())
}

/// Writes a column, and hands it on if it is one of thousandths.
fn put_column(bytes: &mut Vec<u8>, values: &[f32], beside: Option<&Thousandths>) -> Option<Thousandths> {
    let Some(thousandths) = in_thousandths(values) else {
        bytes.push(AS_BITS);
        put_steps(bytes, &values.iter().map(|value| value.to_bits() as i32).collect::<Vec<_>>());
        return None;
    };
    if let Some(beside) = beside.filter(|beside| beside.known == thousandths.known) {
        bytes.push(BESIDE);
        let distances =
            thousandths.values.iter().zip(&beside.values).map(|(value, other)| upwards(*other, *value));
        put_numbers(bytes, &distances.collect::<Vec<_>>());
    } else {
        bytes.push(AS_STEPS);
        put_numbers(bytes, &thousandths.known);
        put_steps(bytes, &thousandths.values);
    }
    Some(thousandths)
}

/// Reads a column into its place, and hands it on likewise; `None` if these are not its bytes.
fn take_column(
    rest: &mut &[u8],
    ticks: &mut [Tick],
    place: usize,
    beside: Option<&Thousandths>,
) -> Option<Option<Thousandths>> {
    let (&how, after) = rest.split_first()?;
    *rest = after;
    let len = ticks.len();
    let thousandths = match how {
        AS_BITS => {
            for (tick, bits) in ticks.iter_mut().zip(take_steps(rest, len)?) {
                tick.set_column(place, f32::from_bits(bits as u32));
            }
            return Some(None);
        }
        AS_STEPS => {
            let known = take_numbers(rest, len.div_ceil(32))?;
            let count = known.iter().map(|bits| bits.count_ones() as usize).sum();
            Thousandths { values: take_steps(rest, count)?, known }
        }
        BESIDE => {
            let Thousandths { values, known } = beside?;
            let distances = take_numbers(rest, values.len())?;
            let values = values.iter().zip(distances).map(|(other, distance)| up_from(*other, distance));
            Thousandths { values: values.collect(), known: known.clone() }
        }
        _ => return None,
    };
    if thousandths.values.len() == len {
        let known = ticks.iter_mut().zip(&thousandths.values);
        known.for_each(|(tick, value)| tick.set_column(place, from_thousandths(*value)));
    } else if !thousandths.values.is_empty() {
        let is_known = |(nth, _): &(usize, &mut Tick)| thousandths.known[nth / 32] >> (nth % 32) & 1 == 1;
        let known =
            ticks.iter_mut().enumerate().filter(is_known).map(|(_, tick)| tick).zip(&thousandths.values);
        known.for_each(|(tick, value)| tick.set_column(place, from_thousandths(*value)));
    }
    Some(Some(thousandths))
}

/// The first number, and the steps from it.
fn put_steps(bytes: &mut Vec<u8>, numbers: &[i32]) {
    bytes.extend(numbers.first().copied().unwrap_or_default().to_le_bytes());
    put_numbers(bytes, &numbers.windows(2).map(|pair| upwards(pair[0], pair[1])).collect::<Vec<_>>());
}

fn take_steps(rest: &mut &[u8], count: usize) -> Option<Vec<i32>> {
    let (first, after) = rest.split_first_chunk::<4>()?;
    *rest = after;
    let mut number = i32::from_le_bytes(*first);
    let steps = take_numbers(rest, count.saturating_sub(1))?;
    let mut numbers = Vec::with_capacity(count);
    numbers.extend((0 < count).then_some(number));
    numbers.extend(steps.into_iter().map(|step| {
        number = up_from(number, step);
        number
    }));
    Some(numbers)
}

/// The way from one number to another, the farthest way down being nothing.
fn upwards(from: i32, to: i32) -> u32 {
    (to.wrapping_sub(from) as u32).wrapping_add(1 << 31)
}

fn up_from(from: i32, way: u32) -> i32 {
    from.wrapping_add(way.wrapping_sub(1 << 31) as i32)
}

/// A column in thousandths, if every value comes back from there to the last bit.
fn in_thousandths(values: &[f32]) -> Option<Thousandths> {
    let is_unknown = |value: &f32| value.to_bits() == f32::NAN.to_bits();
    // What does not fit into a number does not come back; one that nobody knows is nothing.
    let nearest =
        |value: &f32| (f64::from(*value) * THOUSANDTHS + 0.5_f64.copysign(f64::from(*value))) as i32;
    let numbers: Vec<i32> = values.iter().map(nearest).collect();
    let comes_back = |(value, number): (&f32, &i32)| from_thousandths(*number).to_bits() == value.to_bits();
    let unknown = values.iter().filter(|value| is_unknown(value)).count();
    // Whole columns at once, without a look at one by one.
    if values.iter().zip(&numbers).filter(|pair| comes_back(*pair)).count() + unknown < values.len() {
        return None;
    }
    let mut known = vec![u32::MAX; values.len().div_ceil(32)];
    if let (Some(last), rest @ 1..) = (known.last_mut(), values.len() % 32) {
        *last >>= 32 - rest;
    }
    if unknown == 0 {
        return Some(Thousandths { values: numbers, known });
    }
    let is_known = |place: &usize| !is_unknown(&values[*place]);
    (0..values.len())
        .filter(|place| !is_known(place))
        .for_each(|place| known[place / 32] &= !(1 << (place % 32)));
    let values = (0..values.len()).filter(is_known).map(|place| numbers[place]).collect();
    Some(Thousandths { values, known })
}

fn from_thousandths(thousandths: i32) -> f32 {
    (f64::from(thousandths) / THOUSANDTHS) as f32
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
