//! What the account of the service has from the disk: possible gaps, missing spans, room.
//!
//! Every page tells it, some of them each second, and a disk that is busy answers late. So it is looked up beside the pages, on a thread for
//! blocking work, and pages take what was found last.

use std::path::Path;
use std::sync::{Arc, PoisonError};
use std::time::Duration;

use model::Timestamp;
use records::Gap;
use store::MissingSpan;
use tokio_util::sync::CancellationToken;
use tracing::warn;

use super::Vitals;

/// A person who looks at the page is in no greater hurry.
const LOOK_EVERY: Duration = Duration::from_secs(2);

/// As it was found last.
#[derive(Debug, Clone, Default)]
pub(crate) struct LookedUp {
    pub(super) gaps: Vec<Gap>,
    pub(super) missing_spans: Vec<MissingSpan>,
    pub(super) disk_free_bytes: Option<u64>,
}

impl Vitals {
    pub(super) fn looked_up(&self) -> Arc<LookedUp> {
        self.looked_up.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Looks at the disk. What cannot be read is told as it was.
    pub(crate) fn look(&self) {
        let before = self.looked_up();
        let (from, to) = (Timestamp::from_millis(i64::MIN), Timestamp::from_millis(i64::MAX));
        let gaps = self.records.gaps(from, to).unwrap_or_else(|error| {
            warn!(error = &error as &dyn std::error::Error, "the possible gaps on record cannot be read");
            before.gaps.clone()
        });
        let missing_spans = self.store.upgrade().map_or_else(Vec::new, |store| {
            store.missing_spans(None, from, to).unwrap_or_else(|error| {
                let error = &error as &dyn std::error::Error;
                warn!(error, "what is missing from the store cannot be read");
                before.missing_spans.clone()
            })
        });
        let found = LookedUp { gaps, missing_spans, disk_free_bytes: free_bytes(&self.folder) };
        *self.looked_up.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(found);
    }
}

/// Looks again and again until told to stop.
pub(crate) async fn keep_looking(vitals: Arc<Vitals>, stop: CancellationToken) {
    loop {
        tokio::select! {
            () = stop.cancelled() => return,
            () = tokio::time::sleep(LOOK_EVERY) => {}
        }
        let looking = vitals.clone();
        if tokio::task::spawn_blocking(move || looking.look()).await.is_err() {
            return;
        }
    }
}

fn free_bytes(folder: &Path) -> Option<u64> {
    let found = rustix::fs::statvfs(folder).ok()?;
    found.f_bavail.checked_mul(found.f_frsize)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn room_is_that_of_the_folder() {
        assert!(free_bytes(Path::new(".")).is_some_and(|free| free > 0));
        assert_eq!(free_bytes(Path::new("nowhere at all")), None);
    }
}
