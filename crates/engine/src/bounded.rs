//! Lists that remember only the newest.

use std::collections::VecDeque;

/// Adds `value` to a list that remembers only the newest `most`; gives the one that is forgotten for it.
#[inline]
pub(crate) fn remember<T>(values: &mut Vec<T>, value: T, most: usize) -> Option<T> {
    let oldest = (values.len() == most).then(|| values.remove(0));
    values.push(value);
    oldest
}

/// The same for a list that grows with every reading.
#[inline]
pub(crate) fn remember_newest<T>(values: &mut VecDeque<T>, value: T, most: usize) -> Option<T> {
    let oldest = if values.len() == most { values.pop_front() } else { None };
    values.push_back(value);
    oldest
}
