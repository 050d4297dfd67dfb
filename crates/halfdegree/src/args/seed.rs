//! `halfdegree seed`: the sums that people do before they add something. Nothing is filled in by itself that changes the answer.

use clap::{Args as ClapArgs, Subcommand, ValueEnum};
use handwork::{Material, TopUpState, share_of_text};
use plant::Family;

const HELP: &str = "\
A quarter means two things. 25% of the melt is 1.5 kg into 6 kg; 25% of the total is 1.5 kg into 4.5 kg. From 45 °C with dark
the two land 2.7 °C apart, so you are asked which.

How much of the seed melts is not known beforehand. The answer gives both ends: all of it (lowest) and none of it (highest).
Temperature alone never proves temper: afterwards make a temper test.

  halfdegree seed share --family dark --melt-kg 6 --melt-c 45 --seed-c 20 --share 25% --of melt
  halfdegree seed share --family dark --total-kg 6 --melt-c 45 --seed-c 20 --share 25% --of total --vessel-kg 3 --vessel steel
  halfdegree seed mass --family milk --melt-kg 1.2 --melt-c 35 --seed-c 20 --seed-kg 0.2
  halfdegree seed to --family dark --melt-kg 6 --melt-c 45 --seed-c 20 --land-c 32
  halfdegree seed top-up --family dark --charge-kg 9.5 --charge-c 31.5 --add-kg 0.5 --add-c 20 --state solid
  halfdegree seed remelt --family dark --mass-kg 6 --now-c 30 --heater-w 400";

#[derive(Debug, ClapArgs)]
#[command(after_help = HELP)]
pub(crate) struct SeedArgs {
    #[command(subcommand)]
    pub(crate) sum: SeedSum,
}

#[derive(Debug, Subcommand)]
pub(crate) enum SeedSum {
    /// Where it lands with a share of seed, of the melt or of the total.
    Share(ShareArgs),
    /// Where it lands with so many kilograms of seed.
    Mass(MassArgs),
    /// How much seed brings it to a temperature, if all of it melts.
    To(ToArgs),
    /// What more couverture does to a charge that is worked with.
    TopUp(TopUpArgs),
    /// How much heat it takes to melt a charge again.
    Remelt(RemeltArgs),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Kind {
    Dark,
    Milk,
    White,
}

impl From<Kind> for Family {
    fn from(kind: Kind) -> Family {
        match kind {
            Kind::Dark => Family::Dark,
            Kind::Milk => Family::Milk,
            Kind::White => Family::White,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ShareOf {
    /// Of what is melted before.
    Melt,
    /// Of melt and seed together.
    Total,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum AddedState {
    /// Pieces, in temper.
    Solid,
    /// Melted, without crystals.
    Liquid,
}

impl From<AddedState> for TopUpState {
    fn from(state: AddedState) -> TopUpState {
        match state {
            AddedState::Solid => TopUpState::Solid,
            AddedState::Liquid => TopUpState::Liquid,
        }
    }
}

/// What the charge stands in.
#[derive(Debug, ClapArgs)]
pub(crate) struct VesselArgs {
    /// What the empty vessel weighs, kg; left out without it.
    #[arg(long, value_name = "KG", requires = "vessel")]
    pub(crate) vessel_kg: Option<f64>,
    /// Of what: steel, aluminium, copper, glass, plastic, or its specific heat in kJ/(kg K).
    #[arg(long, value_name = "MATERIAL", requires = "vessel_kg")]
    pub(crate) vessel: Option<Material>,
}

/// Melt and seed.
#[derive(Debug, ClapArgs)]
pub(crate) struct MeltArgs {
    /// Dark, milk or white: the constants, the limits and the working range.
    #[arg(long, value_enum)]
    pub(crate) family: Kind,
    /// What is melted, before the seed, kg; this, or --total-kg.
    #[arg(long, value_name = "KG", required_unless_present = "total_kg", conflicts_with = "total_kg")]
    pub(crate) melt_kg: Option<f64>,
    /// Melt and seed together, kg; this, or --melt-kg.
    #[arg(long, value_name = "KG")]
    pub(crate) total_kg: Option<f64>,
    /// How warm the melt is, °C.
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    pub(crate) melt_c: f64,
    /// How warm the seed is, °C.
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    pub(crate) seed_c: f64,
    #[command(flatten)]
    pub(crate) vessel: VesselArgs,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct ShareArgs {
    #[command(flatten)]
    pub(crate) melt: MeltArgs,
    /// How much seed: 25% or 0.25.
    #[arg(long, value_parser = share_of_text, allow_negative_numbers = true)]
    pub(crate) share: f64,
    /// A share of what.
    #[arg(long, value_enum)]
    pub(crate) of: ShareOf,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct MassArgs {
    #[command(flatten)]
    pub(crate) melt: MeltArgs,
    /// How much seed, kg.
    #[arg(long, value_name = "KG", allow_negative_numbers = true)]
    pub(crate) seed_kg: f64,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct ToArgs {
    #[command(flatten)]
    pub(crate) melt: MeltArgs,
    /// Where it shall land, °C.
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    pub(crate) land_c: f64,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct TopUpArgs {
    /// Dark, milk or white.
    #[arg(long, value_enum)]
    pub(crate) family: Kind,
    /// What is there, kg.
    #[arg(long, value_name = "KG")]
    pub(crate) charge_kg: f64,
    /// How warm it is, °C.
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    pub(crate) charge_c: f64,
    /// What is added, kg.
    #[arg(long, value_name = "KG")]
    pub(crate) add_kg: f64,
    /// How warm that is, °C.
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    pub(crate) add_c: f64,
    /// Pieces, or melted.
    #[arg(long, value_enum)]
    pub(crate) state: AddedState,
    #[command(flatten)]
    pub(crate) vessel: VesselArgs,
}

#[derive(Debug, ClapArgs)]
pub(crate) struct RemeltArgs {
    /// Dark, milk or white.
    #[arg(long, value_enum)]
    pub(crate) family: Kind,
    /// What is to be melted, kg.
    #[arg(long, value_name = "KG")]
    pub(crate) mass_kg: f64,
    /// How warm it is, °C.
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    pub(crate) now_c: f64,
    /// How warm it is to become, °C; the lower end of the full melt without it.
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    pub(crate) to_c: Option<f64>,
    /// What the heater gives into the mass, W; says how long it takes at least.
    #[arg(long, value_name = "WATTS")]
    pub(crate) heater_w: Option<f64>,
    #[command(flatten)]
    pub(crate) vessel: VesselArgs,
}
