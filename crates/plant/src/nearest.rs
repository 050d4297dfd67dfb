//! Lists of words in sentences, and the word that a person most likely meant.

/// `a, b and c`.
pub(crate) fn listed<'w>(words: impl IntoIterator<Item = &'w str>) -> String {
    let words: Vec<&str> = words.into_iter().collect();
    match words.as_slice() {
        [] => String::new(),
        [only] => (*only).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// `; did you mean `kettle`?`, or nothing where no word is near.
pub(crate) fn did_you_mean<'w>(word: &str, candidates: impl IntoIterator<Item = &'w str>) -> String {
    match nearest(word, candidates) {
        Some(near) => format!("; did you mean `{near}`?"),
        None => String::new(),
    }
}

/// The candidate that differs least from `word`, if it differs in no more than a third of its letters.
fn nearest<'w>(word: &str, candidates: impl IntoIterator<Item = &'w str>) -> Option<&'w str> {
    let allowed = (word.chars().count() / 3).max(1);
    candidates
        .into_iter()
        .map(|candidate| (distance(&word.to_lowercase(), &candidate.to_lowercase()), candidate))
        .filter(|(distance, _)| *distance <= allowed)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// Letters to insert, remove, replace or swap with their neighbour to get from `from` to `to` (optimal string
/// alignment). A slip of two fingers counts once, so that `drak` is near `dark`.
fn distance(from: &str, to: &str) -> usize {
    let from: Vec<char> = from.chars().collect();
    let to: Vec<char> = to.chars().collect();
    let mut rows: Vec<Vec<usize>> = vec![(0..=to.len()).collect()];
    for (i, a) in from.iter().enumerate() {
        let above = &rows[i];
        let mut row = vec![i + 1];
        for (j, b) in to.iter().enumerate() {
            let replaced = above[j] + usize::from(a != b);
            let mut least = replaced.min(row[j] + 1).min(above[j + 1] + 1);
            if 0 < i && 0 < j && *a == to[j - 1] && from[i - 1] == *b {
                least = least.min(rows[i - 1][j - 1] + 1);
            }
            row.push(least);
        }
        rows.push(row);
    }
    rows[from.len()][to.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_are_those_of_the_textbook() {
        // kitten and sitting: the usual worked example, from memory.
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!(distance("", "abc"), 3);
        assert_eq!(distance("same", "same"), 0);
        assert_eq!(distance("drak", "dark"), 1);
    }

    #[test]
    fn only_a_near_word_is_offered() {
        assert_eq!(did_you_mean("ketle", ["wheel", "kettle"]), "; did you mean `kettle`?");
        assert_eq!(did_you_mean("Kettle", ["kettle"]), "; did you mean `kettle`?");
        assert_eq!(did_you_mean("bowl", ["wheel", "kettle"]), "");
    }

    #[test]
    fn words_are_listed_as_people_do() {
        assert_eq!(listed(["a"]), "a");
        assert_eq!(listed(["a", "b", "c"]), "a, b and c");
    }
}
