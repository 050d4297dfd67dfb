//! What day, week and comparison are made from, brought together on a thread for blocking work.
//!
//! The courses of a batch that has ended are kept for a while: the next day page compares with the same ten batches.

use std::sync::{Arc, Mutex, PoisonError};

use history::day::Courses;
use history::gather::{self, GatherError, ThinCourse};
use model::{Batch, BatchId, Timestamp};
use plant::Plant;
use records::Records;
use report::Names;
use store::{StoreError, StoreReader};

use crate::app::App;
use crate::archive::blocking;
use crate::problem::Problem;

/// Courses kept: a day of twenty machines with ten earlier batches each, at some 20 kB.
pub(crate) const KEPT_COURSES: usize = 220;

/// Thinned courses kept: a week of twenty machines with the usual ones behind them, at some 8 kB.
pub(crate) const KEPT_THIN: usize = 600;

/// What is known of batches that have ended, the newest asked last.
pub(crate) struct BatchShelf<T> {
    kept: Arc<Mutex<Vec<Kept<T>>>>,
    most: usize,
}

/// A batch, its end, and what is kept of it.
type Kept<T> = (BatchId, Timestamp, Arc<T>);

impl<T> Clone for BatchShelf<T> {
    fn clone(&self) -> BatchShelf<T> {
        BatchShelf { kept: self.kept.clone(), most: self.most }
    }
}

impl<T: Clone> BatchShelf<T> {
    /// Has room for so many batches.
    pub(crate) fn of_at_most(most: usize) -> BatchShelf<T> {
        BatchShelf { kept: Arc::default(), most }
    }

    /// What is kept of `batch` if it has ended; read anew if it goes on.
    pub(crate) fn of(
        &self,
        batch: &Batch,
        read: impl FnOnce() -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let Some(end) = batch.end else { return read() };
        if let Some(kept) = self.kept(&batch.id, end) {
            return Ok(kept.as_ref().clone());
        }
        let fresh = read()?;
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.retain(|(id, ..)| *id != batch.id);
        if kept.len() == self.most {
            kept.remove(0);
        }
        kept.push((batch.id.clone(), end, Arc::new(fresh.clone())));
        Ok(fresh)
    }

    /// A batch that was worked out again may end elsewhere; then its courses are others.
    fn kept(&self, batch: &BatchId, end: Timestamp) -> Option<Arc<T>> {
        let kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.iter().find(|(id, ended, _)| id == batch && *ended == end).map(|(.., courses)| courses.clone())
    }
}

/// What blocking work may look at.
pub(crate) struct Sources {
    pub plant: Arc<Plant>,
    pub records: Arc<Records>,
    pub store: Arc<StoreReader>,
    courses: BatchShelf<Courses>,
    thin_courses: BatchShelf<ThinCourse>,
    pub now: Timestamp,
}

impl Sources {
    /// What every channel did while `batch` ran.
    pub(crate) fn courses(&self, batch: &Batch) -> Result<Courses, StoreError> {
        self.courses.of(batch, || gather::courses(&self.store, batch, self.now))
    }

    /// The course of `batch` as galleries draw it.
    pub(crate) fn gallery_course(&self, batch: &Batch) -> Result<ThinCourse, StoreError> {
        self.thin_courses.of(batch, || gather::gallery_course(&self.store, batch, self.now))
    }
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
            thin_courses: self.thin_courses.clone(),
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
