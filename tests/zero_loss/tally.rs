//! What was done, and what came of it.

use std::fmt;

use crate::zero_loss::faults::Fault;

/// How often each fault was done.
#[derive(Debug, Default)]
pub(crate) struct Tally(Vec<(Fault, usize)>);

impl Tally {
    pub(crate) fn of(faults: &[Fault]) -> Tally {
        let mut tally = Tally::default();
        faults.iter().for_each(|fault| tally.note(*fault));
        tally
    }

    fn note(&mut self, fault: Fault) {
        match self.0.iter_mut().find(|(noted, _)| *noted == fault) {
            Some((_, times)) => *times += 1,
            None => self.0.push((fault, 1)),
        }
        self.0.sort();
    }
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let told: Vec<String> = self.0.iter().map(|(fault, times)| format!("{fault:?} {times}")).collect();
        write!(f, "faults: {}", told.join(", "))
    }
}

/// One publisher's messages, and what is in the store of them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Account {
    pub(crate) machine: String,
    /// Acknowledged by the broker.
    pub(crate) acknowledged: u64,
    /// Not there, or there with another value.
    pub(crate) lost: u64,
    /// There more often than once.
    pub(crate) doubled: u64,
    /// There, and never published.
    pub(crate) strange: u64,
}

impl fmt::Display for Account {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Account { machine, acknowledged, lost, doubled, strange } = self;
        write!(f, "{machine}: {acknowledged} acknowledged, {lost} lost, {doubled} doubled, {strange} strange")
    }
}

/// The end of a run.
pub(crate) struct Outcome {
    /// Messages with a time of their own.
    pub(crate) timed: Vec<Account>,
    /// Bare numbers, whose time is their arrival.
    pub(crate) bare: Account,
}

impl Outcome {
    pub(crate) fn assert_nothing_lost_or_doubled(&self) {
        for account in &self.timed {
            let clean = Account { lost: 0, doubled: 0, strange: 0, ..account.clone() };
            assert_eq!(account, &clean);
            assert!(0 < account.acknowledged);
        }
        // A bare number that was stored and not acknowledged before a crash comes again, as another reading: told, not hidden.
        assert_eq!((self.bare.lost, self.bare.strange), (0, 0), "{}", self.bare);
    }
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for account in &self.timed {
            writeln!(f, "{account}")?;
        }
        write!(f, "bare numbers on {}", self.bare)
    }
}
