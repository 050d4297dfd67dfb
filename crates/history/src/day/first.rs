//! Which channel moved first: where today's course leaves the usual one, aligned at the start of cooling.
//!
//! The usual course of a channel is its reference band; today's has left it when it stays outside for six minutes by
//! more than the channel's own margin. Margins are common practice, no source: what nobody would act on is no move.
//!
//! A move is dated where it began, not where the looking began: a set-point back to its step, and what was outside from the first moment
//! that could be compared is said to be older than that.

use model::{BatchId, Channel, MachineId, Span, Timestamp};

use super::DayRecord;
use super::courses::STEP;
use super::view::Seen;
use crate::{BandPoint, Course, HistoryError, reference_band};

/// So many means in a row outside the band are no chance.
const IN_A_ROW: usize = 3;

/// Melting differs from day to day; a move of the charge is looked for from the end of the soak on.
const BEFORE: Span = Span::from_mins(20);

/// Where the usual course is steep, a charge that is some minutes early or late is outside of it and has not moved.
const EARLY_OR_LATE: Span = Span::from_mins(4);

/// A set-point that differs by less is the same, °C.
const SAME: f64 = 0.02;

/// A channel that left its usual course.
#[derive(Debug, Clone, PartialEq)]
pub struct Moved {
    /// On which machine.
    pub machine: MachineId,
    /// In which batch.
    pub batch: BatchId,
    /// Which channel.
    pub channel: Channel,
    /// When.
    pub at: Timestamp,
    /// How far from the median at that moment, in the channel's unit.
    pub by: f64,
    /// Had it left it already when it could first be compared?
    pub or_before: bool,
}

/// How far outside of the band counts.
fn margin(channel: Channel) -> f64 {
    match channel {
        Channel::Chocolate => 0.8,
        Channel::Jacket => 2.0,
        Channel::Room => 1.5,
        Channel::Humidity => 8.0,
        Channel::Setpoint => 0.4,
        Channel::Stirrer => 0.5,
        Channel::Motor => 0.25,
    }
}

/// The room does not melt with the charge: how it usually is, is known before the cooling too.
fn surrounds(channel: Channel) -> bool {
    match channel {
        Channel::Room | Channel::Humidity => true,
        Channel::Chocolate | Channel::Jacket | Channel::Setpoint | Channel::Stirrer | Channel::Motor => false,
    }
}

/// Every channel of a batch that left its usual course, the first one first.
pub(crate) fn moves_of(seen: &Seen<'_>) -> Result<Vec<Moved>, HistoryError> {
    let mut moves = Vec::new();
    for channel in Channel::ALL {
        moves.extend(leaves(seen, channel, &usual_course(seen, channel)?));
    }
    moves.sort_by_key(|moved| moved.at);
    Ok(moves)
}

/// The usual course from the start of cooling on; of the surroundings from the start of the batch on.
fn usual_course(seen: &Seen<'_>, channel: Channel) -> Result<Vec<BandPoint>, HistoryError> {
    let lead = seen.record.anchor() - seen.record.batch.start;
    let mut points = band_from(seen, channel, Span::ZERO)?;
    if surrounds(channel) && Span::ZERO < lead {
        let first = points.first().map_or(Span::ZERO, |point| point.after);
        let mut before = band_from(seen, channel, lead)?;
        before.retain(|point| point.after < first);
        points.splice(0..0, before);
    }
    Ok(points)
}

/// The band on a grid that begins `lead` before the start of cooling; points are told from the start of cooling all the same.
fn band_from(seen: &Seen<'_>, channel: Channel, lead: Span) -> Result<Vec<BandPoint>, HistoryError> {
    let course = |earlier: &&DayRecord| Course {
        cooling_start: earlier.anchor() - lead,
        readings: earlier.courses.of(channel).iter().map(|(at, value)| (*at, Some(*value))).collect(),
    };
    let courses: Vec<Course> = seen.past.iter().map(course).collect();
    let band = reference_band(&courses, STEP)?;
    let points = band.into_iter().flat_map(|band| band.points);
    Ok(points.map(|point| BandPoint { after: point.after - lead, ..point }).collect())
}

fn leaves(seen: &Seen<'_>, channel: Channel, usual: &[BandPoint]) -> Option<Moved> {
    let anchor = seen.record.anchor();
    let margin = match channel {
        // A share of the current that is usual.
        Channel::Motor => margin(channel) * usual.first().map_or(1.0, |point| point.median.abs()).max(0.1),
        Channel::Chocolate
        | Channel::Jacket
        | Channel::Room
        | Channel::Humidity
        | Channel::Setpoint
        | Channel::Stirrer => margin(channel),
    };
    let (_, to) = seen.record.in_use()?;
    let from = if surrounds(channel) {
        seen.record.batch.start
    } else if channel == Channel::Setpoint {
        // A slow machine turns late after its set-point has: laid at the turn, the step itself is no move.
        anchor + BEFORE
    } else {
        anchor - BEFORE
    };
    let mut outside: Vec<(Timestamp, f64)> = Vec::new();
    let mut was_inside = false;
    for (at, value) in seen.record.courses.between(channel, from, to) {
        let Some(by) = apart(usual, *at - anchor, *value, margin) else { continue };
        if by == 0.0 {
            outside.clear();
            was_inside = true;
            continue;
        }
        outside.push((*at, by));
        if outside.len() == IN_A_ROW {
            let (at, by) = outside[0];
            let (at, or_before) = match (was_inside, channel == Channel::Setpoint) {
                (true, _) => (at, false),
                (false, true) => step_before(seen.record, at),
                (false, false) => (at, true),
            };
            let (machine, batch) = (seen.machine.clone(), seen.record.batch.id.clone());
            return Some(Moved { machine, batch, channel, at, by, or_before });
        }
    }
    None
}

/// How far `value` lies from the median; nothing where it is inside of the band or of that of some minutes earlier or later. `None` where
/// nothing is usual.
fn apart(usual: &[BandPoint], after: Span, value: f64, margin: f64) -> Option<f64> {
    let place = usual.partition_point(|point| point.after < after);
    let point = usual.get(place).filter(|point| point.after - after < STEP)?;
    let is_near = |other: &&BandPoint| {
        let apart = other.after - point.after;
        -EARLY_OR_LATE <= apart && apart <= EARLY_OR_LATE
    };
    let near = || usual.iter().filter(is_near);
    let low = near().map(|point| point.low).fold(f64::INFINITY, f64::min);
    let high = near().map(|point| point.high).fold(f64::NEG_INFINITY, f64::max);
    let is_inside = low - margin <= value && value <= high + margin;
    Some(if is_inside { 0.0 } else { value - point.median })
}

/// The first moment from which the set-point was what it is at `at`, and whether nothing is known before it.
fn step_before(record: &DayRecord, at: Timestamp) -> (Timestamp, bool) {
    let told = record.courses.between(Channel::Setpoint, record.batch.start, at + STEP);
    let Some((_, asked)) = told.last() else { return (at, true) };
    let differs = |(_, value): &(Timestamp, f64)| SAME < (value - asked).abs();
    match told.iter().rposition(differs).and_then(|place| told.get(place + 1)) {
        Some((since, _)) => (*since, false),
        None => (told.first().map_or(at, |(since, _)| *since), true),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::day::MachineDay;
    use crate::day::view::tests::record;

    /// When `channel` moved, in minutes from the start of the batch, and whether it had before. The batch melts for an hour and then cools
    /// like `record`; `course` gives the channel by the minute, `usual` that of five earlier batches.
    fn moved(channel: Channel, usual: fn(i64) -> f64, course: fn(i64) -> f64) -> Option<(i64, bool)> {
        let played = |day: i64, course: fn(i64) -> f64| {
            let mut record = record(day, 45.0, -1.0);
            record.batch.start = record.batch.start - Span::from_mins(60);
            let start = record.batch.start;
            let readings: Vec<_> =
                (0..195).map(|minute| (start + Span::from_mins(minute), Some(course(minute)))).collect();
            record.courses = record.courses.with(channel, &readings);
            record
        };
        let past = (1..=5).map(|day| played(day, usual)).collect();
        let today = played(8, course);
        let start = today.batch.start;
        let days = [MachineDay::new("alder".parse().unwrap(), vec![today], past, 10)];
        let moves = moves_of(&Seen::all(&days)[0]).unwrap();
        let moved = moves.into_iter().find(|moved| moved.channel == channel);
        moved.map(|moved| ((moved.at - start).as_millis() / 60_000, moved.or_before))
    }

    #[test]
    fn a_room_is_dated_where_it_left_and_not_where_the_cooling_began() {
        let usual = |_| 20.0;
        assert_eq!(moved(Channel::Room, usual, |_| 26.0), Some((0, true)), "it was hot when the batch began");
        let later = |minute| if minute < 20 { 20.0 } else { 26.0 };
        assert_eq!(moved(Channel::Room, usual, later), Some((20, false)));
        assert_eq!(moved(Channel::Room, usual, usual), None);
    }

    #[test]
    fn a_set_point_is_dated_at_its_step() {
        // The soak's until the cooling begins at minute 60.
        let usual = |minute| if minute < 60 { 45.0 } else { 31.6 };
        let wrong = |minute| if minute < 60 { 45.0 } else { 33.2 };
        assert_eq!(moved(Channel::Setpoint, usual, wrong), Some((60, false)));
        assert_eq!(moved(Channel::Setpoint, usual, |_| 33.2), Some((0, true)), "as far back as is known");
        let later = |minute| match minute {
            ..60 => 45.0,
            60..120 => 31.6,
            _ => 33.2,
        };
        assert_eq!(moved(Channel::Setpoint, usual, later), Some((120, false)));
    }

    #[test]
    fn a_steep_fall_some_minutes_late_is_no_move() {
        let fall = |minute: i64| if minute < 70 { 60.0 } else { 20.0 };
        let late = |minute: i64| if minute < 78 { 60.0 } else { 20.0 };
        let far_too_late = |minute: i64| if minute < 90 { 60.0 } else { 20.0 };
        assert_eq!(moved(Channel::Jacket, fall, late), None);
        assert_eq!(moved(Channel::Jacket, fall, far_too_late), Some((74, false)));
    }
}
