//! Alarms as they stand on a page: what needs somebody, what has been seen, what came back by itself, what is set aside.

use alarms::{Alarm, Answer, Listing, Rationale, State, rationale};
use model::{Aside, FindingId, FindingKind, Phase, Priority, SetAside};
use serde::Serialize;

use super::finding::priority_chip;
use super::{Chip, Moment, Scene};
use crate::words;

/// What people said of an alarm, for the lane and the finding that it belongs to.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct AlarmMark {
    pub href: String,
    /// The shape beside it.
    pub class: &'static str,
    pub says: String,
}

/// The page.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct AlarmsView {
    pub chip: Chip,
    pub headline: String,
    /// Too many at once.
    pub flood: Option<String>,
    pub groups: Vec<GroupView>,
    /// What is set aside, whether or not anything would ring.
    pub asides: Vec<AsideView>,
}

/// Alarms in the same state.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct GroupView {
    pub key: &'static str,
    pub title: &'static str,
    pub help: &'static str,
    pub none: &'static str,
    pub alarms: Vec<AlarmView>,
    /// May all of them be acknowledged at once?
    pub at_once: bool,
}

/// One alarm.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct AlarmView {
    pub id: String,
    pub chip: Chip,
    pub is_quiet: bool,
    pub title: &'static str,
    pub place: String,
    pub place_href: Option<String>,
    pub says: String,
    pub action: &'static str,
    pub consequence: &'static str,
    pub raised: Moment,
    /// `act within 8 min`, `3 min overdue`
    pub act: Option<String>,
    pub state: String,
    pub waits: bool,
    /// Came again and again.
    pub again: Option<String>,
    pub stale: bool,
    /// Those that share its cause.
    pub members: Vec<AlarmView>,
    /// Where it is shelved or taken out of service.
    pub aside_href: Option<String>,
}

/// What is set aside.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct AsideView {
    pub number: u64,
    pub way: &'static str,
    pub what: String,
    pub until: Moment,
    pub reason: String,
    pub by: String,
    /// Is it for an engineer to take back?
    pub is_out: bool,
}

/// What is to be set aside: the form.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct AsideForm {
    pub id: String,
    pub title: &'static str,
    pub place: String,
    /// `None` for the plant.
    pub machine: Option<String>,
    pub kind: &'static str,
    /// Minutes on the shelf.
    pub minutes: Vec<u32>,
}

/// A row of the table of reasons.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct ReasonView {
    pub title: &'static str,
    pub kind: &'static str,
    pub answer: String,
    pub cause: &'static str,
    pub consequence: &'static str,
    pub action: &'static str,
    pub also: String,
}

impl AlarmMark {
    pub(crate) fn new(scene: Scene<'_>, alarm: &Alarm) -> AlarmMark {
        let class = match alarm.state {
            State::Unacknowledged | State::LatchedUnacknowledged => "open",
            State::Acknowledged | State::LatchedAcknowledged | State::Normal => "good",
            State::ReturnedUnacknowledged | State::Shelved | State::Suppressed | State::OutOfService => {
                "later"
            }
        };
        AlarmMark { href: format!("/alarms#{}", alarm.finding.id), class, says: state_says(scene, alarm) }
    }
}

impl AlarmsView {
    pub(crate) fn new(scene: Scene<'_>, listing: &Listing, asides: &[SetAside]) -> AlarmsView {
        let group = |key, title, help, none, at_once, wanted: fn(State) -> bool| GroupView {
            key,
            title,
            help,
            none,
            at_once,
            alarms: on_their_own(listing)
                .filter(|alarm| wanted(alarm.state))
                .map(|alarm| AlarmView::with_members(scene, listing, alarm))
                .collect(),
        };
        let ringing = listing.ringing();
        let (chip, headline) = headline(listing, ringing);
        AlarmsView {
            chip,
            headline,
            flood: listing.flood.map(|since| {
                format!(
                    "There have been more than ten alarms in ten minutes, since {}. Take what is marked Now first, and what several machines share before the single ones.",
                    scene.moment(since).says
                )
            }),
            groups: vec![
                group("needs", "Needs somebody", "Acknowledge says that you have seen it; it goes when the cause is gone.", "Nothing calls for anybody.", false, State::rings),
                group("seen", "Seen, and not over", "Somebody is at it.", "Nothing.", false, |state| {
                    matches!(state, State::Acknowledged | State::LatchedAcknowledged)
                }),
                group(
                    "returned",
                    "Came back by itself",
                    "It was over before anybody had seen it. It stays here for a day.",
                    "Nothing.",
                    true,
                    |state| state == State::ReturnedUnacknowledged,
                ),
                group("aside", "Does not ring now", "It goes on, and is shelved, out of service, or quiet because nobody works the charge.", "Nothing.", false, State::is_aside),
            ],
            asides: asides.iter().map(|aside| AsideView::new(scene, aside)).collect(),
        }
    }
}

/// Alarms whose cause is not told by another one in the list.
fn on_their_own(listing: &Listing) -> impl Iterator<Item = &Alarm> {
    listing
        .alarms
        .iter()
        .filter(|alarm| alarm.shared.as_ref().is_none_or(|shared| listing.of(shared).is_none()))
}

fn headline(listing: &Listing, ringing: usize) -> (Chip, String) {
    let urgent =
        listing.alarms.first().filter(|alarm| alarm.state.rings()).map(|alarm| alarm.finding.priority);
    let set_aside =
        |alarm: &&Alarm| alarm.aside.is_some() && alarm.state.is_aside() && alarm.finding.is_open();
    let aside = listing.alarms.iter().filter(set_aside).count();
    let calls = match ringing {
        0 => "No alarm calls for anybody".to_owned(),
        1 => "One alarm calls for somebody".to_owned(),
        n => format!("{n} alarms call for somebody"),
    };
    let says = match (ringing, aside) {
        (_, 0) => format!("{calls}."),
        (0, 1) => format!("{calls}, but one that is set aside is still on."),
        (0, n) => format!("{calls}, but {n} that are set aside are still on."),
        (_, 1) => format!("{calls}. Another one is set aside and still on."),
        (_, n) => format!("{calls}. {n} others are set aside and still on."),
    };
    let calm = if aside == 0 {
        Chip { class: "good", word: "Quiet" }
    } else {
        Chip { class: "later", word: "Set aside" }
    };
    (urgent.map_or(calm, priority_chip), says)
}

impl AlarmView {
    fn with_members(scene: Scene<'_>, listing: &Listing, alarm: &Alarm) -> AlarmView {
        let is_member = |other: &&Alarm| other.shared.as_ref() == Some(&alarm.finding.id);
        let members =
            listing.alarms.iter().filter(is_member).map(|other| AlarmView::new(scene, other)).collect();
        AlarmView { members, ..AlarmView::new(scene, alarm) }
    }

    fn new(scene: Scene<'_>, alarm: &Alarm) -> AlarmView {
        let finding = &alarm.finding;
        let row = alarm.rationale();
        let left = alarm.act_by.since(scene.now);
        let act = alarm.state.rings().then(|| {
            if left < model::Span::ZERO {
                format!("{} overdue", words::length(-left))
            } else {
                format!("act within {}", words::length(left))
            }
        });
        AlarmView {
            id: finding.id.to_string(),
            chip: priority_chip(finding.priority),
            is_quiet: !alarm.state.rings(),
            title: finding.kind.title(),
            place: place(scene, finding.machine.as_ref()),
            place_href: finding.machine.as_ref().map(|machine| format!("/machines/{machine}")),
            says: super::finding::told(scene, finding),
            action: row.action,
            consequence: row.consequence,
            raised: scene.moment(finding.raised_at),
            act,
            state: state_says(scene, alarm),
            waits: alarm.state.waits_for_somebody(),
            again: alarm.chatters().then(|| {
                format!(
                    "Raised {} times in the last hour: look for what brings it back.",
                    alarm.raised_lately
                )
            }),
            stale: alarm.is_stale(scene.now),
            members: Vec::new(),
            aside_href: (!alarm.state.is_aside() && alarm.finding.is_open())
                .then(|| format!("/alarms?aside={}#aside-title", encoded(&finding.id))),
        }
    }
}

impl AsideView {
    fn new(scene: Scene<'_>, aside: &SetAside) -> AsideView {
        let place = place(scene, aside.machine.as_ref());
        AsideView {
            number: aside.number,
            way: match aside.way {
                Aside::Shelved => "Shelved",
                Aside::OutOfService => "Out of service",
            },
            what: match aside.kind {
                Some(kind) => format!("{place}: {}", kind.title()),
                None => format!("{place}: every alarm"),
            },
            until: scene.moment(aside.until),
            reason: aside.reason.clone(),
            by: aside.by.clone(),
            is_out: aside.way == Aside::OutOfService,
        }
    }
}

impl AsideForm {
    pub(crate) fn new(scene: Scene<'_>, alarm: &Alarm) -> AsideForm {
        let finding = &alarm.finding;
        let minutes: &[u32] = match finding.priority {
            Priority::High => &[10, 20, 30],
            Priority::Medium | Priority::Low => &[15, 30, 60],
        };
        AsideForm {
            id: finding.id.to_string(),
            title: finding.kind.title(),
            place: place(scene, finding.machine.as_ref()),
            machine: finding.machine.as_ref().map(ToString::to_string),
            kind: finding.kind.as_str(),
            minutes: minutes.to_vec(),
        }
    }
}

/// Every kind, alarms first.
pub(crate) fn reasons() -> Vec<ReasonView> {
    let mut rows: Vec<(bool, ReasonView)> = FindingKind::ALL
        .iter()
        .map(|kind| {
            let row: Rationale = rationale(*kind);
            let answer = match row.answer {
                Answer::Act { minutes } if 24 * 60 <= minutes => "within a day".to_owned(),
                Answer::Act { minutes } => format!("within {minutes}\u{a0}min"),
                Answer::Prompt => "no alarm: a prompt".to_owned(),
                Answer::Report => "no alarm: for the weekly review".to_owned(),
            };
            let mut also = Vec::new();
            if row.latches {
                also.push("Stays until a temper test is recorded.".to_owned());
            }
            if !row.quiet_in.is_empty() {
                let phases: Vec<&str> =
                    row.quiet_in.iter().map(|phase: &Phase| words::phase(*phase)).collect();
                also.push(format!("Does not ring in: {}.", phases.join(", ")));
            }
            let view = ReasonView {
                title: kind.title(),
                kind: kind.as_str(),
                answer,
                cause: row.cause,
                consequence: row.consequence,
                action: row.action,
                also: also.join(" "),
            };
            (!row.is_alarm(), view)
        })
        .collect();
    rows.sort_by_key(|(is_none, _)| *is_none);
    rows.into_iter().map(|(_, view)| view).collect()
}

fn place(scene: Scene<'_>, machine: Option<&model::MachineId>) -> String {
    let name = |id| scene.plant.machine(id).map_or_else(|| id.to_string(), |machine| machine.name.clone());
    machine.map_or_else(|| "The works".to_owned(), name)
}

fn encoded(id: &FindingId) -> String {
    form_urlencoded::byte_serialize(id.as_str().as_bytes()).collect()
}

/// The state in words: `Acknowledged by ana, 09:14`.
fn state_says(scene: Scene<'_>, alarm: &Alarm) -> String {
    let seen = || {
        alarm.seen.as_ref().map_or_else(String::new, |seen| {
            format!("Acknowledged by {}, {}", seen.by, scene.moment(seen.at).says)
        })
    };
    let aside = |way: &str| {
        alarm.aside.as_ref().map_or_else(String::new, |aside| {
            format!("{way} by {} until {}: {}", aside.by, scene.moment(aside.until).says, aside.reason)
        })
    };
    const LATCHED: &str = "The temperature is back. It stays until a temper test is entered";
    match alarm.state {
        State::Normal => "Over".to_owned(),
        State::Unacknowledged => "Not acknowledged yet".to_owned(),
        State::Acknowledged => seen(),
        State::ReturnedUnacknowledged => {
            let back = alarm.finding.to.map_or_else(String::new, |to| format!(", {}", scene.moment(to).says));
            format!("Came back to normal{back}; nobody had acknowledged it")
        }
        State::LatchedUnacknowledged => format!("{LATCHED}; nobody has acknowledged it"),
        State::LatchedAcknowledged => format!("{LATCHED}. {}", seen()),
        State::Shelved => aside("Shelved"),
        State::Suppressed => {
            let phase = alarm.phase.map_or("this phase", words::phase).to_lowercase();
            format!("Does not ring in {phase}: nobody works the charge")
        }
        State::OutOfService => aside("Out of service"),
    }
}
