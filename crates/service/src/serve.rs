//! Starts everything in order, and stops it in order: what takes in first, what writes down last.

use std::future::Future;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;
use std::time::Duration;

use intake::{IntakeConfig, IntakeStats, Wiring, inbox};
use journal::BlockSeq;
use store::Store;
use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch as channel};
use tokio_util::sync::CancellationToken;
use tracing::{info, warn};
use web::WebState;
use wire::Decoder;

use crate::health::Vitals;
use crate::rework::Reworker;
use crate::sink::JournalSink;
use crate::watch::Watch;
use crate::{ServiceConfig, ServiceError};

/// Blocks between intake and watch: some seconds of a large plant. Full means that the intake waits, and the broker keeps the rest.
const BLOCKS_WAITING: usize = 1_024;
/// Blocks become parts so often: seldom enough to rewrite a day's part cheaply, often enough to keep the journal small.
const MOVE_EVERY: Duration = Duration::from_secs(120);

/// What people should know of the broker inside the service.
const EMBEDDED_NOTE: &str =
    "Messages come through the broker inside this service. What it holds while the service is down is lost.";

/// Runs the service until `shutdown` resolves, then stops without losing anything.
///
/// # Errors
/// When a part cannot start, or breaks in a way that it should not.
pub async fn serve(
    config: ServiceConfig,
    listener: TcpListener,
    shutdown: impl Future<Output = ()>,
) -> Result<(), ServiceError> {
    let ServiceConfig { plant, data, broker, clock, mut web } = config;
    if broker.is_embedded {
        web.notes.push(EMBEDDED_NOTE.to_owned());
    }
    let (journal, recovery) = data.open_journal()?;
    for block in &recovery.set_aside {
        warn!(block = block.seq.get(), reason = %block.reason, "a block of the journal cannot be read");
    }
    let store = Arc::new(data.open_store()?);
    let records = Arc::new(data.open_records()?);
    let (saved, watch_saved) = channel::channel(BlockSeq::new(0));
    let mut watch = Watch::resume(plant.clone(), records.clone(), &data.open_journal_reader()?, saved)?;
    watch.save()?;
    let last_arrival = watch.last_arrival();

    let stats = Arc::new(IntakeStats::new());
    let backlog = Arc::new(AtomicU64::new(0));
    let (submit, inbox) = inbox();
    let (blocks, queue) = mpsc::channel(BLOCKS_WAITING);
    let (board, watch_board) = channel::channel(Arc::new(model::Board::default()));
    let stop = CancellationToken::new();
    let _stops_all = stop.clone().drop_guard();

    let watching = {
        let reworker = Reworker { records: records.clone(), store: store.clone() };
        let (clock, runtime) = (clock.clone(), tokio::runtime::Handle::current());
        spawn_thread("watch", move || watch.run(queue, &board, &clock, &reworker, &runtime))?
    };
    let moving = tokio::spawn(keep_moving(store.clone(), watch_saved, backlog.clone(), stop.clone()));
    let vitals = Vitals { intake: stats.clone(), backlog };
    let state = WebState {
        plant: plant.clone(),
        board: watch_board,
        records,
        store: Arc::new(data.open_readings()?),
        events: Arc::new(JournalSink { submit }),
        health: Arc::new(move || vitals.health()),
        clock: clock.clone(),
    };
    let stop_pages = stop.clone();
    let mut pages = tokio::spawn(web::run(web, state, listener, async move { stop_pages.cancelled().await }));

    let mut intake_config = IntakeConfig::new(broker.address, broker.client_id, Decoder::new(&plant), clock);
    intake_config.credentials = broker.credentials;
    intake_config.last_arrival = last_arrival;
    let told_to_stop = async {
        tokio::select! {
            () = shutdown => None,
            ended = &mut pages => Some(joined("the web server", ended)),
        }
    };
    let (early, ended) = channel::channel(None);
    let taken_in = intake::run(intake_config, journal, Wiring { inbox, blocks, stats }, async move {
        let outcome = told_to_stop.await;
        early.send_replace(outcome.map(|outcome| outcome.err().map(|error| error.to_string())));
    })
    .await;
    stop.cancel();
    info!("stopping");
    watching.await.map_err(|_| ServiceError::Stopped { part: "the watch" })??;
    if ended.borrow().is_none() {
        joined("the web server", pages.await)??;
    }
    joined("the mover", moving.await)?;
    Ok(taken_in?)
}

fn joined<T>(part: &'static str, ended: Result<T, tokio::task::JoinError>) -> Result<T, ServiceError> {
    ended.map_err(|_| ServiceError::Stopped { part })
}

/// Runs blocking work on a thread of its own for as long as it likes.
fn spawn_thread<T: Send + 'static>(
    name: &'static str,
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<tokio::sync::oneshot::Receiver<T>, ServiceError> {
    let (done, result) = tokio::sync::oneshot::channel();
    thread::Builder::new()
        .name(name.to_owned())
        .spawn(move || {
            // Nobody waits for it only if the service itself is gone.
            let _ = done.send(work());
        })
        .map_err(|_| ServiceError::Stopped { part: name })?;
    Ok(result)
}

/// Moves blocks into parts, as far as the watch's saved state goes.
async fn keep_moving(
    store: Arc<Store>,
    saved: channel::Receiver<BlockSeq>,
    backlog: Arc<AtomicU64>,
    stop: CancellationToken,
) {
    loop {
        tokio::select! {
            () = stop.cancelled() => return,
            () = tokio::time::sleep(MOVE_EVERY) => {}
        }
        let up_to = *saved.borrow();
        let moving = store.clone();
        // Events are in the records already: the watch writes them no later than the state that contains them.
        let moved = tokio::task::spawn_blocking(move || moving.move_blocks(up_to, |_| Ok(()))).await;
        match moved {
            Ok(Ok(moved)) => backlog.store(up_to.get().saturating_sub(moved.up_to.get()), Ordering::Relaxed),
            Ok(Err(error)) => {
                warn!(
                    error = &error as &dyn std::error::Error,
                    "cannot move readings into parts; trying again"
                );
            }
            Err(_) => return,
        }
    }
}
