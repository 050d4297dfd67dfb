//! The growth function `φ(k, u) = (1 − e^(−k u))/k` and its derivative by k.
//! Written with φ, Newton's curve is `T(u) = m + s·φ(k, u)`: height m and slope s at u = 0, and the rate k = 1/τ by which the
//! slope fades. It has no pole at k = 0, where it is the straight line `m + s·u`, so that a fit can pass through "no bend yet".

/// Below this |k u| the series has more digits than the closed form.
const SERIES_BELOW: f64 = 1e-2;

/// `φ` and `∂φ/∂k`.
pub(super) fn growth(k: f64, u: f64) -> (f64, f64) {
    let x = k * u;
    if x.abs() < SERIES_BELOW {
        let value =
            u * (1.0 - x / 2.0 * (1.0 - x / 3.0 * (1.0 - x / 4.0 * (1.0 - x / 5.0 * (1.0 - x / 6.0)))));
        let by_k = -u * u * (1.0 / 2.0 - x * (1.0 / 3.0 - x * (1.0 / 8.0 - x * (1.0 / 30.0 - x / 144.0))));
        (value, by_k)
    } else {
        let faded = (-x).exp_m1();
        let value = -faded / k;
        (value, (u * (1.0 + faded) - value) / k)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn series_and_closed_form_meet() {
        for (inside, outside) in [(0.009_999_999, 0.010_000_001), (-0.009_999_999, -0.010_000_001)] {
            let (a, a_by_k) = growth(inside, 1.0);
            let (b, b_by_k) = growth(outside, 1.0);
            assert!((a - b - a_by_k * (inside - outside)).abs() < 1e-12);
            assert!((a_by_k - b_by_k).abs() < 1e-8);
        }
        assert_eq!(growth(0.0, 7.0), (7.0, -24.5));
    }
}
