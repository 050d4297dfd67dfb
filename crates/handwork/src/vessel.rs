//! What the charge stands in: its heat counts, in a small bowl more than one thinks.
//!
//! Three kilograms of steel under 6 kg of melt hold as much heat as nearly a kilogram of chocolate.

use std::fmt;
use std::str::FromStr;

use maths::heat::{STEEL_KJ_PER_KG_K, vessel_for_each_kg};

use crate::given::{Refusal, mass, refused};

/// No common material takes up more, kJ/(kg K): water has 4.2.
const MOST_KJ_PER_KG_K: f64 = 4.5;

/// What a bowl or kettle is made of. Specific heats of aluminium, copper and glass: OpenStax, College Physics, table 14.1 (from
/// memory); of steel and plastic from memory.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Material {
    /// Stainless steel.
    Steel,
    /// Aluminium.
    Aluminium,
    /// Copper.
    Copper,
    /// Glass.
    Glass,
    /// Polypropylene and its like.
    Plastic,
    /// Another one: its specific heat, kJ/(kg K).
    Other(f64),
}

impl Material {
    /// Those that have a name.
    pub const NAMED: [Material; 5] =
        [Material::Steel, Material::Aluminium, Material::Copper, Material::Glass, Material::Plastic];

    /// Specific heat, kJ/(kg K).
    pub fn kj_per_kg_k(self) -> f64 {
        match self {
            Material::Steel => STEEL_KJ_PER_KG_K,
            Material::Aluminium => 0.90,
            Material::Copper => 0.387,
            Material::Glass => 0.84,
            Material::Plastic => 1.9,
            Material::Other(own) => own,
        }
    }

    /// Its name.
    pub fn as_str(self) -> &'static str {
        match self {
            Material::Steel => "steel",
            Material::Aluminium => "aluminium",
            Material::Copper => "copper",
            Material::Glass => "glass",
            Material::Plastic => "plastic",
            Material::Other(_) => "another material",
        }
    }
}

impl fmt::Display for Material {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl FromStr for Material {
    type Err = Refusal;

    /// A name, or a specific heat in kJ/(kg K).
    fn from_str(text: &str) -> Result<Material, Refusal> {
        if let Some(named) = Material::NAMED.into_iter().find(|material| material.as_str() == text) {
            return Ok(named);
        }
        let own =
            text.replace(',', ".").parse::<f64>().ok().filter(|own| 0.0 < *own && *own <= MOST_KJ_PER_KG_K);
        own.map(Material::Other).ok_or_else(|| {
            let shown: String = text.chars().take(40).collect();
            Refusal(format!(
                "`{shown}` is neither steel, aluminium, copper, glass or plastic nor a specific heat in kJ/(kg K) up to {MOST_KJ_PER_KG_K}."
            ))
        })
    }
}

/// A bowl or kettle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vessel {
    /// What it weighs, empty.
    pub mass_kg: f64,
    /// What it is made of.
    pub material: Material,
}

impl Vessel {
    /// Its heat capacity for each kilogram of melt, kJ/(kg K).
    pub(crate) fn for_each_kg(vessel: Option<Vessel>, melt_kg: f64) -> Result<f64, Refusal> {
        let Some(vessel) = vessel else { return Ok(0.0) };
        let kg = mass("The vessel", vessel.mass_kg)?;
        match vessel_for_each_kg(kg, vessel.material.kj_per_kg_k(), melt_kg) {
            Some(capacity) => Ok(capacity),
            None => refused("The vessel's specific heat makes no sense."),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_material_is_a_name_or_a_specific_heat() {
        assert_eq!("steel".parse(), Ok(Material::Steel));
        assert_eq!("0.46".parse(), Ok(Material::Other(0.46)));
        let fault = "granite".parse::<Material>().unwrap_err().to_string();
        assert_eq!(
            fault,
            "`granite` is neither steel, aluminium, copper, glass or plastic nor a specific heat in kJ/(kg K) up to 4.5."
        );
        assert!("-1".parse::<Material>().is_err() && "NaN".parse::<Material>().is_err());
    }
}
