//! The order of the deeds, what comes before any method, and any input.

use expect_test::expect;
use proptest::prelude::*;

use super::testing::{at, readings, says};
use super::*;

/// Every family and method at every half degree of one way: up in bursts, or up to the melt and down again. The order of the deeds
/// is what is looked at; each sentence has its own test.
#[test]
fn the_order_of_deeds() {
    let mut table = String::new();
    for family in Family::ALL {
        for method in [Method::PartialMelt, Method::Seed, Method::ButterSeed, Method::Tabling] {
            let limits = family.default_limits();
            let top = if method == Method::PartialMelt {
                limits.temper_loss + 1.0
            } else {
                limits.melt.low() + 1.0
            };
            let mut way: Vec<f64> =
                (0..).map(|n| 20.0 + 0.5 * f64::from(n)).take_while(|c| *c <= top).collect();
            if method != Method::PartialMelt {
                way.extend(
                    (0..).map(|n| top - 0.5 * f64::from(n)).take_while(|c| limits.working.low() - 1.0 <= *c),
                );
            }
            let readings: Vec<_> =
                way.iter().zip(0..).map(|(c, n)| (Timestamp::from_millis(n * 60_000), *c)).collect();
            let mut deeds: Vec<String> = Vec::new();
            for upto in 0..=readings.len() {
                let now = Timestamp::from_millis(upto as i64 * 60_000);
                let readings = &readings[..upto];
                let bowl =
                    Bowl { family, limits: &limits, method, readings, seeded_at: None, judged: None, now };
                let word = next_step(&bowl).deed.word();
                let from = bowl.latest().map_or(String::new(), |(_, celsius)| format!(" {celsius}"));
                if deeds.last().is_none_or(|last| !last.starts_with(word)) {
                    deeds.push(format!("{word}{from}"));
                }
            }
            table += &format!("{} {method}: {}\n", family.as_str(), deeds.join(", "));
        }
    }
    expect![[r#"
        dark partial-melt: measure, warm on 20, stir it out 29.5, test 31, stop 32.5
        dark seed: measure, warm on 20, cool 45, seed now 36, warm on 32
        dark butter-seed: measure, warm on 20, cool 45, seed now 34, warm on 32
        dark tabling: measure, warm on 20, table it 45, stir it out 32, warm on 30.5
        milk partial-melt: measure, warm on 20, stir it out 28, test 29.5, stop 31
        milk seed: measure, warm on 20, cool 42, seed now 34.5, warm on 30.5
        milk butter-seed: measure, warm on 20, cool 42, seed now 32.5, warm on 30.5
        milk tabling: measure, warm on 20, table it 42, stir it out 30.5, warm on 29
        white partial-melt: measure, warm on 20, stir it out 26.5, test 28, stop 29.5
        white seed: measure, warm on 20, cool 40, seed now 33.5, warm on 29
        white butter-seed: measure, warm on 20, cool 40, seed now 31.5, warm on 29
        white tabling: measure, warm on 20, table it 40, stir it out 29, warm on 27.5
    "#]]
    .assert_eq(&table);
}

#[test]
fn before_any_method() {
    expect!["measure: Stir, measure in the middle of the bowl, and enter what the thermometer shows."]
        .assert_eq(&says(Family::Milk, Method::PartialMelt, "", None, None));
    expect!["stop: Stop: at 51.0 °C it is above the scorch limit 50.0 °C; take it off the heat, stir, and have somebody judge smell and grain before it goes on."].assert_eq(&says(Family::Milk, Method::Seed, "0:00 51", None, None));
    expect!["measure: A bowl has no zones to run through: fill it again with another method, such as seed or partial melt."].assert_eq(&says(Family::Dark, Method::Continuous, "0:00 31", None, None));
}

#[test]
fn an_old_reading_says_nothing() {
    let limits = Family::Milk.default_limits();
    let readings = readings("0:00 24");
    let bowl = Bowl {
        family: Family::Milk,
        limits: &limits,
        method: Method::PartialMelt,
        readings: &readings,
        seeded_at: None,
        judged: None,
        now: at("7:00"),
    };
    expect!["Stir and measure: the last reading is 7 minutes old."].assert_eq(&next_step(&bowl).says);
}

/// 33 °C for two minutes with milk, whose limit is 32 °C, is 2 °C·min; the two half minutes on either side are triangles of a
/// quarter (geometry).
#[test]
fn degree_minutes_above_the_limit() {
    let limits = Family::Milk.default_limits();
    let readings = readings("0:00 31 | 1:00 33 | 3:00 33 | 4:00 31 | 20:00 33");
    let bowl = Bowl {
        family: Family::Milk,
        limits: &limits,
        method: Method::PartialMelt,
        readings: &readings,
        seeded_at: None,
        judged: None,
        now: at("20:00"),
    };
    let above = bowl.above_limit();
    assert!((above.above_c_min - 2.5).abs() < 1e-9, "{above:?}");
    assert_eq!(above.unknown_s, 960.0);
    let seeded = Bowl { method: Method::Seed, ..bowl };
    assert_eq!(seeded.above_limit(), Exposure::default());
    assert_eq!((bowl.limit_c(), seeded.limit_c()), (32.0, 50.0));
}

proptest! {
    /// Whatever was measured: one sentence, that ends like one.
    #[test]
    fn one_sentence_always(
        celsius in prop::collection::vec(-20.0..130.0_f64, 0..20), family in 0..3_usize, method in 0..5_usize,
        seeded in prop::option::of(0..20_i64), worst in 0..4_usize,
    ) {
        let family = Family::ALL[family];
        let limits = family.default_limits();
        let minute = |n: i64| Timestamp::from_millis(n * 60_000);
        let readings: Vec<_> = celsius.iter().zip(0..).map(|(c, n)| (minute(n), *c)).collect();
        let judged = [Grade::Poor, Grade::Fair, Grade::Good].get(worst).map(|worst| Judged { at: minute(5), worst: *worst });
        let step = next_step(&Bowl {
            family, limits: &limits, method: Method::ALL[method], readings: &readings, seeded_at: seeded.map(minute), judged,
            now: minute(20),
        });
        prop_assert!(step.says.ends_with('.') && !step.says.contains("NaN"), "{}", step.says);
        prop_assert_eq!(step.says.matches(". ").count(), 0, "{}", step.says);
    }
}
