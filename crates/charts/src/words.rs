//! The sentence that a chart carries for those who do not see it.
//!
//! Says what the picture shows and no more: numbers, phases, findings, and what is not known. Never a verdict.

use jiff::tz::TimeZone;
use model::{Finding, PhaseSpan, Span, Timestamp};

use crate::degrees::Degrees;
use crate::thin::Runs;

/// Findings named one by one; more are counted.
const NAMED_FINDINGS: usize = 6;

/// The clock on the wall.
pub(crate) fn hour(at: Timestamp, zone: &TimeZone) -> String {
    zone.to_datetime(at.to_jiff()).strftime("%H:%M").to_string()
}

/// Date and clock on the wall.
pub(crate) fn day_and_hour(at: Timestamp, zone: &TimeZone) -> String {
    zone.to_datetime(at.to_jiff()).strftime("%a %-d %b %Y %H:%M").to_string()
}

/// The course of the chocolate in words.
pub(crate) fn course(runs: &Runs, zone: &TimeZone, degrees: Degrees) -> String {
    let points = || runs.runs.iter().flatten().copied();
    // Of equal values the first.
    let highest = points().reduce(|best, point| if best.1 < point.1 { point } else { best });
    let lowest = points().reduce(|best, point| if point.1 < best.1 { point } else { best });
    let (Some(highest), Some(lowest), Some(last)) = (highest, lowest, points().last()) else {
        return "There are no readings of the chocolate.".to_owned();
    };
    let tell = |(at, value): (i64, f64)| {
        let (value, unit) = (degrees.of(value), degrees.unit());
        format!("{value:.1} {unit} at {}", hour(Timestamp::from_millis(at), zone))
    };
    format!("Chocolate: highest {}, lowest {}, last {}.", tell(highest), tell(lowest), tell(last))
}

/// The phases in their order.
pub(crate) fn phases(phases: &[PhaseSpan], zone: &TimeZone) -> Option<String> {
    let told: Vec<String> =
        phases.iter().map(|span| format!("{} from {}", span.phase, hour(span.from, zone))).collect();
    (!told.is_empty()).then(|| format!("Phases: {}.", told.join(", ")))
}

/// The findings in the order of time.
pub(crate) fn findings(findings: &[&Finding], zone: &TimeZone) -> String {
    if findings.is_empty() {
        return "No findings.".to_owned();
    }
    let mut told: Vec<String> = findings
        .iter()
        .take(NAMED_FINDINGS)
        .map(|f| format!("{} ({}) at {}", f.kind.title(), f.priority.as_str(), hour(f.raised_at, zone)))
        .collect();
    if NAMED_FINDINGS < findings.len() {
        told.push(format!("and {} more", findings.len() - NAMED_FINDINGS));
    }
    format!("Findings: {}.", told.join(", "))
}

/// How long nothing was known.
pub(crate) fn gaps(gaps: &[(Timestamp, Timestamp)]) -> Option<String> {
    let unknown = gaps.iter().fold(Span::ZERO, |sum, (from, to)| sum + (*to - *from));
    (!gaps.is_empty())
        .then(|| format!("No readings for {:.0} minutes in all.", unknown.as_mins_f64().max(1.0)))
}
