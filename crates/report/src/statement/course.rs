//! What happened, in the order of time.

use model::{Batch, Event, EventKind, Grade, Measures, Method, Phase, Span, TemperTest};

use super::Telling;
use crate::event::is_by_curve;
use crate::saying::{capital, count, day_and_hour, length, list};

/// Shorter unknown times are told by the measures alone.
const WORTH_TELLING: f64 = 1.0;

/// So many tests are told one by one; of more the first, the last and how they went.
const TOLD_TESTS: usize = 4;

/// A cooling is worth comparing with the usual one from this ratio on, either way.
const NOTABLE_RATIO: f64 = 1.15;

impl Telling<'_> {
    pub(super) fn course(&self) -> String {
        let sentences = [
            Some(self.opening()),
            self.melted(),
            self.cooled(),
            self.seeded(),
            self.worked(),
            self.top_ups(),
            self.tested(),
            self.unknown(),
        ];
        sentences.into_iter().flatten().collect::<Vec<_>>().join(" ")
    }

    fn opening(&self) -> String {
        let Batch { start, end, mass_kg, lot, .. } = self.batch;
        let details: Vec<String> =
            [mass_kg.map(charts::kilograms), lot.as_ref().map(|lot| format!("lot {lot}"))]
                .into_iter()
                .flatten()
                .collect();
        let details = if details.is_empty() { String::new() } else { format!(" ({})", details.join(", ")) };
        let (machine, couverture) = (self.machine, self.couverture);
        let from = day_and_hour(*start, self.zone);
        let held = match end {
            Some(end) => {
                format!("{machine} held {couverture}{details} from {from} to {}.", self.beside_start(*end))
            }
            None => format!("{machine} has held {couverture}{details} since {from}."),
        };
        match self.batch.phases.first().map(|span| span.phase) {
            None | Some(Phase::Melting) => held,
            Some(_) if self.begins_with_its_charge() => held,
            Some(phase) => {
                format!("{held} The record begins in the middle, in {phase}; what was before is not known.")
            }
        }
    }

    /// Did somebody report the charge just then? Then nothing of it is missing.
    fn begins_with_its_charge(&self) -> bool {
        let at_start = |event: &Event| event.at == self.batch.start;
        self.events().iter().any(|event| matches!(event.kind, EventKind::Charge { .. }) && at_start(event))
    }

    fn melted(&self) -> Option<String> {
        let warmest = self.batch.measures.soak_max_c?;
        Some(match self.batch.first(Phase::Soak) {
            Some(soak) => {
                let lasted = soak.to.unwrap_or(self.seen_to) - soak.from;
                format!("It was melted to {warmest:.1} °C and soaked for {}.", length(lasted))
            }
            None => format!("It was melted to {warmest:.1} °C."),
        })
    }

    fn cooled(&self) -> Option<String> {
        let cooling = self.batch.first(Phase::Cooling)?;
        let usual = self.usual.and_then(|usual| usual.cooling_minutes).filter(|minutes| *minutes > 0.0);
        let beside = |minutes: f64| match usual {
            Some(usual) if NOTABLE_RATIO <= minutes / usual || minutes / usual <= 1.0 / NOTABLE_RATIO => {
                format!("; {} is usual here", minutes_said(usual))
            }
            Some(_) => ", as usual here".to_owned(),
            None => String::new(),
        };
        match (cooling.to, self.batch.measures.cooling_minutes) {
            (None, _) => {
                let so_far = length(self.seen_to - cooling.from);
                let usual =
                    usual.map(|usual| format!(" of the usual {}", minutes_said(usual))).unwrap_or_default();
                Some(format!(
                    "It has been cooling since {}, for {so_far}{usual}.",
                    self.beside_start(cooling.from)
                ))
            }
            (Some(_), Some(minutes)) => Some(format!(
                "From {} it cooled to the working range in {}{}.",
                self.beside_start(cooling.from),
                minutes_said(minutes),
                beside(minutes)
            )),
            (Some(to), None) => {
                Some(format!("It was cooling until {}; for how long is not known.", self.at(to)))
            }
        }
    }

    fn seeded(&self) -> Option<String> {
        let mut seeds: Vec<String> = Vec::new();
        for event in self.events() {
            if let EventKind::Seed { mass_kg, .. } = event.kind {
                let mass = mass_kg.map(|kg| format!("{} ", charts::kilograms(kg))).unwrap_or_default();
                seeds.push(format!("{mass}at {}", self.at(event.at)));
            }
        }
        let dip = self.batch.measures.seed_dip_c.filter(|dip| *dip >= 0.1);
        match (seeds.is_empty(), dip) {
            (false, Some(dip)) => {
                Some(format!("Seed went in ({}), and the temperature dipped by {dip:.1} °C.", list(&seeds)))
            }
            (false, None) => Some(format!("Seed went in ({}); no dip was seen.", list(&seeds))),
            (true, Some(dip)) if self.events.is_none() => {
                Some(format!("A dip of {dip:.1} °C is consistent with seed going in."))
            }
            (true, Some(_)) if !takes_seed(self.batch.method) => None,
            (true, Some(dip)) => {
                Some(format!("Nobody reported seed, but a dip of {dip:.1} °C is consistent with it."))
            }
            (true, None) => None,
        }
    }

    fn worked(&self) -> Option<String> {
        let working = self.batch.first(Phase::Working)?;
        let Measures { working_minutes, working_mean_c, working_sd_c, .. } = self.batch.measures;
        let is_open =
            self.batch.last_phase().is_some_and(|last| last.phase == Phase::Working && last.to.is_none());
        let lasted = working_minutes.map(Span::from_mins_f64).map(length);
        let how_long = match (is_open, lasted) {
            (true, Some(lasted)) => {
                format!("It has been working since {}, {lasted} so far", self.at(working.from))
            }
            (true, None) => format!("It has been working since {}", self.at(working.from)),
            (false, Some(lasted)) => format!("It was worked from {} for {lasted}", self.at(working.from)),
            (false, None) => format!("It was worked from {}", self.at(working.from)),
        };
        Some(match (working_mean_c, working_sd_c) {
            (Some(mean), Some(sd)) => {
                format!("{how_long}, at {mean:.1} °C on average with a scatter of {sd:.2} °C.")
            }
            (Some(mean), None) => format!("{how_long}, at {mean:.1} °C on average."),
            (None, _) => format!("{how_long}."),
        })
    }

    fn top_ups(&self) -> Option<String> {
        let at: Vec<String> = self
            .events()
            .iter()
            .filter(|event| matches!(event.kind, EventKind::TopUp { .. }))
            .map(|event| self.at(event.at))
            .collect();
        (!at.is_empty()).then(|| format!("It was topped up at {}.", list(&at)))
    }

    /// Temper tests in the order of time.
    pub(super) fn tests(&self) -> Vec<(&Event, &TemperTest)> {
        let mut tests: Vec<(&Event, &TemperTest)> = Vec::new();
        for event in self.events() {
            if let EventKind::TemperTest(test) = &event.kind {
                tests.push((event, test));
            }
        }
        tests.sort_by_key(|(event, _)| event.at);
        tests
    }

    fn tested(&self) -> Option<String> {
        let tests = self.tests();
        let tell = |(event, test): &(&Event, &TemperTest)| {
            let says = if is_by_curve(event) { curve_says(test.worst()) } else { grades(test) };
            format!("{says} at {}", self.at(event.at))
        };
        let number = capital(&count(tests.len()));
        match tests.as_slice() {
            [] => None,
            [one] => Some(format!("One temper test: {}.", tell(one))),
            few if few.len() <= TOLD_TESTS => {
                let told: Vec<String> = few.iter().map(tell).collect();
                Some(format!("{number} temper tests: {}.", told.join("; ")))
            }
            [first, .., last] => {
                let graded = |grade: Grade| {
                    let found = tests.iter().filter(|(_, test)| test.worst() == grade).count();
                    (0 < found).then(|| format!("{} {}", count(found), grade.as_str()))
                };
                let grades: Vec<String> =
                    [Grade::Good, Grade::Fair, Grade::Poor].into_iter().filter_map(graded).collect();
                Some(format!(
                    "{number} temper tests ({}): the first was {}, the last {}.",
                    list(&grades),
                    tell(first),
                    tell(last)
                ))
            }
        }
    }

    fn unknown(&self) -> Option<String> {
        let minutes = self.batch.measures.unknown_minutes.filter(|minutes| *minutes >= WORTH_TELLING)?;
        Some(format!(
            "For {} of settling and working nothing usable is known; that time is neither good nor bad.",
            minutes_said(minutes)
        ))
    }
}

/// Is a dip on the way down a sign of seed?
fn takes_seed(method: Method) -> bool {
    match method {
        Method::Seed | Method::ButterSeed => true,
        Method::PartialMelt | Method::Tabling | Method::Continuous => false,
    }
}

fn minutes_said(minutes: f64) -> String {
    length(Span::from_mins_f64(minutes))
}

/// As the list of events says it.
fn curve_says(grade: Grade) -> String {
    let verdict = match grade {
        Grade::Good => "passed",
        Grade::Fair => "leaves doubt",
        Grade::Poor => "failed",
    };
    format!("by a sample's cooling curve, which {verdict},")
}

/// `good`, or what was less than good.
pub(super) fn grades(test: &TemperTest) -> String {
    let parts = [("gloss", test.gloss), ("contraction", test.contraction), ("snap", test.snap)];
    let worst = test.worst();
    let which: Vec<String> =
        parts.into_iter().filter(|(_, grade)| *grade == worst).map(|(name, _)| name.to_owned()).collect();
    if which.len() == parts.len() {
        worst.as_str().to_owned()
    } else {
        format!("{} ({})", worst.as_str(), list(&which))
    }
}
