//! How each figure is read off a batch.

use model::{Channel, EventKind, Measures, Phase, Span, Timestamp};

use super::Figure;
use crate::day::{DayRecord, STEP};

impl Figure {
    /// The figure of one batch; `None` where it cannot be told.
    pub fn of(self, record: &DayRecord) -> Option<f64> {
        let measures: &Measures = &record.batch.measures;
        let value = match self {
            Figure::SoakMax => measures.soak_max_c,
            Figure::SoakOver => soak_over(record),
            Figure::MeltMinutes => {
                let (melting, soak) = (record.batch.first(Phase::Melting)?, record.batch.first(Phase::Soak)?);
                (melting.from < soak.from).then(|| (soak.from - melting.from).as_mins_f64())
            }
            Figure::FellBefore => fell_before(record),
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
            Figure::JacketSwing => swing(&working(record, Channel::Jacket)),
            Figure::SetpointHold => median(&working(record, Channel::Setpoint)),
            Figure::OffSetpoint => beside_chocolate(record, Channel::Setpoint).map(|below| -below),
            Figure::Under => {
                let above_chocolate = apart(record, Channel::Setpoint);
                maths::statistics::quantile(&above_chocolate, 0.9)
            }
            Figure::Swing => swing(&working(record, Channel::Chocolate)),
            Figure::Jump => jump(record),
            Figure::Still => still(record),
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
                let before = record.courses.between(Channel::Chocolate, at - BEFORE_SEED, at);
                // A mean that reaches behind the seed has some of its dip in it.
                before.iter().rfind(|(from, _)| *from + STEP <= at).map(|(_, celsius)| *celsius)
            }
        };
        value.filter(|value| value.is_finite())
    }
}

/// Older than this a mean no longer says how warm it was when the seed went in.
const BEFORE_SEED: Span = Span::from_mins(6);

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
/// Of less the overshoot is the greater part.
const SHORTEST_LATE: Span = Span::from_mins(20);

/// Late in the soak, while the set-point still asks for it.
fn soak_over(record: &DayRecord) -> Option<f64> {
    let (from, to) = record.span(Phase::Soak)?;
    let from = (from + SOAK_SETTLES).max(to - SOAK_LATE);
    if to - from < SHORTEST_LATE {
        return None;
    }
    let chocolate = record.courses.between(Channel::Chocolate, from, to);
    let setpoint = record.courses.between(Channel::Setpoint, from, to);
    let over = setpoint.iter().filter(|(_, asked)| SOAK_SETPOINT < *asked).filter_map(|(at, asked)| {
        let place = chocolate.binary_search_by_key(at, |(at, _)| *at).ok()?;
        Some(chocolate[place].1 - asked)
    });
    maths::statistics::quantile(&over.collect::<Vec<f64>>(), 0.9)
}

/// A melt warms; what falls by degrees was cooled, or lost its heat. Cold pieces that slide past the probe make a degree or two.
fn fell_before(record: &DayRecord) -> Option<f64> {
    let cooled = record.batch.first(Phase::Cooling).or_else(|| record.batch.first(Phase::Working));
    let to = cooled.map_or_else(|| record.known_to(), |span| span.from);
    let melt = record.courses.values(Channel::Chocolate, record.batch.start, to);
    let (mut highest, mut fell) = (f64::NEG_INFINITY, None::<f64>);
    for value in melt {
        highest = highest.max(value);
        fell = Some(fell.unwrap_or(0.0).max(highest - value));
    }
    fell
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
    median(&apart(record, channel))
}

/// `channel` less the chocolate, wherever both are known in working.
fn apart(record: &DayRecord, channel: Channel) -> Vec<f64> {
    let Some((from, to)) = hold(record) else { return Vec::new() };
    let other = record.courses.between(channel, from, to);
    let chocolate = record.courses.between(Channel::Chocolate, from, to);
    let mut apart = Vec::new();
    for (at, value) in other {
        if let Ok(place) = chocolate.binary_search_by_key(at, |(at, _)| *at) {
            apart.push(value - chocolate[place].1);
        }
    }
    apart
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

/// While a machine is emptied its probe may hang in the air.
const EMPTIED: Span = Span::from_mins(30);

/// Nothing warms a charge by degrees within two minutes, and once it is worked nothing cools it by degrees either, unless cold couverture
/// goes in. A probe that was lifted out does both.
fn jump(record: &DayRecord) -> Option<f64> {
    let (from, to) = record.in_use()?;
    let worked = record.span(Phase::Working).map(|(from, to)| from..to - EMPTIED);
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
        let step = second - first;
        let is_worked = worked.as_ref().is_some_and(|worked| worked.contains(before));
        let size = if is_worked { step.abs() } else { step };
        (*at - *before == STEP && is_quiet(*at)).then_some(size)
    });
    steps.max_by(f64::total_cmp)
}

/// Means nearer than this are the same reading all along, °C.
const SAME: f64 = 0.002;

/// A display of tenths stands still for a while every day; the machine's own past tells for how long.
fn still(record: &DayRecord) -> Option<f64> {
    let (from, to) = record.in_use()?;
    let chocolate = record.courses.between(Channel::Chocolate, from, to);
    let mut longest = Span::ZERO;
    let mut since = chocolate.first()?.0;
    for pair in chocolate.windows(2) {
        let [(before, first), (at, second)] = pair else { continue };
        if *at - *before == STEP && (second - first).abs() <= SAME {
            longest = longest.max(*at - since);
        } else {
            since = *at;
        }
    }
    Some(longest.as_mins_f64())
}

/// Half of the two minutes without stirring count as a standing stirrer.
fn unstirred(record: &DayRecord) -> Option<f64> {
    let (from, to) = record.in_use()?;
    let stirrer = record.courses.values(Channel::Stirrer, from, to);
    let still = stirrer.iter().filter(|turns| **turns < 0.5).count();
    (!stirrer.is_empty()).then(|| still as f64 * STEP.as_mins_f64())
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

#[cfg(test)]
mod tests {
    use model::{Confidence, PhaseSpan};

    use super::*;
    use crate::day::Courses;
    use crate::usual::tests::batch;

    /// Phases with their minutes, and the chocolate every two minutes from the start.
    fn record(phases: &[(Phase, i64, i64)], chocolate: &[f64]) -> DayRecord {
        let mut batch = batch(1, 70.0);
        let at = |minute: i64| batch.start + Span::from_mins(minute);
        let span = |&(phase, from, to): &(Phase, i64, i64)| PhaseSpan {
            phase,
            from: at(from),
            to: Some(at(to)),
            confidence: Confidence::High,
        };
        let phases = phases.iter().map(span).collect();
        let readings: Vec<_> =
            chocolate.iter().zip(0..).map(|(value, place)| (at(2 * place), Some(*value))).collect();
        batch.phases = phases;
        let courses = Courses::default().with(Channel::Chocolate, &readings);
        DayRecord { batch, findings: Vec::new(), events: Vec::new(), courses }
    }

    #[test]
    fn a_melt_that_was_cooled_fell_and_one_that_only_paused_did_not() {
        let melting = [(Phase::Melting, 0, 10), (Phase::Cooling, 10, 20)];
        let fell = |chocolate: &[f64]| Figure::FellBefore.of(&record(&melting, chocolate));
        assert_eq!(
            fell(&[25.0, 30.0, 29.0, 41.0, 45.0, 30.0]),
            Some(1.0),
            "what cooling does is not counted"
        );
        assert_eq!(fell(&[25.0, 41.0, 33.0, 26.5, 45.0, 44.0]), Some(14.5));
        let never_cooled = record(&[(Phase::Melting, 0, 8)], &[25.0, 41.0, 26.0, 26.0]);
        assert_eq!(Figure::FellBefore.of(&never_cooled), Some(15.0));
    }

    #[test]
    fn a_step_counts_both_ways_once_it_is_worked_and_where_nothing_was_put_in() {
        let phases = [(Phase::Cooling, 0, 20), (Phase::Working, 20, 90)];
        let mut chocolate = [32.0; 30];
        chocolate[..10].copy_from_slice(&[45.0, 43.0, 41.0, 40.0, 39.0, 33.0, 32.5, 32.0, 32.0, 32.0]);
        assert_eq!(Figure::Jump.of(&record(&phases, &chocolate)), Some(0.0), "it falls while it cools");
        chocolate[20..].fill(28.0);
        let mut fell = record(&phases, &chocolate);
        assert_eq!(Figure::Jump.of(&fell), Some(4.0));
        fell.events.push(model::Event {
            machine: fell.batch.machine.clone(),
            at: fell.batch.start + Span::from_mins(38),
            by: None,
            kind: EventKind::TopUp { mass_kg: Some(2.0), temperature: Some(20.0), lot: None },
            raw: String::new(),
        });
        assert_eq!(Figure::Jump.of(&fell), Some(0.0), "cold couverture went in");
    }

    #[test]
    fn a_stand_still_is_the_longest_one_in_use_and_no_gap() {
        let still = |chocolate: &[f64]| Figure::Still.of(&record(&[(Phase::Working, 0, 40)], chocolate));
        assert_eq!(still(&[31.5, 31.5, 31.6, 31.5, 31.5, 31.5, 31.5, 31.7]), Some(6.0));
        assert_eq!(still(&[31.5, 31.6, 31.5]), Some(0.0));
    }

    #[test]
    fn how_warm_it_was_for_the_seed_is_told_without_the_dip() {
        let mut seeded = record(&[(Phase::Cooling, 0, 20)], &[45.0, 41.0, 37.0, 33.0, 32.0]);
        let seed = |minute: i64| model::Event {
            machine: seeded.batch.machine.clone(),
            at: seeded.batch.start + Span::from_mins(minute),
            by: None,
            kind: EventKind::Seed { mass_kg: None, temperature: None, lot: None },
            raw: String::new(),
        };
        let (odd, even) = (seed(7), seed(6));
        seeded.events = vec![odd];
        assert_eq!(Figure::SeedAt.of(&seeded), Some(37.0), "minutes six to eight hold the dip");
        seeded.events = vec![even];
        assert_eq!(Figure::SeedAt.of(&seeded), Some(37.0));
    }

    #[test]
    fn an_overshoot_right_after_the_melt_is_not_read_as_too_hot() {
        let mut soak = record(&[(Phase::Soak, 0, 70), (Phase::Cooling, 70, 80)], &[49.0; 40]);
        let asked = [(soak.batch.start, Some(45.0)), (soak.batch.start + Span::from_mins(78), Some(45.0))];
        soak.courses = soak.courses.with(Channel::Setpoint, &asked);
        assert_eq!(Figure::SoakOver.of(&soak), None, "ten minutes after it has settled are too few");
        soak.batch.phases[0].from = soak.batch.start - Span::from_mins(60);
        assert_eq!(Figure::SoakOver.of(&soak), Some(4.0));
    }
}
