//! A tick: what a machine's channels said within one step of a regular grid.
//!
//! Ticks lie on a grid (multiples of the step since 1970), so that it does not matter where a stream is cut. A step in
//! which nothing came has no tick: unknown is not a value. The chocolate keeps count, mean, spread and extremes, so that
//! figures "over raw readings" come out of ticks without keeping the readings. Moments after Welford 1962.

use model::{Channel, Span, Timestamp};
use serde::{Deserialize, Serialize};

/// What came within one step. Kept as `f32`: a millidegree needs no more, and a day of ticks stays small.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Tick {
    /// Start of the step.
    pub at: Timestamp,
    /// Good chocolate readings in the step.
    pub n: u16,
    mean: f32,
    m2: f32,
    low: f32,
    high: f32,
    // NaN where nothing is known; never handed out.
    others: [f32; Channel::ALL.len()],
}

impl Tick {
    fn empty(at: Timestamp, carried: [f32; Channel::ALL.len()]) -> Tick {
        Tick { at, n: 0, mean: f32::NAN, m2: 0.0, low: f32::NAN, high: f32::NAN, others: carried }
    }

    /// One about which nothing but its time and count is known yet.
    pub(crate) fn bare(at: Timestamp, n: u16) -> Tick {
        Tick { n, ..Tick::empty(at, [f32::NAN; Channel::ALL.len()]) }
    }

    /// Its values by place: mean, sum of squares, lowest, highest, then the other channels.
    #[inline]
    pub(crate) fn column(&self, place: usize) -> f32 {
        match place {
            0 => self.mean,
            1 => self.m2,
            2 => self.low,
            3 => self.high,
            _ => self.others[place - 4],
        }
    }

    #[inline]
    pub(crate) fn set_column(&mut self, place: usize, value: f32) {
        match place {
            0 => self.mean = value,
            1 => self.m2 = value,
            2 => self.low = value,
            3 => self.high = value,
            _ => self.others[place - 4] = value,
        }
    }

    /// Mean of the good chocolate readings, °C.
    #[inline]
    pub fn chocolate(&self) -> Option<f64> {
        (self.n > 0).then_some(f64::from(self.mean))
    }

    /// Sum of squared distances of the chocolate readings from their mean.
    pub fn m2(&self) -> f64 {
        f64::from(self.m2)
    }

    /// Lowest and highest chocolate reading, °C.
    #[inline]
    pub fn extremes(&self) -> Option<(f64, f64)> {
        (self.n > 0).then_some((f64::from(self.low), f64::from(self.high)))
    }

    /// The last value of another channel. Set-point and stirrer hold until they are told otherwise; the rest are
    /// known only in the steps in which they came.
    #[inline]
    pub fn other(&self, channel: Channel) -> Option<f64> {
        let value = self.others[channel.index()];
        value.is_finite().then_some(f64::from(value))
    }
}

/// A tick that is being filled. Sums are those of the distances from its first chocolate reading: they stay small, and each is an addition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OpenTick {
    tick: Tick,
    first: f64,
    sum: f64,
    squares: f64,
}

impl OpenTick {
    fn empty(at: Timestamp, carried: [f32; Channel::ALL.len()]) -> OpenTick {
        OpenTick { tick: Tick::empty(at, carried), first: 0.0, sum: 0.0, squares: 0.0 }
    }

    /// Takes a good reading of its step; of all channels but the chocolate the last one counts.
    #[inline]
    pub fn insert(&mut self, channel: Channel, value: f64) {
        match channel {
            Channel::Chocolate => self.insert_chocolate(value),
            Channel::Jacket
            | Channel::Room
            | Channel::Humidity
            | Channel::Setpoint
            | Channel::Stirrer
            | Channel::Motor => self.tick.others[channel.index()] = value as f32,
        }
    }

    #[inline]
    fn insert_chocolate(&mut self, value: f64) {
        let tick = &mut self.tick;
        if tick.n == 0 {
            self.first = value;
            (tick.low, tick.high) = (f32::INFINITY, f32::NEG_INFINITY);
        }
        // More than anybody measures in a second: what comes behind them says nothing new.
        let Some(n) = tick.n.checked_add(1) else { return };
        let distance = value - self.first;
        tick.n = n;
        self.sum += distance;
        self.squares += distance * distance;
        tick.low = tick.low.min(value as f32);
        tick.high = tick.high.max(value as f32);
    }

    fn close(self) -> Tick {
        let OpenTick { mut tick, first, sum, squares } = self;
        if tick.n > 0 {
            let n = f64::from(tick.n);
            tick.mean = (first + sum / n) as f32;
            tick.m2 = (squares - sum * sum / n).max(0.0) as f32;
        }
        tick
    }
}

/// Gathers sorted readings into ticks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ticker {
    step: Span,
    open: Option<OpenTick>,
}

impl Ticker {
    /// A ticker with the given step.
    pub fn new(step: Span) -> Ticker {
        Ticker { step, open: None }
    }

    /// The length of a step.
    pub fn step(&self) -> Span {
        self.step
    }

    /// Takes a good reading; its time is not before the last one's. Hands out the tick that this one closes.
    #[inline]
    pub fn insert(&mut self, channel: Channel, at: Timestamp, value: f64) -> Option<Tick> {
        let (closed, tick) = self.turn(at);
        tick.insert(channel, value);
        closed
    }

    /// The tick of a moment that is not before the last one, to be filled, and the one that it closes.
    #[inline]
    pub fn turn(&mut self, at: Timestamp) -> (Option<Tick>, &mut OpenTick) {
        let closed = self.close_before(at);
        let step = self.step;
        let carried = closed.as_ref().map_or([f32::NAN; Channel::ALL.len()], carried_on);
        (closed, self.open.get_or_insert_with(|| OpenTick::empty(at.floor(step), carried)))
    }

    /// Hands out the open tick if its step is over at `now`.
    #[inline]
    fn close_before(&mut self, now: Timestamp) -> Option<Tick> {
        let step = self.step;
        self.open.take_if(|open| open.tick.at + step <= now).map(OpenTick::close)
    }

    /// Hands out the open tick, however young it is. What is carried on is forgotten, so only for the end of a stream.
    pub fn finish(&mut self) -> Option<Tick> {
        self.open.take().map(OpenTick::close)
    }
}

/// Set-point and stirrer are often told only when they change: they hold.
#[inline]
fn carried_on(tick: &Tick) -> [f32; Channel::ALL.len()] {
    let mut carried = [f32::NAN; Channel::ALL.len()];
    for channel in [Channel::Setpoint, Channel::Stirrer] {
        carried[channel.index()] = tick.others[channel.index()];
    }
    carried
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(millis: i64) -> Timestamp {
        Timestamp::from_millis(millis)
    }

    #[test]
    fn a_tick_is_handed_out_when_its_step_is_over() {
        let mut ticker = Ticker::new(Span::from_secs(5));
        assert_eq!(ticker.insert(Channel::Setpoint, at(500), 31.5), None);
        assert_eq!(ticker.insert(Channel::Chocolate, at(1_000), 31.0), None);
        assert_eq!(ticker.insert(Channel::Chocolate, at(4_999), 32.0), None);
        let tick = ticker.insert(Channel::Chocolate, at(5_000), 33.0).unwrap();
        assert_eq!((tick.at, tick.n, tick.chocolate()), (at(0), 2, Some(31.5)));
        assert_eq!(tick.extremes(), Some((31.0, 32.0)));
        assert_eq!(tick.m2(), 0.5);
        assert_eq!(tick.other(Channel::Setpoint), Some(31.5));
        assert_eq!(tick.other(Channel::Jacket), None);
        let next = ticker.insert(Channel::Jacket, at(60_000), 20.0).unwrap();
        assert_eq!(next.other(Channel::Setpoint), Some(31.5), "a set-point holds until it is told otherwise");
    }

    #[test]
    fn a_tick_without_chocolate_knows_no_chocolate() {
        let mut ticker = Ticker::new(Span::from_secs(5));
        ticker.insert(Channel::Jacket, at(0), 20.0);
        let tick = ticker.finish().unwrap();
        assert_eq!(
            (tick.chocolate(), tick.extremes(), tick.other(Channel::Jacket)),
            (None, None, Some(20.0))
        );
    }
}
