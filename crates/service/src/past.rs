//! Fills an empty data folder with a past: recorded arrivals go through journal, watch and store as if they had just come, only faster.

use std::sync::Arc;

use model::Arrival;
use plant::Plant;
use tokio::sync::watch;

use crate::watch::Watch;
use crate::{DataFolder, ServiceError};

/// Arrivals put into a block at once: large enough to be fast, small enough to be held twice in memory.
const BLOCK: usize = 20_000;

/// Writes `arrivals`, in the order in which they came, into `data`. Returns how many there were.
///
/// # Errors
/// When the folder cannot be written.
pub fn fill(
    data: &DataFolder,
    plant: &Arc<Plant>,
    arrivals: impl Iterator<Item = Arrival>,
) -> Result<usize, ServiceError> {
    let (mut journal, _) = data.open_journal()?;
    let records = Arc::new(data.open_records()?);
    let store = data.open_store()?;
    let mut count = 0;
    let mut arrivals = arrivals.peekable();
    while arrivals.peek().is_some() {
        let block: Vec<Arrival> = arrivals.by_ref().take(BLOCK).collect();
        count += block.len();
        let _durable = journal.append(&block)?;
    }
    let (saved, _) = watch::channel(journal.newest());
    let reader = data.open_journal_reader()?;
    Watch::resume(plant.clone(), records, &reader, saved, Arc::default())?.save()?;
    store.move_blocks(journal.newest(), |_| Ok(()))?;
    Ok(count)
}
