//! What comes in: readings and events, with the moment of their arrival.

use serde::{Deserialize, Serialize};

use crate::{Channel, Event, MachineId, Timestamp};

/// One value of one channel of one machine at one moment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Which machine.
    pub machine: MachineId,
    /// Which quantity.
    pub channel: Channel,
    /// When it was measured, as the sender says; its arrival where the sender says nothing.
    pub at: Timestamp,
    /// The value in the channel's unit, finite; `None` is a `missing` reading.
    pub value: Option<f64>,
}

/// A reading or an event.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Content {
    /// A measured value.
    Reading(Reading),
    /// Something that a person or program reported.
    Event(Event),
}

/// A reading or event as it came in. The order of arrivals decides what a live watch could have known when.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Arrival {
    /// When it reached us (a recording's `tst`).
    pub arrived: Timestamp,
    /// The broker kept this message from earlier; it says nothing about whether the sender is alive now.
    pub retained: bool,
    /// What came.
    pub content: Content,
}

impl Arrival {
    /// The machine that it is about.
    pub fn machine(&self) -> &MachineId {
        match &self.content {
            Content::Reading(reading) => &reading.machine,
            Content::Event(event) => &event.machine,
        }
    }

    /// The moment that it speaks of.
    pub fn at(&self) -> Timestamp {
        match &self.content {
            Content::Reading(reading) => reading.at,
            Content::Event(event) => event.at,
        }
    }
}
