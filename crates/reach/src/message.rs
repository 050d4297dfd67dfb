//! What somebody is told: where, what is wrong, what to do, by when, and what follows if nobody does.

use alarms::{Alarm, Listing};
use model::{Finding, FindingId, Priority, Timestamp};
use plant::Plant;
use serde_json::{Value, json};

/// Stands beneath every message.
const CAUTION: &str =
    "Temperature alone never proves temper; only a temper test does. The site's own rules come first.";

/// So many places are named in a message about a flood: as many as one reads on a telephone.
const PLACES_NAMED: usize = 12;

/// A message, the same for mail and webhook.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Message {
    /// Its id, the same at each try.
    pub(crate) id: String,
    pub(crate) at: Timestamp,
    pub(crate) priority: Priority,
    pub(crate) subject: String,
    pub(crate) text: String,
    pub(crate) kind: &'static str,
    pub(crate) data: Value,
}

impl Message {
    /// Tells of an alarm.
    pub(crate) fn of_alarm(plant: &Plant, alarm: &Alarm, origin: Option<&str>, now: Timestamp) -> Message {
        let (finding, row) = (&alarm.finding, alarm.rationale());
        let place = place(plant, finding);
        let clock = |at: Timestamp| plant.time_zone.local(at).strftime("%H:%M").to_string();
        let link = origin.map(|origin| format!("{origin}/alarms"));
        let mut text = format!(
            "{place}: {}\n\nWhat to do: {}\n\nIf nobody does: {}\n\nRaised {}; act by {} ({}).\n",
            finding.says,
            row.action,
            row.consequence,
            clock(finding.raised_at),
            clock(alarm.act_by),
            plant.time_zone.name(),
        );
        text += &link.as_ref().map_or_else(
            || "Acknowledge it on the page Alarms, so that nobody else is called.\n".to_owned(),
            |link| format!("Acknowledge it, so that nobody else is called: {link}\n"),
        );
        text += &format!("\n{CAUTION}\n");
        Message {
            id: format!("{}-{}", finding.id, finding.priority.as_str()).replace(':', "."),
            at: now,
            priority: finding.priority,
            subject: format!("{}: {place}, {}", urgency(finding.priority), finding.kind.title()),
            text,
            kind: "alarm.raised",
            data: json!({
                "alarm": finding.id.as_str(), "kind": finding.kind.as_str(),
                "machine": finding.machine.as_ref().map(|id| id.as_str()), "place": place,
                "priority": finding.priority.as_str(), "says": finding.says, "advice": finding.advice,
                "action": row.action, "cause": row.cause, "consequence": row.consequence,
                "raised_at": finding.raised_at.to_string(), "act_by": alarm.act_by.to_string(), "link": link,
            }),
        }
    }

    /// Tells that there are too many at once, in the place of the single ones.
    pub(crate) fn of_flood(plant: &Plant, listing: &Listing, since: Timestamp, now: Timestamp) -> Message {
        let count = listing.ringing();
        let mut places: Vec<String> = Vec::new();
        for alarm in listing.alarms.iter().filter(|alarm| alarm.state.rings()) {
            let place = place(plant, &alarm.finding);
            if places.len() < PLACES_NAMED && !places.contains(&place) {
                places.push(place);
            }
        }
        Message {
            id: flood_id(since).as_str().replace(':', "."),
            at: now,
            priority: Priority::High,
            subject: format!("Now: {}, too many alarms at once", plant.name),
            text: format!(
                "More than ten alarms came within ten minutes; {count} call for somebody now.\n\nWhat to do: look at what the \
                 machines share first (water, power, network, room), then at what is urgent, one machine after the other.\n\n\
                 The most urgent are at: {}.\nUntil it is calmer only what is urgent is told one by one.\n\n{CAUTION}\n",
                places.join(", ")
            ),
            kind: "alarm.flood",
            data: json!({ "since": since.to_string(), "ringing": count, "places": places }),
        }
    }

    /// A trial, so that nobody takes it for more.
    pub(crate) fn of_trial(plant: &Plant, now: Timestamp) -> Message {
        Message {
            id: format!("trial-{now}").replace(':', "."),
            at: now,
            priority: Priority::Low,
            subject: format!("Trial: {}", plant.name),
            text: format!(
                "This is a trial of {}: nothing is wrong.\n\nWhat to do: tell whoever sent it that it has arrived.\n\n{CAUTION}\n",
                plant.name
            ),
            kind: "alarm.trial",
            data: json!({ "plant": plant.name }),
        }
    }

    /// The body of a webhook: type, timestamp and data, as Standard Webhooks proposes.
    pub(crate) fn document(&self) -> String {
        let subject = &self.subject;
        json!({
            "type": self.kind, "timestamp": self.at.to_string(), "subject": subject, "text": self.text, "data": self.data,
        })
        .to_string()
    }
}

/// The id under which a flood is told.
pub(crate) fn flood_id(since: Timestamp) -> FindingId {
    FindingId::from_lookup(&format!("flood-{since}"))
}

/// Where an alarm is, as people call it.
fn place(plant: &Plant, finding: &Finding) -> String {
    let name = |id| plant.machine(id).map_or_else(|| id.to_string(), |machine| machine.name.clone());
    finding.machine.as_ref().map_or_else(|| plant.name.clone(), name)
}

fn urgency(priority: Priority) -> &'static str {
    match priority {
        Priority::High => "Now",
        Priority::Medium => "Soon",
        Priority::Low => "Later",
    }
}
