//! After a temper test.
//!
//! A passed test lets it be worked with while it stays in its range, and is due again after half an hour to an hour (trade advice: many
//! check hourly). A fair one is adjusted and tested again, a failed one is tempered anew, and what was made since the last good test is
//! kept apart.

use model::{Grade, Span};

use super::{Bowl, Deed, Judged, Step};

/// In a bowl, which changes faster than a kettle, the sooner end of half an hour to an hour.
const TESTED_AGAIN: Span = Span::from_mins(30);

pub(super) fn step(bowl: &Bowl<'_>, test: Judged, celsius: f64) -> Step {
    let (low, high) = (bowl.limits.working.low(), bowl.limits.working.high());
    match test.worst {
        Grade::Poor => Step::new(
            Deed::Anew,
            format!(
                "The test failed: keep apart what was made since the last good one, melt it fully to {:.0} °C and temper it anew.",
                bowl.limits.melt.low()
            ),
        ),
        Grade::Fair => Step::new(
            Deed::Test,
            "The test was only fair: set thin and slow, cool it by 0.3 °C or add 1 to 3 % of seed; set thick, warm it by 0.3 °C; stir five \
             minutes and test again.",
        ),
        Grade::Good if high < celsius => Step::new(
            Deed::Stop,
            format!("Stop: no heat, and stir it down from {celsius:.1} °C to {low:.1}–{high:.1} °C."),
        ),
        Grade::Good if celsius < low => Step::new(
            Deed::WarmOn,
            format!(
                "Warm on with one short burst of 5 to 8 s: at {celsius:.1} °C it is below its range and thickens."
            ),
        ),
        Grade::Good if TESTED_AGAIN <= bowl.now - test.at => Step::new(
            Deed::Test,
            format!("Test again: the last one was {:.0} minutes ago.", (bowl.now - test.at).as_mins_f64()),
        ),
        Grade::Good => Step::new(
            Deed::Work,
            format!("Work with it at {low:.1}–{high:.1} °C, stir between, and measure every few minutes."),
        ),
    }
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};
    use model::Method;
    use plant::Family;

    use super::*;
    use crate::step::testing::{at, says};

    #[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
    fn check(readings: &str, worst: Grade, expected: Expect) {
        let judged = Some(Judged { at: at("10:00"), worst });
        expected.assert_eq(&says(Family::Milk, Method::PartialMelt, readings, None, judged));
    }

    #[test]
    fn what_a_test_leads_to() {
        check(
            "12:00 30.0",
            Grade::Good,
            expect!["work: Work with it at 29.5–30.5 °C, stir between, and measure every few minutes."],
        );
        check(
            "12:00 30.9",
            Grade::Good,
            expect!["stop: Stop: no heat, and stir it down from 30.9 °C to 29.5–30.5 °C."],
        );
        check(
            "12:00 29.2",
            Grade::Good,
            expect![
                "warm on: Warm on with one short burst of 5 to 8 s: at 29.2 °C it is below its range and thickens."
            ],
        );
        check("45:00 30.0", Grade::Good, expect!["test: Test again: the last one was 36 minutes ago."]);
        check(
            "12:00 30.0",
            Grade::Fair,
            expect![
                "test: The test was only fair: set thin and slow, cool it by 0.3 °C or add 1 to 3 % of seed; set thick, warm it by 0.3 °C; stir five minutes and test again."
            ],
        );
        check(
            "12:00 30.0",
            Grade::Poor,
            expect![
                "anew: The test failed: keep apart what was made since the last good one, melt it fully to 42 °C and temper it anew."
            ],
        );
        // Too warm since the test: what it said is over.
        check(
            "12:00 32.6 | 14:00 30.1",
            Grade::Good,
            expect![
                "test: Test now: it was at 32.6 °C, over the limit 32.0 °C, and if the test fails melt it fully and seed it."
            ],
        );
    }
}
