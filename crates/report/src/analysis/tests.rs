//! The document's shape: keys, their order, and what is `null`.

use super::*;
use crate::sample::{alder, at, batch, overheated};
use expect_test::expect;

fn with_analysed<T>(batches: &[Batch], findings: &[Finding], look: impl FnOnce(&Analysed<'_>) -> T) -> T {
    let (alder, birch) = (alder(), "birch".parse().unwrap());
    let coverage = [(Channel::Chocolate, 0.99931), (Channel::Jacket, 1.0)];
    look(&Analysed {
        plant: "Tern Street works",
        span: Some((at("04:12"), at("13:00"))),
        intake: IntakeDto { messages: 31_200, readings: 31_198, duplicates: 2, rejected: 1 },
        machines: vec![
            AnalysedMachine {
                id: &alder,
                name: "Alder",
                coverage: &coverage,
                batches,
                findings,
                events: None,
            },
            AnalysedMachine {
                id: &birch,
                name: "Birch",
                coverage: &[],
                batches: &[],
                findings: &[],
                events: None,
            },
        ],
        plant_findings: &[],
    })
}

#[test]
fn keys_and_their_order_are_the_contracts() {
    let json = with_analysed(&[batch()], &overheated()[1..], |analysed| {
        serde_json::to_string_pretty(&AnalysisDocument::from(analysed)).unwrap()
    });
    expect![[r#"
        {
          "schema": "halfdegree.analysis/1",
          "plant": "Tern Street works",
          "from": "2026-03-02T04:12:00Z",
          "to": "2026-03-02T13:00:00Z",
          "intake": {
            "messages": 31200,
            "readings": 31198,
            "duplicates": 2,
            "rejected": 1
          },
          "machines": [
            {
              "id": "alder",
              "coverage": {
                "chocolate": 0.9993,
                "jacket": 1.0
              },
              "batches": [
                {
                  "id": "alder-2026-03-02T04:30",
                  "couverture": "dark-64",
                  "lot": "L2207",
                  "method": "seed",
                  "start": "2026-03-02T04:30:00Z",
                  "end": null,
                  "phases": [
                    {
                      "phase": "melting",
                      "from": "2026-03-02T04:30:00Z",
                      "to": "2026-03-02T05:22:00Z",
                      "confidence": "medium"
                    },
                    {
                      "phase": "soak",
                      "from": "2026-03-02T05:22:00Z",
                      "to": "2026-03-02T06:05:00Z",
                      "confidence": "medium"
                    },
                    {
                      "phase": "cooling",
                      "from": "2026-03-02T06:05:00Z",
                      "to": "2026-03-02T07:16:00Z",
                      "confidence": "medium"
                    },
                    {
                      "phase": "settling",
                      "from": "2026-03-02T07:16:00Z",
                      "to": "2026-03-02T07:40:00Z",
                      "confidence": "medium"
                    },
                    {
                      "phase": "working",
                      "from": "2026-03-02T07:40:00Z",
                      "to": null,
                      "confidence": "medium"
                    }
                  ],
                  "measures": {
                    "soak_max_c": 46.1,
                    "cooling_minutes": 71.4,
                    "cooling_tau_min": 68.2,
                    "lowest_c": 30.4,
                    "seed_dip_c": 3.1,
                    "settled_c": 31.42,
                    "working_minutes": 320.0,
                    "working_mean_c": 31.5,
                    "working_sd_c": 0.081,
                    "drift_c_per_h": 0.01,
                    "above_loss_c_min": 0.0,
                    "cooling_tau_against": "jacket",
                    "unknown_minutes": 0.0
                  },
                  "standing": "unproven",
                  "reasons": [
                    "no temper test"
                  ],
                  "machine": "alder",
                  "mass_kg": 48.0
                }
              ],
              "findings": [
                {
                  "id": "alder-temper-loss-2026-03-02T10:10:00Z",
                  "batch": "alder-2026-03-02T04:30",
                  "kind": "temper-loss",
                  "priority": "high",
                  "from": "2026-03-02T10:05:00Z",
                  "to": null,
                  "raised_at": "2026-03-02T10:10:00Z",
                  "says": "It was up to 34.3 °C warm, 1.4 °C·min above the temper-loss limit.",
                  "evidence": {
                    "crossed_at": "2026-03-02T10:05:00Z",
                    "highest_c": 34.3
                  },
                  "advice": "Stop moulding and make a temper test.",
                  "machine": "alder",
                  "superseded_by": null
                }
              ],
              "name": "Alder"
            },
            {
              "id": "birch",
              "coverage": {},
              "batches": [],
              "findings": [],
              "name": "Birch"
            }
          ],
          "plant_findings": []
        }"#]]
    .assert_eq(&json);
}

#[test]
fn what_could_not_be_measured_is_null() {
    let mut batch = batch();
    batch.measures = model::Measures { soak_max_c: Some(f64::NAN), ..model::Measures::default() };
    let json = serde_json::to_value(BatchDto::from(&batch)).unwrap();
    let measures = json["measures"].as_object().unwrap();
    assert_eq!(measures.len(), 13);
    assert!(measures.values().all(serde_json::Value::is_null));
}

#[test]
fn a_person_at_the_kettle_can_read_it() {
    let zone = jiff::tz::TimeZone::get("Europe/Lisbon").unwrap();
    let text = with_analysed(&[batch()], &overheated(), |analysed| crate::analysis_text(analysed, &zone));
    assert!(text.lines().all(|line| line.chars().count() <= 80));
    expect![[r#"
        Tern Street works
        Mon 2 March 04:12 to 13:00, Europe/Lisbon
        31200 messages, 31198 readings, 2 seen twice, 1 could not be read

        Alder (alder): chocolate known for 99.9 % of the time
          Batch alder-2026-03-02T04:30: unproven (no temper test)
            Alder has held dark-64 (48 kg, lot L2207) since Mon 2 March 04:30. It was
            melted to 46.1 °C and soaked for 43 min. From 06:05 it cooled to the working
            range in 1 h 11 min. A dip of 3.1 °C is consistent with seed going in. It
            has been working since 07:40, 5 h 20 min so far, at 31.5 °C on average with
            a scatter of 0.08 °C.
            It was up to 34.3 °C warm, 1.4 °C·min above the temper-loss limit. That
            began at 10:05 and goes on. Before, it was a warm hold.
            After a temper loss its temper is at risk, and no temper test has shown
            otherwise. Temperature alone never proves temper; only a temper test does.
            Stop moulding and make a temper test.

            melting     from 04:30                    52 min
            soak        from 05:22                    43 min
            cooling     from 06:05                1 h 11 min
            settling    from 07:16                    24 min
            working     from 07:40                5 h 20 min so far

            highest in the soak                   46.1 °C
            cooling                                71 min
            cooling time constant                68.2 min
            lowest on the way down                30.4 °C
            dip when seed went in                  3.1 °C
            settled at                           31.42 °C
            working                               320 min
            mean while working                   31.50 °C
            scatter while working                 0.08 °C
            drift while working                 0.01 °C/h
            above the temper-loss limit        0.0 °C·min
            unknown                                 0 min

            soon  warm hold: raised Mon 2 March 10:05, over after 10 min, taken over by
                  a worse one
                  It has stood 0.9 °C above its working range for 5 min.
            NOW   temper loss: raised Mon 2 March 10:10, still open
                  It was up to 34.3 °C warm, 1.4 °C·min above the temper-loss limit.
                  To do: Stop moulding and make a temper test.

        Birch (birch): no readings of the chocolate
          No batch.

        Temperature alone never proves temper; only a temper test does.
    "#]]
    .assert_eq(&text);
}

#[test]
fn nothing_to_read_is_said() {
    let zone = jiff::tz::TimeZone::UTC;
    let nothing = Analysed {
        plant: "Tern Street works",
        span: None,
        intake: IntakeDto::default(),
        machines: vec![],
        plant_findings: &[],
    };
    assert!(
        crate::analysis_text(&nothing, &zone).contains("There is no reading and no event in what was given.")
    );
    let json = serde_json::to_value(AnalysisDocument::from(&nothing)).unwrap();
    assert!(json["from"].is_null() && json["machines"].as_array().unwrap().is_empty());
}
