//! What the pages are made from. The service hands it over; `web` owns none of it.

use std::future::Future;
use std::path::PathBuf;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use alarms::Desk;
use model::{Arrival, Board, Timestamp};
use plant::Plant;

use records::Records;
use serde::Serialize;
use store::StoreReader;
use tokio::sync::watch;

use crate::paper::Paper;

/// How the pages are served.
#[derive(Debug, Clone, Default)]
pub struct WebConfig {
    /// A folder laid over our own templates, stylesheet and page files.
    pub dashboards: Option<PathBuf>,
    /// Who may make entries.
    pub entries: Entries,
    /// Who may look.
    pub reading: Reading,
    /// How browsers call this service, such as `https://tempering.example`, where something stands before it that speaks TLS.
    pub origin: Option<String>,
    /// Said at the foot of each page: what people should know of this service as it is set up.
    pub notes: Vec<String>,
    /// How often live pages hear from us.
    pub pace: LivePace,
    /// Sets reports as PDF; without it no page offers one.
    pub paper: Option<Paper>,
}

/// How often live pages hear from us.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LivePace {
    /// Nobody reads faster; between two messages the newest board wins.
    pub at_most_every: Duration,
    /// A finding that is raised, grows worse or ends is told sooner: somebody may have to go. Not at once, so that a flood of them stays cheap.
    pub findings_at_most_every: Duration,
    /// Silence and quiet must be told apart: a page calls itself not live after twelve seconds without a word.
    pub at_least_every: Duration,
}

impl Default for LivePace {
    fn default() -> LivePace {
        LivePace {
            at_most_every: Duration::from_secs(1),
            findings_at_most_every: Duration::from_millis(200),
            at_least_every: Duration::from_secs(5),
        }
    }
}

/// Who may make entries: events through a form or `POST /api/v1/events`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Entries {
    /// People who have signed in, as far as their role goes; closed to others.
    #[default]
    Closed,
    /// Whoever sits at this computer (the demo). Falls back to `Closed` if the service listens on another address than
    /// loopback.
    OpenOnLoopback,
}

/// Who may look at pages and ask for documents.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Reading {
    /// Whoever reaches the service.
    #[default]
    Open,
    /// People who have signed in, and programs with a key.
    SignedIn,
}

/// What the pages are made from.
#[derive(Clone)]
pub struct WebState {
    /// The plant file.
    pub plant: Arc<Plant>,
    /// The works as it stands.
    pub board: watch::Receiver<Arc<Board>>,
    /// Batches, findings and events.
    pub records: Arc<Records>,
    /// Where alarms are answered.
    pub alarms: Arc<Desk>,
    /// Readings.
    pub store: Arc<StoreReader>,
    /// Takes an entry and answers when it is on disk.
    pub events: Arc<dyn EventSink>,
    /// How the service is.
    pub health: Arc<dyn Fn() -> Health + Send + Sync>,
    /// The figures for a monitoring program, as it reads them.
    pub metrics: Arc<dyn Fn(Exposition) -> String + Send + Sync>,
    /// The time of day; the demo's runs faster.
    pub clock: Arc<dyn Fn() -> Timestamp + Send + Sync>,
}

/// How the figures for a monitoring program are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exposition {
    /// Prometheus text, version 0.0.4.
    Prometheus,
    /// OpenMetrics, version 1.0.0.
    OpenMetrics,
}

/// Takes entries that come through the pages. Answers when the entry is on disk, not before.
pub trait EventSink: Send + Sync {
    /// Makes `arrival` durable.
    fn take(&self, arrival: Arrival) -> Pin<Box<dyn Future<Output = Result<(), NotDurable>> + Send + '_>>;
}

/// The entry could not be put on disk; it is not known to anybody.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct NotDurable(pub String);

/// How the service is, in words and in numbers.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Health {
    /// The connection to the broker.
    pub intake: IntakeState,
    /// Messages taken since the start.
    pub messages: u64,
    /// Readings taken since the start.
    pub readings: u64,
    /// Messages that could not be read.
    pub rejected: u64,
    /// Readings that came again: the same machine, channel and time. Told when they are moved into the store.
    pub duplicates: u64,
    /// Connections to the broker after the first.
    pub reconnects: u64,
    /// How far the watch is behind what has come, in milliseconds.
    pub lag_ms: u64,
    /// Blocks in the journal that are not yet in the store.
    pub journal_backlog: u64,
    /// Messages that the broker says it has thrown away since this service began to watch, for all its subscribers
    /// together; `None` if it does not say.
    pub broker_dropped: Option<u64>,
    /// Room left on the disk that holds the data folder.
    pub disk_free_bytes: Option<u64>,
    /// What is wrong, each in a sentence; empty when all is well.
    pub troubles: Vec<String>,
    /// The newest messages that could not be read: when, on which topic, and why.
    pub latest_rejects: Vec<String>,
    /// Times in which messages may have been lost, the latest first: from, to, and how it came about.
    pub possible_gaps: Vec<String>,
    /// Stored readings that can no longer be read: whose, from, to, and why.
    pub missing_spans: Vec<String>,
}

/// The connection to the broker.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum IntakeState {
    /// Connected and subscribed.
    Connected,
    /// Trying to connect.
    Connecting,
    /// Connected, but not taking messages, because they cannot be put on disk.
    Held,
    /// Not running.
    #[default]
    Stopped,
}

impl Health {
    /// Is everything as it should be?
    pub fn is_well(&self) -> bool {
        self.intake == IntakeState::Connected && self.troubles.is_empty()
    }

    /// What a person has to know, in sentences; empty when all is well.
    pub fn says(&self) -> Vec<String> {
        let about_intake = match self.intake {
            IntakeState::Connected => None,
            // Why it does not come about is the first of the troubles.
            IntakeState::Connecting if !self.troubles.is_empty() => None,
            IntakeState::Connecting => Some("No connection to the broker; trying again."),
            IntakeState::Held => {
                Some("Readings cannot be put on disk; the broker keeps them until they can.")
            }
            IntakeState::Stopped => Some("Readings are not being taken."),
        };
        about_intake.map(str::to_owned).into_iter().chain(self.troubles.iter().cloned()).collect()
    }
}
