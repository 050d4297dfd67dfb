//! How the service is, put together from what its parts say.

mod looked_up;

pub(crate) use self::looked_up::keep_looking;

use std::path::PathBuf;
use std::sync::{Arc, RwLock, Weak};
use std::time::Duration;

use intake::{Clock, IntakeStats};
use model::Board;
use reach::ReachStats;
use records::{Gap, Records, RecordsError};
use store::Store;
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;
use tracing::warn;
use web::{Exposition, Health, IntakeState};

use self::looked_up::LookedUp;
use crate::metrics::Figures;
use crate::progress::Progress;

/// Enough to see what a sender does wrong.
const REJECTS_TOLD: usize = 10;
/// The latest of them; all are in the records.
const GAPS_TOLD: usize = 20;
/// A disk that has failed in many places is told by its first ones.
const SPANS_TOLD: usize = 50;
/// Less than this is told as a trouble: about a day of a plant of two hundred machines, time enough to make room.
pub(crate) const LITTLE_ROOM: u64 = 1 << 30;
/// Gaps come with connections, and a person who looks at the page is in no greater hurry.
const NOTE_GAPS_EVERY: Duration = Duration::from_secs(2);

/// How a possible gap of the intake came about.
const NO_SESSION: &str = "the broker had no session for us";

/// What the health page is made from.
pub(crate) struct Vitals {
    pub(crate) intake: Arc<IntakeStats>,
    pub(crate) messages: Arc<ReachStats>,
    pub(crate) progress: Arc<Progress>,
    pub(crate) folder: PathBuf,
    pub(crate) records: Arc<Records>,
    /// Not held: whoever is still looking at a page must not keep the next start from the folder.
    pub(crate) store: Weak<Store>,
    pub(crate) board: watch::Receiver<Arc<Board>>,
    pub(crate) clock: Clock,
    /// What is on the disk, as it was looked up last.
    pub(crate) looked_up: RwLock<Arc<LookedUp>>,
}

impl Vitals {
    /// How the service is. Never waits for a disk: every page asks it.
    pub(crate) fn health(&self) -> Health {
        let counts = self.intake.counts();
        let newest = self.intake.newest_block();
        let looked_up = self.looked_up();
        let mut troubles = Vec::new();
        let state = match self.intake.state() {
            intake::IntakeState::Connected => IntakeState::Connected,
            intake::IntakeState::Reconnecting { why } => {
                troubles.push(format!("No connection to the broker; trying again: {why}."));
                IntakeState::Connecting
            }
            intake::IntakeState::Stalled { why } => {
                troubles.push(why);
                IntakeState::Held
            }
            intake::IntakeState::Stopped => IntakeState::Stopped,
        };
        let told = |gap: &Gap| format!("{} to {}: {}", gap.from, gap.to, gap.reason);
        troubles.extend(looked_up.disk_free_bytes.and_then(little_room));
        troubles.extend(self.messages.says((self.clock)()));
        troubles.extend(self.intake.floods().iter().map(ToString::to_string));
        Health {
            intake: state,
            messages: counts.messages,
            readings: counts.readings,
            rejected: counts.rejected,
            duplicates: self.progress.duplicates(),
            reconnects: counts.connections.saturating_sub(1),
            lag_ms: self.progress.lag_ms(newest, (self.clock)()),
            journal_backlog: self.progress.backlog(newest),
            broker_dropped: self.intake.broker_drops().map(|drops| drops.while_watched),
            disk_free_bytes: looked_up.disk_free_bytes,
            troubles,
            latest_rejects: self.latest_rejects(),
            possible_gaps: self.gaps(&looked_up).iter().take(GAPS_TOLD).map(told).collect(),
            missing_spans: looked_up.missing_spans.iter().take(SPANS_TOLD).map(ToString::to_string).collect(),
        }
    }

    pub(crate) fn metrics(&self, exposition: Exposition) -> String {
        let board = self.board.borrow().clone();
        let open = board.lanes.iter().map(|lane| lane.open.len()).sum::<usize>() + board.plant_open.len();
        let counts = self.intake.counts();
        let looked_up = self.looked_up();
        let figures = Figures {
            health: self.health(),
            events: counts.events,
            maybe_twice: counts.maybe_twice,
            crowded: counts.crowded,
            open_findings: open as u64,
            messages: [self.messages.arrived(), self.messages.lost(), self.messages.waiting()],
            possible_gaps: self.gaps(&looked_up).len() as u64,
            missing_spans: looked_up.missing_spans.len() as u64,
            commits: self.intake.commit_times(),
            delays: self.intake.durable_delays(),
        };
        figures.text(exposition)
    }

    fn latest_rejects(&self) -> Vec<String> {
        let rejects = self.intake.rejects();
        let told = |reject: &wire::Reject| format!("{} {}: {}", reject.arrived, reject.topic, reject.reason);
        rejects.iter().rev().take(REJECTS_TOLD).map(told).collect()
    }

    /// Those on record, and those that are about to be; the latest first.
    fn gaps(&self, looked_up: &LookedUp) -> Vec<Gap> {
        let mut gaps = new_gaps(&self.intake);
        gaps.extend(looked_up.gaps.iter().cloned());
        gaps.sort_by(|a, b| b.cmp(a));
        gaps.dedup();
        gaps
    }
}

fn little_room(free: u64) -> Option<String> {
    (free < LITTLE_ROOM).then(|| {
        format!(
            "Only {} MB are left on the disk of the data folder; make room before readings cannot be stored.",
            free / 1_000_000
        )
    })
}

fn new_gaps(intake: &IntakeStats) -> Vec<Gap> {
    let gap = |gap: intake::PossibleGap| Gap { from: gap.from, to: gap.to, reason: NO_SESSION.to_owned() };
    intake.possible_gaps().into_iter().map(gap).collect()
}

/// Puts gaps on record; once the broker has let us in, an import is no longer the newest thing.
fn note(records: &Records, gaps: &[Gap], is_let_in: bool) -> Result<(), RecordsError> {
    records.note_gaps(gaps)?;
    if is_let_in && records.heard_before_import()?.is_some() {
        records.forget_import()?;
    }
    Ok(())
}

/// Puts the intake's possible gaps on record until told to stop, and a last time then.
pub(crate) async fn keep_noting_gaps(
    intake: Arc<IntakeStats>,
    records: Arc<Records>,
    stop: CancellationToken,
) {
    let mut noted = (Vec::new(), false);
    loop {
        let goes_on = tokio::select! {
            () = stop.cancelled() => false,
            () = tokio::time::sleep(NOTE_GAPS_EVERY) => true,
        };
        // In this order: a gap is there before the connection counts.
        let is_let_in = 0 < intake.counts().connections;
        let news = (new_gaps(&intake), is_let_in);
        if news != noted {
            let (to_note, records) = (news.0.clone(), records.clone());
            match tokio::task::spawn_blocking(move || note(&records, &to_note, is_let_in)).await {
                Ok(Ok(())) => noted = news,
                Ok(Err(error)) => {
                    warn!(
                        error = &error as &dyn std::error::Error,
                        "cannot put a possible gap on record; trying again"
                    );
                }
                Err(_) => return,
            }
        }
        if !goes_on {
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn little_room_is_told_in_time() {
        assert_eq!(little_room(LITTLE_ROOM), None);
        let told = little_room(300_000_000).unwrap();
        assert!(told.starts_with("Only 300 MB are left"), "{told}");
    }
}
