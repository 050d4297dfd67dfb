//! A vessel of chocolate as a few thermal nodes: the bulk, the layer at the wall, the wall with its jacket, and pieces
//! that are melting in.
//!
//! Every exchange leaves one node and enters another, so that heat and fat are kept exactly; one explicit step of a
//! second is far below the shortest time constant (the wall layer's mixing, 20 s). When nobody stirs, the layer hardly
//! mixes any more: the wall's cold or heat stays there, and comes back as a step when the stirrer starts.

use crate::chocolate::{Crystals, Substance};

/// Specific heat of steel and water, kJ/(kg K) (steel 0.5: from memory; water: common handbook value).
pub(crate) const STEEL: f64 = 0.5;
pub(crate) const WATER: f64 = 4.19;
/// Share of the charge that touches the wall (assumed).
const LAYER: f64 = 0.1;
/// How soon the layer mixes with the bulk, stirred and at rest, seconds (assumed).
const MIXING_STIRRED: f64 = 20.0;
const MIXING_AT_REST: f64 = 600.0;
/// The wall passes on so much of its heat when nobody stirs (assumed).
const EXCHANGE_AT_REST: f64 = 0.5;
/// Solids touch the wall badly: at full solid so much of the exchange is left (assumed; melting 20–45 °C then takes the
/// hours of common practice).
const EXCHANGE_SOLID: f64 = 0.4;
/// Heat into pieces, W/(kg K): drops 12 mm thick have 0.385 m² a kg (6/(ρd), ρ 1.3 kg/L); 80 W/(m² K) in stirred
/// chocolate is assumed. Reaches "fast dip in 10–60 s, then a slow slide of 3–15 min" (common practice).
const PIECES_EXCHANGE: f64 = 30.0;
/// A soft piece is washed away so fast, a minute, once nothing of it is solid (assumed).
const WASHING: f64 = 0.35;
/// Of a piece's fat that was still solid when it washed away, so much stays as fine crystals (assumed, so that 20–25 %
/// of seed leave 1–3 % of the fat, the order most quoted).
const SURVIVING: f64 = 0.5;
/// Latent heat of cocoa butter, kJ/kg (Chevalley 1970 in Beckett 2009).
const LATENT_COCOA_BUTTER: f64 = 157.0;
/// An emptied machine still wears this much, kg; keeps the sums away from dividing by nothing.
const FILM: f64 = 0.05;

/// A well-mixed mass.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Parcel {
    pub(crate) kg: f64,
    /// kJ/kg, see [`Substance::enthalpy`].
    pub(crate) h: f64,
    pub(crate) crystals: Crystals,
}

impl Parcel {
    pub(crate) fn new(substance: Substance, kg: f64, celsius: f64, stable: f64) -> Parcel {
        let crystals = Crystals { stable, unstable: 0.0 };
        Parcel { kg, h: substance.enthalpy(celsius, stable), crystals }
    }

    pub(crate) fn celsius(&self, substance: Substance) -> f64 {
        substance.celsius(self.h, self.crystals.total())
    }

    /// Takes `other` in.
    pub(crate) fn take(&mut self, other: Parcel) {
        let kg = self.kg + other.kg;
        let mean = |mine: f64, its: f64| (mine * self.kg + its * other.kg) / kg;
        let crystals = Crystals {
            stable: mean(self.crystals.stable, other.crystals.stable),
            unstable: mean(self.crystals.unstable, other.crystals.unstable),
        };
        *self = Parcel { kg, h: mean(self.h, other.h), crystals };
    }
}

/// Solid couverture that was thrown in and has not melted away.
#[derive(Debug, Clone, Copy)]
struct Pieces {
    kg: f64,
    kg_at_first: f64,
    h: f64,
}

/// Fixed sizes of a vessel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Build {
    /// Wall and jacket, kJ/K.
    pub(crate) wall_kj_per_k: f64,
    /// Chocolate to wall, stirred, W/K.
    pub(crate) exchange: f64,
    /// Wall to room, W/K.
    pub(crate) wall_loss: f64,
    /// Open surface to room, W/K.
    pub(crate) surface_loss: f64,
    /// Wall to cooling water with the valve open, W/K.
    pub(crate) coolant: f64,
    /// What the stirrer rubs into the charge at thickness 1, W.
    pub(crate) stirrer_w: f64,
}

/// What works on the vessel in one step.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Drive {
    /// Into the wall, W.
    pub(crate) heater_w: f64,
    /// Straight into the chocolate, W (a burst of microwaves, a hot-air gun).
    pub(crate) burst_w: f64,
    /// Cooling water's temperature while the valve is open.
    pub(crate) coolant_c: Option<f64>,
    /// 1 usual, higher when more water runs than should.
    pub(crate) coolant_factor: f64,
    /// Fan on the surface, W/K.
    pub(crate) fan: f64,
    pub(crate) room_c: f64,
    pub(crate) stirred: bool,
    /// 1 clean, lower when the jacket is fouled.
    pub(crate) exchange_factor: f64,
    /// 1 with the lid on, higher in a draught.
    pub(crate) surface_factor: f64,
    /// 1 usual, higher when crystals grow faster than usual.
    pub(crate) eager: f64,
}

/// The vessel as it stands.
#[derive(Debug, Clone)]
pub(crate) struct Vessel {
    pub(crate) substance: Substance,
    pub(crate) build: Build,
    bulk: Parcel,
    layer: Parcel,
    pub(crate) wall_c: f64,
    pieces: Vec<Pieces>,
}

impl Vessel {
    /// A vessel with `kg` of couverture, everything at `celsius`; set and in form V if `stable` is 1.
    pub(crate) fn new(substance: Substance, build: Build, kg: f64, celsius: f64, stable: f64) -> Vessel {
        let part = |share: f64| Parcel::new(substance, kg * share, celsius, stable);
        Vessel {
            substance,
            build,
            bulk: part(1.0 - LAYER),
            layer: part(LAYER),
            wall_c: celsius,
            pieces: Vec::new(),
        }
    }

    /// The noiseless temperature of the charge: its bulk.
    pub(crate) fn celsius(&self) -> f64 {
        self.bulk.celsius(self.substance)
    }

    pub(crate) fn crystals(&self) -> Crystals {
        self.bulk.crystals
    }

    pub(crate) fn thickness(&self) -> f64 {
        // Lumps labour the stirrer beyond what their fat alone would do.
        self.substance.thickness(self.celsius(), self.crystals().total()) * (1.0 + 1.5 * self.pieces_share())
    }

    /// All that is in it, pieces counted, kg.
    pub(crate) fn kg(&self) -> f64 {
        self.bulk.kg + self.layer.kg + self.pieces_kg()
    }

    pub(crate) fn pieces_kg(&self) -> f64 {
        self.pieces.iter().map(|p| p.kg).sum()
    }

    pub(crate) fn pieces_share(&self) -> f64 {
        self.pieces_kg() / self.kg()
    }

    /// How much colder the coldest pieces are than the bulk.
    pub(crate) fn pieces_colder_by(&self) -> f64 {
        let bulk = self.celsius();
        self.pieces.iter().map(|p| bulk - self.substance.settled(p.h).0).fold(0.0, f64::max)
    }

    /// Throws in solid, tempered pieces.
    pub(crate) fn add_pieces(&mut self, kg: f64, celsius: f64) {
        let h = self.substance.enthalpy(celsius, self.substance.solid_share(celsius));
        self.pieces.push(Pieces { kg, kg_at_first: kg, h });
    }

    /// A charge of solids laid into the vessel: they are the bulk from now on.
    pub(crate) fn charge(&mut self, kg: f64, celsius: f64) {
        self.pour(Parcel::new(self.substance, kg, celsius, self.substance.solid_share(celsius)));
    }

    /// Pours chocolate in.
    pub(crate) fn pour(&mut self, parcel: Parcel) {
        self.layer.take(Parcel { kg: parcel.kg * LAYER, ..parcel });
        self.bulk.take(Parcel { kg: parcel.kg * (1.0 - LAYER), ..parcel });
    }

    /// Takes up to `kg` of the melt out; what comes out.
    pub(crate) fn draw(&mut self, kg: f64) -> Parcel {
        let melt = self.bulk.kg + self.layer.kg;
        let kg = kg.min(melt - FILM).max(0.0);
        let left = 1.0 - kg / melt;
        self.bulk.kg *= left;
        self.layer.kg *= left;
        Parcel { kg, ..self.bulk }
    }

    /// Fishes all pieces out; how much that was, kg.
    pub(crate) fn take_lumps(&mut self) -> f64 {
        let kg = self.pieces_kg();
        self.pieces.clear();
        kg
    }

    /// Stirs in ready cocoa-butter crystals. Counted in chocolate's latent heat they are more than wholly solid.
    pub(crate) fn add_butter_crystals(&mut self, kg: f64, celsius: f64) {
        let solid = LATENT_COCOA_BUTTER / self.substance.latent;
        self.pour(Parcel::new(self.substance, kg, celsius, solid));
    }

    /// One step.
    pub(crate) fn step(&mut self, seconds: f64, drive: &Drive) {
        let bulk_c = self.bulk.celsius(self.substance);
        let layer_c = self.layer.celsius(self.substance);
        let build = self.build;
        let at_wall = if drive.stirred { 1.0 } else { EXCHANGE_AT_REST };
        let touching = 1.0 - (1.0 - EXCHANGE_SOLID) * self.layer.crystals.total();
        let to_layer = build.exchange * at_wall * touching * drive.exchange_factor * (self.wall_c - layer_c);
        let to_coolant =
            drive.coolant_c.map_or(0.0, |c| build.coolant * drive.coolant_factor * (self.wall_c - c));
        let wall_loss = build.wall_loss * (self.wall_c - drive.room_c);
        let surface = (build.surface_loss * drive.surface_factor + drive.fan) * (bulk_c - drive.room_c);
        let rubbed = if drive.stirred {
            build.stirrer_w * self.substance.thickness(bulk_c, self.bulk.crystals.total()).min(4.0)
        } else {
            0.0
        };
        let kilo = seconds / 1000.0;
        self.wall_c += (drive.heater_w - to_layer - to_coolant - wall_loss) * kilo / build.wall_kj_per_k;
        self.layer.h += to_layer * kilo / self.layer.kg;
        self.bulk.h += (drive.burst_w + rubbed - surface) * kilo / self.bulk.kg;
        self.mix(seconds, drive.stirred);
        self.melt_pieces(seconds, drive.stirred);
        let stirred = if drive.stirred { 1.0 } else { 0.0 };
        for parcel in [&mut self.bulk, &mut self.layer] {
            let celsius = parcel.celsius(self.substance);
            parcel.crystals =
                self.substance.react(parcel.crystals, celsius, seconds / 60.0, stirred, drive.eager);
        }
    }

    fn mix(&mut self, seconds: f64, stirred: bool) {
        let time = if stirred { MIXING_STIRRED } else { MIXING_AT_REST };
        let kg = self.layer.kg * (seconds / time).min(1.0);
        let swap = |mine: &mut f64, its: &mut f64, my_kg: f64, its_kg: f64| {
            let moved = kg * (*its - *mine);
            *mine += moved / my_kg;
            *its -= moved / its_kg;
        };
        let (bulk_kg, layer_kg) = (self.bulk.kg, self.layer.kg);
        swap(&mut self.bulk.h, &mut self.layer.h, bulk_kg, layer_kg);
        let (ours, its) = (&mut self.bulk.crystals, &mut self.layer.crystals);
        swap(&mut ours.stable, &mut its.stable, bulk_kg, layer_kg);
        swap(&mut ours.unstable, &mut its.unstable, bulk_kg, layer_kg);
    }

    fn melt_pieces(&mut self, seconds: f64, stirred: bool) {
        let pace = if stirred { 1.0 } else { 0.2 };
        for pieces in &mut self.pieces {
            let (celsius, solid) = self.substance.settled(pieces.h);
            let area_kg = pieces.kg.powf(2.0 / 3.0) * pieces.kg_at_first.powf(1.0 / 3.0);
            let kj =
                PIECES_EXCHANGE * pace * area_kg * (self.bulk.celsius(self.substance) - celsius) * seconds
                    / 1000.0;
            pieces.h += kj / pieces.kg;
            self.bulk.h -= kj / self.bulk.kg;
            let washed = pieces.kg * (WASHING * pace * (1.0 - solid).powi(3) * seconds / 60.0).min(1.0);
            pieces.kg -= washed;
            let crystals = Crystals { stable: solid * SURVIVING, unstable: 0.0 };
            // What does not survive melts in the bulk, which pays for it: the enthalpy is the piece's own.
            self.bulk.take(Parcel { kg: washed, h: pieces.h, crystals });
        }
        let crumbs = 0.0005 * self.bulk.kg;
        if self.pieces.iter().any(|p| p.kg < crumbs) {
            for gone in self.pieces.extract_if(.., |p| p.kg < crumbs) {
                self.bulk.take(Parcel { kg: gone.kg, h: gone.h, crystals: Crystals::default() });
            }
        }
    }

    /// Heat in wall, melt and pieces, kJ, on one scale.
    #[cfg(test)]
    fn heat(&self) -> f64 {
        self.build.wall_kj_per_k * self.wall_c
            + self.bulk.kg * self.bulk.h
            + self.layer.kg * self.layer.h
            + self.pieces.iter().map(|p| p.kg * p.h).sum::<f64>()
    }
}

#[cfg(test)]
mod tests;
