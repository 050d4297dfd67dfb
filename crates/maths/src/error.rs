//! The reasons for which a routine refuses its input.
//! Every refusal is a value: nothing in this crate panics, and nothing returns NaN in place of an answer.
//! Where only one reason is possible a routine returns `Option` instead, and its comment names the reason.

/// Why no number can be given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum MathsError {
    /// The answer would rest on fewer points than it has unknowns, or than its own rule asks for.
    #[error("{given} usable points where at least {needed} are needed")]
    TooFew {
        /// Points that could be used.
        given: usize,
        /// Points that the routine asks for.
        needed: usize,
    },
    /// Two series that belong together have different lengths.
    #[error("series of {left} and {right} values belong together, but differ in length")]
    LengthsDiffer {
        /// Length of the first series.
        left: usize,
        /// Length of the second series.
        right: usize,
    },
    /// A value is NaN, infinite, or beyond 1e100.
    #[error("a value is not finite, or beyond 1e100")]
    NotFinite,
    /// Times do not rise, or do not differ at all.
    #[error("times must rise from value to value")]
    NotRising,
    /// All values are equal, so that a spread, a rate or a ratio of spreads does not exist.
    #[error("all values are equal")]
    Constant,
    /// An argument lies outside the range in which the formula holds; the text names it.
    #[error("{0} is outside the range in which the formula holds")]
    OutOfRange(&'static str),
    /// The points do not bend towards a level, so that a time constant and a level cannot be told from them.
    #[error("the points do not bend towards a level yet")]
    NoBend,
    /// The iteration did not settle within its bound.
    #[error("the fit did not settle")]
    NotSettled,
    /// The points leave at least one unknown free.
    #[error("the points do not determine every unknown")]
    Undetermined,
}

/// Beyond this the square of a sum may overflow. No temperature, time or mass comes near, so that a larger value is taken for
/// what it is: not a number that anybody measured.
const LARGEST: f64 = 1e100;

/// Whether a value is a number that can be calculated with.
pub(crate) fn is_usable(value: f64) -> bool {
    value.abs() <= LARGEST
}

/// `Ok` when every value of every slice is usable.
pub(crate) fn all_finite(series: &[&[f64]]) -> Result<(), MathsError> {
    let finite = series.iter().all(|values| values.iter().all(|value| is_usable(*value)));
    if finite { Ok(()) } else { Err(MathsError::NotFinite) }
}

/// `Ok` when two slices are of one length and usable.
pub(crate) fn paired(left: &[f64], right: &[f64]) -> Result<(), MathsError> {
    if left.len() != right.len() {
        return Err(MathsError::LengthsDiffer { left: left.len(), right: right.len() });
    }
    all_finite(&[left, right])
}

/// `Ok` when there are at least `needed` points.
pub(crate) fn at_least(given: usize, needed: usize) -> Result<(), MathsError> {
    if given < needed { Err(MathsError::TooFew { given, needed }) } else { Ok(()) }
}
