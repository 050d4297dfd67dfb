//! What pages read from disk: batches, findings and events from the records, readings from the store.
//!
//! Both block, so every question runs on a thread for blocking work, and the heavy ones take turns. A fault of the disk
//! becomes a sentence here and nowhere else.

use std::sync::Arc;

use model::{Batch, BatchId, Channel, Event, Finding, MachineId, PhaseCorrection, Timestamp};

use records::{BatchQuery, EventQuery, FindingQuery, Records, RecordsError};
use store::{Bucket, ExportFormat, StoreReader};

use crate::access::Visitor;
use crate::app::App;
use crate::problem::Problem;
use crate::reader::Reader;

/// A series of one channel, sorted by time; `None` is a missing reading.
pub(crate) type Series = Vec<(Timestamp, Option<f64>)>;

/// First, lowest, highest and last.
const POINTS_A_BUCKET: usize = 4;

impl App {
    pub(crate) async fn batches(&self, query: BatchQuery) -> Result<Vec<Batch>, Problem> {
        self.ask_records(move |records| records.batches(&query)).await
    }

    pub(crate) async fn findings(&self, query: FindingQuery) -> Result<Vec<Finding>, Problem> {
        self.ask_records(move |records| records.findings(&query)).await
    }

    pub(crate) async fn events(&self, query: EventQuery) -> Result<Vec<Event>, Problem> {
        self.ask_records(move |records| records.events(&query)).await
    }

    /// The batch that an address names.
    pub(crate) async fn batch(&self, text: &str) -> Result<Batch, Problem> {
        let id = BatchId::from_lookup(text);
        let shown: String = text.chars().take(90).collect();
        let batch = self.ask_records(move |records| records.batch(&id)).await?;
        batch.ok_or_else(|| Problem::not_found("no-such-batch", format!("There is no batch `{shown}`.")))
    }

    /// A batch as the engine has it, and what people said of its phases.
    pub(crate) async fn corrections_of(
        &self,
        batch: &Batch,
    ) -> Result<(Batch, Vec<PhaseCorrection>), Problem> {
        let id = batch.id.clone();
        let (own, said) = self
            .ask_records(move |records| {
                Ok::<_, RecordsError>((records.own_batch(&id)?, records.phase_corrections(&id)?))
            })
            .await?;
        Ok((own.unwrap_or_else(|| batch.clone()), said))
    }

    /// The readings of `channel` as they came.
    pub(crate) async fn series(
        &self,
        machine: &MachineId,
        channel: Channel,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Series, Problem> {
        let machine = machine.clone();
        self.ask_store(move |store| store.read_series(&machine, channel, from, to)).await
    }

    /// The readings of `channels` as they came, in that order. What has not been moved into parts yet is looked through once for all of
    /// them: in a large works that is most of the time.
    pub(crate) async fn all_series(
        &self,
        machine: &MachineId,
        channels: &[Channel],
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<(Channel, Series)>, Problem> {
        let (machine, wanted) = (machine.clone(), channels.to_vec());
        let mut found = self.ask_store(move |store| store.read_channels(&machine, &wanted, from, to)).await?;
        let series = |channel: &Channel| {
            let place = found.iter().position(|(other, _)| other == channel);
            (*channel, place.map(|place| found.swap_remove(place).1).unwrap_or_default())
        };
        Ok(channels.iter().map(series).collect())
    }

    /// The readings of `channel`, thinned to at most `points` so that highest and lowest stay.
    pub(crate) async fn envelope(
        &self,
        machine: &MachineId,
        channel: Channel,
        from: Timestamp,
        to: Timestamp,
        points: usize,
    ) -> Result<Series, Problem> {
        let machine = machine.clone();
        let buckets = (points / POINTS_A_BUCKET).max(1);
        let envelope =
            self.ask_store(move |store| store.read_envelope(&machine, channel, from, to, buckets)).await?;
        Ok(envelope.iter().flat_map(points_of).collect())
    }

    /// All readings of `machine`, in the form of `halfdegree export`.
    pub(crate) async fn export(
        &self,
        machine: &MachineId,
        from: Timestamp,
        to: Timestamp,
        format: ExportFormat,
    ) -> Result<Vec<u8>, Problem> {
        let machine = machine.clone();
        let export = move |store: &StoreReader| {
            let mut file = Vec::new();
            store.export(&machine, from, to, format, &mut file).map(|_readings| file)
        };
        self.ask_store(export).await
    }

    /// Asks the records something.
    pub(crate) async fn ask_records<T: Send + 'static, E: std::fmt::Display + Send + 'static>(
        &self,
        question: impl FnOnce(&Records) -> Result<T, E> + Send + 'static,
    ) -> Result<T, Problem> {
        let records: Arc<Records> = self.state.records.clone();
        blocking(move || question(&records)).await?.map_err(|cause| {
            Problem::unavailable(
                "records-busy",
                "The records cannot be read just now; try again in a minute.",
                cause,
            )
        })
    }

    async fn ask_store<T: Send + 'static, E: std::fmt::Display + Send + 'static>(
        &self,
        question: impl FnOnce(&StoreReader) -> Result<T, E> + Send + 'static,
    ) -> Result<T, Problem> {
        let turn = self.heavy_reads.clone().acquire_owned().await.expect("the semaphore is never closed");
        let store: Arc<StoreReader> = self.state.store.clone();
        let answer = blocking(move || {
            // Held by the thread, so that a reader who goes away does not let the next one in early.
            let _turn = turn;
            question(&store)
        });
        answer.await?.map_err(|cause| {
            Problem::unavailable(
                "store-busy",
                "The readings cannot be read just now; try again in a minute.",
                cause,
            )
        })
    }
}

/// First, lowest, highest and last in the order of time, each once.
fn points_of(bucket: &Bucket) -> Vec<(Timestamp, Option<f64>)> {
    let mut points =
        [bucket.first, bucket.lowest, bucket.highest, bucket.last].map(|point| (point.at, Some(point.value)));
    points.sort_by_key(|(at, _)| *at);
    let mut points = points.to_vec();
    points.dedup_by_key(|(at, _)| *at);
    points
}

/// Makes something that takes long, for this reader and visitor, on a thread for blocking work: those that carry the connections must stay
/// free for others. A few at a time, because drawing is bound to cores.
pub(crate) async fn made_aside<T: Send + 'static>(
    app: &Arc<App>,
    reader: Reader,
    visitor: Option<Arc<Visitor>>,
    make: impl FnOnce(&App) -> T + Send + 'static,
) -> Result<T, Problem> {
    let turn = app.drawings.clone().acquire_owned().await.expect("the semaphore is never closed");
    let app = app.clone();
    blocking(move || {
        let _turn = turn;
        reader.while_making(|| Visitor::while_making(visitor, || make(&app)))
    })
    .await
}

/// Runs `work` on a thread for blocking work.
pub(crate) async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, Problem> {
    tokio::task::spawn_blocking(work).await.map_err(|died| Problem::internal("blocking-work-died", died))
}
