//! One file a subject: what an address answers.

pub(crate) mod account;
pub(crate) mod api;
pub(crate) mod assets;
pub(crate) mod audit;
pub(crate) mod baselines;
pub(crate) mod batch;
pub(crate) mod batch_forms;
pub(crate) mod batch_paper;
pub(crate) mod bench;
pub(crate) mod compare;
pub(crate) mod day;
pub(crate) mod display;
pub(crate) mod entries;
pub(crate) mod files;
pub(crate) mod findings;
pub(crate) mod floor;
pub(crate) mod health;
pub(crate) mod live;
pub(crate) mod machine;
pub(crate) mod phases;
pub(crate) mod readings;
pub(crate) mod sign_in;
pub(crate) mod week;
pub(crate) mod week_entries;
