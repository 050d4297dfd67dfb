//! Acknowledgements on their way to the event loop, in the order of their messages.
//!
//! The loop takes up to nine messages for every acknowledgement that it writes while both are there. A broker that holds to our receive maximum
//! stops by itself; Mosquitto 2.0.11 does not after an outage: it sends all that it has kept for us at once. So the loop is never handed more
//! acknowledgements than that maximum, and the others wait here, two bytes each, until it has written some.

use std::collections::VecDeque;

use crate::dialect::RECEIVE_MAXIMUM;

/// What is to be handed to the event loop now.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Next<T> {
    Acknowledgement(T),
    Goodbye,
}

/// Of one connection; `T` is what names a message.
#[derive(Debug)]
pub(crate) struct Outbox<T> {
    /// Acknowledgements that the loop has and has not written yet.
    handed_over: u16,
    waiting: VecDeque<T>,
    /// Goodbye follows the last of them.
    closing: bool,
}

impl<T> Outbox<T> {
    pub(crate) fn new() -> Outbox<T> {
        Outbox { handed_over: 0, waiting: VecDeque::new(), closing: false }
    }

    /// One more message may be acknowledged.
    pub(crate) fn put(&mut self, message: T) -> Option<Next<T>> {
        self.waiting.push_back(message);
        self.next()
    }

    /// The loop has written one.
    pub(crate) fn written(&mut self) -> Option<Next<T>> {
        self.handed_over = self.handed_over.saturating_sub(1);
        let next = self.next();
        if self.waiting.is_empty() {
            // After an outage it may have grown to hundreds of thousands.
            self.waiting.shrink_to(usize::from(RECEIVE_MAXIMUM));
        }
        next
    }

    /// Nothing follows any more.
    pub(crate) fn close(&mut self) -> Option<Next<T>> {
        self.closing = true;
        self.next()
    }

    fn next(&mut self) -> Option<Next<T>> {
        if self.waiting.is_empty() {
            return std::mem::take(&mut self.closing).then_some(Next::Goodbye);
        }
        if self.handed_over == RECEIVE_MAXIMUM {
            return None;
        }
        self.handed_over += 1;
        self.waiting.pop_front().map(Next::Acknowledgement)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MOST: u32 = RECEIVE_MAXIMUM as u32;

    /// A broker sends `count` messages at once; everything that is handed over, in its order.
    fn after_a_burst(count: u32) -> Vec<Next<u32>> {
        let mut outbox = Outbox::new();
        let mut handed: Vec<_> = (0..count).filter_map(|message| outbox.put(message)).collect();
        assert_eq!(handed.len() as u32, count.min(MOST), "no more than the loop's share");
        handed.extend(outbox.close());
        for written in 0..count {
            assert!(handed.len() as u32 <= written + MOST + 1);
            handed.extend(outbox.written());
        }
        assert!(outbox.waiting.capacity() <= 2 * usize::from(RECEIVE_MAXIMUM));
        handed
    }

    #[test]
    fn acknowledgements_keep_their_order_and_goodbye_comes_last() {
        for count in [0, 1, MOST, MOST + 1, 20 * MOST] {
            let handed = after_a_burst(count);
            let expected = (0..count).map(Next::Acknowledgement).chain([Next::Goodbye]);
            assert!(handed.into_iter().eq(expected), "{count}");
        }
    }
}
