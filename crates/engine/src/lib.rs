//! Turns readings and events into phases, batches and findings, in event time.
//!
//! One engine serves the live watch and the offline analysis, so that both raise a finding at the same moment. It takes
//! arrivals one at a time ([`Engine::apply`]) and says what changed ([`Engine::take_changes`]) and how things stand
//! ([`Engine::board`]). [`Analyst`] runs it over a whole recording; [`rework`] works the batches of one machine out again when readings
//! came late, and [`correct`] does so for one batch whose phases a person knows better.
//!
//! Never reads a clock, opens a file or spawns a task.

mod analyse;
mod baseline;
mod book;
mod bounded;
mod confidence;
mod correction;
mod engine;
mod figures;
mod findings;
mod history;
mod jacket;
mod lane;
mod machine;
mod measures;
mod phases;
mod plant_watch;
mod regular;
mod rise;
mod round;
mod shared_cause;
mod sieve;
mod sorter;
mod standing;
mod step;
mod timeline;

pub use crate::analyse::{Analysis, Analyst, MachineAnalysis, rework};
pub use crate::correction::{correct, corrected_phases};
pub use crate::engine::{Changes, Engine, Piece, StateError};
pub use crate::figures::Figures;
pub use crate::standing::standing_of;
