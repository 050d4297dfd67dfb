//! Checks of probes: what a probe showed beside something better, before and after it was put right.

use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::{Channel, MachineId, Timestamp};

/// Against what a probe was checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum CheckKind {
    /// A slush of crushed ice and clean water: 0.00 °C within a few hundredths (ITS-90; ASTM E563 says how it is made).
    IcePoint,
    /// A reference thermometer beside it, best at the temperature of use.
    Comparison,
}

impl CheckKind {
    /// Both.
    pub const ALL: [CheckKind; 2] = [CheckKind::IcePoint, CheckKind::Comparison];

    /// As programs say it.
    pub fn as_str(self) -> &'static str {
        match self {
            CheckKind::IcePoint => "ice-point",
            CheckKind::Comparison => "comparison",
        }
    }
}

impl FromStr for CheckKind {
    type Err = ();

    fn from_str(text: &str) -> Result<CheckKind, ()> {
        CheckKind::ALL.into_iter().find(|kind| kind.as_str() == text).ok_or(())
    }
}

/// A check. Kept for good, with the limit that held when it was made.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ProbeCheck {
    /// The machine whose probe it was.
    pub machine: MachineId,
    /// Which of its probes.
    pub channel: Channel,
    /// Against what.
    pub kind: CheckKind,
    /// What it should have shown, °C.
    pub reference_c: f64,
    /// What it showed as it was found, °C.
    pub as_found_c: f64,
    /// What it showed after it was put right, °C, where it was.
    pub as_left_c: Option<f64>,
    /// The reference thermometer's mark or certificate.
    pub reference: Option<String>,
    /// By how much it may be off, °C.
    pub accept_c: f64,
    /// By whom.
    pub by: String,
    /// When.
    pub at: Timestamp,
}

impl ProbeCheck {
    /// How much too high it showed, °C.
    pub fn error_c(&self) -> f64 {
        self.as_found_c - self.reference_c
    }

    /// Was it right as it was found?
    pub fn is_passed(&self) -> bool {
        self.is_near(self.as_found_c)
    }

    /// Was it right when whoever checked it went away?
    pub fn is_left_right(&self) -> bool {
        self.is_near(self.as_left_c.unwrap_or(self.as_found_c))
    }

    fn is_near(&self, shown_c: f64) -> bool {
        // 31.3 less 31.0 is a little more than 0.3 in binary fractions.
        (shown_c - self.reference_c).abs() <= self.accept_c + 1e-9
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_probe_passes_within_its_limit_and_may_be_put_right() {
        let check = |as_found_c: f64, as_left_c: Option<f64>| ProbeCheck {
            machine: "alder".parse().unwrap(),
            channel: Channel::Chocolate,
            kind: CheckKind::Comparison,
            reference_c: 31.0,
            as_found_c,
            as_left_c,
            reference: None,
            accept_c: 0.3,
            by: "ana".to_owned(),
            at: Timestamp::default(),
        };
        let both = |check: ProbeCheck| (check.is_passed(), check.is_left_right());
        assert_eq!(both(check(31.3, None)), (true, true));
        assert_eq!(both(check(31.8, None)), (false, false));
        assert_eq!(both(check(31.8, Some(31.1))), (false, true));
        assert!((check(31.8, None).error_c() - 0.8).abs() < 1e-9);
    }
}
