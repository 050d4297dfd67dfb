//! Reaching people who look at no page: mail and webhooks, who comes next when nobody answers, and when not to disturb.
//!
//! - `policy`: who is to be told of which alarm now. Pure.
//! - `message`: what they are told: what to do, not only what is wrong.
//! - `webhook`, `mail`: two ways out.
//! - `outbox`: a bounded queue with patience; what is given up or thrown away is counted and told.
//! - `run`: keeps looking.
//!
//! **Invariant:** what waits is bounded, and nothing waits for it: a mail server that stands still holds up no alarm on a page.

mod config;
#[cfg(test)]
mod made_up;
mod mail;
mod message;
mod outbox;
mod policy;
mod run;
mod stats;
mod trial;
mod webhook;

pub use crate::config::{MailLogin, ReachConfig, ReachError};
pub use crate::policy::{NeverTold, never_told};
pub use crate::run::{Post, Reaching};
pub use crate::stats::ReachStats;
pub use crate::trial::try_contact;
pub use crate::webhook::{Secret, signature};
