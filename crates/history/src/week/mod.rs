//! The review of a week: what a reviewer has to look at, and what the numbers can carry.
//!
//! Everything comes from measures, findings and events, never from readings, so that twenty machines take a moment. Every
//! figure stands with the number of values behind it, and machines are never ranked: they come in the order of the
//! plant file, and shares of fewer than [`FEWEST_FOR_A_SHARE`] are counts.
//!
//! **Invariant:** limits of a control chart come from batches before the week, so that a bad week cannot excuse itself.
//! One value a batch: seconds of one batch are not independent, and a capability from them would be fiction.

mod actions;
mod alarms;
mod basis;
mod charts;
mod exceptions;
mod findings;
mod groups;
mod holds;
mod iso_week;
mod lots;
mod quality;
mod trends;

use model::{
    Acknowledgement, Batch, Event, EventKind, Finding, Grade, MachineId, Phase, SetAside, TemperTest,
    Timestamp,
};
use plant::Plant;
pub use records::Action;

pub use self::actions::{ActionRow, Effect};
pub use self::alarms::{AlarmReview, AlarmRow};
pub use self::charts::{Chart, ChartPoint, Charted, Rule};
pub use self::exceptions::{Exception, Reason};
pub use self::findings::{AlarmLoad, KindRow};
pub use self::groups::{Group, Share};
pub use self::holds::Hold;
pub use self::iso_week::{IsoWeek, IsoWeekError};
pub use self::lots::LotRow;
pub use self::quality::{Quality, RoomWeek};
pub use self::trends::{ProbeRow, TauTrend};

use crate::HistoryError;

/// With fewer values a share in per cent says more than it knows (no ranking below five: a start value of ours).
pub const FEWEST_FOR_A_SHARE: usize = 5;

/// What a review is made from.
#[derive(Debug, Clone)]
pub struct WeekData<'a> {
    /// Which week.
    pub week: IsoWeek,
    /// Machines, couvertures and limits.
    pub plant: &'a Plant,
    /// Batches of the week and of some weeks before it, any order.
    pub batches: Vec<Batch>,
    /// Findings of the same time.
    pub findings: Vec<Finding>,
    /// Events of the same time.
    pub events: Vec<Event>,
    /// What the rooms were like, where a channel tells.
    pub rooms: Vec<RoomWeek>,
    /// What people acknowledged in the week.
    pub seen: Vec<Acknowledgement>,
    /// What people set aside in it.
    pub asides: Vec<SetAside>,
    /// Actions that were ever opened.
    pub actions: Vec<Action>,
    /// How far anything is known; the week may not be over.
    pub seen_to: Timestamp,
}

/// The review.
#[derive(Debug, Clone)]
pub struct Review {
    /// Which week.
    pub week: IsoWeek,
    /// Its first moment.
    pub from: Timestamp,
    /// The moment after its last.
    pub to: Timestamp,
    /// Is it over?
    pub is_over: bool,
    /// What has to be looked at, the riskiest first.
    pub exceptions: Vec<Exception>,
    /// All batches together.
    pub all: Group,
    /// One a machine, in the order of the plant file.
    pub by_machine: Vec<Group>,
    /// One a couverture, in the order of the plant file.
    pub by_couverture: Vec<Group>,
    /// Holds, one a machine and couverture.
    pub holds: Vec<Hold>,
    /// Control charts, those with signals first.
    pub charts: Vec<Chart>,
    /// Trends of cooling.
    pub trends: Vec<TauTrend>,
    /// Probes against hand thermometers.
    pub probes: Vec<ProbeRow>,
    /// Findings by kind, the most frequent first.
    pub kinds: Vec<KindRow>,
    /// The life of alarms.
    pub alarms: AlarmReview,
    /// How many alarms a person had.
    pub load: AlarmLoad,
    /// Lots that were worked with.
    pub lots: Vec<LotRow>,
    /// The rooms.
    pub rooms: Vec<RoomWeek>,
    /// Actions that were open in the week, and those of the week before.
    pub actions: Vec<ActionRow>,
    /// What the data can carry.
    pub quality: Quality,
    /// The week's batches, in the order of time.
    pub batches: Vec<Batch>,
    /// Digest of the records that all this rests on: batches, tests and findings of the week.
    pub rests_on: String,
}

/// Works out the review of a week.
///
/// # Errors
/// When polars runs out of memory.
pub fn review(data: WeekData<'_>) -> Result<Review, HistoryError> {
    let (from, to) = data.week.span(data.plant);
    let seen_to = data.seen_to.min(to);
    let mut batches = data.batches.clone();
    batches.sort_by_key(anchor);
    let week: Vec<&Batch> =
        batches.iter().filter(|batch| from <= anchor(batch) && anchor(batch) < to).collect();
    let before: Vec<&Batch> = batches.iter().filter(|batch| anchor(batch) < from).collect();
    let tests = Tests::of(&batches, &data.events, data.seen_to);
    let view = View {
        plant: data.plant,
        week: &week,
        before: &before,
        findings: &data.findings,
        tests: &tests,
        from,
        to,
        known_to: data.seen_to,
    };
    let groups = groups::groups(&view)?;
    Ok(Review {
        week: data.week,
        from,
        to,
        is_over: to <= data.seen_to,
        exceptions: exceptions::exceptions(&view),
        all: groups.all,
        by_machine: groups.by_machine,
        by_couverture: groups.by_couverture,
        holds: holds::holds(&view),
        charts: charts::charts(&view),
        trends: trends::trends(&view),
        probes: trends::probes(&view, &data.events),
        kinds: findings::kinds(&view, seen_to),
        alarms: alarms::alarms(&view, &data.seen, &data.asides, seen_to),
        load: findings::load(&view),
        lots: lots::lots(&view),
        quality: quality::quality(&view),
        rooms: data.rooms,
        actions: actions::rows(&view, data.week, &data.actions, &batches),
        rests_on: basis::digest(&view),
        batches: week.into_iter().cloned().collect(),
    })
}

/// What belongs to a week is decided by when a batch began to cool; the night's melt before it belongs with it.
pub fn anchor(batch: &Batch) -> Timestamp {
    let start = |phase| batch.first(phase).map(|span| span.from);
    start(Phase::Cooling).or_else(|| start(Phase::Working)).unwrap_or(batch.start)
}

/// The week as its parts see it.
struct View<'v> {
    plant: &'v Plant,
    /// Batches of the week, in the order of time.
    week: &'v [&'v Batch],
    /// Batches before it.
    before: &'v [&'v Batch],
    findings: &'v [Finding],
    tests: &'v Tests<'v>,
    from: Timestamp,
    to: Timestamp,
    /// How far anything is known, the weeks after it included.
    known_to: Timestamp,
}

impl View<'_> {
    fn findings_of<'f>(&'f self, batch: &'f Batch) -> impl Iterator<Item = &'f Finding> {
        self.findings
            .iter()
            .filter(|finding| finding.batch.as_ref() == Some(&batch.id) && finding.superseded_by.is_none())
    }

    /// Machine and couverture pairs of the week, in the order of the plant file.
    fn pairs(&self) -> Vec<(MachineId, model::CouvertureId)> {
        let mut pairs: Vec<_> =
            self.week.iter().map(|batch| (batch.machine.clone(), batch.couverture.clone())).collect();
        let place = |id: &MachineId| self.plant.machines.iter().position(|machine| machine.id == *id);
        pairs.sort_by_key(|(machine, couverture)| (place(machine), couverture.clone()));
        pairs.dedup();
        pairs
    }
}

/// Does a smear pass? Good and fair do (a scale of ours, common practice, no source).
fn passes(grade: Grade) -> bool {
    match grade {
        Grade::Good | Grade::Fair => true,
        Grade::Poor => false,
    }
}

/// How the tests of a batch went, for whoever counts it and whoever has to look at it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Outcome {
    /// There is none.
    Untested,
    /// The last one failed.
    Failed { at: Timestamp },
    /// One failed, and the last one passed.
    Recovered { failed_at: Timestamp },
    /// All passed.
    Passed,
}

/// Temper tests, each with the batch in whose time it was made.
struct Tests<'t>(Vec<(&'t Batch, Timestamp, &'t TemperTest)>);

impl<'t> Tests<'t> {
    fn of(batches: &'t [Batch], events: &'t [Event], seen_to: Timestamp) -> Tests<'t> {
        let mut tests = Vec::new();
        for event in events {
            let EventKind::TemperTest(test) = &event.kind else { continue };
            let holds = |batch: &&Batch| {
                batch.machine == event.machine
                    && batch.start <= event.at
                    && event.at < batch.end.unwrap_or(seen_to + model::Span::from_hours(1))
            };
            tests.extend(batches.iter().rfind(holds).map(|batch| (batch, event.at, test)));
        }
        tests.sort_by_key(|(_, at, _)| *at);
        Tests(tests)
    }

    /// Of one batch, in the order of time.
    fn in_batch<'s>(
        &'s self,
        batch: &'s Batch,
    ) -> impl DoubleEndedIterator<Item = (Timestamp, &'t TemperTest)> + 's {
        self.0.iter().filter(|(of, ..)| of.id == batch.id).map(|(_, at, test)| (*at, *test))
    }

    /// Did the first one pass? `None` without one.
    fn passed_first(&self, batch: &Batch) -> Option<bool> {
        self.in_batch(batch).next().map(|(_, test)| passes(test.worst()))
    }

    fn outcome(&self, batch: &Batch) -> Outcome {
        let failed = self.in_batch(batch).find(|(_, test)| !passes(test.worst()));
        match (self.in_batch(batch).next_back(), failed) {
            (None, _) => Outcome::Untested,
            (Some((at, last)), _) if !passes(last.worst()) => Outcome::Failed { at },
            (Some(_), Some((failed_at, _))) => Outcome::Recovered { failed_at },
            (Some(_), None) => Outcome::Passed,
        }
    }
}

#[cfg(test)]
mod tests;
