//! A batch against the machine's own past: its earlier good batches of the same couverture.
//!
//! What is usual and how a course usually runs comes from `history`; here the batches and their readings are brought to
//! it. A band is made once a batch and kept, because a live curve asks for it every few seconds.

use std::sync::{Arc, Mutex, PoisonError};

use charts::ReferencePoint;
use history::{Course, FEWEST_BATCHES, ReferenceBand, Usual};
use model::{Batch, BatchId, Channel, Phase, Span, Timestamp};
use records::{BatchQuery, FindingQuery};

use crate::app::App;
use crate::archive::blocking;
use crate::handlers::api::MOST_LISTED;
use crate::problem::Problem;

/// The usual of a machine is that of its last weeks, not of its youth.
const EARLIER_BATCHES: usize = 10;

/// Looked through to find as many good ones of the same couverture.
const LOOKED_THROUGH: usize = 60;

/// Points of the band.
const STEP: Span = Span::from_mins(1);

/// Of each earlier batch so much is read: what `history` makes a band of.
const BEFORE_COOLING: Span = Span::from_mins(30);
const AFTER_COOLING: Span = Span::from_hours(14);

/// Bands kept: as many as there are batches that people look at in one hour.
const KEPT_BANDS: usize = 32;

/// Earlier good batches, and what is usual.
pub(crate) struct Past {
    pub batches: Vec<Batch>,
    pub usual: Option<Usual>,
}

/// Bands made lately, the newest last.
#[derive(Default)]
pub(crate) struct Bands(Mutex<Vec<(BatchId, Arc<Option<ReferenceBand>>)>>);

impl Past {
    /// From what the usual figures come.
    pub(crate) fn says(&self) -> String {
        match &self.usual {
            Some(Usual { batches, .. }) => format!(
                "Usual here: the median of the {batches} good batches of this couverture on this machine before this one."
            ),
            None => format!(
                "What is usual here is told from {FEWEST_BATCHES} earlier good batches of this couverture on; there are {}.",
                self.batches.len()
            ),
        }
    }
}

/// From what the reference band of `batch` comes.
pub(crate) fn band_says(batch: &Batch, band: Option<&ReferenceBand>) -> String {
    match band {
        _ if batch.first(Phase::Cooling).is_none() => {
            "The reference band is drawn from the start of cooling on.".to_owned()
        }
        None => format!(
            "There is no reference band: it takes the readings of {FEWEST_BATCHES} earlier good batches of this \
             couverture on this machine."
        ),
        Some(ReferenceBand { batches, .. }) => format!(
            "Reference band: median and 10 to 90 % of the {batches} good batches before this one, laid over the start \
             of cooling."
        ),
    }
}

impl App {
    /// The machine's earlier good batches of the couverture of `batch`.
    pub(crate) async fn past_of(&self, batch: &Batch) -> Result<Past, Problem> {
        let query = BatchQuery {
            machine: Some(batch.machine.clone()),
            to: Some(batch.start),
            limit: LOOKED_THROUGH,
            ..BatchQuery::default()
        };
        let mut batches = self.batches(query).await?;
        batches.retain(|other| other.couverture == batch.couverture && other.end.is_some());
        if let Some(oldest) = batches.last() {
            let query = FindingQuery {
                machine: Some(batch.machine.clone()),
                from: Some(oldest.start),
                to: Some(batch.start),
                limit: MOST_LISTED,
                ..FindingQuery::default()
            };
            let findings = self.findings(query).await?;
            batches.retain(|other| history::is_good(other, &findings));
        }
        batches.truncate(EARLIER_BATCHES);
        let (batches, usual) = blocking(move || {
            let usual = history::usual_measures(&batches);
            (batches, usual)
        })
        .await?;
        let usual = usual.map_err(|cause| Problem::internal("no-usual", cause))?;
        Ok(Past { batches, usual })
    }

    /// How the course of `batch` usually runs, on its own clock; empty where that is not known.
    pub(crate) async fn reference_for(&self, batch: &Batch) -> Result<Vec<ReferencePoint>, Problem> {
        let Some(cooling) = batch.first(Phase::Cooling) else { return Ok(Vec::new()) };
        let band = self.band_of(batch).await?;
        let points = band.iter().flat_map(|band| band.at(cooling.from));
        Ok(points
            .map(|(at, point)| ReferencePoint { at, low: point.low, median: point.median, high: point.high })
            .collect())
    }

    /// How the course of such a batch usually runs, from the start of cooling.
    pub(crate) async fn band_of(&self, batch: &Batch) -> Result<Arc<Option<ReferenceBand>>, Problem> {
        match self.bands.get(&batch.id) {
            Some(band) => Ok(band),
            None => self.make_band(batch).await,
        }
    }

    async fn make_band(&self, batch: &Batch) -> Result<Arc<Option<ReferenceBand>>, Problem> {
        let mut courses = Vec::new();
        for earlier in self.past_of(batch).await?.batches {
            courses.extend(self.course_of(&earlier).await?);
        }
        let band = blocking(move || history::reference_band(&courses, STEP)).await?;
        let band = Arc::new(band.map_err(|cause| Problem::internal("no-reference", cause))?);
        self.bands.keep(batch.id.clone(), band.clone());
        Ok(band)
    }

    async fn course_of(&self, batch: &Batch) -> Result<Option<Course>, Problem> {
        let Some(cooling) = batch.first(Phase::Cooling) else { return Ok(None) };
        let (from, to) = (cooling.from - BEFORE_COOLING, cooling.from + AFTER_COOLING);
        let to = batch.end.map_or(to, |end: Timestamp| end.min(to));
        let readings = self.series(&batch.machine, Channel::Chocolate, from, to).await?;
        Ok(Some(Course { cooling_start: cooling.from, readings }))
    }
}

impl Bands {
    fn get(&self, batch: &BatchId) -> Option<Arc<Option<ReferenceBand>>> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.iter().find(|(id, _)| id == batch).map(|(_, band)| band.clone())
    }

    fn keep(&self, batch: BatchId, band: Arc<Option<ReferenceBand>>) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.retain(|(id, _)| *id != batch);
        if kept.len() == KEPT_BANDS {
            kept.remove(0);
        }
        kept.push((batch, band));
    }
}
