//! The formulas of the trade and of the control charts, each with its source and its error.
// Asking for what is wanted, `!(0.0 < x)`, makes NaN fail; the rewritten comparison would let it through.
#![allow(clippy::neg_cmp_op_on_partial_ord)]
pub mod control;
pub mod cooling;
pub mod curve;
pub mod error;
pub mod exposure;
pub mod heat;
pub mod humidity;
pub mod least_squares;
pub mod melt_out;
pub mod sensors;
pub mod statistics;
pub mod trend;
