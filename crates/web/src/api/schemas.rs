//! The shapes of bodies and answers. Those of answers are held against what the routes really answer in the tests.

mod alarms;
mod events;
mod kept;

use model::{BaselineDeed, Channel, FindingKind, Method, Phase, Priority};
use serde_json::{Map, Value, json};

fn text() -> Value {
    json!({ "type": "string" })
}

/// The id of a machine, such as one of the demo's.
pub(super) fn machine() -> Value {
    json!({ "type": "string", "examples": ["alder"] })
}

fn time() -> Value {
    json!({ "type": "string", "format": "date-time" })
}

fn number() -> Value {
    json!({ "type": "number" })
}

fn count() -> Value {
    json!({ "type": "integer", "minimum": 0 })
}

fn words<'w>(words: impl IntoIterator<Item = &'w str>) -> Value {
    json!({ "type": "string", "enum": words.into_iter().collect::<Vec<_>>() })
}

fn list(of: Value) -> Value {
    properties([("type", json!("array")), ("items", of)])
}

fn named(schema: &str) -> Value {
    json!({ "$ref": format!("#/components/schemas/{schema}") })
}

fn or_null(schema: Value) -> Value {
    properties([("anyOf", Value::Array(vec![schema, json!({ "type": "null" })]))])
}

/// An answer: every field is there.
fn whole<const N: usize>(fields: [(&str, Value); N]) -> Value {
    let required: Vec<&str> = fields.iter().map(|(name, _)| *name).collect();
    json!({ "type": "object", "required": required, "properties": properties(fields) })
}

/// A body: `required` have to be there.
fn body<const N: usize>(required: &[&str], fields: [(&str, Value); N]) -> Value {
    json!({ "type": "object", "required": required, "properties": properties(fields) })
}

fn properties<const N: usize>(fields: [(&str, Value); N]) -> Value {
    Value::Object(fields.into_iter().map(|(name, schema)| (name.to_owned(), schema)).collect())
}

/// The numbers of a measure: each `null` where it could not be measured.
fn measures() -> Value {
    const FIGURES: [&str; 12] = [
        "soak_max_c",
        "cooling_minutes",
        "cooling_tau_min",
        "lowest_c",
        "seed_dip_c",
        "settled_c",
        "working_minutes",
        "working_mean_c",
        "working_sd_c",
        "drift_c_per_h",
        "above_loss_c_min",
        "unknown_minutes",
    ];
    let mut schema = whole(FIGURES.map(|name| (name, or_null(number()))));
    schema["properties"]["cooling_tau_against"] = or_null(words(["jacket", "fitted-asymptote"]));
    schema
}

fn batch() -> Value {
    whole([
        ("id", text()),
        ("couverture", text()),
        ("lot", or_null(text())),
        ("method", words(Method::ALL.map(Method::as_str))),
        ("start", time()),
        ("end", or_null(time())),
        ("phases", list(named("Phase"))),
        ("measures", named("Measures")),
        ("standing", words(["in-temper", "doubtful", "off-temper", "unproven"])),
        ("reasons", list(text())),
        ("machine", text()),
        ("mass_kg", or_null(number())),
    ])
}

fn batch_report() -> Value {
    let rest = json!({
        "type": "object",
        "required": ["statement", "findings", "events"],
        "properties": properties([
            ("statement", list(text())),
            ("findings", list(named("Finding"))),
            ("events", list(named("Event"))),
            ("corrections", named("Corrections")),
        ]),
    });
    json!({ "allOf": [named("Batch"), kept::of_batch(), rest] })
}

fn problem() -> Value {
    let mut schema = whole([
        ("type", text()),
        ("title", text()),
        ("status", json!({ "type": "integer", "minimum": 400, "maximum": 599 })),
        ("detail", text()),
        ("code", text()),
    ]);
    schema["description"] = json!("RFC 9457. `code` is a word for programs, `detail` a sentence for people.");
    schema
}

/// One page of a list, and the mark behind which the next begins.
fn page(name: &str, of: &str) -> Value {
    json!({
        "type": "object",
        "required": [name, "next"],
        "properties": { name: list(named(of)), "next": or_null(text()) },
    })
}

/// Every shape by its name.
pub(super) fn schemas() -> Value {
    let priority = || words(Priority::ALL.map(Priority::as_str));
    let phase = || words(Phase::ALL.map(Phase::as_str));
    let usual = || or_null(named("Usual"));
    let all = [
        ("Description", json!({ "type": "object", "required": ["openapi", "info", "paths"] })),
        ("Problem", problem()),
        (
            "Phase",
            whole([
                ("phase", phase()),
                ("from", time()),
                ("to", or_null(time())),
                ("confidence", priority()),
            ]),
        ),
        ("Measures", measures()),
        ("Batch", batch()),
        ("Batches", page("batches", "Batch")),
        ("BatchReport", batch_report()),
        (
            "Finding",
            whole([
                ("id", text()),
                ("batch", or_null(text())),
                ("kind", words(FindingKind::ALL.iter().map(|kind| kind.as_str()))),
                ("priority", priority()),
                ("from", time()),
                ("to", or_null(time())),
                ("raised_at", time()),
                ("says", text()),
                (
                    "evidence",
                    json!({ "type": "object", "additionalProperties": { "type": ["number", "string", "null"] } }),
                ),
                ("advice", text()),
                ("machine", or_null(text())),
                ("superseded_by", or_null(text())),
            ]),
        ),
        ("Findings", page("findings", "Finding")),
        ("Event", events::event()),
        ("TestResult", events::test_result()),
        ("Audit", page("entries", "AuditEntry")),
        (
            "AuditEntry",
            whole([
                ("number", count()),
                ("at", time()),
                ("who", text()),
                ("way", text()),
                ("deed", text()),
                ("kind", text()),
                ("id", text()),
                ("about", or_null(time())),
                ("old", or_null(json!({ "type": "object" }))),
                ("new", or_null(json!({ "type": "object" }))),
                ("sha256", text()),
            ]),
        ),
        ("EventEntry", events::entry()),
        (
            "EventEntered",
            whole([
                ("machine", text()),
                ("event", text()),
                ("at", time()),
                ("durable", json!({ "const": true })),
            ]),
        ),
        ("Latest", whole([("at", time()), ("value", or_null(number())), ("unit", text())])),
        ("Forecast", whole([("at", time()), ("give_or_take_minutes", number())])),
        (
            "Machine",
            whole([
                ("id", text()),
                ("name", text()),
                ("style", words(["kettle", "wheel", "continuous", "bench"])),
                ("phase", phase()),
                ("phase_since", time()),
                ("seen_to", time()),
                ("latest", json!({ "type": "object", "additionalProperties": named("Latest") })),
                ("slope_c_per_min", or_null(number())),
                ("forecast", or_null(named("Forecast"))),
                ("batch", or_null(named("Batch"))),
                ("open_findings", list(named("Finding"))),
                ("last_test", or_null(named("Event"))),
            ]),
        ),
        (
            "Machines",
            whole([
                ("plant", text()),
                ("machines", list(named("Machine"))),
                ("plant_findings", list(named("Finding"))),
            ]),
        ),
        ("Usual", whole([("median", number()), ("spread", number()), ("batches", count())])),
        (
            "Baseline",
            whole([
                ("machine", text()),
                ("couverture", text()),
                ("state", words(["learning", "learned", "frozen"])),
                ("batches", count()),
                ("needed", count()),
                ("since", or_null(time())),
                ("by", or_null(text())),
                ("used_cooling_minutes", or_null(number())),
                ("cooling_minutes", usual()),
                ("cooling_minutes_per_kg", usual()),
                ("cooling_tau_min", usual()),
                ("settled_c", usual()),
                ("hold_offset_c", usual()),
                ("seed_dip_c", usual()),
                ("working_sd_c", usual()),
                ("mass_kg", usual()),
            ]),
        ),
        ("Baselines", whole([("baselines", list(named("Baseline")))])),
        (
            "BaselineOrder",
            body(
                &["machine", "couverture", "order"],
                [
                    ("machine", machine()),
                    ("couverture", json!({ "type": "string", "examples": ["dark-64"] })),
                    ("order", words(BaselineDeed::ALL.map(BaselineDeed::as_str))),
                    ("by", text()),
                ],
            ),
        ),
        (
            "BaselineOrdered",
            whole([
                ("machine", text()),
                ("couverture", text()),
                ("order", text()),
                ("at", time()),
                ("durable", json!({ "const": true })),
            ]),
        ),
        (
            "PhaseCorrection",
            body(
                &["phase", "from", "by", "reason"],
                [("phase", phase()), ("from", time()), ("to", time()), ("by", text()), ("reason", text())],
            ),
        ),
        (
            "Correction",
            whole([
                ("phase", phase()),
                ("from", time()),
                ("to", or_null(time())),
                ("by", text()),
                ("at", time()),
                ("reason", text()),
            ]),
        ),
        ("Corrections", whole([("said", list(named("Correction"))), ("own_phases", list(named("Phase")))])),
        (
            "ReadingEntry",
            body(
                &["machine", "channel", "value"],
                [
                    ("machine", machine()),
                    ("channel", words(Channel::ALL.map(Channel::as_str))),
                    ("at", time()),
                    ("value", or_null(number())),
                ],
            ),
        ),
        (
            "ReadingEntered",
            whole([
                ("machine", text()),
                ("channel", text()),
                ("at", time()),
                ("value", or_null(number())),
                ("durable", json!({ "const": true })),
            ]),
        ),
        (
            "Readings",
            whole([
                ("machine", text()),
                ("channel", words(Channel::ALL.map(Channel::as_str))),
                ("unit", text()),
                ("from", time()),
                ("to", time()),
                (
                    "readings",
                    // A time and a value; `prefixItems` would say which comes first, but not every reader of these documents knows it.
                    list(json!({
                        "type": "array", "items": { "anyOf": [time(), number(), { "type": "null" }] }, "minItems": 2, "maxItems": 2,
                    })),
                ),
            ]),
        ),
    ];
    let all = all.into_iter().chain(kept::schemas()).chain(alarms::schemas());
    Value::Object(all.map(|(name, schema)| (name.to_owned(), schema)).collect::<Map<_, _>>())
}
