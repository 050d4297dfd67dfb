//! Melted fully, then given crystals: by seed, by cocoa-butter seed, or on the slab.
//!
//! Seed goes in at 34 to 36 °C with dark in larger bowls (common practice, no source), which is 0.5 to 2.5 °C above the temper-loss
//! limit; with milk and white the same distance from theirs. Cocoa-butter seed goes in at 33 to 34 °C with dark (published with 1 % of
//! crystals at 34 °C, then some minutes between 31 and 34 °C), which is half a degree about that limit. Tabling: about two thirds on the
//! slab until it thickens, 4 to 5 °C below the working range (a maker's technique page), and back.

use model::{Method, Span};

use super::{Bowl, Deed, Step};

/// Where seed goes in, above the temper-loss limit, °C.
const SEED_ABOVE_LOSS_C: (f64, f64) = (0.5, 2.5);
/// Where cocoa-butter seed does.
const BUTTER_ABOVE_LOSS_C: (f64, f64) = (-0.5, 0.5);
/// Seed that has not brought it down after so long was too little (5 to 15 min of stirring: common practice, no source).
const SEED_TAKES: Span = Span::from_mins(15);
/// So long in the range it has settled (the contract's five minutes before `working`).
const SETTLED: Span = Span::from_mins(5);
/// So far above the range a second, smaller part on the slab is enough, °C (common practice, no source).
const NEARLY_TABLED_C: f64 = 5.0;
/// The slab's part is this far below the working range when it goes back, °C.
const SLAB_BELOW_C: (f64, f64) = (5.0, 4.0);

pub(super) fn step(bowl: &Bowl<'_>, celsius: f64) -> Step {
    let limits = bowl.limits;
    let melted = bowl.readings.iter().any(|(_, celsius)| limits.melt.low() <= *celsius);
    if bowl.seeded_at.is_some() {
        return with_crystals(bowl, celsius);
    }
    if !melted {
        let says = format!(
            "Warm on to {:.0}–{:.0} °C, slowly and stirred, until nothing solid is left.",
            limits.melt.low(),
            limits.melt.high()
        );
        return Step::new(Deed::WarmOn, says);
    }
    match bowl.method {
        Method::Tabling => tabling(bowl, celsius),
        Method::ButterSeed => seeding(bowl, celsius, BUTTER_ABOVE_LOSS_C, "0.5 to 2 % of cocoa-butter seed"),
        Method::Seed | Method::PartialMelt | Method::Continuous => {
            let (least, most) = limits.seed_share;
            let portion =
                format!("{:.0} to {:.0} % of the melt, solid and in temper", least * 100.0, most * 100.0);
            seeding(bowl, celsius, SEED_ABOVE_LOSS_C, &portion)
        }
    }
}

fn seeding(bowl: &Bowl<'_>, celsius: f64, above_loss_c: (f64, f64), portion: &str) -> Step {
    let loss = bowl.limits.temper_loss;
    let (bottom, top) = (loss + above_loss_c.0, loss + above_loss_c.1);
    if top < celsius {
        let says = format!(
            "Cool: off the heat and stirred, down to {bottom:.1}–{top:.1} °C, and have the seed weighed."
        );
        return Step::new(Deed::Cool, says);
    }
    if celsius <= bowl.limits.working.high() {
        let says = format!(
            "Warm on to {bottom:.1} °C and seed there: it has come to {celsius:.1} °C without seed and carries no crystals that can be trusted."
        );
        return Step::new(Deed::WarmOn, says);
    }
    Step::new(Deed::Seed, format!("Seed now, at {celsius:.1} °C: {portion}; stir, and enter it."))
}

fn tabling(bowl: &Bowl<'_>, celsius: f64) -> Step {
    let working = bowl.limits.working;
    let been_back = bowl.has_crystals_since().is_some();
    if been_back {
        return with_crystals(bowl, celsius);
    }
    if celsius <= working.high() + NEARLY_TABLED_C {
        let says = format!(
            "Table a smaller part of it again and stir it back: at {celsius:.1} °C it is still above its range."
        );
        return Step::new(Deed::Table, says);
    }
    let says = format!(
        "Pour about two thirds on the clean, dry slab, work it until it thickens at {:.0}–{:.0} °C, and stir it back.",
        working.low() - SLAB_BELOW_C.0,
        working.low() - SLAB_BELOW_C.1
    );
    Step::new(Deed::Table, says)
}

fn with_crystals(bowl: &Bowl<'_>, celsius: f64) -> Step {
    let limits = bowl.limits;
    let (low, high, loss) = (limits.working.low(), limits.working.high(), limits.temper_loss);
    let since_seed = bowl.seeded_at.map_or(Span::ZERO, |at| bowl.now - at);
    if loss < celsius && SEED_TAKES < since_seed {
        let says = format!(
            "Seed again with 3 to 8 % at {:.1} °C or less: {:.0} minutes after the seed it is still at {celsius:.1} °C, and the crystals are lost.",
            loss + SEED_ABOVE_LOSS_C.1,
            since_seed.as_mins_f64()
        );
        return Step::new(Deed::Seed, says);
    }
    if high < celsius {
        let says = format!("Stir it out off the heat: from {celsius:.1} °C down to {low:.1}–{high:.1} °C.");
        return Step::new(Deed::StirOut, says);
    }
    if low <= celsius {
        if bowl.in_range_for() < SETTLED {
            return Step::new(
                Deed::StirOut,
                "Stir on for five minutes: it is in its range and settles; lift out lumps that stay.",
            );
        }
        return Step::new(Deed::Test, "Make a temper test: it is in its range and has settled.");
    }
    if celsius < limits.floor {
        let says = format!(
            "Warm gently to {low:.1} °C, stirred: at {celsius:.1} °C it is below its floor {:.1} °C and sets; melt it again if lumps stay.",
            limits.floor
        );
        return Step::new(Deed::WarmOn, says);
    }
    let says = format!("Warm gently with short bursts of 5 to 8 s to {low:.1} °C, not above {high:.1} °C.");
    Step::new(Deed::WarmOn, says)
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};
    use plant::Family;

    use super::*;
    use crate::step::testing::says;

    #[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
    fn check(method: Method, readings: &str, seeded: Option<&str>, expected: Expect) {
        expected.assert_eq(&says(Family::Dark, method, readings, seeded, None));
    }

    #[test]
    fn seed() {
        check(
            Method::Seed,
            "0:00 38",
            None,
            expect!["warm on: Warm on to 45–50 °C, slowly and stirred, until nothing solid is left."],
        );
        check(
            Method::Seed,
            "0:00 46",
            None,
            expect!["cool: Cool: off the heat and stirred, down to 34.0–36.0 °C, and have the seed weighed."],
        );
        check(
            Method::Seed,
            "0:00 46 | 9:00 35.5",
            None,
            expect![
                "seed now: Seed now, at 35.5 °C: 20 to 30 % of the melt, solid and in temper; stir, and enter it."
            ],
        );
        check(
            Method::Seed,
            "0:00 46 | 9:00 31.5",
            None,
            expect![
                "warm on: Warm on to 34.0 °C and seed there: it has come to 31.5 °C without seed and carries no crystals that can be trusted."
            ],
        );
        check(
            Method::Seed,
            "0:00 46 | 9:00 35 | 12:00 33.2",
            Some("10:00"),
            expect!["stir it out: Stir it out off the heat: from 33.2 °C down to 31.0–32.0 °C."],
        );
        check(
            Method::Seed,
            "0:00 46 | 9:00 35 | 26:00 34.2",
            Some("10:00"),
            expect![
                "seed now: Seed again with 3 to 8 % at 36.0 °C or less: 16 minutes after the seed it is still at 34.2 °C, and the crystals are lost."
            ],
        );
        check(
            Method::Seed,
            "0:00 46 | 9:00 35 | 16:00 31.9",
            Some("10:00"),
            expect![
                "stir it out: Stir on for five minutes: it is in its range and settles; lift out lumps that stay."
            ],
        );
        check(
            Method::Seed,
            "0:00 46 | 16:00 31.9 | 22:00 31.6",
            Some("10:00"),
            expect!["test: Make a temper test: it is in its range and has settled."],
        );
        check(
            Method::Seed,
            "0:00 46 | 16:00 31.9 | 22:00 30.2",
            Some("10:00"),
            expect!["warm on: Warm gently with short bursts of 5 to 8 s to 31.0 °C, not above 32.0 °C."],
        );
        check(
            Method::Seed,
            "0:00 46 | 16:00 31.9 | 22:00 26.2",
            Some("10:00"),
            expect![
                "warm on: Warm gently to 31.0 °C, stirred: at 26.2 °C it is below its floor 27.0 °C and sets; melt it again if lumps stay."
            ],
        );
    }

    #[test]
    fn butter_seed() {
        check(
            Method::ButterSeed,
            "0:00 46 | 9:00 35.5",
            None,
            expect!["cool: Cool: off the heat and stirred, down to 33.0–34.0 °C, and have the seed weighed."],
        );
        check(
            Method::ButterSeed,
            "0:00 46 | 9:00 33.8",
            None,
            expect!["seed now: Seed now, at 33.8 °C: 0.5 to 2 % of cocoa-butter seed; stir, and enter it."],
        );
    }

    #[test]
    fn tabling() {
        check(
            Method::Tabling,
            "0:00 46",
            None,
            expect![
                "table it: Pour about two thirds on the clean, dry slab, work it until it thickens at 26–27 °C, and stir it back."
            ],
        );
        check(
            Method::Tabling,
            "0:00 46 | 5:00 36",
            None,
            expect![
                "table it: Table a smaller part of it again and stir it back: at 36.0 °C it is still above its range."
            ],
        );
        check(
            Method::Tabling,
            "0:00 46 | 5:00 31.3",
            None,
            expect![
                "stir it out: Stir on for five minutes: it is in its range and settles; lift out lumps that stay."
            ],
        );
    }
}
