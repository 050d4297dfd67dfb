//! What a channel did in the last minutes: its values at each of them, and whether it has been rising all the time. What is told every few minutes
//! has no value at each; of that the readings themselves are looked at.

use frames::Tick;
use model::{Channel, Span, Timestamp};

use crate::findings::around::{Around, value_of};
use crate::history::mean;

pub(super) const MINUTE: Span = Span::from_mins(1);
/// What rises does so in each minute, by at least so much of its mean: the trough of a saw-tooth among the minutes shows.
const RISES_EVENLY: f64 = 0.4;
/// Values so near to a minute speak for it.
const NEAR: Span = Span::from_secs(10);
const NEAR_SELDOM: Span = Span::from_secs(30);
/// What is told so seldom has no value near each minute.
const SELDOM: (Span, Span) = (Span::from_secs(61), Span::from_mins(5));

/// Has a channel been rising for so many minutes, in each of them and by `by` °C in all?
pub(super) fn rises(a: &Around<'_>, channel: Channel, lasts: usize, by: f64) -> bool {
    let value = |tick: &Tick| value_of(tick, channel);
    let Some(marks) = marks(a, lasts, value) else {
        return seldom_told(a, lasts, value).is_some_and(|told| goes_up(&told, by, 0.0));
    };
    let even = RISES_EVENLY / lasts as f64;
    goes_up(&marks, by, even)
        && (channel == Channel::Chocolate
            || rises_at_its_ends(a, channel, lasts, even / 2.0 * (marks[lasts] - marks[0])))
}

/// By `by` °C in all, and from one value to the next by more than nothing and at least by `even` of that.
fn goes_up(values: &[f64], by: f64, even: f64) -> bool {
    let (Some(first), Some(last)) = (values.first(), values.last()) else { return false };
    let rise = last - first;
    rise >= by && values.windows(2).all(|pair| pair[1] > pair[0] && pair[1] - pair[0] >= even * rise)
}

/// Has a channel that is told often enough been rising in the first half minute and in the last one? Four minutes reach into five minutes' marks.
fn rises_at_its_ends(a: &Around<'_>, channel: Channel, lasts: usize, by: f64) -> bool {
    let value = |at: Timestamp| near(a, at, NEAR, |tick| value_of(tick, channel));
    let rose = |from: Timestamp| {
        value(from).zip(value(from + MINUTE / 2)).is_none_or(|(before, after)| after - before >= by)
    };
    rose(a.known - MINUTE * lasts as i64) && rose(a.known - MINUTE / 2)
}

/// Values at the minutes so far back, the oldest first and the last of them now; `None` where one of them is not known. Each is a mean of ten seconds
/// before and after, or of half a minute where a channel reports more seldom.
pub(super) fn marks(a: &Around<'_>, lasts: usize, value: impl Fn(&Tick) -> Option<f64>) -> Option<Vec<f64>> {
    (0..=lasts as i64)
        .rev()
        .map(|back| a.known - MINUTE * back)
        .map(|mark| near(a, mark, NEAR, &value).or_else(|| near_seldom(a, mark, &value)))
        .collect()
}

/// The newest values of what is told every few minutes, as many as span the minutes, the oldest first; `None` where it is told more often or more
/// seldom than that.
pub(super) fn seldom_told(
    a: &Around<'_>,
    lasts: usize,
    value: impl Fn(&Tick) -> Option<f64>,
) -> Option<Vec<f64>> {
    let lasts = MINUTE * lasts as i64;
    let told = a.history.between(a.known - lasts - SELDOM.1 * 2, a.known);
    let mut told = told.rev().filter_map(|tick| Some((tick.at, value(&tick)?)));
    let (newest, last) = told.next()?;
    let (mut since, mut values) = (newest, vec![last]);
    while newest - since < lasts {
        let (at, before) =
            told.next().filter(|(at, _)| SELDOM.0 <= since - *at && since - *at <= SELDOM.1)?;
        since = at;
        values.push(before);
    }
    values.reverse();
    Some(values)
}

/// Mean of what is known around a moment, of a channel that reports more seldom.
pub(super) fn near_seldom(
    a: &Around<'_>,
    at: Timestamp,
    value: impl Fn(&Tick) -> Option<f64>,
) -> Option<f64> {
    near(a, at, NEAR_SELDOM, value)
}

/// Mean of what is known around a moment.
fn near(a: &Around<'_>, at: Timestamp, reach: Span, value: impl Fn(&Tick) -> Option<f64>) -> Option<f64> {
    mean(a.history.values(at - reach, at + reach, &value))
}
