//! How a charge came to hold, seen through noise: when five minutes of it were steady.
//!
//! Where five minutes of readings are too noisy to show a slope, a longer window does, and it is steady only when the bend behind which the charge
//! holds has left it: minutes later than five minutes were. So once the longer window has spoken, the way into the hold is fitted, as a straight
//! way that ends or as one that levels off (Newton), whichever lies closer, and the curve without its noise is asked.

/// Ways that level off: time constants that are tried, minutes.
const LEVELS_OFF: [f64; 8] = [1.0, 1.5, 2.5, 4.0, 6.0, 9.0, 14.0, 20.0];
/// Fewer points carry no curve.
const FEWEST: usize = 8;
/// The fitted curve is asked in such steps, minutes.
const STEP: f64 = 0.1;

/// A fitted way into a hold.
#[derive(Debug, Clone, Copy)]
enum Way {
    /// Straight until this minute.
    Straight { until: f64 },
    /// With this time constant, from this minute on.
    LevelsOff { tau: f64, from: f64 },
}

impl Way {
    /// How far it still is at a minute, in units of its own.
    fn left(self, minute: f64) -> f64 {
        match self {
            Way::Straight { until } => (until - minute).max(0.0),
            Way::LevelsOff { tau, from } => (-(minute - from) / tau).exp(),
        }
    }

    /// The straight line through `left` and the points: its factor, and the sum of squares that is left.
    fn fit(self, points: &[(f64, f64)]) -> Option<(f64, f64)> {
        let n = points.len() as f64;
        let mean_x = points.iter().map(|(t, _)| self.left(*t)).sum::<f64>() / n;
        let mean_y = points.iter().map(|(_, y)| y).sum::<f64>() / n;
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        for &(t, y) in points {
            let (x, y) = (self.left(t) - mean_x, y - mean_y);
            xx += x * x;
            xy += x * y;
            yy += y * y;
        }
        (xx > 0.0).then(|| (xy / xx, yy - xy * xy / xx))
    }
}

/// The end of the first `window` minutes over which a line through the fitted way is flatter than `steady`, °C/min; `None` of too few
/// points, or where it never is. Points: minutes and °C, oldest first.
pub(super) fn steady_from(points: &[(f64, f64)], window: f64, steady: f64) -> Option<f64> {
    let (&(first, _), &(last, _)) = (points.first()?, points.last()?);
    if points.len() < FEWEST {
        return None;
    }
    let straight = points[1..points.len() - 1].iter().map(|(minute, _)| Way::Straight { until: *minute });
    let level = LEVELS_OFF.iter().map(|&tau| Way::LevelsOff { tau, from: first });
    let fits = straight.chain(level).filter_map(|way| way.fit(points).map(|(by, misfit)| (way, by, misfit)));
    let (way, by, _) = fits.min_by(|a, b| a.2.total_cmp(&b.2))?;
    let steps = ((last - first) / STEP) as usize;
    let ends = (0..=steps).map(|i| first + i as f64 * STEP);
    ends.skip_while(|end| end - first < window)
        .find(|end| (by * slope(way, end - window, *end)).abs() < steady)
}

/// The slope of a line through `left` between two minutes.
fn slope(way: Way, from: f64, to: f64) -> f64 {
    const POINTS: usize = 30;
    let (middle, half) = ((from + to) / 2.0, (to - from) / 2.0);
    let (mut xx, mut xy) = (0.0, 0.0);
    for i in 0..=POINTS {
        let x = half * (2.0 * i as f64 / POINTS as f64 - 1.0);
        xx += x * x;
        xy += x * way.left(middle + x);
    }
    xy / xx
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(curve: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
        (0..=40).map(|i| f64::from(i) * 0.5).map(|minute| (minute, curve(minute))).collect()
    }

    #[test]
    fn a_straight_way_is_steady_when_five_minutes_hardly_hold_its_end() {
        let lands = drawn(|minute| 31.5 + 0.3 * (8.0 - minute).max(0.0));
        let steady = steady_from(&lands, 5.0, 0.05).unwrap();
        let plain = slope(Way::Straight { until: 8.0 }, steady - 5.0, steady) * 0.3;
        assert!((0.04..0.05).contains(&plain.abs()) && (11.0..13.0).contains(&steady), "{steady}: {plain}");
    }

    #[test]
    fn a_way_that_levels_off_is_steady_where_its_slope_is() {
        // Three degrees with four minutes: 0.05 °C/min in the middle of a window, a little less than ln(0.75 / 0.05) time constants on.
        let levels = drawn(|minute| 31.5 + 3.0 * (-minute / 4.0).exp());
        let steady = steady_from(&levels, 5.0, 0.05).unwrap();
        assert!((steady - 2.5 - 4.0 * (0.75_f64 / 0.05).ln()).abs() < 0.5, "{steady}");
    }

    #[test]
    fn what_was_steady_all_the_time_is_so_after_the_first_five_minutes() {
        let steady = steady_from(&drawn(|minute| 31.5 + 0.001 * minute), 5.0, 0.05).unwrap();
        assert!((steady - 5.0).abs() < 0.2, "{steady}");
        assert_eq!(steady_from(&[(0.0, 31.5)], 5.0, 0.05), None);
    }
}
