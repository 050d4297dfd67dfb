//! The causes of a bad-temper day, as the trade sorts them (common practice, no source).

/// What may be behind a bad day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Cause {
    /// Common: the room is hot or humid.
    Room,
    /// Common: the cooling water.
    CoolingWater,
    /// Common: the material, a lot of couverture or seed.
    Material,
    /// Common: a change of recipe or schedule.
    Recipe,
    /// One machine: heat transfer (jacket, valve, fan).
    HeatTransfer,
    /// One machine: its control.
    Control,
    /// One machine: stirring.
    Stirring,
    /// The instrument.
    Instrument,
    /// People and method.
    People,
    /// Setting and cooling behind the kettle.
    Setting,
    /// Mass, how full the machine is.
    Fill,
    /// Time, the clock.
    Clock,
    /// A gap: power or network.
    Gap,
}

impl Cause {
    /// Every cause.
    pub const ALL: [Cause; 13] = [
        Cause::Room,
        Cause::CoolingWater,
        Cause::Material,
        Cause::Recipe,
        Cause::HeatTransfer,
        Cause::Control,
        Cause::Stirring,
        Cause::Instrument,
        Cause::People,
        Cause::Setting,
        Cause::Fill,
        Cause::Clock,
        Cause::Gap,
    ];

    /// Its word in documents for programs.
    pub fn as_str(self) -> &'static str {
        match self {
            Cause::Room => "room",
            Cause::CoolingWater => "cooling-water",
            Cause::Material => "material",
            Cause::Recipe => "recipe",
            Cause::HeatTransfer => "heat-transfer",
            Cause::Control => "control",
            Cause::Stirring => "stirring",
            Cause::Instrument => "instrument",
            Cause::People => "people",
            Cause::Setting => "setting",
            Cause::Fill => "fill",
            Cause::Clock => "clock",
            Cause::Gap => "gap",
        }
    }
}
