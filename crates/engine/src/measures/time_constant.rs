//! The time constant of a cooling, as long as there are no crystals: against the measured jacket where there is one, else against a level that is
//! fitted (contract, section 7).
//!
//! A wall that nobody measures takes a minute or two to turn cold, and to one lag alone that looks like a slower charge: both are fitted where
//! that explains the curve better. A level that no cold water has is no level; then nothing is said.

use maths::cooling::{Jacket, Surroundings, fit, fit_turning};
use model::{Span, TauAgainst, Timestamp};

use crate::history::History;
use crate::jacket::jacket_between;

const MOST_FITTED: usize = 300;
/// Two lags are believed where the readings scatter about them by no more than this share of what they do about one.
const TWO_LAGS: f64 = 0.97;
/// Nobody cools chocolate with less, °C.
const COLDEST: f64 = 0.0;
/// The wall turns a little before the charge has left its level (start value, from made-up days).
const TURNS_BEFORE: Span = Span::from_secs(20);
/// Where two lags fit better and lead to no level, the wall has turned cold after so many seconds, or after the first third.
const WALL_TURNS_S: f64 = 240.0;

/// Minutes, of the chocolate that is warmer than `crystals` from `from` on and before `to`. `None` where no curve of Newton's fits.
pub(crate) fn time_constant(
    history: &History,
    from: Timestamp,
    to: Timestamp,
    crystals: f64,
) -> Option<(f64, TauAgainst)> {
    let warm = history.chocolate(from - TURNS_BEFORE, to).filter(|(_, chocolate)| *chocolate > crystals);
    let warm: Vec<_> = warm.collect();
    let until = warm.last().map(|last| last.0).filter(|last| from <= *last)?;
    let columns = |points: &[(Timestamp, f64)], step: usize| -> (Vec<f64>, Vec<f64>) {
        points.iter().step_by(step).map(|&(at, value)| ((at - from).as_secs_f64(), value)).unzip()
    };
    let thinned = |points: &[(Timestamp, f64)]| columns(points, points.len().div_ceil(MOST_FITTED).max(1));
    let (tau_s, against) = match jacket_between(history, from, until, MOST_FITTED) {
        Some(jacket) => {
            let (x, y) = thinned(&warm[warm.partition_point(|(at, _)| *at < from)..]);
            let (jacket_x, jacket_y) = columns(&jacket, 1);
            let measured = Surroundings::Jacket(Jacket { seconds: &jacket_x, values: &jacket_y });
            (fit(&x, &y, measured).ok()?.tau_s, TauAgainst::Jacket)
        }
        None => {
            let (x, y) = thinned(&warm);
            (behind_wall(&x, &y)?, TauAgainst::FittedAsymptote)
        }
    };
    Some((tau_s / 60.0, against))
}

/// Seconds, of a charge whose wall is not measured.
fn behind_wall(x: &[f64], y: &[f64]) -> Option<f64> {
    let is_level = |ambient: f64| (COLDEST..*y.last().unwrap_or(&COLDEST)).contains(&ambient);
    let one = fit(x, y, Surroundings::Unknown).ok();
    let about_one = one.map_or(f64::INFINITY, |one| one.residual_sd);
    let two = fit_turning(x, y).ok().filter(|two| two.residual_sd < TWO_LAGS * about_one);
    let Some(two) = two else { return one.filter(|one| is_level(one.ambient)).map(|one| one.tau_s) };
    if is_level(two.ambient) {
        return Some(two.tau_s);
    }
    let skipped = WALL_TURNS_S.max(x.last()? / 3.0);
    let behind = x.partition_point(|second| *second < skipped);
    let late = fit(&x[behind..], &y[behind..], Surroundings::Unknown).ok()?;
    is_level(late.ambient).then_some(late.tau_s)
}
