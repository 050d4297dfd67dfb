//! What the room was like before a start: thermocouples with their cold junction there are read by it.
//!
//! Readings that wait at the broker while the service is down come before the room is told again, and they are of that time. So a new decoder
//! is given what is on disk of the days before, moved into the store or not.

use model::{Channel, MachineId, Reading, Timestamp};
use store::{StoreError, StoreReader};
use wire::Decoder;

/// Days with readings that are looked through for a room value; one that is older says nothing of the room now.
const DAYS_BACK: usize = 31;

/// Gives `decoder` the newest room values of each machine that needs them.
///
/// # Errors
/// If the store cannot be read.
pub(crate) fn remember_rooms(decoder: &mut Decoder, store: &StoreReader) -> Result<(), StoreError> {
    let machines: Vec<MachineId> = decoder.machines_that_need_room().cloned().collect();
    for machine in machines {
        for reading in newest_day(&machine, store)? {
            decoder.remember(&reading);
        }
    }
    Ok(())
}

/// The room values of the last day on which there are any, and of the day before it, which may have ended a moment ago.
fn newest_day(machine: &MachineId, store: &StoreReader) -> Result<Vec<Reading>, StoreError> {
    let days =
        store.read_days(machine, Timestamp::from_millis(i64::MIN), Timestamp::from_millis(i64::MAX))?;
    for day in days.iter().rev().take(DAYS_BACK) {
        let from = day.start() - (day.end() - day.start());
        let series = store.read_series(machine, Channel::Room, from, day.end())?;
        let reading = |(at, value)| Reading { machine: machine.clone(), channel: Channel::Room, at, value };
        let readings: Vec<Reading> = series.into_iter().map(reading).collect();
        if readings.iter().any(|reading| reading.value.is_some()) {
            return Ok(readings);
        }
    }
    Ok(Vec::new())
}
