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
//! - `api`, `once`: the table of addresses for programs, and requests that may come again.
//! - `handlers`: what each address answers; `accept`, `problem`, `query`: in which form, and what it says to a mistake.
//! - `view`, `urgency`, `words`, `reader`, `sentence`: facts turned into what a page says, as its reader reads.
//! - `dashboards`, `shelf`, `page_file`, `rendered`: templates, page files, reading them anew, parts kept for live pages.
//! - `gathered`, `paper`: what day, week and comparison are made from, and reports as PDF.
//! - `access`: who may do what, and how somebody is known.
//! - `bowl`, `calculator`: a bowl on the bench as it stands, and the sums about seed, top-up and remelt.
//! - `written`, `smears`: what people write into the records, and started tests.
//! - `stored_curve`: a sample's curve from stored readings.
//! - `kept`, `judged`, `material`, `photo`: what people keep of a batch, what its tests gave, what went into machines, photos without what
//!   cameras add.
//! - `archive`, `past`, `curve`, `curve_query`, `curve_values`: reading records and readings, the machine's own past,
//!   gathering a curve sheet.
//!
//! Only this crate knows status codes. It decides nothing about chocolate: phases, findings and standings come from
//! elsewhere and are shown as they are.

mod accept;
mod access;
mod api;
mod app;
mod archive;
mod bowl;
mod calculator;
mod curve;
mod curve_query;
mod curve_values;
mod dashboards;
mod fields;
mod gathered;
mod handlers;
mod judged;
mod kept;
#[cfg(test)]
mod made_up;
mod material;
mod once;
mod page_file;
mod paper;
mod past;
mod photo;
mod problem;
mod query;
mod reader;
mod rendered;
mod router;
mod sentence;
mod server;
mod shelf;
mod smears;
mod state;
mod stored_curve;
mod typed;
mod urgency;
mod view;
mod words;
mod written;

pub use crate::paper::Paper;
pub use crate::server::{WebError, check_dashboards, router, run};
pub use crate::state::{
    Entries, EventSink, Exposition, Health, IntakeState, LivePace, NotDurable, Reading, WebConfig, WebState,
};
