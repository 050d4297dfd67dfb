//! How much seed, and where the mass lands with it.
//!
//! "A quarter" means two things that differ by about 2.7 °C in a dark batch from 45 °C, so that the question says which: of the melt, or
//! of the total afterwards. Nothing is filled in by itself. The balance and its constants stand in `maths::heat`.

use maths::heat::{Addition, Share};
use plant::{Family, Limits};

use crate::Figure;
use crate::given::{Refusal, chocolate, mass, melt, refused, solid};
use crate::vessel::Vessel;

/// A melt for seed begins so far above its working range, °C: below it there is nothing left to cool away.
const MELT_ABOVE_WORKING_C: f64 = 0.5;
/// Seed of more than so many times the melt is a typing error.
const MOST_SEED_A_MELT: f64 = 3.0;

/// Which mass is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Mass {
    /// What is melted, before the seed.
    Melt(f64),
    /// Melt and seed together.
    Total(f64),
}

/// How much seed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Amount {
    /// A share of the melt: a quarter is 1.5 kg into 6 kg.
    OfMelt(f64),
    /// A share of the total afterwards: a quarter is 1.5 kg into 4.5 kg.
    OfTotal(f64),
    /// So many kilograms.
    Kilograms(f64),
    /// As much as brings the mass to this temperature, if all of the seed melts.
    ToLandAt(f64),
}

/// The question.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seed {
    /// Dark, milk or white.
    pub family: Family,
    /// Of the couverture, in its machine.
    pub limits: Limits,
    /// What is there.
    pub mass: Mass,
    /// How warm the melt is, °C.
    pub melt_c: f64,
    /// How warm the seed is, °C.
    pub seed_c: f64,
    /// How much of it.
    pub amount: Amount,
    /// What the melt stands in; `None` leaves it out.
    pub vessel: Option<Vessel>,
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub struct SeedAnswer {
    /// What is melted, kg.
    pub melt_kg: f64,
    /// What is added, kg.
    pub seed_kg: f64,
    /// Seed as a share of the melt.
    pub of_melt: f64,
    /// Seed as a share of the total.
    pub of_total: f64,
    /// Where it lands if all of the seed melts: the lowest end, °C.
    pub all_melted_c: f64,
    /// Where it lands if none of it does: the highest end, °C.
    pub none_melted_c: f64,
    /// What that means, a sentence or two.
    pub says: String,
}

impl SeedAnswer {
    /// The figures, in the order in which people ask.
    pub fn figures(&self) -> Vec<Figure> {
        vec![
            ("melt", format!("{:.3} kg", self.melt_kg)),
            ("seed", format!("{:.3} kg", self.seed_kg)),
            (
                "which is",
                format!(
                    "{:.1} % of the melt, {:.1} % of the total",
                    self.of_melt * 100.0,
                    self.of_total * 100.0
                ),
            ),
            ("lands at", lands(self.all_melted_c, self.none_melted_c)),
        ]
    }
}

/// Both ends, or the one if they are the same.
pub(crate) fn lands(lowest_c: f64, highest_c: f64) -> String {
    /// Less than a thermometer shows, °C.
    const SAME_C: f64 = 0.05;
    if highest_c - lowest_c < SAME_C {
        format!("{lowest_c:.1} °C")
    } else {
        format!("{:.1} °C if all of it melts, {:.1} °C if none of it does", tenth(lowest_c), tenth(highest_c))
    }
}

/// To a tenth, a half upwards, as people round: the formatter takes it to the even neighbour.
pub(crate) fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

/// `25%` or `0.25`. A bare `25` is refused, because it could be either.
///
/// # Errors
/// In words, for what is not a share.
pub fn share_of_text(text: &str) -> Result<f64, Refusal> {
    let trimmed = text.trim();
    let (number, is_percent) = match trimmed.strip_suffix('%') {
        Some(number) => (number.trim_end(), true),
        None => (trimmed, false),
    };
    let value = number.replace(',', ".").parse::<f64>().ok().filter(|value| value.is_finite());
    match value {
        Some(value) if is_percent => Ok(value / 100.0),
        Some(value) if value <= MOST_SEED_A_MELT => Ok(value),
        Some(value) => refused(format!("{value} could be a share or per cent; write {value}% or 0.25.")),
        None => {
            let shown: String = trimmed.chars().take(40).collect();
            refused(format!("`{shown}` is not a share; write 25% or 0.25."))
        }
    }
}

impl Seed {
    /// Works it out.
    ///
    /// # Errors
    /// In words, for what makes no sense.
    pub fn answer(&self) -> Result<SeedAnswer, Refusal> {
        let working = self.limits.working;
        let melt_c = melt(self.family, &self.limits, self.melt_c, working.high() + MELT_ABOVE_WORKING_C)?;
        let seed_c = solid("Seed", self.family, &self.limits, self.seed_c)?;
        let (melt_kg, ratio) = match self.amount {
            Amount::ToLandAt(end_c) => self.landing_at(melt_c, seed_c, end_c)?,
            Amount::OfMelt(share) => self.masses(for_each_kg(Share::OfMelt(share))?)?,
            Amount::OfTotal(share) => self.masses(for_each_kg(Share::OfTotal(share))?)?,
            Amount::Kilograms(kg) => {
                let seed_kg = mass("The seed", kg)?;
                let melt_kg = match self.mass {
                    Mass::Melt(melt_kg) => mass("The melt", melt_kg)?,
                    Mass::Total(total) if seed_kg < total => mass("The total", total)? - seed_kg,
                    Mass::Total(total) => {
                        return refused(format!(
                            "{seed_kg} kg of seed leave no melt in a total of {total} kg."
                        ));
                    }
                };
                (melt_kg, seed_kg / melt_kg)
            }
        };
        if MOST_SEED_A_MELT < ratio {
            return refused(format!(
                "That would be {:.1} kg of seed for each kg of melt; look at the masses again.",
                ratio
            ));
        }
        let addition = Addition {
            melt_c,
            added_c: seed_c,
            vessel_kj_per_kg_k: Vessel::for_each_kg(self.vessel, melt_kg)?,
        };
        let share = Share::OfMelt(ratio);
        let landing = addition.landing(&chocolate(self.family), share);
        let Some(landing) = landing else { return refused("These figures give no answer.") };
        let mut answer = SeedAnswer {
            melt_kg,
            seed_kg: melt_kg * ratio,
            of_melt: ratio,
            of_total: ratio / (1.0 + ratio),
            all_melted_c: landing.all_melted_c,
            none_melted_c: landing.none_melted_c,
            says: String::new(),
        };
        let melted = |end_c| addition.melted_share(&chocolate(self.family), share, end_c);
        answer.says = self.says(&answer, melted(working.high()).zip(melted(working.low())));
        Ok(answer)
    }

    fn masses(&self, ratio: f64) -> Result<(f64, f64), Refusal> {
        let melt_kg = match self.mass {
            Mass::Melt(kg) => mass("The melt", kg)?,
            Mass::Total(kg) => mass("The total", kg)? / (1.0 + ratio),
        };
        Ok((melt_kg, ratio))
    }

    /// Melt and seed so that all-melted seed brings it to `end_c`. With a vessel and a total, each step knows the melt better.
    fn landing_at(&self, melt_c: f64, seed_c: f64, end_c: f64) -> Result<(f64, f64), Refusal> {
        /// The vessel's part changes little with the melt: a handful of steps agree to a gram.
        const STEPS: usize = 40;
        if !(seed_c < end_c && end_c < melt_c) {
            return refused(format!(
                "{end_c:.1} °C does not lie between seed at {seed_c:.1} °C and melt at {melt_c:.1} °C; no amount of seed lands there."
            ));
        }
        let mut ratio = 0.0;
        let mut melt_kg = self.masses(ratio)?.0;
        for _ in 0..STEPS {
            let vessel_kj_per_kg_k = Vessel::for_each_kg(self.vessel, melt_kg)?;
            let addition = Addition { melt_c, added_c: seed_c, vessel_kj_per_kg_k };
            let share = addition.share_to_land_at(&chocolate(self.family), end_c, 1.0);
            let Some(found) = share.and_then(Share::for_each_kg_of_melt) else {
                return refused("These figures give no answer.");
            };
            ratio = found;
            melt_kg = self.masses(ratio)?.0;
        }
        Ok((melt_kg, ratio))
    }

    /// `melted` is the share that has to melt to land at the upper and at the lower end of the working range.
    fn says(&self, answer: &SeedAnswer, melted: Option<(f64, f64)>) -> String {
        let working = self.limits.working;
        let (low, high) = (working.low(), working.high());
        if high < answer.all_melted_c {
            let above = tenth(answer.all_melted_c) - high;
            return format!(
                "Even if all of it melts the mass is at {:.1} °C, above the working range {low:.1}–{high:.1} °C by {above:.1} °C: until it \
                 has cooled there, few crystals are left. Let the melt cool first, or add more.",
                tenth(answer.all_melted_c)
            );
        }
        if answer.none_melted_c < low {
            return format!(
                "Even if none of it melts the mass is at {:.1} °C, below the working range {low:.1}–{high:.1} °C: it sets before it is \
                 mixed. Take less seed, or a warmer melt.",
                tenth(answer.none_melted_c)
            );
        }
        let Some((at_high, at_low)) = melted else {
            return format!("It can land in the working range {low:.1}–{high:.1} °C.");
        };
        let percent = |share: f64| share.clamp(0.0, 1.0) * 100.0;
        format!(
            "It can land in the working range {low:.1}–{high:.1} °C: for that {:.0} to {:.0} % of the seed melts, and what is left over \
             carries crystals. Stir, measure, and lift out lumps that stay.",
            percent(at_high),
            percent(at_low)
        )
    }
}

fn for_each_kg(share: Share) -> Result<f64, Refusal> {
    match share.for_each_kg_of_melt() {
        Some(ratio) if 0.0 < ratio => Ok(ratio),
        Some(_) | None => match share {
            Share::OfMelt(_) => refused("A share of the melt should be above zero, such as 25%."),
            Share::OfTotal(_) => {
                refused("A share of the total should be above zero and below 100%, such as 20%.")
            }
        },
    }
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};
    use proptest::prelude::*;

    use super::*;
    use crate::vessel::Material;

    fn dark(mass: Mass, amount: Amount) -> Seed {
        let limits = Family::Dark.default_limits();
        Seed { family: Family::Dark, limits, mass, melt_c: 45.0, seed_c: 20.0, amount, vessel: None }
    }

    const BOWL: Option<Vessel> = Some(Vessel { mass_kg: 3.0, material: Material::Steel });

    /// The trade's worked numbers: 6 kg of dark at 45 °C and 1.5 kg of drops at 20 °C, the two meanings of a quarter, each with and
    /// without a steel bowl of 3 kg; milk from 42 °C. Printed to 0.1 °C there.
    #[test]
    fn six_kilograms_and_a_quarter() {
        let ends = |seed: Seed| {
            let answer = seed.answer().unwrap();
            ((answer.all_melted_c * 10.0).round() / 10.0, (answer.none_melted_c * 10.0).round() / 10.0)
        };
        let of_melt = dark(Mass::Melt(6.0), Amount::OfMelt(0.25));
        assert_eq!(ends(of_melt), (34.3, 40.0));
        assert_eq!(ends(Seed { vessel: BOWL, ..of_melt }).0, 35.4);
        let of_total = dark(Mass::Total(6.0), Amount::OfTotal(0.25));
        assert_eq!(ends(of_total).0, 31.6);
        assert_eq!(ends(Seed { vessel: BOWL, ..of_total }).0, 33.4);
        let masses = of_total.answer().unwrap();
        assert_eq!((masses.melt_kg, masses.seed_kg), (4.5, 1.5));
        let milk =
            Seed { family: Family::Milk, limits: Family::Milk.default_limits(), melt_c: 42.0, ..of_melt };
        assert_eq!(ends(milk).0, 32.1);
        assert_eq!(
            of_melt.answer().unwrap(),
            dark(Mass::Melt(6.0), Amount::Kilograms(1.5)).answer().unwrap()
        );
    }

    /// By hand, as a ledger of heat and not by the formula, with the constants of Beckett 2009 (1.6 kJ/(kg K), 46 kJ/kg): what melt and
    /// bowl give off between 45 °C and the end, the seed takes up between 20 °C and the end and in melting. For 6 kg, 1.5 kg and no bowl
    /// at 34.25 °C: 6·1.6·10.75 = 103.2 kJ; 1.5·1.6·14.25 + 1.5·46 = 34.2 + 69.0 = 103.2 kJ. The same way of reckoning as OpenStax,
    /// College Physics 14.3, example "ice in soda".
    #[test]
    fn what_is_given_is_taken() {
        let bare = dark(Mass::Melt(6.0), Amount::Kilograms(1.5)).answer().unwrap();
        assert!((bare.all_melted_c - 34.25).abs() < 1e-9);
        let with_bowl =
            Seed { vessel: BOWL, ..dark(Mass::Melt(6.0), Amount::Kilograms(1.5)) }.answer().unwrap();
        for (end_c, melted) in [(with_bowl.all_melted_c, 1.5), (with_bowl.none_melted_c, 0.0)] {
            let given = 6.0 * 1.6 * (45.0 - end_c) + 3.0 * 0.5 * (45.0 - end_c);
            let taken = 1.5 * 1.6 * (end_c - 20.0) + melted * 46.0;
            assert!((given - taken).abs() < 1e-9, "{given} {taken}");
        }
    }

    /// Landing at 32 °C from 45 °C takes 24 % of the total (the trade's worked number).
    #[test]
    fn how_much_to_land_there() {
        let answer = dark(Mass::Melt(6.0), Amount::ToLandAt(32.0)).answer().unwrap();
        assert_eq!((answer.of_total * 100.0).round(), 24.0);
        assert!((answer.all_melted_c - 32.0).abs() < 1e-9);
        let total = Seed { vessel: BOWL, ..dark(Mass::Total(6.0), Amount::ToLandAt(32.0)) }.answer().unwrap();
        assert!(
            (total.all_melted_c - 32.0).abs() < 1e-6 && (total.melt_kg + total.seed_kg - 6.0).abs() < 1e-6
        );
    }

    #[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
    fn check(seed: Seed, expected: Expect) {
        expected.assert_eq(&seed.answer().map_or_else(|refusal| refusal.to_string(), |answer| answer.says));
    }

    #[test]
    fn what_it_means() {
        check(
            dark(Mass::Melt(6.0), Amount::OfMelt(0.25)),
            expect![
                "Even if all of it melts the mass is at 34.3 °C, above the working range 31.0–32.0 °C by 2.3 °C: until it has cooled there, few crystals are left. Let the melt cool first, or add more."
            ],
        );
        check(
            dark(Mass::Total(6.0), Amount::OfTotal(0.25)),
            expect![
                "It can land in the working range 31.0–32.0 °C: for that 94 to 100 % of the seed melts, and what is left over carries crystals. Stir, measure, and lift out lumps that stay."
            ],
        );
        check(
            dark(Mass::Melt(1.0), Amount::Kilograms(1.4)),
            expect![
                "Even if none of it melts the mass is at 30.4 °C, below the working range 31.0–32.0 °C: it sets before it is mixed. Take less seed, or a warmer melt."
            ],
        );
    }

    #[test]
    fn what_makes_no_sense() {
        let quarter = dark(Mass::Melt(6.0), Amount::OfMelt(0.25));
        check(
            Seed { melt_c: 60.0, ..quarter },
            expect![
                "A melt at 60.0 °C is above the scorch limit 55.0 °C of dark: take it off the heat and let somebody judge it before anything is added."
            ],
        );
        check(
            Seed { melt_c: 31.0, ..quarter },
            expect!["At 31.0 °C dark is not melted: from 32.5 °C on this sum holds."],
        );
        check(Seed { melt_c: f64::NAN, ..quarter }, expect!["The temperature of the melt is not a number."]);
        check(
            Seed { seed_c: 34.0, ..quarter },
            expect![
                "Seed at 34.0 °C has reached the temper-loss limit 33.5 °C of dark: it carries no crystals that can be trusted. Take some that was kept cool."
            ],
        );
        check(
            Seed { seed_c: -300.0, ..quarter },
            expect!["Seed at -300 °C is colder than anything in a works."],
        );
        check(
            Seed { mass: Mass::Melt(0.0), ..quarter },
            expect!["The melt is 0 kg; it should be above zero and at most 100000 kg."],
        );
        check(
            dark(Mass::Melt(6.0), Amount::OfTotal(1.0)),
            expect!["A share of the total should be above zero and below 100%, such as 20%."],
        );
        check(
            dark(Mass::Melt(6.0), Amount::OfMelt(-0.1)),
            expect!["A share of the melt should be above zero, such as 25%."],
        );
        check(
            dark(Mass::Total(1.0), Amount::Kilograms(1.5)),
            expect!["1.5 kg of seed leave no melt in a total of 1 kg."],
        );
        check(
            dark(Mass::Melt(6.0), Amount::ToLandAt(46.0)),
            expect![
                "46.0 °C does not lie between seed at 20.0 °C and melt at 45.0 °C; no amount of seed lands there."
            ],
        );
        check(
            dark(Mass::Melt(0.1), Amount::Kilograms(5.0)),
            expect!["That would be 50.0 kg of seed for each kg of melt; look at the masses again."],
        );
        check(
            Seed { vessel: Some(Vessel { mass_kg: 0.0, material: Material::Steel }), ..quarter },
            expect!["The vessel is 0 kg; it should be above zero and at most 100000 kg."],
        );
    }

    #[test]
    fn a_share_is_written_so_that_it_cannot_be_misread() {
        assert_eq!(share_of_text("25%"), Ok(0.25));
        assert_eq!(share_of_text("12,5 %"), Ok(0.125));
        assert_eq!(share_of_text("0.25"), Ok(0.25));
        assert_eq!(
            share_of_text("25").unwrap_err().to_string(),
            "25 could be a share or per cent; write 25% or 0.25."
        );
        assert_eq!(
            share_of_text("much").unwrap_err().to_string(),
            "`much` is not a share; write 25% or 0.25."
        );
    }

    proptest! {
        /// Whatever is typed: an answer with its ends in order, or a sentence; never a panic and never NaN.
        #[test]
        fn any_input(
            kg in proptest::num::f64::ANY, melt_c in proptest::num::f64::ANY, seed_c in proptest::num::f64::ANY,
            amount in proptest::num::f64::ANY, which in 0..4,
        ) {
            let amount = match which {
                0 => Amount::OfMelt(amount),
                1 => Amount::OfTotal(amount),
                2 => Amount::Kilograms(amount),
                _ => Amount::ToLandAt(amount),
            };
            let seed = Seed { melt_c, seed_c, ..dark(Mass::Total(kg), amount) };
            match seed.answer() {
                Ok(answer) => prop_assert!(answer.all_melted_c <= answer.none_melted_c && answer.seed_kg.is_finite()),
                Err(refusal) => prop_assert!(!refusal.to_string().is_empty()),
            }
        }
    }
}
