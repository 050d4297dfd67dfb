//! Which channel moved first: where today's course leaves the usual one, aligned at the start of cooling.
//!
//! The usual course of a channel is its reference band; today's has left it when it stays outside for six minutes by
//! more than the channel's own margin. Margins are common practice, no source: what nobody would act on is no move.

use model::{BatchId, Channel, MachineId, Span, Timestamp};

use super::courses::STEP;
use super::view::Seen;
use crate::{Course, HistoryError, ReferenceBand, reference_band};

/// So many means in a row outside the band are no chance.
const IN_A_ROW: usize = 3;

/// Melting differs from day to day; a move is looked for from the end of the soak on.
const BEFORE: Span = Span::from_mins(20);

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

/// Every channel of a batch that left its usual course, the first one first.
pub(crate) fn moves_of(seen: &Seen<'_>) -> Result<Vec<Moved>, HistoryError> {
    let mut moves = Vec::new();
    for channel in Channel::ALL {
        if let Some(band) = band_of(seen, channel)? {
            moves.extend(leaves(seen, channel, &band));
        }
    }
    moves.sort_by_key(|moved| moved.at);
    Ok(moves)
}

fn band_of(seen: &Seen<'_>, channel: Channel) -> Result<Option<ReferenceBand>, HistoryError> {
    let course = |earlier: &&super::DayRecord| Course {
        cooling_start: earlier.anchor(),
        readings: earlier.courses.of(channel).iter().map(|(at, value)| (*at, Some(*value))).collect(),
    };
    let courses: Vec<Course> = seen.past.iter().map(course).collect();
    reference_band(&courses, STEP)
}

fn leaves(seen: &Seen<'_>, channel: Channel, band: &ReferenceBand) -> Option<Moved> {
    let anchor = seen.record.anchor();
    let margin = match channel {
        // A share of the current that is usual.
        Channel::Motor => {
            margin(channel) * band.points.first().map_or(1.0, |point| point.median.abs()).max(0.1)
        }
        Channel::Chocolate
        | Channel::Jacket
        | Channel::Room
        | Channel::Humidity
        | Channel::Setpoint
        | Channel::Stirrer => margin(channel),
    };
    let (_, to) = seen.record.in_use()?;
    // A slow machine turns late after its set-point has: laid at the turn, the step itself is no move.
    let from = if channel == Channel::Setpoint { anchor + BEFORE } else { anchor - BEFORE };
    let mut outside: Vec<(Timestamp, f64)> = Vec::new();
    for (at, value) in seen.record.courses.between(channel, from, to) {
        let after = *at - anchor;
        let place = band.points.partition_point(|point| point.after < after);
        let Some(point) = band.points.get(place).filter(|point| point.after - after < STEP) else { continue };
        if point.low - margin <= *value && *value <= point.high + margin {
            outside.clear();
            continue;
        }
        outside.push((*at, *value - point.median));
        if outside.len() == IN_A_ROW {
            let (at, by) = outside[0];
            return Some(Moved {
                machine: seen.machine.clone(),
                batch: seen.record.batch.id.clone(),
                channel,
                at,
                by,
            });
        }
    }
    None
}
