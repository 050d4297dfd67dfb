//! What chocolate is to the model: heat, crystals and thickness, each figure with its source.
//!
//! Heat is kept as enthalpy, `h = c·T − L·s` in kJ/kg, where `s` is the share of the fat that is solid: crystals that
//! form then warm the mass, and crystals that melt cool it, by themselves. Two kinds of crystal are told apart, the
//! wanted form V and everything lower (IV), because the one survives the working range and the other does not.
//!
//! The rates of melting out and growing are the weak point: no solid published table was found, so that they follow a
//! workshop guide of low confidence and figures from memory, and stand here in one place.

use plant::Family;

/// Specific heat of chocolate, kJ/(kg K): 1.59 at 15–40 °C, 1.67 at 40–60 °C (Beckett 2009, useful physical constants).
pub(crate) const SPECIFIC_HEAT: f64 = 1.6;
/// Latent heat of dark and milk chocolate, kJ/kg (Chevalley 1970 in Beckett 2009). White was not found: taken as milk.
const LATENT_DARK: f64 = 46.0;
const LATENT_MILK: f64 = 44.0;
/// Dark couverture in form V melts between these (latent heat spread over 6 K: apparent heat capacity nearly 6-fold).
const MELTING_FROM: f64 = 28.0;
const MELTING_TO: f64 = 34.0;
/// Crystals below form V melt up to here: form IV 27.3–27.5 °C (Wille and Lutton 1966, quoted).
const LOW_FORMS_FROM: f64 = 22.0;
const LOW_FORMS_TO: f64 = 27.5;
/// A solid melts as fast as heat comes; this small delay, in minutes, stands for the inside of the pieces.
const MELTING_DELAY: f64 = 1.0;
/// Melt-out of fine form V crystals in stirred dark chocolate: 32.5–33 °C tens of minutes, 33–34 °C 5–20, 34–35 °C 1–5,
/// 36 °C and above under 2, 32.0 °C stable for hours (workshop guide, from memory, low confidence): about 0.1 a minute
/// at 33.5 °C, e-fold in 0.74 K, nothing up to 32.
const MELT_OUT_AT_33_5: f64 = 0.1;
const MELT_OUT_PER_K: f64 = 1.35;
const MELT_OUT_FROM: f64 = 32.0;
const MELT_OUT_MOST: f64 = 2.0;
/// Growth of form V, a minute, at 31.5 °C: gives a current climb of roughly 1 % in ten minutes over a long hold, the
/// lower end of common practice. Steeper the colder (assumed).
const GROWTH_AT_31_5: f64 = 0.006;
const GROWTH_PER_K: f64 = 0.45;
const GROWTH_MOST: f64 = 0.3;
/// Form V does not start by itself in useful time above 28–29 °C (Greweling notes); below, shear starts it. Share of the
/// fat a minute and kelvin (assumed, so that eight minutes near 27 °C give about 1 %).
const STARTS_BELOW: f64 = 28.5;
const STARTING: f64 = 0.001;
/// Lower forms start faster, grow faster, melt or turn into V soon (orders of magnitude, assumed).
const LOW_STARTING: f64 = 0.002;
const LOW_GROWTH: f64 = 0.12;
const LOW_MELT_OUT_AT_27_3: f64 = 0.3;
const LOW_TURNING: f64 = 0.03;
/// Solids of dark chocolate by volume and the share at which nothing flows (Krieger–Dougherty, from memory).
const SOLIDS: f64 = 0.62;
const SOLIDS_MOST: f64 = 0.75;
/// Volume share of the fat, the rest of it.
const FAT_BY_VOLUME: f64 = 1.0 - SOLIDS;
/// Viscosity falls by 2–4 % a kelvin (from memory).
const THINNING_PER_K: f64 = 0.03;
/// Working range's middle of dark, at which thickness is 1 without crystals.
const REFERENCE: f64 = 31.5;

/// One couverture, as far as physics cares.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Substance {
    /// Latent heat of its whole fat, kJ a kg of chocolate.
    pub(crate) latent: f64,
    /// How far its crystals melt below those of dark, °C: milk 1–1.5, white 1.5–2.5 (same workshop guide).
    pub(crate) softer_by: f64,
}

/// Crystals in a mass, as shares of its fat.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Crystals {
    /// Form V (and VI): what temper is made of.
    pub(crate) stable: f64,
    /// Forms I to IV.
    pub(crate) unstable: f64,
}

impl Crystals {
    /// All that is solid.
    pub(crate) fn total(self) -> f64 {
        self.stable + self.unstable
    }
}

impl Substance {
    pub(crate) fn of(family: Family) -> Substance {
        match family {
            Family::Dark => Substance { latent: LATENT_DARK, softer_by: 0.0 },
            Family::Milk => Substance { latent: LATENT_MILK, softer_by: 1.25 },
            Family::White => Substance { latent: LATENT_MILK, softer_by: 2.5 },
        }
    }

    /// Share of the fat that can be solid in form V at `celsius`: most of it goes in the lower half of the range.
    pub(crate) fn solid_share(self, celsius: f64) -> f64 {
        let to_go = (MELTING_TO - self.softer_by - celsius) / (MELTING_TO - MELTING_FROM);
        to_go.clamp(0.0, 1.0).powi(2)
    }

    /// Enthalpy in kJ/kg, zero for liquid at 0 °C.
    pub(crate) fn enthalpy(self, celsius: f64, solid: f64) -> f64 {
        SPECIFIC_HEAT * celsius - self.latent * solid
    }

    /// Temperature of a mass with enthalpy `h` of whose fat `solid` is solid.
    pub(crate) fn celsius(self, h: f64, solid: f64) -> f64 {
        (h + self.latent * solid) / SPECIFIC_HEAT
    }

    /// Temperature and solid share of a mass that is as solid as it can be (pieces of tempered couverture).
    pub(crate) fn settled(self, h: f64) -> (f64, f64) {
        let (from, to) = (MELTING_FROM - self.softer_by, MELTING_TO - self.softer_by);
        let celsius = if h <= self.enthalpy(from, 1.0) {
            self.celsius(h, 1.0)
        } else if h >= self.enthalpy(to, 0.0) {
            self.celsius(h, 0.0)
        } else {
            // With u = to − T: h = c·to − c·u − L·u²/(to − from)², solved for u.
            let square = self.latent / (to - from).powi(2);
            let below = SPECIFIC_HEAT * to - h;
            let root = (SPECIFIC_HEAT.powi(2) + 4.0 * square * below).sqrt();
            to - (root - SPECIFIC_HEAT) / (2.0 * square)
        };
        (celsius, self.solid_share(celsius))
    }

    /// What becomes of `crystals` at `celsius` in `minutes`; `stirred` runs from 0 to 1, `eager` speeds growth up.
    pub(crate) fn react(
        self,
        crystals: Crystals,
        celsius: f64,
        minutes: f64,
        stirred: f64,
        eager: f64,
    ) -> Crystals {
        let as_dark = celsius + self.softer_by;
        // Liquid stays liquid: nearly every second of a night takes this way.
        if as_dark > MELTING_TO + 4.0 && crystals.total() < 1e-9 {
            return Crystals::default();
        }
        let Crystals { mut stable, mut unstable } = crystals;
        let solid = crystals.total();
        let most = self.solid_share(celsius);
        if stable > most {
            stable -= (stable - most) * (minutes / MELTING_DELAY).min(1.0);
        } else if most > 0.0 {
            let growth = (GROWTH_AT_31_5 * (GROWTH_PER_K * (REFERENCE - as_dark)).exp()).min(GROWTH_MOST);
            stable += growth * eager * stable * (1.0 - solid / most).max(0.0) * minutes;
        }
        if as_dark > MELT_OUT_FROM {
            let pace = |celsius: f64| MELT_OUT_AT_33_5 * (MELT_OUT_PER_K * (celsius - 33.5)).exp();
            let melt_out = (pace(as_dark) - pace(MELT_OUT_FROM)).min(MELT_OUT_MOST);
            stable -= stable * (melt_out * minutes).min(1.0);
        }

        let liquid = (1.0 - solid).max(0.0);
        let shear = 0.1 + 0.9 * stirred;
        stable += STARTING * (STARTS_BELOW - as_dark).max(0.0) * shear * liquid * minutes;
        unstable += LOW_STARTING * (LOW_FORMS_TO - as_dark).max(0.0) * shear * liquid * minutes;
        if unstable > 1e-12 {
            let low_most = ((LOW_FORMS_TO - as_dark) / (LOW_FORMS_TO - LOW_FORMS_FROM)).clamp(0.0, 1.0);
            if low_most > 0.0 {
                unstable += LOW_GROWTH * unstable * (1.0 - solid / low_most).max(0.0) * minutes;
            }
            let low_melt_out = (LOW_MELT_OUT_AT_27_3 * (as_dark - 27.3).exp()).min(MELT_OUT_MOST);
            unstable -= unstable * (low_melt_out * minutes).min(1.0);
            let turning = unstable * LOW_TURNING * minutes;
            if as_dark < 32.0 {
                unstable -= turning;
                stable += turning;
            }
        }
        Crystals { stable: stable.clamp(0.0, 1.0), unstable: unstable.clamp(0.0, 1.0) }
    }

    /// How thick it flows: 1 at the middle of the working range without crystals.
    pub(crate) fn thickness(self, celsius: f64, solid: f64) -> f64 {
        let filled = (SOLIDS + FAT_BY_VOLUME * solid).min(0.99 * SOLIDS_MOST);
        let by_solids =
            ((1.0 - filled / SOLIDS_MOST) / (1.0 - SOLIDS / SOLIDS_MOST)).powf(-2.5 * SOLIDS_MOST);
        by_solids * (-THINNING_PER_K * (celsius + self.softer_by - REFERENCE)).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DARK: Substance = Substance { latent: LATENT_DARK, softer_by: 0.0 };

    fn left_after(celsius: f64, minutes: f64) -> f64 {
        let mut crystals = Crystals { stable: 0.02, unstable: 0.0 };
        for _ in 0..(minutes * 60.0) as usize {
            crystals = DARK.react(crystals, celsius, 1.0 / 60.0, 1.0, 1.0);
        }
        crystals.stable / 0.02
    }

    #[test]
    fn melting_20_to_45_takes_86_kj_a_kg() {
        // Beckett 2009: 25 K · 1.6 kJ/(kg K) + 46 kJ/kg.
        let heat = DARK.enthalpy(45.0, 0.0) - DARK.enthalpy(20.0, 1.0);
        assert!((heat - 86.0).abs() < 1e-9);
    }

    #[test]
    fn apparent_heat_capacity_is_five_to_six_fold_while_melting() {
        let rise =
            (DARK.enthalpy(34.0, DARK.solid_share(34.0)) - DARK.enthalpy(28.0, DARK.solid_share(28.0))) / 6.0;
        let fold = rise / SPECIFIC_HEAT;
        assert!((5.0..=6.0).contains(&fold), "{fold}");
    }

    #[test]
    fn pieces_find_their_temperature_from_their_heat() {
        for celsius in [5.0, 20.0, 27.9, 28.5, 31.0, 33.9, 34.1, 45.0] {
            let (found, _) = DARK.settled(DARK.enthalpy(celsius, DARK.solid_share(celsius)));
            assert!((found - celsius).abs() < 1e-9, "{celsius} {found}");
        }
    }

    #[test]
    fn one_percent_of_the_fat_warms_by_a_third_of_a_degree() {
        // 0.32–0.35 °C for 33–36 % fat, from 157 kJ/kg of cocoa butter (Beckett 2009). Chocolate's own 46 kJ/kg gives
        // 0.29, the lower because not all of its fat sets.
        let warmer = DARK.celsius(DARK.enthalpy(31.5, 0.0), 0.01) - 31.5;
        assert!((0.25..=0.35).contains(&warmer), "{warmer}");
    }

    #[test]
    fn temper_is_lost_as_the_workshop_guide_says() {
        assert!(left_after(31.5, 60.0) > 0.95);
        assert!(left_after(32.0, 60.0) > 0.5);
        assert!((0.1..0.8).contains(&left_after(33.0, 20.0)));
        assert!(left_after(33.5, 30.0) < 0.1);
        assert!(left_after(34.5, 5.0) < 0.3);
        assert!(left_after(36.0, 2.0) < 0.1);
    }

    #[test]
    fn liquid_stays_without_crystals_above_29() {
        let mut crystals = Crystals::default();
        for _ in 0..3600 {
            crystals = DARK.react(crystals, 29.5, 1.0 / 60.0, 1.0, 1.0);
        }
        assert_eq!(crystals.total(), 0.0);
    }

    #[test]
    fn three_percent_crystals_thicken_by_a_fifth() {
        // Krieger–Dougherty with 62 % solids of at most 75 %: 3 % of the fat +19 %, 10 % about 1.9-fold.
        assert!((DARK.thickness(31.5, 0.03) - 1.19).abs() < 0.01);
        assert!((DARK.thickness(31.5, 0.10) - 1.9).abs() < 0.1);
    }
}
