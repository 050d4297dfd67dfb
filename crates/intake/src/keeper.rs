//! Holds the journal and gets arrivals onto disk, however long that takes.
//!
//! A full disk, a locked file or a slow disk is waited out with the same arrivals in hand: nothing is acknowledged, so the
//! broker keeps the queue, and the connection stays as it is, so that nothing is delivered twice either. It goes on by
//! itself, and says in the stats what it waits for.
//!
//! Appending blocks, so it happens on a thread for blocking work; the journal goes there and comes back.

use std::sync::Arc;
use std::time::{Duration, Instant};

use journal::{BlockSeq, Durable, Journal, JournalError};
use model::Arrival;
use tokio::sync::watch;
use tokio::task::spawn_blocking;
use tokio::time::{sleep, timeout};
use tokio_util::sync::CancellationToken;
use tracing::{error, info};

use crate::IntakeError;
use crate::backoff::Backoff;
use crate::stats::IntakeStats;
use crate::to_keep::ToKeep;

/// A sync takes some tens of milliseconds, on a poor disk some hundred; after this a person should know.
const SLOW_DISK: Duration = Duration::from_secs(2);

/// A lock is often gone at once; a full disk takes a person, who should not have to wait long after that.
const FIRST_WAIT: Duration = Duration::from_millis(50);
const LONGEST_WAIT: Duration = Duration::from_secs(5);

/// What keeps the committer from going on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum HeldUp {
    /// Nothing.
    No,
    /// The journal takes nothing.
    ByJournal,
    /// Whoever takes the blocks is behind.
    ByTaker,
}

/// What became of what was to be kept.
pub(crate) enum Kept {
    /// They are on disk.
    OnDisk(Durable<BlockSeq>, Vec<Arrival>),
    /// We were told to give up first.
    GivenUp,
}

/// The journal's only user in this crate.
pub(crate) struct Keeper {
    /// `None` only while it is away appending.
    journal: Option<Journal>,
    stats: Arc<IntakeStats>,
    held_up: watch::Sender<HeldUp>,
    give_up: CancellationToken,
}

impl Keeper {
    pub(crate) fn new(
        journal: Journal,
        stats: Arc<IntakeStats>,
        held_up: watch::Sender<HeldUp>,
        give_up: CancellationToken,
    ) -> Keeper {
        Keeper { journal: Some(journal), stats, held_up, give_up }
    }

    /// Waits until the arrivals are on disk, and beside them what is held from now on and no longer; or until it is told
    /// to give up.
    pub(crate) async fn keep(&mut self, mut to_keep: ToKeep) -> Result<Kept, IntakeError> {
        let mut backoff = Backoff::new(FIRST_WAIT, LONGEST_WAIT);
        let give_up = self.give_up.clone();
        loop {
            let appended = tokio::select! {
                appended = self.append(to_keep) => appended?,
                () = give_up.cancelled() => return Ok(Kept::GivenUp),
            };
            match appended {
                (Ok(durable), to_keep) => {
                    self.note_takes();
                    return Ok(Kept::OnDisk(durable, to_keep.arrivals));
                }
                (Err(error), back) => {
                    self.note_stalled(&error.to_string());
                    to_keep = back;
                }
            }
            tokio::select! {
                () = sleep(backoff.next_wait()) => {}
                () = give_up.cancelled() => return Ok(Kept::GivenUp),
            }
        }
    }

    async fn append(
        &mut self,
        to_keep: ToKeep,
    ) -> Result<(Result<Durable<BlockSeq>, JournalError>, ToKeep), IntakeError> {
        let mut journal =
            self.journal.take().expect("the journal comes back from every append but a given-up one");
        let stats = Arc::clone(&self.stats);
        let mut away = spawn_blocking(move || {
            let began = Instant::now();
            let outcome = journal.append_beside(&to_keep.arrivals, &to_keep.held);
            if outcome.is_ok() && !to_keep.is_empty() {
                stats.note_commit(began.elapsed());
            }
            (journal, outcome, to_keep)
        });
        let back = match timeout(SLOW_DISK, &mut away).await {
            Ok(back) => back,
            Err(_) => {
                let waited = SLOW_DISK.as_secs();
                self.note_stalled(&format!("the disk has not answered for {waited} s; see whether it works"));
                away.await
            }
        };
        let (journal, outcome, to_keep) = back.map_err(IntakeError::JournalPanicked)?;
        self.journal = Some(journal);
        Ok((outcome, to_keep))
    }

    fn note_stalled(&self, cause: &str) {
        let already = self.held_up.send_replace(HeldUp::ByJournal) == HeldUp::ByJournal;
        if !already {
            error!(cause, "the journal takes nothing; the broker keeps the queue until it does");
        }
        self.stats
            .note_journal(Some(format!("{cause}. Nothing is lost: the broker keeps the queue meanwhile")));
    }

    fn note_takes(&self) {
        if *self.held_up.borrow() == HeldUp::ByJournal {
            self.held_up.send_replace(HeldUp::No);
            self.stats.note_journal(None);
            info!("the journal takes arrivals again");
        }
    }
}
