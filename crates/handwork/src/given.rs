//! What was given, looked over before anything is worked out with it.

use maths::heat::Chocolate;
use plant::{Family, Limits};

/// No vessel of a works holds more, kg: ten times the largest tank that we have heard of.
const LARGEST_MASS_KG: f64 = 100_000.0;
/// Colder is no couverture of a works, °C.
const COLDEST_C: f64 = -30.0;

/// Input that makes no sense, in a sentence.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct Refusal(pub String);

pub(crate) fn refused<T>(sentence: impl Into<String>) -> Result<T, Refusal> {
    Err(Refusal(sentence.into()))
}

/// The constants of a family.
pub(crate) fn chocolate(family: Family) -> Chocolate {
    match family {
        Family::Dark => Chocolate::DARK,
        Family::Milk => Chocolate::MILK,
        Family::White => Chocolate::WHITE,
    }
}

/// A mass that somebody can weigh.
pub(crate) fn mass(what: &str, kg: f64) -> Result<f64, Refusal> {
    if !(0.0 < kg && kg <= LARGEST_MASS_KG) {
        return refused(format!(
            "{what} is {kg} kg; it should be above zero and at most {LARGEST_MASS_KG} kg."
        ));
    }
    Ok(kg)
}

/// Of a melt: melted, and not burnt.
pub(crate) fn melt(family: Family, limits: &Limits, celsius: f64, least_c: f64) -> Result<f64, Refusal> {
    let scorch = limits.scorch;
    if !celsius.is_finite() {
        return refused("The temperature of the melt is not a number.");
    }
    if scorch < celsius {
        return refused(format!(
            "A melt at {celsius:.1} °C is above the scorch limit {scorch:.1} °C of {}: take it off the heat and let somebody judge it \
             before anything is added.",
            family.as_str()
        ));
    }
    if celsius < least_c {
        return refused(format!(
            "At {celsius:.1} °C {} is not melted: from {least_c:.1} °C on this sum holds.",
            family.as_str()
        ));
    }
    Ok(celsius)
}

/// Of something solid that carries crystals: below the temperature at which they are lost.
pub(crate) fn solid(what: &str, family: Family, limits: &Limits, celsius: f64) -> Result<f64, Refusal> {
    let limit = limits.temper_loss;
    if !(COLDEST_C <= celsius) {
        return refused(format!("{what} at {celsius} °C is colder than anything in a works."));
    }
    if limit <= celsius {
        return refused(format!(
            "{what} at {celsius:.1} °C has reached the temper-loss limit {limit:.1} °C of {}: it carries no crystals that can be \
             trusted. Take some that was kept cool.",
            family.as_str()
        ));
    }
    Ok(celsius)
}
