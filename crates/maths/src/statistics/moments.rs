//! Mean and variance while values arrive (Welford 1962), in parts that can be joined (Chan, Golub & LeVeque 1983).
//! `m2` is the sum of squared distances from the mean. The plain sum of squares is not used: at ten million and a spread of a
//! tenth it has no digit left.

use crate::error::is_usable;

/// Running mean and variance. Values that are not finite, or beyond 1e100, are passed over, and `n` counts the others.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Moments {
    n: u64,
    mean: f64,
    m2: f64,
}

impl Moments {
    /// The moments of a whole series.
    pub fn of(values: &[f64]) -> Moments {
        let mut moments = Moments::default();
        values.iter().for_each(|value| moments.insert(*value));
        moments
    }

    /// Adds one value.
    pub fn insert(&mut self, value: f64) {
        if !is_usable(value) {
            return;
        }
        self.n += 1;
        let distance = value - self.mean;
        self.mean += distance / self.n as f64;
        self.m2 += distance * (value - self.mean);
    }

    /// The moments of both series together.
    #[must_use]
    pub fn combine(self, other: Moments) -> Moments {
        if self.n == 0 {
            return other;
        }
        if other.n == 0 {
            return self;
        }
        let n = self.n + other.n;
        let share = other.n as f64 / n as f64;
        let distance = other.mean - self.mean;
        Moments {
            n,
            mean: self.mean + distance * share,
            m2: self.m2 + other.m2 + distance * distance * share * self.n as f64,
        }
    }

    /// How many values were finite.
    pub fn n(&self) -> u64 {
        self.n
    }

    /// Mean; `None` without values.
    pub fn mean(&self) -> Option<f64> {
        (1 <= self.n && self.mean.is_finite()).then_some(self.mean)
    }

    /// Variance with n − 1 below; `None` with fewer than two values.
    pub fn variance(&self) -> Option<f64> {
        (2 <= self.n && self.m2.is_finite()).then(|| self.m2 / (self.n - 1) as f64)
    }

    /// Standard deviation with n − 1 below; `None` with fewer than two values.
    pub fn standard_deviation(&self) -> Option<f64> {
        self.variance().map(f64::sqrt)
    }

    /// Standard error of the mean of independent values; `None` with fewer than two.
    pub fn standard_error(&self) -> Option<f64> {
        self.variance().map(|variance| (variance / self.n as f64).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn too_little_is_none() {
        assert_eq!(Moments::default().mean(), None);
        assert_eq!(Moments::of(&[3.0]).variance(), None);
        assert_eq!(Moments::of(&[3.0, f64::NAN]).mean(), Some(3.0));
        assert_eq!(Moments::of(&[f64::MAX, -f64::MAX]).variance(), None);
    }

    proptest! {
        #[test]
        fn cut_anywhere(values in prop::collection::vec(-50.0..150.0_f64, 2..60), cut in 0.0..1.0_f64) {
            let at = (cut * values.len() as f64) as usize;
            let whole = Moments::of(&values);
            let joined = Moments::of(&values[..at]).combine(Moments::of(&values[at..]));
            prop_assert_eq!(whole.n(), joined.n());
            prop_assert!((whole.mean().unwrap() - joined.mean().unwrap()).abs() < 1e-11);
            prop_assert!((whole.variance().unwrap() - joined.variance().unwrap()).abs() < 1e-9);
        }

        #[test]
        fn a_shift_moves_the_mean_alone(values in prop::collection::vec(-5.0..5.0_f64, 2..60), shift in -1e3..1e3_f64) {
            let moved: Vec<f64> = values.iter().map(|value| value + shift).collect();
            let (still, moved) = (Moments::of(&values), Moments::of(&moved));
            prop_assert!((moved.mean().unwrap() - still.mean().unwrap() - shift).abs() < 1e-10);
            prop_assert!((moved.variance().unwrap() - still.variance().unwrap()).abs() < 1e-9);
        }
    }
}
