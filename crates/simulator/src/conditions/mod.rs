//! What was the matter, whatever caused it: the contract's definitions (section 6) laid over what was true.
//!
//! Definitions only, without deadband: from the first moment past a limit to the last, for stretches that last or weigh as
//! much as the contract asks, with the moment at which the definition was met. Temperatures are those of an instant, quiet
//! probe of the recorded one's calibration; the instruments' own trouble is read off the arrivals themselves
//! ([`crate::instrument_conditions`]).
//!
//! A definition met, or missed, by less than 15 % of its limit, or by less than the probe can tell, is
//! [`Weight::Borderline`]: nobody should be judged by it. So is what else has an [`Excuse`]; some of those go beyond the contract.
//! What counts from the beginning of `working`, and the limits of its temperatures, are weighed with the limits that make a hold moved likewise
//! ([`Courses::by`]); what has minutes of its own to spare (drift, hunting, thickening, the stirrer) goes by the letter.

mod around;
mod batches;
mod condition;
mod excuse;
mod hold;
mod people;
mod plant_wide;
mod readings;
mod temperature;

use std::ops::Range;

use model::{Channel, FindingKind, Phase, Span, Timestamp};

pub use condition::{Condition, Weight};
pub use excuse::Excuse;
pub use plant_wide::plant_conditions;
pub use readings::instrument_conditions;
use temperature::temperature;

use crate::faults::{FaultKind, Happened};
use crate::recorder::{KEPT_EVERY_S, Recorder};
use crate::spec::Spec;
use crate::true_phases::{Course, Courses};

/// Limits as they are, or moved by a margin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Ease {
    /// Multiplies whatever a definition asks for.
    pub(crate) factor: f64,
    /// Adds to temperatures, °C.
    pub(crate) celsius: f64,
    /// Adds to lengths, seconds.
    pub(crate) seconds: f64,
}

/// Minutes 10 to 30 of working give the settled level.
pub(crate) const SETTLED_MIN: (f64, f64) = (10.0, 30.0);

/// What a definition is met or missed by may be this share of it and still say nothing.
const MARGIN: f64 = 0.15;

impl Ease {
    /// The contract's limits.
    pub(crate) const NONE: Ease = Ease { factor: 1.0, celsius: 0.0, seconds: 0.0 };

    /// The same limits, easier (−1) or harder (1) to meet, for a probe with steps of `resolution_c` that is read every
    /// `sample_s`.
    pub(crate) fn by(sign: f64, resolution_c: f64, sample_s: f64) -> Ease {
        Ease {
            factor: 1.0 + sign * MARGIN,
            celsius: sign * (0.5 * resolution_c + 0.02),
            seconds: sign * 1.5 * sample_s,
        }
    }

    /// What such a probe can tell of the contract's limits, without a margin.
    pub(crate) fn told(resolution_c: f64, sample_s: f64) -> Ease {
        Ease { factor: 1.0, ..Ease::by(1.0, resolution_c, sample_s) }
    }

    /// A distance of `limit` °C.
    pub(crate) fn away(self, limit: f64) -> f64 {
        limit * self.factor + self.celsius
    }

    /// A limit that counts as the same within `margin`.
    fn within(self, limit: f64, margin: f64) -> f64 {
        limit + (self.factor - 1.0) / MARGIN * margin
    }

    /// A length of `seconds`.
    pub(crate) fn long(self, seconds: i64) -> f64 {
        (seconds as f64 * self.factor + self.seconds).max(0.0)
    }
}

/// The conditions of the plain limits, weighed by whether they also hold for harder ones; then the near misses: those
/// that hold for easier limits only.
pub(crate) fn weighed(
    at: impl Fn(Ease) -> Vec<Condition>,
    resolution_c: f64,
    sample_s: f64,
) -> (Vec<Condition>, Vec<Condition>) {
    let (mut plain, hard) = (at(Ease::NONE), at(Ease::by(1.0, resolution_c, sample_s)));
    let mut near = at(Ease::by(-1.0, resolution_c, sample_s));
    let told = at(Ease::told(resolution_c, sample_s));
    for condition in &mut plain {
        // How exactly a motor's current can be told, nobody says.
        let exactly = if condition.kind == FindingKind::Thickening { &hard } else { &told };
        let by_probe = exactly.iter().find(|t| t.overlaps(condition));
        condition.latest = by_probe.map_or(condition.due, |t| t.due.max(condition.due));
        let holds = |h: &Condition| h.is_sure() && h.overlaps(condition);
        if condition.kind != FindingKind::HeaterStuck && !hard.iter().any(holds) {
            condition.excuse(Excuse::NearTheLimit);
        }
    }
    near.retain(|n| !plain.iter().any(|p| p.overlaps(n)));
    near.iter_mut().for_each(|n| n.excuse(Excuse::NearTheLimit));
    (plain, near)
}

/// All that the conditions of one machine are worked out from.
pub(crate) struct Scene<'a> {
    pub(crate) record: &'a Recorder,
    pub(crate) spec: &'a Spec,
    pub(crate) courses: &'a Courses,
    pub(crate) faults: &'a [Happened],
}

impl Scene<'_> {
    fn has(&self, channel: Channel) -> bool {
        self.spec.has(channel)
    }

    /// Something that heats unasked was planted and was at work; a controller that reads a degree low is none, its jacket does
    /// what any does that brings a charge back.
    fn heats_by_fault(&self, at: Timestamp) -> bool {
        let heats =
            |kind| matches!(kind, FaultKind::HeaterStuck | FaultKind::Scorch | FaultKind::OverheatedHold);
        self.faults.iter().any(|f| heats(f.kind) && f.was_at_work(at, Span::ZERO))
    }

    fn moment(&self, place: usize) -> Timestamp {
        self.record.moment(place)
    }

    /// Places of `course` in `phase`, from its first to its last moment.
    fn places(&self, course: &Course, phase: Phase) -> Option<Range<usize>> {
        self.all_places(course, &[phase]).into_iter().next()
    }

    /// Places of `course` in any of `phases`; phases that follow one another make one stretch.
    fn all_places(&self, course: &Course, phases: &[Phase]) -> Vec<Range<usize>> {
        let mut all: Vec<Range<usize>> = Vec::new();
        for span in course.phases.iter().filter(|p| phases.contains(&p.phase)) {
            let from = self.record.place(span.from);
            let to = span.to.map_or(course.sure_to, |to| self.record.place(to).min(course.sure_to));
            match all.last_mut() {
                _ if to <= from => {}
                Some(last) if last.end == from => last.end = to,
                Some(_) | None => all.push(from..to),
            }
        }
        all
    }

    /// Stretches of `places` in which `past` is above zero for at least `seconds`.
    fn stretches(
        &self,
        kind: FindingKind,
        places: Range<usize>,
        seconds: f64,
        past: impl Fn(usize) -> f64,
    ) -> Vec<Condition> {
        let least = places_in(seconds);
        let mut found = Vec::new();
        let mut from = None;
        let mut worst = 0.0f64;
        for place in places.start..=places.end {
            let by = if place < places.end { past(place) } else { 0.0 };
            if by > 0.0 {
                from.get_or_insert(place);
                worst = worst.max(by);
            } else if let Some(first) = from.take() {
                if place - first >= least {
                    let span = (self.moment(first), self.moment(place));
                    found.push(Condition::new(kind, span, self.moment(first + least), worst));
                }
                worst = 0.0;
            }
        }
        found
    }

    /// The limits of a batch's temperatures, weighed; the near misses apart. `batch` counts from the first.
    pub(crate) fn temperatures(&self, batch: usize) -> (Vec<Condition>, Vec<Condition>) {
        let instruments = &self.spec.instruments;
        weighed(
            |ease| temperature(self, &self.courses.by(ease)[batch], ease),
            instruments.told_to_c(),
            instruments.sample_s + 0.3 * instruments.lag_s,
        )
    }

    /// Time constant of a cooling that was seen from its start against a jacket that is measured, minutes.
    pub(crate) fn time_constant_min(&self, course: &Course) -> Option<f64> {
        (self.has(Channel::Jacket) && self.spec.build.coolant > 0.0)
            .then(|| batches::time_constant_min(self, course))
            .flatten()
    }

    /// Everything else that was the matter. `temperatures` are what was found of those.
    pub(crate) fn others(&self, temperatures: &[Condition]) -> Vec<Condition> {
        let instruments = &self.spec.instruments;
        let mut all = Vec::new();
        let mut note = |steps_c: f64, sample_s: f64, at: &dyn Fn(Ease) -> Vec<Condition>| {
            let (plain, near) = weighed(at, steps_c, sample_s);
            all.extend(plain);
            all.extend(near);
        };
        let steps_c = instruments.resolution_c;
        note(steps_c, instruments.slow_sample_s, &|ease| around::around(self, ease));
        note(steps_c, instruments.sample_s, &|ease| around::heater_stuck(self, ease));
        note(steps_c, instruments.slow_sample_s, &|ease| hold::thickening(self, ease));
        note(steps_c, instruments.sample_s, &|ease| hold::hunting(self, ease));
        note(steps_c, 0.0, &|ease| hold::hold_drift(self, ease, hold::Disturbances::All));
        note(instruments.told_to_c(), 0.0, &|ease| people::undone(self, self.courses.by(ease), temperatures));
        all.extend(batches::slow_cooling(self));
        all.extend(batches::cooling_fade(self));
        all.extend(batches::probe_drift(self));
        // Levels that a watch takes for the same because nobody told it of a change: it may speak, and need not.
        let untold: Vec<Condition> =
            hold::hold_drift(self, Ease::by(-1.0, 0.0, 0.0), hold::Disturbances::Known)
                .into_iter()
                .chain(hold::thickening_known(self, Ease::by(-1.0, 0.0, 0.0)))
                .map(|c| c.unless(Some(Excuse::NotTold)))
                .collect();
        all.extend(untold);
        all.extend(people::slow_rises(self));
        hold::leave_to_worse(&mut all, temperatures);
        all
    }
}

/// The middle one, of two the higher.
fn median(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    let mut sorted: Vec<f64> = values.into_iter().collect();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied()
}

/// So many kept places make `seconds`.
fn places_in(seconds: f64) -> usize {
    (seconds / KEPT_EVERY_S as f64).ceil().max(1.0) as usize
}

/// One cause, one finding: what a stuck heater warms, its own finding says, and for as long as it is warm of it.
pub(crate) fn leave_to_the_heater(all: &mut [Condition]) {
    let spans = |all: &[Condition], kind| -> Vec<(Timestamp, Timestamp)> {
        all.iter().filter(|c| c.kind == kind).map(|c| (c.from, c.to)).collect()
    };
    let mut heated = spans(all, FindingKind::HeaterStuck);
    let begun = heated.clone();
    heated.extend(
        spans(all, FindingKind::WarmHold)
            .into_iter()
            .filter(|(warm_from, warm_to)| begun.iter().any(|(from, to)| from <= warm_to && warm_from <= to)),
    );
    let covered = |c: &&mut Condition| {
        matches!(c.kind, FindingKind::WarmHold | FindingKind::TemperLoss | FindingKind::HoldDrift)
            && heated.iter().any(|(from, to)| *from <= c.due && c.from <= *to)
    };
    all.iter_mut().filter(covered).for_each(|c| c.excuse(Excuse::SaidByAnother));
}

/// Temperatures cannot be told where the instruments are in trouble: such conditions are nobody's to find.
pub fn hide_unseen(conditions: &mut [Condition], instruments: &[Condition]) {
    const BEFORE: Span = Span::from_mins(10);
    for condition in conditions.iter_mut().filter(|c| needs_chocolate(c.kind)) {
        let blind = |i: &Condition| {
            i.kind != FindingKind::Spikes && i.from <= condition.due && condition.from - BEFORE <= i.to
        };
        if instruments.iter().any(blind) {
            condition.excuse(Excuse::InstrumentsInTrouble);
        }
    }
}

fn needs_chocolate(kind: FindingKind) -> bool {
    match kind {
        FindingKind::Scorch
        | FindingKind::TemperLoss
        | FindingKind::WarmHold
        | FindingKind::ColdHold
        | FindingKind::SlowCooling
        | FindingKind::Undershoot
        | FindingKind::SeedMissed
        | FindingKind::HoldDrift
        | FindingKind::Hunting
        | FindingKind::Thickening
        | FindingKind::LongHold
        | FindingKind::Solidifying
        | FindingKind::StirrerStopped
        | FindingKind::HeaterStuck
        | FindingKind::TestDue
        | FindingKind::ProbeDrift
        | FindingKind::CoolingFade => true,
        FindingKind::ProbeStuck
        | FindingKind::ProbeFault
        | FindingKind::Spikes
        | FindingKind::Silent
        | FindingKind::ClockOff
        | FindingKind::HotRoom
        | FindingKind::DampRoom
        | FindingKind::CommonCause => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is past the plain limits for an hour, and past harder ones only where it is not asked for.
    #[test]
    fn what_harder_limits_do_not_ask_for_is_near_the_limit() {
        let hour = (Timestamp::default(), Timestamp::default() + Span::from_mins(60));
        let one = || Condition::new(FindingKind::TestDue, hour, hour.0, 0.0);
        let weigh = |hard: fn(Condition) -> Condition| {
            let at = |ease: Ease| vec![if ease.factor > 1.0 { hard(one()) } else { one() }];
            weighed(at, 0.1, 5.0).0[0].weight
        };
        assert_eq!(weigh(|c| c), Weight::Sure);
        assert_eq!(weigh(|c| c.unless(Some(Excuse::NearTheLimit))), Weight::Borderline(Excuse::NearTheLimit));
    }
}
