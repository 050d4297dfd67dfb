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
    fn waiting_ends_when_the_condition_holds() {
        let mut looks = 0;
        wait_until("three looks", || {
            looks += 1;
            looks == 3
        });
        assert_eq!(looks, 3);
    }
}
