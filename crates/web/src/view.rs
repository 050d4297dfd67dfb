//! What the templates are given: words and places, worked out here so that a template only lays out.
//!
//! A view never holds a type of the model: what a page shows can be rearranged in the templates without a change here,
//! and a change in the model shows here first.

mod alarm;
mod batch;
mod bench;
mod correction;
mod curve;
mod finding;
mod floor;
mod history;
mod kept;
mod lane;
mod overlay;
mod setup;
mod temper_test;
mod week;

pub(crate) use alarm::{AlarmMark, AlarmsView, AsideForm, ReasonView, reasons};
pub(crate) use batch::{BatchRow, BatchView, EventRow, MeasureView, measure_as_read};
pub(crate) use bench::{BowlRow, BowlView};
use charts::Degrees;
pub(crate) use correction::CorrectionsView;
pub(crate) use curve::{Choice, CurveParts, CurveView};
pub(crate) use finding::FindingView;
pub(crate) use floor::FloorView;
pub(crate) use history::{HistoryView, history_of};
pub(crate) use kept::{
    KeptView, Link, Notice, batch_link, channel_word, error_says, lot_link, notices, share_says,
};
pub(crate) use lane::{LaneView, Room};
use model::Timestamp;
pub(crate) use overlay::{Overlays, Picture};
use plant::Plant;
use serde::Serialize;
pub(crate) use setup::{CouvertureRow, SetupView};
pub(crate) use temper_test::GradeView;
pub(crate) use week::SectionView;

use crate::sentence::in_degrees;
use crate::words::{self, LocalTime};

/// What every view needs to be said in this plant at this moment.
#[derive(Clone, Copy)]
pub(crate) struct Scene<'a> {
    pub plant: &'a Plant,
    pub local: &'a LocalTime,
    pub now: Timestamp,
    /// In which the reader reads temperatures.
    pub degrees: Degrees,
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

    /// A sentence from elsewhere, as the reader reads it.
    pub(crate) fn sentence(&self, sentence: &str) -> String {
        in_degrees(sentence, self.degrees)
    }

    /// `31.4 °C`
    pub(crate) fn temperature(&self, celsius: f64) -> String {
        words::temperature(celsius, self.degrees)
    }
}

/// A chip: a word, and the class that gives it its shape and colour.
#[derive(Debug, Clone, Copy, Serialize)]
pub(crate) struct Chip {
    pub class: &'static str,
    pub word: &'static str,
}
