//! What is known of a machine's jacket: it is often told less often than the chocolate, and holds for a while.

use frames::Tick;
use model::{Channel, Span, Timestamp};

use crate::history::History;

/// A jacket that has not been told for so long is not known.
pub(crate) const HOLDS: Span = Span::from_mins(3);

/// One for so many readings of the chocolate is often enough.
const OFTEN: usize = 4;

/// The jacket from `from` on and before `to`, from the newest reading before that on, °C, thinned to about `most`. `None` if it is not known throughout:
/// it is told again within `holds`, or with every fourth reading of the chocolate (a logger that tells only what has moved pauses).
pub(crate) fn jacket_between(
    history: &History,
    from: Timestamp,
    to: Timestamp,
    holds: Span,
    most: usize,
) -> Option<Vec<(Timestamp, f64)>> {
    let told = |tick: &Tick| Some((tick.at, tick.other(Channel::Jacket)?));
    let mut told: Vec<(Timestamp, f64)> = history.values(from - holds, to, told).collect();
    told.drain(..told.partition_point(|(at, _)| *at <= from).saturating_sub(1));
    let (first, last) = (told.first()?.0, told.last()?.0);
    let goes_on = first <= from + holds
        && to - last <= holds
        && told.windows(2).all(|pair| pair[1].0 - pair[0].0 <= holds);
    let often = || told.len() * OFTEN >= history.chocolate(from, to).count();
    let step = told.len().div_ceil(most).max(1);
    (goes_on || often()).then(|| told.into_iter().step_by(step).collect())
}

#[cfg(test)]
mod tests {
    use frames::Ticker;

    use super::*;

    fn minute(minute: i64) -> Timestamp {
        Timestamp::from_millis(minute * 60_000)
    }

    /// Chocolate every ten seconds for an hour, the jacket at these minutes.
    fn told_at(minutes: impl IntoIterator<Item = i64>) -> History {
        let (mut history, mut ticker) = (History::default(), Ticker::new(Span::from_secs(5)));
        let minutes: Vec<i64> = minutes.into_iter().collect();
        for i in 0..360 {
            let at = minute(0) + Span::from_secs(10 * i);
            let mut ticks = vec![ticker.insert(Channel::Chocolate, at, 40.0)];
            if i % 6 == 0 && minutes.contains(&(i / 6)) {
                ticks.push(ticker.insert(Channel::Jacket, at, 20.0));
            }
            ticks.into_iter().flatten().for_each(|tick| history.push(tick));
        }
        history
    }

    #[test]
    fn a_jacket_told_by_the_minute_is_known() {
        let known = jacket_between(&told_at(0..60), minute(10), minute(40), HOLDS, 300).unwrap();
        assert_eq!((known.len(), known[0]), (30, (minute(10), 20.0)));
        assert_eq!(jacket_between(&told_at(0..60), minute(10), minute(40), HOLDS, 10).unwrap().len(), 10);
    }

    #[test]
    fn a_jacket_that_is_not_told_for_a_while_is_not_known() {
        let known: [Vec<i64>; 4] =
            [(0..20).chain(30..60).collect(), (14..60).collect(), (0..36).collect(), Vec::new()];
        for known in known {
            assert_eq!(jacket_between(&told_at(known), minute(10), minute(40), HOLDS, 300), None);
        }
    }
}
