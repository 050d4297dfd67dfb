//! Events: what people and programs report about a charge (contract, section 3).
//!
//! The same function reads the event topic and the HTTP body, so that both take and refuse the same. The report is kept
//! as it came, so that fields that we do not know are not lost.

mod curve;
mod fields;
mod further;

use model::{Event, EventKind, Grade, MachineId, TemperTest, Timestamp};
use plant::CurveRules;

pub use crate::event::curve::{
    CurvePoint, Inflection, MOST_CURVE_POINTS, SampleCurve, curve_of_table, sample_curve,
};
use crate::event::fields::Fields;
pub use crate::event::further::{Further, further};
use crate::rfc3339::parse_rfc3339;

/// An event is a few fields typed by a person; its raw text is kept for good.
const LONGEST_EVENT: usize = 64 * 1024;

const KINDS: &str = "charge, seed, top-up, temper-test, reference, note and end";

/// Reads an event of `machine`; the curve of a sample is judged by `rules`. One that does not say when it happened, happened at `arrived`.
///
/// # Errors
/// A plain sentence that says what is wrong with it.
pub fn parse_event(
    machine: &MachineId,
    json: &[u8],
    arrived: Timestamp,
    rules: &CurveRules,
) -> Result<Event, String> {
    let dated = parse(machine, json, rules)?;
    Ok(Event { at: dated.at.unwrap_or(arrived), ..dated.event })
}

/// An event, and the moment that it gives for itself, if it does.
pub(crate) struct Dated {
    pub(crate) at: Option<Timestamp>,
    pub(crate) event: Event,
}

/// Reads an event; without a moment of its own it is dated 1970, for the caller to replace.
pub(crate) fn parse(machine: &MachineId, json: &[u8], rules: &CurveRules) -> Result<Dated, String> {
    if LONGEST_EVENT < json.len() {
        return Err(format!("the event is longer than {LONGEST_EVENT} bytes"));
    }
    let text = std::str::from_utf8(json).map_err(|_| "the event is not text in UTF-8".to_owned())?;
    let fields = Fields::parse(text)?;
    let kind = parse_kind(&fields, rules)?;
    let at = match fields.text("at")? {
        None => None,
        Some(at) => Some(parse_rfc3339(at).ok_or_else(|| {
            format!("`at` is `{at}`, which is not a time with a zone such as 2026-03-02T07:05:00Z")
        })?),
    };
    let by = fields.text("by")?.map(str::to_owned);
    let event =
        Event { machine: machine.clone(), at: at.unwrap_or_default(), by, kind, raw: text.to_owned() };
    Ok(Dated { at, event })
}

fn parse_kind(fields: &Fields, rules: &CurveRules) -> Result<EventKind, String> {
    let Some(word) = fields.text("event")? else {
        return Err(format!("the field `event` is missing; it is one of {KINDS}"));
    };
    match word {
        "charge" => Ok(EventKind::Charge {
            couverture: fields.parsed("couverture")?,
            lot: fields.owned_text("lot")?,
            mass_kg: fields.mass("mass_kg")?,
            method: fields.parsed("method")?,
        }),
        "seed" => Ok(EventKind::Seed {
            mass_kg: fields.mass("mass_kg")?,
            temperature: fields.temperature("temperature")?,
            lot: fields.owned_text("lot")?,
        }),
        "top-up" => Ok(EventKind::TopUp {
            mass_kg: fields.mass("mass_kg")?,
            temperature: fields.temperature("temperature")?,
            lot: fields.owned_text("lot")?,
        }),
        "temper-test" => Ok(EventKind::TemperTest(parse_test(fields, rules)?)),
        "reference" => match fields.temperature("temperature")? {
            Some(temperature) => Ok(EventKind::Reference { temperature }),
            None => Err("a reference needs `temperature`, what the hand thermometer shows".into()),
        },
        "note" => match fields.text("text")? {
            Some(text) if !text.trim().is_empty() => Ok(EventKind::Note { text: text.to_owned() }),
            _ => Err("a note needs `text`, the words to keep".into()),
        },
        "end" => Ok(EventKind::End),
        other => {
            let other: String = other.chars().take(40).collect();
            Err(format!("`{other}` is not an event; the events are {KINDS}"))
        }
    }
}

/// Where a smear may cool; what else is told of a test is checked here and kept in the report as it came.
const COOLED: [&str; 2] = ["room", "refrigerator"];

/// A smear, or the cooling curve of a sample. A curve alone has one grade, which then stands for all three; beside a smear it is kept, and
/// the smear decides.
fn parse_test(fields: &Fields, rules: &CurveRules) -> Result<TemperTest, String> {
    fields.word("cooled", &COOLED)?;
    fields.temperature("room_c")?;
    fields.percent("room_rh")?;
    let minutes = fields.set_minutes("minutes")?;
    let curve = match fields.get("curve") {
        None => None,
        Some(points) => Some(curve::read(curve::cooling_points_of(points)?, rules)?),
    };
    let is_smear = ["gloss", "contraction", "snap"].iter().any(|key| fields.get(key).is_some());
    if let Some(curve) = curve.filter(|_| !is_smear) {
        return Ok(TemperTest { gloss: curve.grade, contraction: curve.grade, snap: curve.grade, minutes });
    }
    Ok(TemperTest {
        gloss: parse_grade(fields, "gloss")?,
        contraction: parse_grade(fields, "contraction")?,
        snap: parse_grade(fields, "snap")?,
        minutes,
    })
}

fn parse_grade(fields: &Fields, key: &str) -> Result<Grade, String> {
    let Some(word) = fields.text(key)? else {
        return Err(format!(
            "a temper test needs `gloss`, `contraction` and `snap`, and `{key}` is missing; or in their place a `curve`, a \
             list of pairs, seconds and °C"
        ));
    };
    word.parse().map_err(|()| format!("`{key}` is `{word}`; it is one of good, fair and poor"))
}

#[cfg(test)]
mod tests {
    use expect_test::{Expect, expect};

    use super::*;

    #[expect(clippy::needless_pass_by_value, reason = "an expectation reads best as the last argument")]
    fn check(json: &str, expected: Expect) {
        let arrived = "2026-03-02T08:00:00Z".parse().expect("a time");
        let rules = plant::TemperTestRules::default().curve;
        let shown = match parse_event(&"alder".parse().expect("an id"), json.as_bytes(), arrived, &rules) {
            Ok(event) => format!("{} by {}: {:?}", event.at, event.by.as_deref().unwrap_or("-"), event.kind),
            Err(says) => says,
        };
        expected.assert_eq(&shown);
    }

    #[test]
    fn every_event_of_the_contract_is_read() {
        check(
            r#"{"event":"seed","at":"2026-03-02T07:05:00Z","by":"ana","couverture":"dark-64","lot":"L2207","mass_kg":1.5,"temperature":20}"#,
            expect![[
                r#"2026-03-02T07:05:00Z by ana: Seed { mass_kg: Some(1.5), temperature: Some(20.0), lot: Some("L2207") }"#
            ]],
        );
        check(
            r#"{"event":"charge","couverture":"dark-64","lot":"L1","mass_kg":50,"method":"butter-seed"}"#,
            expect![[
                r#"2026-03-02T08:00:00Z by -: Charge { couverture: Some(CouvertureId(dark-64)), lot: Some("L1"), mass_kg: Some(50.0), method: Some(ButterSeed) }"#
            ]],
        );
        check(
            r#"{"event":"charge","lot":null}"#,
            expect![
                "2026-03-02T08:00:00Z by -: Charge { couverture: None, lot: None, mass_kg: None, method: None }"
            ],
        );
        check(
            r#"{"event":"top-up","at":"2026-03-02T08:05:00+01:00","mass_kg":2,"temperature":45}"#,
            expect![
                "2026-03-02T07:05:00Z by -: TopUp { mass_kg: Some(2.0), temperature: Some(45.0), lot: None }"
            ],
        );
        check(
            r#"{"event":"temper-test","gloss":"good","contraction":"fair","snap":"poor","minutes":9}"#,
            expect![
                "2026-03-02T08:00:00Z by -: TemperTest(TemperTest { gloss: Good, contraction: Fair, snap: Poor, minutes: Some(9.0) })"
            ],
        );
        check(
            r#"{"event":"reference","temperature":31.4}"#,
            expect!["2026-03-02T08:00:00Z by -: Reference { temperature: 31.4 }"],
        );
        check(
            r#"{"event":"note","text":"lid left open"}"#,
            expect![[r#"2026-03-02T08:00:00Z by -: Note { text: "lid left open" }"#]],
        );
        check(r#"{"event":"end"}"#, expect!["2026-03-02T08:00:00Z by -: End"]);
    }

    #[test]
    fn what_is_wrong_is_told() {
        check(
            "",
            expect![[r#"the event is empty; it is a JSON object such as {"event":"note","text":"…"}"#]],
        );
        check("[1]", expect![[r#"an event is a JSON object such as {"event":"note","text":"…"}"#]]);
        check(
            r#"{"event":"seed""#,
            expect!["the event is not JSON (EOF while parsing an object at line 1 column 15)"],
        );
        check(
            r#"{"at":"2026-03-02T07:05:00Z"}"#,
            expect![
                "the field `event` is missing; it is one of charge, seed, top-up, temper-test, reference, note and end"
            ],
        );
        check(
            r#"{"event":"stir"}"#,
            expect![
                "`stir` is not an event; the events are charge, seed, top-up, temper-test, reference, note and end"
            ],
        );
        check(r#"{"event":5}"#, expect!["`event` takes a text"]);
        check(
            r#"{"event":"end","at":"2026-03-02T07:05:00"}"#,
            expect![
                "`at` is `2026-03-02T07:05:00`, which is not a time with a zone such as 2026-03-02T07:05:00Z"
            ],
        );
        check(r#"{"event":"seed","mass_kg":0}"#, expect!["`mass_kg` is 0, and must be above zero"]);
        check(
            r#"{"event":"charge","mass_kg":9999999}"#,
            expect!["`mass_kg` is 9999999 kg, and no machine holds more than 20000 kg"],
        );
        check(
            r#"{"event":"temper-test","gloss":"good","contraction":"good","snap":"good","minutes":9999}"#,
            expect!["`minutes` is 9999, and what has not set in 120 minutes has failed; leave the time out"],
        );
        check(r#"{"event":"seed","mass_kg":"1.5"}"#, expect!["`mass_kg` takes a number"]);
        check(
            r#"{"event":"seed","temperature":500}"#,
            expect!["`temperature` is 500 °C, and should be from -40 to 150 °C"],
        );
        check(
            r#"{"event":"charge","couverture":"dark 64"}"#,
            expect![
                "`couverture`: the id `dark 64` holds ` `; letters, digits, `-`, `_` and `.` can stand there, and it begins with a letter or digit"
            ],
        );
        check(
            r#"{"event":"charge","method":"stirring"}"#,
            expect![
                "`method`: `stirring` is not a method; the methods are seed, butter-seed, partial-melt, tabling and continuous"
            ],
        );
        check(
            r#"{"event":"temper-test","gloss":"good","snap":"good"}"#,
            expect![
                "a temper test needs `gloss`, `contraction` and `snap`, and `contraction` is missing; or in their place a `curve`, a list of pairs, seconds and °C"
            ],
        );
        check(
            r#"{"event":"temper-test","gloss":"fine","contraction":"good","snap":"good"}"#,
            expect!["`gloss` is `fine`; it is one of good, fair and poor"],
        );
        check(
            r#"{"event":"temper-test","gloss":"good","contraction":"good","snap":"good","cooled":"oven"}"#,
            expect!["`cooled` is `oven`; it is one of room and refrigerator"],
        );
        check(
            r#"{"event":"temper-test","gloss":"good","contraction":"good","snap":"good","room_rh":140}"#,
            expect!["`room_rh` is 140; it is a percentage, from 0 to 100"],
        );
        check(
            r#"{"event":"temper-test","curve":[[0,31.9],[1]]}"#,
            expect!["`curve` takes a list of pairs, seconds and °C, such as [[0, 31.9], [1, 31.8]]"],
        );
        check(
            r#"{"event":"reference"}"#,
            expect!["a reference needs `temperature`, what the hand thermometer shows"],
        );
        check(r#"{"event":"note","text":" "}"#, expect!["a note needs `text`, the words to keep"]);
    }

    #[test]
    fn fields_that_we_do_not_know_are_kept() {
        let json = br#"{"event":"end","shift":"early","by":"rui"}"#;
        let event = parse_event(
            &"alder".parse().unwrap(),
            json,
            Timestamp::default(),
            &plant::TemperTestRules::default().curve,
        )
        .unwrap();
        assert_eq!(event.raw.as_bytes(), json);
        assert_eq!(event.by.as_deref(), Some("rui"));
    }

    #[test]
    fn an_endless_event_is_refused() {
        let json = format!(r#"{{"event":"note","text":"{}"}}"#, "a".repeat(LONGEST_EVENT));
        check(&json, expect!["the event is longer than 65536 bytes"]);
    }
}
