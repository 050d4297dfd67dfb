//! What is in the store when all is over.

use std::collections::BTreeSet;
use std::path::Path;

use model::{Channel, Span, Timestamp};
use service::DataFolder;

use crate::{Outcome, crowd};

/// What the store gives back.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Stored {
    pub(crate) readings: u64,
    /// A channel and time more than once.
    pub(crate) doubled: u64,
    pub(crate) batches: u64,
    pub(crate) findings: u64,
}

/// Counts every reading of every machine, as `export` would write them.
pub(crate) fn count(data: &Path, machines: usize) -> Outcome<Stored> {
    let folder = DataFolder::new(data);
    let reader = folder.open_readings()?;
    let (from, to) = (Timestamp::from_millis(0), crate::process::now() + Span::from_hours(1));
    let channels = [Channel::Chocolate, Channel::Jacket, Channel::Setpoint];
    let mut stored = Stored::default();
    for n in 0..machines {
        for (_, series) in reader.read_channels(&crowd::name(n).parse()?, &channels, from, to)? {
            let times: BTreeSet<Timestamp> = series.iter().map(|(at, _)| *at).collect();
            stored.readings += times.len() as u64;
            stored.doubled += (series.len() - times.len()) as u64;
        }
    }
    let records = folder.open_records()?;
    stored.batches =
        records.batches(&records::BatchQuery { limit: 1_000_000, ..Default::default() })?.len() as u64;
    stored.findings =
        records.findings(&records::FindingQuery { limit: 1_000_000, ..Default::default() })?.len() as u64;
    Ok(stored)
}
