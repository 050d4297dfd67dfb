//! Back to the melt: how much heat that takes, and how long a heater is at it at least.
//!
//! What is solid has to melt first, and that is more than half of the heat. How much is solid is not known beforehand: the two ends are
//! all of it (a block that has set) and none of it (still liquid). Losses to room and water come on top, so that the minutes are the
//! least that are possible.

use plant::{Family, Limits};

use crate::Figure;
use crate::given::{Refusal, chocolate, mass, melt, refused};
use crate::vessel::Vessel;

/// The weakest and the strongest heater that makes sense, W: a pad under a bowl, a tank of some tonnes.
const HEATERS_W: (f64, f64) = (5.0, 200_000.0);
/// Colder is no couverture of a works, °C.
const COLDEST_C: f64 = -30.0;

/// The question.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Remelt {
    /// Dark, milk or white.
    pub family: Family,
    /// Of the couverture, in its machine.
    pub limits: Limits,
    /// What is to be melted, kg.
    pub mass_kg: f64,
    /// How warm it is, °C.
    pub now_c: f64,
    /// How warm it is to become, °C; the lower end of the full melt if nothing is said.
    pub to_c: Option<f64>,
    /// What the heater gives into the mass, W, if known.
    pub heater_w: Option<f64>,
    /// What it stands in; `None` leaves it out.
    pub vessel: Option<Vessel>,
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub struct RemeltAnswer {
    /// How warm it is to become, °C.
    pub to_c: f64,
    /// Heat if nothing is solid, kJ.
    pub least_kj: f64,
    /// Heat if all of it is solid, kJ.
    pub most_kj: f64,
    /// Minutes of that heater for both, at least.
    pub minutes: Option<(f64, f64)>,
    /// What that means.
    pub says: String,
}

impl RemeltAnswer {
    /// The figures, in the order in which people ask.
    pub fn figures(&self) -> Vec<Figure> {
        let minutes = self.minutes.map(|(least, most)| ("at least", format!("{least:.0} to {most:.0} min")));
        let heat = ("heat", format!("{:.0} to {:.0} kJ", self.least_kj, self.most_kj));
        [heat].into_iter().chain(minutes).collect()
    }
}

impl Remelt {
    /// Works it out.
    ///
    /// # Errors
    /// In words, for what makes no sense.
    pub fn answer(&self) -> Result<RemeltAnswer, Refusal> {
        let kg = mass("The mass", self.mass_kg)?;
        let to_c = self.to_c.unwrap_or(self.limits.melt.low());
        if self.limits.scorch < to_c {
            return refused(format!(
                "{to_c:.1} °C is above the scorch limit {:.1} °C of {}; stay below it.",
                self.limits.scorch,
                self.family.as_str()
            ));
        }
        let to_c = melt(self.family, &self.limits, to_c, self.limits.melt.low())?;
        if !(COLDEST_C <= self.now_c && self.now_c < to_c) {
            return refused(format!(
                "From {:.1} °C to {to_c:.1} °C is no way up; give how warm it is now.",
                self.now_c
            ));
        }
        if let Some(watts) = self.heater_w
            && !(HEATERS_W.0 <= watts && watts <= HEATERS_W.1)
        {
            return refused(format!(
                "A heater gives from {} to {} W; {watts} W is none.",
                HEATERS_W.0, HEATERS_W.1
            ));
        }
        let constants = chocolate(self.family);
        let vessel = Vessel::for_each_kg(self.vessel, kg)?;
        let least_kj = kg * (constants.specific_kj_per_kg_k + vessel) * (to_c - self.now_c);
        let most_kj = least_kj + kg * constants.latent_kj_per_kg;
        let minutes = self.heater_w.map(|watts| {
            let minutes = |kj: f64| kj * 1000.0 / watts / 60.0;
            (minutes(least_kj), minutes(most_kj))
        });
        let time = match minutes {
            Some((least, most)) => {
                format!(" That heater needs {least:.0} to {most:.0} minutes at least; losses come on top.")
            }
            None => String::new(),
        };
        let says = format!(
            "To bring {kg} kg from {:.1} °C to {to_c:.1} °C takes {least_kj:.0} kJ if nothing is solid and {most_kj:.0} kJ if all of it is.{time} \
             Heat slowly and stir: the wall is hotter than the probe, and above {:.1} °C it burns. Afterwards there are no crystals left, and \
             it is tempered anew.",
            self.now_c, self.limits.scorch
        );
        Ok(RemeltAnswer { to_c, least_kj, most_kj, minutes, says })
    }
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};

    use super::*;

    fn dark(mass_kg: f64, now_c: f64) -> Remelt {
        let limits = Family::Dark.default_limits();
        Remelt { family: Family::Dark, limits, mass_kg, now_c, to_c: None, heater_w: None, vessel: None }
    }

    /// The trade's worked number: from 20 to 45 °C dark takes 25·1.6 + 46 = 86 kJ/kg (constants of Beckett 2009). A heater of 500 W warms
    /// 6 kg that are liquid by 3.1 °C a minute.
    #[test]
    fn worked_numbers() {
        let cold = dark(1.0, 20.0).answer().unwrap();
        assert_eq!((cold.to_c, cold.most_kj, cold.least_kj), (45.0, 86.0, 40.0));
        let liquid = Remelt { heater_w: Some(500.0), ..dark(6.0, 41.9) }.answer().unwrap();
        assert!((liquid.minutes.unwrap().0 - 0.99).abs() < 0.01);
    }

    #[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
    fn check(question: Remelt, expected: Expect) {
        expected
            .assert_eq(&question.answer().map_or_else(|refusal| refusal.to_string(), |answer| answer.says));
    }

    #[test]
    fn in_words() {
        check(
            Remelt { heater_w: Some(400.0), ..dark(6.0, 30.0) },
            expect![
                "To bring 6 kg from 30.0 °C to 45.0 °C takes 144 kJ if nothing is solid and 420 kJ if all of it is. That heater needs 6 to 18 minutes at least; losses come on top. Heat slowly and stir: the wall is hotter than the probe, and above 55.0 °C it burns. Afterwards there are no crystals left, and it is tempered anew."
            ],
        );
        check(dark(6.0, 46.0), expect!["From 46.0 °C to 45.0 °C is no way up; give how warm it is now."]);
        check(
            Remelt { to_c: Some(58.0), ..dark(6.0, 30.0) },
            expect!["58.0 °C is above the scorch limit 55.0 °C of dark; stay below it."],
        );
        check(
            Remelt { to_c: Some(35.0), ..dark(6.0, 30.0) },
            expect!["At 35.0 °C dark is not melted: from 45.0 °C on this sum holds."],
        );
        check(
            Remelt { heater_w: Some(0.0), ..dark(6.0, 30.0) },
            expect!["A heater gives from 5 to 200000 W; 0 W is none."],
        );
        check(
            dark(f64::INFINITY, 30.0),
            expect!["The mass is inf kg; it should be above zero and at most 100000 kg."],
        );
    }
}
