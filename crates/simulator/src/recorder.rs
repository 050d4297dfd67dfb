//! Keeps what really happened to one machine, for the truth: the noiseless temperature and the turning points.

use model::{Span, Timestamp};

use crate::deeds::{Mark, Report};

/// Seconds between two kept temperatures; phases are true to this.
pub(crate) const KEPT_EVERY_S: i64 = 5;

/// An event as people told it.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    /// The contract's word.
    pub event: &'static str,
    /// When it happened, as they say.
    pub at: Option<Timestamp>,
    /// When it was sent.
    pub sent: Timestamp,
}

/// The record of one machine.
#[derive(Debug, Clone)]
pub(crate) struct Recorder {
    pub(crate) start: Timestamp,
    /// Noiseless chocolate, every [`KEPT_EVERY_S`]; single precision is a thousandth of a probe's step.
    pub(crate) celsius: Vec<f32>,
    pub(crate) marks: Vec<(Timestamp, Mark)>,
    pub(crate) told: Vec<Told>,
    steps: i64,
    keeps: bool,
}

impl Recorder {
    pub(crate) fn new(start: Timestamp) -> Recorder {
        Recorder { start, celsius: Vec::new(), marks: Vec::new(), told: Vec::new(), steps: 0, keeps: true }
    }

    /// Forgets the past and keeps nothing from now on: for a works that runs for as long as the program does.
    pub(crate) fn stop(&mut self) {
        self.keeps = false;
        (self.celsius, self.marks, self.told) = (Vec::new(), Vec::new(), Vec::new());
    }

    /// One second has passed.
    pub(crate) fn note(&mut self, celsius: f64) {
        if self.keeps && self.steps % KEPT_EVERY_S == 0 {
            self.celsius.push(celsius as f32);
        }
        self.steps += 1;
    }

    pub(crate) fn mark(&mut self, at: Timestamp, mark: Mark) {
        if self.keeps {
            self.marks.push((at, mark));
        }
    }

    pub(crate) fn told(&mut self, report: &Report) {
        if self.keeps {
            self.told.push(Told { event: report.event, at: report.at, sent: report.sent });
        }
    }

    /// The moment of a kept temperature.
    pub(crate) fn moment(&self, place: usize) -> Timestamp {
        self.start + Span::from_secs(place as i64 * KEPT_EVERY_S + 1)
    }

    /// The place of the first kept temperature at or after `at`.
    pub(crate) fn place(&self, at: Timestamp) -> usize {
        let seconds = (at.since(self.start).as_secs_f64() - 1.0).max(0.0);
        ((seconds / KEPT_EVERY_S as f64).ceil() as usize).min(self.celsius.len())
    }
}
