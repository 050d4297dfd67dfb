//! `common-cause`, high: within 30 min the same kind of finding on at least three machines; for `slow-cooling` counted from the start of
//! cooling; the members stay (contract, section 6). The contract's other case, more than half of four or more, is three at the least.
//!
//! Water, room, power and network are shared (the same cooling ratio on all machines is the supply or the room: common practice, no source). Prompts and
//! trends are nobody's common fault and do not count: `test-due`, `long-hold`, `probe-drift`, `cooling-fade`.
//!
//! Raised by the member that completes it; should the members' moments not come in order, at the latest of them. One is open a kind: a machine that
//! comes later joins, which changes what it says. Over when all members are over; what is over by then has been told, and makes no other one.
//! It looks at findings in the order in which the engine makes them, which arrivals alone decide.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use model::{Finding, FindingId, FindingKind, MachineId, Priority, Span, Timestamp};
use serde::{Deserialize, Serialize};

use crate::findings::{number, text};
use crate::shared_cause::SharedCause;

const TOGETHER: usize = 3;
const WITHIN: Span = Span::from_mins(30);
/// Findings are remembered so long after they were raised: a slow cooling is told hours after it began.
const REMEMBERED: Span = Span::from_hours(12);

/// The watch over all machines.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct PlantWatch {
    /// Findings that can be members, by kind, in the order in which they came.
    seen: BTreeMap<FindingKind, Vec<Member>>,
    open: BTreeMap<FindingKind, Common>,
}

/// A machine's finding.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Member {
    id: FindingId,
    machine: MachineId,
    from: Timestamp,
    raised_at: Timestamp,
    to: Option<Timestamp>,
    /// What the half-hour is counted by.
    counted: Timestamp,
}

/// A common cause that is open.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Common {
    finding: Finding,
    members: Vec<Member>,
}

impl PlantWatch {
    /// A machine's finding was raised or has changed. What becomes of the plant's own.
    pub(crate) fn take(&mut self, finding: &Finding) -> Option<Finding> {
        let cause = SharedCause::of(finding.kind)?;
        let member = Member::of(finding)?;
        let is_new = self.note(finding.kind, &member);
        if let Some(common) = self.open.get_mut(&finding.kind) {
            let changed = common.update(member, &cause).then(|| common.finding.clone());
            if !common.finding.is_open() {
                self.open.remove(&finding.kind);
                self.forget_over(finding.kind);
            }
            return changed;
        }
        if !is_new {
            return None;
        }
        let members = together(self.seen.get(&finding.kind)?, &member)?;
        let common = Common::new(finding.kind, members, &cause);
        let raised = common.finding.clone();
        self.open.insert(finding.kind, common);
        Some(raised)
    }

    /// What is open, the oldest first.
    pub(crate) fn open(&self) -> Vec<Finding> {
        let mut open: Vec<Finding> = self.open.values().map(|common| common.finding.clone()).collect();
        open.sort_by_key(|finding| finding.raised_at);
        open
    }

    /// One machine's next finding is not to be counted with those of a common cause that is over.
    fn forget_over(&mut self, kind: FindingKind) {
        if let Some(seen) = self.seen.get_mut(&kind) {
            seen.retain(|member| member.to.is_none());
        }
    }

    /// Remembers it; is it a new one?
    fn note(&mut self, kind: FindingKind, member: &Member) -> bool {
        let seen = self.seen.entry(kind).or_default();
        if let Some(known) = seen.iter_mut().find(|known| known.id == member.id) {
            known.to = member.to;
            return false;
        }
        seen.retain(|known| member.raised_at - known.raised_at <= REMEMBERED);
        seen.push(member.clone());
        true
    }
}

impl Member {
    fn of(finding: &Finding) -> Option<Member> {
        Some(Member {
            id: finding.id.clone(),
            machine: finding.machine.clone()?,
            from: finding.from,
            raised_at: finding.raised_at,
            to: finding.to,
            counted: if finding.kind == FindingKind::SlowCooling { finding.from } else { finding.raised_at },
        })
    }
}

/// A finding of each machine that lies within half an hour of the others, the new one among them, if they are enough; of several such
/// half-hours the one with the most machines.
fn together(seen: &[Member], new: &Member) -> Option<Vec<Member>> {
    let in_window = |from: Timestamp| {
        let inside = seen.iter().filter(|member| from <= member.counted && member.counted - from <= WITHIN);
        let newest: BTreeMap<&MachineId, &Member> = inside.map(|member| (&member.machine, member)).collect();
        newest.into_values().cloned().collect::<Vec<_>>()
    };
    seen.iter()
        .map(|member| member.counted)
        .filter(|&from| from <= new.counted && new.counted - from <= WITHIN)
        .map(|from| (from, in_window(from)))
        .filter(|(_, members)| members.len() >= TOGETHER)
        .max_by_key(|(from, members)| (members.len(), Reverse(*from)))
        .map(|(_, members)| members)
}

impl Common {
    fn new(kind: FindingKind, members: Vec<Member>, cause: &SharedCause) -> Common {
        let raised_at = members.iter().map(|member| member.raised_at).max().unwrap_or_default();
        let name = format!("{}-{kind}", FindingKind::CommonCause);
        let finding = Finding {
            id: FindingId::new("plant", &name, raised_at),
            machine: None,
            batch: None,
            kind: FindingKind::CommonCause,
            priority: Priority::High,
            from: members.iter().map(|member| member.from).min().unwrap_or_default(),
            to: None,
            raised_at,
            says: String::new(),
            evidence: vec![text("kind", kind.as_str())],
            advice: cause.advice.to_owned(),
            superseded_by: None,
        };
        let mut common = Common { finding, members };
        common.say(cause);
        common
    }

    /// A machine joins, or a member has changed. Does that change the finding?
    fn update(&mut self, member: Member, cause: &SharedCause) -> bool {
        match self.members.iter_mut().find(|known| known.id == member.id) {
            Some(known) => known.to = member.to,
            None if member.to.is_none() => {
                self.members.push(member);
                self.say(cause);
                return true;
            }
            None => return false,
        }
        let ends: Option<Vec<Timestamp>> = self.members.iter().map(|member| member.to).collect();
        self.finding.to = ends.and_then(|ends| ends.into_iter().max());
        !self.finding.is_open()
    }

    /// Says which machines it is about.
    fn say(&mut self, cause: &SharedCause) {
        let mut machines: Vec<&str> = self.members.iter().map(|member| member.machine.as_str()).collect();
        machines.sort_unstable();
        machines.dedup();
        let list = machines.join(", ");
        self.finding.says = format!("{} machines {} at the same time: {list}.", machines.len(), cause.what);
        let ids: Vec<&str> = self.members.iter().map(|member| member.id.as_str()).collect();
        self.finding.evidence.truncate(1);
        self.finding.evidence.extend([
            number("machines", machines.len() as f64),
            text("machine_ids", &list),
            text("members", &ids.join(", ")),
        ]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_millis(minute * 60_000)
    }

    fn finding(machine: &str, kind: FindingKind, from: i64, raised: i64, to: Option<i64>) -> Finding {
        Finding {
            id: FindingId::new(machine, kind.as_str(), at(raised)),
            machine: Some(machine.parse().unwrap()),
            batch: None,
            kind,
            priority: Priority::Medium,
            from: at(from),
            to: to.map(at),
            raised_at: at(raised),
            says: String::new(),
            evidence: Vec::new(),
            advice: String::new(),
            superseded_by: None,
        }
    }

    /// `kind machine from raised[ to]`, in minutes and in the order in which they come; what the plant's own findings become.
    fn told(script: &str) -> Vec<String> {
        let mut watch = PlantWatch::default();
        let take = |entry: &str| {
            let words: Vec<&str> = entry.split_whitespace().collect();
            let [kind, machine, from, raised, to @ ..] = words.as_slice() else { panic!("{entry}") };
            let minute = |text: &str| text.parse().unwrap();
            let to = to.first().map(|text| minute(text));
            watch.take(&finding(machine, kind.parse().unwrap(), minute(from), minute(raised), to))
        };
        let minutes = |at: Timestamp| at.as_millis() / 60_000;
        script
            .split('|')
            .filter_map(take)
            .map(|f| {
                format!(
                    "{}-{} {}",
                    minutes(f.raised_at),
                    f.to.map_or("…".to_owned(), |to| minutes(to).to_string()),
                    f.says
                )
            })
            .collect()
    }

    #[test]
    fn three_within_half_an_hour() {
        assert_eq!(
            told(
                "silent alder 0 1 | silent birch 0 1 | silent cedar 20 30 | silent alder 0 1 40 | silent birch 0 1 42 | silent cedar 20 30 41"
            ),
            [
                "30-… 3 machines have gone silent at the same time: alder, birch, cedar.",
                "30-42 3 machines have gone silent at the same time: alder, birch, cedar."
            ]
        );
    }

    #[test]
    fn two_or_too_far_apart_or_the_same_machine_thrice_are_none() {
        assert_eq!(told("silent alder 0 1 | silent birch 0 31 | silent cedar 20 32"), [""; 0]);
        assert_eq!(told("silent alder 0 1 | silent alder 5 6 | silent alder 8 9"), [""; 0]);
        assert_eq!(told("silent alder 0 1 | scorch birch 0 1 | silent cedar 0 1"), [""; 0]);
    }

    #[test]
    fn slow_cooling_is_counted_from_the_start_of_cooling() {
        let slow = "slow-cooling alder 0 40 | slow-cooling birch 20 90 | slow-cooling cedar 10 120";
        assert_eq!(told(slow), ["120-… 3 machines cool too slowly at the same time: alder, birch, cedar."]);
        assert_eq!(
            told("slow-cooling alder 0 100 | slow-cooling birch 40 101 | slow-cooling cedar 80 102"),
            [""; 0]
        );
    }

    #[test]
    fn a_later_machine_joins_and_all_must_be_over() {
        assert_eq!(
            told(
                "hot-room alder 0 10 | hot-room birch 0 11 | hot-room cedar 0 12 | hot-room elm 40 50 | hot-room alder 0 10 60 \
                 | hot-room birch 0 11 60 | hot-room cedar 0 12 60 | hot-room elm 40 50 70 | hot-room fir 75 80"
            ),
            [
                "12-… 3 machines stand in a room that is too warm at the same time: alder, birch, cedar.",
                "12-… 4 machines stand in a room that is too warm at the same time: alder, birch, cedar, elm.",
                "12-70 4 machines stand in a room that is too warm at the same time: alder, birch, cedar, elm."
            ]
        );
    }

    #[test]
    fn one_machine_again_after_a_common_cause_is_one_machine() {
        let three = "silent alder 0 1 | silent birch 0 2 | silent cedar 0 3 | silent alder 0 1 4 | silent birch 0 2 5 | silent cedar 0 3 6";
        let over = told(three);
        assert_eq!(over.len(), 2, "raised and over");
        assert_eq!(told(&format!("{three} | silent birch 9 10")), over);
        assert_eq!(
            told(&format!("{three} | silent birch 9 10 | silent elm 9 10 | silent fir 9 11")).len(),
            3
        );
    }

    #[test]
    fn prompts_and_trends_are_nobodys_common_fault() {
        for kind in ["test-due", "long-hold", "probe-drift", "cooling-fade"] {
            assert_eq!(told(&format!("{kind} alder 0 1 | {kind} birch 0 1 | {kind} cedar 0 1")), [""; 0]);
        }
    }

    #[test]
    fn the_order_in_which_they_come_does_not_matter() {
        let forth = told("silent alder 0 1 | silent birch 0 9 | silent cedar 0 5");
        assert_eq!(forth, told("silent birch 0 9 | silent cedar 0 5 | silent alder 0 1"));
        assert!(forth[0].starts_with("9-…"));
    }
}
