//! What a message is read with: what the plant file says, the room values so far, what waits, and where the result goes.

use model::Timestamp;
use plant::{CurveRules, Machine, Source};

use crate::decoder::{Machines, Readings, Rooms};
use crate::waiting::{Held, Waiting, Wanted};
use crate::{Decoded, HeldMessage, Message, Reject};

/// Lent to whatever reads a message.
pub(crate) struct Desk<'d> {
    /// Under which the machines' own topics stand.
    pub(crate) root: &'d str,
    pub(crate) machines: &'d Machines,
    pub(crate) sources: &'d [Source],
    pub(crate) curves: &'d CurveRules,
    pub(crate) rooms: &'d mut Rooms,
    pub(crate) waiting: &'d mut Waiting,
    pub(crate) decoded: &'d mut Decoded,
}

impl<'d> Desk<'d> {
    /// Collects what `message` says about `machine`.
    pub(crate) fn readings<'r>(&'r mut self, machine: &'r Machine, message: &'r Message) -> Readings<'r, 'd> {
        Readings::new(machine, message, self)
    }

    /// The same, by the machine's id.
    ///
    /// # Errors
    /// A plain sentence if the plant has no such machine.
    pub(crate) fn readings_of<'r>(
        &'r mut self,
        id: &str,
        message: &'r Message,
    ) -> Result<Readings<'r, 'd>, String> {
        let machine = self.machines.find(id)?;
        Ok(self.readings(machine, message))
    }

    /// Lets a message wait for what it cannot be read without.
    ///
    /// # Errors
    /// A plain sentence if too many wait already.
    pub(crate) fn hold(&mut self, wants: Wanted, message: &Message) -> Result<(), String> {
        let number = self.waiting.hold(wants, message)?;
        self.decoded.held.push(HeldMessage { number, message: message.clone() });
        Ok(())
    }

    /// Reads what has waited for the rooms of which a first value has come; the whole message has to be read before, which may tell more of them.
    pub(crate) fn read_what_waited(&mut self, now: Timestamp) {
        for id in self.rooms.take_first_came() {
            let Ok(machine) = self.machines.find(id.as_str()) else { continue };
            let of_machine =
                |held: &Held| matches!(&held.wants, Wanted::Room(wanted) if wanted.machine == id);
            for held in self.waiting.take(of_machine) {
                self.decoded.let_go.push(held.number);
                if let Wanted::Room(wanted) = &held.wants {
                    self.readings(machine, &held.message).take_waiting(wanted, now);
                }
            }
        }
    }

    /// A held message will never be read.
    pub(crate) fn give_up(&mut self, held: Held, reason: String) {
        self.decoded.let_go.push(held.number);
        let message = match held.wants {
            Wanted::Birth { .. } => held.message,
            // The topic of the message that it came in, and not of the one that was made for it.
            Wanted::Room(wanted) => Message { topic: wanted.came_by, ..held.message },
        };
        self.decoded.rejects.push(Reject::new(&message, reason));
    }
}
