//! Watches how many messages the broker has thrown away, on a small connection of its own.
//!
//! A broker whose queue is full drops what comes, and nobody who listens can tell. Those that publish their own figures
//! under `$SYS` say so, for all their subscribers together. The connection is apart from the one that readings come
//! over, because a broker may close a connection that asks for `$SYS` without being allowed to. It acknowledges
//! nothing of ours and leaves no session behind. A broker that does not tell is left in peace.

use std::sync::Arc;
use std::time::Duration;

use tokio::time::sleep;
use tokio_util::sync::CancellationToken;
use tracing::debug;

use crate::dialect::{self, Delivery, Dialect, Failure, Grant, Packet, Purpose, Settings, Tongue};
use crate::stats::IntakeStats;

/// Where brokers tell it, by wide usage: common practice, no source.
const TOPIC: &str = "$SYS/broker/publish/messages/dropped";

/// These figures are no hurry, and a broker that is away has others to answer first.
const TRY_AGAIN: Duration = Duration::from_secs(60);

/// Watches until told to stop, or until the broker has refused to tell.
pub(crate) async fn watch_drops(
    settings: Settings,
    first_try: Dialect,
    stats: Arc<IntakeStats>,
    stop: CancellationToken,
) {
    let client_id = format!("{}-drops", settings.client_id);
    let settings = Settings { client_id, purpose: Purpose::Publish { in_flight: 1 }, ..settings };
    let mut tongue = Tongue::new(first_try);
    let watching = async {
        loop {
            match watch_once(&settings, tongue.next(), &stats).await {
                Some(failure) => {
                    debug!(?failure, "the broker's own figures are out of reach");
                    tongue.note_failure(&failure);
                }
                None => return,
            }
            sleep(TRY_AGAIN).await;
        }
    };
    tokio::select! {
        () = stop.cancelled() => {}
        () = watching => {}
    }
}

/// One connection to its end; `None` if there is no point in another.
async fn watch_once(settings: &Settings, dialect: Dialect, stats: &IntakeStats) -> Option<Failure> {
    let (client, mut connection) = dialect::open(dialect, settings);
    loop {
        match connection.poll().await {
            Ok(Packet::Connected { .. }) => client.try_subscribe(&[TOPIC.to_owned()]).ok()?,
            Ok(Packet::Subscribed(grants)) if matches!(grants.as_slice(), [Grant::Refused(_)]) => {
                return None;
            }
            Ok(Packet::Delivered(delivery)) => {
                if let Some(dropped) = told(&delivery) {
                    stats.note_broker_drops(dropped);
                }
            }
            Ok(
                Packet::Subscribed(_)
                | Packet::AcknowledgementWritten
                | Packet::PublishAcknowledged { .. }
                | Packet::FarewellWritten
                | Packet::Other,
            ) => {}
            Err(failure) => return Some(failure),
        }
    }
}

fn told(delivery: &Delivery) -> Option<u64> {
    std::str::from_utf8(&delivery.payload).ok()?.trim().parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_is_read_and_anything_else_is_not() {
        let delivery = |payload: &[u8]| Delivery {
            topic: Ok(TOPIC.to_owned()),
            payload: payload.to_vec(),
            retained: true,
            again: false,
            packet_id: None,
        };
        assert_eq!(told(&delivery(b"41\n")), Some(41));
        assert_eq!(told(&delivery(b"many")), None);
        assert_eq!(told(&delivery(&[0xff])), None);
    }
}
