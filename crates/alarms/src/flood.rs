//! Too many at once: floods, and alarms that chatter.
//!
//! A flood begins with more than ten alarms in ten minutes and ends when there are fewer than five in ten minutes
//! (ISA-18.2, from memory). The standard calls an alarm chattering that comes three times in a minute (from memory); with
//! on-delays of minutes none of ours can, so it is counted by the hour: a start value of ours, no source.

use model::{Span, Timestamp};

/// More than so many begin a flood.
const FLOOD_BEGINS: usize = 10;
/// Fewer than so many end it.
const FLOOD_ENDS: usize = 5;
/// Within so long.
const FLOOD_WITHIN: Span = Span::from_mins(10);

/// So often within [`CHATTERS_WITHIN`] chatters.
pub(crate) const CHATTERS: usize = 3;
/// See [`CHATTERS`].
pub(crate) const CHATTERS_WITHIN: Span = Span::from_mins(60);

/// The moments at which floods began and ended, from when alarms were raised, the oldest first. A flood that goes on has no end.
pub(crate) fn floods(raised: &[Timestamp], now: Timestamp) -> Vec<(Timestamp, Option<Timestamp>)> {
    let mut floods: Vec<(Timestamp, Option<Timestamp>)> = Vec::new();
    for (place, &at) in raised.iter().enumerate() {
        end_by(&mut floods, &raised[..place], at);
        let is_going_on = floods.last().is_some_and(|(_, end)| end.is_none());
        let within =
            raised[..=place].iter().rev().take_while(|earlier| at - **earlier < FLOOD_WITHIN).count();
        if !is_going_on && FLOOD_BEGINS < within {
            floods.push((at, None));
        }
    }
    end_by(&mut floods, raised, now);
    floods
}

/// Ends the flood that goes on, if few enough are left in the window at some moment up to `now`.
fn end_by(floods: &mut [(Timestamp, Option<Timestamp>)], raised: &[Timestamp], now: Timestamp) {
    let Some((began, end @ None)) = floods.last_mut() else { return };
    // Fewer than five are left once the fifth from the end is ten minutes old.
    let fifth = raised.len().checked_sub(FLOOD_ENDS).map(|place| raised[place] + FLOOD_WITHIN);
    *end = fifth.map(|over| over.max(*began)).filter(|over| *over <= now);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_millis(1_772_427_600_000 + 1_000 * seconds)
    }

    #[test]
    fn eleven_in_ten_minutes_are_a_flood_until_fewer_than_five_are_left() {
        let ten: Vec<Timestamp> = (0..10).map(|n| at(10 * n)).collect();
        assert_eq!(floods(&ten, at(600)), []);
        let eleven: Vec<Timestamp> = (0..11).map(|n| at(10 * n)).collect();
        assert_eq!(floods(&eleven, at(600)), [(at(100), None)]);
        // Those of 70 to 100 s are left when that of 60 s is ten minutes old: four.
        assert_eq!(floods(&eleven, at(659)), [(at(100), None)]);
        assert_eq!(floods(&eleven, at(660)), [(at(100), Some(at(660)))]);
    }

    #[test]
    fn eleven_in_an_hour_are_none() {
        let slow: Vec<Timestamp> = (0..11).map(|n| at(360 * n)).collect();
        assert_eq!(floods(&slow, at(4_000)), []);
    }

    /// Counted second by second.
    #[test]
    fn the_ends_are_those_that_counting_finds() {
        let raised: Vec<Timestamp> = (0..11).chain(500..506).chain(2_000..2_012).map(at).collect();
        let mut counted = Vec::new();
        for second in 0..4_000 {
            let now = at(second);
            let within = raised.iter().filter(|at| **at <= now && now - **at < FLOOD_WITHIN).count();
            let goes_on =
                counted.last().is_some_and(|(_, end): &(Timestamp, Option<Timestamp>)| end.is_none());
            if !goes_on && FLOOD_BEGINS < within {
                counted.push((now, None));
            } else if goes_on && within < FLOOD_ENDS {
                counted.last_mut().unwrap().1 = Some(now);
            }
        }
        assert_eq!(floods(&raised, at(4_000)), counted);
    }
}
