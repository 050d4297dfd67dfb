//! The figures by which a batch is compared with its machine's own past, and how each is read off.
//!
//! A figure has a least spread: the difference below which nobody would act, whatever the statistics say. Ten quiet
//! days make a spread of a hundredth of a degree, and the eleventh would look alarming. The least spreads are common
//! practice, no source; half a working range is 0.5 °C.

use model::{Channel, EventKind, Measures, Phase, Span, Timestamp};

use super::DayRecord;

/// One figure of a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Figure {
    /// Highest temperature of the soak, °C.
    SoakMax,
    /// Chocolate above the set-point late in the soak, °C.
    SoakOver,
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
    /// What the controller was asked to hold in working, °C.
    SetpointHold,
    /// Chocolate above the set-point in working, median, °C.
    OffSetpoint,
    /// Swing of the chocolate in working, slow moves taken out, °C.
    Swing,
    /// Largest step up of the chocolate in use between two means, where nothing was put in, °C.
    Jump,
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
    pub const ALL: [Figure; 27] = [
        Figure::SoakMax,
        Figure::SoakOver,
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
        Figure::SetpointHold,
        Figure::OffSetpoint,
        Figure::Swing,
        Figure::Jump,
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
            Figure::SetpointHold => (0.1, 0.0),
            Figure::OffSetpoint => (0.1, 0.0),
            Figure::Swing => (0.1, 0.1),
            Figure::Jump => (0.7, 0.0),
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

    /// The figure of one batch; `None` where it cannot be told.
    pub fn of(self, record: &DayRecord) -> Option<f64> {
        let measures: &Measures = &record.batch.measures;
        let value = match self {
            Figure::SoakMax => measures.soak_max_c,
            Figure::SoakOver => soak_over(record),
            Figure::CoolingMinutes => measures.cooling_minutes,
            Figure::CoolingTau => measures.cooling_tau_min,
            Figure::Lowest => measures.lowest_c,
            Figure::SeedDip => measures.seed_dip_c,
            Figure::Settled => measures.settled_c,
            Figure::WorkingMean => measures.working_mean_c.filter(|_| is_long_enough(record)),
            Figure::WorkingSd => measures.working_sd_c.filter(|_| is_long_enough(record)),
            Figure::Drift => measures.drift_c_per_h.filter(|_| is_long_enough(record)),
            Figure::AboveLoss => measures.above_loss_c_min,
            Figure::Unknown => measures.unknown_minutes,
            Figure::Room => in_use(record, Channel::Room),
            Figure::Humidity => in_use(record, Channel::Humidity),
            Figure::JacketCooling => jacket_cooling(record),
            Figure::JacketHold => beside_chocolate(record, Channel::Jacket),
            Figure::SetpointHold => median(&working(record, Channel::Setpoint)),
            Figure::OffSetpoint => beside_chocolate(record, Channel::Setpoint).map(|below| -below),
            Figure::Swing => swing(&working(record, Channel::Chocolate)),
            Figure::Jump => jump(record),
            Figure::Motor => median(&early(&working(record, Channel::Motor))),
            Figure::MotorRise => motor_rise(&working(record, Channel::Motor)),
            Figure::Unstirred => unstirred(record),
            Figure::Mass => record.batch.mass_kg,
            Figure::SeedShare => seed_mass(record).zip(record.batch.mass_kg).map(|(seed, mass)| seed / mass),
            Figure::SeedAfter => {
                let cooling = record.span(Phase::Cooling)?.0;
                seeded_at(record).map(|at| (at - cooling).as_mins_f64())
            }
            Figure::SeedAt => {
                let at = seeded_at(record)?;
                record
                    .courses
                    .between(Channel::Chocolate, at - Span::from_mins(4), at)
                    .last()
                    .map(|(_, c)| *c)
            }
        };
        value.filter(|value| value.is_finite())
    }
}

fn median(values: &[f64]) -> Option<f64> {
    maths::statistics::median(values)
}

/// A shorter hold says nothing about the hold.
const SHORTEST_HOLD: Span = Span::from_mins(20);

fn hold(record: &DayRecord) -> Option<(Timestamp, Timestamp)> {
    record.span(Phase::Working).filter(|(from, to)| SHORTEST_HOLD <= *to - *from)
}

fn is_long_enough(record: &DayRecord) -> bool {
    hold(record).is_some()
}

fn working(record: &DayRecord, channel: Channel) -> Vec<f64> {
    hold(record).map_or_else(Vec::new, |(from, to)| record.courses.values(channel, from, to))
}

/// A set-point below this asks for no soak, °C.
const SOAK_SETPOINT: f64 = 38.0;

/// A charge that is heated from cold overshoots at first, and a kettle that never cooled does not.
const SOAK_SETTLES: Span = Span::from_mins(60);
const SOAK_LATE: Span = Span::from_mins(75);

/// Late in the soak, while the set-point still asks for it.
fn soak_over(record: &DayRecord) -> Option<f64> {
    let (from, to) = record.span(Phase::Soak)?;
    let from = (from + SOAK_SETTLES).max(to - SOAK_LATE);
    let chocolate = record.courses.between(Channel::Chocolate, from, to);
    let setpoint = record.courses.between(Channel::Setpoint, from, to);
    let over = setpoint.iter().filter(|(_, asked)| SOAK_SETPOINT < *asked).filter_map(|(at, asked)| {
        let place = chocolate.binary_search_by_key(at, |(at, _)| *at).ok()?;
        Some(chocolate[place].1 - asked)
    });
    maths::statistics::quantile(&over.collect::<Vec<f64>>(), 0.9)
}

/// From the start of cooling to the end of working.
fn in_use(record: &DayRecord, channel: Channel) -> Option<f64> {
    let (from, to) = record.in_use()?;
    median(&record.courses.values(channel, from, to))
}

/// The jacket falls at first; how cold it can be made shows in the second half.
fn jacket_cooling(record: &DayRecord) -> Option<f64> {
    let (from, to) = record.span(Phase::Cooling)?;
    let middle = from + (to - from) / 2;
    maths::statistics::quantile(&record.courses.values(Channel::Jacket, middle, to), 0.1)
}

/// Median of `channel` less the chocolate in working.
fn beside_chocolate(record: &DayRecord, channel: Channel) -> Option<f64> {
    let (from, to) = hold(record)?;
    let other = record.courses.between(channel, from, to);
    let chocolate = record.courses.between(Channel::Chocolate, from, to);
    let mut apart = Vec::new();
    for (at, value) in other {
        if let Ok(place) = chocolate.binary_search_by_key(at, |(at, _)| *at) {
            apart.push(value - chocolate[place].1);
        }
    }
    median(&apart)
}

/// The first hour.
fn early(values: &[f64]) -> Vec<f64> {
    values.iter().copied().skip(3).take(30).collect()
}

/// Fewer means than these cannot be early and late.
const EARLY_AND_LATE: usize = 60;

fn motor_rise(values: &[f64]) -> Option<f64> {
    if values.len() < EARLY_AND_LATE {
        return None;
    }
    let late: Vec<f64> = values.iter().rev().copied().take(30).collect();
    let early = median(&early(values)).filter(|current| 0.0 < *current)?;
    median(&late).map(|late| late / early)
}

/// A swing shows against the mean of half an hour about it.
const SLOW: usize = 7;

/// Between the 5 % and 95 % quantile of what is left when slow moves are taken out.
fn swing(values: &[f64]) -> Option<f64> {
    if values.len() < 4 * SLOW {
        return None;
    }
    let left: Vec<f64> = (SLOW..values.len() - SLOW)
        .filter_map(|i| median(&values[i - SLOW..=i + SLOW]).map(|middle| values[i] - middle))
        .collect();
    let (low, high) = (maths::statistics::quantile(&left, 0.05)?, maths::statistics::quantile(&left, 0.95)?);
    Some(high - low)
}

/// So long around a seed or a top-up the chocolate may step.
const STEPS_AROUND: Span = Span::from_mins(12);

/// Cold couverture can pull a charge down within two minutes, but nothing warms it by degrees in that time. A probe that
/// was lifted out and comes back does.
fn jump(record: &DayRecord) -> Option<f64> {
    let (from, to) = record.in_use()?;
    let put_in: Vec<Timestamp> = record
        .events
        .iter()
        .filter(|event| matches!(event.kind, EventKind::Seed { .. } | EventKind::TopUp { .. }))
        .map(|event| event.at)
        .collect();
    let is_quiet =
        |at: Timestamp| put_in.iter().all(|put| at < *put - STEPS_AROUND || *put + STEPS_AROUND < at);
    let chocolate = record.courses.between(Channel::Chocolate, from, to);
    let steps = chocolate.windows(2).filter_map(|pair| {
        let [(before, first), (at, second)] = pair else { return None };
        (*at - *before == super::courses::STEP && is_quiet(*at)).then(|| second - first)
    });
    steps.max_by(f64::total_cmp)
}

/// Half of the two minutes without stirring count as a standing stirrer.
fn unstirred(record: &DayRecord) -> Option<f64> {
    let (from, to) = record.in_use()?;
    let stirrer = record.courses.values(Channel::Stirrer, from, to);
    let still = stirrer.iter().filter(|turns| **turns < 0.5).count();
    (!stirrer.is_empty()).then(|| still as f64 * super::courses::STEP.as_mins_f64())
}

/// Seed of one seeding may be told in portions.
fn seed_mass(record: &DayRecord) -> Option<f64> {
    let masses: Vec<f64> = record
        .events
        .iter()
        .filter(|event| is_on_the_way_down(record, event.at))
        .filter_map(|event| match event.kind {
            EventKind::Seed { mass_kg, .. } => mass_kg,
            EventKind::Charge { .. }
            | EventKind::TopUp { .. }
            | EventKind::TemperTest(_)
            | EventKind::Reference { .. }
            | EventKind::Note { .. }
            | EventKind::End => None,
        })
        .collect();
    (!masses.is_empty()).then(|| masses.iter().sum())
}

/// The first seed that somebody told on the way down. What is added later mends something and begins nothing.
fn seeded_at(record: &DayRecord) -> Option<Timestamp> {
    let seeds = record.events.iter().filter(|event| matches!(event.kind, EventKind::Seed { .. }));
    seeds.map(|event| event.at).filter(|at| is_on_the_way_down(record, *at)).min()
}

fn is_on_the_way_down(record: &DayRecord, at: Timestamp) -> bool {
    let cooling = record.batch.first(Phase::Cooling);
    let working = record.batch.first(Phase::Working);
    cooling.is_some_and(|span| span.from <= at) && working.is_none_or(|span| at <= span.from)
}
