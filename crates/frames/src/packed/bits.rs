//! Numbers in as many bits as they need.
//!
//! The least of them, the width of a number, and the distances from the least one, one behind the other from the lowest bit on.

/// The least number and the width.
const HEAD: usize = 4 + 1;

/// Writes numbers; how many they are is not written.
pub(super) fn put_numbers(bytes: &mut Vec<u8>, numbers: &[u32]) {
    let (least, most) = numbers.iter().fold((u32::MAX, 0), |(least, most), n| (least.min(*n), most.max(*n)));
    let width = most.checked_sub(least).map_or(0, |farthest| u32::BITS - farthest.leading_zeros());
    bytes.extend(least.to_le_bytes());
    bytes.push(width as u8);
    if width == 0 {
        return;
    }
    let (mut held, mut bits) = (0u64, 0);
    for number in numbers {
        held |= u64::from(number - least) << bits;
        bits += width;
        if u32::BITS <= bits {
            bytes.extend((held as u32).to_le_bytes());
            held >>= u32::BITS;
            bits -= u32::BITS;
        }
    }
    bytes.extend(&held.to_le_bytes()[..bits.div_ceil(8) as usize]);
}

/// Reads so many numbers; `None` if these are not their bytes.
pub(super) fn take_numbers(rest: &mut &[u8], count: usize) -> Option<Vec<u32>> {
    let (head, after) = rest.split_first_chunk::<HEAD>()?;
    let (least, width) = (u32::from_le_bytes([head[0], head[1], head[2], head[3]]), u32::from(head[4]));
    if u32::BITS < width {
        return None;
    }
    let (mut packed, after) = after.split_at_checked((count * width as usize).div_ceil(8))?;
    *rest = after;
    if width == 0 {
        return Some(vec![least; count]);
    }
    let mask = u32::MAX >> (u32::BITS - width);
    let (mut held, mut bits) = (0u64, 0);
    let number = |_| {
        if bits < width {
            let (word, after) = next_word(packed);
            packed = after;
            held |= u64::from(word) << bits;
            bits += u32::BITS;
        }
        let number = held as u32 & mask;
        held >>= width;
        bits -= width;
        least.wrapping_add(number)
    };
    Some((0..count).map(number).collect())
}

/// The next four bytes, with nothing behind the last one.
fn next_word(packed: &[u8]) -> (u32, &[u8]) {
    if let Some((word, after)) = packed.split_first_chunk::<4>() {
        return (u32::from_le_bytes(*word), after);
    }
    let mut word = [0; 4];
    word[..packed.len()].copy_from_slice(packed);
    (u32::from_le_bytes(word), &[])
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn numbers_come_back(width in 0u32..=32, numbers in proptest::collection::vec(any::<u32>(), 0..300)) {
            let narrow = |n: u32| n.checked_shr(u32::BITS - width).unwrap_or(0).wrapping_add(77);
            let numbers: Vec<u32> = numbers.into_iter().map(narrow).collect();
            let mut bytes = Vec::new();
            put_numbers(&mut bytes, &numbers);
            put_numbers(&mut bytes, &[5]);
            let mut rest = bytes.as_slice();
            prop_assert_eq!(take_numbers(&mut rest, numbers.len()), Some(numbers));
            prop_assert_eq!(take_numbers(&mut rest, 1), Some(vec![5]));
            prop_assert_eq!(rest, &[0u8; 0]);
        }
    }

    #[test]
    fn torn_numbers_are_refused() {
        let mut bytes = Vec::new();
        put_numbers(&mut bytes, &[1, 200, 3]);
        assert_eq!(take_numbers(&mut &bytes[..bytes.len() - 1], 3), None);
        assert_eq!(take_numbers(&mut &bytes[..3], 3), None);
        bytes[4] = 33;
        assert_eq!(take_numbers(&mut bytes.as_slice(), 3), None);
    }
}
