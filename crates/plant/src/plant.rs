//! What one site has: machines, couvertures, a broker, a time zone.
//!
//! **Invariant:** a [`Plant`] comes from [`crate::parse_plant`] alone, so every id in it points somewhere and every
//! range is the right way up.

use std::collections::{BTreeMap, HashMap};

use model::{Channel, CouvertureId, MachineId, Method, Span};

use crate::{
    Family, LimitOverrides, Limits, Mqtt, ProbeCheckRules, Reach, Source, TemperTestRules, TimeZone,
};

/// No machine holds more, and nothing that is put into one weighs more: the largest storage tanks hold less; kg, common practice, no source.
pub const MOST_KG: f64 = 20_000.0;

/// One site with one broker and one time zone.
#[derive(Debug, Clone, PartialEq)]
pub struct Plant {
    /// As people call it.
    pub name: String,
    /// Decides days and ISO weeks.
    pub time_zone: TimeZone,
    /// Where the messages come from.
    pub mqtt: Mqtt,
    /// In the order of the file.
    pub couvertures: Vec<Couverture>,
    /// In the order of the file.
    pub machines: Vec<Machine>,
    /// Foreign topics, in the order of the file. Each that matches a topic reads a value from it.
    pub sources: Vec<Source>,
    /// How long the watch waits for readings that come late or out of order.
    pub lateness: Span,
    /// How temper tests are judged and when they are due.
    pub temper_test: TemperTestRules,
    /// How probes are checked.
    pub probe_checks: ProbeCheckRules,
    /// Who is told of alarms, and how.
    pub reach: Reach,
    /// Each machine's place in the file: pages look up a thousand of them each second.
    pub(crate) places: HashMap<MachineId, usize>,
}

/// A couverture that the site works with.
#[derive(Debug, Clone, PartialEq)]
pub struct Couverture {
    /// As events name it.
    pub id: CouvertureId,
    /// As people call it, where that differs from the id.
    pub name: Option<String>,
    /// Gives every limit its default.
    pub family: Family,
    /// What the file says otherwise.
    pub overrides: LimitOverrides,
}

/// Whatever holds couverture and is watched by a probe.
#[derive(Debug, Clone, PartialEq)]
pub struct Machine {
    /// As topics name it.
    pub id: MachineId,
    /// As people call it; the id with a capital where the file says nothing.
    pub name: String,
    /// What sort of machine.
    pub style: Style,
    /// How much it holds.
    pub capacity_kg: Option<f64>,
    /// What is in it until a charge event says otherwise.
    pub couverture: CouvertureId,
    /// How it is tempered until a charge event says otherwise.
    pub method: Method,
    /// Usual length of the phase `cooling`, until a baseline is learned.
    pub cooling_minutes: Option<f64>,
    /// Channels about which there is something to say.
    pub channels: BTreeMap<Channel, ChannelSettings>,
    /// Limits of this machine, whatever is in it.
    pub overrides: LimitOverrides,
}

/// What sort of machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Style {
    /// A stirred, jacketed kettle.
    Kettle,
    /// A wheel that turns through a bowl.
    Wheel,
    /// Cooling and rewarming zones without end.
    Continuous,
    /// A bowl worked by hand.
    Bench,
}

/// What the file says about one channel.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct ChannelSettings {
    /// The raw sensor behind it; `None` if values are in the channel's unit already.
    pub sensor: Option<Sensor>,
    /// The probe's last calibration, added to its value, in the channel's unit.
    pub offset: f64,
    /// How exact its maker says a platinum probe is, if the file says so.
    pub tolerance: Option<ToleranceClass>,
}

/// Classes of industrial platinum thermometers (IEC 60751:2022, table 4), for the finished thermometer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ToleranceClass {
    /// ±(0.10 + 0.0017 |t|) °C
    Aa,
    /// ±(0.15 + 0.002 |t|) °C
    A,
    /// ±(0.30 + 0.005 |t|) °C
    B,
    /// ±(0.60 + 0.01 |t|) °C
    C,
}

/// A raw sensor, whose values have to be turned into °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sensor {
    /// Platinum, 100 Ω at 0 °C (IEC 60751). Values in Ω.
    Pt100,
    /// Thermocouple type K (ITS-90). Values in mV.
    TypeK(ColdJunction),
    /// Thermocouple type T (ITS-90). Values in mV.
    TypeT(ColdJunction),
    /// Thermocouple type J (ITS-90). Values in mV.
    TypeJ(ColdJunction),
}

/// How warm the far end of a thermocouple is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ColdJunction {
    /// Always this warm, °C.
    Fixed(f64),
    /// As warm as the machine's `room` channel says.
    Room,
}

impl Style {
    /// Every style, in the order of the contract.
    pub const ALL: [Style; 4] = [Style::Kettle, Style::Wheel, Style::Continuous, Style::Bench];

    /// The contract's word.
    pub fn as_str(self) -> &'static str {
        match self {
            Style::Kettle => "kettle",
            Style::Wheel => "wheel",
            Style::Continuous => "continuous",
            Style::Bench => "bench",
        }
    }

    /// How such a machine is tempered where the file does not say.
    pub(crate) fn usual_method(self) -> Method {
        match self {
            Style::Kettle | Style::Wheel | Style::Bench => Method::Seed,
            Style::Continuous => Method::Continuous,
        }
    }
}

impl ToleranceClass {
    /// Every class, the most exact first.
    pub const ALL: [ToleranceClass; 4] =
        [ToleranceClass::Aa, ToleranceClass::A, ToleranceClass::B, ToleranceClass::C];

    /// The standard's word.
    pub fn as_str(self) -> &'static str {
        match self {
            ToleranceClass::Aa => "AA",
            ToleranceClass::A => "A",
            ToleranceClass::B => "B",
            ToleranceClass::C => "C",
        }
    }

    /// By how much such a thermometer may be off at `celsius`, either way.
    pub fn allows_c(self, celsius: f64) -> f64 {
        let (at_zero, a_degree) = match self {
            ToleranceClass::Aa => (0.10, 0.0017),
            ToleranceClass::A => (0.15, 0.002),
            ToleranceClass::B => (0.30, 0.005),
            ToleranceClass::C => (0.60, 0.01),
        };
        at_zero + a_degree * celsius.abs()
    }
}

impl Couverture {
    /// As people call it.
    pub fn display_name(&self) -> &str {
        self.name.as_deref().unwrap_or(self.id.as_str())
    }

    /// The family's limits and what the file says otherwise.
    pub fn limits(&self) -> Limits {
        self.overrides.over(self.family.default_limits())
    }
}

impl Machine {
    /// What the file says about `channel`; nothing special where it says nothing.
    pub fn settings(&self, channel: Channel) -> ChannelSettings {
        self.channels.get(&channel).copied().unwrap_or_default()
    }
}

impl Plant {
    /// The machine of that id.
    pub fn machine(&self, id: &MachineId) -> Option<&Machine> {
        self.machines.get(*self.places.get(id)?)
    }

    /// The couverture of that id.
    pub fn couverture(&self, id: &CouvertureId) -> Option<&Couverture> {
        self.couvertures.iter().find(|couverture| couverture.id == *id)
    }

    /// The limits that hold while `couverture` is in `machine`: the family's defaults, what the couverture says
    /// otherwise, what the machine says otherwise. A couverture that the file does not know has the limits of the one
    /// that the file gives the machine.
    ///
    /// # Panics
    /// If `machine` is not one of this plant's and the plant does not know its couverture either.
    pub fn limits(&self, machine: &Machine, couverture: &CouvertureId) -> Limits {
        let couverture = self
            .couverture(couverture)
            .or_else(|| self.couverture(&machine.couverture))
            .expect("a plant file is refused if a machine's couverture is not in it");
        machine.overrides.over(couverture.limits())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 60751:2022, table 4: at 0 °C and at 100 °C.
    #[test]
    fn tolerances_are_those_of_the_standard() {
        let both = |class: ToleranceClass| [class.allows_c(0.0), class.allows_c(100.0)];
        let near = |a: [f64; 2], b: [f64; 2]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-9);
        assert!(near(both(ToleranceClass::Aa), [0.1, 0.27]));
        assert!(near(both(ToleranceClass::A), [0.15, 0.35]));
        assert!(near(both(ToleranceClass::B), [0.3, 0.8]));
        assert!(near(both(ToleranceClass::C), [0.6, 1.6]));
    }
}
