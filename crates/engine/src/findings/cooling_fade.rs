//! `cooling-fade`, medium: over batches, the cooling time constant trends up (Mann–Kendall) and stands 15 % above its baseline (contract,
//! section 6).
//!
//! Scale, air in the jacket, a tired pump or fan grow slowly (common practice, no source); `slow-cooling` speaks when a day is late, this one before. The
//! time constant is what the machine does, whatever the water's temperature was that day.
//!
//! Compared are coolings of the same couverture, fitted against the same thing (jacket or asymptote). Where a mass was told τ is that of the usual mass,
//! to which it is in proportion (`τ = m·c/(U·A)`, Newton); where none was told the mass is taken to be the usual one.
//!
//! The baseline is the median of the first five since the last reset: a rolling one would fade along. It stands above when the median of the newest three is 15 % above. The trend: Mann–Kendall over the newest twelve,
//! from six on, rising with two-sided p below 0.02. Where they scatter by more than 8 % from one to the next, as they do where no jacket is measured and the
//! asymptote is fitted too, three and five say nothing: then it is the newest ten against the first ten, and the trend of the newest forty with p below 0.003.
//!
//! The simulation below holds it to that: with 5 % of scatter at most one false alarm in 2,000 batches; a fade of 2 % a batch is told within
//! fifteen batches, half of them within ten, when it has reached 20 %. With 25 % of scatter a false alarm in one of thirty lives of sixty batches, and
//! a fade to 40 % above is told in four of five. Over when the newest five, or ten, stand less than 10 % above. Batches in which heater, stirrer or probe was at
//! fault say nothing.

use maths::statistics::median;
use maths::trend::mann_kendall;
use model::{CouvertureId, FindingKind, Priority, TauAgainst, Timestamp};
use serde::{Deserialize, Serialize};

use super::over_batches::{Seen, machine_failed, step_to_step};
use super::{Report, Verdict, number, text};
use crate::bounded::remember;

const FADED: f64 = 1.15;
const STILL_FADED: f64 = 1.10;

/// What is compared with what.
#[derive(Debug, Clone, Copy)]
struct Look {
    first: usize,
    newest: usize,
    trend_over: usize,
    trend_p: f64,
}

const QUICK: Look = Look { first: 5, newest: 3, trend_over: 12, trend_p: 0.02 };
/// What was told quickly is over, and what has been mended is not told, by this one.
const QUICK_BACK: Look = Look { newest: 5, ..QUICK };
/// Where they scatter by more than [`QUIET`] (start values, from simulations).
const PATIENT: Look = Look { first: 10, newest: 10, trend_over: 40, trend_p: 0.003 };
/// So much scatter, as a share, leaves three and five of them something to say (start value, from simulations).
const QUIET: f64 = 0.08;
/// The scatter of `n` steps is known to this share over √n or so (start value, from simulations).
const UNSURE: f64 = 1.5;
const TREND_FROM: usize = 6;

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct CoolingFade {
    series: Vec<(Comparable, Series)>,
    /// The one that was told.
    open: Option<Open>,
}

/// The fade that stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Open {
    of: Comparable,
    /// It took the longer look to see it, and takes it to see that it is over.
    patiently: bool,
}

/// By which look a fade is over that was told like that.
fn over_by(patiently: bool) -> Look {
    if patiently { PATIENT } else { QUICK_BACK }
}

/// Coolings that can be compared.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Comparable {
    couverture: CouvertureId,
    against: TauAgainst,
}

/// A cooling of so many minutes, and the mass, kg, if it was told.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Cooled {
    tau_min: f64,
    mass_kg: Option<f64>,
}

/// Coolings in order of time.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct Series {
    /// The first ones since the last reset.
    first: Vec<Cooled>,
    newest: Vec<Cooled>,
}

impl CoolingFade {
    /// A batch has closed.
    pub(crate) fn closed(&mut self, seen: &Seen<'_>) -> Verdict {
        let measures = &seen.batch.measures;
        let whole =
            measures.cooling_minutes.is_some() && !seen.found.iter().any(|kind| machine_failed(*kind));
        let Some((tau, against)) =
            measures.cooling_tau_min.zip(measures.cooling_tau_against).filter(|_| whole)
        else {
            return Verdict::Quiet;
        };
        let group = Comparable { couverture: seen.batch.couverture.clone(), against };
        let place = self.series.iter().position(|(known, _)| *known == group).unwrap_or_else(|| {
            self.series.push((group.clone(), Series::default()));
            self.series.len() - 1
        });
        let series = &mut self.series[place].1;
        series.push(Cooled { tau_min: tau, mass_kg: seen.batch.mass_kg.filter(|mass| *mass > 0.0) });
        match &self.open {
            None => {
                let Some((above, patiently)) = series.faded() else { return Verdict::Quiet };
                self.open = Some(Open { of: group, patiently });
                report(above, tau, against, seen)
            }
            Some(told) if told.of == group && series.is_back(over_by(told.patiently)) => {
                self.open = None;
                Verdict::Over(seen.known)
            }
            Some(_) => Verdict::Quiet,
        }
    }

    /// Begins anew with that couverture.
    pub(crate) fn reset(&mut self, couverture: &CouvertureId, at: Timestamp) -> Verdict {
        self.series.retain(|(group, _)| group.couverture != *couverture);
        match self.open.take_if(|told| told.of.couverture == *couverture) {
            Some(_) => Verdict::Over(at),
            None => Verdict::Quiet,
        }
    }
}

impl Series {
    fn push(&mut self, cooled: Cooled) {
        if self.first.len() < PATIENT.first {
            self.first.push(cooled);
        }
        remember(&mut self.newest, cooled, PATIENT.trend_over);
    }

    /// Time constants as of the usual mass.
    fn of_usual_mass(&self, cooled: &[Cooled]) -> Vec<f64> {
        let told: Vec<f64> =
            self.first.iter().chain(&self.newest).filter_map(|cooled| cooled.mass_kg).collect();
        let usual = median(&told).unwrap_or(1.0);
        cooled.iter().map(|cooled| cooled.tau_min * usual / cooled.mass_kg.unwrap_or(usual)).collect()
    }

    /// How many times as long as at first, if it has come to that, and whether it took the longer look.
    fn faded(&self) -> Option<(f64, bool)> {
        let patiently = !self.is_quiet();
        let look = if patiently { PATIENT } else { QUICK };
        let above = self.above(look).filter(|above| *above >= FADED)?;
        (self.rises(look) && !self.is_back(QUICK_BACK)).then_some((above, patiently))
    }

    fn is_back(&self, look: Look) -> bool {
        self.above(look).is_some_and(|above| above < STILL_FADED)
    }

    /// Do they scatter so little from one to the next, as a share, that a few of them speak? Few of them say little of that, too.
    fn is_quiet(&self) -> bool {
        let logs: Vec<f64> = self.of_usual_mass(&self.newest).iter().map(|tau| tau.ln()).collect();
        let unsure = 1.0 + UNSURE / (logs.len() as f64).sqrt();
        step_to_step(&logs).is_some_and(|scatter| scatter * unsure <= QUIET)
    }

    /// The newest as a share of the first.
    fn above(&self, look: Look) -> Option<f64> {
        let newest = &self.newest[self.newest.len().checked_sub(look.newest)?..];
        let first = self.first.get(..look.first)?;
        Some(median(&self.of_usual_mass(newest))? / median(&self.of_usual_mass(first))?)
    }

    fn rises(&self, look: Look) -> bool {
        let newest = &self.newest[self.newest.len().saturating_sub(look.trend_over)..];
        newest.len() >= TREND_FROM
            && mann_kendall(&self.of_usual_mass(newest))
                .is_ok_and(|test| test.s > 0 && test.p_two_sided < look.trend_p)
    }
}

fn report(above: f64, tau_min: f64, against: TauAgainst, seen: &Seen<'_>) -> Verdict {
    let percent = 100.0 * (above - 1.0);
    Report {
        kind: FindingKind::CoolingFade,
        priority: Priority::Medium,
        from: seen.batch.start,
        raised_at: seen.known,
        says: format!("Over the last batches the machine has come to cool {percent:.0} % more slowly than it did."),
        evidence: vec![
            number("above_baseline_percent", percent),
            number("cooling_tau_min", tau_min),
            text(
                "against",
                match against {
                    TauAgainst::Jacket => "the measured jacket",
                    TauAgainst::FittedAsymptote => "a fitted asymptote",
                },
            ),
        ],
        advice: "Plan a look at jacket, filter, pump and fan by qualified people with the machine locked off; reset the baseline when it has \
                 been cleaned or repaired.",
    }
    .raise()
}

#[cfg(test)]
mod tests {
    use super::super::over_batches::testing::Noise;
    use super::*;

    /// With which of these coolings it would be told, if it would.
    fn first_told(taus: impl IntoIterator<Item = f64>) -> Option<usize> {
        first_told_of(taus.into_iter().map(|tau_min| Cooled { tau_min, mass_kg: None }))
    }

    fn first_told_of(coolings: impl IntoIterator<Item = Cooled>) -> Option<usize> {
        let mut series = Series::default();
        coolings.into_iter().position(|cooled| {
            series.push(cooled);
            series.faded().is_some()
        })
    }

    /// Every third charge of 200 kg is told, or one of half as much, which cools in half the time.
    #[test]
    fn a_mass_that_is_seldom_told_splits_no_series() {
        let fades = |half: bool| {
            (0..12).map(move |batch| {
                let mass_kg = (batch % 3 == 1).then_some(if half && batch % 2 == 0 { 100.0 } else { 200.0 });
                let share = mass_kg.map_or(1.0, |mass| mass / 200.0);
                Cooled { tau_min: share * (36.0 + 1.6 * f64::from(batch)), mass_kg }
            })
        };
        assert_eq!(first_told_of(fades(false)), Some(7));
        assert_eq!(first_told_of(fades(true)), Some(7));
    }

    #[test]
    fn a_step_is_no_trend_until_it_lasts() {
        let once = [38.0, 38.5, 37.9, 38.2, 38.1, 38.3, 60.0, 38.2, 38.0, 38.4];
        assert_eq!(first_told(once), None);
        let scaled = (0..20).map(|i| 38.0 * 1.02_f64.powi(i));
        assert_eq!(first_told(scaled), Some(11));
    }

    #[test]
    fn getting_faster_is_no_fade() {
        assert_eq!(first_told((0..30).map(|i| 40.0 - 0.5 * f64::from(i))), None);
    }

    /// Two hundred machines with two hundred ordinary batches each.
    #[test]
    fn it_seldom_cries_wolf_and_sees_a_fade_soon() {
        let mut noise = Noise::new(2);
        let alarms = (0..200)
            .filter(|_| first_told((0..200).map(|_| 38.0 * (1.0 + 0.05 * noise.normal()))).is_some())
            .count();
        assert!(alarms <= 20, "{alarms} of 200 machines in 200 batches each");
        let mut delays: Vec<usize> = (0..200)
            .map(|_| {
                let fade = |batch: i32| 1.0 + 0.02 * f64::from((batch - 10).max(0));
                first_told((0..60).map(|batch| 38.0 * fade(batch) * (1.0 + 0.05 * noise.normal())))
                    .map_or(usize::MAX, |place| place.saturating_sub(10))
            })
            .collect();
        delays.sort_unstable();
        assert!(delays[100] <= 10 && delays[190] <= 15, "median {}, 95 % {}", delays[100], delays[190]);
    }

    /// The jacket is cleaned at batch 35.
    #[test]
    fn a_fade_that_was_mended_is_not_told_again() {
        let mut noise = Noise::new(5);
        for scatter in [0.01, 0.03, 0.2] {
            let mut again = || {
                let (mut series, mut open, mut again) = (Series::default(), None, false);
                for batch in 0..60 {
                    let faded =
                        if batch < 35 { 0.4 * f64::from((batch - 12).clamp(0, 18)) / 18.0 } else { 0.0 };
                    let tau_min = 27.0 * (1.0 + faded) * (scatter * noise.normal()).exp();
                    series.push(Cooled { tau_min, mass_kg: None });
                    open = match open {
                        Some(patiently) => Some(patiently).filter(|told| !series.is_back(over_by(*told))),
                        None => {
                            series.faded().map(|(_, patiently)| patiently).inspect(|_| again |= 35 <= batch)
                        }
                    };
                }
                again
            };
            let again = (0..100).filter(|_| again()).count();
            assert!(again <= 3, "scatter {scatter}: {again} of a hundred");
        }
    }

    /// Three hundred machines without a jacket that is measured, sixty batches each.
    #[test]
    fn where_time_constants_scatter_it_takes_its_time() {
        let mut noise = Noise::new(4);
        let mut told = |fade: fn(i32) -> f64| {
            let mut tau = |batch: i32| 27.0 * fade(batch) * (0.25 * noise.normal()).exp();
            (0..300).filter_map(|_| first_told((0..60).map(&mut tau))).collect::<Vec<_>>()
        };
        let alarms = told(|_| 1.0).len();
        assert!(alarms <= 10, "{alarms} of 300 machines that do not fade");
        let fades = told(|batch| 1.0 + 0.4 * f64::from((batch - 12).clamp(0, 18)) / 18.0);
        assert!(fades.len() >= 240, "{} of 300 that do", fades.len());
    }
}
