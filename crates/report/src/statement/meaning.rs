//! What it means and what to do: from tests first, from findings second, from temperatures last and with care.

use model::{FindingKind, Grade, Phase, Priority, Standing};

use super::Telling;
use crate::help::TEMPER_CAUTION;
use crate::saying::list;

/// Pieces of advice that a person can keep in mind.
const MOST_ADVICE: usize = 3;

/// Findings after which seed crystals may be lost or wrong.
const TEMPER_AT_RISK: [FindingKind; 7] = [
    FindingKind::Scorch,
    FindingKind::TemperLoss,
    FindingKind::WarmHold,
    FindingKind::ColdHold,
    FindingKind::Undershoot,
    FindingKind::Solidifying,
    FindingKind::HeaterStuck,
];

/// Findings after which the temperatures themselves are in doubt, and how a colleague says them.
const READINGS_IN_DOUBT: [(FindingKind, &str); 5] = [
    (FindingKind::ProbeStuck, "the probe repeated one value"),
    (FindingKind::ProbeFault, "the probe gave nothing usable"),
    (FindingKind::Silent, "nothing arrived"),
    (FindingKind::ProbeDrift, "the probe does not read as it should"),
    (FindingKind::ClockOff, "a sender's clock was wrong"),
];

/// Kinds whose name is no noun.
const OWN_WORDS: [(FindingKind, &str); 4] = [
    (FindingKind::Solidifying, "setting in the machine"),
    (FindingKind::HeaterStuck, "heat that nobody asked for"),
    (FindingKind::Scorch, "heat above the scorch limit"),
    (FindingKind::SlowCooling, "slow cooling"),
];

/// A kind within a sentence: `after a temper loss`.
pub(super) fn as_a_cause(kind: FindingKind) -> String {
    let word = kind.as_str().replace('-', " ");
    let own_words = OWN_WORDS.iter().find(|(own, _)| *own == kind).map(|(_, words)| *words);
    match own_words {
        Some(words) => words.to_owned(),
        None if word.starts_with(['a', 'e', 'i', 'o', 'u']) => format!("an {word}"),
        None => format!("a {word}"),
    }
}

impl Telling<'_> {
    pub(super) fn meaning(&self) -> String {
        let mut told = vec![match self.batch.standing {
            Standing::InTemper => self.in_temper(),
            Standing::Doubtful => {
                format!(
                    "Its temper is in doubt until the next temper test: {}.",
                    self.reasons("the last test no longer speaks for it")
                )
            }
            Standing::OffTemper => self.off_temper(),
            Standing::Unproven => self.unproven(),
        }];
        let doubtful: Vec<String> = READINGS_IN_DOUBT
            .iter()
            .filter(|(kind, _)| self.has(*kind))
            .map(|(_, says)| (*says).to_owned())
            .collect();
        if !doubtful.is_empty() {
            told.push(format!("For a part of the time the readings are in doubt: {}.", list(&doubtful)));
        }
        told.push(TEMPER_CAUTION.to_owned());
        told.join(" ")
    }

    fn reasons(&self, otherwise: &str) -> String {
        if self.batch.reasons.is_empty() { otherwise.to_owned() } else { list(&self.batch.reasons) }
    }

    fn in_temper(&self) -> String {
        let last =
            self.tests().last().map(|(event, _)| format!(" at {}", self.at(event.at))).unwrap_or_default();
        format!(
            "It is in temper by its last test{last}, and nothing that was recorded since speaks against it."
        )
    }

    fn off_temper(&self) -> String {
        let tests = self.tests();
        let last_good = tests.iter().rev().find(|(_, test)| test.worst() == Grade::Good);
        let since = match last_good {
            Some((event, _)) => format!("since the last good test at {}", self.at(event.at)),
            None if self.events.is_none() => "since the last good test".to_owned(),
            None => "from it, for there was no good test before".to_owned(),
        };
        format!(
            "The last temper test failed: the batch is off temper, and what was made {since} is in question."
        )
    }

    fn unproven(&self) -> String {
        let at_risk: Vec<String> =
            TEMPER_AT_RISK.iter().filter(|kind| self.has(**kind)).map(|kind| as_a_cause(*kind)).collect();
        if self.has(FindingKind::SeedMissed) {
            return "There is no sign of seed, and no temper test was made. Without seed it is most likely out of temper, however right the temperature is.".to_owned();
        }
        if !at_risk.is_empty() {
            return format!(
                "After {} its temper is at risk, and no temper test has shown otherwise.",
                list(&at_risk)
            );
        }
        match self.batch.first(Phase::Working) {
            Some(_) if self.batch.measures.unknown_minutes.is_some_and(|minutes| minutes >= 1.0) => {
                "No temper test was made. As far as it is known, its course is consistent with a batch in temper.".to_owned()
            }
            Some(_) => "No temper test was made. Its course is consistent with a batch in temper.".to_owned(),
            None if self.batch.end.is_some() => "It never came to be worked, and no temper test was made.".to_owned(),
            None => "It is not ready yet.".to_owned(),
        }
    }

    pub(super) fn advise(&self) -> String {
        let mut advice: Vec<String> = Vec::new();
        if self.batch.standing == Standing::OffTemper {
            advice.push(self.next_step());
        }
        let open = self.own_findings().into_iter().filter(|finding| finding.is_open());
        for finding in open.take_while(|finding| Priority::Medium <= finding.priority) {
            if !finding.advice.is_empty() && !advice.contains(&finding.advice) {
                advice.push(finding.advice.clone());
            }
        }
        advice.truncate(MOST_ADVICE);
        if advice.is_empty() {
            advice.push(self.next_step());
        }
        advice.join(" ")
    }

    fn next_step(&self) -> String {
        let is_over = self.batch.end.is_some();
        let says = match (self.batch.standing, is_over) {
            (Standing::InTemper, true) => "Nothing is left to do.",
            (Standing::InTemper, false) => {
                "Go on, and test again at the usual interval and after every top-up."
            }
            (Standing::Doubtful, true) | (Standing::Unproven, true) => {
                "Judge what was made from it piece by piece: gloss, contraction and snap, and again after a day."
            }
            (Standing::Doubtful, false) => "Make a temper test before anything more is moulded.",
            (Standing::Unproven, false) => match self.batch.last_phase().map(|last| last.phase) {
                Some(Phase::Working) => "Make a temper test before anything is moulded.",
                Some(
                    Phase::Idle
                    | Phase::Melting
                    | Phase::Soak
                    | Phase::Cooling
                    | Phase::Settling
                    | Phase::Rewarming,
                )
                | None => "Make a temper test once it has settled in the working range.",
            },
            (Standing::OffTemper, true) => {
                "Keep apart what was made since the last good test, and let the person in charge of quality decide."
            }
            (Standing::OffTemper, false) => {
                "Stop moulding and keep apart what was made since the last good test; seed again or melt fully, then test anew."
            }
        };
        says.to_owned()
    }
}
