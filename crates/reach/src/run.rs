//! Keeps looking who is to be told, and tells them.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;

use alarms::Desk;
use model::{Board, FindingId, Timestamp};
use plant::Plant;
use records::{Records, Told};
use tokio::sync::watch;
use tokio::task::{JoinSet, spawn_blocking};
use tokio::time::{Instant, sleep};
use tokio_util::sync::CancellationToken;
use tracing::warn;

use crate::config::{ReachConfig, ReachError, Ways};
use crate::message::{Message, flood_id};
use crate::outbox::{Next, Outbox, Pending};
use crate::policy::{About, Key, due, still_calls};
use crate::stats::ReachStats;

/// A person reads a message after a minute at best; a look costs little.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// Messages on their way at once: a receiver that stands still holds up no other.
const AT_ONCE: usize = 8;
/// A message that has failed so often is told as a trouble: some mail servers refuse every first try for the moment.
const LATE_AFTER_TRIES: u32 = 2;

/// What reaching people needs.
pub struct Reaching {
    /// Names of machines, contacts, rules and the time zone.
    pub plant: Arc<Plant>,
    /// Secrets and the like.
    pub config: ReachConfig,
    /// The works as it stands.
    pub board: watch::Receiver<Arc<Board>>,
    /// Alarms, and what people said of them.
    pub desk: Arc<Desk>,
    /// Where it is written who was told.
    pub records: Arc<Records>,
    /// Tells the time.
    pub clock: Arc<dyn Fn() -> Timestamp + Send + Sync>,
    /// What became of messages.
    pub stats: Arc<ReachStats>,
}

/// Whoever carries messages to people.
pub struct Post {
    reaching: Reaching,
    ways: Ways,
    outbox: Outbox,
    under_way: JoinSet<(Pending, Result<(), ReachError>)>,
    /// What has been put into the box since the start, or was told before it.
    asked: BTreeSet<Key>,
    /// What does not get through so far, and why.
    late: BTreeMap<Key, String>,
}

impl Post {
    /// Ready to go.
    ///
    /// # Errors
    /// If the means to reach anybody cannot be made.
    pub fn new(reaching: Reaching) -> Result<Post, ReachError> {
        Ok(Post {
            ways: Ways::new(&reaching.config)?,
            reaching,
            outbox: Outbox::default(),
            under_way: JoinSet::new(),
            asked: BTreeSet::new(),
            late: BTreeMap::new(),
        })
    }

    /// Tells people until `stop`. Does nothing where the plant file names nobody.
    pub async fn keep_reaching(mut self, stop: CancellationToken) {
        if self.reaching.plant.reach.rules.is_empty() {
            return stop.cancelled().await;
        }
        loop {
            self.look().await;
            self.send();
            tokio::select! {
                () = stop.cancelled() => return,
                () = sleep(LOOK_EVERY) => {}
            }
            self.collect().await;
        }
    }

    /// Puts what is due into the box.
    async fn look(&mut self) {
        let now = (self.reaching.clock)();
        let board = self.reaching.board.borrow().clone();
        let listing = self.reaching.desk.listing(&board, now);
        // Whoever acknowledges it meanwhile spares them the message; if it rings again, it is told again.
        for key in self.outbox.withdraw(|key| !still_calls(key, &listing)) {
            self.asked.remove(&key);
            self.late.remove(&key);
        }
        // What is over and done need not be remembered; if it came again, it stands in the records.
        let flood = listing.flood.map(flood_id);
        self.asked.retain(|(finding, ..)| listing.of(finding).is_some() || flood.as_ref() == Some(finding));
        let known: BTreeSet<&FindingId> = self.asked.iter().map(|(finding, ..)| finding).collect();
        let ringing =
            listing.alarms.iter().filter(|alarm| alarm.state.rings()).map(|alarm| &alarm.finding.id);
        let new: Vec<FindingId> = ringing.chain(&flood).filter(|id| !known.contains(id)).cloned().collect();
        let remembers = self.remember(new).await;
        self.reaching.stats.note(|counts| counts.cannot_remember = !remembers);
        if !remembers {
            return;
        }
        for (key, about) in due(&self.reaching.plant, &listing, &self.asked, now) {
            let origin = self.reaching.config.origin.as_deref();
            let message = match about {
                About::Alarm(alarm) => Message::of_alarm(&self.reaching.plant, alarm, origin, now),
                About::Flood(since) => Message::of_flood(&self.reaching.plant, &listing, since, now),
            };
            self.asked.insert(key.clone());
            if let Some(gone) = self.outbox.put(key, message, Instant::now()) {
                self.late.remove(&gone.key);
                warn!(subject = %gone.message.subject, contact = %gone.key.1, "too many messages wait; one was thrown away");
                self.reaching.stats.note(|counts| {
                    counts.dropped += 1;
                    counts.lose(now, "too many messages wait".to_owned());
                });
                self.write_down(gone.key, false);
            }
        }
    }

    /// What was told before the service was started is not told again. False if the records cannot be read.
    async fn remember(&mut self, findings: Vec<FindingId>) -> bool {
        if findings.is_empty() {
            return true;
        }
        let records = self.reaching.records.clone();
        match spawn_blocking(move || records.told_of(&findings)).await {
            Ok(Ok(told)) => {
                self.asked.extend(told.into_iter().map(|told| (told.finding, told.contact, told.priority)));
                true
            }
            Ok(Err(error)) => {
                warn!(
                    error = &error as &dyn std::error::Error,
                    "cannot read who was told of alarms; trying again"
                );
                false
            }
            Err(_) => false,
        }
    }

    /// Sends what is due, a few at once.
    fn send(&mut self) {
        while self.under_way.len() < AT_ONCE {
            let Some(pending) = self.outbox.take(Instant::now()) else { break };
            let Some(contact) = self.reaching.plant.reach.contact(&pending.key.1).cloned() else { continue };
            let ways = self.ways.clone();
            self.under_way.spawn(async move {
                let told = ways.tell(&contact, &pending.message).await;
                (pending, told)
            });
        }
        self.note_how_it_stands();
    }

    fn note_how_it_stands(&self) {
        let waiting = (self.outbox.len() + self.under_way.len()) as u64;
        let (late, because) = (self.late.len() as u64, self.late.values().next().cloned());
        self.reaching.stats.note(|counts| {
            counts.waiting = waiting;
            counts.late = late;
            counts.late_because = because;
        });
    }

    /// What became of those under way.
    async fn collect(&mut self) {
        while let Some(ended) = self.under_way.try_join_next() {
            let Ok((pending, told)) = ended else { continue };
            match told {
                Ok(()) => {
                    self.late.remove(&pending.key);
                    self.reaching.stats.note(|counts| counts.arrived += 1);
                    self.write_down(pending.key, true);
                }
                Err(error) => self.failed(pending, &error),
            }
        }
    }

    fn failed(&mut self, pending: Pending, error: &ReachError) {
        let can_be_tried = matches!(error, ReachError::Now(_));
        let (key, subject) = (pending.key.clone(), pending.message.subject.clone());
        let contact = &key.1;
        match self.outbox.failed(pending, can_be_tried, Instant::now()) {
            Next::Again(tries) => {
                warn!(%contact, %subject, %error, "a message did not get there; trying again");
                if LATE_AFTER_TRIES <= tries {
                    let because = format!("{contact}: {error}");
                    self.late.insert(key, because);
                }
            }
            Next::GivenUp => {
                self.late.remove(&key);
                warn!(%contact, %subject, %error, "a message did not get there, and is given up");
                let (now, fault) = ((self.reaching.clock)(), format!("{contact}: {error}"));
                self.reaching.stats.note(|counts| {
                    counts.given_up += 1;
                    counts.lose(now, fault);
                });
                self.write_down(key, false);
            }
        }
    }

    /// In the background: whoever is told next does not wait for the disk.
    fn write_down(&self, (finding, contact, priority): Key, arrived: bool) {
        let (records, at) = (self.reaching.records.clone(), (self.reaching.clock)());
        spawn_blocking(move || {
            if let Err(error) = records.note_told(&Told { finding, priority, contact, at, arrived }) {
                warn!(error = &error as &dyn std::error::Error, "cannot write down who was told of an alarm");
            }
        });
    }
}

#[cfg(test)]
mod tests;
