//! Keeps the desk of alarms fresh: the watch writes findings, people enter tests, and shelved time runs out.

use std::sync::Arc;
use std::time::Duration;

use alarms::Desk;
use intake::Clock;
use tokio::task::spawn_blocking;
use tokio::time::sleep;
use tokio_util::sync::CancellationToken;
use tracing::warn;

/// What has come back to normal may be listed so much later; what rings is on the board at once.
const REFRESH_EVERY: Duration = Duration::from_secs(5);

/// Reads the records again and again until `stop`.
pub(crate) async fn keep_fresh(desk: Arc<Desk>, clock: Clock, stop: CancellationToken) {
    loop {
        tokio::select! {
            () = stop.cancelled() => return,
            () = sleep(REFRESH_EVERY) => {}
        }
        let (desk, now) = (desk.clone(), clock());
        match spawn_blocking(move || desk.refresh(now)).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => {
                warn!(
                    error = &error as &dyn std::error::Error,
                    "cannot read what was said of alarms; trying again"
                );
            }
            Err(error) => warn!(%error, "the desk of alarms could not be refreshed; trying again"),
        }
    }
}
