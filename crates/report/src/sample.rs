//! A made-up night and morning at the Tern Street works, for the tests of this crate.

use model::{
    Batch, BatchId, Event, EventKind, Evidence, EvidenceValue, Finding, FindingId, FindingKind, Grade,
    MachineId, Measures, Method, Phase, PhaseSpan, Priority, Standing, TauAgainst, TemperTest, Timestamp,
};

pub(crate) fn at(text: &str) -> Timestamp {
    format!("2026-03-02T{text}:00Z").parse().unwrap()
}

pub(crate) fn alder() -> MachineId {
    "alder".parse().unwrap()
}

/// A batch that is being worked, with nothing wrong.
pub(crate) fn batch() -> Batch {
    let borders = [
        (Phase::Melting, "04:30", Some("05:22")),
        (Phase::Soak, "05:22", Some("06:05")),
        (Phase::Cooling, "06:05", Some("07:16")),
        (Phase::Settling, "07:16", Some("07:40")),
        (Phase::Working, "07:40", None),
    ];
    let span = |(phase, from, to): (Phase, &str, Option<&str>)| PhaseSpan {
        phase,
        from: at(from),
        to: to.map(at),
        confidence: model::Confidence::Medium,
    };
    Batch {
        id: BatchId::new(&alder(), at("04:30")),
        machine: alder(),
        couverture: "dark-64".parse().unwrap(),
        lot: Some("L2207".to_owned()),
        method: Method::Seed,
        mass_kg: Some(48.0),
        start: at("04:30"),
        end: None,
        phases: borders.map(span).to_vec(),
        measures: Measures {
            soak_max_c: Some(46.1),
            cooling_minutes: Some(71.4),
            cooling_tau_min: Some(68.2),
            cooling_tau_against: Some(TauAgainst::Jacket),
            lowest_c: Some(30.4),
            seed_dip_c: Some(3.1),
            settled_c: Some(31.42),
            working_minutes: Some(320.0),
            working_mean_c: Some(31.5),
            working_sd_c: Some(0.081),
            drift_c_per_h: Some(0.0100004),
            above_loss_c_min: Some(0.0),
            unknown_minutes: Some(0.0),
        },
        standing: Standing::Unproven,
        reasons: vec!["no temper test".to_owned()],
    }
}

pub(crate) fn finding(
    kind: FindingKind,
    priority: Priority,
    from: &str,
    to: Option<&str>,
    says: &str,
    advice: &str,
) -> Finding {
    let raised_at = at(from) + model::Span::from_mins(5);
    Finding {
        id: FindingId::new("alder", kind.as_str(), raised_at),
        machine: Some(alder()),
        batch: Some(batch().id),
        kind,
        priority,
        from: at(from),
        to: to.map(at),
        raised_at,
        says: says.to_owned(),
        evidence: vec![
            Evidence { name: "highest_c".to_owned(), value: EvidenceValue::Number(34.3) },
            Evidence { name: "crossed_at".to_owned(), value: EvidenceValue::Time(at(from)) },
        ],
        advice: advice.to_owned(),
        superseded_by: None,
    }
}

/// A warm hold that grew into a temper loss.
pub(crate) fn overheated() -> Vec<Finding> {
    let mut warm = finding(
        FindingKind::WarmHold,
        Priority::Medium,
        "10:00",
        Some("10:10"),
        "It has stood 0.9 °C above its working range for 5 min.",
        "Check set-point and jacket, and make a temper test.",
    );
    let loss = finding(
        FindingKind::TemperLoss,
        Priority::High,
        "10:05",
        None,
        "It was up to 34.3 °C warm, 1.4 °C·min above the temper-loss limit.",
        "Stop moulding and make a temper test.",
    );
    warm.superseded_by = Some(loss.id.clone());
    vec![warm, loss]
}

pub(crate) fn event(when: &str, kind: EventKind) -> Event {
    Event { machine: alder(), at: at(when), by: None, kind, raw: String::new() }
}

pub(crate) fn test(when: &str, snap: Grade) -> Event {
    let test = TemperTest { gloss: Grade::Good, contraction: Grade::Good, snap, minutes: Some(6.0) };
    event(when, EventKind::TemperTest(test))
}
