//! What is kept of a value: whole thousandths, within six digits before the point.
//!
//! A thousandth of a degree is far below what any probe resolves, so a finer value is rounded to it. A value beyond
//! ±999,999.999 is no temperature, humidity, speed or current of a kettle; it is kept as a `missing` reading. Readers of
//! the journal's tail apply the same rule, so that moving a reading into a part changes nothing that can be seen.

/// A channel's slot where there is no value. It lies outside what can be kept.
pub(crate) use frames::ABSENT;

/// Nine decimal digits, which is what a 32-bit decimal column can hold.
const MOST_THOUSANDTHS: f64 = 999_999_999.0;

/// The value in thousandths, or [`ABSENT`] if it cannot be kept.
pub(crate) fn to_thousandths(value: f64) -> i32 {
    let thousandths = (value * 1000.0).round();
    if thousandths.abs() <= MOST_THOUSANDTHS { thousandths as i32 } else { ABSENT }
}

/// The value again; the float nearest to the decimal number.
pub(crate) fn from_thousandths(thousandths: i32) -> Option<f64> {
    (thousandths != ABSENT).then(|| f64::from(thousandths) / 1000.0)
}

/// How many digits behind the point a column is written with: two, or three where two would lose something.
///
/// One digit or none would do for some channels and save a little, but a folder whose files differ in scale does not
/// open as one table everywhere (one widespread reader cuts digits off without a word, others refuse). Two digits fit
/// nearly every probe, so that nearly every folder is uniform.
pub(crate) fn digits_needed(column: &[i32]) -> u32 {
    let fits_hundredths = column.iter().all(|value| *value == ABSENT || value % 10 == 0);
    if fits_hundredths { 2 } else { 3 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hundredths_survive_and_finer_values_are_rounded() {
        for hundredths in -5_000..12_000 {
            let value = f64::from(hundredths) / 100.0;
            assert_eq!(from_thousandths(to_thousandths(value)), Some(value));
        }
        assert_eq!(from_thousandths(to_thousandths(31.23456)), Some(31.235));
    }

    #[test]
    fn what_cannot_be_kept_is_absent() {
        for value in [1e6, -1e30, f64::MAX, f64::NAN, f64::INFINITY] {
            assert_eq!(to_thousandths(value), ABSENT);
        }
    }

    #[test]
    fn the_coarsest_step_that_loses_nothing() {
        assert_eq!(digits_needed(&[31_000, ABSENT, 0]), 2);
        assert_eq!(digits_needed(&[31_520, -10]), 2);
        assert_eq!(digits_needed(&[31_520, 1]), 3);
    }
}
