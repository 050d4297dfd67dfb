//! The causes of a bad-temper day in the trade's words, each with the cheapest check (common practice, no source).

use history::day::{Case, Cause, Clue, Figure, Sign, Way};

/// Its name.
pub(super) fn title(cause: Cause) -> &'static str {
    match cause {
        Cause::Room => "Room: hot, cold or humid",
        Cause::CoolingWater => "Cooling water",
        Cause::Material => "Material: lot of couverture or seed",
        Cause::Recipe => "Change of recipe or schedule",
        Cause::HeatTransfer => "Heat transfer: jacket, valve or fan",
        Cause::Control => "Control",
        Cause::Stirring => "Stirring",
        Cause::Instrument => "Instrument",
        Cause::People => "People and method",
        Cause::Setting => "Setting and cooling after the kettle",
        Cause::Fill => "Mass: how full it was",
        Cause::Clock => "Time, the clock",
        Cause::Gap => "A gap: power or network",
    }
}

/// In the middle of a sentence. What was seen says more than the name of the cause.
pub(super) fn headline(case: &Case) -> &'static str {
    let heaviest = case.supports.first().map(|clue| &clue.sign);
    let is_too_cold = |clue: &Clue| matches!(clue.sign, Sign::Off(off) if off.figure == Figure::Room && off.way() == Some(Way::Low));
    match (case.cause, heaviest) {
        (Cause::Room, _) if case.supports.iter().any(is_too_cold) => "the room, too cold",
        (Cause::People, Some(Sign::TopUp { .. })) => "a top-up",
        (Cause::People, Some(Sign::OnePerson { .. })) => "the way it was worked",
        (cause, _) => of_cause(cause),
    }
}

fn of_cause(cause: Cause) -> &'static str {
    match cause {
        Cause::Room => "the room, too warm or too damp",
        Cause::CoolingWater => "the cooling water, too warm on all machines of its loop",
        Cause::Material => "the material, a lot of couverture or seed,",
        Cause::Recipe => "a change of recipe or schedule",
        Cause::HeatTransfer => "the heat transfer (jacket, valve or fan)",
        Cause::Control => "the control",
        Cause::Stirring => "the stirring",
        Cause::Instrument => "the probe or its wiring",
        Cause::People => "the way it was seeded",
        Cause::Setting => "the setting after the kettle",
        Cause::Fill => "a different filling",
        Cause::Clock => "a clock that was wrong",
        Cause::Gap => "a gap in power or network",
    }
}

/// The cheapest check that would confirm it.
pub(super) fn check(cause: Cause) -> &'static str {
    match cause {
        Cause::Room => "a second thermometer and hygrometer in the room; then door and air-conditioning",
        Cause::CoolingWater => "measure the water temperature at the chiller and at one machine",
        Cause::Material => "put another lot into one machine, same recipe, and test",
        Cause::Recipe => "go back to the former setting on one machine",
        Cause::HeatTransfer => {
            "fill with a weighed mass and cool once more; look at flow, filter, fan and scale"
        }
        Cause::Control => {
            "a step of the set-point at night, with the controller's own reading written down beside ours"
        }
        Cause::Stirring => "look and listen at the stirrer, guards closed",
        Cause::Instrument => "a hand thermometer in the same spot; then the ice point",
        Cause::People => "ask without blame, and watch one batch being seeded and worked",
        Cause::Setting => "set two trays of the same batch in different cabinets",
        Cause::Fill => "weigh the next charge",
        Cause::Clock => "compare one shared moment (a water step, a power dip) with another machine",
        Cause::Gap => "ask who switched what; look at the supply and at the network switch's own log",
    }
}

/// What to keep in mind for people and product.
pub(super) fn caution(cause: Cause) -> Option<&'static str> {
    match cause {
        Cause::HeatTransfer | Cause::CoolingWater => Some(
            "Jackets and hoses are hot or under pressure: let them cool and shut off before you open anything.",
        ),
        Cause::Control => Some(
            "Heaters and their wiring belong to qualified people; isolate the supply first. Never bridge a cut-out.",
        ),
        Cause::Stirring => Some("Lock the drive before anybody reaches in."),
        Cause::Gap => Some(
            "After a power cut keep the stirrer locked off until the mass is melted; work on the supply belongs to qualified people.",
        ),
        Cause::Material => Some("Keep lots apart and follow the site's allergen plan when you change over."),
        Cause::Room
        | Cause::Recipe
        | Cause::Instrument
        | Cause::People
        | Cause::Setting
        | Cause::Fill
        | Cause::Clock => None,
    }
}
