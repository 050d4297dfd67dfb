//! Chance, from a seed: the same seed gives the same works, to the last digit, on every machine.
//!
//! Each part of each machine draws from a stream of its own, so that one more draw in one place moves nothing elsewhere.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// A stream of chance.
#[derive(Debug, Clone)]
pub(crate) struct Dice {
    source: ChaCha8Rng,
    spare: Option<f64>,
}

impl Dice {
    /// Stream `stream` of `seed`.
    pub(crate) fn new(seed: u64, stream: u64) -> Dice {
        let mut source = ChaCha8Rng::seed_from_u64(seed);
        source.set_stream(stream);
        Dice { source, spare: None }
    }

    /// Even between 0 and 1, 1 left out.
    pub(crate) fn even(&mut self) -> f64 {
        (self.source.next_u64() >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
    }

    /// Even between `low` and `high`.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    /// True in `share` of all throws.
    pub(crate) fn chance(&mut self, share: f64) -> bool {
        self.even() < share
    }

    /// Normal with mean 0 and deviation 1 (Box and Muller 1958; the second of each pair is kept for the next call).
    pub(crate) fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let radius = (-2.0 * (1.0 - self.even()).ln()).sqrt();
        let (sin, cos) = (std::f64::consts::TAU * self.even()).sin_cos();
        self.spare = Some(radius * sin);
        radius * cos
    }

    /// Waiting time with the given mean.
    pub(crate) fn wait(&mut self, mean: f64) -> f64 {
        -mean * (1.0 - self.even()).ln()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn same_seed_same_chance_and_streams_differ() {
        let mut one = Dice::new(7, 1);
        let mut again = Dice::new(7, 1);
        let mut other = Dice::new(7, 2);
        let (a, b, c) = (one.even(), again.even(), other.even());
        assert_eq!(a, b);
        assert_ne!(a, c);
    }

    #[test]
    fn normal_has_mean_zero_and_deviation_one() {
        let mut dice = Dice::new(1, 0);
        let draws: Vec<f64> = (0..20_000).map(|_| dice.normal()).collect();
        let mean = draws.iter().sum::<f64>() / draws.len() as f64;
        let variance = draws.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / draws.len() as f64;
        // Five standard errors of mean and variance at this count.
        assert!(mean.abs() < 0.036, "{mean}");
        assert!((variance - 1.0).abs() < 0.05, "{variance}");
    }
}
