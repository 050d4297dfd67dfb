//! Every alarm, thought through beforehand: its cause, what follows if nobody acts, what to do, and how long there is.
//!
//! The standard calls this rationalisation (ISA-18.2, IEC 62682): an alarm without an answer to all four is none. What
//! nobody has to answer is a prompt or a line of a report instead. Causes, consequences and actions: common practice, no
//! source. Minutes to act: start values of ours, no source; they say by when it is worth acting, not how long it is safe.
//!
//! Where work can hurt someone the action defers to the site's rules and to qualified people.

use model::{FindingKind, Phase, Priority};

/// What a kind of finding asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    /// Somebody has to act within so many minutes: an alarm.
    Act {
        /// By then, counted from the moment it was raised.
        minutes: i64,
    },
    /// It reminds somebody of a step of the usual day. No alarm.
    Prompt,
    /// It is for whoever plans maintenance, in the weekly review. No alarm.
    Report,
}

/// Why a kind of finding is an alarm or is not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rationale {
    /// What it asks for.
    pub answer: Answer,
    /// What most often brings it about.
    pub cause: &'static str,
    /// What follows if nobody acts.
    pub consequence: &'static str,
    /// What to do.
    pub action: &'static str,
    /// It stays after the temperature has come back, until a temper test says how the charge is.
    pub latches: bool,
    /// In these phases nobody has to act, and it does not ring.
    pub quiet_in: &'static [Phase],
}

/// Nothing is worked in these: a charge that waits, or melts overnight.
const NOT_WORKED: &[Phase] = &[Phase::Idle, Phase::Melting, Phase::Soak];
const IDLE: &[Phase] = &[Phase::Idle];
const NEVER: &[Phase] = &[];

impl Rationale {
    /// Minutes to act; `None` for what is no alarm.
    pub fn minutes(&self) -> Option<i64> {
        match self.answer {
            Answer::Act { minutes } => Some(minutes),
            Answer::Prompt | Answer::Report => None,
        }
    }

    /// Has somebody to act?
    pub fn is_alarm(&self) -> bool {
        self.minutes().is_some()
    }
}

/// Kinds that stay until a temper test is recorded.
pub(crate) fn latching() -> Vec<FindingKind> {
    FindingKind::ALL.iter().copied().filter(|kind| rationale(*kind).latches).collect()
}

fn act(
    minutes: i64,
    cause: &'static str,
    consequence: &'static str,
    action: &'static str,
    quiet_in: &'static [Phase],
) -> Rationale {
    Rationale { answer: Answer::Act { minutes }, cause, consequence, action, latches: false, quiet_in }
}

/// How urgent a kind is at most: two of them become more urgent than they began.
pub fn most_urgent(kind: FindingKind) -> Priority {
    match kind {
        FindingKind::Scorch
        | FindingKind::TemperLoss
        | FindingKind::SlowCooling
        | FindingKind::Solidifying
        | FindingKind::StirrerStopped
        | FindingKind::HeaterStuck
        | FindingKind::ProbeFault
        | FindingKind::Silent
        | FindingKind::CommonCause => Priority::High,
        FindingKind::WarmHold
        | FindingKind::ColdHold
        | FindingKind::Undershoot
        | FindingKind::SeedMissed
        | FindingKind::HoldDrift
        | FindingKind::Thickening
        | FindingKind::ProbeStuck
        | FindingKind::ProbeDrift
        | FindingKind::CoolingFade => Priority::Medium,
        FindingKind::Hunting
        | FindingKind::LongHold
        | FindingKind::Spikes
        | FindingKind::ClockOff
        | FindingKind::HotRoom
        | FindingKind::DampRoom
        | FindingKind::TestDue => Priority::Low,
    }
}

/// The row of a kind.
pub fn rationale(kind: FindingKind) -> Rationale {
    match kind {
        FindingKind::Scorch => act(
            2,
            "Heat that does not end, a set-point too high, or no stirring at a hot wall.",
            "Milk protein and sugar burn; lumps and a burnt taste cannot be taken back.",
            "Turn the heat off and keep stirring; mind hot metal and steam. Look for lumps and smell before it is used.",
            NEVER,
        ),
        FindingKind::TemperLoss => Rationale {
            latches: true,
            ..act(
                5,
                "Set-point or jacket too warm, a warm top-up, or a heater that went on too long.",
                "Seed melts out: what is moulded from now on may bloom, however right the temperature looks later.",
                "Stop moulding, make a temper test, and keep apart what was made since the last good one.",
                NEVER,
            )
        },
        FindingKind::WarmHold => act(
            10,
            "Set-point, jacket or room has crept up.",
            "Crystals are slowly lost; it becomes a loss of temper.",
            "Bring it back into the range without overshooting, then make a temper test.",
            NEVER,
        ),
        FindingKind::ColdHold => act(
            10,
            "Set-point too low, cold jacket water, or a cold top-up.",
            "It thickens, traps air, loses gloss, and sets in the end.",
            "Warm it gently to the upper end of the range while stirring, then make a temper test.",
            NEVER,
        ),
        FindingKind::SlowCooling => act(
            20,
            "Warm cooling water, a blocked jacket, a fan that stands still, a larger charge.",
            "Seeding and moulding come late; at a hot wall it may never come down.",
            "Look at water flow, valve and fan from outside and compare the other machines. Put off the seeding.",
            NEVER,
        ),
        FindingKind::Undershoot => act(
            10,
            "Too much seed, or cooling that was stopped too late.",
            "Unstable crystals form; it thickens and may bloom later.",
            "Warm it slowly to the range while stirring, and make a temper test before anything is moulded.",
            NEVER,
        ),
        FindingKind::SeedMissed => act(
            10,
            "Seed was forgotten, or was too little or too warm to be seen.",
            "Without seed it is not in temper: all of it will bloom.",
            "Ask whether seed went in. If not, cool to seeding temperature, seed, and make a temper test.",
            NEVER,
        ),
        FindingKind::HoldDrift => act(
            30,
            "Jacket or room moves slowly, or the probe does.",
            "Later pieces differ from earlier ones; in an hour or two it leaves the range.",
            "Compare the probe with a hand thermometer, trim the set-point, and make a temper test.",
            NEVER,
        ),
        FindingKind::Hunting => act(
            60,
            "A sticking valve, a lagging probe, or a controller tuned too sharply.",
            "Good and bad trays alternate.",
            "Look for a sticking valve or a loose probe; work on controller and wiring is for qualified people.",
            NEVER,
        ),
        FindingKind::Thickening => act(
            15,
            "Too many crystals after a long hold, or water got in.",
            "Shells become thick; with water in it the charge is lost.",
            "If it came within minutes, stop and look for water. Otherwise warm it slightly, and make a temper test.",
            NEVER,
        ),
        FindingKind::LongHold => Rationale {
            answer: Answer::Prompt,
            ..act(
                0,
                "It has been worked for long and nobody has judged a smear.",
                "Crystals go on growing unseen.",
                "Make a temper test now.",
                NEVER,
            )
        },
        FindingKind::Solidifying => act(
            5,
            "Heat that failed, or a charge that was left.",
            "It sets in the machine; a stirrer that turns in it can break.",
            "Stop the stirrer and lock it off before any hand goes near it. Melt slowly and fully.",
            NEVER,
        ),
        FindingKind::StirrerStopped => act(
            5,
            "A tripped motor, a blocked scraper, or somebody who forgot to switch it on.",
            "Crust at the cold wall, burning at a hot one; the probe no longer speaks for the charge.",
            "Turn the heat off, lock the machine off before you reach in, and find out why. Restarting after a trip is for qualified people.",
            NEVER,
        ),
        FindingKind::HeaterStuck => act(
            2,
            "A relay that welded shut, or a valve that sticks.",
            "The charge loses its temper first and burns next.",
            "Cut the power at the isolator, keep away from hot metal, and call a qualified electrician or fitter.",
            NEVER,
        ),
        FindingKind::ProbeStuck => act(
            10,
            "A probe out of the chocolate, or a transmitter that repeats its last value.",
            "The charge may be anywhere, and the controller may follow the old value.",
            "Measure by hand every ten minutes, and see whether the probe sits in the chocolate.",
            IDLE,
        ),
        FindingKind::ProbeFault => act(
            5,
            "A broken wire or plug.",
            "The controller may be blind and heat without end.",
            "Turn the heat off and measure by hand. If a probe tip is missing, stop: it may be in the chocolate.",
            IDLE,
        ),
        FindingKind::Spikes => Rationale {
            answer: Answer::Report,
            ..act(
                0,
                "A bad joint, or a heater that switches beside the cable.",
                "None at once: lone jumps are left out.",
                "Have joint, cable and shielding checked when there is time.",
                NEVER,
            )
        },
        FindingKind::Silent => act(
            10,
            "Power or network of the transmitter.",
            "Nothing is known of the charge: not good, not bad.",
            "Measure by hand and write it down; check power and network of the transmitter.",
            IDLE,
        ),
        FindingKind::ClockOff => Rationale {
            answer: Answer::Report,
            ..act(
                0,
                "A sender that has lost its time server.",
                "Its readings may land in the wrong batch.",
                "Set its clock, and look at the batches of the last hours again.",
                NEVER,
            )
        },
        FindingKind::HotRoom => act(
            60,
            "Summer, an open door, or ovens next door.",
            "Holds creep upwards, and pieces set badly.",
            "Cool the room or close doors, and watch the holds.",
            NOT_WORKED,
        ),
        FindingKind::DampRoom => act(
            60,
            "Steam, wet cleaning, or damp air from outside.",
            "Damp settles on cold moulds: sugar bloom follows.",
            "Look for steam and wet cleaning, air the room, and let cold moulds warm before they are opened.",
            NOT_WORKED,
        ),
        FindingKind::TestDue => Rationale {
            answer: Answer::Prompt,
            ..act(
                0,
                "The usual time between two tests has passed.",
                "Nobody knows how the charge is.",
                "Take a smear, let it stand, judge it, and enter the result.",
                NEVER,
            )
        },
        FindingKind::ProbeDrift => act(
            24 * 60,
            "A probe that ages, or was knocked.",
            "A few tenths decide what is in the range: good product is stopped, or bad product let go.",
            "Compare it with a reference thermometer before the next batch is worked.",
            NOT_WORKED,
        ),
        FindingKind::CoolingFade => Rationale {
            answer: Answer::Report,
            ..act(
                0,
                "Scale, air in the jacket, a tired pump or fan.",
                "Mornings become longer, week by week.",
                "Plan a look at jacket, filter, pump and fan by maintenance.",
                NEVER,
            )
        },
        FindingKind::CommonCause => act(
            5,
            "Something that the machines share: water, power, network, room, lot or recipe.",
            "All of them go the same way at once.",
            "Look at what they share before you touch the single machines.",
            NEVER,
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_alarm_has_all_four_in_whole_sentences() {
        for &kind in FindingKind::ALL {
            let row = rationale(kind);
            for text in [row.cause, row.consequence, row.action] {
                assert!(text.ends_with('.') && text.len() > 8, "{kind}: {text}");
            }
            assert!(row.minutes().is_none_or(|minutes| 0 < minutes), "{kind}");
        }
    }

    /// The contract, and domain practice: temper-loss alarms latch until a test is recorded.
    #[test]
    fn a_loss_of_temper_alone_waits_for_a_test() {
        assert_eq!(latching(), [FindingKind::TemperLoss]);
    }

    #[test]
    fn prompts_and_plans_are_no_alarms() {
        let none: Vec<_> = FindingKind::ALL
            .iter()
            .filter(|kind| !rationale(**kind).is_alarm())
            .map(|kind| kind.as_str())
            .collect();
        assert_eq!(none, ["long-hold", "spikes", "clock-off", "test-due", "cooling-fade"]);
    }

    #[test]
    fn what_can_hurt_somebody_or_the_charge_is_never_quiet() {
        for kind in [
            FindingKind::Scorch,
            FindingKind::HeaterStuck,
            FindingKind::StirrerStopped,
            FindingKind::Solidifying,
        ] {
            assert!(rationale(kind).quiet_in.is_empty(), "{kind}");
        }
    }
}
