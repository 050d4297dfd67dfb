//! Which spans are missing from the answers, because their part is damaged or gone.

use model::{Channel, MachineId, Timestamp};

use crate::manifest::aside::{self, SetAside};
use crate::snapshot::list_failed;
use crate::table::bit;
use crate::{MissingSpan, StoreError, StoreReader};

impl StoreReader {
    /// The spans between `from` and `to` of which stored readings are missing, of one machine or of all: those set aside,
    /// and those that a reader has just found damaged.
    ///
    /// # Errors
    /// If the list cannot be read.
    pub fn missing_spans(
        &self,
        machine: Option<&MachineId>,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<MissingSpan>, StoreError> {
        let set_aside =
            self.with_journal(|journal| aside::all(journal.snapshot()?.connection()).map_err(list_failed))?;
        let just_found = self.damage().into_iter().map(|unreadable| MissingSpan {
            machine: unreadable.part.machine.clone(),
            channels: channels_of(unreadable.part.channels),
            from: Timestamp::from_millis(unreadable.part.first_t),
            to: Timestamp::from_millis(unreadable.part.last_t),
            readings: u64::try_from(unreadable.part.readings).unwrap_or(0),
            path: Some(self.folder().join(unreadable.part.path())),
            reason: unreadable.reason,
        });
        let wanted = |span: &MissingSpan| {
            machine.is_none_or(|machine| span.machine == *machine) && span.from < to && from <= span.to
        };
        Ok(set_aside.into_iter().map(|part| self.span(part)).chain(just_found).filter(wanted).collect())
    }

    fn span(&self, part: SetAside) -> MissingSpan {
        MissingSpan {
            channels: channels_of(part.channels),
            from: Timestamp::from_millis(part.first_t),
            to: Timestamp::from_millis(part.last_t),
            readings: u64::try_from(part.readings).unwrap_or(0),
            path: part.file.map(|file| self.folder().join(file)),
            machine: part.machine,
            reason: part.reason,
        }
    }
}

fn channels_of(bits: i32) -> Vec<Channel> {
    Channel::ALL.into_iter().filter(|channel| bits & bit(*channel) != 0).collect()
}
