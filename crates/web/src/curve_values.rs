//! The values behind a drawn curve, for the cross-hair: one a column of pixels, and the usual course beside them.
//!
//! Made when somebody first points at the curve, so that a page that is only looked at does not carry them.

use charts::ReferencePoint;
use model::{Channel, MachineId, Timestamp};
use serde::Serialize;

use crate::app::App;
use crate::curve_query::CurveQuery;
use crate::problem::Problem;
use crate::reader::Reader;

/// The values of a drawn curve, in the reader's degrees.
#[derive(Debug, Serialize)]
pub(crate) struct CurveValues {
    /// Milliseconds since 1970, of the left edge of the first column and the right edge of the last.
    from: i64,
    to: i64,
    series: Vec<ValueSeries>,
    usual: Option<UsualSeries>,
}

#[derive(Debug, Serialize)]
struct ValueSeries {
    name: &'static str,
    unit: &'static str,
    /// The last reading of each column; `null` where there is none.
    values: Vec<Option<f64>>,
}

/// 10 and 90 % of the machine's own good batches.
#[derive(Debug, Serialize)]
struct UsualSeries {
    low: Vec<Option<f64>>,
    high: Vec<Option<f64>>,
}

/// Columns from `from` to `to`.
#[derive(Clone, Copy)]
struct Columns {
    from: Timestamp,
    to: Timestamp,
    count: usize,
}

impl Columns {
    /// The last value of each column.
    fn last_of(self, points: impl Iterator<Item = (Timestamp, Option<f64>)>) -> Vec<Option<f64>> {
        let length = (self.to - self.from).as_millis().max(1) as f64;
        let mut values = vec![None; self.count];
        for (at, value) in points.filter(|(at, _)| self.from <= *at && *at < self.to) {
            let share = (at - self.from).as_millis() as f64 / length;
            values[((share * self.count as f64) as usize).min(self.count - 1)] = value.map(hundredths);
        }
        values
    }
}

fn hundredths(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

/// The values of `query` for a plot of so many columns.
pub(crate) async fn curve_values(
    app: &App,
    machine: &MachineId,
    query: &CurveQuery,
    (from, to): (Timestamp, Timestamp),
    reference: Vec<ReferencePoint>,
) -> Result<CurveValues, Problem> {
    let degrees = Reader::now().degrees;
    let columns = Columns { from, to, count: usize::from(query.width.pixels()) };
    let mut series = Vec::new();
    for (channel, readings) in app.curve_series(machine, &query.channels, (from, to)).await?.into_iter().rev()
    {
        if readings.is_empty() {
            continue;
        }
        let is_temperature = channel.is_temperature();
        let read = |value: f64| if is_temperature { degrees.of(value) } else { value };
        let points = readings.into_iter().map(|(at, value)| (at, value.map(read)));
        series.push(ValueSeries {
            name: channel_word(channel),
            unit: if is_temperature { degrees.unit() } else { channel.unit() },
            values: columns.last_of(points),
        });
    }
    let usual = (!reference.is_empty()).then(|| {
        let band = |bound: fn(&ReferencePoint) -> f64| {
            columns.last_of(reference.iter().map(|point| (point.at, Some(degrees.of(bound(point))))))
        };
        UsualSeries { low: band(|point| point.low), high: band(|point| point.high) }
    });
    Ok(CurveValues { from: from.as_millis(), to: to.as_millis(), series, usual })
}

/// What people call a channel, within a sentence.
pub(crate) fn channel_word(channel: Channel) -> &'static str {
    match channel {
        Channel::Setpoint => "set-point",
        Channel::Chocolate
        | Channel::Jacket
        | Channel::Room
        | Channel::Humidity
        | Channel::Stirrer
        | Channel::Motor => channel.as_str(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_column_holds_its_last_value_and_an_empty_one_nothing() {
        let at = |seconds: i64| Timestamp::from_millis(seconds * 1000);
        let columns = Columns { from: at(0), to: at(40), count: 4 };
        let points = [(0, Some(31.0)), (9, Some(31.456)), (12, Some(32.0)), (35, None), (40, Some(99.0))];
        let values = columns.last_of(points.into_iter().map(|(second, value)| (at(second), value)));
        assert_eq!(values, [Some(31.46), Some(32.0), None, None]);
    }
}
