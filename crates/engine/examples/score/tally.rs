//! Counts, case by case and over all of them.

use std::collections::BTreeMap;

use model::{Batch, Confidence, FindingKind, Phase, PhaseSpan};
use simulator::scoring::Scenario;
use simulator::{Condition, Excuse, Instruments, TrueBatch};

use crate::early::Early;
use crate::play::{Played, Watched};
use crate::rank::{Mistake, weight};
use crate::{batches, judge, measures, phases};

/// What there is to say about one kind of finding.
#[derive(Debug, Default)]
pub(crate) struct OfKind {
    pub(crate) sure: usize,
    pub(crate) found: usize,
    pub(crate) in_time: usize,
    pub(crate) delays_s: Vec<f64>,
    pub(crate) borderline: usize,
    pub(crate) false_ordinary: usize,
    pub(crate) false_faulty: usize,
}

/// Everything that is counted.
#[derive(Debug, Default)]
pub(crate) struct Tally {
    pub(crate) cases: usize,
    pub(crate) ordinary_days: f64,
    pub(crate) faulty_days: f64,
    pub(crate) kinds: BTreeMap<FindingKind, OfKind>,
    /// Looks by what was true and what was said.
    pub(crate) phases: BTreeMap<(Phase, Phase), usize>,
    /// Looks by confidence: all, and those that were right.
    pub(crate) confidence: BTreeMap<Confidence, (usize, usize)>,
    pub(crate) batches_true: usize,
    pub(crate) batches_missed: usize,
    pub(crate) batches_extra: usize,
    /// Minutes by which they are off, signed.
    pub(crate) starts_min: Vec<f64>,
    /// Of those, at probes that are quick, fine and often read.
    pub(crate) fine_starts_min: Vec<f64>,
    pub(crate) ends_min: Vec<f64>,
    /// Minutes by which the first span of a phase begins too late, by phase and by whether the instruments are fine.
    pub(crate) changes_min: BTreeMap<(Phase, bool), Vec<f64>>,
    pub(crate) measures: BTreeMap<&'static str, Vec<f64>>,
    /// Conditions that nobody is asked for, by reason and kind.
    pub(crate) excused: BTreeMap<Excuse, BTreeMap<FindingKind, usize>>,
    pub(crate) early: Early,
    pub(crate) mistakes: Vec<Mistake>,
    pub(crate) readings: usize,
    pub(crate) engine_s: f64,
}

impl Tally {
    pub(crate) fn days(&self) -> f64 {
        self.ordinary_days + self.faulty_days
    }

    /// The counts of one case.
    pub(crate) fn of(played: &Played) -> Tally {
        let mut tally = Tally {
            cases: 1,
            readings: played.analysis.readings,
            engine_s: played.seconds,
            ..Tally::default()
        };
        let days = played.days() * played.machines.len() as f64;
        match played.case.scenario {
            Scenario::Ordinary => tally.ordinary_days += days,
            Scenario::Fault(_) | Scenario::Two | Scenario::Common => tally.faulty_days += days,
        }
        for watched in &played.machines {
            tally.count_findings(played, watched);
            tally.count_phases(played, watched);
            tally.count_batches(played, watched);
        }
        tally.count_plant(played);
        tally
    }

    fn mistake(&mut self, played: &Played, badness: f64, says: String) {
        self.mistakes.push(Mistake::new(&played.case, badness, says));
    }

    fn count_findings(&mut self, played: &Played, watched: &Watched) {
        let truth = played.truth_of(&watched.id);
        let found = &played.found(&watched.id).findings;
        let judged = judge::judge(truth, played.heard_from(), &watched.conditions, found);
        self.count_excused(&watched.conditions);
        self.early.count(&watched.conditions, found, judge::before(truth));
        self.take(played, watched.id.as_str(), &judged);
    }

    fn count_excused(&mut self, conditions: &[Condition]) {
        for (condition, why) in conditions.iter().filter_map(|c| Some((c, c.excused()?))) {
            self.kinds.entry(condition.kind).or_default().borderline += 1;
            *self.excused.entry(why).or_default().entry(condition.kind).or_default() += 1;
        }
    }

    fn count_plant(&mut self, played: &Played) {
        self.count_excused(&played.plant_wide);
        let Some(first) = played.truth.machines.first() else { return };
        let found = &played.analysis.plant_findings;
        let judged = judge::judge(first, played.heard_from(), &played.plant_wide, found);
        self.take(played, "plant", &judged);
    }

    fn take(&mut self, played: &Played, who: &str, judged: &judge::Judgement<'_>) {
        for outcome in &judged.outcomes {
            let c = outcome.condition;
            let kind = self.kinds.entry(c.kind).or_default();
            kind.sure += 1;
            kind.found += usize::from(outcome.found.is_some());
            kind.in_time += usize::from(outcome.in_time);
            kind.delays_s.extend(outcome.delay_s);
            let (due, worst) = (c.due, c.worst);
            if outcome.found.is_none() {
                self.mistake(
                    played,
                    weight(c.kind),
                    format!("missed {} of {who}, due {due}, worst {worst:.2}", c.kind),
                );
            } else if !outcome.in_time {
                let late = outcome.delay_s.unwrap_or_default();
                let badness = (weight(c.kind) / 3.0) * (late / 300.0).clamp(0.3, 3.0);
                self.mistake(played, badness, format!("late {} of {who}, due {due}, {late:+.0} s", c.kind));
            }
        }
        let ordinary = played.case.scenario == Scenario::Ordinary;
        for finding in &judged.falses {
            let kind = self.kinds.entry(finding.kind).or_default();
            if ordinary {
                kind.false_ordinary += 1;
            } else {
                kind.false_faulty += 1;
            }
            let badness = weight(finding.kind) * if ordinary { 1.0 } else { 0.6 };
            self.mistake(
                played,
                badness,
                format!("false {} of {who}, raised {}", finding.kind, finding.raised_at),
            );
        }
    }

    fn count_phases(&mut self, played: &Played, watched: &Watched) {
        let looks = phases::looks(played, watched);
        let mut wrong: BTreeMap<(Phase, Phase), usize> = BTreeMap::new();
        for look in &looks {
            *self.phases.entry((look.truth, look.found)).or_default() += 1;
            let (all, right) = self.confidence.entry(look.confidence).or_default();
            *all += 1;
            *right += usize::from(look.truth == look.found);
            if look.truth != look.found {
                *wrong.entry((look.truth, look.found)).or_default() += 1;
            }
        }
        for ((truth, found), count) in wrong {
            let minutes = count as f64 * phases::STEP.as_mins_f64();
            let badness = minutes / 15.0;
            if badness > 1.0 {
                self.mistake(
                    played,
                    badness.min(40.0),
                    format!("{} called {found} for {minutes:.0} min, {}", truth, watched.id),
                );
            }
        }
    }

    fn count_batches(&mut self, played: &Played, watched: &Watched) {
        let truth = played.truth_of(&watched.id);
        let found = &played.found(&watched.id).batches;
        let pairs = batches::pairs(played, &truth.batches, found);
        for extra in batches::extra(&pairs, found) {
            self.batches_extra += 1;
            self.mistake(played, 12.0, format!("batch of {} out of nothing, {}", watched.id, extra.start));
        }
        for pair in &pairs {
            self.batches_true += 1;
            let Some(b) = pair.found else {
                self.batches_missed += 1;
                self.mistake(played, 12.0, format!("missed batch of {}, {}", watched.id, pair.truth.start));
                continue;
            };
            let mut off = |minutes: f64, what: &str, starts: bool| {
                if starts {
                    self.starts_min.push(minutes);
                    if fine(&truth.instruments) {
                        self.fine_starts_min.push(minutes);
                    }
                } else {
                    self.ends_min.push(minutes);
                }
                if minutes.abs() > 2.0 {
                    let says =
                        format!("batch of {} {what} {minutes:+.1} min, {}", watched.id, pair.truth.start);
                    self.mistake(played, minutes.abs().min(60.0) / 6.0, says);
                }
            };
            if !pair.start_unseen {
                off(b.start.since(pair.truth.start).as_mins_f64(), "starts", true);
            }
            if let (Some(t), Some(f)) = (pair.truth.end, b.end) {
                off(f.since(t).as_mins_f64(), "ends", false);
            }
            if !pair.start_unseen {
                self.count_changes(pair.truth, b, fine(&truth.instruments));
            }
            let troubled = watched.conditions.iter().any(|c| {
                instrument(c.kind)
                    && c.from >= pair.truth.start
                    && pair.truth.end.is_none_or(|end| c.from < end)
            });
            if !troubled
                && pair.truth.end.is_some()
                && !(pair.start_unseen && played.heard_from() > played.case.settings.start)
            {
                self.count_measures(played, watched, pair);
            }
        }
    }

    fn count_changes(&mut self, truth: &TrueBatch, found: &Batch, fine: bool) {
        for phase in Phase::ALL {
            let first = |phases: &[PhaseSpan]| phases.iter().find(|s| s.phase == phase).map(|s| s.from);
            if let (Some(t), Some(f)) = (first(&truth.phases), first(&found.phases)) {
                self.changes_min.entry((phase, fine)).or_default().push(f.since(t).as_mins_f64());
            }
        }
    }

    fn count_measures(&mut self, played: &Played, watched: &Watched, pair: &batches::Pair<'_>) {
        let Some(found) = pair.found else { return };
        for c in measures::compare(&measures::true_measures(pair.truth, watched), &found.measures) {
            self.measures.entry(c.name).or_default().push(c.error);
            if c.error > 0.05 {
                let said = c.found.map_or("nothing".to_owned(), |f| format!("{f:.2}"));
                let says = format!(
                    "{} of {} is {:.2}, said {said}, batch {}",
                    c.name, watched.id, c.truth, pair.truth.start
                );
                self.mistake(played, (c.error * 20.0).min(8.0), says);
            }
        }
    }

    pub(crate) fn add(&mut self, other: Tally) {
        self.early.add(other.early);
        self.cases += other.cases;
        self.ordinary_days += other.ordinary_days;
        self.faulty_days += other.faulty_days;
        for (kind, one) in other.kinds {
            let mine = self.kinds.entry(kind).or_default();
            mine.sure += one.sure;
            mine.found += one.found;
            mine.in_time += one.in_time;
            mine.delays_s.extend(one.delays_s);
            mine.borderline += one.borderline;
            mine.false_ordinary += one.false_ordinary;
            mine.false_faulty += one.false_faulty;
        }
        for (pair, count) in other.phases {
            *self.phases.entry(pair).or_default() += count;
        }
        for (level, (all, right)) in other.confidence {
            let mine = self.confidence.entry(level).or_default();
            *mine = (mine.0 + all, mine.1 + right);
        }
        self.batches_true += other.batches_true;
        self.batches_missed += other.batches_missed;
        self.batches_extra += other.batches_extra;
        self.starts_min.extend(other.starts_min);
        self.ends_min.extend(other.ends_min);
        self.fine_starts_min.extend(other.fine_starts_min);
        for (which, minutes) in other.changes_min {
            self.changes_min.entry(which).or_default().extend(minutes);
        }
        for (name, errors) in other.measures {
            self.measures.entry(name).or_default().extend(errors);
        }
        for (why, kinds) in other.excused {
            let mine = self.excused.entry(why).or_default();
            kinds.into_iter().for_each(|(kind, n)| *mine.entry(kind).or_default() += n);
        }
        self.mistakes.extend(other.mistakes);
        self.readings += other.readings;
        self.engine_s += other.engine_s;
    }
}

/// A probe that shows the start of a rise within two minutes at all.
fn fine(i: &Instruments) -> bool {
    i.lag_s <= 45.0 && i.resolution_c <= 0.1 && i.sample_s <= 30.0 && i.deadband_c.is_none()
}

/// Kinds that say that what was read was not what there was.
fn instrument(kind: FindingKind) -> bool {
    matches!(
        kind,
        FindingKind::ProbeStuck
            | FindingKind::ProbeFault
            | FindingKind::Spikes
            | FindingKind::Silent
            | FindingKind::ClockOff
    )
}
