//! The invented Tern Street works: a physical model of tempering machines, the people at them, and what goes wrong.
//!
//! Nothing here draws a curve. A [`Works`] steps masses of chocolate, steel and water once a second through heat balances,
//! melting and crystallisation; controllers switch, people come late, weigh a little off and forget to type, networks lose
//! and double. What the probes make of it goes out as MQTT messages; what really happened is kept beside it as [`Truth`].
//!
//! Three decisions shape the crate. Faults are causes, never curves ([`FaultKind`]). Sizes and constants stand where they
//! are used, each with its source or the word *assumed*. And it knows the contract's words and definitions, but nothing of
//! how a watch finds anything, so that it can judge one.
//!
//! Never reads a clock: the caller says how far to play, which is how the demo runs it live.
//!
//! - matter: `chocolate`, `vessel`; machines: `spec`, `controller`, `probe`, `room`
//! - people: `calendar`, `deeds`, `people`, `working`, `bench`; trouble: `faults`, `trouble`
//! - one machine: `rig`; its messages: `sampler`, `reporter`, `network`
//! - what was true: `recorder`, `true_phases`, `conditions`, `truth`, `truth_json`
//! - all together: `works`, `write`, `scenarios`, `scoring`, `demo`

mod bench;
mod calendar;
mod chocolate;
mod conditions;
mod controller;
mod deeds;
mod demo;
mod dice;
mod faults;
mod network;
mod people;
mod probe;
mod recorder;
mod reporter;
mod rig;
mod room;
mod sampler;
pub mod scenarios;
pub mod scoring;
mod spec;
mod trouble;
mod true_phases;
mod truth;
mod truth_json;
mod vessel;
mod working;
mod works;
mod write;

pub use crate::conditions::{
    Condition, Excuse, Weight, hide_unseen, instrument_conditions, plant_conditions,
};
pub use crate::deeds::Mark;
pub use crate::demo::demo_works;
pub use crate::faults::{Fault, FaultKind, Happened, Onset, Stage};
pub use crate::recorder::Told;
pub use crate::rig::Begin;
pub use crate::scenarios::Scenario;
pub use crate::spec::{Instruments, Manner, Shift, Telling, Wording};
pub use crate::truth::{MachineTruth, TrueBatch, Truth};
pub use crate::works::{Fitting, Settings, Standing, Works};
pub use crate::write::{WriteError, Written, write_days};
pub use wire::Message;
