//! How long somebody waits who has been wrong: a few mistakes are free, then each doubles the wait.
//!
//! Counted for the name that is tried and for the address that tries, in memory: a restart forgives. An attempt is
//! counted before it is looked at, so that many at once do not slip past, and taken back when it was right.
//!
//! Names and addresses come from outside, so their number is bounded: the one that has been quiet for longest goes.

use std::collections::HashMap;

use model::{Span, Timestamp};

/// People mistype. Common practice, no source.
const FREE: u32 = 4;
/// The first wait; each further mistake doubles it.
const FIRST_WAIT: Span = Span::from_secs(2);
/// Long enough that guessing a password of fifteen characters is hopeless, short enough that a stranger who tries a name does not keep its
/// owner out for a shift.
const LONGEST_WAIT: Span = Span::from_secs(15 * 60);
/// Mistakes are forgotten when it has been quiet for so long.
const FORGOTTEN_AFTER: Span = Span::from_hours(6);
/// Names and addresses kept: a works has some dozens.
const MOST: usize = 2_000;

/// What is tried: whose name, from where.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Attempt {
    /// At this name, as typed, shortened.
    Name(String),
    /// From this address.
    Address(String),
    /// A PIN at this name.
    Pin(String),
}

/// Mistakes so far, by name and by address.
#[derive(Debug, Default)]
pub struct Throttle(HashMap<Attempt, Misses>);

#[derive(Debug, Clone, Copy)]
struct Misses {
    count: u32,
    last: Timestamp,
}

impl Misses {
    fn free_at(self) -> Timestamp {
        let over = self.count.saturating_sub(FREE);
        if over == 0 {
            return self.last;
        }
        // 2 s doubled nine times is more than the longest wait.
        let wait = FIRST_WAIT * (1_i64 << (over - 1).min(9));
        self.last + wait.min(LONGEST_WAIT)
    }
}

impl Throttle {
    /// Counts an attempt as if it were wrong.
    ///
    /// # Errors
    /// How long to wait, if it is too early; then it is not counted.
    pub fn begin(&mut self, attempts: &[Attempt], now: Timestamp) -> Result<(), Span> {
        self.0.retain(|_, misses| now.since(misses.last) < FORGOTTEN_AFTER);
        let free_at =
            attempts.iter().filter_map(|attempt| self.0.get(attempt)).map(|misses| misses.free_at());
        let wait = free_at.max().map_or(Span::from_secs(0), |free_at| free_at - now);
        if Span::from_secs(0) < wait {
            return Err(wait);
        }
        for attempt in attempts {
            self.make_room();
            let misses = self.0.entry(attempt.clone()).or_insert(Misses { count: 0, last: now });
            *misses = Misses { count: misses.count.saturating_add(1), last: now };
        }
        Ok(())
    }

    /// It was right: a name starts anew, an address gets this one attempt back. Whoever has one account must not be able to wipe away what
    /// was tried at others.
    pub fn was_right(&mut self, attempts: &[Attempt]) {
        for attempt in attempts {
            match attempt {
                Attempt::Name(_) | Attempt::Pin(_) => drop(self.0.remove(attempt)),
                Attempt::Address(_) => {
                    if let Some(misses) = self.0.get_mut(attempt) {
                        misses.count = misses.count.saturating_sub(1);
                    }
                }
            }
        }
    }

    fn make_room(&mut self) {
        if self.0.len() < MOST {
            return;
        }
        let quietest =
            self.0.iter().min_by_key(|(_, misses)| misses.last).map(|(attempt, _)| attempt.clone());
        if let Some(quietest) = quietest {
            self.0.remove(&quietest);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: i64) -> Timestamp {
        Timestamp::from_millis(1_772_427_600_000 + 1_000 * second)
    }

    fn from(name: &str, address: &str) -> [Attempt; 2] {
        [Attempt::Name(name.to_owned()), Attempt::Address(address.to_owned())]
    }

    #[test]
    fn each_mistake_doubles_the_wait_up_to_a_limit() {
        let mut throttle = Throttle::default();
        let (mut now, mut waits) = (0, Vec::new());
        for _ in 0..16 {
            while let Err(wait) = throttle.begin(&from("ana", "192.0.2.1"), at(now)) {
                waits.push(wait.as_millis() / 1000);
                now += wait.as_millis() / 1000;
            }
        }
        assert_eq!(waits, [2, 4, 8, 16, 32, 64, 128, 256, 512, 900, 900]);
        let others = throttle.begin(&from("rui", "192.0.2.2"), at(now));
        assert_eq!(others, Ok(()), "nobody else waits");
        assert!(
            throttle.begin(&from("rui", "192.0.2.1"), at(now)).is_err(),
            "the address waits at every name"
        );
        assert!(
            throttle.begin(&from("ana", "192.0.2.3"), at(now)).is_err(),
            "the name waits from every address"
        );
        let much_later = now + 6 * 3600;
        assert_eq!(throttle.begin(&from("ana", "192.0.2.1"), at(much_later)), Ok(()));
    }

    #[test]
    fn being_right_forgives_the_name_but_not_what_else_the_address_tried() {
        let mut throttle = Throttle::default();
        for n in 0..4 {
            throttle.begin(&from(&format!("user-{n}"), "192.0.2.1"), at(0)).unwrap();
            throttle.begin(&from("mine", "192.0.2.1"), at(0)).unwrap_or_default();
            throttle.was_right(&from("mine", "192.0.2.1"));
        }
        throttle.begin(&from("user-4", "192.0.2.1"), at(0)).unwrap();
        assert!(throttle.begin(&from("mine", "192.0.2.1"), at(0)).is_err());
        assert_eq!(throttle.begin(&from("mine", "192.0.2.9"), at(0)), Ok(()));
    }

    #[test]
    fn a_flood_of_names_takes_bounded_room() {
        let mut throttle = Throttle::default();
        for n in 0..3 * MOST {
            throttle.begin(&[Attempt::Name(format!("n{n}"))], at(n as i64 / 100)).unwrap();
        }
        assert!(throttle.0.len() <= MOST);
    }
}
