//! A day as the weighing sees it: each batch with its figures already held against the past.

use std::collections::BTreeSet;

use model::{EventKind, Finding, FindingKind, Grade, MachineId, Phase, Timestamp};

use super::deviation::STANDS_OUT;
use super::{Clue, DayRecord, Deviation, Figure, MachineDay, Sign, Way};

/// From here on a figure leans: it counts the more the nearer it is to standing out, and only beside one that does.
const LEANS: f64 = 2.5;

/// A figure this near to the usual counts as usual, in spreads.
const USUAL: f64 = 2.0;

/// The time constant is fitted, and where jacket and chocolate are near each other the fit is loose.
const LOOSE: f64 = 3.0;

/// From so many spreads on a jacket counts as colder than usual, beside a time constant that is longer.
const COLDER: f64 = -1.5;

/// A machine whose heat transfer is worse by a tenth takes about a tenth longer to cool, or its jacket has to be colder. Where the time
/// constant grew by far more than the length, and the jacket was none the colder, it was the fit.
fn leave_out_ill_fits(deviations: &mut Vec<Deviation>) {
    let longer = deviations
        .iter()
        .find(|deviation| deviation.figure == Figure::CoolingMinutes)
        .and_then(Deviation::ratio)
        .map(|ratio| (ratio - 1.0).max(0.0));
    let is_colder =
        |figure: Figure| deviations.iter().any(|other| other.figure == figure && other.z <= COLDER);
    if is_colder(Figure::JacketCooling) || is_colder(Figure::JacketHold) {
        return;
    }
    deviations.retain(|deviation| {
        let is_tau = deviation.figure == Figure::CoolingTau && deviation.way() == Some(Way::High);
        let is_ill = longer.zip(deviation.ratio()).is_some_and(|(longer, tau)| LOOSE * longer < tau - 1.0);
        !(is_tau && is_ill)
    });
}

/// One batch of the day.
pub(crate) struct Seen<'d> {
    pub(crate) machine: &'d MachineId,
    pub(crate) record: &'d DayRecord,
    /// Earlier good batches of the same couverture.
    pub(crate) past: Vec<&'d DayRecord>,
    day: &'d MachineDay,
    deviations: Vec<Deviation>,
}

impl<'d> Seen<'d> {
    /// Every batch of the day.
    pub(crate) fn all(day: &'d [MachineDay]) -> Vec<Seen<'d>> {
        let of_machine = |machine_day: &'d MachineDay| {
            let is_only = machine_day.today.len() == 1;
            // The evening's melt belongs to tomorrow; one that ended and never cooled is today's trouble.
            let has_begun = move |record: &&'d DayRecord| {
                let has_cooled =
                    record.batch.first(Phase::Cooling).or(record.batch.first(Phase::Working)).is_some();
                is_only || has_cooled || record.batch.end.is_some()
            };
            machine_day.today.iter().filter(has_begun).map(move |record| {
                let same = |earlier: &&DayRecord| earlier.batch.couverture == record.batch.couverture;
                let past: Vec<&DayRecord> = machine_day.past.iter().filter(same).collect();
                let mut deviations: Vec<Deviation> =
                    Figure::ALL.iter().filter_map(|figure| Deviation::of(*figure, record, &past)).collect();
                leave_out_ill_fits(&mut deviations);
                Seen { machine: &machine_day.machine, record, past, day: machine_day, deviations }
            })
        };
        day.iter().flat_map(of_machine).collect()
    }

    pub(crate) fn deviations(&self) -> &[Deviation] {
        &self.deviations
    }

    pub(crate) fn deviation(&self, figure: Figure) -> Option<&Deviation> {
        self.deviations.iter().find(|deviation| deviation.figure == figure)
    }

    /// Every figure that stands out.
    pub(crate) fn odd(&self) -> impl Iterator<Item = &Deviation> {
        self.deviations.iter().filter(|deviation| deviation.way().is_some())
    }

    /// The figure, if it stands out to that side.
    pub(crate) fn off(&self, figure: Figure, way: Way) -> Option<&Deviation> {
        self.deviation(figure).filter(|deviation| deviation.way() == Some(way))
    }

    /// The figure, if it stands out to that side or nearly does, and what part of it counts: all from [`STANDS_OUT`] on, before that up to
    /// half.
    pub(crate) fn leaning(&self, figure: Figure, way: Way) -> Option<(&Deviation, f64)> {
        let deviation = self.deviation(figure)?;
        let z = if way == Way::High { deviation.z } else { -deviation.z };
        let part = if STANDS_OUT <= z { 1.0 } else { 0.5 * (z - LEANS) / (STANDS_OUT - LEANS) };
        (LEANS < z).then_some((deviation, part))
    }

    /// The figure, if it stands out.
    pub(crate) fn out(&self, figure: Figure) -> Option<&Deviation> {
        self.deviation(figure).filter(|deviation| deviation.way().is_some())
    }

    /// The figure, if it is as usual.
    pub(crate) fn usual(&self, figure: Figure) -> Option<&Deviation> {
        self.deviation(figure).filter(|deviation| deviation.z.abs() < USUAL)
    }

    /// The finding, unless it comes in half of all batches of this machine: then it is not what was different.
    pub(crate) fn finding(&self, kind: FindingKind) -> Option<&Finding> {
        let found = self.record.findings.iter().find(|finding| finding.kind == kind);
        found.filter(|_| self.rarity(kind) > 0.5)
    }

    /// How seldom a figure stands so far out here: one if it never did, nothing from one batch in three on.
    pub(crate) fn rarity_of(&self, deviation: &Deviation) -> f64 {
        (1.0 - 3.0 * self.day.share_as_far(deviation, &self.record.batch.couverture)).max(0.0)
    }

    /// How seldom a finding of this kind is here: one if it never came before.
    pub(crate) fn rarity(&self, kind: FindingKind) -> f64 {
        1.0 - self.day.share_before(kind)
    }

    pub(crate) fn found(&self, kind: FindingKind) -> bool {
        self.finding(kind).is_some()
    }

    pub(crate) fn is_slow(&self) -> bool {
        self.found(FindingKind::SlowCooling)
            || self.off(Figure::CoolingMinutes, Way::High).is_some()
            || self.off(Figure::CoolingTau, Way::High).is_some()
            || self.off(Figure::MeltMinutes, Way::High).is_some()
    }

    /// Did it cool, as far as is known?
    pub(crate) fn cooled(&self) -> bool {
        self.record.batch.first(Phase::Cooling).is_some()
    }

    /// First failed and first passed temper test.
    pub(crate) fn test(&self, failed: bool) -> Option<Timestamp> {
        self.graded().filter(|(_, worst)| (*worst == Grade::Poor) == failed).map(|(at, _)| at).min()
    }

    fn graded(&self) -> impl Iterator<Item = (Timestamp, Grade)> {
        self.record.events.iter().filter_map(|event| match &event.kind {
            EventKind::TemperTest(test) => Some((event.at, test.worst())),
            EventKind::Charge { .. }
            | EventKind::Seed { .. }
            | EventKind::TopUp { .. }
            | EventKind::Reference { .. }
            | EventKind::Note { .. }
            | EventKind::End => None,
        })
    }

    /// The first failed test, where no good one came before it. Holds lose their temper late on many a day; what was wrong with the charge
    /// or its seed shows from the start.
    pub(crate) fn began_badly(&self) -> Option<Timestamp> {
        let clear = self.graded().filter(|(_, worst)| *worst != Grade::Fair);
        clear.min_by_key(|(at, _)| *at).filter(|(_, worst)| *worst == Grade::Poor).map(|(at, _)| at)
    }

    /// The first passed test of a batch that did not begin badly.
    pub(crate) fn began_well(&self) -> Option<Timestamp> {
        self.test(false).filter(|_| self.began_badly().is_none())
    }

    /// When a figure can have begun to move.
    pub(crate) fn since(&self, figure: Figure) -> Option<Timestamp> {
        let start = |phase: Phase| self.record.batch.first(phase).map(|span| span.from);
        match figure {
            Figure::SoakMax | Figure::SoakOver => start(Phase::Soak),
            Figure::CoolingMinutes
            | Figure::CoolingTau
            | Figure::JacketCooling
            | Figure::Lowest
            | Figure::SeedDip
            | Figure::SeedShare
            | Figure::SeedAfter
            | Figure::SeedAt => start(Phase::Cooling),
            Figure::Mass | Figure::MeltMinutes | Figure::FellBefore => Some(self.record.batch.start),
            Figure::Room
            | Figure::Humidity
            | Figure::Unstirred
            | Figure::Unknown
            | Figure::Jump
            | Figure::Still => Some(self.record.anchor()),
            Figure::Settled
            | Figure::WorkingMean
            | Figure::WorkingSd
            | Figure::Drift
            | Figure::AboveLoss
            | Figure::JacketHold
            | Figure::JacketSwing
            | Figure::SetpointHold
            | Figure::OffSetpoint
            | Figure::Under
            | Figure::Swing
            | Figure::Motor
            | Figure::MotorRise => start(Phase::Working),
        }
    }

    /// A finding of this batch, or one that stood when it began.
    pub(crate) fn found_sign(&self, finding: &Finding) -> Sign {
        if finding.kind.outlives_batch() && finding.batch.as_ref() != Some(&self.record.batch.id) {
            Sign::Stood(finding.kind)
        } else {
            Sign::Found(finding.kind)
        }
    }

    /// `sign` as a clue of this batch.
    pub(crate) fn clue(&self, sign: Sign, since: Option<Timestamp>, points: f64) -> Clue {
        Clue {
            machine: Some(self.machine.clone()),
            batch: Some(self.record.batch.id.clone()),
            since,
            sign,
            points,
        }
    }
}

/// How many machines these batches ran on: one that ran twice counts once.
pub(crate) fn machines<'s, 'd: 's>(batches: impl IntoIterator<Item = &'s Seen<'d>>) -> usize {
    batches.into_iter().map(|seen| seen.machine).collect::<BTreeSet<&MachineId>>().len()
}

#[cfg(test)]
pub(crate) mod tests {
    use model::{Channel, Confidence, PhaseSpan, Span};

    use super::*;
    use crate::day::Courses;
    use crate::usual::tests::batch;

    /// A batch that cooled in 75 min with such a time constant, and was worked for an hour with its jacket so far from the chocolate.
    pub(crate) fn record(day: i64, tau: f64, jacket_beside: f64) -> DayRecord {
        let mut batch = batch(day, 75.0);
        batch.measures.cooling_tau_min = Some(tau);
        let at = |minute: i64| batch.start + Span::from_mins(minute);
        let span = |phase, from, to| PhaseSpan {
            phase,
            from: at(from),
            to: Some(at(to)),
            confidence: Confidence::High,
        };
        batch.end = Some(at(135));
        batch.phases = vec![span(Phase::Cooling, 0, 75), span(Phase::Working, 75, 135)];
        let level = |celsius: f64| -> Vec<_> { (75..135).map(|m| (at(m), Some(celsius))).collect() };
        let courses = Courses::default()
            .with(Channel::Chocolate, &level(31.5))
            .with(Channel::Jacket, &level(31.5 + jacket_beside));
        DayRecord { batch, findings: Vec::new(), events: Vec::new(), courses }
    }

    fn tau_stands_out(today: DayRecord) -> bool {
        let past = (1..=5).map(|day| record(day, 45.0 + day as f64 / 5.0, -1.0)).collect();
        let days = [MachineDay::new("alder".parse().unwrap(), vec![today], past, 10)];
        Seen::all(&days)[0].off(Figure::CoolingTau, Way::High).is_some()
    }

    #[test]
    fn a_longer_time_constant_alone_was_the_fit_and_beside_a_colder_jacket_it_is_believed() {
        assert!(!tau_stands_out(record(8, 70.0, -1.0)), "it took no longer, with a jacket as ever");
        assert!(tau_stands_out(record(8, 70.0, -2.0)), "it took no longer because the jacket was colder");
    }

    #[test]
    fn what_nearly_stands_out_counts_in_part() {
        let part = |tau: f64| {
            let past = (1..=5).map(|day| record(day, 45.0, -1.0)).collect();
            let days = [MachineDay::new("alder".parse().unwrap(), vec![record(8, tau, -2.0)], past, 10)];
            Seen::all(&days)[0].leaning(Figure::CoolingTau, Way::High).map(|(_, part)| part)
        };
        // The least spread of a time constant is a twentieth: 2.25 min.
        assert_eq!(part(45.0 + 2.4 * 2.25), None);
        assert!(part(45.0 + 3.0 * 2.25).is_some_and(|part| (part - 0.25).abs() < 1e-9));
        assert_eq!(part(45.0 + 6.0 * 2.25), Some(1.0));
    }
}
