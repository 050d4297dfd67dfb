//! Warmed in bursts: pieces that are in temper, so gently that part of their crystals never melts.
//!
//! Bursts of 15 to 20 s at low power with stirring between (a cookery source, for dark: 20 % power, 15 s, not above 32 °C); off the heat
//! while a quarter to a third is still solid, and stirred until it has melted from the warmth that is there (common practice, no source).
//! A stirred reading above the temper-loss limit means that the method has failed: a temper test decides, or a full melt.

use model::Span;

use super::{Bowl, Deed, Step};

/// So far below the range the pieces that are left still cool the bowl, °C (common practice, no source).
const NEAR_C: f64 = 1.5;
/// In the range for so long it is even enough to be tested; the contract's stay for `working`.
const STAY: Span = Span::from_mins(2);

pub(super) fn step(bowl: &Bowl<'_>, celsius: f64) -> Step {
    let limits = bowl.limits;
    let (low, high, loss) = (limits.working.low(), limits.working.high(), limits.temper_loss);
    let highest = bowl.readings.iter().map(|(_, celsius)| *celsius).fold(f64::NEG_INFINITY, f64::max);
    if loss < celsius {
        let says = format!(
            "Stop: at {celsius:.1} °C it is over the limit {loss:.1} °C and its crystals are melting away; take it out of the warmth and \
             stir it down to {high:.1} °C."
        );
        return Step::new(Deed::Stop, says);
    }
    if high < celsius {
        let says =
            format!("Stop at {celsius:.1} °C: no more heat, and stir it down to {low:.1}–{high:.1} °C.");
        return Step::new(Deed::Stop, says);
    }
    if loss < highest {
        let says = format!(
            "Test now: it was at {highest:.1} °C, over the limit {loss:.1} °C, and if the test fails melt it fully and seed it."
        );
        return Step::new(Deed::Test, says);
    }
    if low <= celsius {
        if bowl.in_range_for() < STAY {
            let says = format!(
                "Stir it out off the heat: at {celsius:.1} °C it is in its range, and the last pieces melt by themselves."
            );
            return Step::new(Deed::StirOut, says);
        }
        return Step::new(Deed::Test, "Make a temper test: it is in its range and stays there.");
    }
    if low - NEAR_C <= celsius {
        if bowl.stands_still() {
            let says =
                format!("Warm on with one short burst of 5 to 8 s: it stands still at {celsius:.1} °C.");
            return Step::new(Deed::WarmOn, says);
        }
        let says = format!(
            "Stir it out: at {celsius:.1} °C the pieces that are left take up the warmth; measure again in a minute."
        );
        return Step::new(Deed::StirOut, says);
    }
    Step::new(
        Deed::WarmOn,
        "Warm on: one burst of 15 to 20 s at low power, then stir until it looks even, and measure.",
    )
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};
    use model::Method;
    use plant::Family;

    use crate::step::testing::says;

    #[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
    fn check(family: Family, readings: &str, expected: Expect) {
        expected.assert_eq(&says(family, Method::PartialMelt, readings, None, None));
    }

    #[test]
    fn a_bowl_of_milk_from_burst_to_burst() {
        check(
            Family::Milk,
            "0:00 20.1",
            expect![
                "warm on: Warm on: one burst of 15 to 20 s at low power, then stir until it looks even, and measure."
            ],
        );
        check(
            Family::Milk,
            "0:00 20.1 | 3:00 28.2",
            expect![
                "stir it out: Stir it out: at 28.2 °C the pieces that are left take up the warmth; measure again in a minute."
            ],
        );
        check(
            Family::Milk,
            "0:00 20.1 | 3:00 28.4 | 4:00 28.3",
            expect!["warm on: Warm on with one short burst of 5 to 8 s: it stands still at 28.3 °C."],
        );
        check(
            Family::Milk,
            "3:00 28.4 | 4:00 29.6",
            expect![
                "stir it out: Stir it out off the heat: at 29.6 °C it is in its range, and the last pieces melt by themselves."
            ],
        );
        check(
            Family::Milk,
            "4:00 29.6 | 5:00 29.8 | 6:00 29.9",
            expect!["test: Make a temper test: it is in its range and stays there."],
        );
        check(
            Family::Milk,
            "4:00 29.6 | 5:00 30.9",
            expect!["stop: Stop at 30.9 °C: no more heat, and stir it down to 29.5–30.5 °C."],
        );
        check(
            Family::Milk,
            "4:00 29.6 | 5:00 32.4",
            expect![
                "stop: Stop: at 32.4 °C it is over the limit 32.0 °C and its crystals are melting away; take it out of the warmth and stir it down to 30.5 °C."
            ],
        );
        check(
            Family::Milk,
            "4:00 29.6 | 5:00 32.4 | 9:00 30.0",
            expect![
                "test: Test now: it was at 32.4 °C, over the limit 32.0 °C, and if the test fails melt it fully and seed it."
            ],
        );
    }

    #[test]
    fn white_and_dark_by_their_own_limits() {
        check(
            Family::White,
            "0:00 28.5 | 1:00 31.2",
            expect![
                "stop: Stop: at 31.2 °C it is over the limit 31.0 °C and its crystals are melting away; take it out of the warmth and stir it down to 29.0 °C."
            ],
        );
        check(
            Family::White,
            "0:00 28.5 | 1:00 29.4",
            expect!["stop: Stop at 29.4 °C: no more heat, and stir it down to 28.0–29.0 °C."],
        );
        check(
            Family::Dark,
            "0:00 28.5 | 1:00 29.4",
            expect![
                "warm on: Warm on: one burst of 15 to 20 s at low power, then stir until it looks even, and measure."
            ],
        );
        check(
            Family::Dark,
            "0:00 31.0 | 1:00 31.2",
            expect![
                "stir it out: Stir it out off the heat: at 31.2 °C it is in its range, and the last pieces melt by themselves."
            ],
        );
    }
}
