//! The next step with a bowl, in one sentence.
//!
//! | file | what |
//! | --- | --- |
//! | this one | what is known of a bowl, and what comes before any method: measure, burnt, judged |
//! | [`partial_melt`] | warmed in bursts, so that part of the crystals never melts |
//! | [`full_melt`] | melted fully, then seeded or tabled |
//! | [`judged`] | after a temper test |
//!
//! Limits are those of the couverture. Lengths, margins and portions without a source say so where they stand.

mod full_melt;
mod judged;
mod partial_melt;

use maths::exposure::{self, Exposure};
use model::{Grade, Method, Span, Timestamp};
use plant::{Family, Limits};

/// While something is being done to a bowl, an older reading says nothing of it (common practice, no source).
const READING_AGES: Span = Span::from_mins(5);
/// A bowl that is worked with is looked at this often (common practice, no source).
const WORKING_READING_AGES: Span = Span::from_mins(10);
/// Between two readings by hand that lie further apart nothing is known (common practice, no source).
const LONGEST_GAP_S: f64 = 300.0;

/// The working range with this margin counts as reached (contract, section 5), °C.
const WORKING_MARGIN_C: f64 = 0.5;

/// What is known of a bowl.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bowl<'a> {
    /// Dark, milk or white.
    pub family: Family,
    /// Of the couverture that is in it.
    pub limits: &'a Limits,
    /// How it is being tempered.
    pub method: Method,
    /// Stirred readings since it was filled, °C, the oldest first.
    pub readings: &'a [(Timestamp, f64)],
    /// When seed was last reported.
    pub seeded_at: Option<Timestamp>,
    /// The last temper test.
    pub judged: Option<Judged>,
    /// The moment of asking.
    pub now: Timestamp,
}

/// A temper test that was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Judged {
    /// When.
    pub at: Timestamp,
    /// The worst of its grades.
    pub worst: Grade,
}

/// What kind of step it is: its word and its shape on a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Deed {
    /// Stir and measure.
    Measure,
    /// More heat.
    WarmOn,
    /// No heat: stir until it is even.
    StirOut,
    /// Off the heat: a limit.
    Stop,
    /// Let it cool, stirred.
    Cool,
    /// Add seed.
    Seed,
    /// On the slab with a part of it.
    Table,
    /// Make a temper test.
    Test,
    /// It is being worked with.
    Work,
    /// Temper it anew.
    Anew,
}

impl Deed {
    /// Every deed.
    pub const ALL: [Deed; 10] = [
        Deed::Measure,
        Deed::WarmOn,
        Deed::StirOut,
        Deed::Stop,
        Deed::Cool,
        Deed::Seed,
        Deed::Table,
        Deed::Test,
        Deed::Work,
        Deed::Anew,
    ];

    /// In two words or less.
    pub fn word(self) -> &'static str {
        match self {
            Deed::Measure => "measure",
            Deed::WarmOn => "warm on",
            Deed::StirOut => "stir it out",
            Deed::Stop => "stop",
            Deed::Cool => "cool",
            Deed::Seed => "seed now",
            Deed::Table => "table it",
            Deed::Test => "test",
            Deed::Work => "work",
            Deed::Anew => "anew",
        }
    }
}

/// The next step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// Its kind.
    pub deed: Deed,
    /// One sentence.
    pub says: String,
}

impl Step {
    fn new(deed: Deed, says: impl Into<String>) -> Step {
        Step { deed, says: says.into() }
    }
}

/// What is to be done next.
pub fn next_step(bowl: &Bowl<'_>) -> Step {
    let Some((at, celsius)) = bowl.latest() else {
        return Step::new(
            Deed::Measure,
            "Stir, measure in the middle of the bowl, and enter what the thermometer shows.",
        );
    };
    let limits = bowl.limits;
    if limits.scorch < celsius {
        return Step::new(
            Deed::Stop,
            format!(
                "Stop: at {celsius:.1} °C it is above the scorch limit {:.1} °C; take it off the heat, stir, and have somebody judge smell \
                 and grain before it goes on.",
                limits.scorch
            ),
        );
    }
    let step = match bowl.judged {
        Some(test) if bowl.highest_since(test.at) <= limits.temper_loss => judged::step(bowl, test, celsius),
        Some(_) | None => match bowl.method {
            Method::PartialMelt => partial_melt::step(bowl, celsius),
            Method::Seed | Method::ButterSeed | Method::Tabling => full_melt::step(bowl, celsius),
            Method::Continuous => Step::new(
                Deed::Measure,
                "A bowl has no zones to run through: fill it again with another method, such as seed or partial melt.",
            ),
        },
    };
    let ages = if step.deed == Deed::Work { WORKING_READING_AGES } else { READING_AGES };
    let age = bowl.now - at;
    match step.deed {
        Deed::WarmOn | Deed::StirOut | Deed::Cool | Deed::Seed | Deed::Table | Deed::Test | Deed::Work
            if ages < age =>
        {
            let says = format!("Stir and measure: the last reading is {:.0} minutes old.", age.as_mins_f64());
            Step::new(Deed::Measure, says)
        }
        Deed::Measure
        | Deed::WarmOn
        | Deed::StirOut
        | Deed::Stop
        | Deed::Cool
        | Deed::Seed
        | Deed::Table
        | Deed::Test
        | Deed::Work
        | Deed::Anew => step,
    }
}

impl Bowl<'_> {
    /// The newest reading.
    pub fn latest(&self) -> Option<(Timestamp, f64)> {
        self.readings.last().copied()
    }

    /// The limit that counts now, °C: that of the crystals once there are some, before that the one at which it burns.
    pub fn limit_c(&self) -> f64 {
        // Pieces in temper carry theirs before anybody has measured.
        let has_crystals = self.method == Method::PartialMelt || self.has_crystals_since().is_some();
        if has_crystals { self.limits.temper_loss } else { self.limits.scorch }
    }

    /// Time and area above the limit of the crystals, since there were some. Between readings that lie far apart nothing is known.
    pub fn above_limit(&self) -> Exposure {
        let Some(since) = self.has_crystals_since() else { return Exposure::default() };
        let Ok(band) = exposure::Band::new(f64::NEG_INFINITY, self.limits.temper_loss, LONGEST_GAP_S) else {
            return Exposure::default();
        };
        let mut meter = exposure::Meter::new(band);
        for (at, celsius) in self.readings.iter().filter(|(at, _)| since <= *at) {
            meter.insert((*at - since).as_secs_f64(), Some(*celsius));
        }
        meter.total()
    }

    /// Since when it has carried crystals that can be lost: from the start if they never melt, else since the seed, or since it first
    /// came into its range after the slab.
    fn has_crystals_since(&self) -> Option<Timestamp> {
        match self.method {
            Method::PartialMelt => self.readings.first().map(|(at, _)| *at),
            Method::Seed | Method::ButterSeed => self.seeded_at,
            Method::Tabling | Method::Continuous => {
                let melted =
                    self.readings.iter().position(|(_, celsius)| self.limits.melt.low() <= *celsius)?;
                let back = self.readings[melted..]
                    .iter()
                    .find(|(_, celsius)| *celsius <= self.limits.working.high());
                back.map(|(at, _)| *at)
            }
        }
    }

    /// Warmest reading since `since`, °C; −∞ without any.
    fn highest_since(&self, since: Timestamp) -> f64 {
        let later = self.readings.iter().filter(|(at, _)| since < *at);
        later.map(|(_, celsius)| *celsius).fold(f64::NEG_INFINITY, f64::max)
    }

    /// For how long the newest readings have all been in the working range, with the margin of the contract: a bowl cools between
    /// two looks.
    fn in_range_for(&self) -> Span {
        let in_range =
            |(_, celsius): &&(Timestamp, f64)| self.limits.working.holds(*celsius, WORKING_MARGIN_C);
        let since = self.readings.iter().rev().take_while(in_range).last();
        since.map_or(Span::ZERO, |(at, _)| self.now - *at)
    }

    /// Did the last reading stand no higher than the one before?
    fn stands_still(&self) -> bool {
        match self.readings {
            [.., (_, before), (_, last)] => *last <= *before,
            _ => false,
        }
    }
}

#[cfg(test)]
pub(crate) mod testing {
    //! Bowls from one line of text: `0:00 20 | 1:30 24.5`, minutes and seconds since it was filled.

    use super::*;

    pub(crate) fn at(clock: &str) -> Timestamp {
        let (minutes, seconds) = clock.split_once(':').unwrap();
        Timestamp::from_millis(
            (minutes.parse::<i64>().unwrap() * 60 + seconds.parse::<i64>().unwrap()) * 1000,
        )
    }

    pub(crate) fn readings(text: &str) -> Vec<(Timestamp, f64)> {
        let reading = |part: &str| {
            let (clock, celsius) = part.trim().split_once(' ').unwrap();
            (at(clock), celsius.parse().unwrap())
        };
        text.split('|').filter(|part| !part.trim().is_empty()).map(reading).collect()
    }

    /// What is said of a bowl with these readings, half a minute after the last.
    pub(crate) fn says(
        family: Family,
        method: Method,
        text: &str,
        seeded: Option<&str>,
        judged: Option<Judged>,
    ) -> String {
        let readings = readings(text);
        let limits = family.default_limits();
        let now = readings.last().map_or(Timestamp::default(), |(at, _)| *at) + Span::from_secs(30);
        let bowl = Bowl {
            family,
            limits: &limits,
            method,
            readings: &readings,
            seeded_at: seeded.map(at),
            judged,
            now,
        };
        let step = next_step(&bowl);
        format!("{}: {}", step.deed.word(), step.says)
    }
}

#[cfg(test)]
mod tests {
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
                        (0..)
                            .map(|n| top - 0.5 * f64::from(n))
                            .take_while(|c| limits.working.low() - 1.0 <= *c),
                    );
                }
                let readings: Vec<_> =
                    way.iter().zip(0..).map(|(c, n)| (Timestamp::from_millis(n * 60_000), *c)).collect();
                let mut deeds: Vec<String> = Vec::new();
                for upto in 0..=readings.len() {
                    let now = Timestamp::from_millis(upto as i64 * 60_000);
                    let readings = &readings[..upto];
                    let bowl = Bowl {
                        family,
                        limits: &limits,
                        method,
                        readings,
                        seeded_at: None,
                        judged: None,
                        now,
                    };
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
}
