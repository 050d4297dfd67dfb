//! Lists that remember only the newest.

/// Adds `value` to a list that remembers only the newest `most`; gives the one that is forgotten for it.
pub(crate) fn remember<T>(values: &mut Vec<T>, value: T, most: usize) -> Option<T> {
    let oldest = (values.len() == most).then(|| values.remove(0));
    values.push(value);
    oldest
}
