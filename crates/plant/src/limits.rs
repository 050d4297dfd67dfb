//! The limits of a couverture: defaults by family, and what the plant file says otherwise.
//!
//! The figures are those of the contract, section 4. Makers print ranges of their own on the bag; those belong in the
//! plant file and win over anything here.

use model::{Band, Span};

/// Dark, milk or white.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Family {
    /// Cocoa mass, cocoa butter, sugar.
    Dark,
    /// With milk solids.
    Milk,
    /// Without cocoa mass.
    White,
}

/// What holds for one couverture in one machine. Temperatures in °C, shares of the melted mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Full melt.
    pub melt: Band,
    /// Above it the charge burns.
    pub scorch: f64,
    /// Lowest point on the way down.
    pub floor: f64,
    /// Where it is worked with.
    pub working: Band,
    /// Above it the right crystals melt away.
    pub temper_loss: f64,
    /// Least and most seed, as a share of the melted mass.
    pub seed_share: (f64, f64),
    /// Longest hold without a passed temper test.
    pub max_hold: Span,
}

/// Limits that the plant file sets for a couverture or a machine.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct LimitOverrides {
    /// `melt`
    pub melt: Option<Band>,
    /// `scorch`
    pub scorch: Option<f64>,
    /// `floor`
    pub floor: Option<f64>,
    /// `working`
    pub working: Option<Band>,
    /// `temper_loss`
    pub temper_loss: Option<f64>,
    /// `seed_share`
    pub seed_share: Option<(f64, f64)>,
    /// `max_hold`
    pub max_hold: Option<Span>,
}

/// Least and most seed for every family.
const SEED_SHARE: (f64, f64) = (0.20, 0.30);

fn band(low: f64, high: f64) -> Band {
    Band::new(low, high).expect("the default ranges are finite and the right way up")
}

impl Family {
    /// Every family, in the order of the contract.
    pub const ALL: [Family; 3] = [Family::Dark, Family::Milk, Family::White];

    /// The contract's word.
    pub fn as_str(self) -> &'static str {
        match self {
            Family::Dark => "dark",
            Family::Milk => "milk",
            Family::White => "white",
        }
    }

    /// The contract's defaults.
    pub fn default_limits(self) -> Limits {
        match self {
            Family::Dark => Limits {
                melt: band(45.0, 50.0),
                scorch: 55.0,
                floor: 27.0,
                working: band(31.0, 32.0),
                temper_loss: 33.5,
                seed_share: SEED_SHARE,
                max_hold: Span::from_mins(120),
            },
            Family::Milk => Limits {
                melt: band(42.0, 46.0),
                scorch: 50.0,
                floor: 26.0,
                working: band(29.5, 30.5),
                temper_loss: 32.0,
                seed_share: SEED_SHARE,
                max_hold: Span::from_mins(120),
            },
            Family::White => Limits {
                melt: band(40.0, 45.0),
                scorch: 48.0,
                floor: 25.0,
                working: band(28.0, 29.0),
                temper_loss: 31.0,
                seed_share: SEED_SHARE,
                max_hold: Span::from_mins(90),
            },
        }
    }
}

impl LimitOverrides {
    /// `limits`, with what is set here instead.
    pub fn over(&self, limits: Limits) -> Limits {
        Limits {
            melt: self.melt.unwrap_or(limits.melt),
            scorch: self.scorch.unwrap_or(limits.scorch),
            floor: self.floor.unwrap_or(limits.floor),
            working: self.working.unwrap_or(limits.working),
            temper_loss: self.temper_loss.unwrap_or(limits.temper_loss),
            seed_share: self.seed_share.unwrap_or(limits.seed_share),
            max_hold: self.max_hold.unwrap_or(limits.max_hold),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_family_is_in_order_from_floor_to_scorch() {
        for family in Family::ALL {
            let limits = family.default_limits();
            let ladder = [
                limits.floor,
                limits.working.low(),
                limits.working.high(),
                limits.temper_loss,
                limits.melt.low(),
                limits.melt.high(),
                limits.scorch,
            ];
            assert!(ladder.is_sorted_by(|a, b| a < b), "{}: {ladder:?}", family.as_str());
        }
    }

    #[test]
    fn an_override_replaces_what_it_names_and_nothing_else() {
        let dark = Family::Dark.default_limits();
        let overrides = LimitOverrides { scorch: Some(52.0), ..LimitOverrides::default() };
        assert_eq!(overrides.over(dark), Limits { scorch: 52.0, ..dark });
    }
}
