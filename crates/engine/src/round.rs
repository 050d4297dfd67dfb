//! Whom to look at when arrival time moves on.
//!
//! With each message time moves on for every machine, and with a thousand machines nearly all of them have nothing to say to
//! it: a machine says something only if an arrival of its own has come since it was last looked at, or if the time has
//! come at which it will be silent. So those that have been touched are looked at, and everybody as soon as the earliest
//! of these times has come. What is found is the same as by looking at everybody each time.
//!
//! Not part of the saved state: a watch that was taken up again looks at everybody once.

use std::collections::BTreeSet;

use model::Timestamp;

/// Machines by their place in the plant file.
#[derive(Debug, Clone)]
pub(crate) struct Round {
    touched: BTreeSet<usize>,
    /// Nobody who has not been touched has anything to say before.
    due: Option<Timestamp>,
}

impl Round {
    /// Everybody is looked at first.
    pub(crate) fn new() -> Round {
        Round { touched: BTreeSet::new(), due: Some(Timestamp::from_millis(i64::MIN)) }
    }

    /// An arrival of this machine has come.
    pub(crate) fn touch(&mut self, place: usize) {
        self.touched.insert(place);
    }

    /// Time has moved on to `clock`: whom to look at, of so many machines, in the order of the plant file.
    pub(crate) fn begin(&mut self, clock: Timestamp, machines: usize) -> Vec<usize> {
        let touched = std::mem::take(&mut self.touched);
        if self.due.is_some_and(|due| due <= clock) {
            self.due = None;
            (0..machines).collect()
        } else {
            touched.into_iter().collect()
        }
    }

    /// A machine that has been looked at will have something to say at `due`, if nothing comes before.
    pub(crate) fn note_due(&mut self, due: Option<Timestamp>) {
        self.due = [self.due, due].into_iter().flatten().min();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_touched_are_looked_at_and_everybody_when_the_first_is_due() {
        let at = Timestamp::from_millis;
        let mut round = Round::new();
        assert_eq!(round.begin(at(0), 3), [0, 1, 2]);
        round.note_due(None);
        round.note_due(Some(at(90)));
        round.note_due(Some(at(60)));
        assert_eq!(round.begin(at(59), 3), [0; 0]);
        round.touch(2);
        round.touch(0);
        round.touch(2);
        assert_eq!(round.begin(at(59), 3), [0, 2]);
        assert_eq!(round.begin(at(60), 3), [0, 1, 2]);
        assert_eq!(round.begin(at(1_000), 3), [0; 0], "nobody has said that it will be due");
    }
}
