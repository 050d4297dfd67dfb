//! Waiting for a condition, with a deadline: tests look at what they wait for and never guess how long it takes.

use std::thread;
use std::time::{Duration, Instant};

/// Long enough for a busy machine with two cores; a test that meets it has failed.
const DEADLINE: Duration = Duration::from_secs(20);

/// How often a condition is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(5);

/// Waits until `holds`, on this thread.
///
/// # Panics
/// With `what` in the message if it does not hold after twenty seconds.
pub fn wait_until(what: &str, mut holds: impl FnMut() -> bool) {
    let started = Instant::now();
    while !holds() {
        assert!(started.elapsed() < DEADLINE, "waited in vain for: {what}");
        thread::sleep(LOOK_EVERY);
    }
}

/// Waits until `holds` for as long as `progress` goes on growing: work may take its time, but it may not stall.
///
/// # Panics
/// With `what` in the message if it does not hold and nothing has grown for twenty seconds.
pub fn wait_while_growing(what: &str, mut progress: impl FnMut() -> u64, mut holds: impl FnMut() -> bool) {
    let (mut grown, mut seen) = (Instant::now(), progress());
    while !holds() {
        let now = progress();
        if now != seen {
            (grown, seen) = (Instant::now(), now);
        }
        assert!(grown.elapsed() < DEADLINE, "it stalled on the way to: {what}");
        thread::sleep(LOOK_EVERY);
    }
}

/// Waits until `holds`, letting other tasks run meanwhile.
///
/// # Panics
/// With `what` in the message if it does not hold after twenty seconds.
pub async fn eventually(what: &str, mut holds: impl FnMut() -> bool) {
    let started = Instant::now();
    while !holds() {
        assert!(started.elapsed() < DEADLINE, "waited in vain for: {what}");
        tokio::time::sleep(LOOK_EVERY).await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_grows_is_waited_for() {
        let mut looks = 0;
        let mut stored = 0;
        let grows = || {
            stored += 1;
            stored
        };
        wait_while_growing("three looks", grows, || {
            looks += 1;
            looks == 3
        });
        assert_eq!((looks, stored), (3, 3));
    }

    #[test]
    fn waiting_ends_when_the_condition_holds() {
        let mut looks = 0;
        wait_until("three looks", || {
            looks += 1;
            looks == 3
        });
        assert_eq!(looks, 3);
    }
}
