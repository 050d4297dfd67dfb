//! Keeps retained messages at the broker as they should stand: one a topic, for light towers and displays.
//!
//! Only the newest state counts. With each connection everything is said anew, since a broker may have lost it; after that, what has
//! changed. Nobody waits for a broker that is away or slow: what is overtaken meanwhile is never sent. The connection is apart
//! from the one that readings come over, because a broker may close a connection that publishes without being allowed to.

use std::collections::BTreeMap;
use std::future::pending;
use std::sync::Arc;
use std::time::{Duration, Instant};

use tokio::sync::watch;
use tokio::time::sleep;
use tracing::{debug, warn};

use crate::address::BrokerAddress;
use crate::backoff::Backoff;
use crate::dialect::{self, Client, Connection, Dialect, Failure, Packet, Purpose, Settings, Tongue};
use crate::hush::Hush;
use crate::identity::Credentials;

/// Unacknowledged notices at a time; there is one a machine, and no hurry.
const IN_FLIGHT: u16 = 20;

/// A lamp is no reading: a broker that is away has others to answer first.
const FIRST_RECONNECT: Duration = Duration::from_secs(1);
const LONGEST_RECONNECT: Duration = Duration::from_secs(60);

/// A connection that has lasted so long was a good one: the next failure starts from the first wait.
const GOOD_CONNECTION: Duration = Duration::from_secs(5);

/// What should stand at the broker: payloads by topic.
pub type Notices = Arc<BTreeMap<String, Vec<u8>>>;

/// Where notices go.
#[derive(Debug, Clone)]
pub struct NoticeboardConfig {
    /// The broker.
    pub broker: BrokerAddress,
    /// The name of the connection there: another one than that of the readings.
    pub client_id: String,
    /// If it asks for them.
    pub credentials: Option<Credentials>,
    /// The version of MQTT to try first; the other follows if the broker does not understand it.
    pub first_try: Dialect,
}

/// Keeps `notices` posted until `stop` resolves. What stands at the broker then stays there.
pub async fn keep_posted(
    config: NoticeboardConfig,
    notices: watch::Receiver<Notices>,
    stop: impl Future<Output = ()>,
) {
    tokio::select! {
        () = stop => {}
        () = reconnect(config, notices) => {}
    }
}

/// One connection after the other.
async fn reconnect(config: NoticeboardConfig, notices: watch::Receiver<Notices>) {
    let settings = Settings {
        broker: config.broker,
        client_id: config.client_id,
        credentials: config.credentials,
        purpose: Purpose::Publish { in_flight: IN_FLIGHT },
    };
    let mut tongue = Tongue::new(config.first_try);
    let mut backoff = Backoff::new(FIRST_RECONNECT, LONGEST_RECONNECT);
    let mut hush = Hush::default();
    loop {
        let (client, mut connection) = dialect::open(tongue.next(), &settings);
        let began = Instant::now();
        let failure = tokio::select! {
            failure = poll(&mut connection, &mut tongue, &mut hush) => failure,
            () = post(&client, notices.clone()) => return,
        };
        if GOOD_CONNECTION <= began.elapsed() {
            backoff.reset();
        }
        tongue.note_failure(&failure);
        debug!(
            why = failure.says(&settings.broker, settings.credentials.as_ref()),
            "the displays are not reached"
        );
        sleep(backoff.next_wait()).await;
    }
}

/// Takes acknowledgements until the connection fails.
async fn poll(connection: &mut Connection, tongue: &mut Tongue, hush: &mut Hush) -> Failure {
    loop {
        match connection.poll().await {
            Ok(Packet::Connected { .. }) => tongue.note_connected(),
            Ok(Packet::PublishAcknowledged { refused: Some(why) }) => {
                if let Some(unsaid) = hush.says(&why, Instant::now()) {
                    warn!(%why, unsaid, "the broker does not take what displays should show; let this client write to the `standing` topics");
                }
            }
            Ok(
                Packet::PublishAcknowledged { refused: None }
                | Packet::Subscribed(_)
                | Packet::Delivered(_)
                | Packet::AcknowledgementWritten
                | Packet::FarewellWritten
                | Packet::Other,
            ) => {}
            Err(failure) => return failure,
        }
    }
}

/// Everything once, then what changes. Returns when nobody can change the notices any more.
async fn post(client: &Client, mut notices: watch::Receiver<Notices>) {
    let mut posted = Notices::default();
    loop {
        let wanted = notices.borrow_and_update().clone();
        let changed = wanted.iter().filter(|(topic, payload)| posted.get(*topic) != Some(*payload));
        for (topic, payload) in changed {
            if client.publish(topic, payload.clone(), true).await.is_err() {
                // The connection is ending, which the poll beside us tells.
                pending::<()>().await;
            }
        }
        posted = wanted;
        if notices.changed().await.is_err() {
            return;
        }
    }
}
