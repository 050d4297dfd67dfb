//! What day, week and comparison are made from, brought together on a thread for blocking work.
//!
//! The courses of a batch that has ended are kept for a while: the next day page compares with the same ten batches.

use std::sync::{Arc, Mutex, PoisonError};

use history::day::Courses;
use history::gather::{self, GatherError};
use model::{Batch, BatchId, Timestamp};
use plant::Plant;
use records::Records;
use report::Names;
use store::{StoreError, StoreReader};

use crate::app::App;
use crate::archive::blocking;
use crate::problem::Problem;

/// Courses kept: a day of twenty machines with ten earlier batches each, at some 20 kB.
const KEPT_COURSES: usize = 220;

/// Courses of batches that have ended, the newest asked last.
#[derive(Clone, Default)]
pub(crate) struct CourseShelf(Arc<Mutex<Vec<Kept>>>);

/// A batch, its end, and its courses.
type Kept = (BatchId, Timestamp, Arc<Courses>);

impl CourseShelf {
    /// The courses of `batch`: kept ones if it has ended, read anew if it goes on.
    pub(crate) fn of(
        &self,
        store: &StoreReader,
        batch: &Batch,
        seen_to: Timestamp,
    ) -> Result<Courses, StoreError> {
        let Some(end) = batch.end else { return gather::courses(store, batch, seen_to) };
        if let Some(kept) = self.kept(&batch.id, end) {
            return Ok(kept.as_ref().clone());
        }
        let courses = gather::courses(store, batch, seen_to)?;
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.retain(|(id, ..)| *id != batch.id);
        if kept.len() == KEPT_COURSES {
            kept.remove(0);
        }
        kept.push((batch.id.clone(), end, Arc::new(courses.clone())));
        Ok(courses)
    }

    /// A batch that was worked out again may end elsewhere; then its courses are others.
    fn kept(&self, batch: &BatchId, end: Timestamp) -> Option<Arc<Courses>> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.iter().find(|(id, ended, _)| id == batch && *ended == end).map(|(.., courses)| courses.clone())
    }
}

/// What blocking work may look at.
pub(crate) struct Sources {
    pub plant: Arc<Plant>,
    pub records: Arc<Records>,
    pub store: Arc<StoreReader>,
    pub courses: CourseShelf,
    pub now: Timestamp,
}

impl App {
    /// Brings something together, taking turns with other heavy readers.
    pub(crate) async fn gather<T: Send + 'static>(
        &self,
        question: impl FnOnce(&Sources) -> Result<T, GatherError> + Send + 'static,
    ) -> Result<T, Problem> {
        let turn = self.heavy_reads.clone().acquire_owned().await.expect("the semaphore is never closed");
        let sources = Sources {
            plant: self.state.plant.clone(),
            records: self.state.records.clone(),
            store: self.state.store.clone(),
            courses: self.courses.clone(),
            now: self.now(),
        };
        let answer = blocking(move || {
            let _turn = turn;
            question(&sources)
        });
        answer.await?.map_err(|cause| {
            let sentence = "The records cannot be read just now; try again in a minute.";
            Problem::unavailable("records-busy", sentence, cause)
        })
    }

    /// What people call machines and couvertures.
    pub(crate) fn names(&self) -> Names {
        let plant = &self.state.plant;
        let couverture = |found: &plant::Couverture| (found.id.clone(), found.display_name().to_owned());
        Names {
            machines: plant
                .machines
                .iter()
                .map(|machine| (machine.id.clone(), machine.name.clone()))
                .collect(),
            couvertures: plant.couvertures.iter().map(couverture).collect(),
        }
    }

    /// Said where a PDF is asked for and nothing can set one.
    pub(crate) fn no_pdf() -> Problem {
        Problem::not_found(
            "no-pdf",
            "This program was built without PDF. The page itself prints well, and there are other forms.",
        )
    }

    /// A report as PDF.
    pub(crate) async fn pdf(
        &self,
        source: String,
        files: Vec<(String, Vec<u8>)>,
    ) -> Result<Vec<u8>, Problem> {
        let Some(paper) = self.paper.clone() else {
            return Err(App::no_pdf());
        };
        let set = move || {
            let files: Vec<(&str, Vec<u8>)> =
                files.iter().map(|(name, file)| (name.as_str(), file.clone())).collect();
            paper.set(&source, &files)
        };
        blocking(set).await?.map_err(|cause| Problem::internal("pdf", cause))
    }
}
