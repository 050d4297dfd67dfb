//! What each kind of finding means, and what to do: the one place that pages and texts take it from.
//!
//! Written for the person at the kettle. Where work can hurt someone the usual caution stands in the sentence itself
//! and defers to the site's rules and to qualified people; none of it replaces them. The trade facts are common
//! practice, no source, unless a comment names one.

use model::FindingKind;

/// Stands wherever a batch is judged.
pub const TEMPER_CAUTION: &str = "Temperature alone never proves temper; only a temper test does.";

/// What a kind of finding means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Help {
    /// What has happened, and why it matters.
    pub meaning: &'static str,
    /// What to do, in the order of doing.
    pub to_do: &'static str,
}

/// The help for a kind of finding.
pub fn help(kind: FindingKind) -> Help {
    match kind {
        FindingKind::Scorch => Help {
            meaning: "The chocolate is above its scorch limit. Milk proteins and sugar spoil, lumps form, and nothing brings them back.",
            to_do: "Turn the heat off and keep stirring. Mind hot metal and steam. Look for lumps and a burnt smell before you use it; the person in charge of quality decides whether it may be used.",
        },
        FindingKind::TemperLoss => Help {
            meaning: "It has been above the temper-loss limit, far or long enough for seed crystals to melt out. It may look perfect again afterwards and still be out of temper.",
            to_do: "Stop moulding, make a temper test, and keep apart what was made since the last good test. If the test fails, seed again or melt fully and begin anew.",
        },
        FindingKind::WarmHold => Help {
            meaning: "It has stood above its working range for minutes. Crystals are slowly lost, and it goes on until somebody acts.",
            to_do: "Check set-point and jacket, bring it back into the range without overshooting, and make a temper test.",
        },
        FindingKind::ColdHold => Help {
            meaning: "It has stood below its working range for minutes. Crystals go on growing: it thickens, traps air and loses gloss.",
            to_do: "Warm it gently to the upper end of the working range while stirring, not beyond, and make a temper test.",
        },
        FindingKind::SlowCooling => Help {
            meaning: "It cools more slowly than this machine usually does, so that it will be late. Warm cooling water, a blocked or scaled jacket, a fan that stands still, a larger charge or a warm room do this.",
            to_do: "Compare the mass in the machine and the other machines. If only this one is slow, look at water flow, valve and fan from outside; opening the machine is for qualified people with it locked off. Put off the seeding.",
        },
        FindingKind::Undershoot => Help {
            meaning: "On its way down it fell below the lowest point wanted. Unstable crystals form there, and it may thicken and later bloom.",
            to_do: "Warm it slowly to the working range while stirring, hold it there some minutes, and make a temper test before anything is moulded.",
        },
        FindingKind::SeedMissed => Help {
            meaning: "It reached the working range without a seed event and without the dip that cold seed leaves. Without seed it is not in temper, however right the temperature is. A little or very warm seed can leave no dip.",
            to_do: "Ask whether seed went in. If not, cool to seeding temperature, seed, stir, and make a temper test.",
        },
        FindingKind::HoldDrift => Help {
            meaning: "The working temperature has been moving slowly in one direction. Nothing is wrong yet; later pieces will differ from earlier ones.",
            to_do: "See whether jacket or room move with it, compare the probe with a hand thermometer, trim the set-point and make a temper test.",
        },
        FindingKind::Hunting => Help {
            meaning: "The temperature goes up and down in a steady beat. Each peak melts a little seed and each trough grows some, so that good and bad trays alternate.",
            to_do: "Look for a sticking valve, a probe that lags or a set-point that somebody keeps turning. Tuning the controller and work on its wiring are for qualified people.",
        },
        FindingKind::Thickening => Help {
            meaning: "The stirrer needs more current at the same temperature. Crystals have grown and multiplied, or water got in; a jump within minutes points to water.",
            to_do: "If it came within minutes, stop, keep the batch apart and look for water: it is a matter of food safety for the person in charge. Otherwise warm it slightly within the range or add a little warm couverture, and make a temper test.",
        },
        FindingKind::LongHold => Help {
            meaning: "It has been worked for longer than it should be without a passed temper test. Crystals grow all the while.",
            to_do: "Make a temper test now, and then at the usual interval.",
        },
        FindingKind::Solidifying => Help {
            meaning: "It is far below its working range and begins to set. A stirrer that turns in setting chocolate can break or stall.",
            to_do: "Stop the stirrer and lock it off before any hand goes near it. Melt slowly and fully, with the stirrer off until it is free, and temper anew.",
        },
        FindingKind::StirrerStopped => Help {
            meaning: "Without stirring the wall and the middle part ways: crust and lumps at the cold wall, burning at a hot one, and the probe no longer speaks for the charge.",
            to_do: "Turn the heat off. Lock the machine off before you reach past a guard or scraper. Find out why it stopped; restarting after a trip, and any work on belt, motor or cable, is for qualified people. Make a temper test before you go on.",
        },
        FindingKind::HeaterStuck => Help {
            meaning: "It is heated although the set-point is reached: a relay may have welded shut or a valve may stick. The charge loses its temper first and burns next.",
            to_do: "Cut the power at the isolator, keep away from hot metal and steam, and call a qualified electrician or fitter. Never rely on this display as the only protection against overheating; the machine's own cut-out must work.",
        },
        FindingKind::ProbeStuck => Help {
            meaning: "The reading has not moved although it normally would. It may be an old value, and the charge may be anywhere.",
            to_do: "Measure by hand every ten minutes and write it down. See whether the probe sits in the chocolate and whether the transmitter still answers.",
        },
        FindingKind::ProbeFault => Help {
            meaning: "Its values are missing or impossible, as with a broken wire. The controller may be blind too, and may heat without end.",
            to_do: "Turn the heat off and measure by hand. Check the plug; work on wiring is for qualified people with the machine locked off. If a probe tip is missing, stop: it may be in the chocolate.",
        },
        FindingKind::Spikes => Help {
            meaning: "Single readings jump and come back at once. A bad joint or a switching heater does this; the chocolate itself does not.",
            to_do: "Have joint, cable and shielding checked when there is time. Do not judge the charge by a lone jump.",
        },
        FindingKind::Silent => Help {
            meaning: "Nothing is known of the charge since then: not good, not bad, unknown.",
            to_do: "Measure by hand and write it down. Check power and network of the transmitter.",
        },
        FindingKind::ClockOff => Help {
            meaning: "Its times are steadily off, so that its readings may land in the wrong batch.",
            to_do: "Set its clock or its time server, and look at the batches of the last hours again.",
        },
        FindingKind::HotRoom => Help {
            meaning: "A hold creeps upwards, and moulded pieces set badly and may bloom.",
            to_do: "Cool the room or close doors, watch the holds, and be careful with moulding until it is cooler.",
        },
        FindingKind::DampRoom => Help {
            meaning: "Damp settles on cold moulds and pieces; sugar bloom follows, and water in the charge thickens it at once.",
            to_do: "Look for steam and wet cleaning near the machine, air the room, and let cold pieces and moulds warm above the dew point before they are opened.",
        },
        FindingKind::TestDue => Help {
            meaning: "It is being worked, and no temper test speaks for it as it is now.",
            to_do: "Take a smear from the middle, let it stand for about ten minutes at room temperature, judge gloss, contraction and snap, and enter the result.",
        },
        FindingKind::ProbeDrift => Help {
            meaning: "Over several batches its offset has moved, or it does not show what a hand thermometer beside it shows. With a working range one degree wide, a few tenths decide what is in it.",
            to_do: "Compare it at working temperature with a reference thermometer, enter the value, and have the probe corrected or replaced. Look at the batches since the last good comparison again.",
        },
        FindingKind::CoolingFade => Help {
            meaning: "Over several batches it gives off heat more slowly at the same charge. Scale, air in the jacket, a tired pump or fan grow slowly like this.",
            to_do: "Plan a look at jacket, filter, pump and fan by maintenance, with the machine locked off, and see whether the next batches are quicker.",
        },
        FindingKind::CommonCause => Help {
            meaning: "Several machines have it at once, so that the cause is most likely shared: cooling water, power, network, room, couverture lot or a change of settings.",
            to_do: "Look at what they share before you touch the single machines.",
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_is_explained_in_whole_sentences() {
        for &kind in FindingKind::ALL {
            let (title, Help { meaning, to_do }) = (kind.title(), help(kind));
            assert!(!title.ends_with('.') && title.len() <= 45, "{kind}: {title}");
            assert!(meaning.ends_with('.') && to_do.ends_with('.'), "{kind}");
        }
    }

    #[test]
    fn where_machines_can_hurt_the_text_says_so() {
        for kind in [FindingKind::StirrerStopped, FindingKind::Solidifying, FindingKind::ProbeFault] {
            assert!(help(kind).to_do.to_lowercase().contains("lock"), "{kind}");
        }
        for kind in [
            FindingKind::HeaterStuck,
            FindingKind::StirrerStopped,
            FindingKind::ProbeFault,
            FindingKind::Hunting,
        ] {
            assert!(help(kind).to_do.contains("qualified"), "{kind}");
        }
    }

    #[test]
    fn no_temperature_is_called_safe_and_none_proves_temper() {
        for &kind in FindingKind::ALL {
            let Help { meaning, to_do } = help(kind);
            for text in [kind.title(), meaning, to_do] {
                assert!(!text.contains("is safe") && !text.contains("is tempered"), "{kind}: {text}");
            }
        }
    }
}
