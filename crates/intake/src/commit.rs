//! Group commit: takes what has arrived, gets it onto disk as one block, and only then acknowledges it, in order.
//!
//! A sync costs the same for one message as for hundreds, so messages that come together are kept together: a block is
//! closed when nothing more is coming, and at the latest after 10 ms or a few hundred messages. After the acknowledgements
//! the block goes on to whoever works with it; if that one is behind, so are we, and then the broker.
//!
//! Acknowledgement asks for a `Durable`, which the journal alone can make.

use std::sync::Arc;
use std::time::Duration;

use journal::{Block, BlockSeq, Durable};
use model::{Arrival, Content};
use tokio::sync::{OwnedSemaphorePermit, mpsc, oneshot, watch};
use tokio::time::{Instant, sleep, timeout_at};
use tokio_util::sync::CancellationToken;
use tracing::debug;
use wire::{Decoded, Decoder, HeldMessage, Request};

use crate::IntakeError;
use crate::config::Clock;
use crate::dialect::PacketId;
use crate::flood::Meter;
use crate::generation::Generation;
use crate::inbox::{Delivered, Inbound};
use crate::keeper::{HeldUp, Keeper, Kept};
use crate::moments::{Moments, Room, is_timed_by_arrival};
use crate::stats::IntakeStats;
use crate::to_keep::ToKeep;

/// A reading waits no longer than this for company: a third of what publish-to-durable may take.
const GATHER_LONGEST: Duration = Duration::from_millis(10);

/// Nothing has come for this long: nobody is coming. Also what a broker with a small window costs us between two blocks.
const QUIET: Duration = Duration::from_millis(1);

/// How often the decoder is asked whether what waits there is due, while no message drives it. It waits for seconds.
const LOOK_AGAIN: Duration = Duration::from_secs(1);

/// Half of the broker's window, so that the other half is on its way while we sync.
const BLOCK_MESSAGES: usize = crate::dialect::RECEIVE_MAXIMUM as usize / 2;

/// Packs of thousands of records make a block large enough by themselves.
const BLOCK_ARRIVALS: usize = 10_000;

/// A reading that is so old when it comes has not been on its way all the time.
const WAS_KEPT: Duration = Duration::from_secs(60);

/// Who waits for what is in a block.
enum Waiting {
    /// A broker, for its acknowledgement.
    Broker(Arc<Generation>, PacketId),
    /// A submission or a flush, for word that it is done.
    Caller(oneshot::Sender<()>),
}

/// What will become one block, and who waits for it, in order of arrival.
#[derive(Default)]
struct Batch {
    to_keep: ToKeep,
    waiting: Vec<Waiting>,
    /// Held until it is on disk.
    places: Vec<OwnedSemaphorePermit>,
    messages: usize,
    urgent: bool,
}

impl Batch {
    fn is_closed(&self) -> bool {
        self.urgent || self.messages >= BLOCK_MESSAGES || self.to_keep.arrivals.len() >= BLOCK_ARRIVALS
    }
}

/// Takes from the inbox and puts onto disk.
pub(crate) struct Committer {
    pub(crate) keeper: Keeper,
    pub(crate) decoder: Decoder,
    pub(crate) meter: Meter,
    pub(crate) moments: Moments,
    pub(crate) inbox: mpsc::Receiver<Inbound>,
    pub(crate) blocks: mpsc::Sender<Block>,
    pub(crate) stats: Arc<IntakeStats>,
    pub(crate) held_up: watch::Sender<HeldUp>,
    pub(crate) clock: Clock,
    /// Nothing new is coming: what is in the inbox is the last.
    pub(crate) closing: CancellationToken,
}

impl Committer {
    /// Works until `closing` and an empty inbox, or until the keeper gives up. `held` are the messages that still waited
    /// when the last run ended.
    pub(crate) async fn run(mut self, held: Vec<HeldMessage>) -> Result<(), IntakeError> {
        let restored = self.decoder.restore(held);
        if !self.commit_decoded(restored).await? {
            return Ok(());
        }
        while let Some(first) = self.next().await {
            let batch = self.gather(first).await;
            if !self.commit(batch).await? {
                return Ok(());
            }
        }
        let last = self.decoder.pause();
        self.commit_decoded(last).await?;
        Ok(())
    }

    /// What came out without a message.
    async fn commit_decoded(&mut self, decoded: Decoded) -> Result<bool, IntakeError> {
        let mut batch = Batch::default();
        self.take_decoded(decoded, &mut batch);
        self.commit(batch).await
    }

    async fn next(&mut self) -> Option<Inbound> {
        tokio::select! {
            biased;
            inbound = self.inbox.recv() => return inbound,
            () = self.closing.cancelled() => self.inbox.close(),
            () = sleep(LOOK_AGAIN), if self.decoder.is_waiting() => return Some(Inbound::Time),
        }
        self.inbox.recv().await
    }

    async fn gather(&mut self, first: Inbound) -> Batch {
        let latest = Instant::now() + GATHER_LONGEST;
        let mut batch = Batch::default();
        self.take(first, &mut batch);
        while !batch.is_closed() {
            let quiet = latest.min(Instant::now() + QUIET);
            match timeout_at(quiet, self.inbox.recv()).await {
                Ok(Some(inbound)) => self.take(inbound, &mut batch),
                Ok(None) | Err(_) => break,
            }
        }
        batch
    }

    fn take(&mut self, inbound: Inbound, batch: &mut Batch) {
        match inbound {
            Inbound::Delivery(delivered) => self.take_delivery(delivered, batch),
            Inbound::Submission { arrivals, durable } => {
                batch.to_keep.arrivals.extend(arrivals);
                batch.waiting.push(Waiting::Caller(durable));
            }
            Inbound::Flush(done) => {
                batch.waiting.push(Waiting::Caller(done));
                batch.urgent = true;
            }
            Inbound::Time => {
                let decoded = self.decoder.pass_time((self.clock)());
                self.take_decoded(decoded, batch);
            }
        }
        batch.messages += 1;
    }

    fn take_delivery(&mut self, delivered: Delivered, batch: &mut Batch) {
        match delivered.content {
            Ok(message) => {
                let mut decoded = self.decoder.decode(&message);
                ask(&delivered.generation, std::mem::take(&mut decoded.requests));
                let by_arrival = decoded.arrivals.iter().any(is_timed_by_arrival) || !decoded.held.is_empty();
                if delivered.again && by_arrival {
                    self.stats.note_maybe_twice();
                }
                match self.moments.set_apart(&mut decoded.arrivals) {
                    Room::Enough => {}
                    Room::Short => self.stats.note_crowded(),
                }
                self.take_decoded(decoded, batch);
            }
            Err(reject) => self.stats.note_reject(reject),
        }
        batch.places.push(delivered.place);
        if let Some(packet_id) = delivered.packet_id {
            batch.waiting.push(Waiting::Broker(delivered.generation, packet_id));
        }
    }

    fn take_decoded(&mut self, decoded: Decoded, batch: &mut Batch) {
        self.meter.count(&decoded.arrivals).into_iter().for_each(|shown| self.stats.note_flood(shown));
        batch.to_keep.arrivals.extend(decoded.arrivals);
        batch.to_keep.note_held(decoded.held, decoded.let_go);
        decoded.rejects.into_iter().for_each(|reject| self.stats.note_reject(reject));
    }

    /// `false` if the keeper gave up: then nothing of the batch has been acknowledged.
    async fn commit(&mut self, batch: Batch) -> Result<bool, IntakeError> {
        let Kept::OnDisk(durable, arrivals) = self.keeper.keep(batch.to_keep).await? else {
            return Ok(false);
        };
        drop(batch.places);
        self.note_delays(&arrivals);
        self.settle(batch.waiting, &durable);
        if !arrivals.is_empty() {
            self.hand_on(Block { seq: durable.into_inner(), arrivals }).await?;
        }
        Ok(true)
    }

    /// From a reading's own time to the disk. One that is older than a minute was kept somewhere before it was sent.
    fn note_delays(&self, arrivals: &[Arrival]) {
        let now = (self.clock)();
        for arrival in arrivals.iter().filter(|arrival| !arrival.retained) {
            let delay = Duration::try_from_secs_f64((now - arrival.at()).as_secs_f64()).unwrap_or_default();
            if delay < WAS_KEPT {
                self.stats.note_delay(delay);
            }
        }
    }

    fn settle(&self, waiting: Vec<Waiting>, durable: &Durable<BlockSeq>) {
        for waiting in waiting {
            match waiting {
                Waiting::Broker(generation, packet_id) => {
                    if generation.acknowledge(durable.vouch_for(packet_id)) {
                        self.stats.note_acknowledged();
                    }
                }
                // Whoever asked may have gone; what they handed in is stored all the same.
                Waiting::Caller(answer) => drop(answer.send(())),
            }
        }
    }

    async fn hand_on(&mut self, block: Block) -> Result<(), IntakeError> {
        let events =
            block.arrivals.iter().filter(|arrival| matches!(arrival.content, Content::Event(_))).count();
        self.stats.note_newest_block(block.seq.get());
        self.stats.note_block((block.arrivals.len() - events) as u64, events as u64);
        match self.blocks.try_reserve() {
            Ok(place) => place.send(block),
            Err(mpsc::error::TrySendError::Full(())) => {
                self.held_up.send_replace(HeldUp::ByTaker);
                let sent = self.blocks.send(block).await;
                self.held_up.send_replace(HeldUp::No);
                sent.map_err(|_| IntakeError::BlocksNotTaken)?;
            }
            Err(mpsc::error::TrySendError::Closed(())) => return Err(IntakeError::BlocksNotTaken),
        }
        Ok(())
    }
}

/// Asks senders for what the decoder needs of them. A request that cannot be sent is not worth a connection: the decoder
/// asks again.
fn ask(generation: &Generation, requests: Vec<Request>) {
    for request in requests {
        if generation.client().try_publish_once(&request.topic, request.payload).is_err() {
            debug!(topic = request.topic, "a request could not be sent");
        }
    }
}
