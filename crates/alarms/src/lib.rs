//! The life of alarms after ISA-18.2 and IEC 62682: which findings are alarms, who has seen them, what is kept from ringing.
//!
//! An alarm is a finding that somebody has to answer; [`rationale()`] says for every kind why it is one or is none. Nothing here
//! finds anything, and nothing is remembered that is not on record: states follow from findings, from what people said, and
//! from the moment.
//!
//! - `rationale`: cause, consequence, action and time to act of every kind.
//! - `life`: the states, and how one follows from the other.
//! - `flood`: too many at once, and what comes again and again.
//! - `list`: what needs somebody now.
//! - `week`: the figures of a week.
//! - `desk`: where people answer.
//!
//! Never reads a clock.

mod desk;
mod flood;
mod life;
mod list;
#[cfg(test)]
mod made_up;
mod rationale;
mod week;

pub use crate::desk::{Desk, DeskError, Wanted};
pub use crate::life::State;
pub use crate::list::{Alarm, Facts, Listing, listing};
pub use crate::rationale::{Answer, Rationale, most_urgent, rationale};
pub use crate::week::{AlarmWeek, MachineAlarms, Standing, week};
