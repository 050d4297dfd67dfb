//! The formulas of the trade and of the control charts, each with its source and its error.
pub mod cooling;
pub mod error;
pub mod least_squares;
pub mod sensors;
pub mod statistics;
