//! A day in words: what was different, what may be behind it, and the cheapest way to know.
//!
//! Told without blame and with the evidence shown. Probability is a word, because the weights behind it are no
//! probabilities.
//!
//! **Invariant:** a day on which nothing stands out is called unremarkable in its readings, never good: only temper
//! tests speak of temper.

mod cause;
mod clue;
mod document;
mod figures;
mod paper;

use history::day::{Case, Cause, Clue, Diagnosis, Likelihood, Moved, Odd, Sign};
use jiff::tz::TimeZone;
use model::Channel;

use crate::names::Names;
use crate::saying::{capital, count, hour};

pub use self::document::{CaseDto, DayDto};
pub use self::figures::{FigureRow, figure_rows, figures_xlsx};
pub use self::paper::day_source;

/// Causes told in full; more are only named.
const TOLD_CASES: usize = 4;

/// Clues told for each cause; the rest repeats them.
const TOLD_CLUES: usize = 5;

/// Moves told.
const TOLD_MOVES: usize = 5;

/// A test failed, and what stands out may or may not be behind it.
const WAS_DIFFERENT: &str = "Nothing stands out enough to name a cause; what was different";

/// A day in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DayWords {
    /// One sentence that can be read from the door.
    pub headline: String,
    /// What it means, a paragraph each.
    pub lead: Vec<String>,
    /// Causes, the most probable first.
    pub causes: Vec<CauseWords>,
    /// Further causes that fit some of what was seen, by name.
    pub further: Vec<String>,
    /// Causes that little speaks for, by name.
    pub others: Vec<String>,
    /// What moved first, in the order of time.
    pub moved: Vec<String>,
    /// What the first cause does not explain.
    pub unexplained: Vec<String>,
    /// What the comparison rests on.
    pub basis: String,
}

/// A cause in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CauseWords {
    /// As the trade calls it.
    pub title: &'static str,
    /// `most likely`.
    pub likelihood: &'static str,
    /// Where it shows.
    pub place: String,
    /// What speaks for it.
    pub supports: Vec<String>,
    /// What speaks against it.
    pub opposes: Vec<String>,
    /// What is not known and would have helped.
    pub missing: Vec<&'static str>,
    /// The cheapest check that would confirm or rule it out.
    pub check: &'static str,
    /// What to keep in mind for people and product.
    pub caution: Option<&'static str>,
}

/// Puts a diagnosis into words.
pub fn day_words(found: &Diagnosis, names: &Names, zone: &TimeZone) -> DayWords {
    let teller = Teller { names, zone };
    let told = if found.is_unusual { TOLD_CASES } else { 0 };
    // The heaviest come first, so that those worth telling are in front.
    let worth = found.cases.partition_point(|case| Likelihood::Possible <= case.likelihood);
    let (worth, others) = found.cases.split_at(worth);
    let named = |cases: &mut dyn Iterator<Item = &Case>| -> Vec<String> {
        cases.map(|case| cause::title(case.cause).to_owned()).collect()
    };
    DayWords {
        headline: teller.headline(found),
        lead: teller.lead(found),
        causes: worth.iter().take(told).map(|case| teller.cause(case)).collect(),
        further: named(&mut worth.iter().skip(told)),
        others: named(&mut others.iter()),
        moved: found.moved.iter().take(TOLD_MOVES).map(|moved| teller.moved(moved)).collect(),
        unexplained: teller.unexplained(found),
        basis: basis(found, names),
    }
}

/// How probable, as people say it.
pub(crate) fn likelihood(likelihood: Likelihood) -> &'static str {
    match likelihood {
        Likelihood::MostLikely => "most likely",
        Likelihood::Likely => "likely",
        Likelihood::Possible => "possible",
        Likelihood::Unlikely => "unlikely",
    }
}

struct Teller<'t> {
    names: &'t Names,
    zone: &'t TimeZone,
}

impl Teller<'_> {
    fn headline(&self, found: &Diagnosis) -> String {
        let ran = found.reach.ran;
        match found.cases.first().filter(|_| found.is_unusual) {
            _ if ran == 0 => "No batch was seen on this day.".to_owned(),
            None if found.reach.compared == 0 => "There is no past to compare this day with yet.".to_owned(),
            None if 0 < found.reach.odd => "Nothing unusual enough to name a cause on this day.".to_owned(),
            None if found.reach.compared < ran => {
                "Nothing unusual on the machines that could be compared on this day.".to_owned()
            }
            None => "Nothing unusual in the readings of this day.".to_owned(),
            Some(first) => {
                let what = cause::headline(first);
                let place = self.place(first);
                match first.likelihood {
                    Likelihood::MostLikely => format!("Most likely {what}{place}."),
                    Likelihood::Likely if found.is_contested() => {
                        format!("Probably {what}{place}, but other causes come near.")
                    }
                    Likelihood::Likely => format!("Probably {what}{place}."),
                    Likelihood::Possible | Likelihood::Unlikely => format!("Perhaps {what}{place}."),
                }
            }
        }
    }

    /// ` on Cedar`, or nothing for what all share.
    fn place(&self, case: &Case) -> String {
        match case.cause {
            Cause::Room | Cause::CoolingWater => String::new(),
            Cause::Material
            | Cause::Recipe
            | Cause::HeatTransfer
            | Cause::Control
            | Cause::Stirring
            | Cause::Instrument
            | Cause::People
            | Cause::Setting
            | Cause::Fill
            | Cause::Clock
            | Cause::Gap => format!(" on {}", self.names.list(&case.machines)),
        }
    }

    fn lead(&self, found: &Diagnosis) -> Vec<String> {
        let reach = found.reach;
        if reach.ran == 0 {
            return Vec::new();
        }
        if !found.is_unusual {
            return vec![self.quiet(found), crate::TEMPER_CAUTION.to_owned()];
        }
        let is_all_compared = reach.compared == reach.ran;
        let concerned = match (reach.odd, reach.ran) {
            (0, _) => "No figure of a single machine stands out.".to_owned(),
            (1, 1) => "Only one machine ran.".to_owned(),
            (1, ran) if is_all_compared => {
                format!("One machine of {} is concerned; the others ran as usual.", count(ran))
            }
            (odd, ran) if odd == ran => format!("All {} machines are concerned.", count(ran)),
            (odd, ran) => {
                let show = if odd == 1 { "machines shows" } else { "machines show" };
                format!("{} of {} {show} something unusual.", capital(&count(odd)), count(ran))
            }
        };
        let concerned = match reach.compared {
            _ if is_all_compared => concerned,
            0 => format!("{concerned} None has enough of a past to be compared with."),
            some => format!("{concerned} Only {} could be compared with their past.", count(some)),
        };
        let since = found.moved.first().map(|first| format!("What moved first: {}.", self.moved(first)));
        let mut lead = vec![std::iter::once(concerned).chain(since).collect::<Vec<_>>().join(" ")];
        let first = found.cases.first().map(|case| cause::check(case.cause));
        lead.extend(first.map(|check| format!("To be sure: {check}.")));
        lead.push(crate::TEMPER_CAUTION.to_owned());
        lead
    }

    /// A day on which nothing is heavy enough to name a cause, and how much that says.
    fn quiet(&self, found: &Diagnosis) -> String {
        let reach = found.reach;
        let seen = match (reach.compared, reach.odd) {
            (0, _) => "No machine that ran has enough earlier batches of the same couverture, so that nothing can be \
                       said about its figures."
                .to_owned(),
            (_, 0) if reach.compared == reach.ran => {
                "Every figure of the day lies where it usually does on these machines.".to_owned()
            }
            (some, 0) => format!(
                "{} of {} machines could be compared with their past, and there every figure lies where it usually does.",
                capital(&count(some)),
                count(reach.ran)
            ),
            (some, _) if some == reach.ran => "The other figures of the day lie where they usually do.".to_owned(),
            (some, _) => {
                format!("{} of {} machines could be compared with their past.", capital(&count(some)), count(reach.ran))
            }
        };
        let has_failed = found.odd.iter().any(|odd| odd.sign == Sign::TestFailed);
        let odd = self.signs(&found.odd);
        let stands_out = match odd.as_slice() {
            [] => String::new(),
            some => format!(
                "{}: {}. ",
                if has_failed { WAS_DIFFERENT } else { "What stands out explains no bad batch by itself" },
                some.iter().take(TOLD_CLUES).map(String::as_str).collect::<Vec<_>>().join("; ")
            ),
        };
        format!(
            "{stands_out}{seen} If the product was bad all the same, look behind the kettle: cabinet, moulds, and the lot."
        )
    }

    /// `the jacket of Cedar, 4.1 °C above its usual course from 07:12 on`.
    fn moved(&self, moved: &Moved) -> String {
        let Moved { machine, channel, at, by, or_before, .. } = moved;
        let side = if *by < 0.0 { "below" } else { "above" };
        let what = match channel {
            Channel::Chocolate => "the chocolate",
            Channel::Jacket => "the jacket",
            Channel::Room => "the room",
            Channel::Humidity => "the humidity",
            Channel::Setpoint => "the set-point",
            Channel::Stirrer => "the stirrer",
            Channel::Motor => "the motor current",
        };
        let unit = match channel.unit() {
            "" => String::new(),
            unit => format!(" {unit}"),
        };
        let name = self.names.machine(machine);
        format!(
            "{what} of {name}, {:.1}{unit} {side} its usual course from {} {}",
            by.abs(),
            hour(*at, self.zone),
            if *or_before { "or before" } else { "on" }
        )
    }

    fn cause(&self, case: &Case) -> CauseWords {
        let told = |clues: &[Clue]| {
            let mut told = each_once(clues.iter().map(|clue| self.clue(clue)));
            told.truncate(TOLD_CLUES);
            told
        };
        CauseWords {
            title: cause::title(case.cause),
            likelihood: likelihood(case.likelihood),
            place: self.names.list(&case.machines),
            supports: told(&case.supports),
            opposes: told(&case.opposes),
            missing: case.missing.iter().map(|missing| clue::missing(*missing)).collect(),
            check: cause::check(case.cause),
            caution: cause::caution(case.cause),
        }
    }

    fn unexplained(&self, found: &Diagnosis) -> Vec<String> {
        if !found.is_unusual {
            return Vec::new();
        }
        self.signs(&found.unexplained)
    }

    fn signs(&self, odd: &[Odd]) -> Vec<String> {
        each_once(odd.iter().map(|odd| self.sign(Some(&odd.machine), &odd.sign)))
    }
}

fn each_once(sentences: impl Iterator<Item = String>) -> Vec<String> {
    let mut told = Vec::new();
    for says in sentences {
        if !told.contains(&says) {
            told.push(says);
        }
    }
    told
}

fn basis(found: &Diagnosis, names: &Names) -> String {
    let reach = found.reach;
    if reach.ran == 0 {
        return String::new();
    }
    let whose = match found.not_only_good.as_slice() {
        [] => "their earlier good batches of the same couverture, at least three of them".to_owned(),
        some => format!(
            "their earlier good batches of the same couverture, at least three of them; {} had too few good ones, so \
             that others stand among them",
            names.list(some)
        ),
    };
    let compared = format!(
        "{} of {} machines could be compared with their own past: median and median deviation of {whose}. A figure \
         stands out from 3.5 such deviations on.",
        reach.compared, reach.ran
    );
    match found.too_new.as_slice() {
        [] => compared,
        new => format!("{compared} Too little past: {}.", names.list(new)),
    }
}

#[cfg(test)]
mod tests;
