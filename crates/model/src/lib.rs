//! The contract's words as types: the shared language of every other crate.
//!
//! Two decisions shape this crate. An id, a unit or a time is a type of its own and is checked where it is made, so
//! that code further in never asks again. And every enum is closed: matching one without `_` means that a new channel,
//! phase or kind of finding visits each place that has to care.
//!
//! The `serde` derives serve our own files alone (journal blocks, saved engine state, records), which carry a format
//! version. What leaves the program has shapes of its own, in `report`.
//!
//! Never does I/O, never reads a clock, knows nothing of async.

mod alarm;
mod arrival;
mod baseline;
mod batch;
mod board;
mod celsius;
mod channel;
mod correction;
mod decision;
mod event;
mod finding;
mod ids;
mod phase;
mod probe_check;
mod smear;
mod time;

pub use crate::alarm::{Acknowledgement, Aside, SetAside};
pub use crate::arrival::{Arrival, Content, Reading};
pub use crate::baseline::{Baseline, BaselineDeed, BaselineOrder, BaselineState, Usual};
pub use crate::batch::{Batch, Measures, Standing, TauAgainst};
pub use crate::board::{Board, Forecast, Lane, Latest, TestDue};
pub use crate::celsius::{Band, Celsius, CelsiusDelta};
pub use crate::channel::{Channel, UnknownChannel};
pub use crate::correction::PhaseCorrection;
pub use crate::decision::{Decision, Verdict};
pub use crate::event::{Event, EventKind, Grade, Method, TemperTest, UnknownMethod};
pub use crate::finding::{Evidence, EvidenceValue, Finding, FindingKind, Priority};
pub use crate::ids::{BatchId, ContactId, CouvertureId, FindingId, IdError, MachineId};
pub use crate::phase::{Confidence, Phase, PhaseSpan};
pub use crate::probe_check::{CheckKind, ProbeCheck};
pub use crate::smear::Smear;
pub use crate::time::{Span, TimeError, Timestamp};
