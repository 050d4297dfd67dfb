//! What people keep of a batch, gathered for its report, its machine and programs: decisions, what failed tests and wrong probes put in
//! question, what it was made of, and whether milk may be in it.

use std::collections::BTreeSet;

use history::lots::{Addition, BatchContent, Way, batch_of, contents};
use history::milk::{Changeover, changeovers};
use history::{Concerned, Doubt, concerned, doubts};
use model::{Batch, BatchId, Decision, Event, MachineId, ProbeCheck, Span, Timestamp};
use plant::Machine;
use records::{BatchQuery, RecordsError};
use report::KeptDto;

use crate::app::App;
use crate::material::{KINDS, additions, cleans, is_addition, milk_of};
use crate::problem::Problem;

/// Batches of a machine that are looked back upon for what is left in it: most of a year of a batch a day.
pub(crate) const LOOKED_BACK: usize = 300;
/// Events of those batches: some a day, and notes.
pub(crate) const MOST_EVENTS: usize = 5_000;

/// What people keep of one batch.
pub(crate) struct Kept {
    /// In the order in which they were taken; the last one holds.
    pub decisions: Vec<Decision>,
    pub concerned: Vec<Concerned>,
    pub doubts: Vec<Doubt>,
    pub content: Option<BatchContent>,
    pub changeover: Option<Changeover>,
    /// Charges that were told before the batch began, the oldest first.
    pub before_start: Vec<Event>,
    /// Times of tests that have a photo.
    pub photos: Vec<Timestamp>,
}

/// A machine's own past, as people told it.
pub(crate) struct Past {
    /// The newest first.
    pub batches: Vec<Batch>,
    /// Charges, seed, top-ups and notes, the oldest first.
    pub events: Vec<Event>,
    pub checks: Vec<ProbeCheck>,
}

impl Past {
    /// Batches that began before `to` in this machine, and what was told of it before `until`.
    pub(crate) async fn of(
        app: &App,
        machine: &MachineId,
        to: Timestamp,
        until: Timestamp,
    ) -> Result<Past, Problem> {
        let machine = machine.clone();
        app.ask_records(move |records| {
            let query = BatchQuery {
                machine: Some(machine.clone()),
                to: Some(to),
                limit: LOOKED_BACK,
                ..BatchQuery::default()
            };
            Ok::<_, RecordsError>(Past {
                batches: records.batches(&query)?,
                events: records.events_of_kinds(Some(&machine), &KINDS, until, MOST_EVENTS)?,
                checks: records.probe_checks(Some(&machine))?,
            })
        })
        .await
    }
}

impl Kept {
    /// What is kept of `batch`, whose events are at hand.
    pub(crate) async fn of(app: &App, batch: &Batch, events: &[Event]) -> Result<Kept, Problem> {
        let (id, machine, from, to) =
            (batch.id.clone(), batch.machine.clone(), batch.start, batch.end.unwrap_or(app.now()));
        let (decisions, photos) = app
            .ask_records(move |records| {
                let until = to + Span::from_millis(1);
                Ok::<_, RecordsError>((records.decisions(&id)?, records.photo_times(&machine, from, until)?))
            })
            .await?;
        // The batch itself is the newest that is looked at.
        let past =
            Past::of(app, &batch.machine, batch.start + Span::from_millis(1), to + Span::from_millis(1))
                .await?;
        let added = additions(&past.events);
        let milk = |couverture: &model::CouvertureId| milk_of(&app.state.plant, couverture);
        let changeover = changeovers(&past.batches, &added, &cleans(&past.events), milk);
        let is_its = |addition: &&Addition| {
            addition.at < batch.start && batch_of(addition, &past.batches).as_ref() == Some(&batch.id)
        };
        let its: BTreeSet<Timestamp> = added.iter().filter(is_its).map(|addition| addition.at).collect();
        let goes_in = |event: &&Event| is_addition(event) && its.contains(&event.at);
        Ok(Kept {
            before_start: past.events.iter().filter(goes_in).cloned().collect(),
            photos,
            decisions,
            concerned: concerned(batch, events),
            doubts: doubts(batch, &past.checks),
            content: contents(&past.batches, &added).into_iter().find(|content| content.batch == batch.id),
            changeover: of_batch(&batch.id, changeover),
        })
    }

    /// The same for programs.
    pub(crate) fn document(&self) -> KeptDto {
        let Kept { decisions, concerned, doubts, content, changeover, .. } = self;
        KeptDto::new(decisions, concerned, doubts, content.as_ref(), changeover.as_ref())
    }
}

/// What is to be said of a charge that waits in `machine` and has not begun to melt: before it is heated is the time to hear of it.
pub(crate) async fn changeover_of_next(app: &App, machine: &Machine) -> Result<Option<Changeover>, Problem> {
    let now = app.now() + Span::from_millis(1);
    let mut past = Past::of(app, &machine.id, now, now).await?;
    let added = additions(&past.events);
    let newest = added.iter().rev().find(|addition| addition.way == Way::Charge);
    let Some(charge) = newest.filter(|charge| batch_of(charge, &past.batches).is_none()) else {
        return Ok(None);
    };
    let Some(newest) = past.batches.first() else { return Ok(None) };
    let next = Batch {
        id: BatchId::new(&machine.id, charge.at),
        couverture: charge.couverture.clone().unwrap_or_else(|| newest.couverture.clone()),
        start: charge.at,
        end: None,
        phases: Vec::new(),
        ..newest.clone()
    };
    let id = next.id.clone();
    past.batches.push(next);
    let milk = |couverture: &model::CouvertureId| milk_of(&app.state.plant, couverture);
    Ok(of_batch(&id, changeovers(&past.batches, &added, &cleans(&past.events), milk)))
}

fn of_batch(id: &BatchId, told: Vec<(BatchId, Option<Changeover>)>) -> Option<Changeover> {
    told.into_iter().find(|(batch, _)| batch == id).and_then(|(_, changeover)| changeover)
}
