//! # Control charts
//!
//! Has the process moved, and is it good enough when it has not?
//!
//! | routine | sees | source |
//! | --- | --- | --- |
//! | [`Individuals`] | one value far out | e-Handbook 6.3.2.2 |
//! | [`Cusum`] | a lasting shift of about a sigma | Page 1954; e-Handbook 6.3.2.3; head start: Lucas & Crosier 1982 |
//! | [`Ewma`] | a small shift or a drift | Roberts 1959; e-Handbook 6.3.2.4; run lengths: Lucas & Saccucci 1990 |
//! | [`Capability`] | how the spread of a steady process fits the band | e-Handbook 6.1.6; Bissell 1990 |
//!
//! (e-Handbook: NIST/SEMATECH e-Handbook of Statistical Methods.)
//!
//! *Range of validity.* Independent, near-normal values. On one-second readings the limits are fiction: a two-sided CUSUM with k = 0.5 and h = 5
//! that signals by chance once in 465 independent values does so once in 52 when neighbours correlate by one half. Take block means
//! (see [`crate::statistics::block_means`]) first.
//!
//! A chart says that something changed, not what, and not that the chocolate is out of temper.

pub mod cusum;
pub mod ewma;
pub mod indices;
pub mod individuals;

pub use cusum::{Cusum, CusumStep};
pub use ewma::{Ewma, EwmaLimits, EwmaStep};
pub use indices::{Capability, ENOUGH, Interval, capability};
pub use individuals::{D2, D4, Individuals};

/// To which side a chart has left its limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Above the upper limit.
    High,
    /// Below the lower limit.
    Low,
}

/// The side on which a value lies outside of two limits.
fn outside(value: f64, low: f64, high: f64) -> Option<Side> {
    if high < value {
        Some(Side::High)
    } else if value < low {
        Some(Side::Low)
    } else {
        None
    }
}
