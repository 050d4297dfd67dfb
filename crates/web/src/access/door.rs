//! Signing in, slowly and not too often.
//!
//! A hash takes 19 MiB and some time on purpose, so few are worked on at once, and whoever is wrong again and again waits (`records::Throttle`).
//! Failures are entered in the audit trail, but not without end: a stranger must not be able to fill the disk.

use std::sync::{Arc, Mutex, PoisonError};

use model::{Span, Timestamp};
use records::{Attempt, Throttle, Way};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use crate::app::App;
use crate::problem::Problem;

/// Hashes worked on at once: 19 MiB each, and the cores have other work.
const AT_ONCE: usize = 2;
/// Failures entered in the trail in an hour: some more than people of one works can make, and ten years of them are a gigabyte.
const FAILURES_AN_HOUR: u32 = 60;
/// A name is bounded before it is kept.
const LONGEST_NAME: usize = 40;

/// The door of the house.
pub(crate) struct Door {
    throttle: Mutex<Throttle>,
    failures: Mutex<Told>,
    hashing: Arc<Semaphore>,
}

#[derive(Default)]
struct Told {
    since: Timestamp,
    count: u32,
}

/// Somebody who may try now. Given back when they have tried.
pub(crate) struct Knock {
    attempts: Vec<Attempt>,
    _turn: OwnedSemaphorePermit,
}

impl Default for Door {
    fn default() -> Door {
        Door {
            throttle: Mutex::default(),
            failures: Mutex::default(),
            hashing: Arc::new(Semaphore::new(AT_ONCE)),
        }
    }
}

impl Door {
    /// Waits for a turn, unless it is too early to try again.
    pub(crate) async fn knock(
        &self,
        name: &str,
        way: &Way,
        from: &str,
        now: Timestamp,
    ) -> Result<Knock, Problem> {
        let name: String = name.chars().take(LONGEST_NAME).collect();
        let at_the_name = match way {
            Way::Pin => Attempt::Pin(name),
            Way::Password | Way::Token(_) => Attempt::Name(name),
        };
        let attempts = vec![at_the_name, Attempt::Address(from.to_owned())];
        let turn = self.hashing.clone().acquire_owned().await.expect("the semaphore is never closed");
        let begun = self.throttle.lock().unwrap_or_else(PoisonError::into_inner).begin(&attempts, now);
        begun.map_err(Problem::too_many_tries)?;
        Ok(Knock { attempts, _turn: turn })
    }

    /// They were right.
    pub(crate) fn was_right(&self, knock: &Knock) {
        self.throttle.lock().unwrap_or_else(PoisonError::into_inner).was_right(&knock.attempts);
    }

    /// May another failure be entered in the trail?
    fn may_tell(&self, now: Timestamp) -> bool {
        let mut told = self.failures.lock().unwrap_or_else(PoisonError::into_inner);
        if Span::from_hours(1) <= now.since(told.since) {
            *told = Told { since: now, count: 0 };
        }
        told.count += 1;
        told.count <= FAILURES_AN_HOUR
    }
}

impl App {
    /// Enters a failure in the audit trail, as far as that goes.
    pub(crate) async fn note_failure(&self, name: &str, way: Way, from: &str) -> Result<(), Problem> {
        let now = self.now();
        if !self.door.may_tell(now) {
            return Ok(());
        }
        let (name, from) = (name.to_owned(), from.to_owned());
        self.write_records(move |records| records.note_failed_sign_in(&name, &way, &from, now)).await
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn failures_are_told_so_often_an_hour() {
        let (door, at) = (Door::default(), |s: i64| Timestamp::from_millis(1_772_427_600_000 + 1_000 * s));
        let told = |from: i64| (0..200).filter(|n| door.may_tell(at(from + n))).count();
        assert_eq!([told(0), told(1_800), told(3_700)], [60, 0, 60]);
    }
}
