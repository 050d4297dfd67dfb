//! What the review of a week rests on, as a digest: batches, their tests and findings, and nothing that is only said.
//!
//! A signed week is held against it later. Words, actions, rooms and earlier weeks are left out on purpose: an action
//! that is closed, or a sentence that is worded better, changes no record of the week.
//!
//! FNV-1a over 64 bits (Fowler, Noll, Vo; constants from memory). It tells that a record changed, not that nobody meant
//! to: that the signed document is intact is told by its SHA-256.

use std::fmt::Write as _;

use model::{Batch, Finding, Measures, Timestamp};

use super::View;

const OFFSET: u64 = 0xcbf2_9ce4_8422_2325;
const PRIME: u64 = 0x0000_0100_0000_01b3;

/// Sixteen hexadecimal digits.
pub(super) fn digest(view: &View<'_>) -> String {
    let mut text = String::new();
    for batch in view.week {
        add_batch(&mut text, batch);
        for (at, test) in view.tests.in_batch(batch) {
            let grades = [test.gloss, test.contraction, test.snap].map(model::Grade::as_str);
            add(&mut text, format_args!("test {} {} {:?}", at, grades.join(" "), test.minutes));
        }
    }
    let mut findings: Vec<&Finding> =
        view.findings.iter().filter(|finding| is_of_week(finding, view)).collect();
    findings.sort_by(|a, b| a.id.as_str().cmp(b.id.as_str()));
    for finding in findings {
        let Finding { id, kind, priority, raised_at, .. } = finding;
        let over = finding.to.filter(|to| *to < view.to).map(|to| to.to_string()).unwrap_or_default();
        let worse = finding.superseded_by.as_ref().map(ToString::to_string).unwrap_or_default();
        add(
            &mut text,
            format_args!("finding {id} {} {priority:?} {raised_at} {over} {worse}", kind.as_str()),
        );
    }
    format!("{:016x}", fnv(&text))
}

fn is_of_week(finding: &Finding, view: &View<'_>) -> bool {
    let is_raised = view.from <= finding.raised_at && finding.raised_at < view.to;
    is_raised || finding.batch.as_ref().is_some_and(|of| view.week.iter().any(|batch| batch.id == *of))
}

fn add_batch(text: &mut String, batch: &Batch) {
    let Batch { id, couverture, lot, method, mass_kg, end, phases, measures, standing, .. } = batch;
    let end = end.map(|end: Timestamp| end.to_string()).unwrap_or_default();
    let lot = lot.as_deref().unwrap_or_default();
    let standing = standing.as_str();
    add(text, format_args!("batch {id} {couverture} {lot:?} {method:?} {mass_kg:?} {end} {standing}"));
    for span in phases {
        add(text, format_args!("phase {:?} {}", span.phase, span.from));
    }
    for value in figures(measures) {
        // To four decimals, as documents have it: what is read back from a file may differ in the last digit.
        add(text, format_args!("{}", value.map(|value| format!("{value:.4}")).unwrap_or_default()));
    }
}

fn figures(measures: &Measures) -> [Option<f64>; 12] {
    [
        measures.soak_max_c,
        measures.cooling_minutes,
        measures.cooling_tau_min,
        measures.lowest_c,
        measures.seed_dip_c,
        measures.settled_c,
        measures.working_minutes,
        measures.working_mean_c,
        measures.working_sd_c,
        measures.drift_c_per_h,
        measures.above_loss_c_min,
        measures.unknown_minutes,
    ]
}

fn add(text: &mut String, line: std::fmt::Arguments<'_>) {
    writeln!(text, "{line}").expect("a String takes all that is written");
}

fn fnv(text: &str) -> u64 {
    text.bytes().fold(OFFSET, |digest, byte| (digest ^ u64::from(byte)).wrapping_mul(PRIME))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_digest_is_fnv_1a() {
        // Published with the algorithm; from memory.
        assert_eq!(fnv("a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(fnv("foobar"), 0x8594_4171_f739_67e8);
    }
}
