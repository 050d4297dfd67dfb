//! Keeps what really happened to one machine, for the truth: the noiseless temperature and the turning points.

use model::{Span, Timestamp};

use model::Grade;

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
    /// Of a temper test, the worst of its grades.
    pub worst: Option<Grade>,
}

/// The machine at one moment, without noise.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Sight {
    /// What an instant, quiet probe of the recorded one's calibration would say; not a number while nobody measures.
    pub(crate) chocolate: f64,
    pub(crate) wall: f64,
    pub(crate) setpoint: f64,
    pub(crate) motor: f64,
    pub(crate) room: f64,
    pub(crate) humidity: f64,
    pub(crate) turning: bool,
}

/// The record of one machine.
#[derive(Debug, Clone)]
pub(crate) struct Recorder {
    pub(crate) start: Timestamp,
    /// Noiseless chocolate, every [`KEPT_EVERY_S`]; single precision is a thousandth of a probe's step.
    pub(crate) celsius: Vec<f32>,
    /// The rest of the machine at the same moments.
    pub(crate) wall: Vec<f32>,
    pub(crate) setpoint: Vec<f32>,
    pub(crate) motor: Vec<f32>,
    pub(crate) room: Vec<f32>,
    pub(crate) humidity: Vec<f32>,
    pub(crate) turning: Vec<bool>,
    pub(crate) marks: Vec<(Timestamp, Mark)>,
    pub(crate) told: Vec<Told>,
    steps: i64,
    keeps: bool,
}

impl Recorder {
    pub(crate) fn new(start: Timestamp) -> Recorder {
        Recorder {
            start,
            celsius: Vec::new(),
            wall: Vec::new(),
            setpoint: Vec::new(),
            motor: Vec::new(),
            room: Vec::new(),
            humidity: Vec::new(),
            turning: Vec::new(),
            marks: Vec::new(),
            told: Vec::new(),
            steps: 0,
            keeps: true,
        }
    }

    /// Forgets the past and keeps nothing from now on: for a works that runs for as long as the program does.
    pub(crate) fn stop(&mut self) {
        *self = Recorder { keeps: false, ..Recorder::new(self.start) };
    }

    /// One second has passed.
    pub(crate) fn note(&mut self, look: impl FnOnce() -> Sight) {
        if self.keeps && self.steps % KEPT_EVERY_S == 0 {
            let sight = look();
            self.celsius.push(sight.chocolate as f32);
            self.wall.push(sight.wall as f32);
            self.setpoint.push(sight.setpoint as f32);
            self.motor.push(sight.motor as f32);
            self.room.push(sight.room as f32);
            self.humidity.push(sight.humidity as f32);
            self.turning.push(sight.turning);
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
            let (event, at, sent, worst) = (report.event, report.at, report.sent, report.worst_grade());
            self.told.push(Told { event, at, sent, worst });
        }
    }

    /// What the last charge up to `before` came to, kg, and its lot.
    pub(crate) fn last_charge(&self, before: Timestamp) -> Option<(f64, &str)> {
        self.marks.iter().rev().find_map(|(at, mark)| match mark {
            Mark::Charge { total_kg, lot, .. } if *at <= before => Some((*total_kg, lot.as_str())),
            Mark::Charge { .. }
            | Mark::Heat
            | Mark::Lower
            | Mark::Rewarm
            | Mark::Seed { .. }
            | Mark::TopUp { .. }
            | Mark::Lumps
            | Mark::Test { .. }
            | Mark::Off => None,
        })
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
