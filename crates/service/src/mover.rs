//! Moves blocks into parts, makes one part of each day that is over, and forgets what is older than the plant wants.
//!
//! **Invariant:** nothing is forgotten that is not old by both clocks: the wall's, and the newest reading in the store. A clock
//! that jumps ahead, as one without a battery may at a start, must not cost a plant its past; and a plant that stands
//! still for a season keeps what it had.

use std::error::Error;
use std::sync::Arc;
use std::time::{Duration, Instant};

use intake::Clock;
use journal::BlockSeq;
use model::{Span, Timestamp};
use store::{Store, StoreError, UtcDay};
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;
use tracing::{info, warn};

use crate::config::Keep;
use crate::progress::Progress;

/// Blocks become parts so often: seldom enough to rewrite a day's part cheaply, often enough to keep the journal small.
const MOVE_EVERY: Duration = Duration::from_secs(120);
/// Days that are over are looked through so often: readings that come late for them come within hours.
const TIDY_EVERY: Duration = Duration::from_secs(3_600);

/// The one that moves.
pub(crate) struct Mover {
    pub(crate) store: Arc<Store>,
    /// How far the watch's saved state goes.
    pub(crate) saved: watch::Receiver<BlockSeq>,
    pub(crate) progress: Arc<Progress>,
    pub(crate) keep: Keep,
    pub(crate) clock: Clock,
}

impl Mover {
    /// Works until told to stop.
    pub(crate) async fn keep_moving(self, stop: CancellationToken) {
        let mover = Arc::new(self);
        let mut tidied: Option<Instant> = None;
        loop {
            tokio::select! {
                () = stop.cancelled() => return,
                () = tokio::time::sleep(MOVE_EVERY) => {}
            }
            let tidies = tidied.is_none_or(|last| TIDY_EVERY <= last.elapsed());
            let working = mover.clone();
            let worked = tokio::task::spawn_blocking(move || {
                working.move_blocks();
                if tidies {
                    working.tidy();
                }
            });
            if worked.await.is_err() {
                return;
            }
            if tidies {
                tidied = Some(Instant::now());
            }
        }
    }

    fn move_blocks(&self) {
        let up_to = *self.saved.borrow();
        // Events are in the records already: the watch writes them no later than the state that contains them.
        match self.store.move_blocks(up_to, |_| Ok(())) {
            Ok(moved) => {
                self.progress.note_moved(moved.up_to.get(), moved.duplicates);
                for damaged in moved.set_aside {
                    warn!(%damaged, "a part is damaged and has been set aside");
                }
            }
            Err(error) => {
                warn!(error = &error as &dyn Error, "cannot move readings into parts; trying again");
            }
        }
    }

    fn tidy(&self) {
        let now = (self.clock)();
        let tidied = self.store.compact_before(UtcDay::of(now)).and_then(|compacted| {
            for damaged in compacted.set_aside {
                warn!(%damaged, "a part is damaged and has been set aside");
            }
            self.forget(now)
        });
        if let Err(error) = tidied {
            warn!(error = &error as &dyn Error, "cannot put the store in order; trying again in an hour");
        }
    }

    fn forget(&self, now: Timestamp) -> Result<(), StoreError> {
        let Some(newest) = self.store.newest_moment()? else { return Ok(()) };
        let Some(day) = kept_from(self.keep, now, newest) else { return Ok(()) };
        let readings = self.store.forget_before(day)?;
        if readings > 0 {
            info!(%day, readings, "readings of days before this one have been forgotten");
        }
        Ok(())
    }
}

/// The first day that is kept; `None` if all are.
fn kept_from(keep: Keep, now: Timestamp, newest: Timestamp) -> Option<UtcDay> {
    match keep {
        Keep::Everything => None,
        Keep::Days(days) => {
            let days = days.max(Keep::FEWEST_DAYS);
            Some(UtcDay::of(now.min(newest) - Span::from_hours(24 * i64::from(days))))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Timestamp {
        format!("{text}T12:00:00Z").parse().unwrap()
    }

    fn from(keep: Keep, now: &str, newest: &str) -> Option<String> {
        kept_from(keep, day(now), day(newest)).map(|day| day.to_string())
    }

    #[test]
    fn what_is_old_is_old_by_both_clocks() {
        assert_eq!(from(Keep::Everything, "2026-03-31", "2026-03-31"), None);
        let kept = |now, newest| from(Keep::Days(20), now, newest).unwrap();
        assert_eq!(kept("2026-03-31", "2026-03-31"), "2026-03-11");
        assert_eq!(kept("2099-01-01", "2026-03-31"), "2026-03-11", "the wall's clock has run away");
        assert_eq!(kept("2026-03-31", "2099-01-01"), "2026-03-11", "a sensor's clock has run away");
        assert_eq!(
            from(Keep::Days(1), "2026-03-31", "2026-03-31").unwrap(),
            "2026-03-17",
            "never fewer than fourteen"
        );
    }
}
