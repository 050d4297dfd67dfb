//! `probe-drift`, medium: over batches, the hold's offset from the set-point, or from reference readings, leaves its EWMA limits or trends
//! (Mann–Kendall) by 0.3 °C (contract, section 6). 0.3 °C is what a comparison may differ by before a probe is corrected (start value).
//!
//! Two series, each judged on its own: the settled hold less the set-point of each batch (it moves where the controller has a sensor of its own,
//! or where the probe and the controller part ways), and the probe less the hand thermometer of each comparison in a hold.
//!
//! - *EWMA* (Roberts 1959), λ = 0.4, L = 3, exact limits. Its target is the median of the first five holds since the last reset; a comparison's is
//!   zero. σ is the median step from one value to the next over √2, which a drift hardly moves, and at least 0.08 °C: holds agree no better
//!   (common practice, no source). It signals when it is outside its limits **and** 0.3 °C from its target, and the last two values
//!   are too, on the same side: one odd hold or one hasty comparison is no drift. λ = 0.4 sees a step of 0.4 °C with the third batch.
//! - *Mann–Kendall* over the newest ten values, from seven on, two-sided p below 0.005, and Theil–Sen's line must move by 0.3 °C over them. It sees a
//!   drift that was there from the first batch on, when there is no target yet.
//!
//! The simulation below holds it to that: at σ = 0.1 °C at most one false alarm in 1,000 batches (at a batch a day, three years); a drift of
//! 0.1 °C a batch is told within seven batches, half of them within five. Series of the newest 30 values. Over when the middle one of the last three is
//! back, less than 0.2 °C from where it came from (or from the hand thermometer): what has moved and stays there trends no more, and has not come back.
//! Batches in which the heater, the stirrer or the probe itself was at fault, or the charge was far out of range, say nothing.

use maths::control::{Ewma, EwmaLimits};
use maths::statistics::median;
use maths::trend::{mann_kendall, theil_sen};
use model::{FindingKind, Priority, Timestamp};
use serde::{Deserialize, Serialize};

use super::over_batches::{Seen, machine_failed, step_to_step};
use super::{Report, Verdict, number, text};
use crate::bounded::remember;

const MOVED: f64 = 0.3;
const STILL_MOVED: f64 = 0.2;
/// The middle one of so many has to be back.
const BACK: usize = 3;
const REMEMBERED: usize = 30;
const FIRST: usize = 5;
const LAMBDA: f64 = 0.4;
const WIDTH: f64 = 3.0;
const LEAST_SIGMA: f64 = 0.08;
const TREND_OVER: usize = 10;
const TREND_FROM: usize = 7;
const TREND_P: f64 = 0.005;
/// Of Theil–Sen's interval, which is not used.
const COVERAGE: f64 = 0.95;

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct ProbeDrift {
    holds: Series,
    comparisons: Series,
    open: Option<Moved>,
}

/// What was told: from where one of the series has moved, and how far.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Moved {
    against: Against,
    from: f64,
    moved: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
enum Against {
    SetPoint,
    HandThermometer,
}

impl Against {
    fn as_str(self) -> &'static str {
        match self {
            Against::SetPoint => "the set-point",
            Against::HandThermometer => "a hand thermometer",
        }
    }
}

/// Offsets in order of time, °C.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct Series {
    /// The first ones since the last reset.
    first: Vec<f64>,
    newest: Vec<f64>,
}

/// From where and how far something has moved, and what says so.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Signal {
    from: f64,
    moved: f64,
    by: Chart,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Chart {
    Ewma,
    MannKendall,
}

impl Chart {
    fn as_str(self) -> &'static str {
        match self {
            Chart::Ewma => "ewma",
            Chart::MannKendall => "mann-kendall",
        }
    }
}

impl ProbeDrift {
    /// A batch has closed.
    pub(crate) fn closed(&mut self, seen: &Seen<'_>) -> Verdict {
        let Some(offset) = seen.hold_offset_c.filter(|_| !seen.found.iter().any(|kind| says_nothing(*kind)))
        else {
            return Verdict::Quiet;
        };
        self.holds.push(offset);
        self.verdict(Against::SetPoint, seen.batch.start, seen.known)
    }

    /// The probe was compared with a hand thermometer.
    pub(crate) fn compared(&mut self, offset: f64, at: Timestamp, known: Timestamp) -> Verdict {
        self.comparisons.push(offset);
        self.verdict(Against::HandThermometer, at, known)
    }

    /// Begins anew.
    pub(crate) fn reset(&mut self, at: Timestamp) -> Verdict {
        let was_open = std::mem::take(self).open.is_some();
        if was_open { Verdict::Over(at) } else { Verdict::Quiet }
    }

    /// What a new value in one of the series says. A hand thermometer says more than the set-point: what it shows takes over what is open.
    fn verdict(&mut self, against: Against, from: Timestamp, known: Timestamp) -> Verdict {
        let (series, target) = match against {
            Against::SetPoint => (&self.holds, self.holds.target()),
            Against::HandThermometer => (&self.comparisons, Some(0.0)),
        };
        if let Some(told) = self.open.filter(|told| told.against == against) {
            let came_back = series.is_back(told);
            self.open = self.open.filter(|_| !came_back);
            return if came_back { Verdict::Over(known) } else { Verdict::Quiet };
        }
        let takes_over = self.open.is_some();
        if takes_over && against == Against::SetPoint {
            return Verdict::Quiet;
        }
        let Some(signal) = series.signal(target) else { return Verdict::Quiet };
        self.open = Some(Moved { against, from: signal.from, moved: signal.moved });
        if takes_over {
            return Verdict::Worse { priority: Priority::Medium, says: sentence(signal, against) };
        }
        report(signal, against, from, known)
    }
}

/// Is a batch with this finding no witness of the probe's offset? Far out of range a hold is not what was asked for.
fn says_nothing(kind: FindingKind) -> bool {
    machine_failed(kind) || matches!(kind, FindingKind::TemperLoss | FindingKind::Solidifying)
}

impl Series {
    fn push(&mut self, offset: f64) {
        if self.first.len() < FIRST {
            self.first.push(offset);
        }
        remember(&mut self.newest, offset, REMEMBERED);
    }

    fn target(&self) -> Option<f64> {
        (self.first.len() == FIRST).then(|| median(&self.first)).flatten()
    }

    /// Is the middle one of the last three back where it came from, or beyond? A probe that agrees with the hand thermometer is, too.
    fn is_back(&self, told: Moved) -> bool {
        let Some(middle) = self.newest.last_chunk::<BACK>().and_then(|last| median(last)) else {
            return false;
        };
        let agrees = told.against == Against::HandThermometer && middle.abs() < STILL_MOVED;
        agrees || (middle - told.from) * told.moved.signum() < STILL_MOVED
    }

    fn signal(&self, target: Option<f64>) -> Option<Signal> {
        target.and_then(|target| self.moved_from(target)).or_else(|| self.trends())
    }

    fn moved_from(&self, target: f64) -> Option<Signal> {
        let mut chart = Ewma::new(target, self.sigma(), LAMBDA, WIDTH, EwmaLimits::Exact).ok()?;
        let step = self.newest.iter().map(|&offset| chart.insert(offset)).last()?;
        let moved = step.value - target;
        let [.., before, last] = self.newest.as_slice() else { return None };
        let agree = [before, last].iter().all(|&&offset| (offset - target) * moved.signum() >= MOVED);
        // The chart lags behind; where it stands, the last two say.
        let stands = (before + last) / 2.0 - target;
        (step.signal.is_some() && moved.abs() >= MOVED && agree).then_some(Signal {
            from: target,
            moved: stands,
            by: Chart::Ewma,
        })
    }

    fn trends(&self) -> Option<Signal> {
        let newest = &self.newest[self.newest.len().saturating_sub(TREND_OVER)..];
        if newest.len() < TREND_FROM || mann_kendall(newest).ok()?.p_two_sided >= TREND_P {
            return None;
        }
        let places: Vec<f64> = (0..newest.len()).map(|place| place as f64).collect();
        let line = theil_sen(&places, newest, COVERAGE).ok()?;
        let moved = line.slope * (newest.len() - 1) as f64;
        (moved.abs() >= MOVED).then_some(Signal { from: line.intercept, moved, by: Chart::MannKendall })
    }

    /// Scatter from one value to the next.
    fn sigma(&self) -> f64 {
        step_to_step(&self.newest).map_or(LEAST_SIGMA, |sigma| sigma.max(LEAST_SIGMA))
    }
}

fn sentence(signal: Signal, against: Against) -> String {
    let way = if signal.moved < 0.0 { "less" } else { "more" };
    let far = signal.moved.abs();
    match against {
        // It may never have agreed: nobody knows what it showed before it was compared.
        Against::HandThermometer if signal.by == Chart::Ewma => {
            format!(
                "Over the last comparisons the probe shows {far:.1} °C {way} than a hand thermometer beside it."
            )
        }
        Against::SetPoint | Against::HandThermometer => {
            format!(
                "Over the last batches the probe has come to show {far:.1} °C {way} against {} than it did.",
                against.as_str()
            )
        }
    }
}

fn report(signal: Signal, against: Against, from: Timestamp, known: Timestamp) -> Verdict {
    Report {
        kind: FindingKind::ProbeDrift,
        priority: Priority::Medium,
        from,
        raised_at: known,
        says: sentence(signal, against),
        evidence: vec![number("moved_c", signal.moved), text("against", against.as_str()), text("test", signal.by.as_str())],
        advice: "Compare the probe at working temperature with a reference thermometer, enter the value, and have the probe corrected or \
                 replaced by a qualified person; look again at the batches since the last good comparison.",
    }
    .raise()
}

#[cfg(test)]
mod tests {
    use super::super::over_batches::testing::Noise;
    use super::*;

    fn told(series: impl IntoIterator<Item = f64>) -> Vec<String> {
        let mut detector = ProbeDrift::default();
        let mut told = Vec::new();
        for (batch, offset) in series.into_iter().enumerate() {
            detector.holds.push(offset);
            let at = Timestamp::from_millis(batch as i64);
            match detector.verdict(Against::SetPoint, at, at) {
                Verdict::Raise(report) => told.push(format!("{} {}", batch + 1, report.says)),
                Verdict::Over(_) => told.push(format!("{} over", batch + 1)),
                Verdict::Quiet | Verdict::Worse { .. } => {}
            }
        }
        told
    }

    /// With which batch it is told first, if it is.
    fn first_told(series: impl IntoIterator<Item = f64>) -> Option<usize> {
        told(series).first().and_then(|text| text.split(' ').next()?.parse().ok())
    }

    #[test]
    fn a_step_is_told_with_the_third_batch_and_is_over_when_it_is_mended() {
        let series = [0.0, 0.05, -0.05, 0.0, 0.05, 0.0, 0.4, 0.45, 0.4, 0.4, 0.0, 0.0, 0.05];
        assert_eq!(
            told(series),
            [
                "9 Over the last batches the probe has come to show 0.4 °C more against the set-point than it did.",
                "12 over"
            ]
        );
    }

    #[test]
    fn one_odd_hold_is_no_drift() {
        assert_eq!(told([0.0, 0.0, 0.1, 0.0, 0.0, 0.0, 1.5, 0.0, 0.1, 0.0, 0.0, -2.0, 0.0, 0.0]), [""; 0]);
    }

    #[test]
    fn a_drift_from_the_first_batch_on_is_a_trend() {
        assert_eq!(first_told((0..12).map(|batch| -0.1 * f64::from(batch))), Some(7));
    }

    /// Seen as a trend, for which the first five holds already lay on the way; then it stands at 0.45 °C for thirty batches.
    #[test]
    fn what_has_moved_and_stays_there_is_hardly_ever_told_again() {
        let mut noise = Noise::new(3);
        let mut again = || {
            let offset = |batch: i32| 0.45 * f64::from(batch.clamp(0, 8)) / 8.0;
            told((0..40).map(|batch| offset(batch) + 0.07 * noise.normal())).len() > 1
        };
        let again = (0..300).filter(|_| again()).count();
        assert!(again <= 9, "{again} of 300 machines");
    }

    fn compared(offsets: &[f64]) -> Vec<String> {
        let mut detector = ProbeDrift::default();
        let told = offsets.iter().enumerate().filter_map(|(n, &offset)| {
            let at = Timestamp::from_millis(n as i64);
            match detector.compared(offset, at, at) {
                Verdict::Raise(report) => Some(format!("{} {}", n + 1, report.says)),
                Verdict::Over(_) => Some(format!("{} over", n + 1)),
                Verdict::Quiet | Verdict::Worse { .. } => None,
            }
        });
        told.collect()
    }

    #[test]
    fn one_hasty_comparison_mends_nothing_and_agreeing_ones_do() {
        assert_eq!(
            compared(&[0.0, 0.0, 0.0, 0.6, 0.6, 0.6, -0.7, 0.6, 0.6, 0.0, 0.1]),
            [
                "5 Over the last comparisons the probe shows 0.6 °C more than a hand thermometer beside it.",
                "11 over"
            ]
        );
        assert_eq!(
            compared(&[-0.25, -0.2, -0.1, 0.0, 0.05, 0.1, 0.15, 0.0, 0.0]),
            [
                "7 Over the last batches the probe has come to show 0.4 °C more against a hand thermometer than it did.",
                "8 over"
            ]
        );
    }

    #[test]
    fn a_hand_thermometer_takes_over_what_the_set_point_says() {
        let (mut detector, at) = (ProbeDrift::default(), Timestamp::from_millis(1));
        detector.open = Some(Moved { against: Against::SetPoint, from: 0.0, moved: 0.4 });
        assert_eq!(detector.compared(1.2, at, at), Verdict::Quiet);
        let Verdict::Worse { says, .. } = detector.compared(1.2, at, at) else { panic!("not told") };
        assert_eq!(
            says,
            "Over the last comparisons the probe shows 1.2 °C more than a hand thermometer beside it."
        );
    }

    #[test]
    fn two_bad_comparisons_are_told() {
        let mut detector = ProbeDrift::default();
        let at = Timestamp::from_millis;
        assert_eq!(detector.compared(0.1, at(1), at(2)), Verdict::Quiet);
        assert_eq!(detector.compared(0.6, at(3), at(4)), Verdict::Quiet, "one may be hasty");
        let Verdict::Raise(report) = detector.compared(0.6, at(5), at(6)) else { panic!("not raised") };
        assert_eq!((report.from, report.raised_at), (at(5), at(6)));
        assert_eq!(
            report.says,
            "Over the last comparisons the probe shows 0.6 °C more than a hand thermometer beside it."
        );
        assert_eq!(detector.reset(at(9)), Verdict::Over(at(9)));
    }

    /// Two hundred machines with two hundred ordinary batches each.
    #[test]
    fn it_seldom_cries_wolf_and_sees_a_drift_soon() {
        let mut noise = Noise::new(1);
        let alarms: usize = (0..200)
            .map(|_| {
                told((0..200).map(|_| 0.1 * noise.normal()))
                    .iter()
                    .filter(|text| !text.ends_with("over"))
                    .count()
            })
            .sum();
        assert!(alarms <= 40, "{alarms} false alarms in 40,000 batches");
        let mut delays: Vec<usize> = (0..200)
            .map(|_| {
                let drift = |batch: i32| 0.1 * f64::from((batch - 10).max(0));
                first_told((0..40).map(|batch| drift(batch) + 0.1 * noise.normal()))
                    .map_or(usize::MAX, |n| n.saturating_sub(11))
            })
            .collect();
        delays.sort_unstable();
        assert!(delays[100] <= 5 && delays[190] <= 7, "median {}, 95 % {}", delays[100], delays[190]);
    }
}
