//! What a hinge cannot date: a move out of a level that swings, and a rise out of a cold charge that was poured in.
//!
//! A two-point control makes its level swing by some tenths, evenly, and the move begins where the last swing turns: to a hinge the half of a swing
//! before it would be the level. A charge that is refilled with cold pieces falls at once by degrees and is melted from where it has come to
//! stand, while the pieces still knock against the probe.

use maths::statistics::scatter;
use model::{Span, Timestamp};

use super::View;
use super::departure::{LEFT, Move, smoothed};
use crate::history::{History, extremes, mean};

/// Means over so long show a swing and hardly any noise.
const BLOCK: Span = Span::from_secs(60);
/// A swing that is none to a fine display, °C.
const LEAST_SWING: f64 = 0.12;
/// A turn stands out of the scatter of these means by so many of its deviations.
const OUT_OF_NOISE: f64 = 5.0;
/// Means that scatter by more than this are those of a probe that pieces knock against, and no swing, °C.
const RESTLESS: f64 = 0.08;
/// No swing of a control is longer.
const LONGEST_SWING: Span = Span::from_mins(45);
/// A hinge is as good as this where nothing swings.
const CLEARLY_BEHIND: Span = Span::from_mins(2);
/// One reading flickers; so long a mean hardly does.
const SMOOTH: Span = Span::from_secs(40);
/// Cold pieces make the charge fall by so much, °C ...
const POURED: f64 = 1.0;
/// ... within this; a cooling does not.
const POURED_WITHIN: Span = Span::from_mins(2);
/// A few readings of a noisy probe seem to fall, too: by less than so many of its deviations (start value).
const POURED_OUT_OF_NOISE: f64 = 6.0;
/// A rise is out of a poured charge when it is noticed this soon after.
const POURED_BEFORE: Span = Span::from_mins(10);
/// So much of the fall may be missing where the charge has come to stand, and so much may be made up before it is taken for a rise of its own.
const STANDS: f64 = 0.1;
const STILL_COLD: f64 = 0.3;

/// `left`, where a hinge sees the move begin, or the last turn of a swing that lies clearly behind it.
pub(super) fn or_swing(
    view: &View<'_>,
    way: Move,
    earliest: Timestamp,
    left: Timestamp,
    on_level: impl Fn(f64) -> bool,
) -> Timestamp {
    if !view.pace.is_by_the_minute() {
        return left;
    }
    let earliest = earliest.max(left - LONGEST_SWING);
    let swing = left_swing(view.history, way, view.pace.coarsened(LEAST_SWING), earliest, view.now, on_level);
    swing.filter(|swing| *swing - left > CLEARLY_BEHIND).unwrap_or(left)
}

/// When the chocolate left the last turn of its swing, on the move that was noticed at `noticed`; `None` where nothing swings by
/// `least`, °C. `on_level` says of a temperature whether it can be one of the level.
fn left_swing(
    history: &History,
    way: Move,
    least: f64,
    earliest: Timestamp,
    noticed: Timestamp,
    on_level: impl Fn(f64) -> bool,
) -> Option<Timestamp> {
    let sign = way.sign();
    let blocks: Vec<(Timestamp, f64)> =
        blocks(history, earliest, noticed).into_iter().map(|(at, value)| (at, sign * value)).collect();
    let began = blocks.iter().rposition(|(_, value)| on_level(sign * value))?;
    let level: Vec<f64> = blocks[..=began].iter().map(|(_, value)| *value).collect();
    let scatter = scatter(&level);
    if scatter > RESTLESS {
        return None;
    }
    let significant = least.max(OUT_OF_NOISE * scatter);
    let (mut foot, mut lowest) = blocks[began];
    for &(at, value) in blocks[..began].iter().rev() {
        if value < lowest {
            (foot, lowest) = (at, value);
        } else if value > lowest + significant {
            return (foot - at <= LONGEST_SWING).then(|| left(history, sign, foot, lowest, noticed));
        }
    }
    None
}

/// The last moment within a tenth of the turn; a display that flickers passes that bound more than once.
fn left(history: &History, sign: f64, foot: Timestamp, lowest: f64, noticed: Timestamp) -> Timestamp {
    let points: Vec<_> = history.chocolate(foot, noticed).map(|(at, value)| (at, sign * value)).collect();
    let points = smoothed(&points, SMOOTH);
    let clearly = points.iter().position(|(_, value)| *value > lowest + 3.0 * LEFT).unwrap_or(points.len());
    let beyond = |&(_, value): &(Timestamp, f64)| value > lowest + LEFT;
    let first = points[..clearly].iter().find(|p| beyond(p)).map_or(foot, |p| p.0);
    let last = points[..clearly].iter().rfind(|p| !beyond(p)).map_or(foot, |p| p.0);
    last - (last - first).max(Span::ZERO) / 2
}

fn blocks(history: &History, from: Timestamp, to: Timestamp) -> Vec<(Timestamp, f64)> {
    let mut blocks = Vec::new();
    let (mut began, mut values) = (from, Vec::new());
    for (at, value) in history.chocolate(from, to) {
        if at - began >= BLOCK {
            blocks.extend(mean(values.drain(..)).map(|mean| (began + BLOCK / 2, mean)));
            began = at;
        }
        values.push(value);
    }
    blocks.extend(mean(values.into_iter()).map(|mean| (began + BLOCK / 2, mean)));
    blocks
}

/// When a cold charge that was poured in shortly before a rise had come to stand; `rises` is where the rise seems to begin.
pub(super) fn poured(history: &History, rises: Timestamp) -> Option<Timestamp> {
    Pour::between(history, rises - POURED_BEFORE, rises)
        .filter(|pour| !pour.is_made_up)
        .map(|pour| pour.stands)
}

/// The same where the charge has been heated ever since `heated`, about when it was poured in: however it wandered on its way up, that was its rise.
pub(super) fn poured_and_heated(history: &History, heated: Timestamp) -> Option<Timestamp> {
    Pour::between(history, heated - POURED_BEFORE, heated + POURED_BEFORE).map(|pour| pour.stands)
}

/// Something cold came into a charge, which fell at once.
struct Pour {
    /// When it had come to stand.
    stands: Timestamp,
    /// It has come back up since.
    is_made_up: bool,
}

impl Pour {
    fn between(history: &History, from: Timestamp, to: Timestamp) -> Option<Pour> {
        let points: Vec<_> = history.chocolate(from, to).collect();
        let noise = scatter(&points.iter().map(|p| p.1).collect::<Vec<_>>());
        let points = smoothed(&points, SMOOTH);
        let fell = |i: usize| {
            let (at, value) = points[i];
            let before = points[..i].iter().rev().take_while(|p| at - p.0 <= POURED_WITHIN);
            before.map(|p| p.1 - value).fold(0.0, f64::max)
        };
        let steepest = (0..points.len()).max_by(|&a, &b| fell(a).total_cmp(&fell(b)))?;
        let fall = Some(fell(steepest)).filter(|fall| *fall >= POURED.max(POURED_OUT_OF_NOISE * noise))?;
        let after = &points[steepest..];
        let (lowest, warmest) = extremes(after.iter().map(|p| p.1))?;
        let stands = after.iter().find(|p| p.1 <= lowest + STANDS * fall)?.0;
        Some(Pour { stands, is_made_up: warmest > lowest + STILL_COLD * fall })
    }
}

#[cfg(test)]
mod tests {
    use frames::Ticker;
    use model::Channel;

    use super::*;

    /// A curve by the minute, drawn every five seconds with a small regular flutter for noise.
    fn drawn(minutes: i64, curve: impl Fn(f64) -> f64) -> History {
        let (mut history, mut ticker) = (History::default(), Ticker::new(Span::from_secs(5)));
        for i in 0..minutes * 12 {
            let flutter = [0.02, -0.03, 0.01, 0.03, -0.01, -0.02, 0.0][i as usize % 7];
            let at = Timestamp::from_millis(i * 5_000);
            let value = curve(i as f64 / 12.0) + flutter;
            ticker.insert(Channel::Chocolate, at, value).into_iter().for_each(|tick| history.push(tick));
        }
        history
    }

    fn minute(minute: i64) -> Timestamp {
        Timestamp::from_millis(minute * 60_000)
    }

    fn minutes(at: Option<Timestamp>) -> f64 {
        (at.unwrap() - Timestamp::default()).as_mins_f64()
    }

    /// Between 46.0 and 46.6 °C, ten minutes a swing; it is set down at the top of one, at minute 70, and falls at 0.4 °C/min.
    #[test]
    fn a_fall_out_of_a_swing_begins_at_its_last_turn() {
        let swing = |t: f64| 46.3 + 0.3 * (t * std::f64::consts::TAU / 10.0).cos();
        let history = drawn(110, |t| if t < 70.0 { swing(t) } else { 46.6 - 0.4 * (t - 70.0) });
        let hot = |celsius: f64| celsius >= 43.0;
        let left = left_swing(&history, Move::Fall, LEAST_SWING, minute(20), minute(100), hot);
        assert!((minutes(left) - 70.25).abs() < 0.5, "a tenth is lost in a quarter of a minute: {left:?}");
    }

    #[test]
    fn a_level_that_only_flutters_has_no_turn() {
        let history = drawn(110, |t| if t < 70.0 { 46.0 } else { 46.0 - 0.4 * (t - 70.0) });
        let left = left_swing(&history, Move::Fall, LEAST_SWING, minute(20), minute(100), |c| c >= 43.0);
        assert_eq!(left, None);
    }

    /// Worked at 31 °C, refilled with cold pieces at minute 60 and heated at once; what comes back at 0.15 °C/min is a rise from there.
    #[test]
    fn a_rise_out_of_a_cold_charge_begins_where_it_stands() {
        let history = drawn(90, |t| match t {
            t if t < 60.0 => 31.0,
            t if t < 61.0 => 31.0 - 3.0 * (t - 60.0),
            t => 28.0 + 0.15 * (t - 61.0) + 0.1 * (t * 2.0).sin(),
        });
        let stands = minutes(poured(&history, minute(64)));
        assert!((stands - 61.0).abs() < 0.7, "{stands}");
        assert_eq!(poured(&history, minute(55)), None, "nothing had been poured in");
    }

    /// Read twice a minute with noise of three tenths: one mean of two readings is a degree below another, and nothing was poured in.
    #[test]
    fn what_falls_by_noise_was_not_poured_in() {
        let noise = [0.31, 0.62, 0.41, -0.12, -0.52, -0.63, 0.22, -0.11, 0.08, -0.31];
        let (mut history, mut ticker) = (History::default(), Ticker::new(Span::from_secs(5)));
        for i in 0..120 {
            let at = Timestamp::from_millis(i * 30_000);
            let value = 31.5 + noise[i as usize % noise.len()];
            ticker.insert(Channel::Chocolate, at, value).into_iter().for_each(|tick| history.push(tick));
        }
        assert_eq!(poured_and_heated(&history, minute(30)), None);
    }

    /// A top-up that has been made up for is over; the melt comes later.
    #[test]
    fn a_charge_that_has_come_back_is_not_cold() {
        let history = drawn(90, |t| match t {
            t if t < 60.0 => 31.0,
            t if t < 61.0 => 31.0 - 2.0 * (t - 60.0),
            t => (29.0 + 0.4 * (t - 61.0)).min(31.0),
        });
        assert_eq!(poured(&history, minute(67)), None);
    }
}
