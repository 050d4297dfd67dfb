//! One edge node: its session, its count, and the births of the machines behind it.
//!
//! After a gap in the count nobody knows whether a birth was lost in it, and with it what the aliases mean now. So the
//! births known before the gap are in doubt until the node has been born again, the missing message has come after all, or
//! the doubt has lasted long enough: then they are believed again, because a lost piece of data is far more likely.

use std::collections::HashMap;

use model::Timestamp;

use crate::sparkplug::birth::Birth;
use crate::sparkplug::rebirth::Rebirth;
use crate::sparkplug::sequence::{Sequence, Step};

/// An edge node.
#[derive(Debug, Default)]
pub(crate) struct Node {
    session: Option<Session>,
    births: HashMap<String, Known>,
    /// A machine of ours has been seen behind it; other nodes are none of our business and are asked for nothing.
    has_ours: bool,
    pub(crate) rebirth: Rebirth,
}

/// From a node's birth to its death.
#[derive(Debug)]
struct Session {
    bd_seq: Option<u64>,
    sequence: Sequence,
    /// Since when the births are in doubt.
    doubt: Option<Timestamp>,
}

#[derive(Debug)]
struct Known {
    birth: Birth,
    is_sure: bool,
}

/// What counting a message in has brought about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Counted {
    /// Nothing new.
    AsBefore,
    /// A gap: from now on the births are in doubt.
    DoubtBegins,
    /// The gap is filled.
    DoubtEnds,
}

impl Node {
    /// A node's birth begins a session. Its devices are born after it (chapter 5, "Device Session Establishment").
    pub(crate) fn begin(&mut self, bd_seq: Option<u64>, seq: Option<u64>) {
        self.session = Some(Session { bd_seq, sequence: Sequence::begin(seq), doubt: None });
        self.births.clear();
        self.rebirth.is_done();
    }

    /// Does a death with this number end the present session? The will of an earlier connection may come late, and counts
    /// for nothing (chapter 5, tck-id-operational-behavior-edge-node-termination-host-action-ndeath-node-offline).
    pub(crate) fn is_ended_by(&self, bd_seq: Option<u64>) -> bool {
        self.session
            .as_ref()
            .is_some_and(|session| session.bd_seq.is_none() || bd_seq.is_none() || session.bd_seq == bd_seq)
    }

    pub(crate) fn end(&mut self) {
        self.session = None;
        self.births.clear();
    }

    /// A machine of ours is behind it.
    pub(crate) fn note_ours(&mut self) {
        self.has_ours = true;
    }

    /// Data of a machine of ours wait for its births.
    pub(crate) fn await_births(&mut self) {
        self.note_ours();
        self.want_rebirth();
    }

    /// Counts in any message but a node's birth and death.
    pub(crate) fn count(&mut self, seq: Option<u64>, arrived: Timestamp) -> Counted {
        let Some(session) = &mut self.session else {
            self.want_rebirth();
            return Counted::AsBefore;
        };
        match session.sequence.take(seq) {
            Step::InOrder if session.doubt.take().is_some() => {
                self.believe();
                Counted::DoubtEnds
            }
            Step::InOrder => Counted::AsBefore,
            Step::Broken if self.births.is_empty() => {
                session.sequence.resume();
                self.want_rebirth();
                Counted::AsBefore
            }
            Step::Broken => {
                let begins = session.doubt.is_none();
                session.doubt.get_or_insert(arrived);
                self.births.values_mut().for_each(|known| known.is_sure = false);
                self.want_rebirth();
                if begins { Counted::DoubtBegins } else { Counted::AsBefore }
            }
        }
    }

    fn want_rebirth(&mut self) {
        if self.has_ours {
            self.rebirth.want();
        }
    }

    /// The births are believed again.
    fn believe(&mut self) {
        self.births.values_mut().for_each(|known| known.is_sure = true);
    }

    /// Ends the doubt that began at `since`, if it still stands: the count goes on from the newest message.
    pub(crate) fn settle(&mut self, since: Timestamp) {
        let Some(session) = self.session.as_mut().filter(|session| session.doubt == Some(since)) else {
            return;
        };
        session.doubt = None;
        session.sequence.resume();
        self.believe();
    }

    /// Learns the birth of a device of ours. Where the node's own birth was missed, the session begins here, and the node
    /// is asked for all of it. What was lost before this birth does not touch it.
    pub(crate) fn learn(&mut self, device: &str, birth: Birth, seq: Option<u64>) {
        match &self.session {
            None => {
                self.session = Some(Session { bd_seq: None, sequence: Sequence::begin(seq), doubt: None });
            }
            // Its data had come before it, perhaps; now nothing is missing any more.
            Some(session) if session.doubt.is_none() => self.rebirth.is_done(),
            Some(_) => {}
        }
        self.births.insert(device.to_owned(), Known { birth, is_sure: true });
    }

    pub(crate) fn forget(&mut self, device: &str) {
        self.births.remove(device);
    }

    /// What is known of a device in this session, in doubt or not.
    pub(crate) fn birth(&self, device: &str) -> Option<&Birth> {
        self.births.get(device).map(|known| &known.birth)
    }

    /// Is a device's birth known and beyond doubt?
    pub(crate) fn is_sure_of(&self, device: &str) -> bool {
        self.births.get(device).is_some_and(|known| known.is_sure)
    }
}
