//! Starts everything in order, and stops it in order: what takes in first, what writes down last.

use std::future::Future;
use std::sync::{Arc, RwLock};
use std::thread;
use std::time::Duration;

use alarms::Desk;
use intake::{Dialect, IntakeConfig, IntakeStats, NoticeboardConfig, Notices, Wiring, inbox};
use journal::BlockSeq;
use reach::{Post, ReachStats, Reaching};
use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch as channel};
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;
use tracing::{info, warn};
use web::WebState;
use wire::Decoder;

use crate::desk;
use crate::displays;
use crate::health::{self, Vitals, keep_noting_gaps};
use crate::mover::Mover;
use crate::progress::Progress;
use crate::rework::Reworker;
use crate::rooms::remember_rooms;
use crate::sink::JournalSink;
use crate::watch::Watch;
use crate::{ServiceConfig, ServiceError};

/// Blocks between intake and watch: some seconds of a large plant. Full means that the intake waits, and the broker keeps the rest.
const BLOCKS_WAITING: usize = 1_024;

/// Somebody whose network stands still must not keep the service from ending.
const PAGES_CLOSE_WITHIN: Duration = Duration::from_secs(1);

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
    let ServiceConfig { plant, plant_text, data, broker, clock, mut web, keep, reach, ready } = config;
    if broker.is_embedded {
        web.notes.push(EMBEDDED_NOTE.to_owned());
    }
    let (journal, recovery) = data.open_journal()?;
    for block in &recovery.set_aside {
        warn!(block = block.seq.get(), reason = %block.reason, "a block of the journal cannot be read");
    }
    let store = Arc::new(data.open_store()?);
    // Not before the store's lock is held: a second service must not overwrite the first one's.
    data.keep_plant_file(&plant_text)?;
    let records = Arc::new(data.open_records()?);
    let (saved, watch_saved) = channel::channel(BlockSeq::new(0));
    let progress = Arc::new(Progress::default());
    let reader = data.open_journal_reader()?;
    progress.note_moved(reader.moved_up_to()?.get(), 0);
    let mut watch = Watch::resume(plant.clone(), records.clone(), &reader, saved, progress.clone())?;
    watch.save()?;
    let last_arrival = watch.last_arrival();
    let heard = records.heard_before_import()?.unwrap_or(last_arrival);

    let stats = Arc::new(IntakeStats::new());
    let (submit, inbox) = inbox();
    let (blocks, queue) = mpsc::channel(BLOCKS_WAITING);
    let (board, watch_board) = channel::channel(Arc::new(watch.board()));
    let stop = CancellationToken::new();
    let _stops_all = stop.clone().drop_guard();

    let watching = {
        let reworker = Reworker { records: records.clone(), store: store.clone() };
        let (clock, runtime) = (clock.clone(), tokio::runtime::Handle::current());
        let stop = stop.clone();
        spawn_thread("watch", move || watch.run(queue, &board, &clock, &reworker, &runtime, &stop))?
    };
    let mover = Mover {
        store: store.clone(),
        saved: watch_saved,
        progress: progress.clone(),
        keep,
        clock: clock.clone(),
    };
    let moving = tokio::spawn(mover.keep_moving(stop.clone()));
    let noting = tokio::spawn(keep_noting_gaps(stats.clone(), records.clone(), stop.clone()));
    let desk = Arc::new(Desk::open(records.clone(), clock())?);
    let keeping = tokio::spawn(desk::keep_fresh(desk.clone(), clock.clone(), stop.clone()));
    let messages = Arc::new(ReachStats::default());
    let reaching = Reaching {
        plant: plant.clone(),
        config: reach,
        board: watch_board.clone(),
        desk: desk.clone(),
        records: records.clone(),
        clock: clock.clone(),
        stats: messages.clone(),
    };
    let reaching = tokio::spawn(Post::new(reaching)?.keep_reaching(stop.clone()));
    let vitals = Arc::new(Vitals {
        intake: stats.clone(),
        messages,
        progress,
        folder: data.path().to_owned(),
        records: records.clone(),
        store: Arc::downgrade(&store),
        board: watch_board.clone(),
        clock: clock.clone(),
        looked_up: RwLock::default(),
    });
    vitals.look();
    let looking = tokio::spawn(health::keep_looking(vitals.clone(), stop.clone()));
    let watch_board_for_displays = watch_board.clone();
    let readings = Arc::new(data.open_readings()?);
    let mut decoder = Decoder::new(&plant);
    if let Err(error) = remember_rooms(&mut decoder, &readings) {
        warn!(%error, "thermocouples wait until the room is told, because what was known of it cannot be read");
    }
    let state = WebState {
        plant: plant.clone(),
        board: watch_board,
        records,
        alarms: desk,
        store: readings.clone(),
        events: Arc::new(JournalSink { submit }),
        metrics: {
            let vitals = vitals.clone();
            Arc::new(move |exposition| vitals.metrics(exposition))
        },
        health: Arc::new(move || vitals.health()),
        clock: clock.clone(),
    };
    let (notices, posted) = channel::channel(Notices::default());
    let telling = displays::keep_telling(
        plant.mqtt.root.clone(),
        watch_board_for_displays,
        notices,
        clock.clone(),
        stop.clone(),
    );
    let telling = tokio::spawn(telling);
    let noticeboard = NoticeboardConfig {
        broker: broker.address.clone(),
        client_id: format!("{}-standing", broker.client_id),
        credentials: broker.credentials.clone(),
        first_try: Dialect::V5,
    };
    let posting = tokio::spawn(intake::keep_posted(noticeboard, posted, stop.clone().cancelled_owned()));
    let stop_pages = stop.clone();
    let mut pages = tokio::spawn(web::run(web, state, listener, async move { stop_pages.cancelled().await }));

    ready();
    let mut intake_config = IntakeConfig::new(broker.address, broker.client_id, decoder, clock);
    intake_config.credentials = broker.credentials;
    intake_config.last_arrival = last_arrival.filter(|_| !broker.is_new);
    intake_config.heard = heard.filter(|_| !broker.is_new);
    intake_config.watch_drops = !broker.is_embedded;
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
        match timeout(PAGES_CLOSE_WITHIN, &mut pages).await {
            Ok(ended) => joined("the web server", ended)??,
            Err(_) => {
                warn!("somebody at the pages did not come to an end, and is left standing");
                pages.abort();
            }
        }
    }
    joined("the mover", moving.await)?;
    joined("the keeper of gaps", noting.await)?;
    joined("the looker at the disk", looking.await)?;
    joined("the teller of standings", telling.await)?;
    joined("the noticeboard", posting.await)?;
    joined("the desk of alarms", keeping.await)?;
    joined("the messenger", reaching.await)?;
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

#[cfg(test)]
mod tests {
    use intake::BrokerAddress;
    use model::Timestamp;
    use web::WebConfig;

    use super::*;
    use crate::{Broker, DataFolder, Keep};

    const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
         [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
         [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n";

    fn config(data: &DataFolder) -> ServiceConfig {
        ServiceConfig {
            plant: Arc::new(plant::parse_plant(PLANT).unwrap()),
            plant_text: PLANT.to_owned(),
            data: data.clone(),
            broker: Broker {
                // Nobody is there.
                address: BrokerAddress::new("127.0.0.1", 1),
                client_id: "test".to_owned(),
                credentials: None,
                is_embedded: false,
                is_new: false,
            },
            clock: Arc::new(|| Timestamp::from_millis(1_772_427_600_000)),
            web: WebConfig::default(),
            keep: Keep::Everything,
            reach: reach::ReachConfig::default(),
            ready: Box::new(|| ()),
        }
    }

    #[tokio::test]
    async fn the_plant_file_is_that_of_the_service_that_has_the_folder() {
        let folder = tempfile::tempdir().unwrap();
        let data = DataFolder::new(folder.path().join("data"));
        let listener = || async { TcpListener::bind("127.0.0.1:0").await.unwrap() };
        serve(config(&data), listener().await, async {}).await.unwrap();
        assert_eq!(std::fs::read_to_string(data.plant_file()).unwrap(), PLANT);
        let _first = data.open_store().unwrap();
        let second = ServiceConfig { plant_text: "another one".to_owned(), ..config(&data) };
        let refused = serve(second, listener().await, async {}).await.unwrap_err();
        assert!(refused.to_string().contains("is another service running"), "{refused}");
        assert_eq!(std::fs::read_to_string(data.plant_file()).unwrap(), PLANT);
    }
}
