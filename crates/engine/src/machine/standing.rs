//! The machine as it stands, for the board.

use model::{Lane, Phase, Span, TestDue, Timestamp};

use crate::standing::Proof;

use super::{MachineWatch, Setting};

impl MachineWatch {
    /// The machine as it will stand if nothing more of it comes, where something that people reported waits for its turn: they look at
    /// the next page for it. `None` where nothing of that kind waits. The watch itself goes on as if nobody had asked.
    pub(crate) fn foreseen(&self, setting: &Setting<'_>, clock: Timestamp) -> Option<MachineWatch> {
        self.sorter.holds_event(clock).then(|| {
            let mut foreseen = self.clone();
            foreseen.drain(setting);
            foreseen
        })
    }

    /// How many batches the next call of [`MachineWatch::take_ended`] will give.
    pub(crate) fn ended_so_far(&self) -> usize {
        self.ended.len()
    }

    /// The machine as it stands.
    pub(crate) fn lane(&self, setting: &Setting<'_>) -> Lane {
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
            batch: self.open_batch(setting),
            forecast: self.process.forecast(),
            open: self.ledger.open(),
            last_test: self.book.last_test(),
            test_due: self.test_due(setting),
        }
    }

    /// When the next temper test is due; not before the charge is ready by its temperature.
    fn test_due(&self, setting: &Setting<'_>) -> Option<TestDue> {
        match self.tracker.phase()? {
            Phase::Working | Phase::Rewarming | Phase::Settling => {}
            Phase::Idle | Phase::Melting | Phase::Soak | Phase::Cooling => return None,
        }
        let ready = self.book.timeline.last_of(Phase::Working)?.from;
        let proof: &Proof = self.book.proof()?;
        Some(proof.test_due(ready, self.disturbed_at, setting.plant.temper_test.every))
    }
}
