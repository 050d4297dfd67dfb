//! The phases of one machine in order, each dated where it happened.
//!
//! What was noticed late is dated back: a change at an earlier moment replaces whatever had been written after it.

use model::{Confidence, Phase, PhaseSpan, Timestamp};
use serde::{Deserialize, Serialize};

/// Phases without gaps; the last one is open.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Timeline {
    spans: Vec<PhaseSpan>,
}

impl Timeline {
    /// From `at` on it is `phase`. A phase that comes to stand where another one was written before has little confidence.
    pub(crate) fn change(&mut self, phase: Phase, at: Timestamp) {
        let written = self.spans.iter().find(|span| span.from >= at);
        let taken_back = written.is_some_and(|span| span.phase != phase);
        self.cut(at);
        let confidence = if taken_back { Confidence::Low } else { Confidence::Medium };
        match self.spans.last_mut() {
            Some(last) if last.phase == phase => {
                last.to = None;
                last.confidence = last.confidence.min(confidence);
            }
            Some(_) | None => self.spans.push(PhaseSpan { phase, from: at, to: None, confidence }),
        }
    }

    /// The newest span began at `at`, and the one before ended there: what was seen since then says it better.
    pub(crate) fn redate(&mut self, at: Timestamp) {
        if let [.., before, last] = self.spans.as_mut_slice()
            && at > before.from
        {
            (before.to, last.from) = (Some(at), at);
        }
    }

    /// Nothing is known any more from `at` on. The last span ends there.
    pub(crate) fn cut(&mut self, at: Timestamp) {
        while self.spans.pop_if(|span| span.from >= at).is_some() {}
        if let Some(last) = self.spans.last_mut() {
            last.to = Some(last.to.map_or(at, |to| to.min(at)));
        }
    }

    /// It is `at` again: what was written after that was too late by the clock, and the newest phase goes on.
    pub(crate) fn turn_back(&mut self, at: Timestamp) {
        if let Some(newest) = self.spans.last().copied().filter(|newest| at < newest.from) {
            self.cut(at);
            self.spans.push(PhaseSpan { from: at, ..newest });
        }
    }

    /// Forgets everything.
    pub(crate) fn clear(&mut self) {
        self.spans.clear();
    }

    pub(crate) fn spans(&self) -> &[PhaseSpan] {
        &self.spans
    }

    /// The phase at a moment, if it is written down.
    pub(crate) fn at(&self, at: Timestamp) -> Option<Phase> {
        let holds = |span: &&PhaseSpan| span.from <= at && span.to.is_none_or(|to| at < to);
        self.spans.iter().find(holds).map(|span| span.phase)
    }

    /// The newest span of `phase`.
    pub(crate) fn last_of(&self, phase: Phase) -> Option<PhaseSpan> {
        self.spans.iter().rev().find(|span| span.phase == phase).copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_millis(minute * 60_000)
    }

    fn told(timeline: &Timeline) -> String {
        let span = |s: &PhaseSpan| {
            let to = s.to.map_or("…".to_owned(), |to| (to.as_millis() / 60_000).to_string());
            format!("{} {}-{to}", s.phase, s.from.as_millis() / 60_000)
        };
        timeline.spans().iter().map(span).collect::<Vec<_>>().join(" | ")
    }

    #[test]
    fn a_begin_is_moved_and_its_neighbour_with_it() {
        let mut timeline = Timeline::default();
        timeline.change(Phase::Soak, at(10));
        timeline.change(Phase::Cooling, at(60));
        timeline.redate(at(66));
        assert_eq!(told(&timeline), "soak 10-66 | cooling 66-…");
        timeline.redate(at(9));
        assert_eq!(told(&timeline), "soak 10-66 | cooling 66-…", "not before its neighbour");
    }

    #[test]
    fn a_change_dated_back_replaces_what_came_after() {
        let mut timeline = Timeline::default();
        timeline.change(Phase::Soak, at(0));
        timeline.change(Phase::Cooling, at(60));
        timeline.change(Phase::Settling, at(130));
        timeline.change(Phase::Cooling, at(50));
        assert_eq!(told(&timeline), "soak 0-50 | cooling 50-…");
        assert!(
            timeline.spans().iter().all(|span| span.confidence == Confidence::Medium),
            "settling led nowhere"
        );
        timeline.change(Phase::Soak, at(50));
        assert_eq!(told(&timeline), "soak 0-…");
        assert_eq!(timeline.spans()[0].confidence, Confidence::Low, "taken for a cooling in between");
    }
}
