//! The machine as it stands, for the board.

use model::{Batch, Forecast, Lane, Method, Phase, Span, TestDue, Timestamp};

use crate::findings::projection::Cooling;
use crate::standing::Proof;

use super::{MachineWatch, Setting};

/// A machine as it will stand if nothing more of it comes, where something that people reported waits for its turn: they look at the next
/// page for it. The watch itself goes on as if nobody had asked.
pub(crate) struct Seen<'a> {
    watch: &'a MachineWatch,
    foreseen: Option<Box<MachineWatch>>,
}

impl<'a> Seen<'a> {
    pub(crate) fn new(watch: &'a MachineWatch, setting: &Setting<'_>, clock: Timestamp) -> Seen<'a> {
        let foreseen = watch.sorter.holds_event(clock).then(|| {
            let mut foreseen = Box::new(watch.clone());
            foreseen.drain(setting);
            foreseen
        });
        Seen { watch, foreseen }
    }

    pub(crate) fn watch(&self) -> &MachineWatch {
        self.foreseen.as_deref().unwrap_or(self.watch)
    }

    /// Is there more to see than the watch itself knows?
    pub(crate) fn is_foreseen(&self) -> bool {
        self.foreseen.is_some()
    }

    /// The batch that goes on, with its figures so far.
    pub(crate) fn open_batch(&self, setting: &Setting<'_>) -> Option<Batch> {
        self.watch().open_batch(setting)
    }

    /// Batches whose end has been reported and waits for its turn.
    pub(crate) fn ended(&self) -> Vec<Batch> {
        let foreseen = self.foreseen.iter().flat_map(|foreseen| &foreseen.ended);
        foreseen.skip(self.watch.ended.len()).cloned().collect()
    }
}

impl MachineWatch {
    /// The machine as it stands, with the batch that goes on in it.
    pub(crate) fn lane(&self, setting: &Setting<'_>, batch: Option<Batch>) -> Lane {
        let seen_to = self.last_chocolate.unwrap_or_default();
        let (phase, phase_since) = match (self.tracker.phase(), self.book.timeline.spans().last()) {
            (Some(phase), Some(span)) => (phase, span.from),
            (Some(phase), None) => (phase, seen_to),
            (None, _) => (Phase::Idle, self.history.first_at().unwrap_or_default()),
        };
        let ago = seen_to - Span::from_mins(10);
        Lane {
            machine: setting.machine.id.clone(),
            seen_to,
            latest: self.newest.latest(),
            slope_c_per_min: self.history.line(seen_to, Span::from_mins(3)).map(|line| line.slope),
            ten_minutes_ago_c: self.history.level(ago),
            phase,
            phase_since,
            batch,
            forecast: self.forecast(setting),
            open: self.ledger.open(),
            last_test: self.book.last_test(),
            test_due: self.test_due(setting),
        }
    }

    fn forecast(&self, setting: &Setting<'_>) -> Option<Forecast> {
        let limits = self.limits(setting);
        self.process.forecast(|at| {
            Some(Cooling {
                at,
                known: at + self.sieve.step(),
                since: self.book.timeline.last_of(Phase::Cooling)?.from,
                level: self.history.level(at)?,
                history: &self.history,
                limits: &limits,
                seeded: self.book.facts().method == Method::Seed,
            })
        })
    }

    /// When the next temper test is due; not before the charge is ready by its temperature.
    fn test_due(&self, setting: &Setting<'_>) -> Option<TestDue> {
        match self.tracker.phase()? {
            Phase::Working | Phase::Rewarming | Phase::Settling => {}
            Phase::Idle | Phase::Melting | Phase::Soak | Phase::Cooling => return None,
        }
        let ready = self.book.timeline.last_of(Phase::Working)?.from;
        let proof: &Proof = self.book.proof()?;
        Some(proof.test_due(
            self.book.timeline.spans(),
            ready,
            self.disturbed_at,
            setting.plant.temper_test.every,
        ))
    }
}
