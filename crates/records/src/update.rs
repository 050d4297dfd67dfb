//! What changed, written in one transaction.

use std::ops::Range;

use model::{Batch, Event, Finding, MachineId};
use rusqlite::{Connection, Row, Transaction};

use crate::audit::asked;
use crate::error::ChangeError;
use crate::{RecordsError, row};

/// Everything that goes together. A batch or finding replaces its older form; an event that is there already stays.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Update {
    /// New batches, and those that changed.
    pub batches: Vec<Batch>,
    /// New findings, and those that changed.
    pub findings: Vec<Finding>,
    /// New events. The same report twice is one event.
    pub events: Vec<Event>,
    /// The engine's state that contains all this.
    pub state: Option<SavedState>,
}

/// The engine as it stood after a block of the journal.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SavedState {
    /// The newest journal block that went into it.
    pub block: u64,
    /// The engine's own form.
    pub bytes: Vec<u8>,
    /// Pieces of it that do not change any more: all when it is loaded, only new ones when it is written.
    pub pieces: Vec<StatePiece>,
    /// Which pieces belong to it, by machine; others of that machine are thrown away when it is written.
    pub holds: Vec<(MachineId, Range<u32>)>,
}

/// A piece of the engine's state.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StatePiece {
    /// Whose.
    pub machine: MachineId,
    /// Counted by the engine.
    pub number: u32,
    /// The engine's own form.
    pub bytes: Vec<u8>,
}

/// An update with its JSON made, so that a record that cannot be written is told before the transaction begins.
pub(crate) struct Encoded<'update> {
    update: &'update Update,
    batches: Vec<String>,
    findings: Vec<String>,
    events: Vec<String>,
}

impl Encoded<'_> {
    pub(crate) fn new(update: &Update) -> Result<Encoded<'_>, RecordsError> {
        let batches =
            update.batches.iter().map(|batch| row::write("batch", batch)).collect::<Result<_, _>>()?;
        let findings =
            update.findings.iter().map(|finding| row::write("finding", finding)).collect::<Result<_, _>>()?;
        let events =
            update.events.iter().map(|event| row::write("event", event)).collect::<Result<_, _>>()?;
        Ok(Encoded { update, batches, findings, events })
    }

    pub(crate) fn put(&self, transaction: &Transaction<'_>) -> Result<(), ChangeError> {
        for (batch, json) in self.update.batches.iter().zip(&self.batches) {
            put_batch(transaction, batch, json)?;
        }
        for (finding, json) in self.update.findings.iter().zip(&self.findings) {
            put_finding(transaction, finding, json)?;
        }
        for (event, json) in self.update.events.iter().zip(&self.events) {
            if put_event(transaction, event, json)? == IsNew::Yes {
                asked::became_a_record(transaction, event)?;
            }
        }
        Ok(self.update.state.iter().try_for_each(|state| put_state(transaction, state))?)
    }
}

fn put_batch(connection: &Connection, batch: &Batch, json: &str) -> rusqlite::Result<()> {
    let sql = "INSERT OR REPLACE INTO batches VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
    connection.prepare_cached(sql)?.execute((
        batch.id.as_str(),
        batch.machine.as_str(),
        batch.start.as_millis(),
        batch.end.map(|end| end.as_millis()),
        row::FORMAT,
        json,
    ))?;
    Ok(())
}

fn put_finding(connection: &Connection, finding: &Finding, json: &str) -> rusqlite::Result<()> {
    let sql = "INSERT OR REPLACE INTO findings VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)";
    connection.prepare_cached(sql)?.execute((
        finding.id.as_str(),
        finding.machine.as_ref().map(|machine| machine.as_str()),
        finding.batch.as_ref().map(|batch| batch.as_str()),
        finding.kind.as_str(),
        finding.from.as_millis(),
        finding.to.map(|to| to.as_millis()),
        finding.raised_at.as_millis(),
        row::FORMAT,
        json,
    ))?;
    Ok(())
}

/// Was it there before?
#[derive(PartialEq, Eq)]
enum IsNew {
    Yes,
    No,
}

fn put_event(connection: &Connection, event: &Event, json: &str) -> rusqlite::Result<IsNew> {
    let sql = "INSERT OR IGNORE INTO events VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
    let added = connection.prepare_cached(sql)?.execute((
        event.machine.as_str(),
        event.at.as_millis(),
        event.kind.as_str(),
        &event.raw,
        row::FORMAT,
        json,
    ))?;
    Ok(if added == 1 { IsNew::Yes } else { IsNew::No })
}

fn put_state(connection: &Connection, state: &SavedState) -> rusqlite::Result<()> {
    let sql = "INSERT OR REPLACE INTO state VALUES (1, ?1, ?2)";
    connection.execute(sql, (i64::try_from(state.block).unwrap_or(i64::MAX), &state.bytes))?;
    let mut put = connection.prepare_cached("INSERT OR REPLACE INTO state_pieces VALUES (?1, ?2, ?3)")?;
    for piece in &state.pieces {
        put.execute((piece.machine.as_str(), piece.number, &piece.bytes))?;
    }
    let sql = "DELETE FROM state_pieces WHERE machine = ?1 AND (number < ?2 OR ?3 <= number)";
    let mut forget = connection.prepare_cached(sql)?;
    for (machine, holds) in &state.holds {
        forget.execute((machine.as_str(), holds.start, holds.end))?;
    }
    Ok(())
}

/// Everything that is kept of the state beside its one row.
pub(crate) fn state_pieces(connection: &Connection) -> rusqlite::Result<Vec<StatePiece>> {
    let mut all = connection.prepare_cached("SELECT machine, number, bytes FROM state_pieces")?;
    let piece = |row: &Row<'_>| {
        let machine: String = row.get(0)?;
        let (number, bytes) = (row.get(1)?, row.get(2)?);
        // We wrote it; what is no id is nobody's.
        Ok(machine.parse().ok().map(|machine| StatePiece { machine, number, bytes }))
    };
    all.query_map([], piece)?.filter_map(Result::transpose).collect()
}
