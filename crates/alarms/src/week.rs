//! The figures of a week: how many alarms each machine had, how long they stood, whether anybody acknowledged them.
//!
//! Targets: at most one or two a machine and shift (a start value for a shop floor, no source; HSE CHIS6 after EEMUA 191 has one in
//! ten minutes for an operator in a control room, far more than anybody with moulding to do can answer).

use std::collections::{BTreeMap, BTreeSet};

use model::{Acknowledgement, Aside, Finding, FindingKind, MachineId, SetAside, Span, Timestamp};

use crate::flood::{CHATTERS, CHATTERS_WITHIN, floods};
use crate::list::STALE_AFTER;
use crate::rationale::rationale;

/// One machine's week; `None` stands for the plant.
#[derive(Debug, Clone, PartialEq)]
pub struct MachineAlarms {
    /// Which.
    pub machine: Option<MachineId>,
    /// How many were raised.
    pub raised: usize,
    /// Raised before, and still standing at the end.
    pub standing: usize,
    /// The kind that came most often, and how often.
    pub most_frequent: Option<(FindingKind, usize)>,
    /// The one that stood longest, one of before included.
    pub longest: Option<Standing>,
    /// Kinds that came three times in an hour or more.
    pub chattering: Vec<FindingKind>,
    /// Stood for more than a day, those of before included.
    pub stale: usize,
    /// Of those that were raised, how many nobody acknowledged.
    pub unseen: usize,
    /// The time until somebody did, the one in the middle.
    pub median_until_seen: Option<Span>,
    /// How often something was shelved.
    pub shelved: usize,
    /// How often something was taken out of service.
    pub out_of_service: usize,
}

/// An alarm that stood.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// What.
    pub kind: FindingKind,
    /// Since when.
    pub from: Timestamp,
    /// How long.
    pub lasted: Span,
    /// Does it still?
    pub goes_on: bool,
}

/// The figures of a week.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct AlarmWeek {
    /// All that were raised.
    pub raised: usize,
    /// Raised before, and still standing at the end.
    pub standing: usize,
    /// One a machine that had any, in the order of the ids; the plant's last.
    pub machines: Vec<MachineAlarms>,
    /// When too many came at once.
    pub floods: Vec<(Timestamp, Option<Timestamp>)>,
    /// How often somebody acknowledged one.
    pub seen: usize,
}

/// Works out the figures of the time from `from` on and before `to`. `now` is how far anything is known.
pub fn week<'f>(
    findings: &'f [Finding],
    seen: &[Acknowledgement],
    asides: &[SetAside],
    from: Timestamp,
    to: Timestamp,
    now: Timestamp,
) -> AlarmWeek {
    let is_in = |at: Timestamp| from <= at && at < to;
    let end = now.min(to);
    let is_alarm = |finding: &&Finding| finding.superseded_by.is_none() && rationale(finding.kind).is_alarm();
    let mut alarms: Vec<&Finding> =
        findings.iter().filter(|finding| is_in(finding.raised_at)).filter(is_alarm).collect();
    alarms.sort_by_key(|finding| finding.raised_at);
    let stood_on = |finding: &&Finding| finding.raised_at < from && finding.to.is_none_or(|over| from < over);
    let of_before: Vec<&Finding> = findings.iter().filter(stood_on).filter(is_alarm).collect();
    let asides: Vec<&SetAside> = asides.iter().filter(|aside| is_in(aside.from)).collect();
    let of_alarms = alarms.iter().map(|finding| finding.machine.as_ref());
    let places: BTreeSet<Option<&MachineId>> = of_alarms
        .chain(of_before.iter().map(|finding| finding.machine.as_ref()))
        .chain(asides.iter().map(|aside| aside.machine.as_ref()))
        .collect();
    let mut machines: Vec<MachineAlarms> = places
        .into_iter()
        .map(|machine| {
            let own = |all: &[&'f Finding]| -> Vec<&'f Finding> {
                all.iter().filter(|finding| finding.machine.as_ref() == machine).copied().collect()
            };
            let aside = |way: Aside| {
                asides.iter().filter(|aside| aside.machine.as_ref() == machine && aside.way == way).count()
            };
            MachineAlarms {
                shelved: aside(Aside::Shelved),
                out_of_service: aside(Aside::OutOfService),
                ..of_machine(machine, &own(&alarms), &own(&of_before), seen, end)
            }
        })
        .collect();
    machines.sort_by_key(|row| row.machine.is_none());
    let raised: Vec<Timestamp> = alarms.iter().map(|finding| finding.raised_at).collect();
    let times_seen = |finding: &&&Finding| seen.iter().any(|told| told.finding == finding.id);
    AlarmWeek {
        raised: alarms.len(),
        standing: of_before.iter().filter(|finding| stands(finding, end)).count(),
        machines,
        floods: floods(&raised, end),
        seen: alarms.iter().filter(times_seen).count(),
    }
}

fn stands(finding: &Finding, end: Timestamp) -> bool {
    finding.to.is_none_or(|over| end < over)
}

fn of_machine(
    machine: Option<&MachineId>,
    alarms: &[&Finding],
    of_before: &[&Finding],
    seen: &[Acknowledgement],
    until: Timestamp,
) -> MachineAlarms {
    let mut counts: BTreeMap<FindingKind, usize> = BTreeMap::new();
    for finding in alarms {
        *counts.entry(finding.kind).or_insert(0) += 1;
    }
    let all = || alarms.iter().chain(of_before);
    // What comes after the week is the next one's.
    let lasted = |finding: &Finding| finding.to.unwrap_or(until).min(until).since(finding.raised_at);
    let first_seen = |finding: &Finding| {
        seen.iter()
            .filter(|told| told.finding == finding.id)
            .map(|told| told.at.since(finding.raised_at))
            .min()
    };
    let mut until_seen: Vec<Span> = alarms.iter().filter_map(|finding| first_seen(finding)).collect();
    until_seen.sort();
    MachineAlarms {
        machine: machine.cloned(),
        raised: alarms.len(),
        most_frequent: counts.iter().max_by_key(|(_, count)| **count).map(|(kind, count)| (*kind, *count)),
        standing: of_before.iter().filter(|finding| stands(finding, until)).count(),
        longest: all().max_by_key(|finding| lasted(finding)).map(|finding| Standing {
            kind: finding.kind,
            from: finding.raised_at,
            lasted: lasted(finding),
            goes_on: stands(finding, until),
        }),
        chattering: counts.keys().copied().filter(|kind| chattered(alarms, *kind)).collect(),
        stale: all().filter(|finding| STALE_AFTER < lasted(finding)).count(),
        unseen: alarms.len() - until_seen.len(),
        median_until_seen: until_seen.get(until_seen.len() / 2).copied(),
        shelved: 0,
        out_of_service: 0,
    }
}

fn chattered(alarms: &[&Finding], kind: FindingKind) -> bool {
    let raised: Vec<Timestamp> =
        alarms.iter().filter(|finding| finding.kind == kind).map(|finding| finding.raised_at).collect();
    raised.windows(CHATTERS).any(|window| window[CHATTERS - 1] - window[0] < CHATTERS_WITHIN)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made_up::{at, finding, seen, shelved};

    #[test]
    fn the_figures_are_those_that_can_be_counted_by_hand() {
        let mut findings: Vec<Finding> =
            (0..3).map(|n| finding(FindingKind::WarmHold, 20 * n, Some(20 * n + 5))).collect();
        findings.push(finding(FindingKind::Silent, 100, Some(100 + 25 * 60)));
        findings.push(finding(FindingKind::TestDue, 100, None));
        findings.push(finding(FindingKind::Scorch, -1, Some(1)));
        let told = [seen(&findings[0], 4), seen(&findings[1], 30)];
        let asides = [shelved(FindingKind::WarmHold, 50, 80), shelved(FindingKind::WarmHold, -50, -20)];
        let week = week(&findings, &told, &asides, at(0), at(7 * 24 * 60), at(7 * 24 * 60));
        assert_eq!((week.raised, week.seen, week.floods.len()), (4, 2, 0));
        let alder = &week.machines[0];
        assert_eq!(alder.most_frequent, Some((FindingKind::WarmHold, 3)));
        assert_eq!(alder.chattering, [FindingKind::WarmHold]);
        assert_eq!((alder.stale, alder.unseen, alder.shelved, alder.out_of_service), (1, 2, 1, 0));
        assert_eq!(alder.median_until_seen, Some(Span::from_mins(10)));
        assert_eq!(alder.longest.map(|longest| longest.lasted), Some(Span::from_hours(25)));
    }

    #[test]
    fn one_of_before_stands_in_a_week_without_being_raised_in_it() {
        let day = 24 * 60;
        let figures = |to: Option<i64>| {
            let findings = [finding(FindingKind::ProbeDrift, -3 * day, to)];
            week(&findings, &[], &[], at(0), at(7 * day), at(9 * day))
        };
        let stands = figures(None);
        assert_eq!((stands.raised, stands.standing), (0, 1));
        let alder = &stands.machines[0];
        assert_eq!((alder.raised, alder.standing, alder.stale, alder.unseen), (0, 1, 1, 0));
        let longest = alder.longest.unwrap();
        assert_eq!((longest.lasted, longest.goes_on), (Span::from_hours(240), true));
        assert_eq!((figures(Some(day)).standing, figures(Some(day)).machines.len()), (0, 1));
        assert_eq!(figures(Some(8 * day)).standing, 1, "it ended after the week");
        assert_eq!(figures(Some(-day)).machines, []);
    }
}
