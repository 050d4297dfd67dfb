//! Lists that remember only the newest.

/// Adds `value` to a list that remembers only the newest `most`.
pub(crate) fn remember<T>(values: &mut Vec<T>, value: T, most: usize) {
    if values.len() == most {
        values.remove(0);
    }
    values.push(value);
}
