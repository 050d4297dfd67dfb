//! The sequence numbers of one edge node: 0 to 255 and round again, one more with each message, births, data and device
//! deaths in one count (specification 3.0.0, chapter 6, tck-id-payloads-sequence-num-incrementing).
//!
//! Messages that overtook a missing one are remembered, so that the count is whole again once it comes.

use std::collections::BTreeSet;

/// What a message's number says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Step {
    /// Nothing is missing before it.
    InOrder,
    /// Something is.
    Broken,
}

/// The count of one session.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Sequence {
    next: u8,
    newest: u8,
    ahead: BTreeSet<u8>,
}

impl Sequence {
    /// Begins with the number of a birth. Chapter 4 has 0 there, chapters 5 and 6 any number: any is taken. A birth
    /// without one is taken for 0.
    pub(crate) fn begin(seq: Option<u64>) -> Sequence {
        let first = seq.and_then(|seq| u8::try_from(seq).ok()).unwrap_or(0);
        Sequence { next: first.wrapping_add(1), newest: first, ahead: BTreeSet::new() }
    }

    /// Counts a message in. One without a number, or with one past 255, breaks the count.
    pub(crate) fn take(&mut self, seq: Option<u64>) -> Step {
        let Some(seq) = seq.and_then(|seq| u8::try_from(seq).ok()) else { return Step::Broken };
        self.newest = seq;
        if seq != self.next {
            self.ahead.insert(seq);
            return Step::Broken;
        }
        self.next = self.next.wrapping_add(1);
        while self.ahead.remove(&self.next) {
            self.next = self.next.wrapping_add(1);
        }
        if self.is_whole() { Step::InOrder } else { Step::Broken }
    }

    /// Has everything come that was counted?
    fn is_whole(&self) -> bool {
        self.ahead.is_empty()
    }

    /// Gives up what is missing and goes on from the newest message.
    pub(crate) fn resume(&mut self) {
        self.next = self.newest.wrapping_add(1);
        self.ahead.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sparkplug::vectors;

    #[test]
    fn steps_are_judged_as_the_specification_says() {
        for case in vectors::list("seq_step") {
            let number = |key: &str| Some(u64::try_from(case[key].as_integer().unwrap()).unwrap());
            let step = Sequence::begin(number("previous")).take(number("next"));
            assert_eq!(step == Step::InOrder, case["ok"].as_bool().unwrap(), "{case:?}");
        }
    }

    #[test]
    fn what_was_overtaken_makes_the_count_whole_again() {
        let mut sequence = Sequence::begin(Some(254));
        assert_eq!(sequence.take(Some(0)), Step::Broken);
        assert_eq!(sequence.take(Some(1)), Step::Broken);
        assert_eq!(sequence.take(Some(255)), Step::InOrder);
        assert_eq!(sequence.take(Some(2)), Step::InOrder);
    }

    #[test]
    fn a_count_goes_on_from_the_newest_when_told() {
        let mut sequence = Sequence::begin(None);
        assert_eq!(sequence.take(Some(9)), Step::Broken);
        sequence.resume();
        assert_eq!(sequence.take(Some(10)), Step::InOrder);
        assert_eq!(sequence.take(None), Step::Broken);
        assert_eq!(sequence.take(Some(11)), Step::InOrder, "nothing with a number is missing");
    }
}
