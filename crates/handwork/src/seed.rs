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
        /// Per cent.
        const ALL: f64 = 100.0;
        let working = self.limits.working;
        let (low, high) = (working.low(), working.high());
        if high < answer.all_melted_c {
            let above = tenth(answer.all_melted_c) - high;
            let at = format!(
                "the mass is at {:.1} °C, above the working range {low:.1}–{high:.1} °C by {above:.1} °C",
                tenth(answer.all_melted_c)
            );
            return if self.limits.temper_loss <= answer.all_melted_c {
                format!(
                    "All of the seed melts and nothing is left over to seed with: even then {at}. Let the melt cool first, or add more."
                )
            } else {
                format!(
                    "Even if all of it melts {at}: until it has cooled there, few crystals are left. Let the melt cool first, or add more."
                )
            };
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
        let percent = |share: f64| (share.clamp(0.0, 1.0) * 100.0).round();
        let lands = format!("It can land in the working range {low:.1}–{high:.1} °C");
        match (percent(at_high), percent(at_low)) {
            (ALL, _) => format!(
                "{lands}, but for that all of the seed melts and nothing is left over to seed with. Let the melt cool first, or add more."
            ),
            (some, ALL) => format!(
                "{lands}: at {high:.1} °C {some:.0} % of the seed has melted, and what is left over carries crystals; at {:.1} °C all of it \
                 has melted, and nothing is left over to seed with. Stir, measure, and lift out lumps that stay.",
                tenth(answer.all_melted_c.max(low))
            ),
            (some, more) => format!(
                "{lands}: for that {some:.0} to {more:.0} % of the seed melts, and what is left over carries crystals. Stir, measure, and lift \
                 out lumps that stay."
            ),
        }
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
mod tests;
