//! Control charts: is this week's cooling, settling and holding still what it was?
//!
//! Limits are learned from good batches before the week. Two rules and no more: a value beyond three sigma, and a
//! CUSUM (k = ½ σ, h = 5 σ) for a shift that lasts. All known run rules together would call every second week
//! unusual (run-length tables of the rule sets, from memory).

use maths::control::{Cusum, Individuals};
use model::{Batch, BatchId, CouvertureId, MachineId, Timestamp};

use super::View;

/// Fewer values make no limits; twenty make limits worth the name (common practice, no source).
const FEWEST: usize = 8;

/// Limits come from so many batches at most.
const LEARNED_FROM: usize = 30;

/// Of what the limits were learned from, so many stand on the chart before the week.
const SHOWN_BEFORE: usize = 12;

/// Slack and limit of the CUSUM in sigmas (Lucas & Crosier 1982: chance signals once in 465 values).
const CUSUM: (f64, f64) = (0.5, 5.0);

/// Which figure is charted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Charted {
    /// Length of cooling, min.
    CoolingMinutes,
    /// Where the hold settled, °C.
    Settled,
    /// Newton time constant of the cooling, min.
    CoolingTau,
    /// Deviation within the hold, °C.
    Within,
}

impl Charted {
    /// Every charted figure.
    pub const ALL: [Charted; 4] =
        [Charted::CoolingMinutes, Charted::Settled, Charted::CoolingTau, Charted::Within];

    /// Its key in documents.
    pub fn key(self) -> &'static str {
        match self {
            Charted::CoolingMinutes => "cooling_minutes",
            Charted::Settled => "settled_c",
            Charted::CoolingTau => "cooling_tau_min",
            Charted::Within => "working_sd_c",
        }
    }

    /// The figure of a batch.
    pub fn of(self, batch: &Batch) -> Option<f64> {
        let measures = &batch.measures;
        let value = match self {
            Charted::CoolingMinutes => measures.cooling_minutes,
            Charted::Settled => measures.settled_c,
            Charted::CoolingTau => measures.cooling_tau_min,
            Charted::Within => measures.working_sd_c,
        };
        value.filter(|value| value.is_finite())
    }

    /// Sigma never counts as less than this: ten batches that happen to agree must not make the eleventh a signal.
    fn least_sigma(self, centre: f64) -> f64 {
        match self {
            Charted::CoolingMinutes | Charted::CoolingTau => 0.02 * centre.abs(),
            Charted::Settled => 0.04,
            Charted::Within => 0.01,
        }
    }
}

/// The rule that a value breaks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rule {
    /// Beyond three sigma.
    Beyond,
    /// A lasting shift, by CUSUM.
    Shift,
}

/// One batch on a chart.
#[derive(Debug, Clone, PartialEq)]
pub struct ChartPoint {
    /// Which batch.
    pub batch: BatchId,
    /// When it began to cool.
    pub at: Timestamp,
    /// Its figure.
    pub value: f64,
    /// The rule that it breaks.
    pub signal: Option<Rule>,
    /// Is it of the week?
    pub is_new: bool,
}

/// A control chart of one machine and couverture.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    /// Which machine.
    pub machine: MachineId,
    /// Which couverture.
    pub couverture: CouvertureId,
    /// Which figure.
    pub charted: Charted,
    /// In the order of time: some before the week, and those of the week.
    pub points: Vec<ChartPoint>,
    /// Centre, lower and upper limit; `None` where too little is known.
    pub limits: Option<(f64, f64, f64)>,
    /// From how many batches the limits come.
    pub learned_from: usize,
}

impl Chart {
    /// How many values of the week break a rule.
    pub fn signals(&self) -> usize {
        self.points.iter().filter(|point| point.signal.is_some()).count()
    }
}

pub(super) fn charts(view: &View<'_>) -> Vec<Chart> {
    let mut charts: Vec<Chart> = Vec::new();
    for (machine, couverture) in view.pairs() {
        charts.extend(Charted::ALL.iter().filter_map(|charted| chart(view, &machine, &couverture, *charted)));
    }
    charts.sort_by_key(|chart| std::cmp::Reverse(chart.signals()));
    charts
}

fn chart(view: &View<'_>, machine: &MachineId, couverture: &CouvertureId, charted: Charted) -> Option<Chart> {
    let mine = |batch: &&&Batch| batch.machine == *machine && batch.couverture == *couverture;
    let point = |batch: &Batch, is_new: bool| {
        let (batch_id, at) = (batch.id.clone(), super::anchor(batch));
        charted.of(batch).map(|value| ChartPoint { batch: batch_id, at, value, signal: None, is_new })
    };
    let is_good = |batch: &&&Batch| crate::is_good(batch, view.findings);
    let mut earlier: Vec<ChartPoint> =
        view.before.iter().filter(mine).filter(is_good).filter_map(|batch| point(batch, false)).collect();
    let earlier = earlier.split_off(earlier.len().saturating_sub(LEARNED_FROM));
    let mut week: Vec<ChartPoint> =
        view.week.iter().filter(mine).filter_map(|batch| point(batch, true)).collect();
    if week.is_empty() {
        return None;
    }
    let limits = limits_of(charted, &earlier);
    if let Some((centre, sigma)) = limits {
        mark(&mut week, centre, sigma);
    }
    let learned_from = earlier.len();
    let mut points = earlier;
    let mut points = points.split_off(points.len().saturating_sub(SHOWN_BEFORE));
    points.extend(week);
    Some(Chart {
        machine: machine.clone(),
        couverture: couverture.clone(),
        charted,
        points,
        limits: limits.map(|(centre, sigma)| (centre, centre - 3.0 * sigma, centre + 3.0 * sigma)),
        learned_from,
    })
}

/// Centre and sigma.
fn limits_of(charted: Charted, earlier: &[ChartPoint]) -> Option<(f64, f64)> {
    if earlier.len() < FEWEST {
        return None;
    }
    let values: Vec<f64> = earlier.iter().map(|point| point.value).collect();
    let learned = Individuals::learn(&values).ok()?;
    Some((learned.centre, learned.sigma.max(charted.least_sigma(learned.centre))))
}

fn mark(week: &mut [ChartPoint], centre: f64, sigma: f64) {
    let (slack, limit) = CUSUM;
    let Ok(mut cusum) = Cusum::new(centre, slack * sigma, limit * sigma) else { return };
    for point in week {
        let shift = cusum.insert(point.value).signal.is_some();
        point.signal = if 3.0 * sigma < (point.value - centre).abs() {
            Some(Rule::Beyond)
        } else if shift {
            Some(Rule::Shift)
        } else {
            None
        };
        if shift {
            cusum.reset();
        }
    }
}
