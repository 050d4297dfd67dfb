//! What the templates are given: words and places, worked out here so that a template only lays out.
//!
//! A view never holds a type of the model: what a page shows can be rearranged in the templates without a change here,
//! and a change in the model shows here first.

mod batch;
mod finding;
mod floor;
mod lane;

pub(crate) use batch::{BatchRow, BatchView, EventRow, MeasureView};
pub(crate) use finding::FindingView;
pub(crate) use floor::FloorView;
pub(crate) use lane::LaneView;
use model::Timestamp;
use plant::Plant;
use serde::Serialize;

use crate::words::LocalTime;

/// What every view needs to be said in this plant at this moment.
#[derive(Clone, Copy)]
pub(crate) struct Scene<'a> {
    pub plant: &'a Plant,
    pub local: &'a LocalTime,
    pub now: Timestamp,
}

/// A moment, for people and for programs.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Moment {
    pub says: String,
    pub exact: String,
}

impl Scene<'_> {
    pub(crate) fn moment(&self, at: Timestamp) -> Moment {
        Moment { says: self.local.moment(at, self.now), exact: self.local.machine_readable(at) }
    }
}

/// A chip: a word, and the class that gives it its shape and colour.
#[derive(Debug, Clone, Copy, Serialize)]
pub(crate) struct Chip {
    pub class: &'static str,
    pub word: &'static str,
}
