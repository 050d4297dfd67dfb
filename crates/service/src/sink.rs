//! Entries from the pages go the way of every message: into the journal first, answered when they are on disk.

use std::future::Future;
use std::pin::Pin;
use std::time::Duration;

use intake::Submit;
use model::Arrival;
use tokio::time::timeout;
use web::{EventSink, NotDurable};

/// A person waits this long; the journal takes milliseconds unless the disk is in trouble.
const PATIENCE: Duration = Duration::from_secs(10);

/// Hands entries to the intake's queue.
pub(crate) struct JournalSink {
    pub(crate) submit: Submit,
}

impl EventSink for JournalSink {
    fn take(&self, arrival: Arrival) -> Pin<Box<dyn Future<Output = Result<(), NotDurable>> + Send + '_>> {
        Box::pin(async move {
            match timeout(PATIENCE, self.submit.submit(vec![arrival])).await {
                Ok(Ok(())) => Ok(()),
                Ok(Err(error)) => Err(NotDurable(error.to_string())),
                Err(_) => Err(NotDurable(
                    "the disk takes nothing at the moment; look whether the entry is there before you make it again".to_owned(),
                )),
            }
        })
    }
}
