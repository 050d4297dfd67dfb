//! A batch in words: what happened, what went wrong, what it means, what to do.
//!
//! Told as a good colleague would tell it at the change of shift: in the order of time, with the figures that matter,
//! and honest about what is not known. A paragraph each, so that a page can set them apart.
//!
//! **Invariant:** only a temper test gives a verdict. From temperatures alone the batch is at most "consistent with"
//! being in temper, or "at risk", and every statement says so.

mod course;
mod meaning;

use jiff::tz::TimeZone;
use model::{Batch, Event, Finding, FindingKind, Measures, Phase, Timestamp};

use crate::saying::{hour_beside, length, list, plain, times};
use crate::statement::meaning::as_a_cause;

/// Kinds of finding told one by one; more are only named.
const TOLD_KINDS: usize = 5;

/// Everything that a statement is made from.
#[derive(Debug, Clone, Copy)]
pub struct Telling<'a> {
    /// The batch.
    pub batch: &'a Batch,
    /// As people call its machine.
    pub machine: &'a str,
    /// As people call its couverture.
    pub couverture: &'a str,
    /// Its findings.
    pub findings: &'a [Finding],
    /// Its events; `None` where they are not at hand, so that nothing is said about who reported what.
    pub events: Option<&'a [Event]>,
    /// Medians of earlier batches, where there are enough.
    pub usual: Option<&'a Measures>,
    /// The plant's clock.
    pub zone: &'a TimeZone,
    /// How far anything is known; an open batch is told up to here.
    pub seen_to: Timestamp,
}

/// The statement, a paragraph each: what happened, what was found, what it means, what to do.
pub fn statement(telling: &Telling<'_>) -> Vec<String> {
    let mut paragraphs = vec![telling.course()];
    paragraphs.extend(telling.found());
    paragraphs.push(telling.meaning());
    paragraphs.push(telling.advise());
    paragraphs
}

impl<'a> Telling<'a> {
    /// A moment, with its day where that is not the day on which most of it happened: a charge that melted overnight is
    /// cooled and worked on the next day, and nobody says that day in every sentence.
    fn at(&self, at: Timestamp) -> String {
        let day = self.batch.first(Phase::Cooling).map_or(self.batch.start, |cooling| cooling.from);
        hour_beside(at, day, self.zone)
    }

    /// A moment, with its day where that is not the day on which the batch began.
    fn beside_start(&self, at: Timestamp) -> String {
        hour_beside(at, self.batch.start, self.zone)
    }

    /// Findings that no worse one took over, the most urgent first, then in the order of time.
    fn own_findings(&self) -> Vec<&Finding> {
        let mut own: Vec<&Finding> = self.findings.iter().filter(|f| f.superseded_by.is_none()).collect();
        own.sort_by_key(|finding| (std::cmp::Reverse(finding.priority), finding.raised_at));
        own
    }

    fn events(&self) -> &'a [Event] {
        self.events.unwrap_or_default()
    }

    fn has(&self, kind: FindingKind) -> bool {
        self.own_findings().iter().any(|finding| finding.kind == kind)
    }

    /// One sentence or two a kind: a kind that came often is told once.
    fn found(&self) -> Option<String> {
        let mut kinds: Vec<Vec<&Finding>> = Vec::new();
        for finding in self.own_findings() {
            match kinds.iter_mut().find(|same| same[0].kind == finding.kind) {
                Some(same) => same.push(finding),
                None => kinds.push(vec![finding]),
            }
        }
        let mut told: Vec<String> = kinds.iter().take(TOLD_KINDS).map(|same| self.tell(same)).collect();
        if TOLD_KINDS < kinds.len() {
            let rest: Vec<String> =
                kinds[TOLD_KINDS..].iter().map(|same| plain(same[0].kind.as_str())).collect();
            told.push(format!("Less urgent, and told below: {}.", list(&rest)));
        }
        (!told.is_empty()).then(|| told.join(" "))
    }

    /// `It stood above … That was from 10:08 to 10:22.` Of several the most urgent is told.
    fn tell(&self, same: &[&Finding]) -> String {
        let first = same[0];
        let Finding { from, to, says, .. } = first;
        let when = match to {
            Some(to) => {
                format!("That was from {}, for {}.", self.at(*from), length(*to - *from))
            }
            None => format!("That began at {} and goes on.", self.at(*from)),
        };
        let before = self.findings.iter().find(|other| other.superseded_by.as_ref() == Some(&first.id));
        let grown =
            before.map(|other| format!(" Before, it was {}.", as_a_cause(other.kind))).unwrap_or_default();
        let often = match same.len() - 1 {
            0 => String::new(),
            more => format!(" It happened {} more.", times(more)),
        };
        format!("{says} {when}{grown}{often}")
    }
}

#[cfg(test)]
mod tests;
