//! What people see and what programs ask: pages, drawings, the API, live events.
//!
//! Pages are rendered here and complete without a script; scripts of ours only keep them alive. A page looks as its
//! small file in the folder `dashboards` says, so that a plant can rearrange it without touching this code. Nothing a
//! page needs comes from another host.
//!
//! In reading order:
//!
//! - [`state`](WebState): what the service hands over.
//! - `server`, `router`, `app`: serving, all addresses, what handlers share.
//! - `handlers`: what each address answers; `problem`, `query`: what it says to a mistake.
//! - `view`, `urgency`, `words`: facts turned into what a page says.
//! - `dashboards`, `page_file`, `rendered`: templates, page files, parts kept for live pages.
//! - `archive`, `past`, `curve`: reading records and readings, the machine's own past, gathering a curve sheet.
//!
//! Only this crate knows status codes. It decides nothing about chocolate: phases, findings and standings come from
//! elsewhere and are shown as they are.

mod app;
mod archive;
mod curve;
mod dashboards;
mod handlers;
#[cfg(test)]
mod made_up;
mod page_file;
mod past;
mod problem;
mod query;
mod rendered;
mod router;
mod server;
mod state;
mod urgency;
mod view;
mod words;

pub use crate::server::{WebError, router, run};
pub use crate::state::{Entries, EventSink, Health, IntakeState, LivePace, NotDurable, WebConfig, WebState};
