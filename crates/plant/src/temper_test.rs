//! How this site judges a temper test, when the next one is due, and how often probes are checked.
//!
//! The grades are those of the trade's scale: good; usable on the thin or the thick side; failed with too few or too many crystals. What
//! was seen decides: a slow smear that looks and breaks as it should is still usable. All figures are start values without a source (the
//! set times printed by makers and books lie between three and ten minutes and depend on room, layer and surface), so that each can be set
//! in the plant file; a site's own good samples are the better measure.

use model::{Grade, Span, TemperTest};

use crate::Family;

/// `[temper_test]` of the plant file.
#[derive(Debug, Clone, PartialEq)]
pub struct TemperTestRules {
    /// A smear cools so long before it is judged.
    pub cool: Span,
    /// A passed test speaks for so long.
    pub every: Span,
    /// Dark that has set within so many minutes set as it should.
    pub good_minutes: f64,
    /// Dark that took longer had too few crystals.
    pub slow_minutes: f64,
    /// What set within so many minutes had many crystals.
    pub thick_minutes: f64,
    /// Milk and white set so many minutes later than dark.
    pub milk_and_white_later: f64,
    /// How the cooling curve of a sample is judged.
    pub curve: CurveRules,
    /// What follows from each grade.
    pub follows: Follows,
}

/// How the cooling curve of a sample is judged: limits belong to one bath, tube and mass, and are learned in the house.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurveRules {
    /// A slope at the inflection above this speaks for too few crystals, °C/min.
    pub under_above: f64,
    /// A slope below this speaks for too many, °C/min.
    pub over_below: f64,
    /// Half of the smoothing window, seconds.
    pub smooth_seconds: f64,
    /// Half of the window over which the slope is taken, seconds.
    pub slope_seconds: f64,
}

/// What follows from each grade, as this site says it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Follows {
    /// Of a good test.
    pub a: String,
    /// Usable, on the thin side.
    pub b: String,
    /// Usable, on the thick side.
    pub c: String,
    /// Failed with too few crystals.
    pub d: String,
    /// Failed with too many.
    pub e: String,
}

/// `[probe_checks]` of the plant file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProbeCheckRules {
    /// A check is due so long after the last one.
    pub every: Span,
    /// A probe that is off by no more has passed, °C.
    pub accept_c: f64,
    /// A probe that is off by more is replaced and not corrected, °C.
    pub replace_c: f64,
}

/// What a test says, on the trade's scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TestGrade {
    /// Everything as it should be.
    Good,
    /// Usable, with few crystals.
    UsableThin,
    /// Usable, with many crystals.
    UsableThick,
    /// Usable; nothing says on which side.
    Usable,
    /// Failed with too few crystals.
    FailedUnder,
    /// Failed with too many crystals.
    FailedOver,
    /// Failed; nothing says on which side.
    Failed,
}

impl TestGrade {
    /// The letter of the scale.
    pub fn letter(self) -> &'static str {
        match self {
            TestGrade::Good => "A",
            TestGrade::UsableThin => "B",
            TestGrade::UsableThick => "C",
            TestGrade::Usable => "B or C",
            TestGrade::FailedUnder => "D",
            TestGrade::FailedOver => "E",
            TestGrade::Failed => "D or E",
        }
    }

    /// What the letter means.
    pub fn meaning(self) -> &'static str {
        match self {
            TestGrade::Good => "good",
            TestGrade::UsableThin => "usable, on the thin side",
            TestGrade::UsableThick => "usable, on the thick side",
            TestGrade::Usable => "usable; the set time would say whether thin or thick",
            TestGrade::FailedUnder => "failed, too few crystals",
            TestGrade::FailedOver => "failed, too many crystals or lumps",
            TestGrade::Failed => "failed; the set time would say whether too few or too many crystals",
        }
    }
}

impl Default for TemperTestRules {
    fn default() -> TemperTestRules {
        TemperTestRules {
            cool: Span::from_mins(10),
            every: Span::from_mins(60),
            good_minutes: 5.0,
            slow_minutes: 8.0,
            thick_minutes: 3.0,
            milk_and_white_later: 2.0,
            curve: CurveRules {
                under_above: 0.1,
                over_below: -0.1,
                smooth_seconds: 15.0,
                slope_seconds: 25.0,
            },
            follows: Follows::default(),
        }
    }
}

impl Default for Follows {
    fn default() -> Follows {
        let said = str::to_owned;
        Follows {
            a: said("Go on, and test again when the next one is due."),
            b: said("Cool it by 0.3 °C or add 1 to 3 % seed, stir for 5 min, and test again."),
            c: said(
                "Warm it by 0.3 to 0.5 °C, not above the temper-loss limit, or add 3 to 8 % warm untempered couverture, and test again.",
            ),
            d: said(
                "Stop. Seed again or melt fully and temper anew, and keep apart what was made since the last good test.",
            ),
            e: said(
                "Stop. Warm it or melt a part of it, test again, and keep apart what was made since the last good test.",
            ),
        }
    }
}

impl Default for ProbeCheckRules {
    fn default() -> ProbeCheckRules {
        ProbeCheckRules { every: Span::from_hours(30 * 24), accept_c: 0.3, replace_c: 1.0 }
    }
}

impl TemperTestRules {
    /// The grade of a smear of this family. Looks decide whether it passed; the set time says on which side it lies.
    pub fn grade(&self, family: Family, test: &TemperTest) -> TestGrade {
        let later = match family {
            Family::Dark => 0.0,
            Family::Milk | Family::White => self.milk_and_white_later,
        };
        let minutes = test.minutes.map(|minutes| minutes - later);
        let set_slowly = minutes.is_some_and(|minutes| self.good_minutes < minutes);
        let set_late = minutes.is_some_and(|minutes| self.slow_minutes < minutes);
        let set_at_once = minutes.is_some_and(|minutes| minutes <= self.thick_minutes);
        match test.worst() {
            Grade::Good if set_slowly => TestGrade::UsableThin,
            Grade::Good => TestGrade::Good,
            Grade::Fair if set_slowly => TestGrade::UsableThin,
            Grade::Fair if set_at_once => TestGrade::UsableThick,
            Grade::Fair => TestGrade::Usable,
            Grade::Poor if set_late => TestGrade::FailedUnder,
            Grade::Poor if set_at_once => TestGrade::FailedOver,
            Grade::Poor => TestGrade::Failed,
        }
    }

    /// What follows from a grade, in the site's own words.
    pub fn follows(&self, grade: TestGrade) -> String {
        let Follows { a, b, c, d, e } = &self.follows;
        match grade {
            TestGrade::Good => a.clone(),
            TestGrade::UsableThin => b.clone(),
            TestGrade::UsableThick => c.clone(),
            TestGrade::Usable => format!("If it is thin: {b} If it is thick: {c}"),
            TestGrade::FailedUnder => d.clone(),
            TestGrade::FailedOver => e.clone(),
            TestGrade::Failed => format!("If it is thin: {d} If it is thick: {e}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn letter(family: Family, worst: Grade, minutes: Option<f64>) -> &'static str {
        let test = TemperTest { gloss: Grade::Good, contraction: worst, snap: Grade::Good, minutes };
        TemperTestRules::default().grade(family, &test).letter()
    }

    #[test]
    fn looks_decide_and_the_set_time_says_on_which_side() {
        let of = |worst, minutes| letter(Family::Dark, worst, minutes);
        assert_eq!(
            [of(Grade::Good, None), of(Grade::Good, Some(5.0)), of(Grade::Good, Some(6.0))],
            ["A", "A", "B"]
        );
        assert_eq!(
            [of(Grade::Fair, Some(7.0)), of(Grade::Fair, Some(3.0)), of(Grade::Fair, None)],
            ["B", "C", "B or C"]
        );
        assert_eq!(
            [of(Grade::Poor, Some(12.0)), of(Grade::Poor, Some(1.0)), of(Grade::Poor, Some(5.0))],
            ["D", "E", "D or E"]
        );
    }

    #[test]
    fn milk_and_white_may_take_longer() {
        assert_eq!(letter(Family::Milk, Grade::Good, Some(7.0)), "A");
        assert_eq!(letter(Family::White, Grade::Good, Some(7.5)), "B");
    }
}
