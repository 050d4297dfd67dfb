//! Shapes of what people keep: decisions, what is in question, lots, smears, checks of probes.

use model::{Channel, CheckKind, Verdict};
use serde_json::{Value, json};

use super::{body, list, named, number, or_null, text, time, whole, words};
use crate::handlers::setup::CHECKED;

fn yes_or_no() -> Value {
    json!({ "type": "boolean" })
}

fn ways() -> Value {
    list(words(["charge", "seed", "top-up"]))
}

/// What the report of a batch has besides the batch.
pub(super) fn of_batch() -> Value {
    whole([
        ("decision", or_null(named("Decision"))),
        ("decisions", list(named("Decision"))),
        ("concerned", list(named("Concerned"))),
        ("measured_in_doubt", list(named("Doubt"))),
        ("contents", list(named("Content"))),
        ("contents_assume", text()),
        ("contents_carried", yes_or_no()),
        ("batch_before", or_null(text())),
        ("changeover", or_null(named("Changeover"))),
    ])
}

fn lots() -> Vec<(&'static str, Value)> {
    let lot = whole([("lot", text()), ("newest_at", time())]);
    let part = whole([
        ("lot", or_null(text())),
        ("rework", yes_or_no()),
        ("ways", ways()),
        ("mass_kg", or_null(number())),
        ("share", or_null(number())),
    ]);
    let used = whole([
        ("batch", text()),
        ("machine", text()),
        ("from", time()),
        ("to", or_null(time())),
        ("share", or_null(number())),
        ("mass_kg", or_null(number())),
        ("ways", ways()),
        ("rework", yes_or_no()),
        ("carried", yes_or_no()),
    ]);
    vec![
        ("Content", whole([("from", time()), ("to", or_null(time())), ("lots", list(named("Part")))])),
        ("Part", part),
        ("Lot", lot),
        ("Lots", whole([("lots", list(named("Lot"))), ("older_left_out", yes_or_no())])),
        ("Use", used),
        (
            "LotTrace",
            whole([
                ("lot", text()),
                ("uses", list(named("Use"))),
                ("assume", text()),
                ("older_left_out", yes_or_no()),
            ]),
        ),
        (
            "Changeover",
            whole([
                ("kind", words(["milk-before", "milk-added", "no-clean-after-dark"])),
                ("batch", or_null(text())),
                ("at", or_null(time())),
                ("caution", text()),
            ]),
        ),
    ]
}

fn decisions() -> Vec<(&'static str, Value)> {
    let verdict = || words(Verdict::ALL.map(Verdict::as_str));
    vec![
        (
            "DecisionEntry",
            body(&["decision", "reason"], [("decision", verdict()), ("reason", text()), ("by", text())]),
        ),
        (
            "Decision",
            whole([
                ("decision", verdict()),
                ("reason", text()),
                ("by", text()),
                ("role", text()),
                ("at", time()),
            ]),
        ),
        (
            "Concerned",
            whole([
                ("from", time()),
                ("to", or_null(time())),
                ("failed_at", time()),
                ("last_good_at", or_null(time())),
            ]),
        ),
        (
            "Doubt",
            whole([
                ("channel", words(CHECKED.map(Channel::as_str))),
                ("since", or_null(time())),
                ("until", or_null(time())),
                ("failed_at", time()),
                ("error_c", number()),
            ]),
        ),
    ]
}

fn checks() -> Vec<(&'static str, Value)> {
    let kind = || words(CheckKind::ALL.map(CheckKind::as_str));
    let channel = || words(CHECKED.map(Channel::as_str));
    vec![
        ("SmearEntry", body(&["machine"], [("machine", text()), ("by", text())])),
        (
            "SmearTaken",
            whole([
                ("machine", text()),
                ("at", time()),
                ("ready_at", time()),
                ("durable", json!({ "const": true })),
            ]),
        ),
        (
            "ProbeCheckEntry",
            body(
                &["machine", "channel", "kind", "as_found_c"],
                [
                    ("machine", text()),
                    ("channel", channel()),
                    ("kind", kind()),
                    ("reference_c", number()),
                    ("as_found_c", number()),
                    ("as_left_c", or_null(number())),
                    ("reference", text()),
                    ("by", text()),
                ],
            ),
        ),
        (
            "ProbeCheck",
            whole([
                ("machine", text()),
                ("channel", channel()),
                ("kind", kind()),
                ("reference_c", number()),
                ("as_found_c", number()),
                ("as_left_c", or_null(number())),
                ("error_c", number()),
                ("accept_c", number()),
                ("passed", yes_or_no()),
                ("left_right", yes_or_no()),
                ("reference", or_null(text())),
                ("by", text()),
                ("at", time()),
            ]),
        ),
        ("ProbeChecks", whole([("probe_checks", list(named("ProbeCheck")))])),
    ]
}

/// Every shape by its name.
pub(super) fn schemas() -> impl Iterator<Item = (&'static str, Value)> {
    decisions().into_iter().chain(lots()).chain(checks())
}
