//! Contents and traces, worked out by hand.

use expect_test::{Expect, expect};
use model::{Confidence, PhaseSpan, Span};

use super::*;
use crate::usual::tests::batch;

/// So many hours after the first batch began.
fn hour(hours: i64) -> Timestamp {
    batch(1, 70.0).start + Span::from_hours(hours)
}

/// Batches of a day each: melting for two hours, then worked until ten hours have passed. The last one goes on.
fn days(count: i64) -> Vec<Batch> {
    let day = |day: i64| {
        let start = hour(24 * (day - 1));
        let span = |phase, from, to| PhaseSpan { phase, from, to, confidence: Confidence::High };
        Batch {
            end: (day < count).then(|| start + Span::from_hours(10)),
            phases: vec![
                span(Phase::Melting, start, Some(start + Span::from_hours(2))),
                span(Phase::Working, start + Span::from_hours(2), None),
            ],
            ..batch(day, 70.0)
        }
    };
    (1..=count).map(day).collect()
}

/// `charge L1 40 at 0; top-up L2 10 at 5 ended 10`: masses in kg, times in hours; `?` where nobody told.
fn told(script: &str) -> Vec<Addition> {
    let line = |line: &str| {
        let words: Vec<&str> = line.split_whitespace().collect();
        let (words, ended) = match words[..] {
            [.., "ended", hours] => (&words[..words.len() - 2], Some(hour(hours.parse().unwrap()))),
            _ => (&words[..], None),
        };
        let [way, lot, mass, "at", hours] = *words else { panic!("{line}") };
        let (is_rework, lot) = match lot.strip_prefix("again:") {
            Some(lot) => (true, lot),
            None => (false, lot),
        };
        Addition {
            machine: "alder".parse().unwrap(),
            at: hour(hours.parse().unwrap()),
            way: [Way::Charge, Way::Seed, Way::TopUp]
                .into_iter()
                .find(|known| known.as_str() == way)
                .unwrap(),
            lot: (lot != "?").then(|| lot.to_owned()),
            mass_kg: mass.parse().ok(),
            couverture: None,
            is_rework,
            ended_at: ended,
        }
    };
    script.split(';').map(line).collect()
}

fn show(content: &BatchContent) -> String {
    let hours = |at: Timestamp| at.since(hour(0)).as_millis() / 3_600_000;
    let part = |part: &Part| {
        let share = part.share.map_or("?".to_owned(), |share| format!("{:.1} %", share * 100.0));
        format!("{} {share}", part.lot.as_deref().unwrap_or("untold"))
    };
    let span = |span: &Content| {
        let parts: Vec<String> = span.parts.iter().map(part).collect();
        let to = span.to.map_or("on".to_owned(), |to| hours(to).to_string());
        format!("  {}–{to}: {}", hours(span.from), parts.join(", "))
    };
    let head = if content.is_carried { "carried on" } else { "charged" };
    std::iter::once(head.to_owned()).chain(content.contents.iter().map(span)).collect::<Vec<_>>().join("\n")
}

#[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
fn check(count: i64, script: &str, expected: Expect) {
    let shown: Vec<String> = contents(&days(count), &told(script)).iter().map(show).collect();
    expected.assert_eq(&shown.join("\n"));
}

/// 40 of 40; 40 and 10 of 50; 40, 10 and 5 of 55: by hand 72.7, 18.2 and 9.1 %.
/// The second charge was taken out again, and a third one was melted; the end of a batch is none of the charge that was filled in on it.
#[test]
fn a_charge_that_was_taken_out_goes_into_no_batch() {
    check(
        2,
        "charge L1 40 at 0; charge L2 40 at 12 ended 20; seed L9 10 at 15 ended 20; charge L3 40 at 22",
        expect![[r#"
            charged
              0–10: L1 100.0 %
            charged
              24–on: L3 100.0 %"#]],
    );
    check(
        2,
        "charge L1 40 at 0; charge L2 40 at 9 ended 10",
        expect![[r#"
        charged
          0–10: L1 100.0 %
        charged
          24–on: L2 100.0 %"#]],
    );
}

#[test]
fn shares_go_by_mass() {
    check(
        1,
        "charge L1 40 at 0; seed S1 10 at 1; top-up L2 5 at 5",
        expect![[r#"
            charged
              0–1: L1 100.0 %
              1–5: L1 80.0 %, S1 20.0 %
              5–on: L1 72.7 %, S1 18.2 %, L2 9.1 %"#]],
    );
}

#[test]
fn a_lot_that_comes_again_is_one_part_and_rework_another() {
    check(
        1,
        "charge L1 30 at 0; charge L1 10 at 0; top-up again:L1 10 at 4",
        expect![[r#"
            charged
              0–4: L1 100.0 %
              4–on: L1 80.0 %, L1 20.0 %"#]],
    );
}

#[test]
fn without_a_mass_there_are_lots_and_no_shares() {
    check(
        1,
        "charge L1 ? at 0; top-up ? 5 at 5",
        expect![[r#"
            charged
              0–5: L1 100.0 %
              5–on: L1 ?, untold ?"#]],
    );
}

#[test]
fn a_charge_while_one_is_worked_is_the_next_ones_and_an_untold_one_carries_on() {
    check(
        3,
        "charge L1 40 at 0; charge L2 40 at 9; top-up L3 10 at 30",
        expect![[r#"
            charged
              0–10: L1 100.0 %
            charged
              24–30: L2 100.0 %
              30–34: L2 80.0 %, L3 20.0 %
            carried on
              48–on: L2 80.0 %, L3 20.0 %"#]],
    );
}

#[test]
fn a_charge_that_waits_for_its_melt_is_in_no_batch_yet() {
    check(1, "charge L2 40 at 9", expect!["charged"]);
    assert_eq!(batch_of(&told("charge L2 40 at 9")[0], &days(1)), None);
    assert_eq!(batch_of(&told("charge L2 40 at 9")[0], &days(2)), Some(days(2)[1].id.clone()));
    assert_eq!(batch_of(&told("top-up L2 40 at 9")[0], &days(1)), Some(days(1)[0].id.clone()));
}

#[test]
fn a_lot_is_traced_to_batches_and_times() {
    let contents = contents(&days(3), &told("charge L1 40 at 0; charge L2 40 at 24; top-up L1 10 at 30"));
    let shown = |used: &Use| {
        let hours = |at: Timestamp| at.since(hour(0)).as_millis() / 3_600_000;
        let to = used.to.map_or("on".to_owned(), |to| hours(to).to_string());
        let carried = if used.is_carried { ", carried on" } else { "" };
        let ways: Vec<&str> = used.ways.iter().map(|way| way.as_str()).collect();
        format!("{}–{to} {} {:.2}{carried}", hours(used.from), ways.join(" "), used.share.unwrap())
    };
    let uses: Vec<String> = uses_of("L1", &contents).iter().map(shown).collect();
    expect![[r#"
        48–on top-up 0.20, carried on
        30–34 top-up 0.20
        0–10 charge 1.00"#]]
    .assert_eq(&uses.join("\n"));
    assert_eq!(uses_of("L9", &contents), []);
    assert_eq!(contents[1].before, Some(contents[0].batch.clone()));
}

#[test]
fn lots_are_listed_by_their_newest_use() {
    let named: Vec<String> =
        lots(&told("charge L1 40 at 0; charge L2 40 at 24; top-up L1 10 at 30; seed ? 1 at 40"))
            .into_iter()
            .map(|(lot, _)| lot)
            .collect();
    assert_eq!(named, ["L1", "L2"]);
}
