//! The live watch: takes blocks in the order of the journal, runs the engine, keeps the board fresh and writes down what changes.
//!
//! Owns the engine and the writing side of the records; everybody else gets a snapshot. Records are committed together with the
//! block up to which they speak, so that a crash in between only means working through a few blocks again.

mod saving;

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::{Duration, Instant};

use engine::{Changes, Engine, Figures};
use intake::{Block, Clock};
use journal::{BlockSeq, JournalReader};
use model::{Arrival, Batch, Board, Content, Event, Finding, MachineId, Timestamp};
use plant::Plant;
use records::{Due, Records, Update};
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;
use tracing::{info, warn};

use crate::ServiceError;
use crate::progress::Progress;
use crate::rework::Reworker;

use self::saving::Saving;

/// The board is redrawn so often; a person does not see more.
const BOARD_EVERY: Duration = Duration::from_millis(500);
/// Sooner where a finding was raised, grew worse or ended: somebody may have to go now. Not at once, so that a flood of them costs no more
/// than ten looks a second.
const BOARD_WITH_NEWS_EVERY: Duration = Duration::from_millis(100);
/// Changes are written down so often; pages may be so much behind.
const COMMIT_EVERY: Duration = Duration::from_secs(2);
/// Findings are written down sooner: programs ask for the list of them.
const COMMIT_FINDINGS_EVERY: Duration = Duration::from_millis(500);
/// What people entered is written down sooner: they look at the next page for it.
const COMMIT_ENTRIES_EVERY: Duration = Duration::from_millis(100);
/// The whole state is saved so often; a restart works through what came since.
const SAVE_EVERY: Duration = Duration::from_secs(30);
/// Told to stop, it works on for so long; what is waiting then is in the journal, and the next start works through it.
const LEAVES_THE_REST_AFTER: Duration = Duration::from_secs(1);
/// Blocks read at once when a restart catches up.
const CATCH_UP: usize = 64;

/// The engine and what it has not written down yet.
pub(crate) struct Watch {
    plant: Arc<Plant>,
    engine: Engine,
    records: Arc<Records>,
    seen: BlockSeq,
    ended: Vec<Batch>,
    findings: Vec<Finding>,
    events: Vec<Event>,
    late: BTreeSet<(MachineId, Timestamp)>,
    /// What people told bears on the standing of batches of these machines that were not over by then.
    told: BTreeSet<(MachineId, Timestamp)>,
    saving: Saving,
    figures: Figures,
    /// A finding has changed since the board was drawn.
    has_news: bool,
    saved: watch::Sender<BlockSeq>,
    progress: Arc<Progress>,
}

/// What a commit writes besides what has changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Extent {
    /// Figures of batches that go on, as far as they have been worked out anew.
    Changes,
    /// And what a restart needs.
    State,
    /// And every batch that goes on.
    Everything,
}

impl Watch {
    /// Takes up the saved state and works through the blocks behind it.
    pub(crate) fn resume(
        plant: Arc<Plant>,
        records: Arc<Records>,
        journal: &JournalReader,
        saved: watch::Sender<BlockSeq>,
        progress: Arc<Progress>,
    ) -> Result<Watch, ServiceError> {
        let (seen, engine, saving) = saving::take_up(&plant, &records)?;
        let mut resumed = Watch {
            plant,
            engine,
            records,
            seen,
            ended: Vec::new(),
            findings: Vec::new(),
            events: Vec::new(),
            late: BTreeSet::new(),
            told: BTreeSet::new(),
            saving,
            figures: Figures::default(),
            has_news: false,
            saved,
            progress,
        };
        resumed.progress.note_seen(seen.get(), None);
        resumed.take_orders()?;
        resumed.saved.send_replace(seen);
        loop {
            let blocks = journal.blocks_after(resumed.seen, CATCH_UP)?;
            for unreadable in &blocks.unreadable {
                warn!(seq = unreadable.seq.get(), reason = %unreadable.reason, "a block of the journal cannot be read");
                resumed.seen = resumed.seen.max(unreadable.seq);
            }
            if blocks.blocks.is_empty() && blocks.unreadable.is_empty() {
                break;
            }
            for block in blocks.blocks {
                resumed.take(block.seq, &block.arrivals);
            }
        }
        info!(up_to = resumed.seen.get(), "the watch has caught up with the journal");
        Ok(resumed)
    }

    /// The works as it stands.
    pub(crate) fn board(&self) -> Board {
        self.engine.board()
    }

    /// The newest arrival that it has seen.
    pub(crate) fn last_arrival(&self) -> Option<Timestamp> {
        self.engine.clock()
    }

    fn take(&mut self, seq: BlockSeq, arrivals: &[Arrival]) {
        for arrival in arrivals {
            self.engine.apply(arrival);
            if let Content::Event(event) = &arrival.content {
                self.events.push(event.clone());
            }
        }
        self.seen = self.seen.max(seq);
        self.progress.note_seen(self.seen.get(), arrivals.last().map(|arrival| arrival.arrived));
        self.note_changes();
    }

    fn note_changes(&mut self) {
        let Changes { ended, findings, late, told } = self.engine.take_changes();
        self.ended.extend(ended);
        self.has_news |= !findings.is_empty();
        self.findings.extend(findings);
        self.late.extend(late);
        self.told.extend(told);
    }

    /// What people ordered about baselines since the last order that the engine knows. The engine obeys in the order of time.
    fn take_orders(&mut self) -> Result<(), ServiceError> {
        for order in self.records.baseline_orders(self.engine.newest_order())? {
            self.engine.order(order);
        }
        Ok(())
    }

    /// Writes down what has changed, and what `extent` says.
    fn commit(&mut self, extent: Extent) -> Result<(), ServiceError> {
        let mut batches = match extent {
            Extent::Everything => self.engine.open_batches(),
            Extent::Changes | Extent::State => self.figures.fresh().cloned().collect(),
        };
        // After those that go on: some may have ended since their figures were worked out.
        batches.extend(self.ended.iter().cloned());
        let saves = extent != Extent::Changes;
        let state = saves.then(|| self.saving.state(&self.engine, self.seen)).transpose()?;
        let update = Update { batches, findings: self.findings.clone(), events: self.events.clone(), state };
        self.records.commit(&update)?;
        self.figures.written();
        self.ended.clear();
        self.findings.clear();
        self.events.clear();
        if saves {
            self.saving.is_done(&self.engine);
            self.saved.send_replace(self.seen);
        }
        Ok(())
    }

    /// The blocks up to and with this one are no business of the watch: their readings are older than what it says.
    pub(crate) fn pass_over(&mut self, up_to: BlockSeq) {
        self.seen = self.seen.max(up_to);
    }

    /// Writes everything down, the state too.
    pub(crate) fn save(&mut self) -> Result<(), ServiceError> {
        self.commit(Extent::Everything)
    }

    fn draw(&mut self, board: &watch::Sender<Arc<Board>>) {
        self.has_news = false;
        board.send_replace(Arc::new(self.engine.look(&mut self.figures)));
    }

    /// Commits, and says so if the disk will not have it; what is to be written is kept for the next time.
    fn try_commit(&mut self, extent: Extent) {
        if let Err(error) = self.commit(extent) {
            warn!(error = &error as &dyn std::error::Error, "cannot write the records; trying again");
        }
    }

    /// Blocks the calling thread until `blocks` is closed and worked through, then saves everything.
    pub(crate) fn run(
        mut self,
        mut blocks: mpsc::Receiver<Block>,
        board: &watch::Sender<Arc<Board>>,
        clock: &Clock,
        reworker: &Reworker,
        runtime: &tokio::runtime::Handle,
        stop: &CancellationToken,
    ) -> Result<(), ServiceError> {
        let mut told_to_stop = None;
        let (mut drawn, mut committed, mut saved) = (Instant::now(), Instant::now(), Instant::now());
        self.draw(board);
        loop {
            let next =
                runtime.block_on(async { tokio::time::timeout(self.board_every(), blocks.recv()).await });
            match next {
                Ok(None) => break,
                Ok(Some(block)) => self.take(block.seq, &block.arrivals),
                Err(_) => {}
            }
            if stop.is_cancelled()
                && LEAVES_THE_REST_AFTER <= told_to_stop.get_or_insert_with(Instant::now).elapsed()
            {
                info!(waiting = blocks.len(), "the next start works through what is still waiting");
                break;
            }
            if drawn.elapsed() >= self.board_every() {
                drawn = Instant::now();
                if let Err(error) = self.take_orders() {
                    warn!(
                        error = &error as &dyn std::error::Error,
                        "cannot read what was ordered; trying again"
                    );
                }
                // Whatever is still queued came before now, and must be heard before silence is told.
                if blocks.is_empty() {
                    self.engine.advance_clock(clock());
                    self.note_changes();
                }
                self.draw(board);
            }
            if committed.elapsed() >= self.commit_every() {
                if !self.events.is_empty() {
                    self.draw(board);
                }
                let whole = saved.elapsed() >= SAVE_EVERY;
                self.try_commit(if whole { Extent::State } else { Extent::Changes });
                self.judge_ended(reworker);
                self.work_in_corrections(reworker, whole);
                committed = Instant::now();
                if whole {
                    saved = Instant::now();
                    self.hand_over_late(reworker);
                }
            }
        }
        self.commit(Extent::Everything)
    }

    fn board_every(&self) -> Duration {
        if self.has_news { BOARD_WITH_NEWS_EVERY } else { BOARD_EVERY }
    }

    fn commit_every(&self) -> Duration {
        match (self.events.is_empty(), self.findings.is_empty()) {
            (false, _) => COMMIT_ENTRIES_EVERY,
            (true, false) => COMMIT_FINDINGS_EVERY,
            (true, true) => COMMIT_EVERY,
        }
    }

    /// What people said of phases; with `changed`, batches too that have changed since.
    fn work_in_corrections(&self, reworker: &Reworker, changed: bool) {
        let due = if changed { Due::NewWordOrNewBatch } else { Due::NewWord };
        let now = self.engine.clock().unwrap_or_default();
        if let Err(error) = reworker.correct_due(&self.plant, due, now) {
            warn!(error = &error as &dyn std::error::Error, "cannot work corrections in; trying again");
        }
    }

    /// What was told of a batch that has ended counts at once.
    fn judge_ended(&mut self, reworker: &Reworker) {
        let all_written = self.events.is_empty() && self.ended.is_empty();
        if !all_written {
            return;
        }
        for (machine, from) in std::mem::take(&mut self.told) {
            if let Err(error) = reworker.judge(&machine, from) {
                warn!(%machine, error = &error as &dyn std::error::Error, "cannot judge what has ended");
            }
        }
    }

    /// Readings that came too late for the watch are worked in from the store, once the batch that they touch has ended.
    fn hand_over_late(&mut self, reworker: &Reworker) {
        let goes_on = |machine: &MachineId, from: Timestamp| {
            self.engine.open_since(machine).is_some_and(|since| since <= from)
        };
        let (later, now): (BTreeSet<_>, BTreeSet<_>) =
            std::mem::take(&mut self.late).into_iter().partition(|(machine, from)| goes_on(machine, *from));
        self.late = later;
        for (machine, from) in now {
            if let Err(error) = reworker.rework(&self.plant, &machine, from) {
                warn!(%machine, error = &error as &dyn std::error::Error, "cannot work late readings in");
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use model::{
        Batch, Channel, Event, EventKind, FindingKind, Grade, Phase, PhaseCorrection, Reading, Span,
        Standing, TemperTest,
    };
    use records::BatchQuery;

    use super::*;
    use crate::DataFolder;

    const PLANT: &str = "[plant]\nname = \"Tern Street works\"\ntime_zone = \"Europe/Lisbon\"\n\
         [mqtt]\nurl = \"embedded\"\n[[couverture]]\nid = \"dark-64\"\nfamily = \"dark\"\n\
         [[machine]]\nid = \"alder\"\nstyle = \"kettle\"\ncouverture = \"dark-64\"\nmethod = \"seed\"\n";

    fn at(second: i64) -> Timestamp {
        Timestamp::from_millis(1_772_427_600_000 + second * 1_000)
    }

    fn chocolate(second: i64, value: Option<f64>) -> Arrival {
        let at = at(second);
        let reading = Reading { machine: "alder".parse().unwrap(), channel: Channel::Chocolate, at, value };
        Arrival { arrived: at, retained: false, content: Content::Reading(reading) }
    }

    fn told(second: i64, kind: EventKind) -> Arrival {
        let event =
            Event { machine: "alder".parse().unwrap(), at: at(second), by: None, kind, raw: "{}".to_owned() };
        Arrival { arrived: at(second), retained: false, content: Content::Event(event) }
    }

    /// Melted, cooled, worked with for an hour and used up.
    fn used_up() -> Vec<Arrival> {
        let celsius = |minute: f64| match minute {
            m if m < 14.0 => 39.0 + 0.5 * m,
            m => (46.0 - 0.5 * (m - 40.0).max(0.0)).max(31.5),
        };
        let mut day: Vec<Arrival> =
            (0..140 * 6).map(|i| chocolate(10 * i, Some(celsius(i as f64 / 6.0)))).collect();
        day.push(told(140 * 60, EventKind::End));
        day.extend((140 * 6..142 * 6).map(|i| chocolate(10 * i, Some(31.5))));
        day
    }

    #[test]
    fn a_test_that_is_judged_after_the_end_counts_for_the_batch_that_has_ended() {
        let folder = tempfile::tempdir().unwrap();
        let data = DataFolder::new(folder.path().join("data"));
        let (_journal, _) = data.open_journal().unwrap();
        let (records, reader) = (Arc::new(data.open_records().unwrap()), data.open_journal_reader().unwrap());
        let reworker = Reworker { records: records.clone(), store: Arc::new(data.open_store().unwrap()) };
        let plant = Arc::new(plant::parse_plant(PLANT).unwrap());
        let saved = watch::channel(BlockSeq::new(0)).0;
        let mut watch = Watch::resume(plant, records.clone(), &reader, saved, Arc::default()).unwrap();
        let standing = |watch: &mut Watch| {
            watch.commit(Extent::Changes).unwrap();
            watch.judge_ended(&reworker);
            let batches = records.batches(&BatchQuery::default()).unwrap();
            batches.iter().map(|batch| (batch.end, batch.standing)).collect::<Vec<_>>()
        };
        watch.take(BlockSeq::new(1), &used_up());
        let end = Some(at(140 * 60));
        assert_eq!(standing(&mut watch), [(end, Standing::Unproven)]);
        let own = records.batches(&BatchQuery::default()).unwrap().remove(0);
        let (from, to) = (own.start, Some(own.start + Span::from_mins(5)));
        let said = PhaseCorrection {
            batch: own.id.clone(),
            phase: Phase::Idle,
            from,
            to,
            by: "ana".to_owned(),
            at: at(141 * 60),
            reason: "it stood".to_owned(),
        };
        let corrected = Batch { phases: engine::corrected_phases(&own, &[said]), ..own.clone() };
        records.keep_corrected(&own, &corrected, 1).unwrap();
        let grade = Grade::Poor;
        let poor = TemperTest { gloss: grade, contraction: grade, snap: grade, minutes: None };
        let later = [told(145 * 60, EventKind::TemperTest(poor)), chocolate(146 * 60, Some(31.5))];
        watch.take(BlockSeq::new(2), &later);
        let _as_corrected = standing(&mut watch);
        let judged = records.own_batch(&own.id).unwrap().unwrap();
        assert_eq!((judged.end, judged.standing), (end, Standing::OffTemper));
        assert_eq!(
            judged.phases, own.phases,
            "what people say of its phases is kept beside the program's own"
        );
    }

    /// Somebody may have to go: neither the board nor the list of findings waits for its usual turn.
    #[test]
    fn a_finding_is_drawn_and_written_down_sooner() {
        let folder = tempfile::tempdir().unwrap();
        let data = DataFolder::new(folder.path().join("data"));
        let (_journal, _) = data.open_journal().unwrap();
        let (records, reader) = (data.open_records().unwrap(), data.open_journal_reader().unwrap());
        let plant = Arc::new(plant::parse_plant(PLANT).unwrap());
        let saved = watch::channel(BlockSeq::new(0)).0;
        let mut watch = Watch::resume(plant, Arc::new(records), &reader, saved, Arc::default()).unwrap();
        let usual: Vec<Arrival> = (0..60).map(|second| chocolate(second, Some(31.4))).collect();
        watch.take(BlockSeq::new(1), &usual);
        assert_eq!((watch.board_every(), watch.commit_every()), (BOARD_EVERY, COMMIT_EVERY));
        let broken: Vec<Arrival> = (60..90).map(|second| chocolate(second, None)).collect();
        watch.take(BlockSeq::new(2), &broken);
        assert_eq!(
            (watch.board_every(), watch.commit_every()),
            (BOARD_WITH_NEWS_EVERY, COMMIT_FINDINGS_EVERY)
        );
        let (board, seen) = watch::channel(Arc::new(watch.board()));
        watch.draw(&board);
        assert_eq!(seen.borrow().lanes[0].open[0].kind, FindingKind::ProbeFault);
        watch.commit(Extent::Changes).unwrap();
        assert_eq!((watch.board_every(), watch.commit_every()), (BOARD_EVERY, COMMIT_EVERY));
    }
}
