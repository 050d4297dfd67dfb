//! Keeps the same words from filling the log: once, and then once a minute with how often it was.
//!
//! A broker that throws us out as soon as it has let us in would otherwise write ten lines a second. Time is an argument.

use std::time::{Duration, Instant};

/// A person who looks at the log sees that it goes on; a day of it is 1,440 lines.
const TOLD_EVERY: Duration = Duration::from_secs(60);

/// Remembers what was said last.
#[derive(Debug, Default)]
pub(crate) struct Hush {
    said: Option<(String, Instant)>,
    unsaid: u64,
}

impl Hush {
    /// Whether to say it now; if so, how often the same was left unsaid before.
    pub(crate) fn says(&mut self, words: &str, now: Instant) -> Option<u64> {
        if let Some((said, at)) = &self.said
            && said == words
            && now.duration_since(*at) < TOLD_EVERY
        {
            self.unsaid += 1;
            return None;
        }
        self.said = Some((words.to_owned(), now));
        Some(std::mem::take(&mut self.unsaid))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_words_are_said_once_a_minute_and_others_at_once() {
        let mut hush = Hush::default();
        let start = Instant::now();
        assert_eq!(hush.says("closed", start), Some(0));
        let said = (1..600).filter(|n| hush.says("closed", start + Duration::from_millis(100 * n)).is_some());
        assert_eq!(said.count(), 0);
        assert_eq!(hush.says("closed", start + Duration::from_secs(60)), Some(599));
        assert_eq!(hush.says("refused", start + Duration::from_secs(61)), Some(0));
    }
}
