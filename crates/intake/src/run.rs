//! The intake as one function: keeps a connection up, the committer beside it, and ends both in the right order.

use std::sync::Arc;
use std::time::{Duration, Instant};

use journal::{Block, Journal};
use tokio::sync::{mpsc, watch};
use tokio::task::{JoinHandle, JoinSet};
use tokio::time::{sleep, timeout};
use tokio_util::sync::CancellationToken;
use tracing::warn;

use crate::backoff::Backoff;
use crate::commit::Committer;
use crate::config::IntakeConfig;
use crate::dialect::{Failure, Purpose, Settings, Tongue};
use crate::drops::watch_drops;
use crate::flood::Meter;
use crate::hush::Hush;
use crate::inbox::{Inbox, Room};
use crate::keeper::{HeldUp, Keeper};
use crate::moments::Moments;
use crate::session::{Common, Ended, Past, Session};
use crate::stats::IntakeStats;
use crate::to_keep;
use crate::{Clock, Dialect, IntakeError};

/// A broker that restarts is back in a second; one that is down for the night should not be knocked at all night long.
const FIRST_RECONNECT: Duration = Duration::from_millis(200);
const LONGEST_RECONNECT: Duration = Duration::from_secs(15);

/// A connection that has brought a message or lasted so long was a good one: the next failure starts from the first wait. A
/// broker that throws us out as soon as it has let us in is knocked at less and less often.
const GOOD_CONNECTION: Duration = Duration::from_secs(5);

/// The service has five seconds in all; what is on its way is on disk long before that unless the disk is in trouble.
const SHUTDOWN_DEADLINE: Duration = Duration::from_secs(4);

/// For a committer that has been told to give up.
const AFTER_GIVING_UP: Duration = Duration::from_millis(300);

/// What the intake takes from and gives to the rest of the service.
pub struct Wiring {
    /// The queue in front of the journal, from [`inbox`](crate::inbox()).
    pub inbox: Inbox,
    /// Takes each block once it is on disk. Must be taken from until the intake has returned.
    pub blocks: mpsc::Sender<Block>,
    /// The intake's account of itself.
    pub stats: Arc<IntakeStats>,
}

/// Takes messages from the broker onto disk until `shutdown` resolves. A broker that is away and a journal that takes nothing
/// are waited out. On shutdown it takes nothing more, stores and acknowledges what it has taken, and leaves the session
/// with the broker.
///
/// # Errors
/// [`IntakeError::Filter`] and [`IntakeError::Held`] before anything starts; [`IntakeError::BlocksNotTaken`] and [`IntakeError::JournalPanicked`] if
/// the service around it has broken; [`IntakeError::StoppedLate`] if shutting down took too long, usually because the journal
/// takes nothing. Nothing that was acknowledged is lost by any of them.
pub async fn run(
    config: IntakeConfig,
    journal: Journal,
    wiring: Wiring,
    shutdown: impl Future<Output = ()>,
) -> Result<(), IntakeError> {
    let filters = config.filters()?;
    let held = to_keep::messages(journal.held().map_err(IntakeError::Held)?);
    let Wiring { inbox, blocks, stats } = wiring;
    let (held_up, watch_held_up) = watch::channel(HeldUp::No);
    let (stop, closing, give_up) =
        (CancellationToken::new(), CancellationToken::new(), CancellationToken::new());
    // Whatever way this function is left, nothing that it has started goes on without it.
    let _guards = (stop.clone().drop_guard(), closing.clone().drop_guard(), give_up.clone().drop_guard());

    let committer = Committer {
        keeper: Keeper::new(journal, Arc::clone(&stats), held_up.clone(), give_up.clone()),
        decoder: config.decoder,
        meter: Meter::default(),
        moments: Moments::after(config.last_arrival),
        inbox: inbox.receiver,
        blocks,
        stats: Arc::clone(&stats),
        held_up,
        clock: Arc::clone(&config.clock),
        closing: closing.clone(),
    };
    let common = Arc::new(Common {
        settings: Settings {
            broker: config.broker,
            client_id: config.client_id,
            credentials: config.credentials,
            purpose: Purpose::Subscribe,
        },
        filters,
        clock: config.clock,
        inbox: inbox.sender,
        room: Room::new(),
        held_up: watch_held_up,
        stats: Arc::clone(&stats),
        stop: stop.clone(),
    });
    // Ends with this function.
    let mut beside = JoinSet::new();
    if config.watch_drops {
        let (settings, stop) = (common.settings.clone(), stop.clone());
        beside.spawn(watch_drops(settings, config.first_try, Arc::clone(&stats), stop));
    }
    let mut committer = tokio::spawn(committer.run(held));
    let mut sessions = tokio::spawn(keep_connected(common, config.first_try, config.heard));

    let early = tokio::select! {
        () = shutdown => None,
        ended = &mut committer => Some(joined(ended)),
    };
    let outcome = match early {
        Some(outcome) => {
            sessions.abort();
            outcome
        }
        None => {
            stop.cancel();
            let outcome = stop_in_order(&mut sessions, &mut committer, &closing).await;
            if outcome.is_err() {
                give_up.cancel();
                sessions.abort();
                // It holds the journal: let it put that down, unless it is stuck inside the disk.
                let _ = timeout(AFTER_GIVING_UP, &mut committer).await;
            }
            outcome
        }
    };
    stats.note_stopped();
    outcome
}

/// Sessions first, so that nothing new comes in; then the committer, with what is left in the inbox.
async fn stop_in_order(
    sessions: &mut JoinHandle<()>,
    committer: &mut JoinHandle<Result<(), IntakeError>>,
    closing: &CancellationToken,
) -> Result<(), IntakeError> {
    let started = tokio::time::Instant::now();
    let late = |late| IntakeError::StoppedLate { late, waited: SHUTDOWN_DEADLINE };
    if timeout(SHUTDOWN_DEADLINE, sessions).await.is_err() {
        return Err(late("storing and acknowledging what had come"));
    }
    closing.cancel();
    match timeout(SHUTDOWN_DEADLINE.saturating_sub(started.elapsed()), committer).await {
        Ok(ended) => joined(ended),
        Err(_) => Err(late("storing what had been submitted")),
    }
}

fn joined(ended: Result<Result<(), IntakeError>, tokio::task::JoinError>) -> Result<(), IntakeError> {
    ended.unwrap_or_else(|error| Err(IntakeError::JournalPanicked(error)))
}

/// One connection after the other until told to stop.
async fn keep_connected(common: Arc<Common>, first_try: Dialect, heard: Option<model::Timestamp>) {
    let mut tongue = Tongue::new(first_try);
    let mut backoff = Backoff::new(FIRST_RECONNECT, LONGEST_RECONNECT);
    let mut past = Past { heard };
    let mut hush = Hush::default();
    for number in 1.. {
        // A journal that takes nothing would only have the same messages delivered over and over.
        let journal_takes = async {
            let mut held_up = common.held_up.clone();
            let _ = held_up.wait_for(|held_up| *held_up != HeldUp::ByJournal).await;
        };
        if stopped_before(&common.stop, journal_takes).await {
            return;
        }
        let (began, messages) = (Instant::now(), common.stats.counts().messages);
        let (ended, subscribed) = serve(&common, number, tongue.next(), past).await;
        if messages < common.stats.counts().messages || GOOD_CONNECTION <= began.elapsed() {
            backoff.reset();
        }
        if subscribed {
            tongue.note_connected();
            past.heard = Some(common.stats.last_arrival().unwrap_or_else(|| now(&common.clock)));
        }
        match note_end(&common, &ended, &mut tongue, &mut hush) {
            Next::Reconnect => {}
            Next::Stop => return,
        }
        if stopped_before(&common.stop, sleep(backoff.next_wait())).await {
            return;
        }
    }
}

/// In a task of its own, so that a panic in the MQTT library costs one connection. Ends with the caller, whatever happens.
async fn serve(common: &Arc<Common>, number: u64, dialect: Dialect, past: Past) -> (Ended, bool) {
    let mut task = JoinSet::new();
    task.spawn(Session::serve(Arc::clone(common), number, dialect, past));
    let ended = task.join_next().await.expect("one task has been spawned");
    ended.unwrap_or_else(|error| {
        (Ended::Failed(Failure::Broken(format!("the MQTT client panicked: {error}"))), false)
    })
}

enum Next {
    Reconnect,
    Stop,
}

fn note_end(common: &Common, ended: &Ended, tongue: &mut Tongue, hush: &mut Hush) -> Next {
    let why = match ended {
        Ended::Closed | Ended::InboxClosed => return Next::Stop,
        Ended::Failed(failure) => {
            tongue.note_failure(failure);
            failure.says(&common.settings.broker, common.settings.credentials.as_ref())
        }
        Ended::GivenUp(why) => {
            common.stats.note_given_up();
            format!("the connection was given up: {why}")
        }
    };
    if let Some(unsaid) = hush.says(&why, Instant::now()) {
        warn!(%why, unsaid, "not connected");
    }
    common.stats.note_disconnected(why);
    Next::Reconnect
}

fn now(clock: &Clock) -> model::Timestamp {
    clock()
}

async fn stopped_before(stop: &CancellationToken, other: impl Future<Output = ()>) -> bool {
    tokio::select! {
        biased;
        () = stop.cancelled() => true,
        () = other => false,
    }
}
