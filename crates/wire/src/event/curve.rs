//! The cooling curve of a sample, as a temper test brings it along: `"curve": [[seconds, °C], …]`, or a table of two columns.
//!
//! What the curve gives is worked out from the event alone, whenever it is asked for: the points are kept as they came, and nothing that
//! was concluded from them is. `maths::curve` says how a curve is read and what it is checked against.

use maths::curve::{CurveMethod, CurveReading, NoInflection, Sample, TemperClass, read_curve};
use model::Grade;
use plant::CurveRules;
use serde_json::Value;

use crate::event::fields::PLAUSIBLE_C;

/// Most of an hour at a reading a second, and still an event that fits its bound.
pub const MOST_CURVE_POINTS: usize = 3_000;
/// Fewer make no curve.
const FEWEST_POINTS: usize = 20;
/// A sample falls further than this before it has set; a charge that is held does not. °C, common practice, no source.
const LEAST_FALL_C: f64 = 5.0;
/// A table line is two short numbers; a longer one is another file.
const LONGEST_LINE: usize = 200;

/// Seconds and °C.
pub type CurvePoint = (f64, f64);

/// A sample's curve with what it gave.
#[derive(Debug, Clone, PartialEq)]
pub struct SampleCurve {
    /// As it was taken, times rising.
    pub points: Vec<CurvePoint>,
    /// Where the heat of crystallisation bends it most, if it stands out.
    pub inflection: Option<Inflection>,
    /// What it says, as a grade: its worst is doubt where no class can be given.
    pub grade: Grade,
    /// The same in words.
    pub says: String,
}

/// The place where the curve is bent most.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inflection {
    /// When.
    pub seconds: f64,
    /// Temperature there, °C.
    pub celsius: f64,
    /// Slope there, °C/min.
    pub slope_c_per_min: f64,
    /// Standard error of the slope.
    pub slope_se: f64,
}

/// The curve of an event, read by these rules; `None` where it brings none.
pub fn sample_curve(raw: &str, rules: &CurveRules) -> Option<SampleCurve> {
    let event: Value = serde_json::from_str(raw).ok()?;
    read(points_of(event.get("curve")?).ok()?, rules).ok()
}

/// Points of the field `curve`, or what is wrong with them.
pub(crate) fn points_of(field: &Value) -> Result<Vec<CurvePoint>, String> {
    const SHAPE: &str = "`curve` takes a list of pairs, seconds and °C, such as [[0, 31.9], [1, 31.8]]";
    let pairs = field.as_array().ok_or(SHAPE)?;
    let pair = |pair: &Value| match pair.as_array()?.as_slice() {
        [seconds, celsius] => Some((seconds.as_f64()?, celsius.as_f64()?)),
        _ => None,
    };
    let points: Option<Vec<CurvePoint>> = pairs.iter().map(pair).collect();
    let points = points.ok_or(SHAPE)?;
    check(&points)?;
    Ok(points)
}

/// The same of a test that is entered: a charge that is held is no sample.
pub(crate) fn cooling_points_of(field: &Value) -> Result<Vec<CurvePoint>, String> {
    let points = points_of(field)?;
    match does_not_cool(&points) {
        None => Ok(points),
        Some((from, to)) => Err(format!(
            "the curve does not cool: it begins at {from:.1} °C and ends at {to:.1} °C. A sample in its bath falls by more than \
             {LEAST_FALL_C:.0} °C; take the readings of the sample's own probe, from putting it in until it has set"
        )),
    }
}

/// Points of a table of two columns, time and temperature: seconds or `mm:ss` or `hh:mm:ss`, and °C. A comma, semicolon or tab stands
/// between the columns, one head line may stand on top, and where a semicolon or tab parts the columns a comma may be the decimal point. A
/// line that begins with a digit is no head line.
///
/// # Errors
/// A sentence with the line that cannot be read.
pub fn curve_of_table(text: &str) -> Result<Vec<CurvePoint>, String> {
    let mut points = Vec::new();
    for (place, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        let line = line.trim();
        if line.is_empty() {
            continue;
        }
        let shown: String = line.chars().take(40).collect();
        if LONGEST_LINE < line.len() {
            return Err(format!("line {} is longer than a time and a temperature: `{shown}`", place + 1));
        }
        match row(line) {
            Some(point) => points.push(point),
            None if points.is_empty() && place == 0 && !line.starts_with(|c: char| c.is_ascii_digit()) => {}
            None => {
                return Err(format!(
                    "line {}: `{shown}` is not a time and a temperature with a comma, a semicolon or a tab between them, such as \
                     `12,31.85` or `00:12;31,85`",
                    place + 1
                ));
            }
        }
        if MOST_CURVE_POINTS < points.len() {
            return Err(format!(
                "the table has more than {MOST_CURVE_POINTS} lines; leave out every other one until it fits"
            ));
        }
    }
    let first = points.first().map_or(0.0, |(seconds, _)| *seconds);
    let points: Vec<CurvePoint> =
        points.into_iter().map(|(seconds, celsius)| (seconds - first, celsius)).collect();
    check(&points)?;
    Ok(points)
}

fn row(line: &str) -> Option<CurvePoint> {
    let comma_parts = !line.contains([';', '\t']);
    let number = |text: &str| {
        let text = if comma_parts { text.trim().to_owned() } else { text.trim().replace(',', ".") };
        text.parse::<f64>().ok().filter(|number| number.is_finite())
    };
    let parts = |c: char| if comma_parts { c == ',' } else { matches!(c, ';' | '\t') };
    let (time, celsius) = line.split_once(parts)?;
    let seconds = time.split(':').try_fold(0.0, |sum, part| Some(sum * 60.0 + number(part)?))?;
    Some((seconds, number(celsius)?))
}

/// Where a curve begins and ends, °C, if it does not cool as a sample does: a hold, or a rise. The median of a tenth at either end, so that
/// a jump of the probe is no fall.
fn does_not_cool(points: &[CurvePoint]) -> Option<(f64, f64)> {
    let tenth = points.len().div_ceil(10);
    let median = |end: &[CurvePoint]| {
        let mut celsius: Vec<f64> = end.iter().map(|(_, celsius)| *celsius).collect();
        celsius.sort_by(f64::total_cmp);
        celsius.get(celsius.len() / 2).copied()
    };
    let ends = (median(&points[..tenth])?, median(&points[points.len() - tenth..])?);
    (ends.0 - ends.1 < LEAST_FALL_C).then_some(ends)
}

fn check(points: &[CurvePoint]) -> Result<(), String> {
    if points.len() < FEWEST_POINTS {
        return Err(format!("the curve has {} points; at least {FEWEST_POINTS} are needed", points.len()));
    }
    if MOST_CURVE_POINTS < points.len() {
        return Err(format!("the curve has {} points; at most {MOST_CURVE_POINTS} are read", points.len()));
    }
    if let Some((_, celsius)) = points.iter().find(|(_, celsius)| !PLAUSIBLE_C.contains(celsius)) {
        let (low, high) = (PLAUSIBLE_C.start(), PLAUSIBLE_C.end());
        return Err(format!(
            "the curve holds {celsius}; its temperatures are in degrees Celsius, from {low} to {high}"
        ));
    }
    if let Some(pair) = points.windows(2).find(|pair| !(pair[0].0 < pair[1].0)) {
        return Err(format!("the times of the curve must rise; {} s comes after {} s", pair[1].0, pair[0].0));
    }
    Ok(())
}

/// What the curve gives by these rules.
pub(crate) fn read(points: Vec<CurvePoint>, rules: &CurveRules) -> Result<SampleCurve, String> {
    let method = CurveMethod {
        smooth_half_s: rules.smooth_seconds,
        slope_half_s: rules.slope_seconds,
        under_above: rules.under_above,
        over_below: rules.over_below,
        // The bath's own readings do not come along; a bath that moved is for whoever made the test to say.
        bath_within_c: f64::MAX,
    };
    let (seconds, values): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
    let reading = read_curve(&method, &Sample { seconds: &seconds, values: &values, bath: None })
        .map_err(|fault| format!("the curve cannot be read: {fault}"))?;
    let CurveReading { inflection, .. } = reading;
    let (grade, says) = match &inflection {
        Ok(found) => {
            let at = format!("inflection at {:.1} °C, slope {:+.2} °C/min there", found.celsius, found.slope);
            match found.class {
                Some(_) if found.is_borderline => {
                    (Grade::Fair, format!("{at}: on the border between two classes, so it leaves doubt"))
                }
                Some(TemperClass::Well) => (Grade::Good, format!("{at}: consistent with well tempered")),
                Some(TemperClass::Under) => (Grade::Poor, format!("{at}: consistent with too few crystals")),
                Some(TemperClass::Over) => (Grade::Poor, format!("{at}: consistent with too many crystals")),
                None => (Grade::Fair, format!("{at}: no class")),
            }
        }
        Err(NoInflection::Featureless) => (
            Grade::Fair,
            "no inflection stands out, so the curve gives no verdict; take another sample".to_owned(),
        ),
        Err(NoInflection::CutShort) => (
            Grade::Fair,
            "the curve ends while it rises, so it gives no verdict; let the next one run longer".to_owned(),
        ),
    };
    let inflection = inflection.ok().map(|found| Inflection {
        seconds: found.seconds,
        celsius: found.celsius,
        slope_c_per_min: found.slope,
        slope_se: found.slope_se,
    });
    Ok(SampleCurve { points, inflection, grade, says })
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};
    use plant::TemperTestRules;

    use super::*;

    /// Cools towards 10 °C with 200 s, and gives off heat around 300 s: the more, the more the curve is bent upwards.
    fn cooled(heat: f64) -> Vec<CurvePoint> {
        let at = |second: usize| {
            let t = second as f64;
            let set = 1.0 / (1.0 + (-(t - 300.0) / 25.0).exp());
            (t, 10.0 + 22.0 * (-t / 200.0).exp() + heat * set * (-((t - 300.0).max(0.0)) / 400.0).exp())
        };
        (0..700).map(at).collect()
    }

    fn says(heat: f64) -> (Grade, String) {
        let curve = read(cooled(heat), &TemperTestRules::default().curve).unwrap();
        (curve.grade, curve.says)
    }

    #[test]
    fn a_late_burst_is_too_few_crystals_and_none_is_no_verdict() {
        let (under, without) = (says(6.0), says(0.0));
        expect!["inflection at 17.7 °C, slope +1.68 °C/min there: consistent with too few crystals"]
            .assert_eq(&under.1);
        assert_eq!((under.0, without.0), (Grade::Poor, Grade::Fair));
        assert!(without.1.contains("no inflection"), "{}", without.1);
    }

    #[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
    fn check_table(text: &str, expected: Expect) {
        let told = match curve_of_table(text) {
            Ok(points) => format!("{} points, the last {:?}", points.len(), points[points.len() - 1]),
            Err(says) => says,
        };
        expected.assert_eq(&told);
    }

    #[test]
    fn tables_are_read_in_the_forms_that_loggers_write() {
        let table = |line: fn(usize) -> String| (0..30).map(line).collect::<Vec<_>>().join("\n");
        check_table(
            &format!("time,temperature\n{}", table(|n| format!("{n},{}.5", 60 - n))),
            expect!["30 points, the last (29.0, 31.5)"],
        );
        check_table(
            &table(|n| format!("10:{n:02};{},25", 60 - n)),
            expect!["30 points, the last (29.0, 31.25)"],
        );
        check_table(
            &table(|n| format!("0:10:{n:02}\t{}", 60 - n)),
            expect!["30 points, the last (29.0, 31.0)"],
        );
    }

    #[test]
    fn a_hold_is_no_cooling_sample_even_with_a_jump_in_it() {
        let held = |n: usize| (n as f64, if n == 15 { 9.0 } else { 31.5 + 0.01 * (n % 3) as f64 });
        assert_eq!(does_not_cool(&(0..30).map(held).collect::<Vec<_>>()), Some((31.51, 31.51)));
        assert_eq!(does_not_cool(&cooled(6.0)), None);
        assert!(
            does_not_cool(&(0..30).map(|n| (f64::from(n), 20.0 + f64::from(n))).collect::<Vec<_>>())
                .is_some()
        );
    }

    #[test]
    fn what_cannot_be_read_is_told_with_its_line() {
        check_table("0,32\n1,31\n", expect!["the curve has 2 points; at least 20 are needed"]);
        check_table(
            "0,32\nten,31\n",
            expect![
                "line 2: `ten,31` is not a time and a temperature with a comma, a semicolon or a tab between them, such as `12,31.85` or `00:12;31,85`"
            ],
        );
        let with_blanks = (0..30).map(|n| format!("{n} 31.5")).collect::<Vec<_>>().join("\n");
        check_table(
            &with_blanks,
            expect![
                "line 1: `0 31.5` is not a time and a temperature with a comma, a semicolon or a tab between them, such as `12,31.85` or `00:12;31,85`"
            ],
        );
        let back = (0..30).map(|n| format!("{},30", n % 20)).collect::<Vec<_>>().join("\n");
        check_table(&back, expect!["the times of the curve must rise; 0 s comes after 19 s"]);
        let hot = (0..30).map(|n| format!("{n},300")).collect::<Vec<_>>().join("\n");
        check_table(
            &hot,
            expect!["the curve holds 300; its temperatures are in degrees Celsius, from -40 to 150"],
        );
        let long = "1,2\n".repeat(MOST_CURVE_POINTS + 1);
        check_table(
            &long,
            expect!["the table has more than 3000 lines; leave out every other one until it fits"],
        );
        check_table(
            &"x".repeat(300),
            expect![
                "line 1 is longer than a time and a temperature: `xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx`"
            ],
        );
    }
}
