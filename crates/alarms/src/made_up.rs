//! Made-up findings and a works of one kettle, for the tests of this crate.

use model::{
    Acknowledgement, Aside, Board, Channel, Finding, FindingId, FindingKind, Lane, Phase, Priority, SetAside,
    Timestamp,
};

/// So many minutes after 2026-03-02T05:00:00Z.
pub(crate) fn at(minutes: i64) -> Timestamp {
    Timestamp::from_millis(1_772_427_600_000 + 60_000 * minutes)
}

/// A finding on Alder.
pub(crate) fn finding(kind: FindingKind, raised: i64, to: Option<i64>) -> Finding {
    Finding {
        id: FindingId::new("alder", kind.as_str(), at(raised)),
        machine: Some("alder".parse().expect("an id")),
        batch: None,
        kind,
        priority: Priority::Medium,
        from: at(raised),
        to: to.map(at),
        raised_at: at(raised),
        says: "The chocolate is too warm.".to_owned(),
        evidence: Vec::new(),
        advice: "Look at the set-point.".to_owned(),
        superseded_by: None,
    }
}

/// Ana has seen it.
pub(crate) fn seen(finding: &Finding, minutes: i64) -> Acknowledgement {
    Acknowledgement {
        finding: finding.id.clone(),
        priority: finding.priority,
        by: "ana".to_owned(),
        at: at(minutes),
    }
}

/// Ana has shelved such alarms of Alder.
pub(crate) fn shelved(kind: FindingKind, from: i64, until: i64) -> SetAside {
    SetAside {
        number: 1,
        way: Aside::Shelved,
        machine: Some("alder".parse().expect("an id")),
        kind: Some(kind),
        reason: "the valve is being changed".to_owned(),
        by: "ana".to_owned(),
        from: at(from),
        until: at(until),
        ended: None,
        ended_by: None,
    }
}

/// Alder in that phase with that open.
pub(crate) fn board(phase: Phase, open: &[Finding]) -> Board {
    let lane = Lane {
        machine: "alder".parse().expect("an id"),
        seen_to: Timestamp::default(),
        latest: [None; Channel::ALL.len()],
        slope_c_per_min: None,
        ten_minutes_ago_c: None,
        phase,
        phase_since: Timestamp::default(),
        batch: None,
        forecast: None,
        open: open.to_vec(),
        last_test: None,
        test_due: None,
    };
    Board { lanes: vec![lane], ..Board::default() }
}
