//! Newton's law against a jacket that moves: `dT/dt = −(T − J(t) − d)/τ`.
//!
//! Between two jacket readings J is a straight line, and over a straight line the law has an exact step: with
//! `E = e^(−Δt/τ)` and slope g, `T₁ = J₁ + (T₀ − J₀) E − g τ (1 − E)`. The steps are joined at every reading of either series, so
//! there is no step size to choose and no error of integration. Before its first and after its last reading the jacket is held.
//! A gap in the jacket is bridged by the straight line; whether it is too long to bridge is for the caller to say.

use super::growth::growth;
use crate::error::{MathsError, at_least, is_usable, paired};

/// A jacket's readings: seconds on the same axis as the chocolate's, and °C.
#[derive(Debug, Clone, Copy)]
pub struct Jacket<'a> {
    /// Times, rising.
    pub seconds: &'a [f64],
    /// Temperatures.
    pub values: &'a [f64],
}

impl Jacket<'_> {
    /// # Errors
    /// Empty, of two lengths, not finite, or times that fall.
    pub(super) fn check(&self) -> Result<(), MathsError> {
        paired(self.seconds, self.values)?;
        at_least(self.seconds.len(), 1)?;
        if self.seconds.is_sorted() { Ok(()) } else { Err(MathsError::NotRising) }
    }
}

/// A stretch over which the jacket is a straight line, ending at a reading of the mass, of the jacket, or of both.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    seconds: f64,
    from: f64,
    to: f64,
    /// Which reading of the mass stands at the end, if one does.
    reading: Option<usize>,
}

/// The jacket cut into stretches at every reading, as differences from its value at the first one.
#[derive(Debug, Clone)]
pub(super) struct Drive {
    stretches: Vec<Stretch>,
    /// Jacket at the first reading of the mass.
    pub(super) first: f64,
    /// Jacket at the last reading of the mass.
    pub(super) last: f64,
}

impl Drive {
    /// `seconds` and the jacket have been checked; `seconds` is not empty.
    pub(super) fn new(seconds: &[f64], jacket: &Jacket<'_>) -> Drive {
        let mut knots = Walk { jacket, next: 0 };
        let mut at = seconds[0];
        let first = knots.value(at);
        let mut value = first;
        let mut stretches = Vec::with_capacity(seconds.len() + jacket.seconds.len());
        for (i, &reading) in seconds.iter().enumerate() {
            while let Some(knot) = knots.knot_before(reading) {
                let to = knots.value(knot);
                stretches.push(Stretch {
                    seconds: knot - at,
                    from: value - first,
                    to: to - first,
                    reading: None,
                });
                (at, value) = (knot, to);
            }
            let to = knots.value(reading);
            stretches.push(Stretch {
                seconds: reading - at,
                from: value - first,
                to: to - first,
                reading: Some(i),
            });
            (at, value) = (reading, to);
        }
        Drive { stretches, first, last: value }
    }

    /// For each reading: how far the moving jacket has taken the mass by then, and the derivative of that by `k = 1/τ`.
    pub(super) fn response(&self, k: f64, mut visit: impl FnMut(usize, f64, f64)) {
        let (mut height, mut by_k) = (0.0, 0.0);
        for stretch in &self.stretches {
            let (grown, grown_by_k) = growth(k, stretch.seconds);
            let fade = 1.0 - k * grown;
            // The jacket's rise over the stretch times these is its slope times φ and ∂φ/∂k, and stays finite on short ones.
            let (share, share_by_k) = if 0.0 < stretch.seconds {
                (grown / stretch.seconds, grown_by_k / stretch.seconds)
            } else {
                (0.0, 0.0)
            };
            let rise = stretch.to - stretch.from;
            by_k = by_k * fade - stretch.seconds * (height - stretch.from) * fade - rise * share_by_k;
            height = stretch.to + (height - stretch.from) * fade - rise * share;
            if let Some(i) = stretch.reading {
                visit(i, height, by_k);
            }
        }
    }
}

/// Walks through the jacket's readings with rising times.
struct Walk<'a> {
    jacket: &'a Jacket<'a>,
    /// First jacket reading that has not been passed.
    next: usize,
}

impl Walk<'_> {
    /// Jacket at a time that is not before the last one asked for.
    fn value(&mut self, at: f64) -> f64 {
        let Jacket { seconds, values } = *self.jacket;
        while self.next < seconds.len() && seconds[self.next] <= at {
            self.next += 1;
        }
        match (self.next.checked_sub(1), self.next < seconds.len()) {
            (None, _) => values[0],
            (Some(before), false) => values[before],
            (Some(before), true) => {
                let share = (at - seconds[before]) / (seconds[self.next] - seconds[before]);
                values[before] + share * (values[self.next] - values[before])
            }
        }
    }

    /// The next jacket reading, if it comes before `limit`.
    fn knot_before(&self, limit: f64) -> Option<f64> {
        self.jacket.seconds.get(self.next).copied().filter(|knot| *knot < limit)
    }
}

/// Temperatures at `seconds` of a mass that starts at `start` and follows the jacket, `offset` above it.
///
/// # Errors
/// A time constant that is not above zero, times that fall, or values that are not finite.
pub fn follow(
    seconds: &[f64],
    start: f64,
    tau_s: f64,
    jacket: Jacket<'_>,
    offset: f64,
) -> Result<Vec<f64>, MathsError> {
    jacket.check()?;
    crate::error::all_finite(&[seconds, &[start, offset]])?;
    if !(0.0 < tau_s && is_usable(tau_s) && is_usable(1.0 / tau_s)) {
        return Err(MathsError::OutOfRange("time constant"));
    }
    if !seconds.is_sorted() {
        return Err(MathsError::NotRising);
    }
    let mut values = vec![start; seconds.len()];
    if seconds.is_empty() {
        return Ok(values);
    }
    let drive = Drive::new(seconds, &jacket);
    let level = drive.first + offset;
    drive.response(1.0 / tau_s, |i, height, _| {
        values[i] = level + (start - level) * (-(seconds[i] - seconds[0]) / tau_s).exp() + height;
    });
    Ok(values)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_steady_jacket_is_the_closed_form() {
        let seconds: Vec<f64> = (0..50).map(|i| f64::from(i) * 30.0).collect();
        let jacket = Jacket { seconds: &[100.0, 700.0], values: &[18.0, 18.0] };
        for (s, value) in seconds.iter().zip(follow(&seconds, 45.0, 900.0, jacket, 1.5).unwrap()) {
            let closed = super::super::temperature_after(45.0, 19.5, 900.0, *s).unwrap();
            assert!((value - closed).abs() < 1e-12, "{s}: {value} {closed}");
        }
    }

    /// Against the midpoint rule in very small steps, which knows nothing of the exact step.
    #[test]
    fn a_moving_jacket_agrees_with_small_steps() {
        let jacket = Jacket { seconds: &[0.0, 310.0, 640.0, 1_000.0], values: &[20.0, 14.0, 14.0, 26.0] };
        let readings: Vec<f64> = (0..=12).map(|i| f64::from(i) * 100.0).collect();
        let exact = follow(&readings, 46.0, 800.0, jacket, 0.7).unwrap();
        let at = |t: f64| {
            let mut walk = Walk { jacket: &jacket, next: 0 };
            walk.value(t) + 0.7
        };
        let (mut value, step) = (46.0, 0.05);
        for (i, reading) in readings.iter().enumerate().skip(1) {
            for n in 0..2_000 {
                let t = readings[i - 1] + f64::from(n) * step;
                let half = value - step / 2.0 * (value - at(t)) / 800.0;
                value -= step * (half - at(t + step / 2.0)) / 800.0;
            }
            assert!((value - exact[i]).abs() < 1e-6, "{reading}: {value} {}", exact[i]);
        }
    }

    #[test]
    fn the_way_the_readings_are_cut_does_not_matter() {
        let jacket = Jacket { seconds: &[0.0, 500.0], values: &[20.0, 10.0] };
        let coarse = follow(&[0.0, 900.0], 45.0, 700.0, jacket, 0.0).unwrap();
        let fine = follow(&[0.0, 1.0, 333.0, 500.0, 777.0, 900.0], 45.0, 700.0, jacket, 0.0).unwrap();
        assert!((coarse[1] - fine[5]).abs() < 1e-12);
    }

    #[test]
    fn refuses_what_has_no_answer() {
        let jacket = Jacket { seconds: &[0.0], values: &[20.0] };
        assert_eq!(follow(&[0.0], 45.0, 0.0, jacket, 0.0), Err(MathsError::OutOfRange("time constant")));
        assert_eq!(follow(&[1.0, 0.0], 45.0, 9.0, jacket, 0.0), Err(MathsError::NotRising));
        let none = Jacket { seconds: &[], values: &[] };
        assert_eq!(follow(&[0.0], 45.0, 9.0, none, 0.0), Err(MathsError::TooFew { given: 0, needed: 1 }));
        assert_eq!(follow(&[], 45.0, 9.0, jacket, 0.0), Ok(vec![]));
    }
}
