//! Work by hand: what to do next with a bowl, and the sums that people do before they add something.
//!
//! Pure functions: numbers and moments in, numbers and sentences out. A sentence names temperatures as `31.4 °C` and differences as
//! `by 0.4 °C`, so that a page can turn them for a reader of other degrees. Input that makes no sense is a [`Refusal`], which is a
//! sentence, too.
//!
//! Nothing here proves temper, and nothing says that something is safe to touch or to eat: temperature alone never proves temper, and
//! hot bowls, steam and allergens are a matter of the site's own rules and of the people who stand there.
//!
//! Never reads a clock, a file or a plant file by itself.

mod given;
mod remelt;
mod seed;
mod step;
mod top_up;
mod vessel;

pub use crate::given::Refusal;
pub use crate::remelt::{Remelt, RemeltAnswer};
pub use crate::seed::{Amount, Mass, Seed, SeedAnswer, share_of_text};
pub use crate::step::{Bowl, Deed, Judged, Step, next_step};
pub use crate::top_up::{TopUp, TopUpAnswer, TopUpState};
pub use crate::vessel::{Material, Vessel};

/// A figure of an answer: its name, and its value with the unit.
pub type Figure = (&'static str, String);

/// Said wherever a sum about seed stands.
pub const ASSUMES: [&str; 4] = [
    "No heat goes to room, table or water while it is stirred, and nothing crystallises. In a cool room the mass comes out lower.",
    "Specific heat 1.6 kJ/(kg K); latent heat of dark 46 and of milk 44 kJ/kg (Chevalley 1970, quoted in Beckett 2009). For white no \
     source was found: 47 is the middle of a guess.",
    "The vessel is as warm as the melt and gives all its heat. Its specific heat is from memory.",
    "How much of the seed melts is not known beforehand: the two ends are all of it and none of it.",
];
