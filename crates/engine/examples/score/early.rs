//! How early `slow-cooling` speaks, and how often the cooling that it spoke of was not slow in the end.

use model::{Finding, FindingKind, Span};
use simulator::Condition;

/// The contract calls a cooling slow from this much of the usual length on.
const SLOW: f64 = 1.35;

/// Every `slow-cooling` that was raised.
#[derive(Debug, Default)]
pub(crate) struct Early {
    raised: usize,
    /// Minutes before the usual end, and before the moment at which anybody could have counted that it is slow.
    before_min: Vec<(f64, f64)>,
}

impl Early {
    /// Findings of one machine; `near`: how much earlier than true a condition may seem to begin.
    pub(crate) fn count(&mut self, conditions: &[Condition], findings: &[Finding], near: Span) {
        for finding in findings.iter().filter(|f| f.kind == FindingKind::SlowCooling) {
            self.raised += 1;
            let of_it = |c: &&Condition| {
                c.kind == FindingKind::SlowCooling
                    && c.from - near <= finding.raised_at
                    && finding.raised_at <= c.to + near
            };
            self.before_min.extend(conditions.iter().find(of_it).map(|c| {
                let usual = Span::from_mins_f64(c.due.since(c.from).as_mins_f64() / SLOW);
                let before = |moment: model::Timestamp| (moment - finding.raised_at).as_mins_f64();
                (before(c.from + usual), before(c.due))
            }));
        }
    }

    pub(crate) fn add(&mut self, other: Early) {
        self.raised += other.raised;
        self.before_min.extend(other.before_min);
    }

    pub(crate) fn print(&self) {
        let right = self.before_min.len();
        println!(
            "\nslow-cooling: raised {} times; {} of those coolings were slow in the end",
            self.raised, right
        );
        for (name, of) in [
            ("the usual end", (|b: &(f64, f64)| b.0) as fn(&(f64, f64)) -> f64),
            ("1.35 × the usual length", |b| b.1),
        ] {
            let mut minutes: Vec<f64> = self.before_min.iter().map(of).collect();
            minutes.sort_by(f64::total_cmp);
            let early = minutes.iter().filter(|m| 0.0 < **m).count();
            let at = |tenths: usize| {
                minutes.get(minutes.len().saturating_sub(1) * tenths / 10).copied().unwrap_or(f64::NAN)
            };
            println!(
                "  before {name}: {early} of {right}; 10 % {:+.0}, median {:+.0}, 90 % {:+.0} min",
                at(1),
                at(5),
                at(9)
            );
        }
    }
}
