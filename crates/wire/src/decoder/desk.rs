//! What a message is read with: the plant's machines, the newest room values, and where the result goes.

use plant::Machine;

use crate::decoder::{Machines, Readings, Rooms};
use crate::{Decoded, Message};

/// Lent to whatever reads a message.
pub(crate) struct Desk<'d> {
    pub(crate) machines: &'d Machines,
    pub(crate) rooms: &'d mut Rooms,
    pub(crate) decoded: &'d mut Decoded,
}

impl<'d> Desk<'d> {
    /// Collects what `message` says about `machine`.
    pub(crate) fn readings<'r>(&'r mut self, machine: &'r Machine, message: &'r Message) -> Readings<'r> {
        Readings::new(machine, message, self.rooms, self.decoded)
    }

    /// The same, by the machine's id.
    ///
    /// # Errors
    /// A plain sentence if the plant has no such machine.
    pub(crate) fn readings_of<'r>(
        &'r mut self,
        id: &str,
        message: &'r Message,
    ) -> Result<Readings<'r>, String>
    where
        'd: 'r,
    {
        let machine = self.machines.find(id)?;
        Ok(self.readings(machine, message))
    }
}
