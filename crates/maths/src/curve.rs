//! # The cooling curve of a sample
//!
//! A small sample in a tube is cooled in a cold bath, and its temperature is written down against time. Seed that sets gives off
//! heat, and the heat bends the curve: how, and at what temperature, is evidence about temper (general method; three regimes as
//! in Afoakwa 2008).
//!
//! ```text
//! falls far, then rises: few seeds, a late burst          under-tempered
//! flat for a while:      release balances cooling         well tempered
//! falls all the way:     most had set before the test     over-tempered
//! ```
//!
//! *How it is read.* A local parabola (Savitzky & Golay 1964, which it is on even times) gives temperature and slope at every
//! reading. The inflection is the highest place of the slope after the first fall that stands out of the noise on both sides by
//! [`STANDS_OUT`] standard errors. Slope and temperature there come from a straight line over the method's own window. The line
//! flattens a sharp burst (2.1 °C/min is read as 1.9 over ±20 s), which limits learned with the same window take in.
//!
//! *Range of validity.* One method: bath, tube, mass and recipe set the numbers. The limits between the classes are therefore passed
//! in with the [`CurveMethod`], and must be learned in the house. A bath that moved more than the method allows withholds the class.
//! *No inflection* is a result, not an error.
//!
//! Of the evidence in this crate this test alone looks at crystals, and it still looks at one spoonful.

pub mod local;

pub use local::{LocalFit, local_parabola};

use crate::error::{MathsError, all_finite, at_least, paired};
use crate::statistics::{Moments, median, straight_line};

/// Standard errors by which a highest slope must stand over the slopes on both sides. At five, noise alone makes one in fewer
/// than one of a hundred featureless curves, which a test counts.
pub const STANDS_OUT: f64 = 5.0;
/// Readings that a window needs for a parabola with an error.
const MIN_IN_WINDOW: usize = 6;

/// What belongs to one way of doing the test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurveMethod {
    /// Half of the smoothing window; 10 to 20 s is usual.
    pub smooth_half_s: f64,
    /// Half of the window over which slope and temperature of the inflection are taken; 20 to 30 s is usual.
    pub slope_half_s: f64,
    /// Slopes above this are under-tempered, °C/min.
    pub under_above: f64,
    /// Slopes below this are over-tempered, °C/min.
    pub over_below: f64,
    /// Range that the bath may move over, °C.
    pub bath_within_c: f64,
}

impl CurveMethod {
    fn check(&self) -> Result<(), MathsError> {
        all_finite(&[&[self.smooth_half_s, self.slope_half_s, self.under_above, self.over_below]])?;
        if !(0.0 < self.smooth_half_s && 0.0 < self.slope_half_s) {
            return Err(MathsError::OutOfRange("window"));
        }
        if !(self.over_below <= self.under_above) {
            return Err(MathsError::OutOfRange("class limits"));
        }
        if !(0.0 <= self.bath_within_c) {
            return Err(MathsError::OutOfRange("bath range"));
        }
        Ok(())
    }
}

/// A curve as it was written down.
#[derive(Debug, Clone, Copy)]
pub struct Sample<'a> {
    /// Times, rising.
    pub seconds: &'a [f64],
    /// Temperatures of the sample, °C.
    pub values: &'a [f64],
    /// Temperatures of the bath, °C, where they were taken; the times need not be the sample's.
    pub bath: Option<&'a [f64]>,
}

/// What the slope says. "Consistent with", never "is": the words belong to whoever shows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TemperClass {
    /// The curve rises at its inflection.
    Under,
    /// The curve is flat at its inflection.
    Well,
    /// The curve falls at its inflection.
    Over,
}

/// The inflection of a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inflection {
    /// When.
    pub seconds: f64,
    /// Temperature there, °C.
    pub celsius: f64,
    /// Standard error of the temperature.
    pub celsius_se: f64,
    /// Slope there, °C/min.
    pub slope: f64,
    /// Standard error of the slope.
    pub slope_se: f64,
    /// The class by the method's limits; `None` when the bath moved too far for them.
    pub class: Option<TemperClass>,
    /// Whether a limit lies within two standard errors of the slope, so that the class may be its neighbour.
    pub is_borderline: bool,
}

/// Why there is no inflection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoInflection {
    /// The slope fades as in a liquid that only cools: no heat of crystallisation stands out.
    Featureless,
    /// The curve ends while it is rising: an inflection may have followed.
    CutShort,
}

/// What a curve gave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurveReading {
    /// The inflection, or why there is none.
    pub inflection: Result<Inflection, NoInflection>,
    /// Mean temperature of the bath.
    pub bath_mean_c: Option<f64>,
    /// Range that the bath moved over.
    pub bath_range_c: Option<f64>,
}

/// Reads a sample's curve.
///
/// # Errors
/// A method with impossible windows or limits, series of different lengths, values that are not finite, times that do not rise,
/// or too few readings for the windows.
pub fn read_curve(method: &CurveMethod, sample: &Sample<'_>) -> Result<CurveReading, MathsError> {
    method.check()?;
    let Sample { seconds, values, bath } = *sample;
    paired(seconds, values)?;
    all_finite(&[bath.unwrap_or(&[])])?;
    at_least(values.len(), MIN_IN_WINDOW)?;
    if !seconds.windows(2).all(|pair| pair[0] < pair[1]) {
        return Err(MathsError::NotRising);
    }
    let slopes = slopes(method, seconds, values)?;
    let (bath_mean_c, bath_range_c) = bath_summary(bath);
    let bath_is_steady = bath_range_c.is_none_or(|range| range <= method.bath_within_c);
    let inflection = match highest_slope(&slopes) {
        Ok(at) => Ok(at_inflection(method, seconds, values, at, bath_is_steady)?),
        Err(reason) => Err(reason),
    };
    Ok(CurveReading { inflection, bath_mean_c, bath_range_c })
}

/// Slope of the curve at one time, °C/min.
#[derive(Debug, Clone, Copy)]
struct Slope {
    seconds: f64,
    value: f64,
    error: f64,
}

/// Slopes wherever a whole window fits; one noise level, the median of all windows, gives the errors.
fn slopes(method: &CurveMethod, seconds: &[f64], values: &[f64]) -> Result<Vec<Slope>, MathsError> {
    let half = method.smooth_half_s;
    let (first, last) = (seconds[0], seconds[seconds.len() - 1]);
    let whole = |at: &&f64| first + half <= **at && **at + half <= last;
    let fits: Vec<(f64, LocalFit)> = seconds
        .iter()
        .filter(whole)
        .filter_map(|at| Some((*at, local_parabola(seconds, values, *at, half)?)))
        .filter(|(_, fit)| MIN_IN_WINDOW <= fit.n)
        .collect();
    at_least(fits.len(), MIN_IN_WINDOW)?;
    let noise: Vec<f64> = fits.iter().map(|(_, fit)| fit.residual_sd).collect();
    let noise = median(&noise).ok_or(MathsError::NotFinite)?;
    Ok(fits
        .into_iter()
        .map(|(seconds, fit)| Slope {
            seconds,
            value: fit.slope * 60.0,
            error: fit.slope_error_of_unit * noise * 60.0,
        })
        .collect())
}

/// Time of the highest slope that stands out on both sides, by how far it does.
fn highest_slope(slopes: &[Slope]) -> Result<f64, NoInflection> {
    // How far the slope falls before and after each place.
    let mut least_before = Vec::with_capacity(slopes.len());
    let mut least = f64::INFINITY;
    for slope in slopes {
        least = least.min(slope.value);
        least_before.push(least);
    }
    let mut least_after = f64::INFINITY;
    let mut best: Option<(f64, f64)> = None;
    for (slope, before) in slopes.iter().zip(least_before).rev() {
        least_after = least_after.min(slope.value);
        let height = slope.value - before.max(least_after);
        let stands_out = STANDS_OUT * std::f64::consts::SQRT_2 * slope.error < height;
        if stands_out && best.is_none_or(|(most, _)| most < height) {
            best = Some((height, slope.seconds));
        }
    }
    let rising_at_the_end =
        slopes.last().is_some_and(|last| STANDS_OUT * last.error < last.value && last.value > 0.0);
    match best {
        Some((_, seconds)) => Ok(seconds),
        None if rising_at_the_end => Err(NoInflection::CutShort),
        None => Err(NoInflection::Featureless),
    }
}

fn at_inflection(
    method: &CurveMethod,
    seconds: &[f64],
    values: &[f64],
    at: f64,
    bath_is_steady: bool,
) -> Result<Inflection, MathsError> {
    let (x, y): (Vec<f64>, Vec<f64>) = seconds
        .iter()
        .zip(values)
        .filter(|(s, _)| (*s - at).abs() <= method.slope_half_s)
        .map(|(s, value)| ((s - at) / 60.0, *value))
        .unzip();
    let line = straight_line(&x, &y)?;
    let class = if method.under_above < line.slope {
        TemperClass::Under
    } else if line.slope < method.over_below {
        TemperClass::Over
    } else {
        TemperClass::Well
    };
    let near = |limit: f64| (line.slope - limit).abs() < 2.0 * line.slope_se;
    Ok(Inflection {
        seconds: at,
        celsius: line.intercept,
        celsius_se: line.intercept_se,
        slope: line.slope,
        slope_se: line.slope_se,
        class: bath_is_steady.then_some(class),
        is_borderline: near(method.under_above) || near(method.over_below),
    })
}

fn bath_summary(bath: Option<&[f64]>) -> (Option<f64>, Option<f64>) {
    let Some(bath) = bath.filter(|bath| !bath.is_empty()) else { return (None, None) };
    let (low, high) =
        bath.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), t| (low.min(*t), high.max(*t)));
    (Moments::of(bath).mean(), Some(high - low))
}
