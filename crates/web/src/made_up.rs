//! Made-up lanes, batches and findings for the unit tests of this crate.

use model::{
    Batch, BatchId, Channel, Finding, FindingId, FindingKind, Lane, Latest, MachineId, Measures, Method,
    Phase, PhaseSpan, Priority, Standing, Timestamp,
};

use crate::state::{Health, IntakeState};
use crate::view::Scene;
use crate::words::LocalTime;

/// A minute of one ordinary day, in UTC.
pub(crate) fn moment(clock: &str) -> Timestamp {
    format!("2026-03-02T{clock}:00Z").parse().expect("a test names its minute as HH:MM")
}

/// A lane in `phase` since 11:00 at 31.5 °C, nothing open, seen at 12:00.
pub(crate) fn lane(machine: &str, phase: Phase) -> Lane {
    let machine: MachineId = machine.parse().expect("a test names its machine rightly");
    let mut latest = [None; Channel::ALL.len()];
    latest[Channel::Chocolate.index()] = Some(Latest { at: moment("12:00"), value: Some(31.5) });
    Lane {
        batch: (phase != Phase::Idle).then(|| batch(&machine, phase)),
        machine,
        seen_to: moment("12:00"),
        latest,
        slope_c_per_min: Some(0.0),
        ten_minutes_ago_c: Some(31.5),
        phase,
        phase_since: moment("11:00"),
        forecast: None,
        open: Vec::new(),
        last_test: None,
        test_due: None,
    }
}

/// A batch begun at 09:00 that is in `phase` since 11:00.
pub(crate) fn batch(machine: &MachineId, phase: Phase) -> Batch {
    Batch {
        id: BatchId::new(machine, moment("09:00")),
        machine: machine.clone(),
        couverture: "dark-64".parse().expect("an id"),
        lot: Some("L2207".to_owned()),
        method: Method::Seed,
        mass_kg: Some(48.0),
        start: moment("09:00"),
        end: None,
        phases: vec![
            PhaseSpan {
                phase: Phase::Melting,
                from: moment("09:00"),
                to: Some(moment("11:00")),
                confidence: model::Confidence::Medium,
            },
            PhaseSpan { phase, from: moment("11:00"), to: None, confidence: model::Confidence::Medium },
        ],
        measures: Measures { soak_max_c: Some(46.1), ..Measures::default() },
        standing: Standing::Unproven,
        reasons: vec!["no temper test".to_owned()],
    }
}

/// An open finding.
pub(crate) fn finding(machine: &MachineId, kind: FindingKind, priority: Priority, raised: &str) -> Finding {
    Finding {
        id: FindingId::new(machine.as_str(), kind.as_str(), moment(raised)),
        machine: Some(machine.clone()),
        batch: Some(BatchId::new(machine, moment("09:00"))),
        kind,
        priority,
        from: moment(raised),
        to: None,
        raised_at: moment(raised),
        says: "The chocolate has been above its working range for 5 min.".to_owned(),
        evidence: Vec::new(),
        advice: "Lower the set-point and make a temper test.".to_owned(),
        superseded_by: None,
    }
}

/// A plant with Alder, Birch and Cedar, and with the other names that tests use.
pub(crate) fn plant() -> plant::Plant {
    let mut text = String::from(
        "[plant]\nname = \"Tern Street works\"\ntime_zone = \"UTC\"\n\n[mqtt]\nurl = \"embedded\"\n\n\
         [[couverture]]\nid = \"dark-64\"\nname = \"Dark 64\"\nfamily = \"dark\"\n",
    );
    for (id, name) in [("alder", "Alder"), ("birch", "Birch"), ("cedar", "Cedar"), ("ash", "Ash <b>&\\\"")] {
        text += &format!(
            "\n[[machine]]\nid = \"{id}\"\nname = \"{name}\"\nstyle = \"kettle\"\ncapacity_kg = 60\n\
             couverture = \"dark-64\"\nmethod = \"seed\"\ncooling_minutes = 75\n"
        );
    }
    plant::parse_plant(&text).expect("the made-up plant is sound")
}

/// Does `look` with the made-up plant at `now`.
pub(crate) fn with_scene<T>(now: Timestamp, look: impl FnOnce(Scene<'_>) -> T) -> T {
    let local = LocalTime::new(jiff::tz::TimeZone::UTC);
    look(Scene { plant: &plant(), local: &local, now, degrees: charts::Degrees::Celsius })
}

/// Nothing is wrong.
pub(crate) fn healthy() -> Health {
    Health { intake: IntakeState::Connected, ..Health::default() }
}
