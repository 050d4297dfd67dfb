//! What a service is told from outside.

use std::path::PathBuf;
use std::sync::Arc;

use intake::{BrokerAddress, Clock, Credentials};
use plant::Plant;
use reach::ReachConfig;
use web::WebConfig;

use crate::DataFolder;

/// Settings of one service.
pub struct ServiceConfig {
    /// The plant file.
    pub plant: Arc<Plant>,
    /// The plant file's text, to be kept in the data folder.
    pub plant_text: String,
    /// Where everything is kept.
    pub data: DataFolder,
    /// Where the messages come from.
    pub broker: Broker,
    /// Tells the time of arrivals; the demo's runs faster than the wall's.
    pub clock: Clock,
    /// How the pages are served.
    pub web: WebConfig,
    /// How long readings are kept.
    pub keep: Keep,
    /// Who is told of alarms, with the secrets that it takes.
    pub reach: ReachConfig,
    /// Called once everything runs and pages are answered.
    pub ready: Box<dyn FnOnce() + Send>,
}

/// How long readings are kept. Batches, findings and events are kept for good.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Keep {
    /// For good.
    #[default]
    Everything,
    /// Those of this many days before today, in UTC.
    Days(u32),
}

impl Keep {
    /// The weekly review looks back a week, and a batch that is worked out again needs the day before it.
    pub const FEWEST_DAYS: u32 = 14;
}

/// Where the messages come from.
#[derive(Debug, Clone)]
pub struct Broker {
    /// Its address.
    pub address: BrokerAddress,
    /// The name of our session there; the same at every start.
    pub client_id: String,
    /// If it asks for them.
    pub credentials: Option<Credentials>,
    /// Said on the pages when it is the embedded one, whose queue does not survive a restart.
    pub is_embedded: bool,
    /// It has just been made for a past that did not come through it, and so can have lost nothing.
    pub is_new: bool,
}

impl DataFolder {
    /// A folder, which need not be there yet.
    pub fn new(path: impl Into<PathBuf>) -> DataFolder {
        DataFolder { path: path.into() }
    }
}
