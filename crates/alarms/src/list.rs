//! What needs somebody now: alarms made from findings, what people said of them, and the works as it stands.
//!
//! A pure function of what is on record and of the moment, so that a page, a program and a message tell the same.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use model::{
    Acknowledgement, Board, EvidenceValue, Finding, FindingId, FindingKind, MachineId, Phase, SetAside, Span,
    Timestamp,
};

use crate::flood::{CHATTERS, CHATTERS_WITHIN, floods};
use crate::life::{Life, State};
use crate::rationale::{Rationale, rationale};

/// What has come back by itself is listed so long for somebody to see it; the weekly review counts what nobody saw.
pub(crate) const LISTED_AFTER_RETURN: Span = Span::from_hours(24);

/// What stands longer is stale (ISA-18.2, from memory).
pub(crate) const STALE_AFTER: Span = Span::from_hours(24);

/// What is on record.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Facts {
    /// Findings that are open, that came back to normal lately, or that wait for a test.
    pub findings: Vec<Finding>,
    /// The latest acknowledgement of each.
    pub seen: BTreeMap<FindingId, Acknowledgement>,
    /// What is set aside, or was lately.
    pub asides: Vec<SetAside>,
    /// The latest temper test of each machine.
    pub tests: BTreeMap<MachineId, Timestamp>,
}

/// One alarm.
#[derive(Debug, Clone, PartialEq)]
pub struct Alarm {
    /// The finding that it is made from.
    pub finding: Finding,
    /// Its state.
    pub state: State,
    /// Who has seen it.
    pub seen: Option<Acknowledgement>,
    /// What keeps it aside.
    pub aside: Option<SetAside>,
    /// What its machine is going through.
    pub phase: Option<Phase>,
    /// Since when it would ring: raised, or no longer aside.
    pub rings_since: Timestamp,
    /// By then somebody should have acted.
    pub act_by: Timestamp,
    /// How often the same was raised in the last hour.
    pub raised_lately: usize,
    /// The alarm of the plant that tells of the cause that it shares with others.
    pub shared: Option<FindingId>,
}

/// The list.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Listing {
    /// What rings comes first, the most urgent on top.
    pub alarms: Vec<Alarm>,
    /// Since when there are too many at once.
    pub flood: Option<Timestamp>,
}

impl Alarm {
    /// What was thought through beforehand.
    pub fn rationale(&self) -> Rationale {
        rationale(self.finding.kind)
    }

    /// Does it come again and again?
    pub fn chatters(&self) -> bool {
        CHATTERS <= self.raised_lately
    }

    /// Has it stood for more than a day?
    pub fn is_stale(&self, now: Timestamp) -> bool {
        self.finding.is_open() && STALE_AFTER < now.since(self.finding.raised_at)
    }
}

impl Listing {
    /// The alarm made from that finding.
    pub fn of(&self, finding: &FindingId) -> Option<&Alarm> {
        self.alarms.iter().find(|alarm| alarm.finding.id == *finding)
    }

    /// How many call for somebody.
    pub fn ringing(&self) -> usize {
        self.alarms.iter().filter(|alarm| alarm.state.rings()).count()
    }
}

/// Every alarm that is not over.
pub fn listing(facts: &Facts, board: &Board, now: Timestamp) -> Listing {
    let findings = known(facts, board);
    let shared = shared_causes(board);
    let phases: BTreeMap<&MachineId, Phase> =
        board.lanes.iter().map(|lane| (&lane.machine, lane.phase)).collect();
    let tests = tests(facts, board);
    let raised = RaisedLately::of(&findings, now);
    let mut alarms: Vec<Alarm> = findings
        .values()
        .filter(|finding| rationale(finding.kind).is_alarm())
        .filter_map(|finding| {
            let machine = finding.machine.as_ref();
            let around = Around {
                facts,
                now,
                phase: machine.and_then(|machine| phases.get(machine).copied()),
                tested: machine.and_then(|machine| tests.get(machine).copied()),
            };
            let mut alarm = around.alarm(finding)?;
            alarm.raised_lately = raised.of_the_same(finding);
            alarm.shared = shared.get(&finding.id).cloned();
            Some(alarm)
        })
        .collect();
    alarms.sort_by_key(|alarm| {
        let urgency = (alarm.state.rings(), alarm.finding.priority);
        (Reverse(urgency), alarm.finding.raised_at, alarm.finding.id.clone())
    });
    let flood = flood(&findings, &alarms, now);
    Listing { alarms, flood }
}

/// Findings by id. The board is the truth about what is open; a finding that is open on record and not on the board has just
/// been closed, or was left behind by a watch that started anew: it is known to have stood when it was raised.
fn known(facts: &Facts, board: &Board) -> BTreeMap<FindingId, Finding> {
    let mut findings: BTreeMap<FindingId, Finding> = BTreeMap::new();
    for finding in &facts.findings {
        let to = finding.to.unwrap_or(finding.raised_at);
        findings.insert(finding.id.clone(), Finding { to: Some(to), ..finding.clone() });
    }
    let open = board.lanes.iter().flat_map(|lane| &lane.open).chain(&board.plant_open);
    findings.extend(open.map(|finding| (finding.id.clone(), finding.clone())));
    findings
}

/// Members of a common cause that is open, each with the finding that tells of it.
fn shared_causes(board: &Board) -> BTreeMap<FindingId, FindingId> {
    let mut shared = BTreeMap::new();
    for common in board.plant_open.iter().filter(|finding| finding.kind == FindingKind::CommonCause) {
        for fact in common.evidence.iter().filter(|fact| fact.name == "members") {
            if let EvidenceValue::Text(members) = &fact.value {
                shared.extend(
                    members.split(", ").map(|member| (FindingId::from_lookup(member), common.id.clone())),
                );
            }
        }
    }
    shared
}

/// The latest test of each machine; the board may know of one that is not on record yet.
fn tests(facts: &Facts, board: &Board) -> BTreeMap<MachineId, Timestamp> {
    let mut tests = facts.tests.clone();
    for lane in &board.lanes {
        if let Some(test) = &lane.last_test {
            let latest = tests.entry(lane.machine.clone()).or_insert(test.at);
            *latest = test.at.max(*latest);
        }
    }
    tests
}

/// What stands around a finding.
struct Around<'a> {
    facts: &'a Facts,
    now: Timestamp,
    phase: Option<Phase>,
    tested: Option<Timestamp>,
}

impl Around<'_> {
    /// The alarm of a finding; `None` if it is over.
    fn alarm(&self, finding: &Finding) -> Option<Alarm> {
        let row = rationale(finding.kind);
        let seen = self.facts.seen.get(&finding.id).cloned();
        let about = || self.facts.asides.iter().filter(|aside| aside.is_about(finding));
        let aside = about().filter(|aside| aside.holds_at(self.now)).max_by_key(|aside| aside.way).cloned();
        let life = Life {
            priority: finding.priority,
            returned: finding.to,
            seen: seen.as_ref().map(|seen| seen.priority),
            latches: row.latches,
            tested: self.tested,
            aside: aside.as_ref().map(|aside| aside.way),
            is_suppressed: finding.is_open() && self.phase.is_some_and(|phase| row.quiet_in.contains(&phase)),
            is_taken_over: finding.superseded_by.is_some(),
        };
        let state = life.state();
        let is_old = finding.to.is_some_and(|to| LISTED_AFTER_RETURN < self.now.since(to));
        let waits_for_test = life.latches && self.tested.is_none_or(|tested| Some(tested) < finding.to);
        if state == State::Normal || (is_old && !waits_for_test) {
            return None;
        }
        let taken_back = about().map(SetAside::over_at).filter(|over| *over <= self.now).max();
        let rings_since = taken_back.map_or(finding.raised_at, |over| over.max(finding.raised_at));
        Some(Alarm {
            state,
            seen,
            aside,
            phase: self.phase,
            rings_since,
            act_by: rings_since + Span::from_mins(row.minutes().unwrap_or(0)),
            raised_lately: 0,
            shared: None,
            finding: finding.clone(),
        })
    }
}

/// How often each was raised in the last hour.
struct RaisedLately<'f>(BTreeMap<(Option<&'f MachineId>, FindingKind), usize>);

impl<'f> RaisedLately<'f> {
    fn of(findings: &'f BTreeMap<FindingId, Finding>, now: Timestamp) -> RaisedLately<'f> {
        let mut counts = BTreeMap::new();
        let lately = findings.values().filter(|finding| now.since(finding.raised_at) < CHATTERS_WITHIN);
        for finding in lately {
            *counts.entry((finding.machine.as_ref(), finding.kind)).or_insert(0) += 1;
        }
        RaisedLately(counts)
    }

    fn of_the_same(&self, finding: &Finding) -> usize {
        self.0.get(&(finding.machine.as_ref(), finding.kind)).copied().unwrap_or(0)
    }
}

/// Since when too many come at once. What is aside asks for nobody, and is none of them.
fn flood(findings: &BTreeMap<FindingId, Finding>, alarms: &[Alarm], now: Timestamp) -> Option<Timestamp> {
    let aside: BTreeSet<&FindingId> =
        alarms.iter().filter(|alarm| alarm.state.is_aside()).map(|alarm| &alarm.finding.id).collect();
    let mut raised: Vec<Timestamp> = findings
        .values()
        .filter(|finding| rationale(finding.kind).is_alarm() && !aside.contains(&finding.id))
        .map(|finding| finding.raised_at)
        .filter(|at| *at <= now)
        .collect();
    raised.sort();
    floods(&raised, now).last().and_then(|(began, end)| end.is_none().then_some(*began))
}

#[cfg(test)]
mod tests {
    use model::{Aside, Priority};

    use super::*;
    use crate::made_up::{at, board, finding, seen, shelved};

    fn told(facts: &Facts, board: &Board, minutes: i64) -> String {
        let listing = listing(facts, board, at(minutes));
        let told = |alarm: &Alarm| format!("{} {}", alarm.finding.kind, alarm.state.as_str());
        listing.alarms.iter().map(told).collect::<Vec<_>>().join(", ")
    }

    #[test]
    fn the_night_melt_is_no_alarm_and_the_morning_is() {
        let hot = finding(FindingKind::HotRoom, 0, None);
        let board = |phase| board(phase, std::slice::from_ref(&hot));
        assert_eq!(told(&Facts::default(), &board(Phase::Soak), 60), "hot-room suppressed");
        assert_eq!(told(&Facts::default(), &board(Phase::Cooling), 61), "hot-room unacknowledged");
    }

    #[test]
    fn prompts_and_plans_are_not_listed() {
        let open = [finding(FindingKind::TestDue, 0, None), finding(FindingKind::CoolingFade, 0, None)];
        assert_eq!(told(&Facts::default(), &board(Phase::Working, &open), 5), "");
    }

    #[test]
    fn what_nobody_saw_is_listed_for_a_day_and_what_latches_until_a_test() {
        let findings =
            vec![finding(FindingKind::WarmHold, 0, Some(10)), finding(FindingKind::TemperLoss, 0, Some(10))];
        let mut facts = Facts { findings, ..Facts::default() };
        let idle = board(Phase::Idle, &[]);
        let both = "temper-loss latched-unacknowledged, warm-hold returned-unacknowledged";
        assert_eq!(told(&facts, &idle, 24 * 60), both);
        assert_eq!(told(&facts, &idle, 30 * 24 * 60), "temper-loss latched-unacknowledged");
        facts.tests.insert("alder".parse().unwrap(), at(9));
        assert_eq!(told(&facts, &idle, 30 * 24 * 60), "temper-loss latched-unacknowledged");
        facts.tests.insert("alder".parse().unwrap(), at(10));
        assert_eq!(
            told(&facts, &idle, 60),
            "temper-loss returned-unacknowledged, warm-hold returned-unacknowledged"
        );
        for finding in facts.findings.clone() {
            facts.seen.insert(finding.id.clone(), seen(&finding, 61));
        }
        assert_eq!(told(&facts, &idle, 61), "");
    }

    #[test]
    fn a_finding_that_the_watch_left_behind_is_not_open_for_ever() {
        let facts = Facts { findings: vec![finding(FindingKind::Silent, 0, None)], ..Facts::default() };
        let idle = board(Phase::Idle, &[]);
        assert_eq!(told(&facts, &idle, 60), "silent returned-unacknowledged");
        assert_eq!(told(&facts, &idle, 25 * 60), "");
    }

    #[test]
    fn the_shelf_gives_it_back_and_then_it_rings_anew() {
        let open = [finding(FindingKind::WarmHold, 0, None)];
        let board = board(Phase::Working, &open);
        let facts = Facts { asides: vec![shelved(FindingKind::WarmHold, 5, 35)], ..Facts::default() };
        assert_eq!(told(&facts, &board, 34), "warm-hold shelved");
        let later = listing(&facts, &board, at(35));
        assert_eq!((later.alarms[0].state, later.alarms[0].rings_since), (State::Unacknowledged, at(35)));
        assert_eq!(later.alarms[0].act_by, at(45));
        let other = Facts { asides: vec![shelved(FindingKind::ColdHold, 5, 35)], ..Facts::default() };
        assert_eq!(told(&other, &board, 34), "warm-hold unacknowledged");
    }

    #[test]
    fn out_of_service_is_for_the_whole_machine_if_no_kind_is_told() {
        let open = [finding(FindingKind::WarmHold, 0, None), finding(FindingKind::Silent, 0, None)];
        let mut out = shelved(FindingKind::WarmHold, 5, 5_000);
        (out.way, out.kind) = (Aside::OutOfService, None);
        let facts = Facts { asides: vec![out], ..Facts::default() };
        assert_eq!(
            told(&facts, &board(Phase::Working, &open), 34),
            "silent out-of-service, warm-hold out-of-service"
        );
    }

    #[test]
    fn one_that_has_become_more_urgent_is_to_be_seen_again() {
        let mut slow = finding(FindingKind::SlowCooling, 0, None);
        let mut facts = Facts::default();
        facts.seen.insert(slow.id.clone(), seen(&slow, 1));
        let cooling = |slow: &Finding| board(Phase::Cooling, std::slice::from_ref(slow));
        assert_eq!(told(&facts, &cooling(&slow), 2), "slow-cooling acknowledged");
        slow.priority = Priority::High;
        assert_eq!(told(&facts, &cooling(&slow), 2), "slow-cooling unacknowledged");
    }

    #[test]
    fn members_point_to_their_common_cause() {
        let silent = finding(FindingKind::Silent, 0, None);
        let mut common = finding(FindingKind::CommonCause, 1, None);
        common.machine = None;
        let text = EvidenceValue::Text(format!("birch-silent-x, {}", silent.id));
        common.evidence = vec![model::Evidence { name: "members".to_owned(), value: text }];
        let mut board = board(Phase::Working, std::slice::from_ref(&silent));
        board.plant_open = vec![common.clone()];
        let listing = listing(&Facts::default(), &board, at(2));
        assert_eq!(listing.of(&silent.id).unwrap().shared.as_ref(), Some(&common.id));
        assert_eq!(listing.of(&common.id).unwrap().shared, None);
    }

    /// Twelve rooms that are warm while the charges melt overnight.
    #[test]
    fn what_is_quiet_in_its_phase_is_no_flood() {
        let kinds = [FindingKind::HotRoom, FindingKind::DampRoom];
        let open: Vec<Finding> =
            kinds.into_iter().flat_map(|kind| (0..6).map(move |n| finding(kind, n, None))).collect();
        let flood = |phase| listing(&Facts::default(), &board(phase, &open), at(6)).flood;
        assert_eq!(flood(Phase::Soak), None);
        assert_eq!(flood(Phase::Cooling), Some(at(5)));
    }

    #[test]
    fn three_in_an_hour_chatter() {
        let over = |n: i64| finding(FindingKind::WarmHold, 10 * n, Some(10 * n + 5));
        let facts = Facts { findings: vec![over(0), over(1)], ..Facts::default() };
        let board = board(Phase::Working, &[finding(FindingKind::WarmHold, 20, None)]);
        assert!(listing(&facts, &board, at(21)).alarms.iter().all(Alarm::chatters));
        assert!(!listing(&facts, &board, at(70)).alarms[0].chatters());
    }
}
