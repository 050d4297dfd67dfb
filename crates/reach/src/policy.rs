//! Who is to be told of which alarm at this moment.
//!
//! An alarm is told while it rings: acknowledged, shelved, suppressed or over, and nobody else is called. Quiet hours hold back what is
//! not urgent; if it still rings when they end, it is told then. A member of a common cause is told by the plant's own alarm. An alarm
//! that chatters is told once an hour, and in a flood one message stands for all that is not urgent; it goes, as urgent, to
//! those who would have been told of these.

use std::collections::BTreeSet;

use alarms::{Alarm, Listing, most_urgent, rationale};
use model::{ContactId, FindingId, FindingKind, MachineId, Priority, Timestamp};
use plant::{Plant, ReachRule};

use crate::message::flood_id;

/// One message to one contact: it is sent once.
pub(crate) type Key = (FindingId, ContactId, Priority);

/// What a message tells of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum About<'a> {
    Alarm(&'a Alarm),
    /// Too many at once, since then.
    Flood(Timestamp),
}

/// Whom to tell of what now, what was told left out.
pub(crate) fn due<'a>(
    plant: &Plant,
    listing: &'a Listing,
    told: &BTreeSet<Key>,
    now: Timestamp,
) -> Vec<(Key, About<'a>)> {
    let mut due = Vec::new();
    let ringing = listing.alarms.iter().filter(|alarm| alarm.state.rings());
    for alarm in ringing.filter(|alarm| !is_told_by_another(listing, alarm)) {
        for rule in plant.reach.rules.iter().filter(|rule| fits(rule, alarm)) {
            let steps = rule.steps.iter().filter(|step| alarm.rings_since + step.after <= now);
            for contact in steps.flat_map(|step| &step.contacts) {
                due.extend(message_to(contact, plant, listing, alarm, told, now));
            }
        }
    }
    due.sort_by_key(|(_, about)| matches!(about, About::Alarm(_)));
    let mut seen = BTreeSet::new();
    due.retain(|(key, _)| !told.contains(key) && seen.insert(key.clone()));
    due
}

/// Why a rule never tells of a kind that it names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NeverTold {
    /// It is no alarm.
    NoAlarm,
    /// It is never more urgent than this, and the rule is for what is.
    AtMost(Priority),
    /// It is of the whole works, and the rule is for some machines.
    OfNoMachine,
}

/// Kinds that a rule names and never tells of.
pub fn never_told(rule: &ReachRule) -> impl Iterator<Item = (FindingKind, NeverTold)> {
    rule.kinds.iter().copied().filter_map(|kind| {
        let why = if !rationale(kind).is_alarm() {
            NeverTold::NoAlarm
        } else if most_urgent(kind) < rule.priority {
            NeverTold::AtMost(most_urgent(kind))
        } else if kind == FindingKind::CommonCause && !rule.machines.is_empty() {
            NeverTold::OfNoMachine
        } else {
            return None;
        };
        Some((kind, why))
    })
}

/// What `contact` is to be told for the sake of `alarm` now, if anything.
fn message_to<'a>(
    contact: &ContactId,
    plant: &Plant,
    listing: &Listing,
    alarm: &'a Alarm,
    told: &BTreeSet<Key>,
    now: Timestamp,
) -> Option<(Key, About<'a>)> {
    let priority = alarm.finding.priority;
    let about_alarm = ((alarm.finding.id.clone(), contact.clone(), priority), About::Alarm(alarm));
    if priority == Priority::High {
        return Some(about_alarm);
    }
    if let Some(since) = listing.flood {
        return Some(((flood_id(since), contact.clone(), Priority::High), About::Flood(since)));
    }
    (!was_told_lately(listing, alarm, told) && !is_quiet(plant, contact, now)).then_some(about_alarm)
}

/// Does `message` still tell of something that calls for somebody?
pub(crate) fn still_calls((finding, _, priority): &Key, listing: &Listing) -> bool {
    let rings = |alarm: &Alarm| alarm.state.rings() && alarm.finding.priority == *priority;
    listing.of(finding).is_some_and(rings) || listing.flood.is_some_and(|since| flood_id(since) == *finding)
}

fn fits(rule: &ReachRule, alarm: &Alarm) -> bool {
    let finding = &alarm.finding;
    let at = |machine: &MachineId| rule.machines.contains(machine);
    rule.priority <= finding.priority
        && (rule.machines.is_empty() || finding.machine.as_ref().is_some_and(at))
        && (rule.kinds.is_empty() || rule.kinds.contains(&finding.kind))
}

fn is_quiet(plant: &Plant, contact: &ContactId, now: Timestamp) -> bool {
    let quiet = plant.reach.contact(contact).and_then(|contact| contact.quiet);
    quiet.is_some_and(|quiet| quiet.hold(now, &plant.time_zone))
}

/// Is it a member of a common cause that rings itself?
fn is_told_by_another(listing: &Listing, alarm: &Alarm) -> bool {
    let shared = alarm.shared.as_ref().and_then(|shared| listing.of(shared));
    alarm.finding.priority < Priority::High && shared.is_some_and(|shared| shared.state.rings())
}

/// Does it come again and again, and was another one of the same told?
fn was_told_lately(listing: &Listing, alarm: &Alarm, told: &BTreeSet<Key>) -> bool {
    let of_the_same = |other: &&Alarm| {
        let (finding, same) = (&alarm.finding, &other.finding);
        finding.machine == same.machine && finding.kind == same.kind && finding.id != same.id
    };
    let was_told = |other: &Alarm| told.iter().any(|(told, ..)| *told == other.finding.id);
    alarm.chatters() && listing.alarms.iter().filter(of_the_same).any(was_told)
}

#[cfg(test)]
mod tests {
    use alarms::Facts;
    use model::{Acknowledgement, Finding};
    use proptest::prelude::*;

    use super::*;
    use crate::made_up::{LADDER, at, finding, listed, plant};

    /// Who is told, in the order in which they are; what has been told is remembered from minute to minute.
    fn told(rules: &str, facts: &Facts, open: &[Finding], minutes: std::ops::Range<i64>) -> String {
        let (plant, mut told, mut said) = (plant(25, 80, rules), BTreeSet::new(), Vec::new());
        for minute in minutes {
            for (key, _) in due(&plant, &listed(facts, open, minute), &told, at(minute)) {
                said.push(format!("{minute} {}", key.1));
                told.insert(key);
            }
        }
        said.join(", ")
    }

    fn warm() -> Finding {
        finding("alder", FindingKind::WarmHold, Priority::Medium, 60)
    }

    #[test]
    fn the_next_is_told_while_nobody_answers_and_each_once() {
        assert_eq!(told(LADDER, &Facts::default(), &[warm()], 60..200), "60 shift, 70 lead");
    }

    #[test]
    fn whoever_answers_spares_the_next() {
        let seen = Acknowledgement {
            finding: warm().id,
            priority: Priority::Medium,
            by: "ana".to_owned(),
            at: at(69),
        };
        let facts = Facts { seen: [(warm().id, seen)].into(), ..Facts::default() };
        assert_eq!(told(LADDER, &facts, &[warm()], 69..200), "");
        let worse = Finding { priority: Priority::High, ..warm() };
        assert_eq!(told(LADDER, &facts, &[worse], 69..200), "69 shift, 70 lead", "it has become worse since");
    }

    #[test]
    fn quiet_hours_hold_back_what_can_wait() {
        // Until half past five, which is minute 30.
        let early = finding("alder", FindingKind::WarmHold, Priority::Medium, 0);
        assert_eq!(
            told(LADDER, &Facts::default(), std::slice::from_ref(&early), 0..200),
            "10 lead, 30 shift"
        );
        let urgent = Finding { priority: Priority::High, ..early };
        assert_eq!(told(LADDER, &Facts::default(), &[urgent], 0..200), "0 shift, 10 lead");
    }

    #[test]
    fn a_rule_is_for_its_machines_kinds_and_priorities() {
        let rule = |more: &str| format!("[[reach]]\nfirst = [\"lead\"]\n{more}\n");
        let is_told = |more: &str| !told(&rule(more), &Facts::default(), &[warm()], 60..61).is_empty();
        assert!(
            is_told("")
                && is_told("machines = [\"alder\"]")
                && is_told("alarms = [\"scorch\", \"warm-hold\"]")
        );
        assert!(is_told("priority = \"low\""));
        assert!(
            !is_told("machines = [\"birch\"]")
                && !is_told("alarms = [\"scorch\"]")
                && !is_told("priority = \"high\"")
        );
    }

    /// What was found in the recorded days is never more urgent than is said beforehand.
    #[test]
    fn no_finding_is_more_urgent_than_its_kind_can_be() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../sample-streams");
        let mut seen = 0;
        for entry in std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
            if !entry.to_string_lossy().ends_with(".analysis.json") {
                continue;
            }
            let told: serde_json::Value =
                serde_json::from_str(&std::fs::read_to_string(entry).unwrap()).unwrap();
            let of_machines = told["machines"].as_array().unwrap().iter().map(|machine| &machine["findings"]);
            for finding in of_machines.flat_map(|findings| findings.as_array().unwrap()) {
                let kind: FindingKind = finding["kind"].as_str().unwrap().parse().unwrap();
                let priority: Priority = finding["priority"].as_str().unwrap().parse().unwrap();
                assert!(priority <= most_urgent(kind), "{kind}");
                seen += 1;
            }
        }
        assert!(0 < seen);
    }

    #[test]
    fn in_a_flood_one_message_stands_for_all_that_can_wait() {
        let mut open: Vec<Finding> =
            FindingKind::ALL[..12].iter().map(|kind| finding("alder", *kind, Priority::Medium, 60)).collect();
        open[3].priority = Priority::High;
        let plant = plant(25, 80, LADDER);
        let listing = listed(&Facts::default(), &open, 61);
        let told = due(&plant, &listing, &BTreeSet::new(), at(61));
        let said: Vec<String> = told.iter().map(|(key, _)| format!("{} {}", key.0, key.1)).collect();
        assert_eq!(said, ["flood-2026-03-02T06:00:00Z shift".to_owned(), format!("{} shift", open[3].id)]);
    }

    /// Whoever would have been told of single ones is told of the flood, the next in turn too, and nobody if nothing rings.
    #[test]
    fn a_flood_is_told_to_those_whom_it_spares_the_single_ones() {
        let rules =
            "[[reach]]\nfirst = [\"shift\"]\n[[reach.next]]\nafter_minutes = 5\ncontacts = [\"lead\"]\n";
        let open: Vec<Finding> =
            FindingKind::ALL[..12].iter().map(|kind| finding("alder", *kind, Priority::Medium, 60)).collect();
        assert_eq!(told(rules, &Facts::default(), &open, 60..69), "60 shift, 65 lead");
        let others = "[[reach]]\nmachines = [\"birch\"]\nfirst = [\"shift\"]\n";
        assert_eq!(told(others, &Facts::default(), &open, 60..69), "");
        let seen = |finding: &Finding| Acknowledgement {
            finding: finding.id.clone(),
            priority: Priority::Medium,
            by: "ana".to_owned(),
            at: at(60),
        };
        let seen = open.iter().map(|finding| (finding.id.clone(), seen(finding))).collect();
        assert_eq!(told(rules, &Facts { seen, ..Facts::default() }, &open, 60..69), "");
    }

    #[test]
    fn what_comes_again_and_again_is_told_once_an_hour() {
        let over = |raised| Finding {
            to: Some(at(raised + 5)),
            ..finding("alder", FindingKind::WarmHold, Priority::Medium, raised)
        };
        let facts = Facts { findings: vec![over(60), over(75)], ..Facts::default() };
        let third = finding("alder", FindingKind::WarmHold, Priority::Medium, 90);
        let plant = plant(25, 80, LADDER);
        let listing = listed(&facts, std::slice::from_ref(&third), 91);
        let key = |finding: &Finding| (finding.id.clone(), "shift".parse().unwrap(), Priority::Medium);
        assert_eq!(due(&plant, &listing, &[key(&over(60))].into(), at(91)), []);
        assert_eq!(due(&plant, &listing, &BTreeSet::new(), at(91)).len(), 1);
    }

    proptest! {
        /// Nobody is told of the same twice, and nobody of what does not ring.
        #[test]
        fn nobody_is_told_twice(minutes in prop::collection::vec(0_i64..600, 1..40), raised in 0_i64..300) {
            let open = [finding("birch", FindingKind::Silent, Priority::High, raised)];
            let (plant, mut told) = (plant(25, 80, LADDER), BTreeSet::new());
            let mut sorted = minutes.clone();
            sorted.sort_unstable();
            for minute in sorted {
                let listing = listed(&Facts::default(), &open, minute);
                for (key, _) in due(&plant, &listing, &told, at(minute)) {
                    prop_assert!(told.insert(key.clone()));
                    prop_assert!(listing.of(&key.0).is_some_and(|alarm| alarm.state.rings()));
                }
            }
            prop_assert!(told.len() <= 2);
        }
    }
}
