//! Shapes of events, and of what temper tests among them gave.

use model::Method;
use serde_json::{Value, json};

use super::{body, list, machine, named, number, or_null, properties, text, time, whole, words};

/// Fields that go with the kind, and those that nobody knows, stand beside these.
pub(super) fn event() -> Value {
    json!({
        "type": "object",
        "required": ["machine", "event", "at", "by"],
        "properties": properties([
            ("machine", text()),
            ("event", text()),
            ("at", time()),
            ("by", or_null(text())),
            ("result", named("TestResult")),
        ]),
    })
}

pub(super) fn test_result() -> Value {
    let inflection = whole([
        ("seconds", number()),
        ("celsius", number()),
        ("slope_c_per_min", number()),
        ("slope_se", number()),
    ]);
    json!({
        "type": "object",
        "description": "What a temper test gave by the rules of this site: of a smear its grade on the trade's scale, what that means and what \
            follows; of a sample's cooling curve what it says, and where it is bent most.",
        "properties": properties([
            ("grade", words(["A", "B", "C", "B or C", "D", "E", "D or E"])),
            ("meaning", text()),
            ("follows", text()),
            ("curve_grade", words(["good", "fair", "poor"])),
            ("curve_says", text()),
            ("inflection", or_null(inflection)),
        ]),
    })
}

pub(super) fn entry() -> Value {
    let kinds = ["charge", "seed", "top-up", "temper-test", "reference", "note", "end"];
    let grade = || words(["good", "fair", "poor"]);
    let mass = || json!({ "type": "number", "exclusiveMinimum": 0 });
    let mut schema = body(
        &["machine", "event"],
        [
            ("machine", machine()),
            ("event", words(kinds)),
            ("at", time()),
            ("by", text()),
            ("couverture", text()),
            ("lot", text()),
            ("method", words(Method::ALL.map(Method::as_str))),
            ("mass_kg", mass()),
            ("temperature", number()),
            ("gloss", grade()),
            ("contraction", grade()),
            ("snap", grade()),
            ("minutes", mass()),
            ("cooled", words(["room", "refrigerator"])),
            ("room_c", number()),
            ("room_rh", number()),
            ("curve", list(list(number()))),
            ("source", words(["new", "rework"])),
            ("clean", json!({ "type": "boolean" })),
            ("text", text()),
        ],
    );
    schema["description"] =
        json!("Which fields go with which event stands in the README. Fields that are not known are kept.");
    schema["examples"] = json!([
        { "machine": "alder", "event": "seed", "by": "ana", "mass_kg": 1.5, "temperature": 20, "lot": "L2207" },
        { "machine": "alder", "event": "temper-test", "gloss": "good", "contraction": "good", "snap": "fair", "minutes": 5 },
        { "machine": "alder", "event": "note", "text": "lid left open" },
    ]);
    schema
}
