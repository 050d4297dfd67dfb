//! The time constant of a cooling, as long as there are no crystals: against the measured jacket where there is one, else against a level that is
//! fitted (contract, section 7).
//!
//! A wall that nobody measures takes a minute or two to turn cold, and to one lag alone that looks like a slower charge: both are fitted where
//! that explains the curve better. A level that no cold water has is no level; then nothing is said.

use maths::cooling::{Jacket, NewtonFit, Surroundings, TurningFit, fit, fit_near, fit_turning};
use model::{Span, TauAgainst, Timestamp};

use crate::history::History;
use crate::jacket::jacket_between;

/// Lags of a probe that are tried, s.
const LAGS: [f64; 10] = [5.0, 10.0, 15.0, 20.0, 30.0, 40.0, 50.0, 60.0, 90.0, 120.0];
/// The places of those that are tried first.
const LAGS_TRIED_FIRST: [usize; 4] = [1, 3, 7, 9];
/// The slowest of them.
const SLOWEST_PROBE: Span = Span::from_secs(120);
/// A lag is believed where the readings scatter about the curve by no more than this share of what they do without.
const LAG_SHOWN: f64 = 0.99;
/// Between two readings of the jacket so far apart it is taken to have moved straight: nearer to what it was than a fitted level is.
const TOLD_WITHIN: Span = Span::from_mins(6);
/// Once it may pause for so long ...
const PAUSE: Span = Span::from_mins(15);
/// ... where it is told so often besides.
const TOLD_BESIDES: usize = 6;
/// Points that a curve is fitted to, and readings of its jacket; more where the turn of a wall that nobody measures has to be found among them.
const MOST_FITTED: usize = 100;
const MOST_FITTED_ALONE: usize = 150;
/// Two lags are believed where the readings scatter about them by no more than this share of what they do about one.
const TWO_LAGS: f64 = 0.97;
/// Nobody cools chocolate with less, °C.
const COLDEST: f64 = 0.0;
/// The wall turns a little before the charge has left its level (start value, from made-up days).
const TURNS_BEFORE: Span = Span::from_secs(20);
/// So much of the level before is fitted, too, to see where the wall turns.
const HELD: Span = Span::from_secs(120);
/// Where two lags fit better and lead to no level, the wall has turned cold after so many seconds, or after the first third.
const WALL_TURNS_S: f64 = 240.0;

/// Minutes, of the chocolate that is warmer than `crystals` from `from` on and before `to`. `None` where no curve of Newton's fits.
pub(crate) fn time_constant(
    history: &History,
    from: Timestamp,
    to: Timestamp,
    crystals: f64,
) -> Option<(f64, TauAgainst)> {
    let warm = history.chocolate(from - HELD, to).filter(|(_, chocolate)| *chocolate > crystals);
    let warm: Vec<_> = warm.collect();
    let until = warm.last().map(|last| last.0).filter(|last| from <= *last)?;
    let seconds = |at: Timestamp| (at - from).as_secs_f64();
    // Means of neighbours: they scatter less than the readings themselves, and a fit takes as long as it has points.
    let thinned = |points: &[(Timestamp, f64)], most: usize| -> (Vec<f64>, Vec<f64>) {
        let neighbours = points.chunks(points.len().div_ceil(most).max(1));
        let middle = |of: &[(Timestamp, f64)]| {
            let (sum_s, sum) =
                of.iter().fold((0.0, 0.0), |(s, c), &(at, value)| (s + seconds(at), c + value));
            (sum_s / of.len() as f64, sum / of.len() as f64)
        };
        neighbours.map(middle).unzip()
    };
    let since = |from: Timestamp| {
        let jacket = jacket_between(history, from, until, PAUSE, MOST_FITTED)?;
        let pauses = jacket.windows(2).filter(|pair| pair[1].0 - pair[0].0 > TOLD_WITHIN).count();
        (pauses == 0 || pauses == 1 && jacket.len() >= TOLD_BESIDES).then_some(jacket)
    };
    let jacket = since(from - SLOWEST_PROBE).or_else(|| since(from));
    let (tau_s, against) = match jacket {
        Some(jacket) => {
            let (x, y) = thinned(&warm[warm.partition_point(|(at, _)| *at < from)..], MOST_FITTED);
            let (jacket_x, jacket_y): (Vec<_>, Vec<_>) =
                jacket.into_iter().map(|(at, value)| (seconds(at), value)).unzip();
            (behind_jacket(&x, &y, &jacket_x, &jacket_y)?, TauAgainst::Jacket)
        }
        None => {
            let (x, y) = thinned(&warm, MOST_FITTED_ALONE);
            (behind_wall(&x, &y)?, TauAgainst::FittedAsymptote)
        }
    };
    Some((tau_s / 60.0, against))
}

/// Seconds, of a charge whose jacket is measured. A probe shows what the charge was a little earlier, and the jacket has to be as much older.
fn behind_jacket(x: &[f64], y: &[f64], jacket_x: &[f64], jacket_y: &[f64]) -> Option<f64> {
    let at_once = fit(x, y, Surroundings::Jacket(Jacket { seconds: jacket_x, values: jacket_y })).ok()?;
    let behind = |lag: f64| {
        let seconds: Vec<f64> = jacket_x.iter().map(|second| second + lag).collect();
        let jacket = Surroundings::Jacket(Jacket { seconds: &seconds, values: jacket_y });
        fit_near(x, y, jacket, at_once.tau_s).ok()
    };
    let known = |place: usize| LAGS.get(place).and_then(|lag| behind(*lag)).map(|fitted| (place, fitted));
    let scatters_less = |a: &(usize, NewtonFit), b: &(usize, NewtonFit)| a.1.residual_sd < b.1.residual_sd;
    // From the best of a few lags the scatter falls towards the right one.
    let few = LAGS_TRIED_FIRST.into_iter().filter_map(known);
    let mut best = few.reduce(|best, next| if scatters_less(&next, &best) { next } else { best })?;
    for on in [1, -1] {
        while let Some(next) = best.0.checked_add_signed(on).and_then(known)
            && scatters_less(&next, &best)
        {
            best = next;
        }
    }
    let best = best.1;
    Some(if best.residual_sd < LAG_SHOWN * at_once.residual_sd { best.tau_s } else { at_once.tau_s })
}

/// Seconds, of a charge whose wall is not measured. Some of the level before stands at the beginning.
fn behind_wall(x: &[f64], y: &[f64]) -> Option<f64> {
    let is_level = |ambient: f64| (COLDEST..*y.last().unwrap_or(&COLDEST)).contains(&ambient);
    let turns_s = -TURNS_BEFORE.as_secs_f64();
    let two = fit_turning(x, y, turns_s).ok();
    let turned = x.partition_point(|second| *second < turns_s);
    let (x, y) = (&x[turned..], &y[turned..]);
    let one = fit(x, y, Surroundings::Unknown).ok();
    let about_one = one.map_or(f64::INFINITY, |one| one.residual_sd);
    // Of the same readings as about one: the level before is easily met.
    let explains = |two: &TurningFit| two.residual_sd_of(x, y) < TWO_LAGS * about_one;
    let Some(two) = two.filter(explains) else {
        return one.filter(|one| is_level(one.ambient)).map(|one| one.tau_s);
    };
    if is_level(two.ambient) {
        return Some(two.tau_s);
    }
    let skipped = WALL_TURNS_S.max(x.last()? / 3.0);
    let behind = x.partition_point(|second| *second < skipped);
    let late = fit(&x[behind..], &y[behind..], Surroundings::Unknown).ok()?;
    is_level(late.ambient).then_some(late.tau_s)
}

#[cfg(test)]
mod tests {
    use frames::Ticker;
    use model::Channel;

    use super::*;

    fn minute(minute: f64) -> Timestamp {
        Timestamp::default() + Span::from_mins_f64(minute)
    }

    /// A charge of 47 °C and 30 min whose jacket turns from there to 18 °C with two minutes, cooled from minute 20 on and seen by a probe that lags
    /// by `lag` minutes, read every five seconds; the jacket is told every so many.
    fn cooled(lag: f64, jacket_every: u32) -> History {
        const STEP: f64 = 1.0 / 60.0;
        let (mut history, mut ticker) = (History::default(), Ticker::new(Span::from_secs(5)));
        let [mut jacket, mut charge, mut probe] = [47.0; 3];
        for second in 0..45 * 60 {
            let now = f64::from(second) * STEP;
            let goal = if now < 20.0 { 47.0 } else { 18.0 };
            jacket += (goal - jacket) * STEP / 2.0;
            charge += (jacket - charge) * STEP / 30.0;
            probe += (charge - probe) * (STEP / lag).min(1.0);
            if second % 5 == 0 {
                let told = [(Channel::Chocolate, probe), (Channel::Jacket, jacket)];
                for (channel, celsius) in
                    told.into_iter().take(if second % jacket_every == 0 { 2 } else { 1 })
                {
                    ticker
                        .insert(channel, minute(now), celsius)
                        .into_iter()
                        .for_each(|tick| history.push(tick));
                }
            }
        }
        history
    }

    /// To a fit that takes the jacket as the probe shows it, a lag of a minute makes the charge two hundredths slower.
    #[test]
    fn a_probe_that_lags_does_not_make_the_charge_slower() {
        for lag in [0.001, 0.33, 1.0, 1.5] {
            let (tau, against) = time_constant(&cooled(lag, 5), minute(21.0), minute(45.0), 33.5).unwrap();
            assert_eq!(against, TauAgainst::Jacket);
            assert!((tau / 30.0 - 1.0).abs() < 0.005, "{lag}: {tau}");
        }
    }

    #[test]
    fn a_jacket_that_is_told_every_five_minutes_is_one() {
        let (tau, against) = time_constant(&cooled(0.33, 300), minute(21.0), minute(45.0), 33.5).unwrap();
        assert_eq!(against, TauAgainst::Jacket);
        assert!((tau / 30.0 - 1.0).abs() < 0.03, "{tau}");
    }

    /// Whenever the fall is said to have begun, and however late the probe shows it.
    #[test]
    fn behind_a_wall_that_nobody_measures_the_turn_is_found() {
        for lag in [0.001, 0.33, 0.66] {
            for begun in [20.5, 21.0, 21.7] {
                let history = cooled(lag, 3_600);
                let (tau, against) = time_constant(&history, minute(begun), minute(40.0), 33.5).unwrap();
                assert_eq!(against, TauAgainst::FittedAsymptote);
                assert!((tau / 30.0 - 1.0).abs() < 0.05, "{lag} {begun}: {tau}");
            }
        }
    }

    #[test]
    fn a_jacket_that_is_hardly_told_is_none() {
        let (_, against) = time_constant(&cooled(0.33, 480), minute(21.0), minute(45.0), 33.5).unwrap();
        assert_eq!(against, TauAgainst::FittedAsymptote);
    }
}
