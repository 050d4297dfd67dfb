//! # Heat balance
//!
//! What a mass will come to when something of another temperature is stirred into it: seed, top-up, or warm liquid.
//!
//! ```text
//! T_end = ((c + C_v) T_m + r c T_a − r x L) / ((1 + r) c + C_v)
//! r     = (c + C_v)(T_m − T_end) / (c (T_end − T_a) + x L)
//! ```
//!
//! | symbol | meaning | unit |
//! | --- | --- | --- |
//! | T_m, T_a | temperature of the melt, and of what is added | °C |
//! | r | mass added for each kg of melt | – |
//! | x | share of what is added that melts | 0…1 |
//! | c | specific heat of chocolate | kJ/(kg K) |
//! | L | latent heat of chocolate | kJ/kg |
//! | C_v | heat capacity of the vessel for each kg of melt | kJ/(kg K) |
//!
//! *Range of validity.* No heat goes to room or jacket meanwhile, and nothing crystallises: a bound on the dip within the minutes of
//! mixing. Under about 32.5 °C part of dark seed stays solid; the true temperature then lies above the one for x = 1, and
//! [`Addition::landing`] gives both ends.
//!
//! *Sources.* Balance: OpenStax, College Physics 14.2 and 14.3 (worked examples in the tests). Specific heat 1.59 to 1.67 kJ/(kg K)
//! and latent heats 157 (cocoa butter), 46 (dark) and 44 kJ/kg (milk): Chevalley 1970, quoted in Beckett 2009. No source was
//! found for white; 44 to 50 is a guess and 47 its middle.
//!
//! A dip of the right size is evidence that seed went in, and no more: only a sample shows temper.

/// Latent heat of cocoa butter, kJ/kg (Chevalley 1970, quoted in Beckett 2009).
pub const COCOA_BUTTER_LATENT_KJ_PER_KG: f64 = 157.0;
/// Specific heat of steel, kJ/(kg K), from memory.
pub const STEEL_KJ_PER_KG_K: f64 = 0.5;

/// The two constants of a chocolate that the balance needs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chocolate {
    /// Specific heat, kJ/(kg K).
    pub specific_kj_per_kg_k: f64,
    /// Latent heat of the whole chocolate, kJ/kg.
    pub latent_kj_per_kg: f64,
}

impl Chocolate {
    /// Dark (Beckett 2009).
    pub const DARK: Chocolate = Chocolate { specific_kj_per_kg_k: 1.6, latent_kj_per_kg: 46.0 };
    /// Milk (Beckett 2009).
    pub const MILK: Chocolate = Chocolate { specific_kj_per_kg_k: 1.6, latent_kj_per_kg: 44.0 };
    /// White (latent heat guessed: middle of 44 to 50).
    pub const WHITE: Chocolate = Chocolate { specific_kj_per_kg_k: 1.6, latent_kj_per_kg: 47.0 };

    fn is_sound(&self) -> bool {
        0.0 < self.specific_kj_per_kg_k
            && self.specific_kj_per_kg_k.is_finite()
            && 0.0 <= self.latent_kj_per_kg
            && self.latent_kj_per_kg.is_finite()
    }
}

/// How much is added. "A quarter" means two things that differ by about 2.7 °C in a dark batch from 45 °C: say which.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Share {
    /// Of the melt that is there: 0.25 is 1.5 kg into 6 kg.
    OfMelt(f64),
    /// Of the total afterwards: 0.25 is 1.5 kg into 4.5 kg.
    OfTotal(f64),
}

impl Share {
    /// From two masses. `None` unless both are finite, the melt is above zero and the addition is not negative.
    pub fn of_masses(melt_kg: f64, added_kg: f64) -> Option<Share> {
        let ratio = added_kg / melt_kg;
        (0.0 < melt_kg && 0.0 <= ratio && ratio.is_finite()).then_some(Share::OfMelt(ratio))
    }

    /// Mass added for each kg of melt. `None` for a negative share, or for a share of the total that leaves no melt.
    pub fn for_each_kg_of_melt(self) -> Option<f64> {
        let ratio = match self {
            Share::OfMelt(ratio) => ratio,
            Share::OfTotal(share) if share < 1.0 => share / (1.0 - share),
            Share::OfTotal(_) => return None,
        };
        (0.0 <= ratio && ratio.is_finite()).then_some(ratio)
    }

    /// Share of the total afterwards, which is also the share by which crystals already there are thinned out.
    pub fn of_total(self) -> Option<f64> {
        self.for_each_kg_of_melt().map(|ratio| ratio / (1.0 + ratio))
    }
}

/// Something stirred into a melt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Addition {
    /// Temperature of the melt before, °C.
    pub melt_c: f64,
    /// Temperature of what is added, °C.
    pub added_c: f64,
    /// Heat capacity of the vessel for each kg of melt, kJ/(kg K); zero leaves the vessel out.
    pub vessel_kj_per_kg_k: f64,
}

impl Addition {
    fn is_sound(&self) -> bool {
        self.melt_c.is_finite()
            && self.added_c.is_finite()
            && 0.0 <= self.vessel_kj_per_kg_k
            && self.vessel_kj_per_kg_k.is_finite()
    }

    /// Temperature after mixing, when `melted` (0 to 1) of the addition melts. A liquid addition melts no more: zero.
    /// `None` for shares or constants outside their range.
    pub fn end_c(&self, chocolate: &Chocolate, share: Share, melted: f64) -> Option<f64> {
        let ratio = share.for_each_kg_of_melt()?;
        if !(self.is_sound() && chocolate.is_sound() && (0.0..=1.0).contains(&melted)) {
            return None;
        }
        let (c, vessel) = (chocolate.specific_kj_per_kg_k, self.vessel_kj_per_kg_k);
        let heat =
            (c + vessel) * self.melt_c + ratio * (c * self.added_c - melted * chocolate.latent_kj_per_kg);
        let end = heat / ((1.0 + ratio) * c + vessel);
        end.is_finite().then_some(end)
    }

    /// Both ends of what is possible: all of the addition melts, and none of it does.
    pub fn landing(&self, chocolate: &Chocolate, share: Share) -> Option<Landing> {
        Some(Landing {
            all_melted_c: self.end_c(chocolate, share, 1.0)?,
            none_melted_c: self.end_c(chocolate, share, 0.0)?,
        })
    }

    /// How much to add so that the mass comes to `end_c`, when `melted` of it melts.
    /// `None` when no amount does: the end does not lie between the melt and what the addition alone would come to.
    pub fn share_to_land_at(&self, chocolate: &Chocolate, end_c: f64, melted: f64) -> Option<Share> {
        if !(self.is_sound() && chocolate.is_sound() && (0.0..=1.0).contains(&melted)) {
            return None;
        }
        let c = chocolate.specific_kj_per_kg_k;
        let given = (c + self.vessel_kj_per_kg_k) * (self.melt_c - end_c);
        let taken = c * (end_c - self.added_c) + melted * chocolate.latent_kj_per_kg;
        let ratio = given / taken;
        (0.0 <= ratio && ratio.is_finite()).then_some(Share::OfMelt(ratio))
    }

    /// The melted share that explains an observed end. Below zero or above one means that the balance does not: heat went
    /// elsewhere, or the masses are wrong. `None` when the addition is nothing or the constants are outside their range.
    pub fn melted_share(&self, chocolate: &Chocolate, share: Share, end_c: f64) -> Option<f64> {
        let Landing { all_melted_c, none_melted_c } = self.landing(chocolate, share)?;
        let melted = (none_melted_c - end_c) / (none_melted_c - all_melted_c);
        melted.is_finite().then_some(melted)
    }
}

/// The two ends between which a mixture settles, °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Landing {
    /// Everything added has melted: the lowest end.
    pub all_melted_c: f64,
    /// Nothing added has melted: the highest end.
    pub none_melted_c: f64,
}

/// Heat capacity of a vessel for each kg of melt, kJ/(kg K). `None` for masses or specific heats outside their range.
pub fn vessel_for_each_kg(vessel_kg: f64, specific_kj_per_kg_k: f64, melt_kg: f64) -> Option<f64> {
    let capacity = vessel_kg * specific_kj_per_kg_k / melt_kg;
    (0.0 <= vessel_kg && 0.0 <= specific_kj_per_kg_k && 0.0 < melt_kg && capacity.is_finite())
        .then_some(capacity)
}

/// By how much crystallising warms a mass that loses no heat, K: `share·fat·157/c`.
///
/// `fat_share` is the fat in the chocolate, `crystallised_share` the part of that fat that turns solid. One per cent of the fat
/// is worth about a third of a degree: a sudden rise of two degrees is never this.
/// `None` for shares outside 0…1 or a specific heat that is not above zero.
pub fn rise_from_crystallising(
    fat_share: f64,
    crystallised_share: f64,
    specific_kj_per_kg_k: f64,
) -> Option<f64> {
    let shares = [fat_share, crystallised_share].iter().all(|share| (0.0..=1.0).contains(share));
    let rise = COCOA_BUTTER_LATENT_KJ_PER_KG * fat_share * crystallised_share / specific_kj_per_kg_k;
    (shares && 0.0 < specific_kj_per_kg_k && rise.is_finite()).then_some(rise)
}

/// One part of a mixture without change of state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Specific heat, in any unit that all parts share.
    pub specific: f64,
    /// Temperature, °C.
    pub celsius: f64,
}

/// `Σ m c T / Σ m c`: the common temperature of several parts. `None` without heat capacity, or for masses below zero.
pub fn mix(parts: &[Part]) -> Option<f64> {
    let sound = parts.iter().all(|part| 0.0 <= part.mass_kg && 0.0 <= part.specific);
    let capacity: f64 = parts.iter().map(|part| part.mass_kg * part.specific).sum();
    let heat: f64 = parts.iter().map(|part| part.mass_kg * part.specific * part.celsius).sum();
    let common = heat / capacity;
    (sound && common.is_finite()).then_some(common)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn from(melt_c: f64) -> Addition {
        Addition { melt_c, added_c: 20.0, vessel_kj_per_kg_k: 0.0 }
    }

    #[test]
    fn what_has_no_answer() {
        let dark = Chocolate::DARK;
        assert_eq!(from(45.0).end_c(&dark, Share::OfTotal(1.0), 1.0), None);
        assert_eq!(from(45.0).end_c(&dark, Share::OfMelt(-0.1), 1.0), None);
        assert_eq!(from(45.0).end_c(&dark, Share::OfMelt(0.1), 1.1), None);
        assert_eq!(from(f64::NAN).end_c(&dark, Share::OfMelt(0.1), 1.0), None);
        assert_eq!(from(45.0).share_to_land_at(&dark, 46.0, 1.0), None);
        assert_eq!(from(45.0).share_to_land_at(&dark, 19.0, 0.0), None);
        assert_eq!(from(45.0).melted_share(&dark, Share::OfMelt(0.0), 44.0), None);
        assert_eq!(Share::of_masses(0.0, 1.0), None);
        assert_eq!(mix(&[]), None);
        assert_eq!(rise_from_crystallising(0.35, 1.2, 1.6), None);
        assert_eq!(vessel_for_each_kg(3.0, 0.5, 0.0), None);
    }

    proptest! {
        #[test]
        fn amount_and_end_invert_each_other(
            melt in 40.0..50.0_f64, end in 30.0..39.0_f64, melted in 0.0..=1.0_f64, vessel in 0.0..0.5_f64,
        ) {
            let addition = Addition { vessel_kj_per_kg_k: vessel, ..from(melt) };
            let share = addition.share_to_land_at(&Chocolate::DARK, end, melted).unwrap();
            prop_assert!((addition.end_c(&Chocolate::DARK, share, melted).unwrap() - end).abs() < 1e-9);
            prop_assert!((addition.melted_share(&Chocolate::DARK, share, end).unwrap() - melted).abs() < 1e-9);
        }

        #[test]
        fn more_seed_lands_lower(melt in 40.0..50.0_f64, share in 0.01..0.5_f64, more in 0.001..0.2_f64, melted in 0.0..=1.0_f64) {
            let end = |share| from(melt).end_c(&Chocolate::MILK, Share::OfTotal(share), melted).unwrap();
            prop_assert!(end(share + more) < end(share));
        }

        #[test]
        fn both_meanings_are_the_same_masses(melt_kg in 1.0..500.0_f64, added_kg in 0.0..100.0_f64) {
            let share = Share::of_masses(melt_kg, added_kg).unwrap();
            let total = Share::OfTotal(share.of_total().unwrap());
            prop_assert!((total.for_each_kg_of_melt().unwrap() - added_kg / melt_kg).abs() < 1e-9);
        }
    }
}
