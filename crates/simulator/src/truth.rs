//! The truth beside a stream: what really happened, for judging what a watch made of it.
//!
//! Knows the contract's definitions. Where a watch need not, or cannot, go by their letter, a condition is excused by name
//! ([`crate::Excuse`]); no definition is narrowed.

use model::{Channel, CouvertureId, MachineId, Measures, Method, Phase, PhaseSpan, Span, Timestamp};

use crate::conditions::{Condition, SETTLED_MIN, Scene, leave_to_the_heater};
use crate::deeds::Mark;
use crate::faults::Happened;
use crate::recorder::{Recorder, Told};
use crate::rig::Rig;
use crate::spec::{Instruments, Spec};
use crate::true_phases::{Course, Courses, courses};

/// A true batch.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueBatch {
    /// What was in the machine.
    pub couverture: CouvertureId,
    /// The lot that was charged last.
    pub lot: Option<String>,
    /// How it was tempered.
    pub method: Method,
    /// What the machine held at the beginning, kg, if it was charged in this history.
    pub mass_kg: Option<f64>,
    /// Start of the rise into the melt.
    pub start: Timestamp,
    /// `None` while it goes on.
    pub end: Option<Timestamp>,
    /// True phases, as defined at the head of the module that finds them.
    pub phases: Vec<PhaseSpan>,
    /// Measures of the noiseless temperature; `None` where the simulator does not work one out.
    pub measures: Measures,
    /// Stretches past the contract's limits.
    pub conditions: Vec<Condition>,
}

/// The truth of one machine.
#[derive(Debug, Clone, PartialEq)]
pub struct MachineTruth {
    /// Which machine.
    pub id: MachineId,
    /// Oldest first.
    pub batches: Vec<TrueBatch>,
    /// Causes that were switched on, oldest first.
    pub faults: Vec<Happened>,
    /// Turning points that people made, oldest first.
    pub marks: Vec<(Timestamp, Mark)>,
    /// What they told, oldest first.
    pub told: Vec<Told>,
    /// Every stretch past a limit, those of the batches and near misses included, oldest first.
    pub conditions: Vec<Condition>,
    /// What the machine measures with.
    pub instruments: Instruments,
}

impl MachineTruth {
    /// The phase at a moment; between batches, `idle`.
    pub fn phase_at(&self, at: Timestamp) -> Phase {
        let spans = self.batches.iter().rev().flat_map(|b| &b.phases);
        let here = spans.into_iter().find(|p| p.from <= at && p.to.is_none_or(|to| at < to));
        here.map_or(Phase::Idle, |p| p.phase)
    }
}

/// The truth of a whole works.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// The seed of chance.
    pub seed: u64,
    /// First moment.
    pub from: Timestamp,
    /// Last moment.
    pub to: Timestamp,
    /// In the order of the plant file.
    pub machines: Vec<MachineTruth>,
}

pub(crate) fn machine_truth(rig: &Rig) -> MachineTruth {
    let (record, spec) = (&rig.recorder, &rig.spec);
    let mut all = Vec::new();
    let offs = known_offs(record, spec);
    let courses = Courses::of(spec.instruments.told_to_c(), |rest| {
        courses(record, &spec.limits, spec.method, &offs, rest)
    });
    let faults = rig.faults.happened();
    let scene = Scene { record, spec, courses: &courses, faults: &faults };
    let batches: Vec<TrueBatch> = courses
        .letter
        .iter()
        .enumerate()
        .map(|(place, course)| {
            let (plain, near) = scene.temperatures(place);
            all.extend(plain.iter().cloned().chain(near));
            let charge = record.last_charge(course.phases.get(1).map_or(course.start, |p| p.from));
            TrueBatch {
                couverture: spec.couverture.clone(),
                lot: charge.map(|c| c.1.to_owned()),
                method: spec.method,
                mass_kg: charge.map(|c| c.0),
                measures: measures(&scene, course),
                conditions: plain,
                start: course.start,
                end: course.end,
                phases: course.phases.clone(),
            }
        })
        .collect();
    all.extend(scene.others(&all));
    leave_to_the_heater(&mut all);
    all.sort_by_key(|c| c.from);
    MachineTruth {
        id: spec.id.clone(),
        batches,
        faults,
        marks: record.marks.clone(),
        told: record.told.clone(),
        conditions: all,
        instruments: spec.instruments.clone(),
    }
}

/// When a charge was given up, as far as somebody could know: a set-point shows it, or people told it.
fn known_offs(record: &Recorder, spec: &Spec) -> Vec<Timestamp> {
    let told_at = |at: Timestamp| {
        let ends = record.told.iter().filter(|t| t.event == "end");
        let near = |t: &Timestamp| (*t - at).as_millis().abs() < Span::from_mins(60).as_millis();
        ends.map(|t| t.at.unwrap_or(t.sent)).find(near)
    };
    let offs = record.marks.iter().filter(|(_, mark)| *mark == Mark::Off).map(|(at, _)| *at);
    if spec.has(Channel::Setpoint) { offs.collect() } else { offs.filter_map(told_at).collect() }
}

fn measures(scene: &Scene<'_>, course: &Course) -> Measures {
    let (record, temper_loss) = (scene.record, scene.spec.limits.temper_loss);
    let span = |phase: Phase| course.phases.iter().find(|p| p.phase == phase).copied();
    let values = |phase: Phase| -> Vec<f64> {
        let spans = course.phases.iter().filter(|p| p.phase == phase);
        spans.flat_map(|p| kept(record, course.sure_to, p.from, p.to)).collect()
    };
    let working = values(Phase::Working);
    let down: Vec<f64> =
        [Phase::Cooling, Phase::Settling, Phase::Rewarming].into_iter().flat_map(values).collect();
    let above: f64 = [Phase::Settling, Phase::Working]
        .into_iter()
        .flat_map(values)
        .map(|c| (c - temper_loss).max(0.0) * crate::recorder::KEPT_EVERY_S as f64 / 60.0)
        .sum();
    let settled = span(Phase::Working).and_then(|p| {
        let at = |minutes: f64| p.from + Span::from_mins_f64(minutes);
        let enough = p.to.is_none_or(|to| to >= at(SETTLED_MIN.1));
        enough
            .then(|| mean(&kept(record, course.sure_to, at(SETTLED_MIN.0), Some(at(SETTLED_MIN.1)))))
            .flatten()
    });
    Measures {
        soak_max_c: values(Phase::Soak).into_iter().max_by(f64::total_cmp),
        cooling_minutes: span(Phase::Cooling).and_then(|p| Some(p.to?.since(p.from).as_mins_f64())),
        lowest_c: down.into_iter().min_by(f64::total_cmp),
        settled_c: settled,
        working_minutes: span(Phase::Working).and_then(|p| Some(p.to?.since(p.from).as_mins_f64())),
        working_mean_c: mean(&working),
        working_sd_c: deviation(&working),
        above_loss_c_min: span(Phase::Settling).map(|_| above),
        cooling_tau_min: scene.time_constant_min(course),
        cooling_tau_against: None,
        seed_dip_c: None,
        drift_c_per_h: None,
        unknown_minutes: None,
    }
}

fn kept(record: &Recorder, sure_to: usize, from: Timestamp, to: Option<Timestamp>) -> Vec<f64> {
    let last = to.map_or(sure_to, |to| record.place(to)).min(sure_to);
    let first = record.place(from).min(last);
    record.celsius[first..last].iter().map(|c| f64::from(*c)).filter(|c| c.is_finite()).collect()
}

fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

fn deviation(values: &[f64]) -> Option<f64> {
    let middle = mean(values)?;
    let squares: f64 = values.iter().map(|v| (v - middle).powi(2)).sum();
    (values.len() > 1).then(|| (squares / (values.len() - 1) as f64).sqrt())
}
