//! What the intake is told from outside, checked before anything starts.

use std::sync::Arc;

use model::Timestamp;
use wire::Decoder;

use crate::IntakeError;
use crate::address::BrokerAddress;
use crate::dialect::Dialect;
use crate::identity::Credentials;

/// Tells the time of arrivals. The demo's runs faster than the wall's.
pub type Clock = Arc<dyn Fn() -> Timestamp + Send + Sync>;

/// What the intake has to know.
pub struct IntakeConfig {
    /// Where the broker is.
    pub broker: BrokerAddress,
    /// The name of our session at the broker; the same at every start, or the queue of an outage is lost.
    pub client_id: String,
    /// If the broker asks for them.
    pub credentials: Option<Credentials>,
    /// Turns messages into arrivals and knows the subscriptions.
    pub decoder: Decoder,
    /// Tells the time of arrivals.
    pub clock: Clock,
    /// The newest arrival of earlier runs, `None` for a plant that has none.
    pub last_arrival: Option<Timestamp>,
    /// The newest of which the broker told us; it may be older, if a file was brought in since. A broker without a session for us then means
    /// a possible gap from there on; `None` for a broker that never had one.
    pub heard: Option<Timestamp>,
    /// Whether the broker's own count of dropped messages is watched, over a second connection.
    pub watch_drops: bool,
    /// The version of MQTT to try first; the other follows if the broker does not understand it.
    pub first_try: Dialect,
}

impl IntakeConfig {
    /// The usual settings: no credentials, a plant without a past, MQTT 5.0 first.
    pub fn new(
        broker: BrokerAddress,
        client_id: impl Into<String>,
        decoder: Decoder,
        clock: Clock,
    ) -> IntakeConfig {
        IntakeConfig {
            broker,
            client_id: client_id.into(),
            credentials: None,
            decoder,
            clock,
            last_arrival: None,
            heard: None,
            watch_drops: false,
            first_try: Dialect::V5,
        }
    }

    /// The topic filters, each of them one that a broker can take.
    pub(crate) fn filters(&self) -> Result<Vec<String>, IntakeError> {
        let filters = self.decoder.subscriptions();
        match filters.iter().find(|filter| !rumqttc::valid_filter(filter)) {
            Some(filter) => Err(IntakeError::Filter { filter: filter.clone() }),
            None => Ok(filters),
        }
    }
}
