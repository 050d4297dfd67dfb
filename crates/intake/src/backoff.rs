//! How long to wait before the next try: twice as long each time, up to a limit, and never two clients in step.
//!
//! Half of each wait is thrown with dice, so that the clients of a broker that comes back do not all knock at once.
//! Never sleeps itself.

use std::collections::hash_map::RandomState;
use std::hash::{BuildHasher, Hasher};
use std::time::Duration;

/// The waits of one run of failed tries.
#[derive(Debug, Clone)]
pub(crate) struct Backoff {
    first: Duration,
    longest: Duration,
    next: Duration,
}

impl Backoff {
    /// Starts at `first` and doubles up to `longest`.
    pub(crate) fn new(first: Duration, longest: Duration) -> Backoff {
        Backoff { first, longest, next: first }
    }

    /// The next wait.
    pub(crate) fn next_wait(&mut self) -> Duration {
        self.next_wait_with(throw_dice())
    }

    /// The next wait, with the dice (0 to 1) thrown by the caller: between one half and the whole of the step.
    fn next_wait_with(&mut self, dice: f64) -> Duration {
        let step = self.next;
        self.next = (step * 2).min(self.longest);
        step.mul_f64(0.5 + 0.5 * dice)
    }

    /// It worked: the next failure starts from the beginning.
    pub(crate) fn reset(&mut self) {
        self.next = self.first;
    }
}

/// A number from 0 to 1 from the operating system's randomness, by way of the hasher that every `HashMap` seeds with it.
fn throw_dice() -> f64 {
    let thrown = RandomState::new().build_hasher().finish();
    (thrown >> 11) as f64 / (1_u64 << 53) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_up_to_the_limit_and_start_over() {
        let mut backoff = Backoff::new(Duration::from_millis(100), Duration::from_millis(350));
        let waits: Vec<u128> = (0..4).map(|_| backoff.next_wait_with(1.0).as_millis()).collect();
        assert_eq!(waits, [100, 200, 350, 350]);
        backoff.reset();
        assert_eq!(backoff.next_wait_with(0.0), Duration::from_millis(50));
    }

    #[test]
    fn dice_fall_between_zero_and_one_and_differ() {
        let throws: Vec<f64> = (0..20).map(|_| throw_dice()).collect();
        assert!(throws.iter().all(|dice| (0.0..=1.0).contains(dice)));
        assert!(throws.windows(2).any(|pair| pair[0] != pair[1]));
    }
}
