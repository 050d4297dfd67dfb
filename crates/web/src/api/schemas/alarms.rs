//! Shapes of alarms, and of what people say of them.

use alarms::State;
use model::{Aside, FindingKind, Priority};
use serde_json::{Value, json};

use super::{body, count, list, named, number, or_null, text, time, whole, words};

fn kinds() -> Value {
    words(FindingKind::ALL.iter().map(|kind| kind.as_str()))
}

fn yes_or_no() -> Value {
    json!({ "type": "boolean" })
}

/// Every shape by its name.
pub(super) fn schemas() -> impl Iterator<Item = (&'static str, Value)> {
    let alarm = whole([
        ("id", text()),
        ("kind", kinds()),
        ("machine", or_null(text())),
        ("priority", words(Priority::ALL.map(Priority::as_str))),
        ("state", words(State::ALL.map(State::as_str))),
        ("rings", yes_or_no()),
        ("raised_at", time()),
        ("returned_at", or_null(time())),
        ("rings_since", time()),
        ("act_by", time()),
        ("says", text()),
        ("advice", text()),
        ("cause", text()),
        ("consequence", text()),
        ("action", text()),
        ("acknowledged", or_null(named("Acknowledgement"))),
        ("set_aside", or_null(count())),
        ("shared_cause", or_null(text())),
        ("raised_in_last_hour", count()),
        ("chattering", yes_or_no()),
        ("stale", yes_or_no()),
    ]);
    let aside = whole([
        ("number", count()),
        ("way", words([Aside::Shelved, Aside::OutOfService].map(Aside::as_str))),
        ("machine", or_null(text())),
        ("kind", or_null(kinds())),
        ("reason", text()),
        ("by", text()),
        ("from", time()),
        ("until", time()),
        ("ended", or_null(time())),
        ("ended_by", or_null(text())),
    ]);
    let reason = whole([
        ("kind", kinds()),
        ("answer", words(["act", "prompt", "report"])),
        ("minutes_to_act", or_null(count())),
        ("cause", text()),
        ("consequence", text()),
        ("action", text()),
        ("latches", yes_or_no()),
        ("quiet_in", list(text())),
    ]);
    let entries = [
        ("AlarmSeen", body(&["alarm"], [("alarm", text()), ("by", text())])),
        (
            "AlarmShelving",
            body(
                &["kind", "minutes", "reason"],
                [
                    ("machine", text()),
                    ("kind", kinds()),
                    ("minutes", number()),
                    ("reason", text()),
                    ("by", text()),
                ],
            ),
        ),
        (
            "AlarmOutOfService",
            body(
                &["until", "reason"],
                [
                    ("machine", text()),
                    ("kind", kinds()),
                    ("until", time()),
                    ("reason", text()),
                    ("by", text()),
                ],
            ),
        ),
        ("AlarmTakeBack", body(&["number"], [("number", count()), ("by", text())])),
    ];
    let answers = [
        ("Alarm", alarm),
        (
            "Alarms",
            whole([
                ("alarms", list(named("Alarm"))),
                ("set_aside", list(named("SetAside"))),
                ("flood_since", or_null(time())),
            ]),
        ),
        (
            "Acknowledgement",
            whole([
                ("alarm", text()),
                ("priority", words(Priority::ALL.map(Priority::as_str))),
                ("by", text()),
                ("at", time()),
            ]),
        ),
        ("AlarmsAcknowledged", whole([("acknowledged", list(named("Acknowledgement")))])),
        ("SetAside", aside),
        ("AlarmReason", reason),
        ("AlarmReasons", whole([("reasons", list(named("AlarmReason")))])),
    ];
    entries.into_iter().chain(answers)
}
