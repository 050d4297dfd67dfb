//! What a machine is: sizes, instruments and shift, drawn from its entry in the plant file.
//!
//! The plant file says what a machine is for; how big its jacket is, it does not say. Sizes follow a table of assumed
//! areas and heat-transfer coefficients by batch size (no measured ones of real vessels were found), and are then scaled
//! once so that cooling takes the minutes that the plant file calls usual.

use model::{Channel, CouvertureId, MachineId, Method};
use plant::{Limits, Machine, Plant, Sensor, Style};

use crate::chocolate::{SPECIFIC_HEAT, Substance};
use crate::controller::{Controller, Kind};
use crate::probe::ProbeBuild;
use crate::vessel::{Build, Drive, STEEL, Vessel, WATER};

/// How a machine words its readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wording {
    /// A bare number a channel, without a time of its own.
    Numbers,
    /// A SenML pack for the machine, with times.
    Packs,
    /// A SenML pack a channel, with times.
    ChannelPacks,
}

/// What a machine measures with, and how often.
#[derive(Debug, Clone, PartialEq)]
pub struct Instruments {
    /// Which channels it has; `chocolate` always.
    pub channels: Vec<Channel>,
    /// Seconds from one sample of chocolate and jacket to the next.
    pub sample_s: f64,
    /// Seconds from one sample of room, humidity, set-point, stirrer and motor to the next.
    pub slow_sample_s: f64,
    /// Smallest step of a temperature, °C.
    pub resolution_c: f64,
    /// Deviation of the electronics, °C.
    pub noise_c: f64,
    /// First-order lag of the chocolate probe, seconds.
    pub lag_s: f64,
    /// The chocolate probe shows so much too much, and nobody knows it, °C.
    pub offset_c: f64,
    /// More noise while the heater is on, °C: its contactor and cable are near.
    pub heating_noise_c: f64,
    /// Temperatures are only reported when they have moved by so much, °C, or for ten minutes were not reported.
    pub deadband_c: Option<f64>,
    /// How readings are worded.
    pub wording: Wording,
}

impl Instruments {
    /// The steps in which the chocolate's temperature is told, its noise counted, °C. A sender on change keeps to itself
    /// what has not moved by its deadband.
    pub(crate) fn told_to_c(&self) -> f64 {
        self.resolution_c + 2.0 * (self.noise_c + self.deadband_c.unwrap_or(0.0))
    }
}

/// What people tell the system.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Telling {
    /// Most things, within minutes.
    #[default]
    Usual,
    /// Nothing.
    Never,
    /// Up to three quarters of an hour late, and not quite right about when.
    Sloppy,
}

/// How a machine is worked, where it is not as usual.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Manner {
    /// What people tell.
    pub telling: Telling,
    /// At night it is held so much lower, °C.
    pub set_back_c: f64,
    /// The charge is melted again at this minute after local midnight, for a second batch on the same day.
    pub second_batch_at_min: Option<f64>,
    /// Somebody moves the set-point a little about every hour.
    pub fiddles: bool,
    /// The network is so many times worse than usual, on top of being as it usually is.
    pub rough_network: f64,
}

/// When a machine is worked, in minutes after local midnight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// Somebody sets the machine to cool.
    pub cool_at_min: f64,
    /// Work with it ends.
    pub end_at_min: f64,
}

/// A machine, ready to be built.
#[derive(Debug, Clone)]
pub(crate) struct Spec {
    pub(crate) id: MachineId,
    pub(crate) method: Method,
    pub(crate) couverture: CouvertureId,
    pub(crate) limits: Limits,
    pub(crate) substance: Substance,
    pub(crate) capacity_kg: f64,
    pub(crate) build: Build,
    /// Fan on the surface, W/K.
    pub(crate) fan: f64,
    pub(crate) heater_w: f64,
    pub(crate) control: Kind,
    pub(crate) instruments: Instruments,
    pub(crate) shift: Shift,
    pub(crate) manner: Manner,
    /// What its plant file calls the usual length of cooling.
    pub(crate) told_cooling_minutes: Option<f64>,
    /// What the plant file adds to the chocolate probe's value; the probe is wrong by as much the other way.
    pub(crate) calibration_c: f64,
    /// The chocolate channel is a bare resistance.
    pub(crate) sends_ohm: bool,
}

/// Usual sizes where the plant file says nothing, kg.
fn usual_capacity(style: Style) -> f64 {
    match style {
        Style::Kettle => 50.0,
        Style::Wheel => 6.0,
        Style::Continuous => 30.0,
        Style::Bench => 1.5,
    }
}

/// A machine is filled to here at the start of a day.
pub(crate) const USUAL_FILL: f64 = 0.8;
/// Cooling water, °C: chilled a little, or from the tap in winter (common practice 10–15).
pub(crate) const COOLANT_C: f64 = 13.0;
/// Steel a kg of capacity: 3 kg in a 6 kg machine.
const STEEL_SHARE: f64 = 0.5;
/// Water in the jacket a kg of capacity (assumed).
const WATER_SHARE: f64 = 0.2;
/// U·A of a 30 kg jacket: 60 W/(m² K) on 0.45 m²; grows with the surface (assumed, factor 2 either way).
const JACKET_30_KG: f64 = 27.0;
/// U·A of a 6 kg wheel bowl to its heated shell: 60 W/(m² K) on 0.2 m² (assumed).
const SHELL_6_KG: f64 = 12.0;
/// U·A of a fan on a 6 kg wheel: 25 W/(m² K) on 0.2 m² (assumed).
const FAN_6_KG: f64 = 5.0;
/// Loss of a 6 kg machine to the room, W/K.
const LOSS_6_KG: f64 = 1.4;
/// Loss of a 1 kg bowl in still air, W/K.
const LOSS_1_KG_BOWL: f64 = 0.6;
/// 3 kW on 100 kg and 500 W on 6 kg, W/kg.
const KETTLE_HEATER: f64 = 30.0;
const WHEEL_HEATER: f64 = 83.0;
/// A pot of water on a small flame, W/kg (assumed).
const BAIN_MARIE_HEATER: f64 = 150.0;
/// 1.5 kW in 500 kg is 3 W/kg at full speed; a small kettle stirs gently (assumed), W/kg.
const STIRRER: f64 = 0.4;
/// Jacket water at the melt and while cooling, °C (common practice: 45–55 and 15–25).
const JACKET_RANGE: (f64, f64) = (20.0, 54.0);
const JACKET_GAIN: f64 = 6.0;
/// The least share of the table's exchange that a gentle kettle is given: below it, nothing would melt overnight.
const LEAST_EXCHANGE: f64 = 0.55;
/// Seeding takes the last degrees; so many minutes from the seeding point to the working range, fetching the seed included
/// (common practice 3–15).
const SEED_DIP_MIN: f64 = 8.0;

impl Spec {
    /// The machine at `place` in the plant file. Instruments and shift differ from machine to machine, as they do.
    pub(crate) fn from_plant(plant: &Plant, machine: &Machine, place: usize) -> Spec {
        let couverture = machine.couverture.clone();
        let family = plant
            .couverture(&couverture)
            .expect("a plant's machine points to a couverture that is there")
            .family;
        let capacity_kg = machine.capacity_kg.unwrap_or_else(|| usual_capacity(machine.style));
        let settings = machine.settings(Channel::Chocolate);
        let late = (place % 3) as f64;
        let mut spec = Spec {
            id: machine.id.clone(),
            method: machine.method,
            limits: plant.limits(machine, &couverture),
            couverture,
            substance: Substance::of(family),
            capacity_kg,
            build: build(machine.style, capacity_kg),
            fan: fan(machine.style, capacity_kg),
            heater_w: heater(machine.style, machine.method, capacity_kg),
            control: control(machine.style, machine.method),
            instruments: instruments(machine.style, place),
            shift: Shift { cool_at_min: 360.0 + 20.0 * late, end_at_min: 930.0 + 30.0 * late },
            manner: Manner::default(),
            told_cooling_minutes: machine.cooling_minutes,
            calibration_c: settings.offset,
            sends_ohm: matches!(settings.sensor, Some(Sensor::Pt100)),
        };
        if let Some(minutes) = machine.cooling_minutes {
            spec.scale_cooling(minutes);
        }
        spec
    }

    pub(crate) fn usual_kg(&self) -> f64 {
        self.capacity_kg * USUAL_FILL
    }

    pub(crate) fn has(&self, channel: Channel) -> bool {
        self.instruments.channels.contains(&channel)
    }

    pub(crate) fn probe(&self) -> ProbeBuild {
        ProbeBuild {
            lag_s: self.instruments.lag_s,
            noise_c: self.instruments.noise_c,
            resolution_c: self.instruments.resolution_c,
            offset_c: self.instruments.offset_c - self.calibration_c,
            drift_c_per_day: 0.0,
        }
    }

    /// Share of the melted mass that this shop seeds with: its recipe's lower third.
    pub(crate) fn usual_seed_share(&self) -> f64 {
        let (least, most) = self.limits.seed_share;
        least + 0.2 * (most - least)
    }

    /// Where this shop has learned to throw `share` of seed in, so that it lands just above the working range: the heat
    /// balance of charge, vessel and seed of `seed_c`, with half of the seed's fat melting.
    pub(crate) fn seed_point(&self, kg: f64, share: f64, seed_c: f64) -> f64 {
        // The jacket's water follows slowly and the controller holds against it: a third counts.
        let vessel = 0.33 * self.build.wall_kj_per_k / kg;
        let end = self.limits.working.high() + 0.2;
        let heat = ((1.0 + share) * SPECIFIC_HEAT + vessel) * end - share * SPECIFIC_HEAT * seed_c
            + 0.5 * share * self.substance.latent;
        let start = heat / (SPECIFIC_HEAT + vessel);
        start.clamp(self.limits.working.high() + 1.5, self.limits.melt.low() - 3.0)
    }

    /// Where cooling by the machine alone ends: at the seed, or in the working range.
    fn cooled_to(&self) -> (f64, f64) {
        match self.method {
            Method::Seed => (self.seed_point(self.usual_kg(), self.usual_seed_share(), 20.0), SEED_DIP_MIN),
            Method::ButterSeed | Method::PartialMelt | Method::Continuous => {
                (self.limits.working.high() + 0.5, 0.0)
            }
            Method::Tabling => (self.limits.melt.low() - 3.0, SEED_DIP_MIN + 6.0),
        }
    }

    /// Minutes that an ordinary cooling takes.
    pub(crate) fn nominal_cooling_minutes(&self) -> f64 {
        const STEP_S: f64 = 5.0;
        const AT_MOST_MIN: f64 = 1_000.0;
        let (end, more) = self.cooled_to();
        let start = self.limits.melt.low() + 0.5;
        let mut vessel = Vessel::new(self.substance, self.build, self.usual_kg(), start, 0.0);
        let mut controller = Controller::new(self.control, self.heater_w);
        let mut minutes = 0.0;
        while vessel.celsius() > end && minutes < AT_MOST_MIN {
            let asked =
                controller.act(STEP_S, self.limits.working.middle(), vessel.celsius(), vessel.wall_c, 1.0);
            vessel.step(
                STEP_S,
                &Drive {
                    heater_w: asked.heater_w,
                    burst_w: 0.0,
                    coolant_c: asked.valve_open.then_some(COOLANT_C),
                    coolant_factor: 1.0,
                    fan: if asked.fan_on { self.fan } else { 0.0 },
                    room_c: 20.5,
                    stirred: true,
                    exchange_factor: 1.0,
                    surface_factor: 1.0,
                    eager: 1.0,
                },
            );
            minutes += STEP_S / 60.0;
        }
        minutes + more
    }

    /// Throttles jacket or fan until cooling takes `wanted` minutes, within what is sensible. A gentle kettle has a little
    /// less exchange than the table says and much less water.
    fn scale_cooling(&mut self, wanted: f64) {
        let (build, fan) = (self.build, self.fan);
        let (mut least, mut most) = (0.01f64, 6.0f64);
        for _ in 0..16 {
            let factor = (least * most).sqrt();
            self.build.exchange = match self.control {
                Kind::Jacket { .. } => build.exchange * factor.max(LEAST_EXCHANGE),
                Kind::Thermostat { .. } | Kind::ByHand => build.exchange,
            };
            self.build.coolant = build.coolant * (factor / LEAST_EXCHANGE).min(1.0);
            self.fan = fan * factor;
            if self.nominal_cooling_minutes() > wanted { least = factor } else { most = factor }
        }
    }
}

fn build(style: Style, capacity: f64) -> Build {
    let surface = |kg: f64| (capacity / kg).powf(2.0 / 3.0);
    let steel = STEEL_SHARE * capacity * STEEL;
    let loss = LOSS_6_KG * surface(6.0);
    match style {
        Style::Kettle | Style::Continuous => Build {
            wall_kj_per_k: steel + WATER_SHARE * capacity * WATER,
            exchange: JACKET_30_KG * surface(30.0),
            wall_loss: 0.6 * loss,
            surface_loss: 0.4 * loss,
            coolant: 2.0 * JACKET_30_KG * surface(30.0),
            stirrer_w: STIRRER * capacity,
        },
        Style::Wheel => Build {
            wall_kj_per_k: steel,
            exchange: SHELL_6_KG * surface(6.0),
            wall_loss: 0.4 * loss,
            surface_loss: 0.6 * loss,
            coolant: 0.0,
            stirrer_w: STIRRER * capacity,
        },
        Style::Bench => Build {
            wall_kj_per_k: steel,
            exchange: 4.0 * surface(1.0),
            wall_loss: 0.5 * LOSS_1_KG_BOWL * surface(1.0),
            surface_loss: 0.5 * LOSS_1_KG_BOWL * surface(1.0),
            coolant: 8.0 * surface(1.0),
            stirrer_w: 0.0,
        },
    }
}

fn fan(style: Style, capacity: f64) -> f64 {
    match style {
        Style::Wheel => FAN_6_KG * (capacity / 6.0).powf(2.0 / 3.0),
        Style::Kettle | Style::Continuous | Style::Bench => 0.0,
    }
}

fn heater(style: Style, method: Method, capacity: f64) -> f64 {
    match style {
        Style::Kettle | Style::Continuous => (KETTLE_HEATER * capacity).max(500.0),
        Style::Wheel => WHEEL_HEATER * capacity,
        Style::Bench if method == Method::PartialMelt => 0.0,
        Style::Bench => BAIN_MARIE_HEATER * capacity,
    }
}

fn control(style: Style, method: Method) -> Kind {
    match style {
        Style::Kettle => Kind::Jacket { gain: JACKET_GAIN, range: JACKET_RANGE },
        // Has to come down against the heat of its own crystals.
        Style::Continuous => Kind::Jacket { gain: 2.0 * JACKET_GAIN, range: JACKET_RANGE },
        Style::Wheel => Kind::Thermostat { hysteresis: 0.12, low_heat: 0.12, wall_most: 62.0 },
        Style::Bench if method == Method::PartialMelt => Kind::ByHand,
        // A bowl over a water bath that somebody keeps warm or cold.
        Style::Bench => Kind::Jacket { gain: JACKET_GAIN, range: JACKET_RANGE },
    }
}

fn instruments(style: Style, place: usize) -> Instruments {
    use Channel::{Chocolate, Humidity, Jacket, Motor, Room, Setpoint, Stirrer};
    let wording = [Wording::Numbers, Wording::Packs, Wording::ChannelPacks][place % 3];
    match style {
        Style::Kettle | Style::Continuous => Instruments {
            channels: vec![Chocolate, Jacket, Room, Humidity, Setpoint, Stirrer, Motor],
            sample_s: 5.0,
            slow_sample_s: 30.0,
            resolution_c: if place.is_multiple_of(2) { 0.01 } else { 0.1 },
            noise_c: 0.03,
            lag_s: 25.0,
            offset_c: 0.0,
            heating_noise_c: 0.0,
            deadband_c: None,
            wording,
        },
        Style::Wheel => Instruments {
            channels: vec![Chocolate, Setpoint, Stirrer, Motor],
            sample_s: 2.0,
            slow_sample_s: 30.0,
            resolution_c: 0.1,
            noise_c: 0.04,
            lag_s: 15.0,
            offset_c: 0.0,
            heating_noise_c: 0.0,
            deadband_c: None,
            wording,
        },
        Style::Bench => Instruments {
            channels: vec![Chocolate],
            sample_s: 30.0,
            slow_sample_s: 60.0,
            resolution_c: 0.1,
            // Hand thermometers: ±0.5–1 °C contact, worse by infrared (common practice).
            noise_c: 0.15,
            lag_s: 5.0,
            offset_c: 0.0,
            heating_noise_c: 0.0,
            deadband_c: None,
            wording: Wording::Numbers,
        },
    }
}
