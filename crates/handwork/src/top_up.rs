//! More couverture into a charge that is worked with: solid, or warm and melted.
//!
//! Solid pieces cool and seed at once; warm liquid carries no crystals, so that those that are there are thinned out. Either way the
//! charge is another one afterwards, and only a new temper test says how it is.

use maths::heat::{Addition, Share};
use plant::{Family, Limits};

use crate::Figure;
use crate::given::{Refusal, chocolate, mass, melt, refused, solid};
use crate::seed::lands;
use crate::vessel::Vessel;

/// A charge this far below its working range is no charge to be topped up, °C.
const COLDEST_BELOW_WORKING_C: f64 = 4.0;

/// In which state it is added.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TopUpState {
    /// Pieces, in temper.
    Solid,
    /// Melted, without crystals.
    Liquid,
}

/// The question.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TopUp {
    /// Dark, milk or white.
    pub family: Family,
    /// Of the couverture, in its machine.
    pub limits: Limits,
    /// What is there, kg.
    pub charge_kg: f64,
    /// How warm it is, °C.
    pub charge_c: f64,
    /// What is added, kg.
    pub added_kg: f64,
    /// How warm that is, °C.
    pub added_c: f64,
    /// Solid or melted.
    pub state: TopUpState,
    /// What the charge stands in; `None` leaves it out.
    pub vessel: Option<Vessel>,
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub struct TopUpAnswer {
    /// The addition as a share of the total afterwards.
    pub of_total: f64,
    /// The lowest end: all of it melts. °C
    pub lowest_c: f64,
    /// The highest end: none of it melts; the same as the lowest for a liquid. °C
    pub highest_c: f64,
    /// The most that keeps the charge in its working range whatever melts, kg; `None` if it is outside already.
    pub most_kg: Option<f64>,
    /// What that means.
    pub says: String,
}

impl TopUpAnswer {
    /// The figures, in the order in which people ask.
    pub fn figures(&self) -> Vec<Figure> {
        let most =
            self.most_kg.map(|most| ("at most", format!("{most:.2} kg keep it in its range whatever melts")));
        let figures = [
            ("added", format!("{:.1} % of the total", self.of_total * 100.0)),
            ("lands at", lands(self.lowest_c, self.highest_c)),
        ];
        figures.into_iter().chain(most).collect()
    }
}

impl TopUp {
    /// Works it out.
    ///
    /// # Errors
    /// In words, for what makes no sense.
    pub fn answer(&self) -> Result<TopUpAnswer, Refusal> {
        let working = self.limits.working;
        let charge_kg = mass("The charge", self.charge_kg)?;
        let added_kg = mass("The top-up", self.added_kg)?;
        let charge_c =
            melt(self.family, &self.limits, self.charge_c, working.low() - COLDEST_BELOW_WORKING_C)?;
        let added_c = match self.state {
            TopUpState::Solid => solid("A solid top-up", self.family, &self.limits, self.added_c)?,
            TopUpState::Liquid => {
                // Warm enough to have no crystals of its own, which is what makes it a liquid here.
                melt(self.family, &self.limits, self.added_c, self.limits.temper_loss)?
            }
        };
        let addition = Addition {
            melt_c: charge_c,
            added_c,
            vessel_kj_per_kg_k: Vessel::for_each_kg(self.vessel, charge_kg)?,
        };
        let constants = chocolate(self.family);
        let landing = Share::of_masses(charge_kg, added_kg)
            .and_then(|share| Some((share.of_total()?, addition.landing(&constants, share)?)));
        let Some((of_total, landing)) = landing else { return refused("These figures give no answer.") };
        let (lowest_c, bound, melted) = match self.state {
            TopUpState::Solid => (landing.all_melted_c, working.low(), 1.0),
            TopUpState::Liquid => (landing.none_melted_c, working.high(), 0.0),
        };
        let most_kg = working
            .holds(charge_c, 0.0)
            .then(|| addition.share_to_land_at(&constants, bound, melted))
            .flatten()
            .and_then(Share::for_each_kg_of_melt)
            .map(|ratio| ratio * charge_kg);
        let highest_c = landing.none_melted_c;
        let says = self.says(of_total, lowest_c, highest_c, most_kg);
        Ok(TopUpAnswer { of_total, lowest_c, highest_c, most_kg, says })
    }

    fn says(&self, of_total: f64, lowest_c: f64, highest_c: f64, most_kg: Option<f64>) -> String {
        let working = self.limits.working;
        let (low, high) = (working.low(), working.high());
        let outcome = if self.limits.temper_loss < highest_c {
            format!(
                "It may come to {highest_c:.1} °C, above the temper-loss limit {:.1} °C: the crystals that are there melt away.",
                self.limits.temper_loss
            )
        } else if lowest_c < low {
            format!(
                "It may fall to {lowest_c:.1} °C, below the working range {low:.1}–{high:.1} °C: it thickens and lumps stay."
            )
        } else if high < highest_c {
            format!("It may come to {highest_c:.1} °C, above the working range {low:.1}–{high:.1} °C.")
        } else {
            format!("It stays in the working range {low:.1}–{high:.1} °C.")
        };
        let portions = match most_kg {
            Some(most) if most < self.added_kg => {
                format!(" Add at most {most:.2} kg at a time, and let it settle 5 to 10 minutes between.")
            }
            Some(_) | None => String::new(),
        };
        let crystals = match self.state {
            TopUpState::Solid => "Pieces bring crystals of their own".to_owned(),
            TopUpState::Liquid => {
                format!("The crystals that are there are thinned to {:.0} %", (1.0 - of_total) * 100.0)
            }
        };
        format!("{outcome}{portions} {crystals}: a new temper test is due.")
    }
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};

    use super::*;
    use crate::vessel::Material;

    fn dark(charge_c: f64, added_kg: f64, added_c: f64, state: TopUpState) -> TopUp {
        let limits = Family::Dark.default_limits();
        let charge_kg = 10.0 - added_kg;
        TopUp { family: Family::Dark, limits, charge_kg, charge_c, added_kg, added_c, state, vessel: None }
    }

    /// The trade's quick rules: 5 % of the total at 20 °C into 31.5 °C is −0.6 °C (unmelted) to −2.0 °C (melted); 5 % and 10 % of liquid
    /// at 40 °C into 31 °C are +0.45 and +0.9 °C, and the crystals are thinned by as much.
    #[test]
    fn quick_rules() {
        let solid = dark(31.5, 0.5, 20.0, TopUpState::Solid).answer().unwrap();
        let rounded = |celsius: f64| (celsius * 100.0).round() / 100.0;
        assert_eq!((rounded(solid.lowest_c), rounded(solid.highest_c)), (29.49, 30.93));
        let warm = |kg| dark(31.0, kg, 40.0, TopUpState::Liquid).answer().unwrap();
        assert_eq!(rounded(warm(0.5).lowest_c), 31.45);
        assert_eq!(rounded(warm(1.0).highest_c), 31.9);
        assert!((warm(1.0).of_total - 0.1).abs() < 1e-12);
    }

    #[test]
    fn the_most_that_stays_in_the_range() {
        let warm = dark(31.0, 1.0, 40.0, TopUpState::Liquid);
        let most = warm.answer().unwrap().most_kg.unwrap();
        let at_most = TopUp { added_kg: most, ..warm }.answer().unwrap();
        assert!((at_most.highest_c - 32.0).abs() < 1e-9);
        assert_eq!(dark(33.0, 1.0, 40.0, TopUpState::Liquid).answer().unwrap().most_kg, None);
    }

    #[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
    fn check(question: TopUp, expected: Expect) {
        expected
            .assert_eq(&question.answer().map_or_else(|refusal| refusal.to_string(), |answer| answer.says));
    }

    #[test]
    fn what_it_means() {
        check(
            dark(31.5, 0.5, 20.0, TopUpState::Solid),
            expect![
                "It may fall to 29.5 °C, below the working range 31.0–32.0 °C: it thickens and lumps stay. Add at most 0.12 kg at a time, and let it settle 5 to 10 minutes between. Pieces bring crystals of their own: a new temper test is due."
            ],
        );
        check(
            dark(31.0, 0.5, 40.0, TopUpState::Liquid),
            expect![
                "It stays in the working range 31.0–32.0 °C. The crystals that are there are thinned to 95 %: a new temper test is due."
            ],
        );
        check(
            dark(31.0, 4.0, 45.0, TopUpState::Liquid),
            expect![
                "It may come to 36.6 °C, above the temper-loss limit 33.5 °C: the crystals that are there melt away. Add at most 0.46 kg at a time, and let it settle 5 to 10 minutes between. The crystals that are there are thinned to 60 %: a new temper test is due."
            ],
        );
        let bowl = Some(Vessel { mass_kg: 2.0, material: Material::Glass });
        check(
            TopUp { vessel: bowl, ..dark(31.8, 0.1, 20.0, TopUpState::Solid) },
            expect![
                "It stays in the working range 31.0–32.0 °C. Pieces bring crystals of their own: a new temper test is due."
            ],
        );
    }

    #[test]
    fn what_makes_no_sense() {
        check(
            dark(20.0, 0.5, 20.0, TopUpState::Solid),
            expect!["At 20.0 °C dark is not melted: from 27.0 °C on this sum holds."],
        );
        check(
            dark(31.5, 0.5, 36.0, TopUpState::Solid),
            expect![
                "A solid top-up at 36.0 °C has reached the temper-loss limit 33.5 °C of dark: it carries no crystals that can be trusted. Take some that was kept cool."
            ],
        );
        check(
            dark(31.5, 0.5, 30.0, TopUpState::Liquid),
            expect!["At 30.0 °C dark is not melted: from 33.5 °C on this sum holds."],
        );
        check(
            dark(31.5, -1.0, 20.0, TopUpState::Solid),
            expect!["The top-up is -1 kg; it should be above zero and at most 100000 kg."],
        );
    }
}
