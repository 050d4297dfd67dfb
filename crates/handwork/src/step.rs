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
pub(crate) mod testing;

#[cfg(test)]
mod tests;
