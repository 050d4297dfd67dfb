//! The crate against published values, a module a subject. `fixtures/README.md` says where each figure comes from.

// Helpers of tests may fail like tests.
#![allow(clippy::unwrap_used)]

mod any_input;
mod control;
mod cooling;
mod curve;
mod heat;
mod humidity;
mod least_squares;
mod run_lengths;
mod sensors;
mod statistics;
mod support;
mod trend;
