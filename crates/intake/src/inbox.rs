//! The one queue in front of the journal: what the broker delivers and what comes over HTTP, in order of arrival.
//!
//! Bounded; when it is full, whoever has something waits. Nothing is ever dropped here.

use std::sync::Arc;

use model::Arrival;
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc, oneshot};
use wire::{Message, Reject};

use crate::dialect::PacketId;
use crate::generation::Generation;

/// Twice what a 5.0 broker may have on the way to us, so that polling goes on while a block is being synced.
const INBOX: usize = 2 * crate::dialect::RECEIVE_MAXIMUM as usize;

/// Payloads that wait, in KiB: thousands of ordinary ones, and a bound on what huge ones can take from the machine.
const ROOM_KIB: usize = 64 * 1024;

/// Something for the committer.
pub(crate) enum Inbound {
    /// From the broker.
    Delivery(Delivered),
    /// From our own program.
    Submission { arrivals: Vec<Arrival>, durable: oneshot::Sender<()> },
    /// Wants to know when everything before it has been settled.
    Flush(oneshot::Sender<()>),
    /// Nothing came; what waits in the decoder may be due.
    Time,
}

/// A message from the broker, and whom to acknowledge it to.
pub(crate) struct Delivered {
    pub(crate) content: Result<Message, Reject>,
    /// The broker says that it has sent this one before.
    pub(crate) again: bool,
    pub(crate) generation: Arc<Generation>,
    /// `None` where the broker wants no acknowledgement.
    pub(crate) packet_id: Option<PacketId>,
    /// Its place, given back when it is on disk.
    pub(crate) place: OwnedSemaphorePermit,
}

/// Room for payloads, shared by all connections.
#[derive(Clone)]
pub(crate) struct Room(Arc<Semaphore>);

impl Room {
    pub(crate) fn new() -> Room {
        Room(Arc::new(Semaphore::new(ROOM_KIB)))
    }

    /// Waits until there is room for a payload. One that is larger than all the room waits for the whole of it.
    pub(crate) async fn take_place(&self, payload_bytes: usize) -> OwnedSemaphorePermit {
        let kib = payload_bytes.div_ceil(1024).clamp(1, ROOM_KIB);
        let kib = u32::try_from(kib).expect("the room is far smaller than u32::MAX");
        Arc::clone(&self.0).acquire_many_owned(kib).await.expect("the semaphore is never closed")
    }
}

/// The receiving end, for [`run`](crate::run()).
pub struct Inbox {
    pub(crate) sender: mpsc::Sender<Inbound>,
    pub(crate) receiver: mpsc::Receiver<Inbound>,
}

/// Hands in arrivals that do not come from the broker, such as events posted over HTTP. Clones share the queue.
#[derive(Clone)]
pub struct Submit {
    sender: mpsc::Sender<Inbound>,
}

/// The arrivals are not known to be on disk: the intake has stopped, or stops.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the intake is stopping; it is not known whether this was stored, send it again after the restart")]
pub struct NotKept;

/// The queue in front of the journal, and the handle that others submit with.
pub fn inbox() -> (Submit, Inbox) {
    let (sender, receiver) = mpsc::channel(INBOX);
    (Submit { sender: sender.clone() }, Inbox { sender, receiver })
}

impl Submit {
    /// Waits until the arrivals are on disk. They go on to the engine like any other. While the journal takes nothing this
    /// waits; a caller with a person in front of it sets a limit, and the arrivals may still be stored after that.
    ///
    /// # Errors
    /// [`NotKept`] if the intake stops first.
    pub async fn submit(&self, arrivals: Vec<Arrival>) -> Result<(), NotKept> {
        let (durable, answer) = oneshot::channel();
        self.sender.send(Inbound::Submission { arrivals, durable }).await.map_err(|_| NotKept)?;
        answer.await.map_err(|_| NotKept)
    }
}
