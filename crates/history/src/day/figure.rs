//! The figures by which a batch is compared with its machine's own past, and what is known of each beforehand.
//!
//! A figure has a least spread: the difference below which nobody would act, whatever the statistics say. Ten quiet
//! days make a spread of a hundredth of a degree, and the eleventh would look alarming. The least spreads are common
//! practice, no source; half a working range is 0.5 °C.

mod read_off;

/// One figure of a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Figure {
    /// Highest temperature of the soak, °C.
    SoakMax,
    /// Chocolate above the set-point late in the soak, °C.
    SoakOver,
    /// From the start of melting to the soak, min.
    MeltMinutes,
    /// How far the chocolate fell from an earlier height before cooling began, °C.
    FellBefore,
    /// Length of cooling, min.
    CoolingMinutes,
    /// Newton time constant of the cooling, min.
    CoolingTau,
    /// Lowest temperature on the way down, °C.
    Lowest,
    /// Depth of the dip when seed went in, °C.
    SeedDip,
    /// Mean of minutes 10 to 30 of working, °C.
    Settled,
    /// Mean of working, °C.
    WorkingMean,
    /// Deviation of working, °C.
    WorkingSd,
    /// Slope of working, °C/h.
    Drift,
    /// Area above the temper-loss limit, °C·min.
    AboveLoss,
    /// Minutes of which nothing is known.
    Unknown,
    /// The room from the start of cooling to the end of working, median, °C.
    Room,
    /// Its humidity, %RH.
    Humidity,
    /// Jacket or water in the second half of cooling, lowest tenth, °C.
    JacketCooling,
    /// Jacket or water above the chocolate in working, °C.
    JacketHold,
    /// Swing of the jacket or water in working, slow moves taken out, °C.
    JacketSwing,
    /// What the controller was asked to hold in working, °C.
    SetpointHold,
    /// Chocolate above the set-point in working, median, °C.
    OffSetpoint,
    /// Chocolate under the set-point in working, the coldest tenth of it, °C.
    Under,
    /// Swing of the chocolate in working, slow moves taken out, °C.
    Swing,
    /// Largest step of the chocolate between two means where nothing was put in, °C: up while in use, or down in working.
    Jump,
    /// Longest time in use without any change of the chocolate, min.
    Still,
    /// Current of the stirrer in the first hour of working, A.
    Motor,
    /// Current of the stirrer late in working over that early, a ratio.
    MotorRise,
    /// Minutes of cooling, settling and working without stirring.
    Unstirred,
    /// Mass of the charge, kg.
    Mass,
    /// Seed mass a mass of charge, a share.
    SeedShare,
    /// From the start of cooling to the seed, min.
    SeedAfter,
    /// Chocolate when the seed went in, °C.
    SeedAt,
}

/// What is known about a figure beforehand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Least {
    /// Least spread in the figure's own unit.
    pub absolute: f64,
    /// Least spread as a share of the usual value.
    pub relative: f64,
}

impl Figure {
    /// Every figure, in the order of a batch's day.
    pub const ALL: [Figure; 32] = [
        Figure::SoakMax,
        Figure::SoakOver,
        Figure::MeltMinutes,
        Figure::FellBefore,
        Figure::CoolingMinutes,
        Figure::CoolingTau,
        Figure::Lowest,
        Figure::SeedDip,
        Figure::Settled,
        Figure::WorkingMean,
        Figure::WorkingSd,
        Figure::Drift,
        Figure::AboveLoss,
        Figure::Unknown,
        Figure::Room,
        Figure::Humidity,
        Figure::JacketCooling,
        Figure::JacketHold,
        Figure::JacketSwing,
        Figure::SetpointHold,
        Figure::OffSetpoint,
        Figure::Under,
        Figure::Swing,
        Figure::Jump,
        Figure::Still,
        Figure::Motor,
        Figure::MotorRise,
        Figure::Unstirred,
        Figure::Mass,
        Figure::SeedShare,
        Figure::SeedAfter,
        Figure::SeedAt,
    ];

    /// The least spread.
    pub fn least(self) -> Least {
        let (absolute, relative) = match self {
            Figure::SoakMax | Figure::SoakOver => (0.5, 0.0),
            Figure::MeltMinutes => (20.0, 0.2),
            Figure::FellBefore => (1.5, 0.0),
            Figure::CoolingMinutes => (5.0, 0.05),
            Figure::CoolingTau => (1.0, 0.05),
            Figure::Lowest => (0.25, 0.0),
            Figure::SeedDip => (0.3, 0.06),
            Figure::Settled | Figure::WorkingMean => (0.1, 0.0),
            Figure::WorkingSd => (0.03, 0.1),
            Figure::Drift => (0.03, 0.0),
            Figure::AboveLoss => (0.3, 0.0),
            Figure::Unknown => (1.0, 0.0),
            Figure::Room => (0.7, 0.0),
            Figure::Humidity => (2.5, 0.0),
            Figure::JacketCooling => (0.6, 0.0),
            Figure::JacketHold => (0.4, 0.0),
            Figure::JacketSwing => (0.8, 0.2),
            Figure::SetpointHold => (0.1, 0.0),
            Figure::OffSetpoint | Figure::Under => (0.1, 0.0),
            Figure::Swing => (0.1, 0.1),
            Figure::Jump => (0.7, 0.0),
            Figure::Still => (4.0, 0.3),
            Figure::Motor => (0.0, 0.04),
            Figure::MotorRise => (0.04, 0.0),
            Figure::Unstirred => (1.0, 0.0),
            Figure::Mass => (0.0, 0.04),
            Figure::SeedShare => (0.0, 0.12),
            Figure::SeedAfter => (3.0, 0.05),
            Figure::SeedAt => (0.7, 0.0),
        };
        Least { absolute, relative }
    }
}
