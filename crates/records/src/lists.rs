//! Batches, findings and events as they are asked for: one by its id, or a list.

use model::{Batch, BatchId, Event, Finding, FindingId};
use rusqlite::{OptionalExtension, Row, params_from_iter};
use serde::de::DeserializeOwned;

use crate::query::Sql;
use crate::row::{self, Stored};
use crate::{BatchQuery, EventQuery, FindingQuery, Records, RecordsError};

impl Records {
    /// Batches, the one that began last first.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn batches(&self, query: &BatchQuery) -> Result<Vec<Batch>, RecordsError> {
        self.list("batch", &query.sql())
    }

    /// The batch of that id.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn batch(&self, id: &BatchId) -> Result<Option<Batch>, RecordsError> {
        self.one("batch", "SELECT id, format, json FROM batches_as_corrected WHERE id = ?1", id.as_str())
    }

    /// Findings, the one that was raised last first.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn findings(&self, query: &FindingQuery) -> Result<Vec<Finding>, RecordsError> {
        self.list("finding", &query.sql())
    }

    /// The finding of that id.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn finding(&self, id: &FindingId) -> Result<Option<Finding>, RecordsError> {
        self.one("finding", "SELECT id, format, json FROM findings WHERE id = ?1", id.as_str())
    }

    /// Events, the latest first.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn events(&self, query: &EventQuery) -> Result<Vec<Event>, RecordsError> {
        self.list("event", &query.sql())
    }

    fn list<T: DeserializeOwned>(&self, what: &'static str, sql: &Sql) -> Result<Vec<T>, RecordsError> {
        let stored = self.with_reader(|reader| {
            let mut statement = reader.prepare_cached(&sql.text)?;
            let rows = statement.query_map(params_from_iter(&sql.values), stored)?;
            rows.collect::<rusqlite::Result<Vec<Stored>>>()
        })?;
        stored.into_iter().map(|stored| row::read(self.path(), what, stored)).collect()
    }

    pub(crate) fn one<T: DeserializeOwned>(
        &self,
        what: &'static str,
        sql: &str,
        id: &str,
    ) -> Result<Option<T>, RecordsError> {
        let stored =
            self.with_reader(|reader| reader.prepare_cached(sql)?.query_row([id], stored).optional())?;
        stored.map(|stored| row::read(self.path(), what, stored)).transpose()
    }
}

pub(crate) fn stored(row: &Row<'_>) -> rusqlite::Result<Stored> {
    Ok(Stored { id: row.get(0)?, format: row.get(1)?, json: row.get(2)? })
}
