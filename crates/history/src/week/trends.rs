//! What moves slowly: the cooling of a machine over weeks, and a probe against hand thermometers.

use maths::trend::{mann_kendall, theil_sen};
use model::{Batch, CouvertureId, Event, EventKind, MachineId};

use super::{Charted, View};

/// A trend is looked for over so many batches at most.
const LOOKS_BACK: usize = 40;

/// Fewer values have no trend worth a word.
const FEWEST: usize = 8;

/// Of so many intervals one is wrong.
const COVERAGE: f64 = 0.95;

/// A trend is told as one where chance makes it this seldom and its interval leaves zero out.
const TOLD_BELOW_P: f64 = 0.05;

/// A machine that needs this much longer than before has faded (contract, `cooling-fade`).
const FADED: f64 = 1.15;

/// The cooling time constant of a machine over the last weeks.
#[derive(Debug, Clone, PartialEq)]
pub struct TauTrend {
    /// Which machine.
    pub machine: MachineId,
    /// Which couverture.
    pub couverture: CouvertureId,
    /// Over how many batches.
    pub batches: usize,
    /// Median of the week, min, and of how many batches.
    pub week: Option<(f64, usize)>,
    /// Median before the week, min.
    pub before: Option<f64>,
    /// Change in a week, per cent of the median, with its interval.
    pub percent_a_week: Option<(f64, f64, f64)>,
    /// Probability of such a trend by chance (Mann–Kendall).
    pub p: Option<f64>,
}

impl TauTrend {
    /// Does it go one way more than chance would have it?
    pub fn is_told(&self) -> bool {
        self.p.is_some_and(|p| p < TOLD_BELOW_P)
            && self.percent_a_week.is_some_and(|(_, low, high)| 0.0 < low * high)
    }

    /// Does it stand as far above what it was as `cooling-fade` asks? Less is told and asks nobody for anything.
    pub fn has_faded(&self) -> bool {
        self.ratio().is_some_and(|ratio| FADED <= ratio)
    }

    /// This week over before.
    pub fn ratio(&self) -> Option<f64> {
        self.week.zip(self.before).map(|((week, _), before)| week / before)
    }
}

pub(super) fn trends(view: &View<'_>) -> Vec<TauTrend> {
    view.pairs().into_iter().map(|(machine, couverture)| trend(view, machine, couverture)).collect()
}

fn trend(view: &View<'_>, machine: MachineId, couverture: CouvertureId) -> TauTrend {
    let mine = |batch: &&&Batch| batch.machine == machine && batch.couverture == couverture;
    let is_good = |batch: &&&Batch| crate::is_good(batch, view.findings);
    let value = |batch: &&Batch| Charted::CoolingTau.of(batch);
    let week: Vec<f64> = view.week.iter().filter(mine).filter_map(value).collect();
    let before: Vec<f64> = view.before.iter().filter(mine).filter(is_good).filter_map(value).collect();
    let all = view.before.iter().filter(mine).filter(is_good).chain(view.week.iter().filter(mine));
    let mut series: Vec<(f64, f64)> = all
        .filter_map(|batch| {
            let days = super::anchor(batch).since(view.from).as_mins_f64() / 1440.0;
            value(batch).map(|tau| (days, tau))
        })
        .collect();
    let series = series.split_off(series.len().saturating_sub(LOOKS_BACK));
    let (days, taus): (Vec<f64>, Vec<f64>) = series.iter().copied().unzip();
    let line = theil_sen(&days, &taus, COVERAGE).ok().filter(|_| FEWEST <= taus.len());
    let middle = maths::statistics::median(&taus).filter(|tau| 0.0 < *tau);
    let percent = |slope: f64, middle: f64| 100.0 * 7.0 * slope / middle;
    TauTrend {
        machine,
        couverture,
        batches: taus.len(),
        week: maths::statistics::median(&week).map(|tau| (tau, week.len())),
        before: maths::statistics::median(&before).filter(|_| crate::FEWEST_BATCHES <= before.len()),
        percent_a_week: line.zip(middle).map(|(line, middle)| {
            (percent(line.slope, middle), percent(line.slope_low, middle), percent(line.slope_high, middle))
        }),
        p: mann_kendall(&taus).ok().filter(|_| FEWEST <= taus.len()).map(|test| test.p_two_sided),
    }
}

/// A probe beside hand thermometers.
#[derive(Debug, Clone, PartialEq)]
pub struct ProbeRow {
    /// Which machine.
    pub machine: MachineId,
    /// Hand values in the week.
    pub week: usize,
    /// Median of the week, hand less the hold's mean, °C.
    pub apart_c: Option<f64>,
}

/// Hand values are held against the mean of the hold that they were taken in: readings are not at hand here.
pub(super) fn probes(view: &View<'_>, events: &[Event]) -> Vec<ProbeRow> {
    let row = |machine: &plant::Machine| {
        let mut apart = Vec::new();
        for event in events.iter().filter(|event| event.machine == machine.id) {
            let EventKind::Reference { temperature } = event.kind else { continue };
            let in_hold = |batch: &&&Batch| {
                batch.machine == machine.id
                    && batch.first(model::Phase::Working).is_some_and(|span| {
                        span.from <= event.at && span.to.or(batch.end).is_none_or(|to| event.at < to)
                    })
            };
            let held = view.week.iter().find(in_hold).and_then(|batch| batch.measures.working_mean_c);
            apart.extend(held.map(|held| temperature - held));
        }
        ProbeRow {
            machine: machine.id.clone(),
            week: apart.len(),
            apart_c: maths::statistics::median(&apart),
        }
    };
    view.plant.machines.iter().map(row).collect()
}
