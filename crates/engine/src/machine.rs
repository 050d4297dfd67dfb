//! The watch over one machine: arrivals in, phases, batches and findings out.
//!
//! The way of a reading: sorter (own times, lateness) → probe findings → spike filter → ticks → phases → process findings.
//! Reads no clock: `now` is what the readings say, and for silence what arrivals say.

mod arriving;
mod closing;
mod late;
mod looking;
mod standing;
mod stretch;
mod turned_back;

use self::late::Late;
pub(crate) use self::standing::Seen;
pub(crate) use self::stretch::Found;

use frames::Tick;
use model::{Batch, Channel, Event, EventKind, FindingKind, Phase, Span, Timestamp};
use plant::{Limits, Machine, Plant};
use serde::{Deserialize, Serialize};

use crate::baseline::Baselines;
use crate::book::{Book, Source};
use crate::findings::around::AroundFindings;
use crate::findings::clock_off::ClockOff;
use crate::findings::ledger::Ledger;
use crate::findings::over_batches::OverBatches;
use crate::findings::probe_fault::ProbeFault;
use crate::findings::scorch::Heat;
use crate::findings::silent::Silent;
use crate::findings::spikes::{Passing, Spikes};
use crate::findings::{ProcessFindings, Tests, Told};
use crate::history::History;
use crate::lane::Newest;
use crate::phases::{Pace, Tracker, View};
use crate::regular::Regular;
use crate::rise::HeldRise;
use crate::sieve::{Passed, Sieve};
use crate::sorter::{Sorted, Sorter};
use crate::standing::{Proof, is_passed};

/// Before a batch began its rise was looked for so far back.
const LOOKED_BACK: Span = Span::from_hours(24);

/// One machine under watch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct MachineWatch {
    sorter: Sorter,
    sieve: Sieve,
    history: History,
    pace: Pace,
    tracker: Tracker,
    pub(crate) book: Book,
    rise: HeldRise,
    process: ProcessFindings,
    around: AroundFindings,
    probe_fault: ProbeFault,
    spikes: Spikes,
    silent: Silent,
    clock_off: ClockOff,
    pub(crate) ledger: Ledger,
    pub(crate) baselines: Baselines,
    over_batches: OverBatches,
    ended: Vec<Batch>,
    newest: Newest,
    setpoint: Option<f64>,
    setpoint_told: Regular,
    events_seen: bool,
    disturbed_at: Option<Timestamp>,
    last_chocolate: Option<Timestamp>,
    late: Late,
}

/// What a machine is watched with.
pub(crate) struct Setting<'a> {
    pub(crate) plant: &'a Plant,
    pub(crate) machine: &'a Machine,
}

impl MachineWatch {
    pub(crate) fn new(setting: &Setting<'_>) -> MachineWatch {
        let machine = setting.machine;
        MachineWatch {
            sorter: Sorter::new(setting.plant.lateness),
            sieve: Sieve::new(machine.style),
            history: History::default(),
            pace: Pace::default(),
            tracker: Tracker::default(),
            book: Book::new(machine),
            ended: Vec::new(),
            rise: HeldRise::default(),
            process: ProcessFindings::default(),
            around: AroundFindings::default(),
            probe_fault: ProbeFault::default(),
            spikes: Spikes::default(),
            silent: Silent::default(),
            clock_off: ClockOff::default(),
            ledger: Ledger::new(machine.id.clone()),
            baselines: Baselines::default(),
            over_batches: OverBatches::default(),
            newest: Newest::default(),
            setpoint: None,
            setpoint_told: Regular::default(),
            events_seen: false,
            disturbed_at: None,
            last_chocolate: None,
            late: Late::default(),
        }
    }

    pub(crate) fn history(&self) -> &History {
        &self.history
    }

    pub(crate) fn history_mut(&mut self) -> &mut History {
        &mut self.history
    }

    fn take_due(&mut self, setting: &Setting<'_>) {
        while let Some((at, sorted)) = self.sorter.next_due() {
            self.take(setting, at, sorted);
        }
    }

    /// Arrival time has moved on. A machine that has gone silent will send nothing that changes the order of what waits: what people
    /// report of it meanwhile goes through, too.
    pub(crate) fn advance_clock(&mut self, setting: &Setting<'_>, clock: Timestamp) {
        self.look_at_clock(clock);
        if self.silent.nothing_comes(clock) {
            while let Some((at, sorted)) = self.sorter.pop_measured(clock) {
                self.take(setting, at, sorted);
            }
            let verdict = self.silent.step(clock, self.phase_watched());
            self.enter(FindingKind::Silent, verdict);
        }
    }

    /// From when on nothing is expected to come, if nothing has; `None` while it has not begun.
    pub(crate) fn silent_from(&self) -> Option<Timestamp> {
        self.silent.overdue_from()
    }

    /// When it will be silent if nothing of it comes before; `None` if that has been told, or is no matter until something
    /// comes.
    pub(crate) fn silent_at(&self, clock: Timestamp) -> Option<Timestamp> {
        self.silent.due_at().filter(|due| clock < *due)
    }

    /// What arrived before `clock` is whole: what do its times say of the sender's clock?
    pub(crate) fn look_at_clock(&mut self, clock: Timestamp) {
        let verdict = self.clock_off.step(clock);
        self.enter(FindingKind::ClockOff, verdict);
    }

    /// Lets everything through that waits.
    fn drain(&mut self, setting: &Setting<'_>) {
        while let Some((at, sorted)) = self.sorter.pop() {
            self.take(setting, at, sorted);
        }
    }

    /// The stream is over: everything that waits goes through, the last tick too.
    pub(crate) fn finish(&mut self, setting: &Setting<'_>) {
        self.look_at_clock(Timestamp::from_millis(i64::MAX));
        self.drain(setting);
        let (passed, last) = self.sieve.finish();
        self.pass_on(setting, passed);
        if let Some(tick) = last {
            self.tick(setting, tick);
        }
    }

    fn take(&mut self, setting: &Setting<'_>, at: Timestamp, sorted: Sorted) {
        match sorted {
            Sorted::Reading(Channel::Chocolate, value) => self.take_chocolate(setting, at, value),
            Sorted::Reading(channel, Some(value)) => self.let_on(setting, (at, channel, value)),
            Sorted::Reading(_, None) => {}
            Sorted::Event(event) => self.take_event(setting, &event),
        }
    }

    /// Instrument findings first: what they doubt goes no further.
    fn take_chocolate(&mut self, setting: &Setting<'_>, at: Timestamp, value: Option<f64>) {
        let verdict = self.probe_fault.step(at, value);
        self.enter(FindingKind::ProbeFault, verdict);
        let looked = self.sieve.look(at, value, &self.history, self.silent.unchanged_limit());
        let Some((verdict, value)) = looked else { return };
        self.enter(FindingKind::ProbeStuck, verdict);
        let verdict = self.spikes.step(at);
        self.enter(FindingKind::Spikes, verdict);
        match value {
            Some(value) => self.let_on(setting, (at, Channel::Chocolate, value)),
            // What a person reads off a clock needs no temperature.
            None => self.pass_time(at),
        }
    }

    fn let_on(&mut self, setting: &Setting<'_>, reading: Passing) {
        if reading.1 == Channel::Chocolate {
            self.pace.note_reading(reading.0, reading.2);
        }
        let passed = self.sieve.let_on(reading, self.silent.limit());
        if let Some(jumped) = passed.jumped {
            let verdict = self.spikes.jumped(jumped, reading.0);
            self.enter(FindingKind::Spikes, verdict);
        }
        self.pass_on(setting, passed);
        if reading.1 == Channel::Setpoint {
            self.setpoint_told.note(reading.0.floor(self.sieve.step()));
        }
    }

    fn pass_on(&mut self, setting: &Setting<'_>, passed: Passed) {
        for ((at, channel, value), closed) in passed.readings {
            if let Some(tick) = closed {
                self.tick(setting, tick);
            }
            if channel == Channel::Chocolate && !self.process.ignores(value) {
                let heat = Heat {
                    limit: self.limits(setting).scorch,
                    longest_gap: self.longest_gap(),
                    phase: self.phase_watched(),
                };
                let verdict = self.process.note_reading(at, value, heat);
                self.enter(FindingKind::Scorch, verdict);
            }
        }
    }

    fn take_event(&mut self, setting: &Setting<'_>, event: &Event) {
        self.let_pass(event.at);
        self.told_of_ended(event);
        self.book.event(event, self.tracker.phase());
        match &event.kind {
            EventKind::Note { .. } => {}
            EventKind::Reference { temperature } => self.compare(*temperature, event.at),
            EventKind::TopUp { .. } => {
                self.events_seen = true;
                self.disturbed_at = self.disturbed_at.max(Some(event.at));
            }
            EventKind::Charge { .. } => {
                self.events_seen = true;
                self.tracker.charged(event.at, &self.book.timeline);
            }
            EventKind::TemperTest(test) => {
                self.events_seen = true;
                self.ledger.was_over_at(FindingKind::TestDue, event.at);
                if is_passed(test) {
                    self.ledger.was_over_at(FindingKind::LongHold, event.at);
                }
            }
            EventKind::Seed { .. } | EventKind::End => self.events_seen = true,
        }
        if event.kind == EventKind::End && self.book.is_open_before(event.at) {
            let turn = self.tracker.end(event.at, &mut self.book.timeline);
            self.turn(setting, turn, &self.limits(setting));
        }
    }

    fn tick(&mut self, setting: &Setting<'_>, tick: Tick) {
        let setpoint = tick.other(Channel::Setpoint);
        if setpoint.is_some() && setpoint != self.setpoint {
            if self.setpoint.is_some() {
                self.disturbed_at = self.disturbed_at.max(Some(tick.at));
            }
            self.setpoint = setpoint;
        }
        self.history.push(tick);
        if tick.chocolate().is_some() {
            self.follow(setting, &tick);
        }
        self.look_around(&tick);
    }

    /// Time has passed up to `now`, as far as readings say what is going on.
    fn let_pass(&mut self, now: Timestamp) {
        if let Some(last) = self.last_chocolate {
            self.pass_time(now.min(last + self.longest_gap()));
        }
    }

    /// Newest temper tests of the batch.
    fn tests(&self) -> Tests {
        self.book.proof().map(Proof::tests).unwrap_or_default()
    }

    fn pass_time(&mut self, now: Timestamp) {
        if self.tracker.phase() == Some(Phase::Idle) {
            return;
        }
        let mut told = Told::default();
        self.process.let_pass(now, self.tests(), &mut told);
        self.enter_all(told);
    }

    /// Takes a tick with chocolate: phases, then process detectors.
    fn follow(&mut self, setting: &Setting<'_>, tick: &Tick) {
        let Some(chocolate) = tick.chocolate() else { return };
        self.let_pass(tick.at);
        self.last_chocolate = Some(tick.at);
        let gap = self.pace.step(tick.at);
        if self.pace.is_surely_on_change() {
            self.silent.note_on_change(tick.at);
        }
        let level = self.history.level(tick.at).unwrap_or(chocolate);
        let limits = self.limits(setting);
        let next_limits = self.next_limits(setting, &limits);
        let view = View {
            now: tick.at,
            chocolate,
            level,
            setpoint: self.setpoint,
            setpoint_told: &self.setpoint_told,
            history: &self.history,
            limits: &limits,
            next_limits: &next_limits,
            method: self.book.next_facts().method,
            gap,
            pace: &self.pace,
        };
        let turn = self.tracker.step(&view, &mut self.book.timeline);
        self.turn(setting, turn, &limits);
        self.look(setting, tick, level, &limits, gap);
        self.ledger.has_turned();
    }

    /// How far apart two readings may be before something is missing between them.
    fn longest_gap(&self) -> Span {
        self.pace.longest_gap()
    }

    /// Is there anything to be taken, of batches that have ended or of what came late?
    pub(crate) fn is_stirred(&self) -> bool {
        !self.ended.is_empty() || self.late.is_any()
    }

    /// Batches that have ended since the last call.
    pub(crate) fn take_ended(&mut self) -> Vec<Batch> {
        std::mem::take(&mut self.ended)
    }

    /// The batch in the machine, with its figures so far.
    pub(crate) fn open_batch(&self, setting: &Setting<'_>) -> Option<Batch> {
        self.book.open_batch(&self.source(&self.limits(setting)))
    }

    /// The same without figures: what it is, and its phases as they were written down.
    pub(crate) fn outline(&self) -> Option<Batch> {
        self.book.outline()
    }

    fn limits(&self, setting: &Setting<'_>) -> Limits {
        setting.plant.limits(setting.machine, &self.book.facts().couverture)
    }

    /// Of the charge that the next rise will melt; it is the one in the machine until another is reported.
    fn next_limits(&self, setting: &Setting<'_>, limits: &Limits) -> Limits {
        let next = &self.book.next_facts().couverture;
        if *next == self.book.facts().couverture {
            *limits
        } else {
            setting.plant.limits(setting.machine, next)
        }
    }

    fn source<'a>(&'a self, limits: &'a Limits) -> Source<'a> {
        Source { history: &self.history, limits, longest_gap: self.longest_gap(), now: self.known_to() }
    }

    /// How far the chocolate is known.
    fn known_to(&self) -> Timestamp {
        self.last_chocolate.map_or_else(Timestamp::default, |last| last + self.sieve.step())
    }
}
